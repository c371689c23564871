//! Readings: watched as they come, and judged as takes.

use ohmtrail_core::accuracy::{AccuracyTable, Circuit, standard_uncertainty};
use ohmtrail_core::gates::{self, Event as Told, Known, Seen, Step};
use ohmtrail_core::leads::Leads;
use ohmtrail_core::reading::{Flags, Function, MeterId, Reading, Shown};
use ohmtrail_core::units::{Micros, Ohms};
use ohmtrail_trail::event::{Act, Acted, Event, Judged, Power, Request, Stamp, Take};
use ohmtrail_words::Said;

use crate::book::Book;
use crate::cooldown::AMBIENT;
use crate::handle::{unknown, wants};
use crate::input::{Inputs, LEADS, Taken};
use crate::judge::{Weighed, gate_verdict, ground_verdict, kept, leads, verdict, weigh};
use crate::prove::{Needs, reads};
use crate::record::Took;
use crate::refusal::Refusal;
use crate::visit::{Purpose, Stated, Visit};

/// Void takes of a check before it is passed over.
const VOID_TAKES: u32 = 3;
/// The points of a take on the known source.
const KNOWN: &str = "known-source";

fn is_volts(function: Function) -> bool {
    matches!(function, Function::VoltsAc | Function::VoltsDc)
}

impl Visit<'_> {
    /// A display value on its way: sounds the alarm within this one reading. The gates are told of it
    /// now, whenever it was read: what another meter was told of in between came before it.
    pub(crate) fn watch(&mut self, reading: &Reading, now: Micros) -> Vec<Event> {
        let open = self.record.open_ask();
        let points = match open.map(|a| &a.request) {
            Some(Request::Act {
                act: Act::ProveMeter,
            }) => return Vec::new(),
            Some(Request::Act {
                act: Act::Discharge,
            }) if reading.function == Function::VoltsDc => return Vec::new(),
            asked => asked.and_then(Request::measurement).and_then(|asked| {
                let [a, b] = asked.points;
                self.book.sheet.point(a).zip(self.book.sheet.point(b))
            }),
        };
        if points.is_some_and(|(a, b)| self.book.upstream([a, b])) {
            return Vec::new();
        }
        let measuring = points.is_some();
        let ask = self.record.open;
        let (value, uncertainty) = self.plain(reading);
        let outcome = self.gates.on(&Told::Reading(Seen {
            function: reading.function,
            value,
            uncertainty,
            flags: reading.flags,
            meter: reading.meter,
            points: points.map(|(a, b)| [Book::id(a), Book::id(b)]),
            at: now,
        }));
        let mut events = self.gate_events(&outcome);
        if let Some(why) = self.live.alarm
            && measuring
        {
            events.insert(
                0,
                Event::Voided {
                    ask,
                    why: why.to_owned(),
                },
            );
        }
        events
    }

    /// A reading's number as the gates want it: an overload is not finite.
    fn plain(&self, reading: &Reading) -> (f64, f64) {
        let Shown::Value(shown) = reading.shown else {
            let blank = reading.shown == Shown::Blank;
            return (
                if blank { 0.0 } else { f64::INFINITY },
                if blank { f64::INFINITY } else { 0.0 },
            );
        };
        let stated = self.live.meters.get(&reading.meter);
        let accuracy = stated.and_then(|s| s.accuracy(reading.function, shown.value()));
        let u = accuracy.map_or(f64::INFINITY, |a| standard_uncertainty(shown, &a));
        (shown.value(), u)
    }

    pub(crate) fn took(&mut self, taken: Taken, at: Stamp) -> Result<Vec<Event>, Refusal> {
        let meter = taken
            .meter
            .or(self.live.meter)
            .or_else(|| self.record.meters.last().map(|m| m.meter))
            .ok_or(Refusal::NoSuchMeter(0))?;
        self.known(meter)?;
        // The meter that reads volts is the one that is proved and proves dead.
        if taken.function.is_some_and(is_volts) {
            self.live.meter = Some(meter);
        }
        let request = match taken.ask {
            Some(ask) => Some(self.open(ask)?.request.clone()),
            None => None,
        };
        let asked = request.as_ref().and_then(Request::measurement);
        let (wanted, points) = match (asked, &request, taken.ask) {
            (Some(asked), ..) => (asked.function, asked.points.clone()),
            (
                None,
                Some(Request::Act {
                    act: Act::ProveMeter,
                }),
                Some(ask),
            ) => return self.proved(ask, meter, &taken, at),
            (None, Some(other), Some(ask)) => {
                return Err(Refusal::Answer {
                    ask,
                    wants: wants(other),
                });
            }
            _ => {
                let function = taken.function.ok_or(Refusal::Incomplete("the function"))?;
                let points = taken.points.clone();
                (function, points.ok_or(Refusal::Incomplete("the points"))?)
            }
        };
        if let (Some(ask), Some(given)) = (taken.ask, &taken.points) {
            let [a, b] = &points;
            if *given != points && *given != [b.clone(), a.clone()] {
                return Err(Refusal::OtherPoints { ask, points });
            }
        }
        // The probes held together, the air, and the refrigerant circuit: no points of the unit's wiring.
        let beside = points.iter().all(|p| p == LEADS)
            || (points.iter().all(|p| p == AMBIENT) && wanted == Function::Celsius)
            || reads(&points, wanted);
        let mut pair = None;
        if !beside {
            let [a, b] = &points;
            let find = |name: &String| {
                let point = self.book.sheet.point(name);
                point.ok_or_else(|| unknown("point", name.clone(), "points"))
            };
            pair = Some([find(a)?, find(b)?]);
        }
        let function = taken.function.unwrap_or(wanted);
        // Asked for in that mode, it is what was set, whether the display shows it or not.
        let low = asked.is_some_and(|asked| asked.low_impedance) || self.inputs(meter).are_low();
        let mut flags = taken.flags;
        if asked.is_some_and(|asked| asked.at_start) {
            // Held on purpose: the lowest or the highest of the start is what was asked for.
            flags.0 &= !(Flags::MINIMUM.0 | Flags::MAXIMUM.0);
        }
        let reading = Reading {
            function,
            shown: taken.shown,
            flags: flags.with_if(Flags::LOW_IMPEDANCE, low && is_volts(function)),
            meter,
            at: at.steady,
        };
        Ok(self.take(taken.ask, reading, wanted, points, pair, at))
    }

    /// What a meter's inputs are on volts.
    fn inputs(&self, meter: MeterId) -> Inputs {
        self.live.inputs.get(&meter).copied().unwrap_or_default()
    }

    /// Whether every reading of volts is into a low impedance, and whether one can be: by the meters
    /// that joined, or as one was seen to.
    pub(crate) fn low_impedance(&self) -> (bool, bool) {
        let mut all = self.live.inputs.values();
        let always = !self.live.inputs.is_empty() && all.all(Inputs::are_low);
        let mut all = self.live.inputs.values();
        let mut takes = self.record.takes.iter();
        let can =
            all.any(Inputs::can_be_low) || takes.any(|t| t.take.flags.has(Flags::LOW_IMPEDANCE));
        (always, can)
    }

    /// A take, with its points known.
    fn take(
        &mut self,
        ask: Option<u32>,
        reading: Reading,
        wanted: Function,
        points: [String; 2],
        pair: Option<[usize; 2]>,
        at: Stamp,
    ) -> Vec<Event> {
        let state = self.record.state();
        let purpose = self
            .live
            .pending
            .as_ref()
            .filter(|p| Some(p.ask) == ask)
            .map(|p| p.purpose.clone());
        let epoch_holds = match &purpose {
            Some(Purpose::Check {
                epoch: Some(epoch), ..
            })
            | Some(Purpose::Prove(Needs::Measure(epoch))) => *epoch == self.gates.epoch(),
            _ => true,
        };
        let dead = self.may_measure_dead(at) && epoch_holds && state.power == Power::Off;
        let circuit = if dead || pair.is_none() {
            Circuit::Dead
        } else {
            Circuit::Live
        };
        let (gate_said, revoked, gate_events) = self.tell_take(&reading, pair);
        let accuracy = self.live.meters.get(&reading.meter).cloned();
        let mut accuracy = accuracy.unwrap_or(Stated(Vec::new()));
        // A thermometer or a gauge is seldom the meter that joined: what it states is not known then.
        let elsewhere = matches!(
            wanted,
            Function::Celsius | Function::Pascals | Function::Percent
        );
        if pair.is_none() && elsewhere && accuracy.accuracy(wanted, 0.0).is_none() {
            accuracy = Stated(Vec::new());
        }
        let known_leads = if pair.is_none() {
            Leads::Zeroed { step: Ohms(0.0) }
        } else {
            leads(self.book, &self.record, &reading)
        };
        let mut void: Option<String> = self.live.alarm.map(str::to_owned);
        let mut weighed = Weighed::NOTHING;
        let mut judged = None;
        match weigh(&reading, wanted, circuit, &accuracy, &known_leads) {
            Ok(w) => weighed = w,
            Err(why) => void = void.or(Some(why)),
        }
        if revoked && reading.function.injects() {
            void = void.or_else(|| gate_said.map(|why| why.words().to_owned()));
        }
        if void.is_none() {
            let low = reading.flags.has(Flags::LOW_IMPEDANCE);
            let check = pair.and_then(|p| self.book.check_for(reading.function, p, &state, low));
            let said = match (&purpose, check) {
                (Some(Purpose::Prove(_)), _) => {
                    self.proof_verdict(ask, &reading, &weighed, &accuracy)
                }
                (
                    Some(Purpose::Gate(
                        Step::ReadDead { at_most, .. } | Step::ReadCharge { at_most, .. },
                    )),
                    None,
                ) => Ok(gate_verdict(&reading, &weighed, *at_most).map(kept)),
                (Some(Purpose::AtWork { .. }), _) => {
                    Ok(gate_verdict(&reading, &weighed, gates::limits::DEAD).map(kept))
                }
                (Some(Purpose::Gate(Step::CheckGround(_))), None) if is_volts(reading.function) => {
                    Ok(gate_verdict(&reading, &weighed, gates::limits::DEAD).map(kept))
                }
                (Some(Purpose::Gate(Step::CheckGround(_))), None) => {
                    Ok(ground_verdict(&reading, &weighed).map(kept))
                }
                (_, Some(check)) => verdict(
                    self.book,
                    &self.record,
                    check,
                    &reading,
                    &weighed,
                    Some(&accuracy),
                )
                .map(|said| said.map(kept)),
                (_, None) => Ok(None),
            };
            match said {
                Ok(said) => judged = said,
                Err(why) => void = Some(why),
            }
            // A gate's own reading that does not count for it is void, a charge or a voltage that
            // is there is not: it was read, and it is what it is.
            if let (Some(Purpose::Gate(_) | Purpose::AtWork { .. }), Some(why)) =
                (&purpose, gate_said)
                && why != gates::NotCounted::TooHigh
                && why != gates::NotCounted::NotAsked
            {
                void = Some(why.words().to_owned());
            }
        }
        if void.is_some() {
            judged = None;
        }
        let number = self.record.next_take();
        let mut events = vec![Event::Took(Take {
            take: number,
            ask,
            meter: reading.meter,
            function: reading.function,
            points,
            state,
            shown: reading.shown,
            flags: reading.flags,
            value: weighed.value,
            uncertainty: weighed.u,
            leads: weighed.leads,
            verdict: judged,
        })];
        if let Some(why) = void {
            events.push(Event::Voided { ask, why });
            if let (Some(ask), Some(Purpose::Check { check, .. })) = (ask, &purpose) {
                let before = self.record.voids.get(check).copied().unwrap_or(0);
                if before + 1 >= VOID_TAKES && self.live.alarm.is_none() {
                    events.push(Event::Skipped {
                        ask,
                        why: "its takes were void too often".to_owned(),
                    });
                }
            }
        }
        events.extend(gate_events);
        events
    }

    /// The verdict on a take that answers a proof of a repair.
    fn proof_verdict(
        &self,
        ask: Option<u32>,
        reading: &Reading,
        weighed: &Weighed,
        accuracy: &Stated,
    ) -> Result<Option<Judged>, String> {
        let asked = ask.and_then(|n| self.record.ask(n));
        let (Some(asked), Some(mended)) = (asked, self.record.mended.as_deref()) else {
            return Ok(None);
        };
        let read = (reading, weighed);
        crate::prove::verdict(
            self.book,
            &self.record,
            mended,
            &asked.request,
            read,
            Some(accuracy),
        )
        .map(|judged| judged.map(|(judged, _)| judged))
    }

    /// Tells the gates of a take, unless it was made where voltage is expected whatever they know:
    /// before the breakers, or off the unit.
    fn tell_take(
        &mut self,
        reading: &Reading,
        pair: Option<[usize; 2]>,
    ) -> (Option<gates::NotCounted>, bool, Vec<Event>) {
        let Some(points) = pair.filter(|p| !self.book.upstream(*p)) else {
            return (None, false, Vec::new());
        };
        if reading.shown == Shown::Blank {
            return (Some(gates::NotCounted::NotLive), false, Vec::new());
        }
        let (value, uncertainty) = self.plain(reading);
        let outcome = self.gates.on(&Told::Take(Seen {
            function: reading.function,
            value,
            uncertainty,
            flags: reading.flags,
            meter: reading.meter,
            points: Some(points.map(Book::id)),
            at: reading.at,
        }));
        (
            outcome.not_counted,
            outcome.void,
            self.gate_events(&outcome),
        )
    }

    /// A reading on the known source, in answer to the ask to prove the meter.
    fn proved(
        &mut self,
        ask: u32,
        meter: MeterId,
        taken: &Taken,
        at: Stamp,
    ) -> Result<Vec<Event>, Refusal> {
        let function = taken.function.ok_or(Refusal::Incomplete("the function"))?;
        let reading = Reading {
            function,
            shown: taken.shown,
            flags: taken.flags,
            meter,
            at: at.steady,
        };
        let (value, uncertainty) = self.plain(&reading);
        let outcome = self.gates.on(&Told::Proof {
            meter,
            seen: Some(Known {
                function,
                value,
                uncertainty,
                flags: taken.flags,
            }),
            at: at.steady,
        });
        let gate_events = self.gate_events(&outcome);
        let take = Take {
            take: self.record.next_take(),
            ask: None,
            meter,
            function,
            points: [KNOWN.to_owned(), KNOWN.to_owned()],
            state: self.record.state(),
            shown: taken.shown,
            flags: taken.flags,
            value: if value.is_finite() { value } else { f64::NAN },
            uncertainty: if uncertainty.is_finite() {
                uncertainty
            } else {
                0.0
            },
            leads: 0.0,
            verdict: None,
        };
        let mut events = vec![Event::Took(take)];
        events.push(match outcome.not_counted {
            None => Event::Acted(Acted {
                ask: Some(ask),
                act: Act::ProveMeter,
            }),
            Some(why) => Event::Voided {
                ask: Some(ask),
                why: why.words().to_owned(),
            },
        });
        events.extend(gate_events);
        Ok(events)
    }
}

impl Took {
    /// Its verdict in a sentence, before it is put into a language: as the trail has it, where an older
    /// program said it.
    #[must_use]
    pub fn words(&self) -> Option<Said> {
        let judged = self.take.verdict.as_ref()?;
        let said = self.said.clone();
        Some(said.unwrap_or_else(|| Said::phrase(judged.words.clone())))
    }

    /// Whether it counts: neither struck nor void.
    #[must_use]
    pub fn counts(&self) -> bool {
        self.struck.is_none() && self.void.is_none()
    }
}
