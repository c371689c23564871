//! What a repair's trail says beside what every visit's does: a fold over its entries.

use std::collections::BTreeSet;
use std::sync::OnceLock;

use ohmtrail_circuit::operate::{Motion, Unit};
use ohmtrail_circuit::rewired::Rewired;
use ohmtrail_circuit::sheet::PointId;
use ohmtrail_circuit::unit::Drawn;
use ohmtrail_core::units::Micros;
use ohmtrail_trail::event::{Act, Event, Fitted, Repair, RepairEnd, Request};

use super::charge::{self, SUPERHEAT_KEY};
use crate::book::Book;
use crate::record::{Record, Wire};
use crate::words;

/// What the unit is told by its thermostat and its defrost board.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Told {
    Nothing,
    /// The call that the unit was found with: for cooling, where it cools and heats.
    Call,
    Heating,
    Defrost,
}

/// How an ask was answered.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum How {
    /// By the take of this number.
    Took(u32),
    Looked(bool),
    Done,
    Skipped(String),
}

/// An answer, and how the unit was then.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Answer {
    pub ask: u32,
    pub request: Request,
    pub how: How,
    /// Which wiring it was made on.
    pub wired: u32,
    /// In which run of the unit.
    pub run: u32,
    pub told: Told,
}

/// What a healthy unit of the sheet does under its call.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Healthy {
    /// Parts whose motors run.
    pub running: BTreeSet<usize>,
    /// Contactors that are in.
    pub pulled_in: BTreeSet<usize>,
}

/// Whether an act starts the unit, stops it, or changes what it does.
fn starts_or_stops(act: &Act) -> bool {
    matches!(
        act,
        Act::CallOn
            | Act::CallOff
            | Act::CallHeating
            | Act::StartDefrost
            | Act::OpenBreaker
            | Act::CloseBreaker
            | Act::LockDisconnect
            | Act::OpenOtherSources
            | Act::PutRight(_)
    )
}

/// A repair, as far as its trail goes.
#[derive(Debug, Clone, PartialEq)]
pub struct Mended {
    /// What it sets out from.
    pub repair: Repair,
    /// What was fitted.
    pub fitted: Vec<Fitted>,
    /// What it came to.
    pub end: Option<RepairEnd>,
    pub(crate) told: Told,
    /// Counts changes of the wiring.
    pub(crate) wired: u32,
    /// Counts what starts, stops or rewires the unit, or changes its charge: between two of these it is in
    /// one run.
    pub(crate) run: u32,
    /// Since when it runs so by its call, on the clock of the record.
    pub(crate) began: Option<Micros>,
    /// The last ask that was answered before the plate of the charge was last corrected.
    pub(crate) plated: u32,
    /// The run that it ended in. What is done after that, such as opening the breaker, is not of what was proven.
    ended_in: u32,
    /// The run in which a target superheat was last entered.
    pub(crate) target_of: Option<u32>,
    /// How often ends were said to be put right.
    pub(crate) put_right: u32,
    pub(crate) answers: Vec<Answer>,
    rewired: OnceLock<Rewired>,
    healthy: OnceLock<Healthy>,
}

impl Mended {
    /// A repair begins: what its record begins with.
    pub(crate) fn begin(record: &mut Record, repair: &Repair) {
        record.power = ohmtrail_trail::event::Power::Off;
        for off in &repair.wires {
            if off.back_on.is_none() {
                record.lifted.push(off.end.clone());
            }
            record.wires.push(Wire {
                end: off.end.clone(),
                from: off.from.clone(),
                mark: off.mark.clone(),
                photo: off.photo,
                back_on: off.back_on.clone(),
                checked: off.checked,
            });
        }
        // What is stamped on a new part is read anew.
        let stay = repair.plates.iter();
        // A target superheat is of the weather of its day.
        let stay = stay
            .filter(|p| !repair.parts.contains(&p.part))
            .filter(|p| p.part != "unit" || p.key != SUPERHEAT_KEY);
        record.plates.extend(stay.cloned());
        record.mended = Some(Box::new(Mended {
            repair: repair.clone(),
            fitted: Vec::new(),
            end: None,
            told: Told::Call,
            wired: 0,
            run: 0,
            began: None,
            plated: 0,
            ended_in: 0,
            target_of: None,
            put_right: 0,
            answers: Vec::new(),
            rewired: OnceLock::new(),
            healthy: OnceLock::new(),
        }));
    }

    /// Folds one event. `asked` is the request that it answers; the record has the time, and whether the unit
    /// has its power, as they are with that event.
    pub(crate) fn apply(
        &mut self,
        event: &Event,
        (now, has_power): (Micros, bool),
        asked: impl Fn(u32) -> Option<Request>,
    ) {
        match event {
            Event::Took(take) => self.answer(take.ask, How::Took(take.take), asked),
            Event::Looked { ask, answer, .. } => self.answer(*ask, How::Looked(*answer), asked),
            Event::Skipped { ask, why } => {
                self.answer(Some(*ask), How::Skipped(why.clone()), asked);
            }
            Event::Voided { ask: Some(ask), .. } => {
                // The take that comes before it counts for nothing.
                self.answers
                    .pop_if(|a| a.ask == *ask && matches!(a.how, How::Took(_)));
            }
            Event::Acted(acted) => {
                self.answer(acted.ask, How::Done, asked);
                match &acted.act {
                    Act::CallOn => self.told = Told::Call,
                    Act::CallOff => self.told = Told::Nothing,
                    Act::CallHeating => self.told = Told::Heating,
                    Act::StartDefrost => self.told = Told::Defrost,
                    Act::PutRight(_) => {
                        self.put_right += 1;
                        self.wired += 1;
                    }
                    _ => {}
                }
                if starts_or_stops(&acted.act) {
                    self.runs_anew(now, has_power);
                }
            }
            Event::Lifted { .. } => {
                self.wired += 1;
                self.rewired = OnceLock::new();
                self.runs_anew(now, false);
            }
            Event::PutBack { .. } => {
                self.wired += 1;
                self.runs_anew(now, false);
            }
            // What it has of its power is not known any more.
            Event::Gate(gate) if !gate.open && gate.why == words::LIVE => {
                self.runs_anew(now, false);
            }
            Event::Plate(plate) if charge::rests_on(plate) => {
                self.plated = self.answers.last().map_or(0, |a| a.ask);
                if charge::changes(plate) {
                    self.runs_anew(now, has_power);
                }
                if plate.key == SUPERHEAT_KEY {
                    self.target_of = Some(self.run);
                }
            }
            // What it came to rests on it: it is come to anew.
            Event::Struck { .. } => self.end = None,
            Event::Fitted(fitted) => self.fitted.push(fitted.clone()),
            Event::RepairEnded(end) => {
                self.end = Some(end.clone());
                self.ended_in = self.run;
            }
            _ => {}
        }
    }

    /// The run that is judged.
    pub(crate) fn judged_run(&self) -> u32 {
        match self.end {
            Some(_) => self.ended_in,
            None => self.run,
        }
    }

    /// Whether the target superheat that was entered is of the weather of the run that is judged.
    pub(crate) fn has_target(&self) -> bool {
        self.target_of == Some(self.judged_run())
    }

    fn runs_anew(&mut self, now: Micros, has_power: bool) {
        self.run += 1;
        self.began = (has_power && self.told == Told::Call).then_some(now);
    }

    fn answer(&mut self, ask: Option<u32>, how: How, asked: impl Fn(u32) -> Option<Request>) {
        if let Some((ask, request)) = ask.and_then(|ask| Some((ask, asked(ask)?))) {
            self.answers.push(Answer {
                ask,
                request,
                how,
                wired: self.wired,
                run: self.run,
                told: self.told,
            });
        }
    }

    /// The latest answer that fits.
    pub(crate) fn latest(&self, fits: impl Fn(&Answer) -> bool) -> Option<&Answer> {
        self.answers.iter().rev().find(|a| fits(a))
    }

    /// The answer to this act.
    pub(crate) fn act(&self, act: &Act) -> Option<&Answer> {
        self.latest(|a| matches!(&a.request, Request::Act { act: own } if own == act))
    }

    /// What ohms can tell of the wire ends that were off.
    pub(crate) fn rewired(&self, book: &Book<'_>, record: &Record) -> &Rewired {
        self.rewired.get_or_init(|| {
            let mut ends: Vec<PointId> = Vec::new();
            for point in record.wires.iter().filter_map(|w| book.sheet.point(&w.end)) {
                if !ends.contains(&point) {
                    ends.push(point);
                }
            }
            let plan = book.plan();
            let may_probe = |point: PointId| {
                let id = Book::id(point);
                !plan.keep_off.contains(&id) && plan.in_scope(id)
            };
            Rewired::of(&book.circuit, &ends, &may_probe)
        })
    }

    /// What a healthy unit does under its call.
    pub(crate) fn healthy(&self, book: &Book<'_>) -> &Healthy {
        self.healthy.get_or_init(|| {
            let unit = Unit::new(&book.circuit, Drawn::stated(book.sheet), &[]);
            let found = unit.found();
            let devices = &found.assembly;
            let runs = devices.motors.iter().zip(&found.motion);
            let pulled = devices.contactors.iter().zip(&found.pulled_in);
            Healthy {
                running: runs
                    .filter(|(_, motion)| **motion == Motion::Running)
                    .map(|(motor, _)| motor.part)
                    .collect(),
                pulled_in: pulled
                    .filter(|(_, pulled)| **pulled)
                    .map(|(contactor, _)| contactor.part)
                    .collect(),
            }
        })
    }
}
