//! The host's end: greets, hears, asks, and says what it has stored.

use ohmtrail_core::units::Micros;

use crate::frame::{Frames, Got, Kind, Wire};
use crate::hello::{BoxHello, HostHello, Identity, Speaks};
use crate::message::{Answer, Down, Item, Light, Live, Request, Up};

/// A greeting is sent again after this long without an answer, microseconds.
pub const GREET_AGAIN: u64 = 500_000;
/// A request is sent again after this long without an answer, microseconds.
pub const ASK_AGAIN: u64 = 300_000;
/// How many times a request is sent before it counts as not answered.
pub const ASK_TIMES: u8 = 20;
/// The host says that it hears at least this often, microseconds.
pub const HEAR_EVERY: u64 = 500_000;
/// A link that was silent for so long is down, microseconds.
pub const SILENT: u64 = 3_000_000;

/// What came of a byte, or of time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Event {
    /// The box answered the greeting: it may be asked.
    Greeted(Identity),
    /// The box speaks something else: nothing can be said to it.
    Mismatch {
        /// What the box speaks.
        theirs: Speaks,
        /// Its firmware.
        firmware: [u8; 3],
    },
    /// The box started again, or another host was there: it is greeted again.
    Restarted {
        /// Whether a request was under way: it may have been obeyed.
        unanswered: bool,
    },
    /// The box has been silent for [`SILENT`]. It is greeted again, for a session of its own.
    Silent {
        /// Whether a request was under way: it may have been obeyed.
        unanswered: bool,
    },
    /// The box is there.
    Here {
        /// The number of the newest kept item.
        newest: u32,
        /// What its lights say.
        light: Light,
        /// The step it is at.
        step: u16,
    },
    /// A value.
    Live(Live),
    /// The next kept item: store it, then call [`HostEnd::stored`].
    Kept {
        /// Its number.
        number: u32,
        /// How many before it were stored by another host and are not here.
        missing: u32,
        /// The item.
        item: Item,
    },
    /// The box holds fewer items than this host has stored of it: it is not the ring that the
    /// host thinks it is. Nothing is taken.
    Behind {
        /// The number of its newest item.
        newest: u32,
    },
    /// The answer to the request of [`HostEnd::ask`].
    Answer(Answer),
    /// The box did not answer the request.
    NoAnswer,
    /// A frame came damaged and was dropped.
    Damaged,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Stage {
    Greeting,
    Talking,
    Mismatched,
}

/// The host's end of a link.
#[derive(Debug)]
pub struct HostEnd {
    frames: Frames,
    session: u32,
    stage: Stage,
    next_greeting: Micros,
    next_hearing: Micros,
    heard: Option<Micros>,
    stored: Option<u32>,
    number: u16,
    pending: Option<Pending>,
    wire: Wire,
}

/// A request that is not answered.
#[derive(Debug)]
struct Pending {
    wire: Wire,
    left: u8,
    next: Micros,
}

/// A request cannot be made now.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CannotAsk {
    /// The box has not answered the greeting.
    NotGreeted,
    /// The request before is not answered.
    Busy,
    /// The request does not fit a frame.
    TooLong,
}

impl core::fmt::Display for CannotAsk {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            CannotAsk::NotGreeted => "the box has not answered the greeting",
            CannotAsk::Busy => "the request before is not answered",
            CannotAsk::TooLong => "the request does not fit a frame",
        })
    }
}

impl core::error::Error for CannotAsk {}

impl HostEnd {
    /// A host that opens this session: a number that this box has not seen lately, chosen at
    /// random. Zero is taken as one.
    #[must_use]
    pub fn new(session: u32) -> Self {
        HostEnd {
            frames: Frames::new(),
            session: session.max(1),
            stage: Stage::Greeting,
            next_greeting: Micros(0),
            next_hearing: Micros(0),
            heard: None,
            stored: None,
            number: 0,
            pending: None,
            wire: Wire::new(),
        }
    }

    /// Collects kept items: every one up to this number is on disk already, 0 if none is.
    pub fn collect(&mut self, stored: u32) {
        self.stored = Some(stored);
        self.next_hearing = Micros(0);
    }

    /// The item of this number is on disk. Say it only then: the box forgets the item.
    pub fn stored(&mut self, number: u32) {
        if let Some(stored) = &mut self.stored
            && number > *stored
        {
            *stored = number;
            // Said at once, so that the box sends on.
            self.next_hearing = Micros(0);
        }
    }

    /// Whether a request may be made.
    #[must_use]
    pub fn may_ask(&self) -> bool {
        self.stage == Stage::Talking && self.pending.is_none()
    }

    /// Asks for something; the answer comes as an [`Event`].
    ///
    /// # Errors
    /// [`CannotAsk`].
    pub fn ask(&mut self, request: Request<'_>) -> Result<(), CannotAsk> {
        if self.stage != Stage::Talking {
            return Err(CannotAsk::NotGreeted);
        }
        if self.pending.is_some() {
            return Err(CannotAsk::Busy);
        }
        self.number = self.number.checked_add(1).unwrap_or(1);
        let message = Down::Ask {
            session: self.session,
            number: self.number,
            request,
        };
        let mut wire = Wire::new();
        wire.message(Kind::Down, &message)
            .map_err(|_| CannotAsk::TooLong)?;
        self.pending = Some(Pending {
            wire,
            left: ASK_TIMES,
            next: Micros(0),
        });
        Ok(())
    }

    /// Takes a byte in.
    pub fn push(&mut self, byte: u8, now: Micros) -> Option<Event> {
        match self.frames.push(byte) {
            Got::Nothing => None,
            Got::Damaged => Some(Event::Damaged),
            Got::Frame => self.frame(now),
        }
    }

    /// How many bytes are gathered towards a frame.
    #[must_use]
    pub const fn gathered(&self) -> usize {
        self.frames.gathered()
    }

    fn frame(&mut self, now: Micros) -> Option<Event> {
        let (kind, body) = self.frames.frame()?;
        match kind {
            Kind::BoxHello => {
                let hello = BoxHello::decode(body)?;
                self.hello(&hello, now)
            }
            Kind::Up if self.stage == Stage::Talking => {
                let up = postcard::from_bytes::<Up>(body).ok();
                up.map_or(Some(Event::Damaged), |up| self.hear(up, now))
            }
            _ => None,
        }
    }

    fn hello(&mut self, hello: &BoxHello, now: Micros) -> Option<Event> {
        if hello.speaks != Speaks::OURS {
            let told = self.stage == Stage::Mismatched;
            self.stage = Stage::Mismatched;
            self.pending = None;
            return (!told).then_some(Event::Mismatch {
                theirs: hello.speaks,
                firmware: hello.who.firmware,
            });
        }
        match (self.stage, hello.session == self.session) {
            (Stage::Talking, true) => None,
            (_, true) => {
                self.stage = Stage::Talking;
                self.heard = Some(now);
                self.next_hearing = Micros(0);
                Some(Event::Greeted(hello.who))
            }
            // A box that has no session: it started, or another was open before.
            (Stage::Talking, false) => Some(Event::Restarted {
                unanswered: self.begin_anew(),
            }),
            (_, false) => {
                self.stage = Stage::Greeting;
                self.next_greeting = Micros(0);
                None
            }
        }
    }

    /// Greets for another session, in which requests count anew; whether one was under way.
    fn begin_anew(&mut self) -> bool {
        self.stage = Stage::Greeting;
        self.session = self.session.wrapping_add(1).max(1);
        self.number = 0;
        self.next_greeting = Micros(0);
        self.heard = None;
        self.pending.take().is_some()
    }

    fn hear(&mut self, up: Up, now: Micros) -> Option<Event> {
        let (Up::Here { session, .. }
        | Up::Live { session, .. }
        | Up::Kept { session, .. }
        | Up::Answer { session, .. }) = up;
        if session != self.session {
            return None;
        }
        self.heard = Some(now);
        match up {
            Up::Here {
                newest,
                light,
                step,
                ..
            } => match self.stored {
                Some(stored) if stored > newest => Some(Event::Behind { newest }),
                _ => Some(Event::Here {
                    newest,
                    light,
                    step,
                }),
            },
            Up::Live { live, .. } => Some(Event::Live(live)),
            Up::Kept {
                oldest,
                number,
                item,
                ..
            } => self.kept(oldest, number, item),
            Up::Answer { number, answer, .. } => {
                let wanted = number == self.number && self.pending.is_some();
                wanted.then(|| {
                    self.pending = None;
                    Event::Answer(answer)
                })
            }
        }
    }

    fn kept(&mut self, oldest: u32, number: u32, item: Item) -> Option<Event> {
        let next = self.stored?.checked_add(1)?;
        if number < next {
            // It was stored: the box has not heard of it.
            self.next_hearing = Micros(0);
            return None;
        }
        // A gap in what the box holds is no gap in the line.
        if number == next || (oldest > next && number == oldest) {
            return Some(Event::Kept {
                number,
                missing: number.saturating_sub(next),
                item,
            });
        }
        None
    }

    /// What to send now; call again until there is nothing more.
    pub fn poll(&mut self, now: Micros) -> Option<&[u8]> {
        if self.stage == Stage::Greeting {
            if now < self.next_greeting {
                return None;
            }
            self.next_greeting = later(now, GREET_AGAIN);
            let hello = HostHello {
                speaks: Speaks::OURS,
                session: self.session,
            };
            self.wire.plain(Kind::HostHello, &hello.encode()).ok()?;
            return Some(self.wire.bytes());
        }
        if self.stage == Stage::Mismatched {
            return None;
        }
        if now >= self.next_hearing {
            self.next_hearing = later(now, HEAR_EVERY);
            let hear = Down::Hear {
                session: self.session,
                stored: self.stored,
            };
            self.wire.message(Kind::Down, &hear).ok()?;
            return Some(self.wire.bytes());
        }
        let pending = self.pending.as_mut()?;
        if now < pending.next || pending.left == 0 {
            return None;
        }
        pending.next = later(now, ASK_AGAIN);
        pending.left = pending.left.saturating_sub(1);
        Some(pending.wire.bytes())
    }

    /// What time has brought: a silent box, a request without an answer.
    pub fn tick(&mut self, now: Micros) -> Option<Event> {
        if self
            .pending
            .as_ref()
            .is_some_and(|p| p.left == 0 && now >= p.next)
        {
            self.pending = None;
            return Some(Event::NoAnswer);
        }
        let silent = self
            .heard
            .is_some_and(|heard| now.since(heard) > SILENT && self.stage == Stage::Talking);
        if silent {
            return Some(Event::Silent {
                unanswered: self.begin_anew(),
            });
        }
        None
    }

    /// When [`poll`](HostEnd::poll) and [`tick`](HostEnd::tick) want to be called next.
    #[must_use]
    pub fn wake(&self) -> Option<Micros> {
        match self.stage {
            Stage::Greeting => Some(self.next_greeting),
            Stage::Mismatched => None,
            Stage::Talking => {
                let pending = self.pending.as_ref().map(|p| p.next);
                Some(pending.map_or(self.next_hearing, |p| p.min(self.next_hearing)))
            }
        }
    }
}

fn later(now: Micros, by: u64) -> Micros {
    Micros(now.0.saturating_add(by))
}
