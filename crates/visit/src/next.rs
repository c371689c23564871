//! What comes by itself: suspects, gates that shut, the next ask, the finding, and how the unit is
//! left.

use ohmtrail_core::gates::{Event as Told, Gate};
use ohmtrail_core::isolate::State;
use ohmtrail_core::units::Micros;
use ohmtrail_trail::event::{
    Act, Asked, Event, GateEvent, LeftState, Outcome, Power, Proved, Request, Stamp,
};
use ohmtrail_words::Said;

use crate::book::Book;
use crate::gate::{Way, Wish};
use crate::isolate::Stand;
use crate::record::Record;
use crate::visit::{Pending, Purpose, Visit, Waiting};
use crate::words;

/// How often one step is asked for before its gate counts as out of reach.
const TRIES: u32 = 4;

impl Visit<'_> {
    /// What comes next by itself: append these events, apply them, and call again, until nothing
    /// comes. One ask is open at a time; while it is, only a gate that shuts can bring anything.
    pub fn next(&mut self, at: Stamp) -> Vec<Event> {
        self.live.waiting = None;
        let record = &self.record;
        if record.opened.is_none() || record.closed {
            return Vec::new();
        }
        let outcome = self.gates.on(&Told::Tick { at: at.steady });
        let mut events = self.gate_events(&outcome);
        if self.live.restarted {
            self.live.restarted = false;
            events.extend(self.shut_by_restart());
        }
        events.extend(self.withdraw(at));
        if !events.is_empty() || self.record.left.is_some() {
            return events;
        }
        if self.record.told != Some(self.record.version) && self.record.mended.is_none() {
            let ranked = self.suspects();
            return vec![Event::Suspects { ranked }];
        }
        if self.record.open.is_some() {
            return Vec::new();
        }
        if self.is_leaving() {
            return self.leave(at);
        }
        if self.record.mended.is_some() {
            return self.prove(at);
        }
        self.isolate(at)
    }

    /// Says of every gate that the trail has open that it is shut, and of the proof that the unit is
    /// dead at any rate.
    fn shut_by_restart(&self) -> Vec<Event> {
        let dead = Gate::ProvedDead.name();
        let said = self.record.gates.values().filter(|g| g.open);
        let others = said.map(|g| g.gate.as_str()).filter(|name| *name != dead);
        let shut = |name: &str| {
            Event::Gate(GateEvent {
                gate: name.to_owned(),
                open: false,
                points: Vec::new(),
                why: words::RESTARTED.to_owned(),
            })
        };
        std::iter::once(dead).chain(others).map(shut).collect()
    }

    /// Withdraws an open ask whose ground is gone: asked before a restart, or behind a gate that
    /// shut.
    fn withdraw(&self, at: Stamp) -> Option<Event> {
        let asked = self.record.open_ask()?;
        let void = |why: &str| {
            Some(Event::Voided {
                ask: Some(asked.ask),
                why: why.to_owned(),
            })
        };
        let Some(pending) = self.live.pending.as_ref().filter(|p| p.ask == asked.ask) else {
            // A look needs no gate but where the unit must be dead, and no look under power does.
            let keeps =
                matches!(&asked.request, Request::Look { .. }) && self.record.power == Power::On;
            return if keeps {
                None
            } else {
                void("asked before the program was started again")
            };
        };
        let now = at.steady;
        match &pending.purpose {
            Purpose::Check {
                epoch: Some(epoch), ..
            } if *epoch != self.gates.epoch() || !self.may_measure_dead(at) => {
                void("the gate it was asked behind has shut")
            }
            Purpose::Gate(step) => {
                let still = Gate::ALL
                    .iter()
                    .any(|gate| self.gates.next_step(*gate, now) == *step);
                if still {
                    None
                } else {
                    void("another step comes first now")
                }
            }
            Purpose::AtWork { points, .. } => {
                let dead = self.gates.proved_dead();
                if dead.is_some_and(|dead| !dead.shows(*points)) {
                    None
                } else {
                    void("another step comes first now")
                }
            }
            Purpose::Way { .. } => {
                let touches = matches!(
                    &asked.request,
                    Request::Act {
                        act: Act::Lift(_) | Act::PutBack(_)
                    }
                );
                let ready = self.gates.ready_to_energise(now).is_some();
                let powers = matches!(
                    &asked.request,
                    Request::Act {
                        act: Act::CloseBreaker
                    }
                );
                let touch = self.gates.proved_dead().is_some()
                    && self.gates.discharged_to_touch(now).is_some();
                if (touches && !touch) || (powers && !ready) {
                    void("the gate it was asked behind has shut")
                } else {
                    None
                }
            }
            Purpose::Prove(needs) if self.gone(*needs, at) => {
                void("the gate it was asked behind has shut")
            }
            Purpose::Check { .. } | Purpose::Prove(_) => None,
        }
    }

    /// What was live where nothing should be is made dead before anything else is asked.
    pub(crate) fn after_alarm(&mut self, at: Stamp) -> Option<Event> {
        while self.record.alarmed && self.live.no_dead.is_none() {
            let Way::Ask(wish) = self.towards(Gate::ProvedDead, at.steady) else {
                break;
            };
            if let Some(event) = self.ask(wish) {
                return Some(event);
            }
        }
        None
    }

    fn isolate(&mut self, at: Stamp) -> Vec<Event> {
        if let Some(event) = self.after_alarm(at) {
            return vec![event];
        }
        // Each turn asks, ends, or bars at least one check: it cannot go round for ever.
        for _ in 0..=self.book.checks() + 2 {
            match self.stand() {
                stand @ (Stand::Found { .. } | Stand::Unnamed { .. } | Stand::Undecided) => {
                    let (conclusion, finding) = self.conclude(stand);
                    return vec![Event::Concluded(conclusion), Event::Found(finding)];
                }
                Stand::Rest(.., moment) if moment > self.record.elapsed(at.steady) => {
                    let left = moment.since(self.record.elapsed(at.steady));
                    self.live.waiting = Some(Waiting {
                        until: Micros(at.steady.0.saturating_add(left)),
                        why: "a motor that was called cold may still be hot by what was measured: \
                              wait, then its common leg is read again; start to run may be read \
                              meanwhile",
                    });
                    return Vec::new();
                }
                Stand::Ask(check, state) | Stand::Rest(check, state, _) => {
                    match self.towards_check(check, state, at.steady) {
                        // Asked in a state that is not the check's, its answer would not count.
                        Way::Ask(wish)
                            if matches!(wish.purpose, Purpose::Check { .. })
                                && !self.book.fits(check, &self.record.state()) =>
                        {
                            self.live.impossible.insert(check);
                        }
                        Way::Ask(mut wish) => {
                            if let Purpose::AtWork { check: blocks, .. } = &mut wish.purpose {
                                *blocks = Some(check);
                            }
                            if matches!(wish.purpose, Purpose::Check { .. })
                                && let Some(again) = self.why_again(check)
                            {
                                wish.why = again.then("; ", wish.why);
                            }
                            if let Some(event) = self.ask(wish) {
                                return vec![event];
                            }
                        }
                        Way::Wait(waiting) => {
                            self.live.waiting = Some(waiting);
                            return Vec::new();
                        }
                        Way::Barred(_) | Way::There => {
                            self.live.impossible.insert(check);
                        }
                    }
                }
            }
        }
        // Every way is barred, or asked for too often: the visit ends here, never in silence.
        let (conclusion, finding) = self.conclude(Stand::Undecided);
        vec![Event::Concluded(conclusion), Event::Found(finding)]
    }

    /// Asks, unless the same step was asked for too often: then its gate is out of reach.
    pub(crate) fn ask(&mut self, wish: Wish) -> Option<Event> {
        if !matches!(wish.purpose, Purpose::Check { .. }) {
            let tries = &mut self.live.tries;
            let known = tries
                .iter_mut()
                .find(|(request, _)| *request == wish.request);
            let count = match known {
                Some((_, count)) => {
                    *count += 1;
                    *count
                }
                None => {
                    tries.push((wish.request.clone(), 1));
                    1
                }
            };
            if count > TRIES {
                self.bar(&wish.purpose, &wish.request, words::TOO_OFTEN);
                return None;
            }
        }
        let ask = self.record.next_ask();
        let why = wish.why.to_string();
        self.live.pending = Some(Pending {
            ask,
            purpose: wish.purpose,
            why: wish.why,
        });
        Some(Event::Asked(Asked {
            ask,
            request: wish.request,
            why,
            minutes: wish.minutes,
        }))
    }

    /// Notes that the way this step is on cannot be gone.
    pub(crate) fn bar(&mut self, purpose: &Purpose, request: &Request, why: &str) {
        use ohmtrail_core::gates::Step;
        let why = why.to_owned();
        let acts = match request {
            Request::Act { act } => Some(act.clone()),
            _ => None,
        };
        match purpose {
            Purpose::Way { leaving: true } => {
                if let Some(act) = acts {
                    self.live.not_left.push((act, why));
                }
            }
            Purpose::Gate(
                Step::CheckGround(_) | Step::Insulate(_) | Step::FitCovers | Step::ClearPeople,
            ) => self.live.no_power = Some(why),
            Purpose::Way { .. } if acts == Some(Act::CloseBreaker) => {
                self.live.no_power = Some(why);
            }
            Purpose::Way { .. } if acts == Some(Act::WaitCool) => {
                // The checks on cold motors go; the others stay.
                let cold = (0..self.book.checks()).filter(|c| {
                    self.book.sheet.checks[*c].heat == Some(ohmtrail_circuit::sheet::Heat::Cold)
                });
                self.live.impossible.extend(cold);
            }
            Purpose::Gate(_) | Purpose::Way { .. } => {
                self.live.no_dead = Some(why.clone());
                self.live.no_power.get_or_insert(why);
            }
            Purpose::AtWork { check: None, .. } | Purpose::Prove(_) => {
                self.live.no_power.get_or_insert(why);
            }
            Purpose::AtWork {
                check: Some(check), ..
            } => {
                self.live.impossible.insert(*check);
            }
            Purpose::Check { .. } => {}
        }
    }

    /// Leaves the unit: under power if nothing was found wrong and it can be had, else off and
    /// locked, with lifted ends insulated.
    fn leave(&mut self, at: Stamp) -> Vec<Event> {
        for _ in 0..8 {
            let way = if self.leaves_running() {
                self.reach(
                    State {
                        on: true,
                        lifted: 0,
                        cooled: self.record.cooled,
                    },
                    at.steady,
                    true,
                )
            } else {
                self.towards_left()
            };
            match way {
                Way::There => return vec![Event::Left(self.left_state())],
                Way::Wait(waiting) => {
                    self.live.waiting = Some(waiting);
                    return Vec::new();
                }
                Way::Barred(why) => self.live.no_power = Some(why),
                Way::Ask(wish) => {
                    if let Some(event) = self.ask(wish) {
                        return vec![event];
                    }
                }
            }
        }
        vec![Event::Left(self.left_state())]
    }

    /// Whether the finding is that nothing is wrong, or the repair came to something else than that
    /// the unit is left off.
    fn leaves_running(&self) -> bool {
        if let Some(mended) = &self.record.mended {
            let end = mended.end.as_ref();
            return end.is_some_and(|e| e.proved != Proved::LeftOff) && self.record.has_power();
        }
        let healthy = self
            .record
            .conclusion
            .as_ref()
            .is_some_and(|c| c.outcome == Outcome::NoFault);
        healthy
            && (self.record.power == Power::On
                || (self.live.no_power.is_none() && self.live.no_dead.is_none()))
    }

    /// The next act of leaving the unit off.
    fn towards_left(&self) -> Way {
        let passed = |act: &Act| self.live.not_left.iter().any(|(a, _)| a == act);
        let ask = |act: Act, why: &'static str| {
            Way::Ask(Wish {
                request: Request::Act { act },
                why: why.into(),
                minutes: 1.0,
                purpose: Purpose::Way { leaving: true },
            })
        };
        let off = self.record.power == Power::Off && self.live.off;
        if !off && !passed(&Act::OpenBreaker) {
            return ask(
                Act::OpenBreaker,
                "the unit is left off until it is repaired: open its breaker",
            );
        }
        if !(self.record.locked && self.live.locked) && off && !passed(&Act::LockAndTag) {
            return ask(
                Act::LockAndTag,
                "the lock stays on and the tag hangs in the unit; local lock-out rules come first",
            );
        }
        let bare = self.gates.lifted().any(|(_, insulated)| !insulated);
        if bare && !passed(&Act::InsulateEnds) {
            return ask(
                Act::InsulateEnds,
                "ends that stay lifted are insulated, each by itself",
            );
        }
        Way::There
    }

    fn left_state(&self) -> LeftState {
        let record = &self.record;
        let reason = self.live.no_dead.as_deref();
        let reason = reason.filter(|why| record.alarmed || *why == words::STAYS_LIVE);
        let not_left = self.live.not_left.iter().map(|(a, why)| (a, why.as_str()));
        let why = why_left_so(self.book, record, record.power, reason, not_left).to_string();
        LeftState {
            power: record.power,
            locked: record.locked,
            lifted: record.lifted.clone(),
            why,
        }
    }
}

/// Why a unit is left as it is: what was found, why it is not proved dead, which acts were not done.
pub(crate) fn why_left_so<'a>(
    book: &Book<'_>,
    record: &Record,
    power: Power,
    not_dead: Option<&str>,
    not_left: impl Iterator<Item = (&'a Act, &'a str)>,
) -> Said {
    let faults = record.finding.as_ref().map(|f| f.faults.join(", "));
    let end = record.mended.as_ref().and_then(|m| m.end.as_ref());
    let found = match faults {
        _ if end.is_some() => end.map_or_else(Said::default, |end| {
            let whys = record.end_said(book);
            Said::phrase(end.proved.words()).then(": ", Said::joined(whys, "; "))
        }),
        Some(faults) if !faults.is_empty() => Said::message("left-found").with("faults", faults),
        _ if power == Power::On => "nothing was found wrong".into(),
        _ => "what failed is not proven".into(),
    };
    let not_dead = not_dead.map(|why| Said::message("not-dead").with("why", Said::told(why)));
    let not_done = |(act, why): (&Act, &str)| {
        Said::message("not-done")
            .with("act", act_words(act))
            .with("why", Said::told(why))
    };
    not_left.fold(found.then_if("; ", not_dead), |said, act| {
        said.then("; ", not_done(act))
    })
}

fn act_words(act: &Act) -> &'static str {
    match act {
        Act::OpenBreaker => "opening the breaker",
        Act::LockAndTag => "locking and tagging",
        Act::InsulateEnds => "insulating the lifted ends",
        Act::PutBack(_) => "putting the wire ends back",
        Act::CloseBreaker => "closing the breaker",
        _ => "an act of leaving",
    }
}
