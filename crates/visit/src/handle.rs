//! What is told, turned into events. The gates hear of it here, and only here.

use ohmtrail_core::accuracy::{AccuracyTable, Circuit};
use ohmtrail_core::gates::{self, Event as Told, Gate, Known, Outcome, Seen, Step};
use ohmtrail_core::reading::{Flags, Function, MeterId, Reading, Shown};
use ohmtrail_core::units::Micros;
use ohmtrail_trail::event::{Act, Acted, Asked, Event, GateEvent, Power, Request, Stamp, Take};

use crate::book::Book;
use crate::input::{Input, LEADS, Refusal, Taken};
use crate::judge::{Weighed, gate_verdict, leads, verdict, weigh};
use crate::visit::{Purpose, Stated, Visit};
use crate::words;

/// Void takes of a check before it is passed over.
const VOID_TAKES: u32 = 3;
/// The points of a take on the known source.
const KNOWN: &str = "known-source";

impl Visit<'_> {
    /// Takes in what was said or read, and gives the events that follow from it at once. Append
    /// them to the trail, then [`apply`](Visit::apply) each, then call [`next`](Visit::next).
    ///
    /// # Errors
    /// A [`Refusal`]: nothing has changed.
    pub fn handle(&mut self, input: Input, at: Stamp) -> Result<Vec<Event>, Refusal> {
        self.may_handle(&input)?;
        self.live.alarm = None;
        match input {
            Input::Open(opened) => Ok(vec![Event::Opened(opened)]),
            Input::Complaint { what, words } => {
                let known = self.book.sheet.complaints.iter().any(|c| c.name == what);
                if known {
                    Ok(vec![Event::Complaint { what, words }])
                } else {
                    Err(unknown("complaint", what, "looks"))
                }
            }
            Input::Plate(plate) => {
                let parts = &self.book.sheet.parts;
                if plate.part == "unit" || parts.iter().any(|p| p.name == plate.part) {
                    Ok(vec![Event::Plate(plate)])
                } else {
                    Err(unknown("part", plate.part, "points"))
                }
            }
            Input::Look { ask, what, answer } => self.looked(ask, what, answer, at),
            Input::Take(taken) => self.took(taken, at),
            Input::Done { ask, act } => self.done(ask, act, at),
            Input::Skip { ask, why } => self.skip(ask, why, at),
            Input::Strike { take, why } => self.strike(take, why),
            Input::MeterJoined { joined, accuracy } => {
                self.live.meters.insert(joined.meter, Stated(accuracy));
                self.live.meter = Some(joined.meter);
                Ok(vec![Event::MeterJoined(joined)])
            }
            Input::MeterLost { meter, why } => {
                self.known(meter)?;
                let mut events = vec![Event::MeterLost { meter, why }];
                events.extend(self.tell(&Told::LinkGap {
                    meter,
                    at: at.steady,
                }));
                Ok(events)
            }
            Input::MeterBack { meter, gap_us } => {
                self.known(meter)?;
                Ok(vec![Event::MeterBack { meter, gap_us }])
            }
            Input::Live(reading) => Ok(self.watch(&reading)),
            Input::Readings { meter, readings } => {
                self.known(meter)?;
                Ok(vec![Event::Readings { meter, readings }])
            }
            Input::Lifted { end, mark, photo } => self.lifted(&end, mark, photo, at),
            Input::PutBack { end, photo } => self.put_back(&end, photo, at),
            Input::Photo {
                hash,
                media_type,
                size,
                caption,
            } => Ok(vec![Event::Photo {
                hash,
                media_type,
                size,
                caption,
            }]),
            Input::Note(text) => Ok(vec![Event::Note { text }]),
            Input::Leave { why } => Ok(self.end_checks(&why)),
            Input::Tagged(text) => Ok(vec![Event::Tagged { text }]),
            Input::Close => Ok(vec![Event::Closed]),
        }
    }

    fn may_handle(&self, input: &Input) -> Result<(), Refusal> {
        let record = &self.record;
        match input {
            Input::Open(opened) => {
                if record.opened.is_some() {
                    return Err(Refusal::OpenedAlready);
                }
                if opened.sheet_hash != self.book.sheet.hash {
                    return Err(Refusal::OtherSheet {
                        trail: opened.sheet.clone(),
                        given: self.book.sheet.name.clone(),
                    });
                }
                Ok(())
            }
            _ if record.opened.is_none() => Err(Refusal::NotOpened),
            _ if record.closed => Err(Refusal::Closed),
            Input::Tagged(_) | Input::Close if record.left.is_none() => Err(Refusal::NotLeft),
            _ => Ok(()),
        }
    }

    fn known(&self, meter: MeterId) -> Result<(), Refusal> {
        if self.live.meters.contains_key(&meter) {
            Ok(())
        } else {
            Err(Refusal::NoSuchMeter(meter.0))
        }
    }

    /// The open ask of that number.
    fn open(&self, ask: u32) -> Result<&Asked, Refusal> {
        let open = self.record.open;
        self.record
            .open_ask()
            .filter(|a| a.ask == ask)
            .ok_or(Refusal::NotOpen { ask, open })
    }

    /// Tells the gates, and gives what opened and shut.
    pub(crate) fn tell(&mut self, event: &Told) -> Vec<Event> {
        let outcome = self.gates.on(event);
        self.gate_events(&outcome)
    }

    /// What the gates answered, as events.
    pub(crate) fn gate_events(&mut self, outcome: &Outcome) -> Vec<Event> {
        use gates::{Alarm, Why};
        if !outcome.opened.is_empty() {
            self.live.tries.clear();
        }
        let alarm = match outcome.alarm {
            Some(Alarm::Live { .. }) => Some(words::LIVE),
            Some(Alarm::Charged { .. }) => Some(words::CHARGED),
            _ => None,
        };
        let shut_why = alarm.unwrap_or(match outcome.why {
            Some(Why::Restart) => words::RESTARTED,
            Some(why) => why.words(),
            None => "what it rests on is no longer so",
        });
        let mut events: Vec<Event> = Vec::new();
        for gate in outcome.shut.iter() {
            events.push(self.gate_event(gate, false, shut_why));
        }
        if alarm.is_some() {
            self.live.alarm = alarm;
            self.live.tries.clear();
            if alarm == Some(words::LIVE) {
                self.live.off = false;
                self.live.locked = false;
            }
            if !outcome.shut.has(Gate::ProvedDead) {
                events.push(self.gate_event(Gate::ProvedDead, false, shut_why));
            }
        }
        for gate in outcome.opened.iter() {
            let why = match gate {
                Gate::ProvedDead => "every pair read no voltage, the meter proved before and after",
                Gate::DischargedToTouch => "every capacitor pair read at most 34 V",
                Gate::DischargedToMeasure => "every capacitor pair read at most 1 V",
                Gate::Loose => "the part is on a bench with nothing connected",
                Gate::ReadyToEnergise => "ends in place or insulated, covers on, people clear",
            };
            events.push(self.gate_event(gate, true, why));
        }
        events
    }

    fn gate_event(&self, gate: Gate, open: bool, why: &str) -> Event {
        let dead = &self.book.sheet.dead;
        let points: Vec<usize> = match gate {
            Gate::ProvedDead => dead
                .line
                .iter()
                .chain(&dead.load)
                .chain(dead.others.iter().flatten())
                .copied()
                .collect(),
            Gate::DischargedToTouch | Gate::DischargedToMeasure => {
                let mut all: Vec<usize> = dead.capacitors.iter().flatten().copied().collect();
                all.sort_unstable();
                all.dedup();
                all
            }
            Gate::Loose | Gate::ReadyToEnergise => Vec::new(),
        };
        let name = |p: &usize| self.book.sheet.point_name(*p).to_owned();
        Event::Gate(GateEvent {
            gate: gate.name().to_owned(),
            open,
            points: points.iter().map(name).collect(),
            why: why.to_owned(),
        })
    }

    fn looked(
        &mut self,
        ask: Option<u32>,
        what: Option<String>,
        answer: bool,
        at: Stamp,
    ) -> Result<Vec<Event>, Refusal> {
        let what = match ask {
            Some(number) => match &self.open(number)?.request {
                Request::Look { what } => what.clone(),
                other => {
                    return Err(Refusal::Answer {
                        ask: number,
                        wants: wants(other),
                    });
                }
            },
            None => what.ok_or(Refusal::Incomplete("what was looked at"))?,
        };
        if self.book.sheet.look(&what).is_none() {
            return Err(unknown("look", what, "looks"));
        }
        let mut events = vec![Event::Looked {
            ask,
            what: what.clone(),
            answer,
        }];
        if answer && let Some(protector) = self.opens(&what) {
            events.extend(self.tell(&Told::Tripped {
                protector,
                at: at.steady,
            }));
        }
        Ok(events)
    }

    fn skip(&mut self, ask: u32, why: String, at: Stamp) -> Result<Vec<Event>, Refusal> {
        let request = self.open(ask)?.request.clone();
        let pending = self.live.pending.clone().filter(|p| p.ask == ask);
        let mut events = vec![Event::Skipped {
            ask,
            why: why.clone(),
        }];
        match pending.map(|p| p.purpose) {
            Some(Purpose::Gate(Step::ReadLine(_))) => {
                events.extend(self.tell(&Told::Act {
                    act: gates::Act::CannotReadLine,
                    at: at.steady,
                }));
            }
            Some(purpose) => self.bar(&purpose, &request, &why),
            None => {}
        }
        Ok(events)
    }

    fn strike(&mut self, take: u32, why: String) -> Result<Vec<Event>, Refusal> {
        let took = self
            .record
            .takes
            .iter()
            .find(|t| t.take.take == take && t.struck.is_none())
            .ok_or(Refusal::NoSuchTake(take))?;
        // What a gate may have been opened with counts no more: it is read again.
        let gates_rest_on_it = took.take.state.power == Power::Off
            && (took.check.is_none() || !took.take.function.injects());
        let mut events = vec![Event::Struck { take, why }];
        if gates_rest_on_it {
            let outcome = self.gates.revoke();
            events.extend(self.gate_events(&outcome));
        }
        Ok(events)
    }

    fn end_checks(&mut self, why: &str) -> Vec<Event> {
        let mut events = vec![Event::Note {
            text: format!("{}{why}", words::LEAVING),
        }];
        events.extend(self.record.open.map(|ask| Event::Voided {
            ask: Some(ask),
            why: "the checks were ended".to_owned(),
        }));
        self.live.standing = None;
        events
    }

    /// A display value on its way: sounds the alarm within this one reading.
    fn watch(&mut self, reading: &Reading) -> Vec<Event> {
        let open = self.record.open_ask();
        let points = match open.map(|a| &a.request) {
            Some(Request::Act {
                act: Act::ProveMeter,
            }) => return Vec::new(),
            Some(Request::Act {
                act: Act::Discharge,
            }) if reading.function == Function::VoltsDc => return Vec::new(),
            Some(Request::Measure { points: [a, b], .. }) => {
                self.book.sheet.point(a).zip(self.book.sheet.point(b))
            }
            _ => None,
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
            at: reading.at,
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
        let u = accuracy.map_or(f64::INFINITY, |a| {
            ohmtrail_core::accuracy::standard_uncertainty(shown, &a)
        });
        (shown.value(), u)
    }

    fn took(&mut self, taken: Taken, at: Stamp) -> Result<Vec<Event>, Refusal> {
        let meter = taken
            .meter
            .or(self.live.meter)
            .or_else(|| self.record.meters.last().map(|m| m.meter))
            .ok_or(Refusal::NoSuchMeter(0))?;
        self.known(meter)?;
        let request = match taken.ask {
            Some(ask) => Some(self.open(ask)?.request.clone()),
            None => None,
        };
        let (wanted, points) = match (&request, &taken) {
            (
                Some(Request::Measure {
                    function, points, ..
                }),
                _,
            ) => (*function, points.clone()),
            (
                Some(Request::Act {
                    act: Act::ProveMeter,
                }),
                Taken { ask: Some(ask), .. },
            ) => return self.proved(*ask, meter, &taken, at),
            (Some(other), Taken { ask: Some(ask), .. }) => {
                return Err(Refusal::Answer {
                    ask: *ask,
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
        let on_leads = points.iter().all(|p| p == LEADS);
        let mut pair = None;
        if !on_leads {
            let [a, b] = &points;
            let find = |name: &String| {
                let point = self.book.sheet.point(name);
                point.ok_or_else(|| unknown("point", name.clone(), "points"))
            };
            pair = Some([find(a)?, find(b)?]);
        }
        let reading = Reading {
            function: taken.function.unwrap_or(wanted),
            shown: taken.shown,
            flags: taken.flags,
            meter,
            at: at.steady,
        };
        Ok(self.take(taken.ask, reading, wanted, points, pair, at))
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
            }) => *epoch == self.gates.epoch(),
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
        let accuracy = accuracy.unwrap_or(Stated(Vec::new()));
        let known_leads = if pair.is_none() {
            ohmtrail_core::leads::Leads::Zeroed {
                step: ohmtrail_core::units::Ohms(0.0),
            }
        } else {
            leads(self.book, &self.record, &reading)
        };
        let mut void: Option<String> = self.live.alarm.map(str::to_owned);
        if revoked && reading.function.injects() {
            void = void.or_else(|| gate_said.map(|why| why.words().to_owned()));
        }
        let mut weighed = Weighed::NOTHING;
        let mut judged = None;
        match weigh(&reading, wanted, circuit, &accuracy, &known_leads) {
            Ok(w) => weighed = w,
            Err(why) => void = void.or(Some(why)),
        }
        if void.is_none() {
            let check = pair.and_then(|p| self.book.check_for(reading.function, p, &state));
            let said = match (&purpose, check) {
                (
                    Some(Purpose::Gate(
                        Step::ReadDead { at_most, .. } | Step::ReadCharge { at_most, .. },
                    )),
                    None,
                ) => Ok(gate_verdict(&reading, &weighed, *at_most)),
                (_, Some(check)) => verdict(
                    self.book,
                    &self.record,
                    check,
                    &reading,
                    &weighed,
                    &accuracy,
                ),
                (_, None) => Ok(None),
            };
            match said {
                Ok(said) => judged = said,
                Err(why) => void = Some(why),
            }
            // A gate's own reading that does not count for it is void, a charge or a voltage that
            // is there is not: it was read, and it is what it is.
            if let (Some(Purpose::Gate(_)), Some(why)) = (&purpose, gate_said)
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

    fn done(
        &mut self,
        ask: Option<u32>,
        act: Option<Act>,
        at: Stamp,
    ) -> Result<Vec<Event>, Refusal> {
        let act = match ask {
            Some(number) => match &self.open(number)?.request {
                Request::Act { act } => act.clone(),
                other => {
                    return Err(Refusal::Answer {
                        ask: number,
                        wants: wants(other),
                    });
                }
            },
            None => act.ok_or(Refusal::Incomplete("what was done"))?,
        };
        if ask.is_none() {
            // Something was done unasked: what was out of reach may not be any more.
            self.live.no_dead = None;
            self.live.no_power = None;
            self.live.tries.clear();
        }
        let source = match self.live.pending.as_ref().map(|p| &p.purpose) {
            Some(Purpose::Gate(Step::OpenSource(source))) if ask.is_some() => Some(*source),
            _ => None,
        };
        let mut events = vec![Event::Acted(Acted {
            ask,
            act: act.clone(),
        })];
        events.extend(self.do_act(&act, source, at.steady)?);
        Ok(events)
    }

    fn do_act(&mut self, act: &Act, source: Option<u8>, at: Micros) -> Result<Vec<Event>, Refusal> {
        use gates::Act as Told1;
        let one = |act| Told::Act { act, at };
        let mut events = Vec::new();
        match act {
            Act::OpenBreaker => {
                self.live.off = true;
                events.extend(self.tell(&one(Told1::OpenBreaker)));
            }
            Act::LockDisconnect => {
                self.live.off = true;
                self.live.locked = true;
                events.extend(self.tell(&one(Told1::LockDisconnect)));
            }
            Act::LockAndTag => {
                self.live.locked = true;
                events.extend(self.tell(&one(Told1::LockAndTag)));
            }
            Act::OpenOtherSources => {
                let all = self.book.sheet.dead.others.len();
                let which = match source {
                    Some(source) => source..source.saturating_add(1),
                    None => 0..u8::try_from(all).unwrap_or(u8::MAX),
                };
                for source in which {
                    events.extend(self.tell(&one(Told1::OpenSource(source))));
                }
            }
            Act::ProveMeter => {
                let meter = self.live.meter.unwrap_or(MeterId(0));
                events.extend(self.tell(&Told::Proof {
                    meter,
                    seen: None,
                    at,
                }));
            }
            Act::Discharge => events.extend(self.tell(&one(Told1::Drain))),
            Act::Lift(ends) => {
                for end in ends.clone() {
                    if !self.record.lifted.contains(&end) {
                        let mark = self.sheet_mark(&end);
                        events.extend(self.lifted(
                            &end,
                            mark,
                            None,
                            Stamp {
                                steady: at,
                                wall_us: 0,
                            },
                        )?);
                    }
                }
            }
            Act::PutBack(ends) => {
                for end in ends.clone() {
                    if self.record.lifted.contains(&end) {
                        events.extend(self.put_back(
                            &end,
                            None,
                            Stamp {
                                steady: at,
                                wall_us: 0,
                            },
                        )?);
                    }
                }
            }
            Act::InsulateEnds => {
                let ends: Vec<_> = self.gates.lifted().map(|(point, _)| point).collect();
                for end in ends {
                    events.extend(self.tell(&one(Told1::Insulate(end))));
                }
            }
            Act::CoversOnPeopleClear => {
                events.extend(self.tell(&one(Told1::CoversOn)));
                events.extend(self.tell(&one(Told1::PeopleClear)));
            }
            Act::CloseBreaker => {
                self.live.off = false;
                self.live.locked = false;
                events.extend(self.tell(&one(Told1::CloseBreaker)));
            }
            Act::CallOn => events.extend(self.tell(&one(Told1::CallOn))),
            Act::CallOff => events.extend(self.tell(&one(Told1::CallOff))),
            _ => {}
        }
        Ok(events)
    }

    /// The mark that the sheet gives a wire, for one that nobody noted.
    fn sheet_mark(&self, end: &str) -> String {
        let point = self.book.sheet.point(end);
        let wire = point.and_then(|p| self.book.sheet.wire_of_end(p));
        wire.map_or_else(String::new, |w| format!("{} by the sheet", w.mark))
    }

    /// The terminal that a wire end belongs on.
    fn place(&self, end: &str) -> Result<(usize, String), Refusal> {
        let sheet = self.book.sheet;
        let missing = || unknown("wire end", end.to_owned(), "points");
        let point = sheet.point(end).ok_or_else(missing)?;
        let wire = sheet.wire_of_end(point).ok_or_else(missing)?;
        let at = wire.ends.iter().position(|e| *e == point).unwrap_or(0);
        Ok((point, sheet.point_name(wire.terminals[at]).to_owned()))
    }

    fn lifted(
        &mut self,
        end: &str,
        mark: String,
        photo: Option<[u8; 32]>,
        at: Stamp,
    ) -> Result<Vec<Event>, Refusal> {
        let (point, from) = self.place(end)?;
        let mut events = vec![Event::Lifted {
            end: end.to_owned(),
            from,
            mark,
            photo,
        }];
        events.extend(self.tell(&Told::Act {
            act: gates::Act::Lift(Book::id(point)),
            at: at.steady,
        }));
        Ok(events)
    }

    fn put_back(
        &mut self,
        end: &str,
        photo: Option<[u8; 32]>,
        at: Stamp,
    ) -> Result<Vec<Event>, Refusal> {
        let (point, to) = self.place(end)?;
        if !self.record.lifted.iter().any(|e| e == end) {
            return Err(Refusal::NotLifted(end.to_owned()));
        }
        let mut events = vec![Event::PutBack {
            end: end.to_owned(),
            to,
            photo,
        }];
        events.extend(self.tell(&Told::Act {
            act: gates::Act::PutBack(Book::id(point)),
            at: at.steady,
        }));
        Ok(events)
    }
}

fn unknown(kind: &'static str, name: String, list: &'static str) -> Refusal {
    Refusal::Unknown { kind, name, list }
}

fn wants(request: &Request) -> &'static str {
    match request {
        Request::Look { .. } => "yes or no",
        Request::Measure { .. } => "a take",
        _ => "to hear that it was done",
    }
}

/// The flags of a take that was keyed in without any.
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
