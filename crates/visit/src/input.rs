//! What a visit is told, and why it may refuse.

use ohmtrail_circuit::meter::VOLTMETER_OHMS;
use ohmtrail_core::accuracy::Spec;
use ohmtrail_core::reading::{Flags, Function, MeterId, Reading, Shown};
use ohmtrail_trail::event::{Act, MeterJoined, Opened, PlateEntry, Quote, Repair, Streamed};

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
