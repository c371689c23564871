//! The main loop: serves with the load there is, and takes another one in.

use ohmtrail_core::units::Micros;
use ohmtrail_link::load::{Head, MOST, Sources};
use ohmtrail_link::message::{Answer, LoadFault, PIECE, Refusal, Request};
use ohmtrail_link::station::Heard;

use crate::app::{App, Exit};
use crate::board::{Board, Store};
use crate::isolation::Workspace;
use crate::keeper::Keeper;
use crate::view::{View, view};

/// Serves for as long as `go_on` says so, which is asked once a step.
pub fn serve<B: Board, S: Store>(
    keeper: &mut Keeper,
    board: &mut B,
    store: &mut S,
    work: &mut Workspace,
    mut go_on: impl FnMut(&mut B) -> bool,
) {
    // Whether a host waits for what comes of its load.
    let mut awaited: Option<Result<(), Refusal>> = None;
    loop {
        let exit = serve_load(keeper, board, store, work, awaited.take(), &mut go_on);
        let Some(Exit::Load { bytes, crc }) = exit else {
            return;
        };
        awaited = take_in(keeper, board, store, (bytes, crc), &mut go_on);
    }
}

/// Serves with the load that is in the store, if it is one.
fn serve_load<B: Board, S: Store>(
    keeper: &mut Keeper,
    board: &mut B,
    store: &S,
    work: &mut Workspace,
    awaited: Option<Result<(), Refusal>>,
    go_on: &mut impl FnMut(&mut B) -> bool,
) -> Option<Exit> {
    let load = store.load();
    let read = load.and_then(|(bytes, crc)| {
        let (head, table) = Head::read(bytes)?;
        Some((head, table, bytes, crc))
    });
    let found = match &read {
        Some((head, table, bytes, crc)) => view(head, table, bytes, *crc).map(Some),
        None if load.is_some() => Err(LoadFault::Malformed),
        None => Ok(None),
    };
    if let Some(taken) = awaited {
        let answer = match (taken, &found) {
            (Err(refusal), _) => Answer::Refused(refusal),
            (Ok(()), Err(fault)) => Answer::Refused(Refusal::Load(*fault)),
            (Ok(()), Ok(_)) => Answer::Done,
        };
        board.say(keeper.end.answer(answer));
    }
    let view: Option<View<'_>> = found.ok().flatten();
    let view = view.as_ref();
    let plan = view.and_then(|v| v.head.plan.as_ref());
    let sources: Option<Sources<'_>> = plan.map(|plan| plan.sources());
    let mut app = App::new(view, sources.as_ref(), board.front());
    app.start(board);
    while go_on(board) {
        if let Some(exit) = app.step(keeper, board, work) {
            return Some(exit);
        }
    }
    None
}

/// Takes a load in; what came of it, if the host waits for an answer.
fn take_in<B: Board, S: Store>(
    keeper: &mut Keeper,
    board: &mut B,
    store: &mut S,
    announced: (u32, u32),
    go_on: &mut impl FnMut(&mut B) -> bool,
) -> Option<Result<(), Refusal>> {
    let mut loading = Loading::begin(store, announced);
    let begun = match &loading {
        Ok(_) => Answer::Done,
        Err(refusal) => Answer::Refused(*refusal),
    };
    board.say(keeper.end.answer(begun));
    while go_on(board) {
        let Ok(under_way) = &mut loading else {
            return None;
        };
        let now: Micros = board.now();
        if !keeper.end.is_up(now) {
            // The host is gone: what came of the load is none.
            return None;
        }
        let Some(byte) = board.hear() else { continue };
        let answer = match keeper.end.push(byte, now) {
            Heard::Ask(Request::LoadPiece { at, bytes }) => under_way.piece(store, at, bytes),
            Heard::Ask(Request::LoadEnd) => return Some(under_way.end(store)),
            Heard::Ask(Request::LoadBegin { bytes, crc }) => {
                loading = Loading::begin(store, (bytes, crc));
                loading.as_ref().map(|_| ()).map_err(|refusal| *refusal)
            }
            Heard::Ask(_) => Err(Refusal::Busy),
            Heard::Greeted => {
                // Another host, or the same one started anew: the load is nobody's.
                board.say(keeper.end.reply());
                return None;
            }
            Heard::Nothing | Heard::Mismatch(_) | Heard::Stored(_) => {
                let reply = keeper.end.reply();
                if !reply.is_empty() {
                    board.say(reply);
                }
                continue;
            }
        };
        board.say(keeper.end.answer(match answer {
            Ok(()) => Answer::Done,
            Err(refusal) => Answer::Refused(refusal),
        }));
    }
    None
}

/// A load under way.
#[derive(Debug, Clone, Copy)]
struct Loading {
    bytes: u32,
    crc: u32,
    /// Where the next piece begins.
    next: u32,
}

impl Loading {
    fn begin<S: Store>(store: &mut S, (bytes, crc): (u32, u32)) -> Result<Self, Refusal> {
        if bytes > MOST {
            return Err(Refusal::TooLarge { most: MOST });
        }
        store.begin(bytes)?;
        Ok(Loading {
            bytes,
            crc,
            next: 0,
        })
    }

    fn piece<S: Store>(&mut self, store: &mut S, at: u32, bytes: &[u8]) -> Result<(), Refusal> {
        let length = u32::try_from(bytes.len()).unwrap_or(u32::MAX);
        let end = at.saturating_add(length);
        if at != self.next || bytes.is_empty() || bytes.len() > PIECE || end > self.bytes {
            return Err(Refusal::Order {
                expected: self.next,
            });
        }
        store.piece(at, bytes)?;
        self.next = end;
        Ok(())
    }

    fn end<S: Store>(&self, store: &mut S) -> Result<(), Refusal> {
        if self.next != self.bytes {
            return Err(Refusal::Order {
                expected: self.next,
            });
        }
        store.end(self.bytes, self.crc)
    }
}
