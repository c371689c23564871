//! The box's end: answers the greeting, obeys each request once, and hands kept items over until
//! they are stored.

use ohmtrail_core::units::Micros;

use crate::frame::{Frames, Got, Kind, Wire};
use crate::hello::{BoxHello, HostHello, Identity, Speaks};
use crate::host::SILENT;
use crate::message::{Answer, Down, Item, Light, Live, Request, Up};

/// The box says that it is there at least this often, microseconds.
pub const HERE_EVERY: u64 = 1_000_000;
/// Items that were sent and not stored are sent again after this long, microseconds.
pub const SEND_AGAIN: u64 = 1_000_000;
/// How many items are on the line at one time.
pub const WINDOW: u32 = 4;

/// What came of a byte.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Heard<'a> {
    /// Nothing to be done, or nothing that this box should do: send what
    /// [`StationEnd::reply`] holds.
    Nothing,
    /// A host greeted and speaks the same.
    Greeted,
    /// A host greeted and speaks something else: it was told who this box is.
    Mismatch(Speaks),
    /// Every item up to this number is on the host's disk.
    Stored(u32),
    /// Obey, then call [`StationEnd::answer`].
    Ask(Request<'a>),
}

/// The session with a host.
#[derive(Debug, Clone, Copy)]
struct Session {
    number: u32,
    heard: Micros,
    /// The host collects, and has this many.
    stored: Option<u32>,
    /// The newest item that was sent since the host last said what it has.
    sent: u32,
    sent_at: Micros,
    /// The newest request that was obeyed, and its answer.
    obeyed: u16,
    answer: Option<Answer>,
}

/// The box's end of a link.
#[derive(Debug)]
pub struct StationEnd {
    who: Identity,
    frames: Frames,
    session: Option<Session>,
    next_here: Micros,
    damaged: u32,
    wire: Wire,
    /// The request under way.
    asked: u16,
}

impl StationEnd {
    /// A box without a session.
    #[must_use]
    pub const fn new(who: Identity) -> Self {
        StationEnd {
            who,
            frames: Frames::new(),
            session: None,
            next_here: Micros(0),
            damaged: 0,
            wire: Wire::new(),
            asked: 0,
        }
    }

    /// Who this box is.
    #[must_use]
    pub const fn who(&self) -> &Identity {
        &self.who
    }

    /// Whether a host listens.
    #[must_use]
    pub fn is_up(&self, now: Micros) -> bool {
        self.session.is_some_and(|s| now.since(s.heard) <= SILENT)
    }

    /// Frames that came damaged.
    #[must_use]
    pub const fn damaged(&self) -> u32 {
        self.damaged
    }

    /// Takes a byte in. Send [`reply`](StationEnd::reply) after each.
    pub fn push(&mut self, byte: u8, now: Micros) -> Heard<'_> {
        self.wire = Wire::new();
        match self.frames.push(byte) {
            Got::Nothing => Heard::Nothing,
            Got::Damaged => {
                self.damaged = self.damaged.saturating_add(1);
                Heard::Nothing
            }
            Got::Frame => self.frame(now),
        }
    }

    /// What to send in reply to the byte that was pushed last.
    #[must_use]
    pub fn reply(&self) -> &[u8] {
        self.wire.bytes()
    }

    fn frame(&mut self, now: Micros) -> Heard<'_> {
        let greeting = match self.frames.frame() {
            Some((Kind::HostHello, body)) => HostHello::decode(body),
            _ => None,
        };
        if let Some(hello) = greeting {
            return self.hello(&hello, now);
        }
        match self.frames.frame() {
            Some((Kind::Down, body)) => {
                let Some(session) = &mut self.session else {
                    return Heard::Nothing;
                };
                match postcard::from_bytes::<Down<'_>>(body) {
                    Ok(down) => hear(session, &mut self.wire, &mut self.asked, down, now),
                    Err(_) => {
                        self.damaged = self.damaged.saturating_add(1);
                        Heard::Nothing
                    }
                }
            }
            _ => Heard::Nothing,
        }
    }

    fn hello(&mut self, hello: &HostHello, now: Micros) -> Heard<'static> {
        let same = hello.speaks == Speaks::OURS && hello.session != 0;
        // Each greeting opens a session anew. A line keeps its order: one that was sent again comes
        // before the first request.
        self.session = same.then_some(Session {
            number: hello.session,
            heard: now,
            stored: None,
            sent: 0,
            sent_at: now,
            obeyed: 0,
            answer: None,
        });
        self.greet(hello.session);
        if same {
            self.next_here = now;
            Heard::Greeted
        } else {
            Heard::Mismatch(hello.speaks)
        }
    }

    fn greet(&mut self, session: u32) {
        let hello = BoxHello {
            speaks: Speaks::OURS,
            session,
            who: self.who,
        };
        // A hello always fits.
        let _ = self.wire.plain(Kind::BoxHello, &hello.encode());
    }

    /// The request that was asked is obeyed: frames its answer, which stays for as long as the
    /// host may ask again.
    pub fn answer(&mut self, answer: Answer) -> &[u8] {
        self.wire = Wire::new();
        if let Some(session) = &mut self.session {
            session.obeyed = self.asked;
            session.answer = Some(answer);
            send_answer(session, &mut self.wire);
        }
        self.wire.bytes()
    }

    /// What to send by itself now: that the box is there, or who it is where no host has greeted.
    pub fn poll(&mut self, newest: u32, light: Light, step: u16, now: Micros) -> Option<&[u8]> {
        if now < self.next_here {
            return None;
        }
        self.next_here = Micros(now.0.saturating_add(HERE_EVERY));
        if !self.is_up(now) {
            self.greet(0);
            return Some(self.wire.bytes());
        }
        let session = self.session.as_ref()?.number;
        let here = Up::Here {
            session,
            newest,
            light,
            step,
        };
        self.wire.message(Kind::Up, &here).ok()?;
        Some(self.wire.bytes())
    }

    /// Frames a value, where a host listens.
    pub fn live(&mut self, live: Live, now: Micros) -> Option<&[u8]> {
        if !self.is_up(now) {
            return None;
        }
        let session = self.session.as_ref()?.number;
        self.wire
            .message(Kind::Up, &Up::Live { session, live })
            .ok()?;
        Some(self.wire.bytes())
    }

    /// The number of the item to send now, of those from `oldest` to `newest` that the box holds.
    pub fn due(&mut self, oldest: u32, newest: u32, now: Micros) -> Option<u32> {
        if !self.is_up(now) {
            return None;
        }
        let session = self.session.as_mut()?;
        let stored = session.stored?;
        let first = stored.checked_add(1)?.max(oldest);
        if session.sent >= first && now.since(session.sent_at) > SEND_AGAIN {
            session.sent = stored;
        }
        let next = session.sent.checked_add(1)?.max(first);
        let within = next.saturating_sub(first) < WINDOW;
        (next <= newest && within).then_some(next)
    }

    /// Frames a kept item, after [`due`](StationEnd::due) asked for it.
    pub fn kept(&mut self, oldest: u32, number: u32, item: Item, now: Micros) -> Option<&[u8]> {
        let session = self.session.as_mut()?;
        session.sent = number;
        session.sent_at = now;
        let kept = Up::Kept {
            session: session.number,
            oldest,
            number,
            item,
        };
        self.wire.message(Kind::Up, &kept).ok()?;
        Some(self.wire.bytes())
    }
}

fn hear<'b>(
    session: &mut Session,
    wire: &mut Wire,
    asked: &mut u16,
    down: Down<'b>,
    now: Micros,
) -> Heard<'b> {
    let (Down::Hear {
        session: number, ..
    }
    | Down::Ask {
        session: number, ..
    }) = down;
    if number != session.number {
        return Heard::Nothing;
    }
    session.heard = now;
    match down {
        Down::Hear { stored: None, .. } => {
            session.stored = None;
            Heard::Nothing
        }
        Down::Hear {
            stored: Some(stored),
            ..
        } => {
            // What the host has on its disk does not become less.
            let most = session.stored.map_or(stored, |before| before.max(stored));
            session.stored = Some(most);
            session.sent = session.sent.max(most);
            Heard::Stored(most)
        }
        Down::Ask {
            number, request, ..
        } => {
            if number == session.obeyed {
                send_answer(session, wire);
                return Heard::Nothing;
            }
            *asked = number;
            Heard::Ask(request)
        }
    }
}

fn send_answer(session: &Session, wire: &mut Wire) {
    if let Some(answer) = session.answer {
        let up = Up::Answer {
            session: session.number,
            number: session.obeyed,
            answer,
        };
        // An answer always fits.
        let _ = wire.message(Kind::Up, &up);
    }
}
