//! What a box and its host say to each other once they have greeted.
//!
//! **Append only.** A variant's number and a field's place are on the wire, and in the flash of
//! boxes: new variants go to the end of their enum. Any change of these types changes
//! [`SCHEMA`](crate::hello::SCHEMA), and ends of different schemas do not talk.
//!
//! Numbers are postcard's: unsigned integers as varints, signed ones zigzagged first, `f32` as its
//! four bytes little-endian, an `Option` as 0 or 1 and its value, an enum as the number of its
//! variant.

use ohmtrail_core::accuracy::Void;
use ohmtrail_core::reading::{Flags, Function, Shown};
use ohmtrail_core::units::Micros;
use postcard_schema::Schema;
use serde::{Deserialize, Serialize};

/// The most bytes of a piece of a load.
pub const PIECE: usize = 128;

/// From the host to the box.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, Schema)]
pub enum Down<'a> {
    /// The host listens: at least once a second. Silence for 3 s is a link that is down.
    Hear {
        /// The session.
        session: u32,
        /// The host has every kept item up to this number on its disk, and wants the next ones;
        /// none if it does not collect.
        stored: Option<u32>,
    },
    /// The host asks for something. Sent again until it is answered; obeyed once.
    Ask {
        /// The session.
        session: u32,
        /// Counts from 1 in each session.
        number: u16,
        /// What it asks for.
        #[serde(borrow)]
        request: Request<'a>,
    },
}

/// What a host asks for.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, Schema)]
pub enum Request<'a> {
    /// How the box is: [`Answer::Status`].
    Status,
    /// The load that follows has this length and check; what was loaded before is forgotten.
    LoadBegin {
        /// Bytes.
        bytes: u32,
        /// CRC-32 of all of them.
        crc: u32,
    },
    /// The next piece of the load.
    LoadPiece {
        /// Where it begins.
        at: u32,
        /// At most [`PIECE`] bytes.
        bytes: &'a [u8],
    },
    /// The load is whole: check it and use it.
    LoadEnd,
    /// Look into yourself: [`Answer::SelfTest`].
    SelfTest,
    /// Begin this.
    Walk(Walk),
    /// As if this button were pressed on the box.
    Press(Button),
    /// Set the front end to this function. Refused within a walk, which sets it by itself.
    Measure(Function),
}

/// What a box does by itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, Schema)]
pub enum Walk {
    /// Nothing: it is a meter.
    Meter,
    /// The test of this number out of the load.
    Test(u8),
    /// The isolation of the loaded sheet.
    Isolation,
}

/// The box's buttons.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, Schema)]
pub enum Button {
    /// Yes; done.
    Yes,
    /// No.
    No,
    /// It cannot be reached, or cannot be done.
    Skip,
    /// End this walk.
    Stop,
    /// The next walk: tests first, the isolation last.
    Next,
    /// Begin it.
    Go,
}

/// From the box to the host.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, Schema)]
pub enum Up {
    /// The box is there: at least once a second.
    Here {
        /// The session.
        session: u32,
        /// The number of the newest kept item; 0 if there never was one.
        newest: u32,
        /// What its lights say.
        light: Light,
        /// The step it is at: the number on the card, 0 if none.
        step: u16,
    },
    /// One value of the front end. Not kept, and not sent again.
    Live {
        /// The session.
        session: u32,
        /// The value.
        live: Live,
    },
    /// A kept item. Sent again until the host has stored it.
    Kept {
        /// The session.
        session: u32,
        /// The number of the oldest item that the box still holds: what comes before was stored
        /// by a host.
        oldest: u32,
        /// Its number, from 1 without a gap.
        number: u32,
        /// The item.
        item: Item,
    },
    /// The answer to a request.
    Answer {
        /// The session.
        session: u32,
        /// The request's number.
        number: u16,
        /// The answer.
        answer: Answer,
    },
}

/// One value of the front end, as the box displays it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, Schema)]
pub struct Live {
    /// What the front end was set to.
    pub function: Function,
    /// The value, digits as scaled.
    pub shown: Shown,
    /// What a display would show besides.
    pub flags: Flags,
    /// When, on the box's clock.
    pub at: Micros,
}

/// What the box's lights and tones say. Told by shape and rhythm, never by colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, Schema)]
#[repr(u8)]
pub enum Light {
    /// Nothing to say: it waits for a value that stands still.
    Wait = 0,
    /// Within its limits.
    Pass = 1,
    /// Outside its limits.
    Fail = 2,
    /// Too close to call, or a limit that does not condemn by itself.
    Unsure = 3,
    /// The value proves nothing.
    Void = 4,
    /// A live value where there should be none. Hands off.
    Alarm = 5,
    /// Something is to be done: the step's number is on the card.
    Step = 6,
    /// No room to keep more: connect a host.
    Full = 7,
    /// The walk is over and named a fault: its number follows.
    Found = 8,
    /// The walk is over and named none.
    NotFound = 9,
}

impl Light {
    /// Every pattern.
    pub const ALL: [Light; 10] = [
        Light::Wait,
        Light::Pass,
        Light::Fail,
        Light::Unsure,
        Light::Void,
        Light::Alarm,
        Light::Step,
        Light::Full,
        Light::Found,
        Light::NotFound,
    ];

    /// In words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Light::Wait => "waiting for a value that stands still",
            Light::Pass => "pass",
            Light::Fail => "fail",
            Light::Unsure => "unsure",
            Light::Void => "void: proves nothing",
            Light::Alarm => "alarm: live value, hands off",
            Light::Step => "a step is to be done",
            Light::Full => "no room to keep more: connect a host",
            Light::Found => "a fault is named",
            Light::NotFound => "no fault is named",
        }
    }
}

/// Something the box keeps until a host has it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, Schema)]
pub struct Item {
    /// How many times the box had started when it was made.
    pub boot: u32,
    /// When, since that start.
    pub at: Micros,
    /// What.
    pub what: What,
}

impl Item {
    /// Writes the item to the front of `out`; how many bytes it took, none if there is no room.
    #[must_use]
    pub fn encode(&self, out: &mut [u8]) -> Option<usize> {
        postcard::to_slice(self, out).ok().map(|used| used.len())
    }

    /// The item in these bytes; none if they are none.
    #[must_use]
    pub fn decode(bytes: &[u8]) -> Option<Item> {
        postcard::from_bytes(bytes).ok()
    }
}

/// What is kept.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, Schema)]
pub enum What {
    /// A walk began.
    Began {
        /// Which.
        walk: Walk,
        /// CRC-32 of the load that it rests on.
        load: u32,
    },
    /// A value settled and was taken.
    Took(Took),
    /// Something was looked at.
    Looked {
        /// The step: the number on the card.
        step: u16,
        /// What was answered.
        yes: bool,
    },
    /// Something was done, as somebody said by a button.
    Did {
        /// The step: the number on the card.
        step: u16,
    },
    /// A step was passed over.
    Skipped {
        /// The step: the number on the card.
        step: u16,
    },
    /// The walk ended with a verdict on a part.
    Judged {
        /// The test.
        test: u8,
        /// The verdict.
        light: Light,
    },
    /// The isolation ended with the faults of this hypothesis.
    Found {
        /// Its number in the table.
        hypothesis: u16,
        /// Its faults' numbers in the sheet; 65535 where there is none.
        faults: [u16; 2],
        /// Its posterior probability.
        p: f32,
    },
    /// The isolation ended without naming a fault.
    NotFound {
        /// What was measured fits no fault of the table.
        unnamed: bool,
    },
    /// A live value was read where there should be none.
    Alarm {
        /// The value.
        took: Took,
    },
    /// The walk was stopped by hand.
    Stopped,
}

/// A value that was taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, Schema)]
pub struct Took {
    /// The step it answers: the number on the card; 0 for none.
    pub step: u16,
    /// What the front end was set to.
    pub function: Function,
    /// The value.
    pub shown: Shown,
    /// What a display would show besides.
    pub flags: Flags,
    /// Highest less lowest while it settled, counts.
    pub spread: u32,
    /// How many values it settled over.
    pub count: u16,
    /// What the lights said.
    pub light: Light,
    /// Why it proves nothing, if it does not.
    pub void: Option<Void>,
}

/// The box's answer to a request.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, Schema)]
pub enum Answer {
    /// Done.
    Done,
    /// Not done.
    Refused(Refusal),
    /// How the box is.
    Status(Status),
    /// What it found in itself.
    SelfTest(SelfTest),
}

/// Why a request was not obeyed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, Schema)]
pub enum Refusal {
    /// The load does not fit the box's memory for it.
    TooLarge {
        /// The most bytes that fit.
        most: u32,
    },
    /// A piece that does not follow the one before, or no load was begun.
    Order {
        /// Where the next piece must begin.
        expected: u32,
    },
    /// The bytes arrived and are not those that were announced.
    Check,
    /// The load is not one that this firmware can use.
    Load(LoadFault),
    /// Nothing is loaded that this could be done with.
    NothingLoaded,
    /// There is no such test in the load.
    NoSuchTest,
    /// A walk is under way: stop it first.
    Busy,
    /// The front end cannot measure this.
    NoSuchFunction,
    /// The flash refused.
    Flash,
    /// No room to keep what this would bring: collect first.
    Full,
}

impl Refusal {
    /// In words, and what to do.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Refusal::TooLarge { .. } => "the load is larger than the box's memory for it",
            Refusal::Order { .. } => "a piece of the load came out of order: load again",
            Refusal::Check => "the load did not arrive as it was sent: load again",
            Refusal::Load(fault) => fault.words(),
            Refusal::NothingLoaded => "nothing is loaded: run `ohmtrail box load`",
            Refusal::NoSuchTest => "the load has no test of that number",
            Refusal::Busy => "the box is in the middle of a walk: stop it first",
            Refusal::NoSuchFunction => "the box's front end cannot measure this",
            Refusal::Flash => "the box's flash refused: run `ohmtrail box selftest`",
            Refusal::Full => "the box has no room to keep more: run `ohmtrail box log` first",
        }
    }
}

/// What is wrong with a load.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, Schema)]
pub enum LoadFault {
    /// It is no load, or ends early.
    Malformed,
    /// Its table is not one, or of another version.
    Table,
    /// Its table has more hypotheses and samples than the box has room for.
    Weights,
    /// Its table has more asks, hypotheses or rows than the box has room for.
    Room,
    /// Its safety plan cannot be carried out, or is larger than the box has room for.
    Plan,
    /// One of its tests has limits that are none.
    Test,
}

impl LoadFault {
    /// In words, and what to do.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            LoadFault::Malformed => "the load cannot be read: make it with this version",
            LoadFault::Table => "the load's table cannot be used: compile the sheet again",
            LoadFault::Weights => "the table needs more memory than the box has: fewer samples",
            LoadFault::Room => "the table has more checks or faults than the box has room for",
            LoadFault::Plan => "the load's safety plan cannot be carried out on the box",
            LoadFault::Test => "a test of the load has limits that are none",
        }
    }
}

/// How the box is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, Schema)]
pub struct Status {
    /// How many times it has started.
    pub boot: u32,
    /// The number of the oldest item that it holds; `newest + 1` if it holds none.
    pub oldest: u32,
    /// The number of the newest item; 0 if there never was one.
    pub newest: u32,
    /// How many more items it can keep, at least.
    pub room: u32,
    /// What is loaded.
    pub load: Option<Loaded>,
    /// What it does.
    pub walk: Walk,
    /// The step it is at: the number on the card, 0 if none.
    pub step: u16,
    /// What its lights say.
    pub light: Light,
    /// Frames of the host's that came damaged, since it started.
    pub damaged: u32,
    /// The deepest that its stack has been since it started, and how deep it may be, in bytes.
    pub stack: [u32; 2],
}

/// What is loaded.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, Schema)]
pub struct Loaded {
    /// CRC-32 of the whole load.
    pub crc: u32,
    /// Bytes.
    pub bytes: u32,
    /// How many tests of parts it has.
    pub tests: u8,
    /// The first eight bytes of the hash of the sheet whose table it has, if it has one.
    pub sheet: Option<[u8; 8]>,
}

/// What the box found in itself. Every one of these should be true.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, Schema)]
pub struct SelfTest {
    /// The core judges a value whose verdict is known, and gives that verdict.
    pub arithmetic: bool,
    /// What is loaded has the check it was loaded with; true if nothing is loaded.
    pub load: bool,
    /// Every kept item can be read, and they are numbered without a gap.
    pub ring: bool,
    /// The stack has never been within an eighth of its bottom.
    pub stack: bool,
}

impl SelfTest {
    /// Whether all is as it should be.
    #[must_use]
    pub const fn is_sound(&self) -> bool {
        self.arithmetic && self.load && self.ring && self.stack
    }
}
