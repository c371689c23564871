//! Putting it back and proving it: a repair visit is a trail of its own. It goes from what an earlier
//! visit found to *proven*, *monitor* or *left off*:
//!
//! ```text
//! dead and discharged -> fitted -> read by itself -> wires back, each held against the wire map
//!   -> ohms that no miswire reads -> power -> start, running, both modes -> how it came out
//! ```
//!
//! [`lines`] says at any time what the trail proves and what is still to be done, by its fold alone;
//! here is the way to the next of these, through the same gates as every other ask.

mod charge;
mod end;
mod fit;
mod judge;
mod lines;
mod mended;
mod plan;
mod said;
mod start;

use ohmtrail_circuit::rewired::Telling;
use ohmtrail_core::gates::{DeadAsk, Energise, Event as Gated, Gate, LiveAsk, PowerOn, TouchAsk};
use ohmtrail_core::isolate::State;
use ohmtrail_core::refrigerant::STEADY;
use ohmtrail_core::units::Micros;
use ohmtrail_trail::event::{Act, Event, Power, Repair, Request, Stamp};
use ohmtrail_words::Said;

pub use self::charge::point_words;
pub(crate) use self::charge::{KEYS as CHARGE_KEYS, reads, rests_on};
pub(crate) use self::fit::{NUMBER_KEYS, fitted};
pub(crate) use self::judge::{expected, verdict};
pub use self::mended::Mended;
pub use self::start::{NoRepair, repair};

use self::charge::Step;
use self::lines::{Todo, because, goes, lines, swaps_words};
use self::mended::Told;
use self::plan::{Item, Quest};
use crate::book::Book;
use crate::gate::{HIGHEST, Way, Wish, there};
use crate::handle::unknown;
use crate::refusal::Refusal;
use crate::visit::{Purpose, Visit, Waiting};

/// What must still be so when the answer comes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Needs {
    /// The unit is dead and discharged, in this epoch of the gates.
    Measure(u32),
    /// It is dead and may be touched.
    Touch,
    /// It is ready for power.
    Ready,
    /// It has its power.
    Power,
    /// It has its power, and is in this run.
    Run(u32),
    Nothing,
}

fn wish(request: Request, why: impl Into<Said>, minutes: f32, needs: Needs) -> Way {
    Way::Ask(Wish {
        request,
        why: why.into(),
        minutes,
        purpose: Purpose::Prove(needs),
    })
}

fn act(act: Act, why: impl Into<Said>, needs: Needs) -> Way {
    wish(Request::Act { act }, why, 1.0, needs)
}

impl Visit<'_> {
    /// The visit is a repair.
    pub(crate) fn begin_repair(
        &mut self,
        repair: Repair,
        at: Stamp,
    ) -> Result<Vec<Event>, Refusal> {
        if self.record.mended.is_some() || !self.record.asks.is_empty() {
            return Err(Refusal::NoRepairNow);
        }
        for name in &repair.parts {
            if fit::place(self.book, name).is_none() {
                return Err(unknown("part", name.clone(), "points"));
            }
        }
        let mut points = Vec::new();
        for off in &repair.wires {
            let point = self.book.sheet.point(&off.end);
            let point = point.filter(|p| self.book.sheet.wire_of_end(*p).is_some());
            let point = point.ok_or_else(|| unknown("wire end", off.end.clone(), "points"))?;
            points.extend(off.back_on.is_none().then_some(point));
        }
        let mut events = vec![Event::Repair(repair)];
        for point in points {
            events.extend(self.tell(&Gated::Act {
                act: ohmtrail_core::gates::Act::Lift(Book::id(point)),
                at: at.steady,
            }));
        }
        Ok(events)
    }

    /// What comes next by itself in a repair.
    pub(crate) fn prove(&mut self, at: Stamp) -> Vec<Event> {
        if let Some(event) = self.after_alarm(at) {
            return vec![event];
        }
        // Each turn asks, ends, or bars a way: it cannot go round for ever.
        loop {
            let Some(mended) = self.record.mended.as_deref() else {
                return Vec::new();
            };
            let lines = lines(self.book, &self.record, mended, &self.live.impossible);
            let failed = lines.iter().any(|l| l.passed == Some(false));
            let todo = lines.iter().find_map(|l| l.todo.clone());
            let stop = self.stops(todo.as_ref());
            let Some(todo) = todo.filter(|_| stop.is_none() && !failed) else {
                let end = end::end(&lines, stop, self.record.has_power());
                return vec![Event::RepairEnded(end)];
            };
            match self.towards_proof(&todo, at.steady) {
                Way::Ask(wish) => {
                    if let Some(event) = self.ask(wish) {
                        return vec![event];
                    }
                }
                Way::Wait(waiting) => {
                    self.live.waiting = Some(waiting);
                    return Vec::new();
                }
                Way::Barred(why) => self.live.no_power = Some(why),
                Way::There => {
                    self.live.no_power = Some("the way to it is not known".to_owned());
                }
            }
        }
    }

    /// Why nothing more can be proven, if something cannot.
    fn stops(&self, todo: Option<&Todo>) -> Option<Said> {
        let todo = todo?;
        let ended = self.record.leave.as_ref();
        let ended = ended.map(|why| because("proofs-ended", why));
        let under_power =
            matches!(todo, Todo::Item(_) | Todo::Charge(_)) && self.record.has_power();
        let no_dead = self.live.no_dead.clone().filter(|_| !under_power);
        let barred = no_dead.or(self.live.no_power.clone());
        ended.or(barred.map(Said::told))
    }

    fn towards_proof(&self, todo: &Todo, now: Micros) -> Way {
        match todo {
            Todo::Fit(name) => self.towards_fitted(name, now),
            Todo::Check(check) => {
                let lift = self.book.sheet.checks[*check].lift;
                let lifted = lift.and_then(|l| u8::try_from(l + 1).ok()).unwrap_or(0);
                let state = State {
                    on: false,
                    lifted,
                    cooled: self.record.cooled,
                };
                self.towards_check(*check, state, now)
            }
            Todo::PutBack(end) => {
                there!(self.towards(Gate::DischargedToTouch, now));
                let ends = vec![end.clone()];
                if let Err(error) = self.may_lift(&ends, now) {
                    return self.first(error, None);
                }
                let why = Said::message("why-put-back-alone").with("goes", self.goes(end));
                act(Act::PutBack(ends), why, Needs::Touch)
            }
            Todo::CheckWire(end) => self.towards_checked(end, now),
            Todo::Ohms(pair) => self.towards_ohms(*pair, now),
            Todo::PutRight(ends) => {
                there!(self.towards(Gate::DischargedToTouch, now));
                if let Err(error) = self.may_lift(ends, now) {
                    return self.first(error, None);
                }
                let each = Said::joined(ends.iter().map(|end| self.goes(end)), "; ");
                let why = Said::message("why-put-right").with("each", each);
                act(Act::PutRight(ends.clone()), why, Needs::Touch)
            }
            Todo::Item(item) => {
                there!(self.towards_told(item.told, now));
                self.ask_item(item)
            }
            Todo::Charge(step) => {
                there!(self.towards_told(Told::Call, now));
                self.ask_charge(*step, now)
            }
        }
    }

    /// Where a wire end belongs, by the wire map.
    fn goes(&self, end: &str) -> Said {
        let mut wires = self.record.wires.iter().rev();
        match wires.find(|w| w.end == end) {
            Some(wire) => goes(self.book, wire),
            None => Said::own(end),
        }
    }

    fn towards_fitted(&self, name: &str, now: Micros) -> Way {
        let Some(place) = fit::place(self.book, name) else {
            let none = Said::message("no-such-part").with("part", name.to_owned());
            return Way::Barred(none.to_string());
        };
        there!(self.towards(Gate::DischargedToTouch, now));
        let ends = fit::ends(self.book, &place);
        let names = ends
            .iter()
            .map(|e| self.book.sheet.point_name(*e).to_owned());
        let all: Vec<String> = names.collect();
        // Hands go in among all of them, those that came lifted from the visit before as well.
        if let Err(error) = self.may_lift(&all, now) {
            return self.first(error, None);
        }
        let on = all.into_iter().filter(|e| !self.record.lifted.contains(e));
        let on: Vec<String> = on.collect();
        if !on.is_empty() {
            let why = "the part comes out: note mark and terminal, or take a photograph, of each one \
                       first; that is the checklist for putting it back";
            return act(Act::Lift(on), why, Needs::Touch);
        }
        let touched = match &place {
            fit::Place::Part(at) => Some(self.book.sheet.parts[*at].first_point),
            fit::Place::Wire(_) => ends.first().copied(),
        };
        let gates = self
            .gates
            .proved_dead()
            .zip(self.gates.discharged_to_touch(now));
        if let (Some((dead, touch)), Some(point)) = (gates, touched)
            && let Err(error) = TouchAsk::new(dead, touch, Book::id(point))
        {
            return self.first(error, None);
        }
        let approved = self.record.mended.as_ref().and_then(|m| {
            let option = m.repair.option.as_ref()?;
            let approved = Said::message("why-fit-approved").with("option", option.clone());
            Some(approved.with("quoted", m.repair.quoted.join(", ")))
        });
        let number = matches!(place, fit::Place::Part(at) if fit::by_number(self.book, at));
        let id = if number { "why-fit-number" } else { "why-fit" };
        let why = Said::message(id)
            .with("part", name.to_owned())
            .then_if("; ", approved)
            .then_if(". ", charge::before_opening(self.book, &self.record, name));
        wish(
            Request::Act {
                act: Act::Fit(name.to_owned()),
            },
            why,
            15.0,
            Needs::Touch,
        )
    }

    fn towards_checked(&self, end: &str, now: Micros) -> Way {
        there!(self.towards(Gate::DischargedToTouch, now));
        let Some(mended) = self.record.mended.as_deref() else {
            return Way::There;
        };
        let rewired = mended.rewired(self.book, &self.record);
        let point = self.book.sheet.point(end);
        let alike: Vec<_> = rewired
            .untold
            .iter()
            .filter(|swap| point.is_some_and(|p| swap.contains(&p)))
            .copied()
            .collect();
        let ohms = (!alike.is_empty()).then(|| {
            let swaps = swaps_words(self.book, &alike);
            Said::message("why-look-alone").with("swaps", swaps)
        });
        let why = Said::message("why-look-at")
            .with("goes", self.goes(end))
            .then_if("; ", ohms);
        act(Act::CheckWire(end.to_owned()), why, Needs::Touch)
    }

    fn towards_ohms(&self, pair: usize, now: Micros) -> Way {
        let ends: [String; 0] = [];
        there!(self.reach_dead(&ends, false, now, false));
        let mended = self.record.mended.as_deref();
        let telling = mended.and_then(|m| {
            let all = &m.rewired(self.book, &self.record).pairs;
            all.get(pair).cloned()
        });
        let gates = self
            .gates
            .proved_dead()
            .zip(self.gates.discharged_to_measure(now));
        let (Some(telling), Some((dead, measure))) = (telling, gates) else {
            return Way::Barred("the gates shut".into());
        };
        match DeadAsk::ohms(dead, measure, telling.points.map(Book::id)) {
            Ok(ask) => wish(
                Request::Measure {
                    function: ask.function(),
                    points: self.book.names(ask.points()),
                    state: self.record.state(),
                },
                self.why_ohms(&telling),
                0.5,
                Needs::Measure(ask.epoch()),
            ),
            Err(error) => self.first(error, None),
        }
    }

    fn why_ohms(&self, telling: &Telling) -> Said {
        let name = |p| self.book.sheet.point_name(p).to_owned();
        let swaps = swaps_words(self.book, &telling.tells);
        match telling.times {
            _ if telling.tells.is_empty() => {
                "resistance before power: the next one is held against it".into()
            }
            None => Said::message("why-ohms").with("swaps", swaps),
            Some([a, b]) => Said::message("why-ohms-share")
                .with("one", name(a))
                .with("other", name(b))
                .with("swaps", swaps),
        }
    }

    /// Under power, with what the unit is told.
    fn towards_told(&self, told: Told, now: Micros) -> Way {
        let Some(mended) = self.record.mended.as_deref() else {
            return Way::There;
        };
        if self.record.power == Power::Off {
            let passed = mended.act(&Act::CallOff);
            let passed = passed.is_some_and(|a| matches!(a.how, mended::How::Skipped(_)));
            if mended.told != Told::Nothing && !passed {
                let why = "the start is watched: the breaker is closed without a call, and the call \
                           comes when the meters are set";
                return act(Act::CallOff, why, Needs::Nothing);
            }
            let on = State {
                on: true,
                lifted: 0,
                cooled: self.record.cooled,
            };
            there!(self.reach(on, now, false));
        }
        match (told, mended.told) {
            (wanted, now) if wanted == now => Way::There,
            (Told::Call, Told::Nothing) => {
                let why = "set the voltmeter on the line to hold its lowest value and the clamp to hold \
                           its highest, then turn the thermostat to a call; if a motor hums and does \
                           not turn, switch off within 5 s";
                self.towards_call(Act::CallOn, why, now)
            }
            (Told::Heating | Told::Defrost, Told::Nothing) => {
                let why = "the other mode: turn the thermostat to a call for heating; pass this over with \
                           the reason where the weather does not allow it";
                self.towards_call(Act::CallHeating, why, now)
            }
            (Told::Defrost, Told::Heating) => {
                let why = "start a defrost by the board's own means, as its maker says; pass this over \
                           with the reason where it cannot be started";
                act(Act::StartDefrost, why, Needs::Power)
            }
            _ => {
                let why = "the call is turned off before the mode is changed: a compressor rests about 5 \
                           minutes between starts";
                act(Act::CallOff, why, Needs::Nothing)
            }
        }
    }

    /// A reading of the charge once the unit has run for long enough, or the word for it.
    fn ask_charge(&self, step: Step, now: Micros) -> Way {
        let Some(mended) = self.record.mended.as_deref() else {
            return Way::There;
        };
        let why = charge::why(self.book, &self.record, mended, step);
        let Step::Read(reading) = step else {
            return act(Act::ProveCharge, why, Needs::Power);
        };
        let Some(began) = mended.began else {
            return Way::Barred("it is not known since when the unit runs".into());
        };
        let steady = (STEADY.limit().low() * 60e6) as u64;
        let left = steady.saturating_sub(self.record.elapsed(now).since(began));
        if left > 0 {
            return Way::Wait(Waiting {
                until: Micros(now.0.saturating_add(left)),
                why: "the unit runs for 15 minutes without a stop before its charge is read",
            });
        }
        let point = || reading.point().to_owned();
        let request = Request::Measure {
            function: reading.function(),
            points: [point(), point()],
            state: self.record.state(),
        };
        wish(request, why, reading.minutes(), Needs::Run(mended.run))
    }

    /// A call that starts the unit, once it is ready for that.
    fn towards_call(&self, call: Act, why: &'static str, now: Micros) -> Way {
        there!(self.towards(Gate::ReadyToEnergise, now));
        let Some(ready) = self.gates.ready_to_energise(now) else {
            return Way::Barred("the unit is not ready for a start".into());
        };
        match PowerOn::new(ready, Energise::Call) {
            Ok(start) => {
                let why = Said::message("why-call")
                    .with("why", why)
                    .with("starts", start.starts().to_string());
                act(call, why, Needs::Ready)
            }
            Err(error) => Way::Barred(error.words().to_owned()),
        }
    }

    fn ask_item(&self, item: &Item) -> Way {
        match &item.quest {
            Quest::Look { what, .. } => wish(
                Request::Look { what: what.clone() },
                item.why.clone(),
                0.5,
                Needs::Power,
            ),
            Quest::Measure {
                function,
                points,
                at_start,
            } => {
                let pair = points.map(Book::id);
                match LiveAsk::new(&self.book.plan(), *function, pair, HIGHEST, None) {
                    Ok(ask) => {
                        let why = Said::message("why-live")
                            .with("why", item.why.clone())
                            .with("category", Said::own(ask.needs().words()));
                        let (function, points) = (ask.function(), self.book.names(pair));
                        let state = self.record.state();
                        let request = if *at_start {
                            Request::AtStart {
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
                        };
                        wish(request, why, 1.0, Needs::Power)
                    }
                    Err(error) => Way::Barred(error.words().to_owned()),
                }
            }
        }
    }

    /// Whether what an ask of a repair rests on is gone.
    pub(crate) fn gone(&self, needs: Needs, at: Stamp) -> bool {
        let now = at.steady;
        match needs {
            Needs::Measure(epoch) => epoch != self.gates.epoch() || !self.may_measure_dead(at),
            Needs::Touch => {
                self.gates.proved_dead().is_none() || self.gates.discharged_to_touch(now).is_none()
            }
            Needs::Ready => self.gates.ready_to_energise(now).is_none(),
            Needs::Power => !self.record.has_power(),
            Needs::Run(run) => {
                let mended = self.record.mended.as_deref();
                !self.record.has_power() || mended.is_none_or(|m| m.run != run)
            }
            Needs::Nothing => false,
        }
    }
}
