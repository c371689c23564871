//! What the gates are told, and what they answer.

use super::plan::{Pair, PointId};
use super::step::Gate;
use crate::reading::{Flags, Function, MeterId};
use crate::units::Micros;

/// What a meter showed, where and how certain it is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Seen {
    /// What the meter was set to.
    pub function: Function,
    /// The value in the function's base unit. An overload is not finite: on volts it is taken as
    /// live, on ohms as an open.
    pub value: f64,
    /// Its standard uncertainty, base units. One that is not finite proves nothing.
    pub uncertainty: f64,
    /// The display's annunciators: a held or relative display never proves a circuit dead.
    pub flags: Flags,
    /// Which meter.
    pub meter: MeterId,
    /// The points the probes are on; none where that is not known.
    pub points: Option<Pair>,
    /// When.
    pub at: Micros,
}

/// Something that was done, each told by itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Act {
    /// The breaker that feeds the unit was opened.
    OpenBreaker,
    /// The lock and its tag were hung on the open breaker or disconnect.
    LockAndTag,
    /// A disconnect within sight was opened and locked.
    LockDisconnect,
    /// The line side cannot be read before the breaker is opened (out of reach, cover locked).
    CannotReadLine,
    /// The other source of this number in the plan was opened and locked.
    OpenSource(u8),
    /// The capacitors were drained through a resistor.
    Drain,
    /// The part is out of its unit, on a bench, with nothing connected.
    OnBench,
    /// This wire end was lifted.
    Lift(PointId),
    /// This wire end was put back.
    PutBack(PointId),
    /// This lifted end was insulated.
    Insulate(PointId),
    /// The covers are on.
    CoversOn,
    /// The people are clear.
    PeopleClear,
    /// The unit was given power: lock off, breaker closed.
    CloseBreaker,
    /// The thermostat was turned to a call.
    CallOn,
    /// The call was turned off.
    CallOff,
    /// The electronics were disconnected from what is to be insulation-tested.
    ElectronicsApart,
    /// The system was seen to hold pressure, no vacuum.
    NoVacuum,
}

impl Act {
    /// Whether the act switches a source or a load, so that no earlier proof holds.
    #[must_use]
    pub const fn is_power(self) -> bool {
        matches!(
            self,
            Act::OpenBreaker | Act::CloseBreaker | Act::CallOn | Act::CallOff
        )
    }
}

/// What the gates are told.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Event {
    /// Something was done.
    Act {
        /// What.
        act: Act,
        /// When.
        at: Micros,
    },
    /// The meter was held on a known live source.
    Proof {
        /// The meter.
        meter: MeterId,
        /// What it showed there; none if the technician says so and no value came over the link.
        /// The record says which.
        seen: Option<Known>,
        /// When.
        at: Micros,
    },
    /// A reading settled at its points.
    Take(Seen),
    /// One display value, settled or not. It can sound the alarm and prove nothing.
    Reading(Seen),
    /// Another meter is in the technician's hands.
    MeterChanged {
        /// The meter from now on.
        meter: MeterId,
        /// When.
        at: Micros,
    },
    /// The link to a meter was silent past its deadline.
    LinkGap {
        /// Which meter.
        meter: MeterId,
        /// When it was noticed.
        at: Micros,
    },
    /// The program or box was started again; its clock may be another one.
    Restart {
        /// When, on the new clock.
        at: Micros,
    },
    /// A breaker was found tripped or a fuse blown: its place in the plan.
    Tripped {
        /// Its place in [`protectors`](super::GatePlan::protectors).
        protector: u8,
        /// When.
        at: Micros,
    },
    /// A motor is fed and does not turn.
    Stalled {
        /// Since when.
        at: Micros,
    },
    /// It turns, or is not fed any more.
    StallOver {
        /// Since when.
        at: Micros,
    },
    /// Time has passed.
    Tick {
        /// Now.
        at: Micros,
    },
}

impl Event {
    /// When it happened.
    #[must_use]
    pub const fn at(&self) -> Micros {
        match self {
            Event::Act { at, .. }
            | Event::Proof { at, .. }
            | Event::MeterChanged { at, .. }
            | Event::LinkGap { at, .. }
            | Event::Restart { at }
            | Event::Tripped { at, .. }
            | Event::Stalled { at }
            | Event::StallOver { at }
            | Event::Tick { at } => *at,
            Event::Take(seen) | Event::Reading(seen) => seen.at,
        }
    }
}

/// What a meter showed on a known live source.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Known {
    /// Volts, AC or DC.
    pub function: Function,
    /// The value, volts.
    pub value: f64,
    /// Its standard uncertainty, volts.
    pub uncertainty: f64,
    /// The display's annunciators.
    pub flags: Flags,
}

/// A set of gates.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct GateSet(pub(super) u8);

impl GateSet {
    /// Whether the gate is in the set.
    #[must_use]
    pub const fn has(self, gate: Gate) -> bool {
        self.0 & gate.bit() != 0
    }

    /// Whether the set is empty.
    #[must_use]
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// The gates in the set.
    pub fn iter(self) -> impl Iterator<Item = Gate> {
        Gate::ALL.into_iter().filter(move |g| self.has(*g))
    }
}

/// Why gates were shut.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Why {
    /// A live value was read where there should be none.
    LiveValue,
    /// A source or a load was switched.
    PowerAct,
    /// Another meter is in use.
    MeterChanged,
    /// The link to the meter had a gap.
    LinkGap,
    /// The program or box was started again, or its clock stepped back.
    Restart,
    /// The meter showed nothing on a known live source.
    MeterFailed,
    /// A capacitor reads above the level that the gate stands for.
    Charged,
    /// An insulation test charges what it tests.
    InsulationTest,
    /// The wire ends are not what they were: one was lifted or put back.
    EndsChanged,
    /// A breaker tripped or a fuse blew.
    Tripped,
    /// What was read, or seen, lies too far back.
    TooOld,
    /// The caller revoked it.
    Asked,
}

impl Why {
    /// The reason in words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Why::LiveValue => "a live value was read where there should be none",
            Why::PowerAct => "a source or load was switched",
            Why::MeterChanged => "another meter is in use",
            Why::LinkGap => "the link to the meter had a gap",
            Why::Restart => "the program was started again",
            Why::MeterFailed => "the meter showed nothing on a known live source",
            Why::Charged => "a capacitor reads above the level",
            Why::InsulationTest => "an insulation test charges what it tests",
            Why::EndsChanged => "a wire end was lifted or put back",
            Why::Tripped => "a breaker tripped or a fuse blew",
            Why::TooOld => "it was read or seen too long ago",
            Why::Asked => "it was revoked",
        }
    }
}

/// What must be called out at once.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Alarm {
    /// A live value where there should be none. Hands off; every gate is shut and the take in
    /// progress is void.
    Live {
        /// What was read.
        seen: Seen,
    },
    /// Direct voltage where there should be none, or on a capacitor that was read discharged.
    /// Hands off; every gate is shut and the take in progress is void.
    Charged {
        /// What was read.
        seen: Seen,
    },
    /// A motor that does not turn has been fed for longer than
    /// [`STALL_HELD`](super::limits::STALL_HELD): switch it off.
    StallHeld {
        /// Since when.
        since: Micros,
    },
}

impl Alarm {
    /// What to call out.
    #[must_use]
    pub const fn words(&self) -> &'static str {
        match self {
            Alarm::Live { .. } => "live value: hands off, treat the circuit as energised",
            Alarm::Charged { .. } => "charge or direct voltage: hands off, drain it and read again",
            Alarm::StallHeld { .. } => "the motor is fed and does not turn: switch it off",
        }
    }
}

/// Why an event did not count towards a gate.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NotCounted {
    /// A source is not opened or not locked yet.
    NotLocked,
    /// The line side was not seen live, so the breaker is identified by its label only: lock a
    /// disconnect within sight.
    NotIdentified,
    /// The meter was not proved on a known source before, or too long ago.
    MeterNotProved,
    /// Another meter than the one that was proved.
    OtherMeter,
    /// Above the threshold.
    TooHigh,
    /// Under the threshold, but not by as much as the meter may be off: use a finer range.
    TooCoarse,
    /// The display was held, relative, a stored extreme, or its battery is low.
    NotLive,
    /// DC was read before AC at these points.
    AcFirst,
    /// Not a pair that the step asks for.
    NotAsked,
    /// Ohms, farads or megohms with no gate open: the value is void.
    NoGate,
    /// Ohms, farads or megohms where the proof of the poles says nothing and AC volts were not read
    /// first: the value is void.
    VoltsFirst,
    /// More lifted ends than can be kept in mind: put some back.
    TooManyLifted,
    /// No such source, protector or end in the plan.
    Unknown,
}

impl NotCounted {
    /// The reason in words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            NotCounted::NotLocked => "a source is not opened and locked yet",
            NotCounted::NotIdentified => "the breaker is identified by its label only",
            NotCounted::MeterNotProved => "the meter was not proved on a known source just before",
            NotCounted::OtherMeter => "another meter was proved",
            NotCounted::TooHigh => "above the threshold",
            NotCounted::TooCoarse => "the meter's uncertainty reaches over the threshold",
            NotCounted::NotLive => "the display was not a plain present value",
            NotCounted::AcFirst => "AC is read before DC",
            NotCounted::NotAsked => "not a pair that is asked for",
            NotCounted::NoGate => "read with no gate open: void",
            NotCounted::VoltsFirst => {
                "void: the proof of the poles does not read these points; AC volts first, to ground \
                 and between them"
            }
            NotCounted::TooManyLifted => "too many lifted ends",
            NotCounted::Unknown => "not in the plan",
        }
    }
}

/// What an event did.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Outcome {
    /// The gates that opened.
    pub opened: GateSet,
    /// The gates that shut.
    pub shut: GateSet,
    /// Why they shut, or why steps that were under way count no more.
    pub why: Option<Why>,
    /// What must be called out at once.
    pub alarm: Option<Alarm>,
    /// Why the event did not count; none if it did.
    pub not_counted: Option<NotCounted>,
    /// The take in progress is void.
    pub void: bool,
}
