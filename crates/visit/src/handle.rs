//! What is told, turned into events. The gates hear of it here, in `takes` and in `acts`, and
//! nowhere else.

use ohmtrail_core::gates::{self, Event as Told, Gate, Outcome, Step};
use ohmtrail_core::reading::{Flags, Function, MeterId};
use ohmtrail_trail::event::{Asked, Event, GateEvent, Power, Request, Stamp};

use crate::cooldown::{COLD_KEY, Cold};
use crate::input::Input;
use crate::prove::rests_on;
use crate::refusal::Refusal;
use crate::visit::{Purpose, Stated, Visit};
use crate::words;

/// After so many live values where there should be none, the unit is not asked to be made dead again.
const MOST_ALARMS: u32 = 3;
/// Nor after so many at points of work, with the proof at every listed pole holding: something that
/// the sheet does not know feeds the unit.
const MOST_AT_WORK: u32 = 2;

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
            Input::Repair(repair) => self.begin_repair(repair, at),
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
                if plate.part != "unit" && parts.iter().all(|p| p.name != plate.part) {
                    return Err(unknown("part", plate.part, "points"));
                }
                if plate.key == COLD_KEY {
                    Cold::read(&plate.value).map_err(Refusal::Cold)?;
                    self.live.standing = None;
                }
                if rests_on(&plate) {
                    // What is read anew because of this was not read to no effect.
                    self.live.tries.clear();
                    self.live.no_power = None;
                }
                Ok(vec![Event::Plate(plate)])
            }
            Input::Look { ask, what, answer } => self.looked(ask, what, answer, at),
            Input::Take(taken) => self.took(taken, at),
            Input::Done { ask, act } => self.done(ask, act, at),
            Input::Skip { ask, why } => self.skip(ask, why, at),
            Input::Strike { take, why } => self.strike(take, why),
            Input::MeterJoined {
                joined,
                accuracy,
                inputs,
            } => {
                self.live.meters.insert(joined.meter, Stated(accuracy));
                self.live.inputs.insert(joined.meter, inputs);
                self.live.standing = None;
                self.live.meter.get_or_insert(joined.meter);
                Ok(vec![Event::MeterJoined(joined)])
            }
            Input::MeterRole { meter, role } => {
                self.known(meter)?;
                Ok(vec![Event::MeterRole { meter, role }])
            }
            Input::GivenUp { ask, why } => {
                self.open(ask)?;
                Ok(vec![Event::Voided {
                    ask: Some(ask),
                    why,
                }])
            }
            Input::MeterLost { meter, why } => {
                self.known(meter)?;
                if self.live.meter.is_none_or(|m| m == meter) {
                    // What is asked for anew because of this was not asked for to no effect.
                    self.live.tries.clear();
                }
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
            Input::Live(reading) => Ok(self.watch(&reading, at.steady)),
            Input::Readings { meter, readings } => {
                self.known(meter)?;
                Ok(vec![Event::Readings { meter, readings }])
            }
            Input::Lifted { end, mark, photo } => self.lifted(&end, mark, photo, at),
            Input::PutBack { end, photo } => self.put_back(&end, photo, at),
            Input::WireChecked { end, photo } => self.seen(end, photo),
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
            Input::Quote(quote) => self.quoted(quote),
            Input::Decide {
                option,
                by,
                means,
                paper,
            } => self.decided(option, by, means, paper, at),
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
            Input::Quote(_) | Input::Decide { .. } if record.closed => Ok(()),
            Input::Quote(_) | Input::Decide { .. } => Err(Refusal::NotClosed),
            _ if record.closed => Err(Refusal::Closed),
            Input::Tagged(_) | Input::Close if record.left.is_none() => Err(Refusal::NotLeft),
            _ => Ok(()),
        }
    }

    pub(crate) fn known(&self, meter: MeterId) -> Result<(), Refusal> {
        if self.live.meters.contains_key(&meter) {
            Ok(())
        } else {
            Err(Refusal::NoSuchMeter(meter.0))
        }
    }

    /// The open ask of that number.
    pub(crate) fn open(&self, ask: u32) -> Result<&Asked, Refusal> {
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
        if outcome.opened.has(Gate::ProvedDead) {
            self.live.alarms = 0;
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
                self.live.alarms += 1;
                let purpose = self.live.pending.as_ref().map(|p| &p.purpose);
                let at_work = matches!(purpose, Some(Purpose::AtWork { .. }));
                self.live.alarms_at_work += u32::from(at_work);
                if self.live.alarms >= MOST_ALARMS || self.live.alarms_at_work >= MOST_AT_WORK {
                    self.live.no_dead = Some(words::STAYS_LIVE.to_owned());
                }
            }
            if !outcome.shut.has(Gate::ProvedDead) {
                events.push(self.gate_event(Gate::ProvedDead, false, shut_why));
            }
        }
        for gate in outcome.opened.iter() {
            let why = match gate {
                Gate::ProvedDead if self.read_dead_in_low_impedance() => {
                    words::DEAD_IN_LOW_IMPEDANCE
                }
                Gate::ProvedDead => words::DEAD,
                Gate::DischargedToTouch => "every capacitor pair read at most 34 V",
                Gate::DischargedToMeasure => "every capacitor pair read at most 1 V",
                Gate::Loose => "the part is on a bench with nothing connected",
                Gate::ReadyToEnergise => "ends in place or insulated, covers on, people clear",
            };
            events.push(self.gate_event(gate, true, why));
        }
        events
    }

    /// Whether a reading of no voltage on the dead unit was made into a low impedance.
    fn read_dead_in_low_impedance(&self) -> bool {
        let mut takes = self.record.takes.iter().rev();
        takes.any(|t| {
            let volts = matches!(t.take.function, Function::VoltsAc | Function::VoltsDc);
            let low = t.take.flags.has(Flags::LOW_IMPEDANCE);
            volts && low && t.counts() && t.take.state.power == Power::Off
        })
    }

    fn gate_event(&self, gate: Gate, open: bool, why: &str) -> Event {
        let dead = &self.book.sheet.dead;
        let points: Vec<usize> = match gate {
            Gate::ProvedDead => dead
                .line
                .iter()
                .chain(dead.load.iter().flatten())
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
            // It stays unproven, and the others are asked for.
            Some(Purpose::Prove(_)) => {}
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
}

pub(crate) fn unknown(kind: &'static str, name: String, list: &'static str) -> Refusal {
    Refusal::Unknown { kind, name, list }
}

pub(crate) fn wants(request: &Request) -> &'static str {
    match request {
        Request::Look { .. } => "yes or no",
        Request::Measure { .. } | Request::LowImpedance { .. } | Request::AtStart { .. } => {
            "a take"
        }
        _ => "to hear that it was done",
    }
}
