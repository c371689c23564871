//! What a visit is told, and why it may refuse.

use ohmtrail_circuit::meter::VOLTMETER_OHMS;
use ohmtrail_core::accuracy::Spec;
use ohmtrail_core::reading::{Flags, Function, MeterId, Reading, Shown};
use ohmtrail_trail::event::{Act, MeterJoined, Opened, PlateEntry, Quote, Repair, Streamed};

use crate::quote::QuoteError;

/// The point that stands for the probes held together: an ohms take between it and itself says
/// what the leads have.
pub const LEADS: &str = "leads";

/// What a meter's inputs are on volts, as its maker states them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Inputs {
    /// Input resistance, ohms.
    pub ohms: f64,
    /// Input resistance in the low-impedance mode, ohms; none if it has no such mode.
    pub low_impedance_ohms: Option<f64>,
}

impl Default for Inputs {
    /// Those of a meter that nothing is known of.
    fn default() -> Self {
        Inputs {
            ohms: VOLTMETER_OHMS,
            low_impedance_ohms: None,
        }
    }
}

/// Under so many ohms the volts of a floating conductor collapse. IEC 61243-3 takes this value as
/// its reference between voltage detectors of low and of high internal impedance (verified at
/// second hand).
const COLLAPSES_UNDER: f64 = 100e3;

impl Inputs {
    /// Whether every volt that it shows is read into a low impedance.
    #[must_use]
    pub fn are_low(&self) -> bool {
        self.ohms < COLLAPSES_UNDER
    }

    /// Whether it can read volts into a low impedance, at all times or in a mode of its own.
    #[must_use]
    pub fn can_be_low(&self) -> bool {
        self.are_low() || self.low_impedance_ohms.is_some_and(|o| o < COLLAPSES_UNDER)
    }
}

/// A settled reading.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Taken {
    /// The ask that it answers; none if volunteered.
    pub ask: Option<u32>,
    /// The meter; none for the one in use.
    pub meter: Option<MeterId>,
    /// What the meter was set to; none for what was asked.
    pub function: Option<Function>,
    /// The points; none for those that were asked.
    pub points: Option<[String; 2]>,
    /// What the display showed.
    pub shown: Shown,
    /// Its annunciators.
    pub flags: Flags,
}

impl Default for Taken {
    fn default() -> Self {
        Taken {
            ask: None,
            meter: None,
            function: None,
            points: None,
            shown: Shown::Blank,
            flags: Flags::NONE,
        }
    }
}

/// What a visit is told.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum Input {
    /// The visit begins: always the first.
    Open(Opened),
    /// The visit repairs what an earlier one found: the second thing it is told.
    Repair(Repair),
    /// What the customer reports, by the sheet's name for it.
    Complaint {
        /// The name.
        what: String,
        /// The customer's words, if noted.
        words: String,
    },
    /// A value read off a plate or a part.
    Plate(PlateEntry),
    /// An answer to a look.
    Look {
        /// The ask that it answers; none if volunteered.
        ask: Option<u32>,
        /// The look, where it is volunteered.
        what: Option<String>,
        /// Yes or no.
        answer: bool,
    },
    /// A settled reading.
    Take(Taken),
    /// An act was done.
    Done {
        /// The ask that it answers; none if volunteered.
        ask: Option<u32>,
        /// What was done, where it is volunteered.
        act: Option<Act>,
    },
    /// An ask is passed over.
    Skip {
        /// The ask.
        ask: u32,
        /// Why.
        why: String,
    },
    /// A take is struck.
    Strike {
        /// The take's own number.
        take: u32,
        /// Why.
        why: String,
    },
    /// A meter joins.
    MeterJoined {
        /// The meter.
        joined: MeterJoined,
        /// What its maker states; empty for the cautious default.
        accuracy: Vec<Spec>,
        /// What its inputs are on volts.
        inputs: Inputs,
    },
    /// What a meter is for in this visit.
    MeterRole {
        /// Which.
        meter: MeterId,
        /// In words, such as `clamp on the common`.
        role: String,
    },
    /// The take that was to answer an ask did not come about: its meter went away, or its display
    /// never stood still.
    GivenUp {
        /// The ask.
        ask: u32,
        /// Why.
        why: String,
    },
    /// A meter fell silent.
    MeterLost {
        /// Which.
        meter: MeterId,
        /// Why, as far as known.
        why: String,
    },
    /// A meter that was lost is read again.
    MeterBack {
        /// Which.
        meter: MeterId,
        /// How long it was away, microseconds.
        gap_us: u64,
    },
    /// One display value as it comes, settled or not: watched for a live value where there should
    /// be none. Writes nothing unless the alarm sounds.
    Live(Reading),
    /// A group of streamed readings for the trail, each of which was told as [`Input::Live`].
    Readings {
        /// Which meter.
        meter: MeterId,
        /// The readings, oldest first.
        readings: Vec<Streamed>,
    },
    /// A wire end was lifted.
    Lifted {
        /// The end.
        end: String,
        /// Its colour or mark as seen.
        mark: String,
        /// Content hash of a photograph.
        photo: Option<[u8; 32]>,
    },
    /// A wire end was put back where it was.
    PutBack {
        /// The end.
        end: String,
        /// Content hash of a photograph.
        photo: Option<[u8; 32]>,
    },
    /// A wire end that is back was checked, against the drawing and the photograph of it in place.
    WireChecked {
        /// The end.
        end: String,
        /// Content hash of a photograph.
        photo: Option<[u8; 32]>,
    },
    /// A photograph was stored.
    Photo {
        /// Its BLAKE3 hash.
        hash: [u8; 32],
        /// Its media type.
        media_type: String,
        /// Bytes.
        size: u64,
        /// What it shows.
        caption: String,
    },
    /// A note.
    Note(String),
    /// No more checks: go on to leaving the unit.
    Leave {
        /// Why.
        why: String,
    },
    /// The tag was hung.
    Tagged(String),
    /// The visit ends.
    Close,
    /// A repair is quoted. Its version is given by the visit.
    Quote(Quote),
    /// It was decided on the quote that stands.
    Decide {
        /// The option that was approved; none if the repair was declined.
        option: Option<String>,
        /// Who decided.
        by: String,
        /// By what means it was told.
        means: String,
        /// The head hash on the write-up that it was decided on. That nothing came into the trail
        /// since is for the caller to see.
        paper: [u8; 32],
    },
}

/// Why an input is refused. Nothing is changed by it.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum Refusal {
    /// The visit did not begin.
    #[error("the visit is not open yet: begin it with its work order")]
    NotOpened,
    /// It began already.
    #[error("the visit is open already")]
    OpenedAlready,
    /// Another sheet than the trail's.
    #[error("the trail was made with sheet {trail}, this is {given}: open it with its own sheet")]
    OtherSheet {
        /// The trail's sheet.
        trail: String,
        /// The sheet given.
        given: String,
    },
    /// It has ended.
    #[error("the visit has ended: a return visit is a trail of its own")]
    Closed,
    /// Not the open ask.
    #[error("ask {ask} is not open{}", open_words(*.open))]
    NotOpen {
        /// The ask named.
        ask: u32,
        /// The one that is open.
        open: Option<u32>,
    },
    /// The wrong kind of answer.
    #[error("ask {ask} wants {wants}")]
    Answer {
        /// The ask.
        ask: u32,
        /// What it wants.
        wants: &'static str,
    },
    /// Neither an ask nor what it is about is named.
    #[error("say which ask this answers, or {0}")]
    Incomplete(&'static str),
    /// A name that the sheet does not know.
    #[error("the sheet has no {kind} `{name}`: see `ohmtrail sheet {list}`")]
    Unknown {
        /// What kind of thing.
        kind: &'static str,
        /// The name.
        name: String,
        /// The list that has the names.
        list: &'static str,
    },
    /// The points are not those of the ask.
    #[error("ask {ask} is for {} and {}: leave the ask out to volunteer another take", .points[0], .points[1])]
    OtherPoints {
        /// The ask.
        ask: u32,
        /// Its points.
        points: [String; 2],
    },
    /// A cold reference that cannot be read.
    #[error("{0}")]
    Cold(String),
    /// No take of that number.
    #[error("there is no take {0} that counts")]
    NoSuchTake(u32),
    /// No meter of that number.
    #[error("meter {0} has not joined the visit")]
    NoSuchMeter(u16),
    /// The wire end is not lifted.
    #[error("wire end {0} is not lifted")]
    NotLifted(String),
    /// The wire end is not back, so that nothing of it can be checked.
    #[error("wire end {0} was not put back: put it back, then check it")]
    NotBack(String),
    /// A repair begins after something was asked, or once more.
    #[error("a repair is told of right after the visit is opened, once: begin a visit for it")]
    NoRepairNow,
    /// A part that is not to be fitted, or of which nothing is known.
    #[error("{0}")]
    Match(String),
    /// The unit is not left yet.
    #[error("the unit is not left yet: answer the open asks, or leave first")]
    NotLeft,
    /// The visit goes on.
    #[error("the visit goes on: end it first, for a quote is of what it found")]
    NotClosed,
    /// A quote that cannot be one.
    #[error("{0}")]
    Quote(#[from] QuoteError),
    /// Nothing was quoted that could be decided on.
    #[error("nothing was quoted yet: add a quote first")]
    NoQuote,
    /// No such option.
    #[error("the quote has no option `{name}`: it has {}", .known.join(", "))]
    NoSuchOption {
        /// The name.
        name: String,
        /// The options' names.
        known: Vec<String>,
    },
    /// The quote held until a day that is over.
    #[error("the quote held until {0}: add a new one, and have that decided on")]
    Expired(String),
    /// Who decided, or how it was told, is missing.
    #[error("say {0}")]
    Unsaid(&'static str),
}

fn open_words(open: Option<u32>) -> String {
    open.map_or_else(String::new, |ask| format!(": {ask} is"))
}
