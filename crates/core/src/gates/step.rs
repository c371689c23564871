//! The gates by name, and the one step that is needed next for each.

use super::machine::{Gates, Line, Power};
use super::plan::{Pair, PointId};
use crate::reading::Function;
use crate::units::{Micros, Volts};

use super::limits;

/// A gate.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Gate {
    /// See [`ProvedDead`](super::ProvedDead).
    ProvedDead,
    /// See [`Discharged`](super::Discharged), at the level of [`Touch`](super::Touch).
    DischargedToTouch,
    /// See [`Discharged`](super::Discharged), at the level of [`Measure`](super::Measure).
    DischargedToMeasure,
    /// See [`Loose`](super::Loose).
    Loose,
    /// See [`ReadyToEnergise`](super::ReadyToEnergise).
    ReadyToEnergise,
}

impl Gate {
    /// Every gate.
    pub const ALL: [Gate; 5] = [
        Gate::ProvedDead,
        Gate::DischargedToTouch,
        Gate::DischargedToMeasure,
        Gate::Loose,
        Gate::ReadyToEnergise,
    ];

    /// The gate's name in the trail and the dialogue.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Gate::ProvedDead => "proved-dead",
            Gate::DischargedToTouch => "discharged-to-touch",
            Gate::DischargedToMeasure => "discharged-to-measure",
            Gate::Loose => "loose",
            Gate::ReadyToEnergise => "ready-to-energise",
        }
    }

    pub(super) const fn bit(self) -> u8 {
        match self {
            Gate::ProvedDead => 1,
            Gate::DischargedToTouch => 1 << 1,
            Gate::DischargedToMeasure => 1 << 2,
            Gate::Loose => 1 << 3,
            Gate::ReadyToEnergise => 1 << 4,
        }
    }
}

/// The one thing to do or read next. Each is asked for by itself and answered by an
/// [`Event`](super::Event).
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub enum Step {
    /// Nothing: the gate is open.
    Open,
    /// The gate does not exist for this plan: `Loose` for a unit, `ProvedDead` for a loose part.
    NotForThis,
    /// Read AC volts here while the power is on, so that the breaker is known by what it feeds.
    /// [`Act::CannotReadLine`](super::Act::CannotReadLine) passes it over, and a locked
    /// disconnect is asked for instead.
    ReadLine(Pair),
    /// Open the breaker that feeds the unit.
    OpenBreaker,
    /// Open and lock a disconnect within sight: the breaker is known by its label only.
    LockDisconnect,
    /// Lock what was opened and hang the tag.
    LockAndTag,
    /// Open and lock the other source of this number.
    OpenSource(u8),
    /// Hold the meter on a known live source.
    ProveMeter,
    /// Read volts, AC or DC, at a pair that must be dead: at most [`limits::DEAD`].
    ReadDead {
        /// [`Function::VoltsAc`] or [`Function::VoltsDc`].
        function: Function,
        /// Where.
        points: Pair,
        /// Value and two standard uncertainties may reach this.
        at_most: Volts,
    },
    /// Drain the capacitors through a resistor, with insulated probes.
    Drain,
    /// Read DC volts at a capacitor.
    ReadCharge {
        /// Where.
        points: Pair,
        /// Value and two standard uncertainties may reach this.
        at_most: Volts,
    },
    /// Confirm that the part is out of its unit with nothing connected.
    LayOnBench,
    /// Insulate this lifted end.
    Insulate(PointId),
    /// Read this point to ground, ohms or megohms: what hangs on a tripped breaker or blown fuse
    /// must be clear before it is restored. Ask [`Gate::DischargedToMeasure`] for its own steps.
    CheckGround(PointId),
    /// Let the compressor rest until then; send an [`Event::Tick`](super::Event::Tick).
    Wait {
        /// Until when.
        until: Micros,
    },
    /// Fit the covers.
    FitCovers,
    /// See that people are clear.
    ClearPeople,
    /// More ends are lifted than can be kept in mind: no power-on in this visit.
    Stop,
}

impl Gates<'_> {
    /// What is needed next to open `gate`.
    #[must_use]
    pub fn next_step(&self, gate: Gate, now: Micros) -> Step {
        match gate {
            Gate::ProvedDead => self.step_dead(now),
            Gate::Loose => self.step_loose(),
            Gate::DischargedToTouch => {
                if self.discharged_to_touch(now).is_some() {
                    return Step::Open;
                }
                self.step_discharged(limits::TOUCH, limits::TOUCH_LASTS, now)
            }
            Gate::DischargedToMeasure => {
                if self.discharged_to_measure(now).is_some() {
                    return Step::Open;
                }
                self.step_discharged(limits::MEASURE, limits::MEASURE_LASTS, now)
            }
            Gate::ReadyToEnergise => self.step_ready(now),
        }
    }

    fn step_dead(&self, now: Micros) -> Step {
        if self.plan.is_loose() {
            return Step::NotForThis;
        }
        if self.dead.is_some() {
            return Step::Open;
        }
        if self.power != Power::Off {
            if let (Line::NotRead, Some(pair)) = (self.line, self.plan.line_pair()) {
                return Step::ReadLine(pair);
            }
            return Step::OpenBreaker;
        }
        if !self.identified && !self.disconnect {
            return Step::LockDisconnect;
        }
        if !self.locked {
            return Step::LockAndTag;
        }
        if let Some(source) = self.first_closed_source() {
            return Step::OpenSource(source);
        }
        if !self.meter_is_proved(now) {
            return Step::ProveMeter;
        }
        for (function, done) in [(Function::VoltsAc, self.ac), (Function::VoltsDc, self.dc)] {
            let left = self.plan.pairs().enumerate();
            for (i, points) in left {
                if !super::machine::bit(done, i) {
                    if function == Function::VoltsDc && self.must_drain {
                        return Step::Drain;
                    }
                    return Step::ReadDead {
                        function,
                        points,
                        at_most: limits::DEAD,
                    };
                }
            }
        }
        Step::ProveMeter
    }

    fn step_loose(&self) -> Step {
        if !self.plan.is_loose() {
            return Step::NotForThis;
        }
        if self.loose.is_some() {
            return Step::Open;
        }
        if !self.on_bench {
            return Step::LayOnBench;
        }
        Step::ProveMeter
    }

    fn step_discharged(&self, at_most: Volts, lasts: u64, now: Micros) -> Step {
        let first = if self.plan.is_loose() {
            self.step_loose()
        } else {
            self.step_dead(now)
        };
        if first != Step::Open {
            return first;
        }
        if self.needs_drain() {
            return Step::Drain;
        }
        let recheck = self.recheck.iter().map(|pair| (*pair, None));
        let pairs = self.plan.capacitors.iter().copied();
        for (points, charge) in recheck.chain(pairs.zip(self.charges.iter().copied())) {
            let read = charge.is_some_and(|c| c.up_to <= at_most.0 && now.since(c.at) <= lasts);
            if !read {
                return Step::ReadCharge { points, at_most };
            }
        }
        Step::Drain
    }

    fn step_ready(&self, now: Micros) -> Step {
        if self.ready_to_energise(now).is_some() {
            return Step::Open;
        }
        if self.too_many_lifted {
            return Step::Stop;
        }
        if let Some(end) = self.lifted.iter().find(|end| !end.insulated) {
            return Step::Insulate(end.point);
        }
        if let Some(point) = self.first_unchecked() {
            return Step::CheckGround(point);
        }
        if let Some(until) = self.rests_until(now) {
            return Step::Wait { until };
        }
        if !self.covers_on {
            return Step::FitCovers;
        }
        Step::ClearPeople
    }
}
