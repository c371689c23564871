//! What can happen in a visit. Every event is one record of the trail, and the visit's state is
//! always a fold over them.
//!
//! **Append only.** A variant's number and a field's place are on disk for ever: new variants go
//! to the end of their enum, a changed variant becomes a new one. The golden files in
//! `tests/golden/` hold this in place.

use ohmtrail_core::class::{Class, Likely};
use ohmtrail_core::reading::{Flags, Function, MeterId, Shown};
use ohmtrail_core::units::Micros;
use serde::{Deserialize, Serialize};

pub use crate::act::Act;
pub use crate::finding::{Conclusion, Finding, Outcome, Part, Role, RuledOut, Unproven};
pub use crate::quote::{Decision, LineKind, Quote, QuoteLine, QuoteOption};
pub use crate::repair::{Fitted, Off, Proof, Proved, Repair, RepairEnd, Stamped};

/// When something happened, on both clocks: the steady one orders events, the wall clock names
/// the day, and a step of the wall clock does no harm.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Stamp {
    /// Microseconds since the writer's start, never stepping back while it runs.
    pub steady: Micros,
    /// Microseconds since 1970-01-01T00:00:00Z by the wall clock.
    pub wall_us: i64,
}

/// One entry of the trail.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Entry {
    /// When it was written.
    pub at: Stamp,
    /// What happened.
    pub event: Event,
}

/// Everything that can happen in a visit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Event {
    /// The visit began. Always the first event of a trail.
    Opened(Opened),
    /// A value read off a data plate or stamped on a part.
    Plate(PlateEntry),
    /// What the customer reports.
    Complaint {
        /// The sheet's name for it, such as `nothing-runs`.
        what: String,
        /// The customer's words, if noted.
        words: String,
    },
    /// A meter joined the visit.
    MeterJoined(MeterJoined),
    /// A meter fell silent, and why as far as known.
    MeterLost {
        /// Which meter.
        meter: MeterId,
        /// Why: unplugged, silent, garbage…
        why: String,
    },
    /// A meter that was lost is read again.
    MeterBack {
        /// Which meter.
        meter: MeterId,
        /// How long it was away, in microseconds of the steady clock.
        gap_us: u64,
    },
    /// A group of streamed readings of one meter.
    Readings {
        /// Which meter.
        meter: MeterId,
        /// The readings, oldest first.
        readings: Vec<Streamed>,
    },
    /// The visit asked for something.
    Asked(Asked),
    /// Something was looked at and answered.
    Looked {
        /// The ask that it answers; none if volunteered.
        ask: Option<u32>,
        /// The sheet's name for what was looked at, such as `run-cap.swollen`.
        what: String,
        /// Yes or no.
        answer: bool,
    },
    /// A reading settled and was taken.
    Took(Take),
    /// An ask was passed over.
    Skipped {
        /// The ask.
        ask: u32,
        /// Why: can't be reached, no such meter…
        why: String,
    },
    /// A take or an answer was found void as it was made.
    Voided {
        /// The ask or take number.
        ask: Option<u32>,
        /// Why it proves nothing.
        why: String,
    },
    /// A take is struck: it stays in the trail and counts no more.
    Struck {
        /// The take's number.
        take: u32,
        /// Why.
        why: String,
    },
    /// The technician did something to the unit.
    Acted(Acted),
    /// A safety gate opened or shut.
    Gate(GateEvent),
    /// The suspects after new evidence.
    Suspects {
        /// The fault sets, most probable first.
        ranked: Vec<Suspect>,
    },
    /// A finding was reached.
    Found(Finding),
    /// A wire end was lifted.
    Lifted {
        /// The wire end, such as `comp-common.1`.
        end: String,
        /// The terminal it was on, such as `contactor.T1`.
        from: String,
        /// Its colour or mark, as seen.
        mark: String,
        /// Content hash of a photograph, if one was taken.
        #[serde(with = "crate::hash::hex_option")]
        photo: Option<[u8; 32]>,
    },
    /// A wire end was put back.
    PutBack {
        /// The wire end.
        end: String,
        /// The terminal it is on now.
        to: String,
        /// Content hash of a photograph, if one was taken.
        #[serde(with = "crate::hash::hex_option")]
        photo: Option<[u8; 32]>,
    },
    /// A photograph was stored beside the trail.
    Photo {
        /// BLAKE3 hash of the file; its name in the photo folder.
        #[serde(with = "crate::hash::hex")]
        hash: [u8; 32],
        /// Media type, such as `image/jpeg`.
        media_type: String,
        /// Bytes.
        size: u64,
        /// What it shows.
        caption: String,
    },
    /// A note.
    Note {
        /// The words.
        text: String,
    },
    /// How the unit was left.
    Left(LeftState),
    /// The tag that was hung in the unit.
    Tagged {
        /// The tag, as plain text.
        text: String,
    },
    /// The visit ended.
    Closed,
    /// What the isolation came to; its finding follows.
    Concluded(Conclusion),
    /// What a meter is for in this visit.
    MeterRole {
        /// Which meter.
        meter: MeterId,
        /// In words, such as `clamp on the common`.
        role: String,
    },
    /// A repair was quoted; after the visit ended, too.
    Quoted(Quote),
    /// It was decided on a quote; after the visit ended, too.
    Decided(Decision),
    /// A wire end that is back was checked: against the drawing, and the photograph of it in place.
    WireChecked {
        /// The wire end.
        end: String,
        /// The terminal that it was seen on.
        on: String,
        /// Content hash of a photograph, if one was taken.
        #[serde(with = "crate::hash::hex_option")]
        photo: Option<[u8; 32]>,
    },
    /// The visit repairs what an earlier one found. The second event of its trail.
    Repair(Repair),
    /// A part was fitted.
    Fitted(Fitted),
    /// What the repair came to.
    RepairEnded(RepairEnd),
}

impl Event {
    /// The photographs that it names.
    #[must_use]
    pub fn photographs(&self) -> Vec<[u8; 32]> {
        match self {
            Event::Photo { hash, .. } => vec![*hash],
            Event::Lifted { photo, .. }
            | Event::PutBack { photo, .. }
            | Event::WireChecked { photo, .. } => photo.iter().copied().collect(),
            Event::Repair(repair) => repair.wires.iter().filter_map(|w| w.photo).collect(),
            _ => Vec::new(),
        }
    }

    /// The lowest version of entries that has this event. None is left out: a new one must say.
    pub(crate) const fn version(&self) -> u16 {
        match self {
            Event::Asked(Asked {
                request: Request::AtStart { .. },
                ..
            })
            | Event::Repair(_)
            | Event::Fitted(_)
            | Event::RepairEnded(_) => 6,
            Event::Asked(Asked {
                request: Request::Act { act },
                ..
            })
            | Event::Acted(Acted { act, .. })
                if act.is_of_repairs() =>
            {
                6
            }
            Event::Asked(Asked {
                request: Request::LowImpedance { .. },
                ..
            }) => 4,
            Event::Opened(_)
            | Event::Plate(_)
            | Event::Complaint { .. }
            | Event::MeterJoined(_)
            | Event::MeterLost { .. }
            | Event::MeterBack { .. }
            | Event::Readings { .. }
            | Event::Asked(_)
            | Event::Looked { .. }
            | Event::Took(_)
            | Event::Skipped { .. }
            | Event::Voided { .. }
            | Event::Struck { .. }
            | Event::Acted(_)
            | Event::Gate(_)
            | Event::Suspects { .. }
            | Event::Found(_)
            | Event::Lifted { .. }
            | Event::PutBack { .. }
            | Event::Photo { .. }
            | Event::Note { .. }
            | Event::Left(_)
            | Event::Tagged { .. }
            | Event::Closed => 1,
            Event::Concluded(_) | Event::MeterRole { .. } => 2,
            Event::Quoted(_) | Event::Decided(_) => 3,
            Event::WireChecked { .. } => 5,
        }
    }
}

/// The first event of every trail.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Opened {
    /// The program's version.
    pub tool: String,
    /// Work order.
    pub work_order: String,
    /// Who does the visit.
    pub technician: String,
    /// The unit, as the shop names it.
    pub unit: String,
    /// The sheet's name.
    pub sheet: String,
    /// BLAKE3 hash of the sheet's text.
    #[serde(with = "crate::hash::hex")]
    pub sheet_hash: [u8; 32],
    /// The trail before this one of the same unit: its head hash.
    #[serde(with = "crate::hash::hex_option")]
    pub previous: Option<[u8; 32]>,
    /// The unit is simulated: nothing in this trail was measured on a real one.
    pub simulated: bool,
}

/// A value read off a plate or a part.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PlateEntry {
    /// The part, or `unit` for the unit's own data plate.
    pub part: String,
    /// What it is, such as `capacitance-herm` or `rated-volts`.
    pub key: String,
    /// As printed, such as `45` or `208/230`.
    pub value: String,
    /// UCUM unit, empty if none.
    pub unit: String,
}

/// A meter as it joined.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct MeterJoined {
    /// Its number in this visit.
    pub meter: MeterId,
    /// The driver that reads it.
    pub driver: String,
    /// Where: a port path, an address, `keyed`.
    pub place: String,
    /// The profile its accuracy is taken from.
    pub profile: String,
    /// Whether that profile is the cautious default.
    pub accuracy_assumed: bool,
}

/// A streamed reading: a reading without the meter's number.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Streamed {
    /// When it was read.
    pub at: Micros,
    /// What the meter was set to.
    pub function: Function,
    /// What it showed.
    pub shown: Shown,
    /// Its annunciators.
    pub flags: Flags,
}

/// Whether the unit is under power.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Power {
    /// Breaker open.
    Off,
    /// Breaker closed.
    On,
}

/// The state of the unit around a take.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct UnitState {
    /// Whether it is under power.
    pub power: Power,
    /// The wire ends that are lifted.
    pub lifted: Vec<String>,
    /// Whether the motors had time to cool since they were last under power.
    pub cooled: bool,
}

/// Something the visit asked for.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Asked {
    /// The ask's number, counted from 1 in each visit.
    pub ask: u32,
    /// What is asked.
    pub request: Request,
    /// Why, in a sentence.
    pub why: String,
    /// The minutes it is expected to take, changes of the unit's state included.
    pub minutes: f32,
}

/// The kinds of asks.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Request {
    /// Look, listen or feel.
    Look {
        /// The sheet's name for it.
        what: String,
    },
    /// Measure between two points.
    Measure {
        /// What to set the meter to.
        function: Function,
        /// The two probe points; for amps, the conductor in the clamp twice.
        points: [String; 2],
        /// The state the unit must be in.
        state: UnitState,
    },
    /// Do something to the unit.
    Act {
        /// What.
        act: Act,
    },
    /// Measure volts between two points in the meter's low-impedance mode.
    LowImpedance {
        /// Which volts to set the meter to.
        function: Function,
        /// The two probe points.
        points: [String; 2],
        /// The state the unit must be in.
        state: UnitState,
    },
    /// The lowest volts or the highest amps of the start that was just made, as the meter held it.
    AtStart {
        /// What the meter was set to.
        function: Function,
        /// The two probe points; for amps, the conductor in the clamp twice.
        points: [String; 2],
        /// The state the unit must be in.
        state: UnitState,
    },
}

/// What a request to measure asks for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measurement<'r> {
    /// What to set the meter to.
    pub function: Function,
    /// The two probe points; for amps, the conductor in the clamp twice.
    pub points: &'r [String; 2],
    /// The state the unit must be in.
    pub state: &'r UnitState,
    /// In the meter's low-impedance mode.
    pub low_impedance: bool,
    /// What the meter held of the last start.
    pub at_start: bool,
}

impl Request {
    /// The act that is asked for; none if it asks for something else.
    #[must_use]
    pub const fn act(&self) -> Option<&Act> {
        match self {
            Request::Act { act } => Some(act),
            _ => None,
        }
    }

    /// What is to be measured; none if it asks for something else.
    #[must_use]
    pub const fn measurement(&self) -> Option<Measurement<'_>> {
        let (function, points, state) = match self {
            Request::Measure {
                function,
                points,
                state,
            }
            | Request::LowImpedance {
                function,
                points,
                state,
            }
            | Request::AtStart {
                function,
                points,
                state,
            } => (function, points, state),
            Request::Look { .. } | Request::Act { .. } => return None,
        };
        Some(Measurement {
            function: *function,
            points,
            state,
            low_impedance: matches!(self, Request::LowImpedance { .. }),
            at_start: matches!(self, Request::AtStart { .. }),
        })
    }
}

/// An act that was done.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Acted {
    /// The ask that it answers; none if volunteered.
    pub ask: Option<u32>,
    /// What was done.
    pub act: Act,
}

/// A take: a settled reading at named points in a known state, judged.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Take {
    /// Its number, counted from 1 in each visit.
    pub take: u32,
    /// The ask that it answers; none if volunteered.
    pub ask: Option<u32>,
    /// The meter.
    pub meter: MeterId,
    /// What was measured.
    pub function: Function,
    /// Between which points.
    pub points: [String; 2],
    /// In which state of the unit.
    pub state: UnitState,
    /// The settled display value.
    pub shown: Shown,
    /// The annunciators.
    pub flags: Flags,
    /// The value judged, in base units: leads taken off. NaN for an overload.
    pub value: f64,
    /// Its standard uncertainty, base units.
    pub uncertainty: f64,
    /// Resistance of the leads that was taken off, ohms.
    pub leads: f64,
    /// What it proves; none where no rule or ask knows these points.
    pub verdict: Option<Judged>,
}

/// A verdict, as it was given at the time.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Judged {
    /// The most probable class.
    pub class: Class,
    /// The probability of each class.
    pub likely: Likely,
    /// Lower limit of "within", base units; none if there is none.
    pub lower: Option<f64>,
    /// Upper limit of "within", base units; none if there is none.
    pub upper: Option<f64>,
    /// Whether the probabilities are too close to call.
    pub too_close: bool,
    /// Where the limit comes from.
    pub source: String,
    /// How far that source was checked.
    pub status: String,
    /// The verdict in a sentence.
    pub words: String,
}

/// Why a gate shut at a live value: the unit was not off, whatever was opened before.
pub const LIVE: &str =
    "live value where there should be none: hands off, treat the circuit as energised";

/// A safety gate opened or shut.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct GateEvent {
    /// `proved-dead`, `discharged`, `loose` or `ready-to-energise`.
    pub gate: String,
    /// Whether it is open now.
    pub open: bool,
    /// The points it holds for.
    pub points: Vec<String>,
    /// Why it opened or shut.
    pub why: String,
}

/// A fault set and its probability.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Suspect {
    /// The faults, such as `run-cap.fan-open`; empty for *none of these*.
    pub faults: Vec<String>,
    /// Posterior probability.
    pub p: f32,
}

/// The state in which a unit is left.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct LeftState {
    /// Whether its breaker is left open or closed.
    pub power: Power,
    /// Whether a lock is left on it.
    pub locked: bool,
    /// Wire ends that are left lifted.
    pub lifted: Vec<String>,
    /// Why it is left so.
    pub why: String,
}
