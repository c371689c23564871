//! The box: one step at a time, over whatever board it is on.

mod takes;

use ohmtrail_core::gates::Gates;
use ohmtrail_core::reading::Function;
use ohmtrail_core::settle::Settler;
use ohmtrail_core::units::Micros;
use ohmtrail_link::card::Step;
use ohmtrail_link::load::Sources;
use ohmtrail_link::message::{
    Answer, Button, Item, Light, LoadFault, Refusal, Request, SelfTest, Status, Walk, What,
};
use ohmtrail_link::station::Heard;

use crate::board::{Board, Shows};
use crate::front::FrontEnd;
use crate::isolation::{Ending, Isolation, Workspace};
use crate::keeper::Keeper;
use crate::lights;
use crate::parts::PartWalk;
use crate::ring::RingError;
use crate::view::{View, arithmetic};
use crate::walk::{Want, tell};

/// A verdict stands this long before the next step is shown, microseconds.
const STANDS: u64 = 2_000_000;
/// At most so many bytes of the host's are taken in one step, so that samples do not wait.
const AT_ONCE: usize = 64;

/// Why the box stopped serving.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Exit {
    /// A host announced a load of so many bytes with this check: forget the one there is, then
    /// answer.
    Load {
        /// Bytes.
        bytes: u32,
        /// CRC-32.
        crc: u32,
    },
}

/// What the box does.
#[expect(
    clippy::large_enum_variant,
    reason = "there is no heap to put the larger ones on, and only one of these"
)]
#[derive(Debug)]
enum Doing<'p> {
    Meter,
    Part(u8, PartWalk),
    Isolation(Isolation<'p>),
}

/// The box, serving with one load.
#[derive(Debug)]
pub struct App<'p> {
    view: Option<&'p View<'p>>,
    sources: Option<&'p Sources<'p>>,
    doing: Doing<'p>,
    want: Want,
    /// The probes are said to be on the points.
    armed: bool,
    settler: Settler,
    /// The clock of the samples, by which everything but the link goes.
    clock: Micros,
    function: Function,
    /// The verdict that stands, and until when.
    verdict: (Light, u16, Micros),
    alarm: bool,
    full: bool,
    /// The walk that `Next` has come to.
    chosen: u8,
    light_since: (Light, u16, Micros),
}

impl<'p> App<'p> {
    /// The box with a load, or without. `sources` are those of the load's plan.
    #[must_use]
    pub fn new(
        view: Option<&'p View<'p>>,
        sources: Option<&'p Sources<'p>>,
        front: &FrontEnd,
    ) -> Self {
        let first = front.functions.first();
        App {
            view,
            sources,
            doing: Doing::Meter,
            want: Want::Over,
            armed: false,
            settler: Settler::new(),
            clock: Micros(0),
            function: first.map_or(Function::VoltsDc, |(f, _)| *f),
            verdict: (Light::Wait, 0, Micros(0)),
            alarm: false,
            full: false,
            chosen: 0,
            light_since: (Light::Wait, 0, Micros(0)),
        }
    }

    /// Sets the front end as the box believes it to be.
    pub fn start<B: Board>(&mut self, board: &mut B) {
        self.turn(self.function, board);
    }

    /// One step: what the host said, what the front end measured, what was pressed; then what is
    /// shown and said. To be called again and again.
    pub fn step<B: Board>(
        &mut self,
        keeper: &mut Keeper,
        board: &mut B,
        work: &mut Workspace,
    ) -> Option<Exit> {
        let now = board.now();
        for _ in 0..AT_ONCE {
            let Some(byte) = board.hear() else { break };
            if let Some(exit) = self.heard(byte, keeper, board, work, now) {
                return Some(exit);
            }
        }
        while let Some(button) = board.button() {
            // A button that means nothing here does nothing.
            let _ = self.press(button, keeper, board, work);
        }
        if let Some(sample) = board.sample() {
            self.sampled(sample, keeper, board, work, now);
        }
        if let Some(bytes) = keeper.due(board.flash(), now) {
            board.say(bytes);
        }
        let (light, number) = self.light();
        let step = self.want.step().map_or(0, Step::number);
        if let Some(bytes) = keeper.end.poll(keeper.ring.newest(), light, step, now) {
            board.say(bytes);
        }
        if (light, number) != (self.light_since.0, self.light_since.1) {
            self.light_since = (light, number, self.clock);
        }
        let since_ms = self.clock.since(self.light_since.2) / 1000;
        board.show(&Shows {
            light,
            number,
            frame: lights::frame(light, number, since_ms),
            hz: lights::tone(light, since_ms),
        });
        None
    }

    fn heard<B: Board>(
        &mut self,
        byte: u8,
        keeper: &mut Keeper,
        board: &mut B,
        work: &mut Workspace,
        now: Micros,
    ) -> Option<Exit> {
        let answer = match keeper.end.push(byte, now) {
            Heard::Nothing | Heard::Greeted | Heard::Mismatch(_) => None,
            Heard::Stored(number) => {
                // A flash that refuses here refuses the next item too, and says so then.
                let _ = keeper.ring.stored(board.flash(), number);
                self.full &= keeper.ring.room() == 0;
                None
            }
            Heard::Ask(Request::LoadBegin { bytes, crc }) => {
                if !matches!(self.doing, Doing::Meter) {
                    Some(Answer::Refused(Refusal::Busy))
                } else {
                    return Some(Exit::Load { bytes, crc });
                }
            }
            Heard::Ask(Request::Status) => Some(Answer::Status(self.status(keeper, board))),
            Heard::Ask(Request::SelfTest) => Some(match self.self_test(keeper, board) {
                Ok(found) => Answer::SelfTest(found),
                Err(_) => Answer::Refused(Refusal::Flash),
            }),
            Heard::Ask(Request::Walk(walk)) => Some(answer(self.begin(walk, keeper, board, work))),
            Heard::Ask(Request::Press(button)) => {
                Some(answer(self.press(button, keeper, board, work)))
            }
            Heard::Ask(Request::Measure(function)) => Some(answer(self.set(function, board))),
            Heard::Ask(Request::LoadPiece { .. } | Request::LoadEnd) => {
                Some(answer(Err(Refusal::Order { expected: 0 })))
            }
        };
        match answer {
            Some(answer) => board.say(keeper.end.answer(answer)),
            None => {
                let reply = keeper.end.reply();
                if !reply.is_empty() {
                    board.say(reply);
                }
            }
        }
        None
    }

    fn status<B: Board>(&self, keeper: &Keeper, board: &mut B) -> Status {
        Status {
            boot: keeper.ring.boot(),
            oldest: keeper.ring.oldest(),
            newest: keeper.ring.newest(),
            room: keeper.ring.room(),
            load: self.view.map(|view| view.loaded),
            walk: self.walk(),
            step: self.want.step().map_or(0, Step::number),
            light: self.light().0,
            damaged: keeper.end.damaged(),
            stack: board.stack(),
        }
    }

    fn self_test<B: Board>(
        &self,
        keeper: &mut Keeper,
        board: &mut B,
    ) -> Result<SelfTest, RingError> {
        let [deepest, most] = board.stack();
        Ok(SelfTest {
            arithmetic: arithmetic(),
            load: self.view.is_none_or(View::is_whole),
            ring: keeper.ring.is_whole(board.flash())?,
            stack: deepest <= most.saturating_sub(most / 8),
        })
    }

    fn walk(&self) -> Walk {
        match self.doing {
            Doing::Meter => Walk::Meter,
            Doing::Part(test, _) => Walk::Test(test),
            Doing::Isolation(_) => Walk::Isolation,
        }
    }

    fn set<B: Board>(&mut self, function: Function, board: &mut B) -> Result<(), Refusal> {
        if !matches!(self.doing, Doing::Meter) {
            return Err(Refusal::Busy);
        }
        if !board.front().has(function) {
            return Err(Refusal::NoSuchFunction);
        }
        self.turn(function, board);
        Ok(())
    }

    fn turn<B: Board>(&mut self, function: Function, board: &mut B) {
        self.function = function;
        self.settler.reset();
        board.measure(function);
    }

    fn begin<B: Board>(
        &mut self,
        walk: Walk,
        keeper: &mut Keeper,
        board: &mut B,
        work: &mut Workspace,
    ) -> Result<(), Refusal> {
        if !matches!(self.doing, Doing::Meter) {
            return match walk {
                Walk::Meter => self.stop(keeper, board),
                _ => Err(Refusal::Busy),
            };
        }
        let doing = match walk {
            Walk::Meter => return Ok(()),
            Walk::Test(nth) => {
                let view = self.view.ok_or(Refusal::NothingLoaded)?;
                let test = view.head.tests.get(usize::from(nth));
                let test = test.ok_or(Refusal::NoSuchTest)?;
                Doing::Part(nth, PartWalk::new(*test).ok_or(Refusal::NoSuchTest)?)
            }
            Walk::Isolation => {
                let view = self.view.ok_or(Refusal::NothingLoaded)?;
                let (Some(table), Some(plan), Some(sources)) =
                    (view.table, view.head.plan.as_ref(), self.sources)
                else {
                    return Err(Refusal::NothingLoaded);
                };
                let fault = Refusal::Load(LoadFault::Plan);
                let gates = plan.gates(sources).map_err(|_| fault)?;
                let gates = Gates::new(gates).map_err(|_| fault)?;
                Doing::Isolation(Isolation::new(table, plan, gates))
            }
        };
        let load = self.view.map_or(0, |view| view.loaded.crc);
        self.keep(What::Began { walk, load }, keeper, board)?;
        self.doing = doing;
        self.alarm = false;
        self.verdict = (Light::Wait, 0, Micros(0));
        self.next(keeper, board, work)
    }

    fn stop<B: Board>(&mut self, keeper: &mut Keeper, board: &mut B) -> Result<(), Refusal> {
        self.alarm = false;
        if !matches!(self.doing, Doing::Meter) {
            self.keep(What::Stopped, keeper, board)?;
        }
        self.rest();
        Ok(())
    }

    /// Back to a meter.
    fn rest(&mut self) {
        self.doing = Doing::Meter;
        self.want = Want::Over;
        self.armed = false;
        self.settler.reset();
    }

    /// What the walk wants now; the end of the walk, if it wants nothing more.
    fn next<B: Board>(
        &mut self,
        keeper: &mut Keeper,
        board: &mut B,
        work: &mut Workspace,
    ) -> Result<(), Refusal> {
        let front = board.front();
        let want = match &mut self.doing {
            Doing::Meter => return Ok(()),
            Doing::Part(_, part) => part.want(front, self.clock),
            Doing::Isolation(isolation) => isolation.want(work, front, self.clock),
        };
        if want != self.want {
            self.armed = false;
        }
        self.want = want;
        match want {
            Want::Measure { function, .. } if function != self.function => {
                self.turn(function, board);
            }
            Want::Over => return self.over(keeper, board),
            _ => {}
        }
        Ok(())
    }

    fn over<B: Board>(&mut self, keeper: &mut Keeper, board: &mut B) -> Result<(), Refusal> {
        let (what, light, number) = match &self.doing {
            Doing::Meter => return Ok(()),
            Doing::Part(test, part) => {
                let light = part.verdict(board.front());
                (What::Judged { test: *test, light }, light, 0)
            }
            Doing::Isolation(isolation) => match isolation.ending() {
                Some(Ending::Found { hypothesis, p }) => {
                    let faults = isolation.faults(hypothesis);
                    let [first, _] = faults;
                    let found = What::Found {
                        hypothesis,
                        faults,
                        p,
                    };
                    // Faults are counted from 1 on the card; 0 is that none was found.
                    (found, Light::Found, first.wrapping_add(1))
                }
                Some(Ending::NotFound { unnamed }) => {
                    (What::NotFound { unnamed }, Light::NotFound, 0)
                }
                None => (What::NotFound { unnamed: false }, Light::NotFound, 0),
            },
        };
        self.keep(what, keeper, board)?;
        self.rest();
        // It stands until something else is begun or measured.
        self.verdict = (light, number, Micros(u64::MAX));
        Ok(())
    }

    fn press<B: Board>(
        &mut self,
        button: Button,
        keeper: &mut Keeper,
        board: &mut B,
        work: &mut Workspace,
    ) -> Result<(), Refusal> {
        if self.alarm {
            // The alarm is ended by hand, and by nothing else.
            self.alarm = false;
            return self.next(keeper, board, work);
        }
        match button {
            Button::Stop => return self.stop(keeper, board),
            Button::Next => {
                let walks = self.view.map_or(0, |view| {
                    view.loaded
                        .tests
                        .saturating_add(u8::from(view.table.is_some()))
                });
                self.chosen = self
                    .chosen
                    .saturating_add(1)
                    .checked_rem(walks)
                    .unwrap_or(0);
                self.verdict = (
                    Light::Step,
                    u16::from(self.chosen).saturating_add(1),
                    Micros(self.clock.0.saturating_add(STANDS)),
                );
                return Ok(());
            }
            Button::Go => {
                let tests = self.view.map_or(0, |view| view.loaded.tests);
                let walk = if self.chosen < tests {
                    Walk::Test(self.chosen)
                } else {
                    Walk::Isolation
                };
                return self.begin(walk, keeper, board, work);
            }
            Button::Yes | Button::No | Button::Skip => {}
        }
        let Some(step) = self.want.step() else {
            return Ok(());
        };
        let number = step.number();
        match (self.want, button) {
            (Want::Do(_), Button::Yes) => {
                self.keep(What::Did { step: number }, keeper, board)?;
                match &mut self.doing {
                    Doing::Part(_, part) => {
                        tell(part.gates(), step, self.clock);
                    }
                    Doing::Isolation(isolation) => isolation.did(step, self.clock),
                    Doing::Meter => {}
                }
            }
            (Want::Look(_), Button::Yes | Button::No) => {
                let yes = button == Button::Yes;
                let looked = What::Looked { step: number, yes };
                self.keep(looked, keeper, board)?;
                if let Doing::Isolation(isolation) = &mut self.doing {
                    isolation.looked(yes);
                }
            }
            (Want::Measure { .. }, Button::Yes) => {
                self.armed = true;
                self.settler.reset();
                self.verdict = (Light::Wait, 0, Micros(0));
                return Ok(());
            }
            (Want::Do(_) | Want::Look(_) | Want::Measure { .. }, Button::Skip) => {
                self.keep(What::Skipped { step: number }, keeper, board)?;
                match &mut self.doing {
                    Doing::Part(_, part) => part.skip(),
                    Doing::Isolation(isolation) => isolation.skip(step, self.clock),
                    Doing::Meter => {}
                }
            }
            _ => return Ok(()),
        }
        self.next(keeper, board, work)
    }

    fn keep<B: Board>(
        &mut self,
        what: What,
        keeper: &mut Keeper,
        board: &mut B,
    ) -> Result<(), Refusal> {
        let item = Item {
            boot: keeper.ring.boot(),
            at: self.clock,
            what,
        };
        match keeper.ring.push(board.flash(), &item) {
            Ok(_) => Ok(()),
            Err(RingError::Full) => {
                self.full = true;
                Err(Refusal::Full)
            }
            Err(RingError::Flash | RingError::TooLong) => Err(Refusal::Flash),
        }
    }

    /// What the lights say, and the number that goes with it.
    fn light(&self) -> (Light, u16) {
        if self.alarm {
            return (Light::Alarm, 0);
        }
        if self.full {
            return (Light::Full, 0);
        }
        let (verdict, number, until) = self.verdict;
        if verdict != Light::Wait && self.clock < until {
            return (verdict, number);
        }
        match self.want {
            Want::Measure { .. } if self.armed => (Light::Wait, 0),
            want => match want.step() {
                Some(step) => (Light::Step, step.number()),
                None => (Light::Wait, 0),
            },
        }
    }
}

fn answer(done: Result<(), Refusal>) -> Answer {
    match done {
        Ok(()) => Answer::Done,
        Err(refusal) => Answer::Refused(refusal),
    }
}
