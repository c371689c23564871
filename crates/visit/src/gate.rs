//! The way to a state of the unit, one step at a time: towards the gates, and through them with
//! the asks that only an open gate can build.

use ohmtrail_circuit::sheet::Question;
use ohmtrail_core::gates::{
    AskError, DeadAsk, Energise, Gate, LiftAsk, LiveAsk, Pair, PowerOn, Step, TouchAsk, limits,
};
use ohmtrail_core::isolate::State;
use ohmtrail_core::reading::Function;
use ohmtrail_core::units::{Micros, Volts};
use ohmtrail_trail::event::{Act, Power, Request, UnitState};
use ohmtrail_words::Said;

use crate::book::Book;
use crate::visit::{Purpose, Visit, Waiting};
use crate::words;

/// The most that may stand between any two points of a unit: a run capacitor's volts.
pub(crate) const HIGHEST: Volts = Volts(440.0);
/// Minutes of a step towards a gate: a reading at a pair, and an act.
const READ_MINUTES: f32 = 0.2;
const ACT_MINUTES: f32 = 1.0;

/// An ask that is wished for.
pub(crate) struct Wish {
    pub request: Request,
    pub why: Said,
    pub minutes: f32,
    pub purpose: Purpose,
}

/// The way to a state.
pub(crate) enum Way {
    /// The state is reached.
    There,
    /// This is asked for next.
    Ask(Wish),
    /// A time must pass.
    Wait(Waiting),
    /// It cannot be reached in this visit, and why.
    Barred(String),
}

macro_rules! there {
    ($way:expr) => {
        match $way {
            Way::There => {}
            other => return other,
        }
    };
}

pub(crate) use there;

fn act(act: Act, why: impl Into<Said>, purpose: Purpose) -> Way {
    Way::Ask(Wish {
        request: Request::Act { act },
        why: why.into(),
        minutes: ACT_MINUTES,
        purpose,
    })
}

impl Visit<'_> {
    /// The next step towards an open gate.
    pub(crate) fn towards(&self, gate: Gate, now: Micros) -> Way {
        let step = self.gates.next_step(gate, now);
        let purpose = Purpose::Gate(step);
        let line_not_seen = "the line side was not seen live before the breaker was opened, so \
                             the breaker is known by its label only: open and lock a disconnect \
                             in sight of the unit";
        match step {
            Step::Open => Way::There,
            Step::ReadLine(points) => self.read(
                Function::VoltsAc,
                self.book.names(points),
                self.record.power,
                Said::from(
                    "before the breaker is opened: is the line side live, so that the breaker is \
                     known by what it feeds? CAT III 600 V at least",
                )
                .then_if("; ", self.ends_off()),
                purpose,
            ),
            Step::OpenBreaker => act(
                Act::OpenBreaker,
                "open the breaker that feeds the unit; what follows is measured dead",
                purpose,
            ),
            Step::LockDisconnect => act(Act::LockDisconnect, line_not_seen, purpose),
            Step::LockAndTag => act(
                Act::LockAndTag,
                "hang your own lock and its tag, and keep the key; local lock-out rules come first",
                purpose,
            ),
            Step::OpenSource(source) => {
                let poles = self.book.sheet.dead.others.get(usize::from(source));
                let poles: Vec<&str> = poles
                    .into_iter()
                    .flatten()
                    .map(|p| self.book.sheet.point_name(*p))
                    .collect();
                act(
                    Act::OpenOtherSources,
                    Said::message("why-other-source").with("poles", poles.join(", ")),
                    purpose,
                )
            }
            Step::ProveMeter => act(
                Act::ProveMeter,
                "hold the meter on a known live source: a dead reading proves nothing with a meter \
                 that cannot read",
                purpose,
            ),
            Step::ReadDead {
                function,
                points,
                at_most,
            } => self.read(
                function,
                self.book.names(points),
                Power::Off,
                Said::message("why-read-dead")
                    .with("volts", at_most.get().to_string())
                    .then_if(
                        "; ",
                        (self.live.alarms > 0)
                            .then(|| Said::message("read-more-before").with("why", words::GHOST)),
                    ),
                purpose,
            ),
            Step::Drain => act(
                Act::Discharge,
                "discharge the capacitors through a resistor, with insulated probes; never with a \
                 screwdriver",
                purpose,
            ),
            Step::ReadCharge { points, at_most } => self.read(
                Function::VoltsDc,
                self.book.names(points),
                Power::Off,
                Said::message("why-read-charge").with("volts", at_most.get().to_string()),
                purpose,
            ),
            Step::Insulate(_) => act(
                Act::InsulateEnds,
                "insulate every lifted end, each by itself",
                purpose,
            ),
            Step::CheckGround(point) => {
                there!(self.towards(Gate::DischargedToMeasure, now));
                self.check_ground(point, now, purpose)
            }
            Step::Wait { until } => Way::Wait(Waiting {
                until,
                why: "a compressor rests about 5 minutes between starts",
            }),
            Step::FitCovers | Step::ClearPeople => act(
                Act::CoversOnPeopleClear,
                "before power: covers on, people clear, tools out",
                purpose,
            ),
            Step::Stop => Way::Barred("more wire ends are lifted than can be kept in mind".into()),
            // A unit is no loose part; steps that a later core may add are not ours to guess.
            _ => Way::Barred("this gate does not exist for this unit".into()),
        }
    }

    /// What is said of lifted ends on a unit that may have its power: after an alarm.
    fn ends_off(&self) -> Option<Said> {
        let lifted = &self.record.lifted;
        (!lifted.is_empty()).then(|| Said::message("ends-off").with("ends", lifted.join(", ")))
    }

    fn read(
        &self,
        function: Function,
        points: [String; 2],
        power: Power,
        why: impl Into<Said>,
        purpose: Purpose,
    ) -> Way {
        Way::Ask(Wish {
            request: Request::Measure {
                function,
                points,
                state: UnitState {
                    power,
                    ..self.record.state()
                },
            },
            why: why.into(),
            minutes: READ_MINUTES,
            purpose,
        })
    }

    fn check_ground(
        &self,
        point: ohmtrail_core::gates::PointId,
        now: Micros,
        purpose: Purpose,
    ) -> Way {
        let ground = Book::id(self.book.sheet.dead.ground);
        let (Some(dead), Some(measure)) = (
            self.gates.proved_dead(),
            self.gates.discharged_to_measure(now),
        ) else {
            return Way::Barred("the gates shut".into());
        };
        match DeadAsk::ohms(dead, measure, [point, ground]) {
            Err(AskError::VoltsFirst(points)) => self.at_work(points, purpose),
            Ok(ask) => self.read(
                ask.function(),
                self.book.names(ask.points()),
                Power::Off,
                "something tripped or blew: what hangs on it is read to ground before it is \
                 restored, at least 2 Mohm",
                purpose,
            ),
            Err(error) => Way::Barred(error.words().to_owned()),
        }
    }

    /// AC volts at the very points of the work, which the proof at the poles did not read.
    fn at_work(&self, points: Pair, purpose: Purpose) -> Way {
        self.read(
            Function::VoltsAc,
            self.book.names(points),
            Power::Off,
            Said::message("why-at-work").with("volts", limits::DEAD.0.to_string()),
            purpose,
        )
    }

    /// The way on where a gate's value did not give the ask: volts at the points, or none.
    pub(crate) fn first(&self, error: AskError, check: Option<usize>) -> Way {
        match error {
            AskError::VoltsFirst(points) => self.at_work(points, Purpose::AtWork { points, check }),
            error => Way::Barred(error.words().to_owned()),
        }
    }

    /// The next step towards a state of the unit.
    pub(crate) fn reach(&self, to: State, now: Micros, leaving: bool) -> Way {
        let warm = to.cooled && !self.record.cooled;
        if !to.on {
            return self.reach_dead(&self.book.lift_ends(to.lifted), warm, now, leaving);
        }
        if warm {
            let ends = self.record.lifted.clone();
            there!(self.reach_dead(&ends, true, now, leaving));
        }
        if self.record.power == Power::On {
            return Way::There;
        }
        // Power is given with every wire end in its place, and seen there.
        if !self.record.lifted.is_empty() {
            there!(self.reach_dead(&[], false, now, leaving));
        }
        there!(self.towards_seen_wires(now));
        there!(self.towards(Gate::ReadyToEnergise, now));
        let Some(ready) = self.gates.ready_to_energise(now) else {
            return Way::Barred("the unit is not ready for power".into());
        };
        match PowerOn::new(ready, Energise::Breaker) {
            Ok(power) => act(
                Act::CloseBreaker,
                Said::message("why-close")
                    .with("starts", power.starts().to_string())
                    .with("seconds", (PowerOn::STALL_AT_MOST / 1_000_000).to_string()),
                Purpose::Way { leaving },
            ),
            Err(error) => Way::Barred(error.words().to_owned()),
        }
    }

    /// Dead and discharged, cold if asked for, with these ends lifted and no other.
    pub(crate) fn reach_dead(
        &self,
        ends: &[String],
        warm: bool,
        now: Micros,
        leaving: bool,
    ) -> Way {
        there!(self.towards(Gate::DischargedToMeasure, now));
        if warm {
            let (cooling, minutes) = self.cooling_expected(now);
            return Way::Ask(Wish {
                request: Request::Act { act: Act::WaitCool },
                why: Said::phrase(
                    "leave the unit off until its motors are cold: an overload that is open from \
                     heat closes by itself, and a hot winding reads high",
                )
                .then("", cooling),
                minutes: minutes.unwrap_or(self.book.sheet.minutes.cool as f32),
                purpose: Purpose::Way { leaving },
            });
        }
        let lifted = &self.record.lifted;
        let back: Vec<String> = lifted
            .iter()
            .filter(|e| !ends.contains(e))
            .cloned()
            .collect();
        let lift: Vec<String> = ends
            .iter()
            .filter(|e| !lifted.contains(e))
            .cloned()
            .collect();
        // One by one: a confirmation is of the one end that was seen on its terminal.
        let (which, act) = if let Some(end) = back.into_iter().next() {
            (vec![end.clone()], Act::PutBack(vec![end]))
        } else if !lift.is_empty() {
            (lift.clone(), Act::Lift(lift))
        } else {
            return Way::There;
        };
        there!(self.towards(Gate::DischargedToTouch, now));
        if let Err(error) = self.may_lift(&which, now) {
            return self.first(error, None);
        }
        let back = matches!(act, Act::PutBack(_));
        Way::Ask(Wish {
            request: Request::Act { act },
            why: if back {
                "put this wire end back where the wire map has it".into()
            } else {
                "lift these wire ends, so that the part is read by itself; note mark and terminal, \
                 or take a photograph, of each one first"
                    .into()
            },
            minutes: 0.5 * which.len() as f32,
            purpose: Purpose::Way { leaving },
        })
    }

    /// Builds the ask to lift or put back each of these ends, which only open gates allow.
    pub(crate) fn may_lift(&self, ends: &[String], now: Micros) -> Result<(), AskError> {
        for end in ends {
            let Some(point) = self.book.sheet.point(end) else {
                continue;
            };
            let point = Book::id(point);
            let (Some(dead), Some(touch)) = (
                self.gates.proved_dead(),
                self.gates.discharged_to_touch(now),
            ) else {
                return Err(AskError::OutOfScope(point));
            };
            LiftAsk::new(dead, touch, point)?;
        }
        Ok(())
    }

    /// The ask of a check, or the next step on the way to it.
    pub(crate) fn towards_check(&self, check: usize, to: State, now: Micros) -> Way {
        let sheet_check = &self.book.sheet.checks[check];
        let minutes = sheet_check.minutes as f32;
        let why = self.book.sheet.said(&sheet_check.why);
        let wish = |request, why, epoch| {
            Way::Ask(Wish {
                request,
                why,
                minutes,
                purpose: Purpose::Check { check, epoch },
            })
        };
        match &sheet_check.question {
            Question::Look { part, look } => {
                let what = self.book.sheet.look_name(*part, look);
                if sheet_check.power == Some(true) || sheet_check.heat.is_some() {
                    there!(self.reach(to, now, false));
                }
                if sheet_check.power == Some(false) {
                    there!(self.towards(Gate::DischargedToTouch, now));
                    let point = Book::id(self.book.sheet.parts[*part].first_point);
                    let touch = self
                        .gates
                        .proved_dead()
                        .zip(self.gates.discharged_to_touch(now));
                    if let Some((dead, touch)) = touch
                        && let Err(error) = TouchAsk::new(dead, touch, point)
                    {
                        return Way::Barred(error.words().to_owned());
                    }
                }
                wish(Request::Look { what }, why, None)
            }
            Question::Measure {
                function,
                points,
                low_impedance,
                ..
            } => {
                let pair = points.map(Book::id);
                let names = self.book.names(pair);
                if function.injects() {
                    there!(self.reach(to, now, false));
                    let gates = self
                        .gates
                        .proved_dead()
                        .zip(self.gates.discharged_to_measure(now));
                    let Some((dead, measure)) = gates else {
                        return Way::Barred("the gates shut".into());
                    };
                    return match DeadAsk::new(*function, dead, measure, pair) {
                        Ok(ask) => wish(
                            Request::Measure {
                                function: ask.function(),
                                points: names,
                                state: self.record.state(),
                            },
                            why,
                            Some(ask.epoch()),
                        ),
                        Err(error) => self.first(error, Some(check)),
                    };
                }
                let fits = self.book.fits(check, &self.record.state());
                if to.on || (!fits && self.record.power == Power::Off) {
                    there!(self.reach(to, now, false));
                } else {
                    // Live before open breakers: no dead proof is needed, but every source is
                    // opened and locked, so that nothing feeds back.
                    let way = self.towards(Gate::ProvedDead, now);
                    if let Way::Ask(wish) = &way
                        && let Purpose::Gate(step) = wish.purpose
                        && !matches!(step, Step::ProveMeter | Step::ReadDead { .. } | Step::Drain)
                    {
                        return way;
                    }
                    if let Way::Barred(_) = way {
                        return way;
                    }
                }
                match LiveAsk::new(&self.book.plan(), *function, pair, HIGHEST, None) {
                    Ok(ask) => {
                        let needs = ask.needs().words();
                        let (function, state) = (ask.function(), self.record.state());
                        let points = names;
                        wish(
                            if *low_impedance {
                                Request::LowImpedance {
                                    function,
                                    points,
                                    state,
                                }
                            } else {
                                Request::Measure {
                                    function,
                                    points,
                                    state,
                                }
                            },
                            why.then(
                                ". ",
                                Said::message("needs-category").with("category", needs.to_owned()),
                            ),
                            None,
                        )
                    }
                    Err(error) => Way::Barred(error.words().to_owned()),
                }
            }
        }
    }
}
