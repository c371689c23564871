//! Acts: what was done to the unit, and the wire map.

use ohmtrail_core::gates::{self, Event as Told, Step};
use ohmtrail_core::reading::MeterId;
use ohmtrail_core::units::Micros;
use ohmtrail_trail::event::{Act, Acted, Event, Request, Stamp};
use ohmtrail_words::Tongue;

use crate::book::Book;
use crate::handle::{unknown, wants};
use crate::prove::fitted;
use crate::refusal::Refusal;
use crate::visit::{Purpose, Visit};

impl Visit<'_> {
    pub(crate) fn done(
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
        let fitted = match (&act, self.record.mended.as_deref()) {
            (Act::Fit(part), Some(mended)) => Some(fitted(self.book, &self.record, mended, part)?),
            (Act::Fit(_), None) => return Err(Refusal::NoRepairNow),
            _ => None,
        };
        if ask.is_none() {
            // Something was done unasked: what was out of reach may not be any more.
            self.live.no_dead = None;
            self.live.no_power = None;
            self.live.alarms_at_work = 0;
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
        events.extend(fitted.map(Event::Fitted));
        events.extend(self.do_act(&act, source, at.steady)?);
        Ok(events)
    }

    fn do_act(&mut self, act: &Act, source: Option<u8>, at: Micros) -> Result<Vec<Event>, Refusal> {
        use gates::Act as Did;
        let one = |act| Told::Act { act, at };
        let mut events = Vec::new();
        match act {
            Act::OpenBreaker => {
                self.live.off = true;
                events.extend(self.tell(&one(Did::OpenBreaker)));
            }
            Act::LockDisconnect => {
                self.live.off = true;
                self.live.locked = true;
                events.extend(self.tell(&one(Did::LockDisconnect)));
            }
            Act::LockAndTag => {
                self.live.locked = true;
                events.extend(self.tell(&one(Did::LockAndTag)));
            }
            Act::OpenOtherSources => {
                let all = self.book.sheet.dead.others.len();
                let which = match source {
                    Some(source) => source..source.saturating_add(1),
                    None => 0..u8::try_from(all).unwrap_or(u8::MAX),
                };
                for source in which {
                    events.extend(self.tell(&one(Did::OpenSource(source))));
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
            Act::Discharge => events.extend(self.tell(&one(Did::Drain))),
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
                    events.extend(self.tell(&one(Did::Insulate(end))));
                }
            }
            Act::CoversOnPeopleClear => {
                events.extend(self.tell(&one(Did::CoversOn)));
                events.extend(self.tell(&one(Did::PeopleClear)));
            }
            Act::CloseBreaker => {
                self.live.off = false;
                self.live.locked = false;
                events.extend(self.tell(&one(Did::CloseBreaker)));
            }
            // Its wires come off and go back.
            Act::PutRight(ends) => {
                for end in ends {
                    let (point, _) = self.place(end)?;
                    let point = Book::id(point);
                    events.extend(self.tell(&one(Did::Lift(point))));
                    events.extend(self.tell(&one(Did::PutBack(point))));
                }
            }
            Act::CheckWire(end) => events.extend(self.wire_checked(end.clone(), None)?),
            Act::CallHeating => events.extend(self.tell(&one(Did::CallOn))),
            Act::CallOn => events.extend(self.tell(&one(Did::CallOn))),
            Act::CallOff => events.extend(self.tell(&one(Did::CallOff))),
            _ => {}
        }
        Ok(events)
    }

    /// The mark that the sheet gives a wire, for one that nobody noted.
    fn sheet_mark(&self, end: &str) -> String {
        let point = self.book.sheet.point(end);
        let wire = point.and_then(|p| self.book.sheet.wire_of_end(p));
        wire.map_or_else(String::new, |w| {
            let mark = w.mark.as_str();
            Tongue::English.tell("mark-by-sheet", &[("mark", mark)])
        })
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

    pub(crate) fn lifted(
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

    pub(crate) fn put_back(
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

    /// A wire end was seen in its place: the open ask is answered by that, if it asks for it.
    pub(crate) fn seen(&self, end: String, photo: Option<[u8; 32]>) -> Result<Vec<Event>, Refusal> {
        let asked = self.record.open_ask();
        let act = Act::CheckWire(end.clone());
        let asked = asked.filter(|a| a.request.act() == Some(&act));
        let mut events: Vec<Event> = asked
            .map(|a| {
                Event::Acted(Acted {
                    ask: Some(a.ask),
                    act,
                })
            })
            .into_iter()
            .collect();
        events.extend(self.wire_checked(end, photo)?);
        Ok(events)
    }

    pub(crate) fn wire_checked(
        &self,
        end: String,
        photo: Option<[u8; 32]>,
    ) -> Result<Vec<Event>, Refusal> {
        let mut wires = self.record.wires.iter().rev();
        let wire = wires.find(|w| w.end == end);
        match wire.and_then(|w| w.back_on.clone()) {
            Some(on) => Ok(vec![Event::WireChecked { end, on, photo }]),
            None => Err(Refusal::NotBack(end)),
        }
    }
}
