//! The visit: the record of its trail, and what lives only while it runs: the gates, the meters'
//! accuracies, and what the open ask is for.

use std::collections::{BTreeMap, BTreeSet};

use ohmtrail_core::accuracy::{Accuracy, AccuracyTable, Cautious, Spec};
use ohmtrail_core::gates::{Event as Told, Gates, Pair, Step};
use ohmtrail_core::isolate::{Active, Prospect};
use ohmtrail_core::reading::{Function, MeterId};
use ohmtrail_core::units::Micros;
use ohmtrail_trail::event::{Act, Entry, Event, Request, Stamp};
use ohmtrail_words::Said;

use crate::book::Book;
use crate::cooldown::News;
use crate::input::Inputs;
use crate::isolate::Stand;
use crate::prove::Needs;
use crate::record::Record;
use crate::refusal::Refusal;

/// Where a visit stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stage {
    /// Not begun.
    Before,
    /// Looking for what failed.
    Isolating,
    /// Fitting a part and proving the unit.
    Repairing,
    /// Something is found, or the checks were ended: the unit is being left.
    Leaving,
    /// The unit was left; the tag may be hung.
    Left,
    /// Ended.
    Closed,
}

/// Nothing can be asked before a time has passed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Waiting {
    /// Until when, on the steady clock.
    pub until: Micros,
    /// Why.
    pub why: &'static str,
}

/// What the open ask is for.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Purpose {
    /// A check of the sheet. Behind a gate, the epoch that the answer must fall in.
    Check { check: usize, epoch: Option<u32> },
    /// A step towards a gate.
    Gate(Step),
    /// AC volts at points that the proof did not read, before work there; what cannot go on without
    /// them: a check, or, where none is named, power.
    AtWork { points: Pair, check: Option<usize> },
    /// An act on the way to a state, or to leaving.
    Way { leaving: bool },
    /// A step of a repair or one of its proofs, and what it rests on.
    Prove(Needs),
}

/// The ask that this run made, and what for.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Pending {
    pub ask: u32,
    pub purpose: Purpose,
    /// Why it is asked.
    pub why: Said,
}

/// What a meter's maker states, or the cautious default.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Stated(pub Vec<Spec>);

impl AccuracyTable for Stated {
    fn accuracy(&self, function: Function, magnitude: f64) -> Option<Accuracy> {
        if self.0.is_empty() {
            Cautious.accuracy(function, magnitude)
        } else {
            self.0.as_slice().accuracy(function, magnitude)
        }
    }
    fn top_of_range(&self, function: Function) -> Option<f64> {
        self.0.as_slice().top_of_range(function)
    }
    fn assumed(&self) -> bool {
        self.0.is_empty()
    }
}

/// What is not in the trail, and is gone with the program.
#[derive(Debug, Default)]
pub(crate) struct Live {
    pub pending: Option<Pending>,
    pub meters: BTreeMap<MeterId, Stated>,
    /// What their inputs are on volts.
    pub inputs: BTreeMap<MeterId, Inputs>,
    /// The meter in use: the first that joined, until another one reads volts.
    pub meter: Option<MeterId>,
    /// The breaker was opened, and the lock hung, in this run.
    pub off: bool,
    pub locked: bool,
    /// A restart is still to be written down.
    pub restarted: bool,
    /// Why no dead check, or no check under power, can be asked any more.
    pub no_dead: Option<String>,
    pub no_power: Option<String>,
    /// How often a live value was read where there should be none, since the unit was last proved
    /// dead.
    pub alarms: u32,
    /// How often one was read at points of work, with the proof at the poles holding.
    pub alarms_at_work: u32,
    /// Checks that no ask can be built for.
    pub impossible: BTreeSet<usize>,
    /// How often each step was asked for since a gate last opened.
    pub tries: Vec<(Request, u32)>,
    /// Acts of leaving that were passed over.
    pub not_left: Vec<(Act, String)>,
    /// Where the isolation stood at that version of the evidence.
    pub standing: Option<(Key, Stand)>,
    pub waiting: Option<Waiting>,
    pub alarm: Option<&'static str>,
    /// What was told of compressors that cool.
    pub cooling_told: Vec<News>,
}

/// What a standing was found for: version of the evidence, and what could not be asked.
pub(crate) type Key = (u32, bool, bool, usize);

/// Workspace of belief and planner.
#[derive(Debug)]
pub(crate) struct Room {
    pub weights: Vec<f32>,
    pub prospects: Vec<Prospect>,
    pub active: Vec<Active>,
}

/// A visit.
#[derive(Debug)]
pub struct Visit<'b> {
    pub(crate) book: &'b Book<'b>,
    pub(crate) record: Record,
    pub(crate) gates: Gates<'b>,
    pub(crate) live: Live,
    pub(crate) room: Room,
}

impl<'b> Visit<'b> {
    /// A visit that has not begun.
    ///
    /// # Panics
    /// Never: [`Book::new`] has checked the plan.
    #[must_use]
    pub fn new(book: &'b Book<'b>) -> Self {
        #[expect(
            clippy::expect_used,
            reason = "Book::new refuses a plan that cannot be used"
        )]
        let gates = Gates::new(book.plan()).expect("a book's plan was checked");
        Visit {
            gates,
            record: Record::default(),
            live: Live::default(),
            room: Room {
                weights: vec![0.0; book.table.weight_count()],
                prospects: vec![Prospect::default(); usize::from(book.table.ask_count())],
                active: vec![Active::default(); usize::from(book.table.hypotheses)],
            },
            book,
        }
    }

    /// A visit that goes on from its trail. Every gate is shut, whatever the trail says: the
    /// whole sequence is asked for anew before any dead ask. Meters join again.
    ///
    /// # Errors
    /// [`Refusal::OtherSheet`], [`Refusal::NotOpened`].
    pub fn replay<'e>(
        book: &'b Book<'b>,
        entries: impl IntoIterator<Item = &'e Entry>,
    ) -> Result<Self, Refusal> {
        let mut visit = Visit::new(book);
        visit.record = Record::of(book, entries);
        let Some(opened) = &visit.record.opened else {
            return Err(Refusal::NotOpened);
        };
        if opened.sheet_hash != book.sheet.hash {
            return Err(Refusal::OtherSheet {
                trail: opened.sheet.clone(),
                given: book.sheet.name.clone(),
            });
        }
        let zero = Micros(0);
        // What narrows the gates is told again; what opened them is not.
        for wire in &visit.record.lifted {
            if let Some(point) = book.sheet.point(wire) {
                let act = ohmtrail_core::gates::Act::Lift(Book::id(point));
                visit.gates.on(&Told::Act { act, at: zero });
            }
        }
        for look in visit.record.looks.iter().filter(|l| l.answer) {
            if let Some(protector) = visit.opens(&look.what) {
                visit.gates.on(&Told::Tripped {
                    protector,
                    at: zero,
                });
            }
        }
        visit.gates.on(&Told::Restart { at: zero });
        visit.live.restarted = !visit.record.closed;
        Ok(visit)
    }

    /// Folds an event that is in the trail now.
    pub fn apply(&mut self, entry: &Entry) {
        self.record.apply(self.book, entry);
        if let Event::MeterJoined(joined) = &entry.event {
            self.live
                .meters
                .entry(joined.meter)
                .or_insert(Stated(Vec::new()));
        }
        if self.record.open != self.live.pending.as_ref().map(|p| p.ask) {
            let open = self.record.open;
            self.live.pending = self.live.pending.take().filter(|p| open == Some(p.ask));
        }
    }

    /// The book.
    #[must_use]
    pub fn book(&self) -> &'b Book<'b> {
        self.book
    }

    /// What the trail says so far.
    #[must_use]
    pub fn record(&self) -> &Record {
        &self.record
    }

    /// Where the visit stands.
    #[must_use]
    pub fn stage(&self) -> Stage {
        let record = &self.record;
        if record.closed {
            Stage::Closed
        } else if record.opened.is_none() {
            Stage::Before
        } else if record.left.is_some() {
            Stage::Left
        } else if self.is_leaving() {
            Stage::Leaving
        } else if record.mended.is_some() {
            Stage::Repairing
        } else {
            Stage::Isolating
        }
    }

    /// Whether a finding stands for the evidence as it is, or the checks were ended; of a repair,
    /// whether it came to an end.
    pub(crate) fn is_leaving(&self) -> bool {
        let record = &self.record;
        if let Some(mended) = &record.mended {
            return mended.end.is_some();
        }
        record.finding.is_some() && record.found == Some(record.version)
    }

    /// Why the open ask is asked, before it is put into a language.
    #[must_use]
    pub fn why(&self) -> Option<Said> {
        let asked = self.record.open_ask()?;
        let pending = self.live.pending.as_ref().filter(|p| p.ask == asked.ask);
        // What was asked before a restart and still stands is a look: its words are the sheet's.
        Some(pending.map_or_else(|| self.book.sheet.said(&asked.why), |p| p.why.clone()))
    }

    /// Whether the open ask is a step towards a gate.
    #[must_use]
    pub fn asks_for_a_gate(&self) -> bool {
        let pending = self.live.pending.as_ref();
        let pending = pending.filter(|p| Some(p.ask) == self.record.open);
        pending.is_some_and(|p| matches!(p.purpose, Purpose::Gate(_) | Purpose::AtWork { .. }))
    }

    /// What must pass before anything can be asked: a compressor's rest. Call
    /// [`Visit::next`] again then.
    #[must_use]
    pub fn waiting(&self) -> Option<Waiting> {
        self.live.waiting
    }

    /// What must be called out at once, since the last input: a live value or a charge where there
    /// should be none.
    #[must_use]
    pub fn alarm(&self) -> Option<&'static str> {
        self.live.alarm
    }

    /// How often the unit was started in this run.
    #[must_use]
    pub fn starts(&self) -> u16 {
        self.gates.starts()
    }

    /// Whether the gates are open that ohms and farads need. Says what was measured, not that
    /// anything is safe.
    #[must_use]
    pub fn may_measure_dead(&self, at: Stamp) -> bool {
        self.gates.proved_dead().is_some() && self.gates.discharged_to_measure(at.steady).is_some()
    }

    /// The protector that stands open if this look is answered yes.
    pub(crate) fn opens(&self, what: &str) -> Option<u8> {
        use ohmtrail_circuit::parts::Sight;
        use ohmtrail_circuit::sheet::Question;
        let check = self.book.sheet.look(what)?;
        match &self.book.sheet.checks[check].question {
            Question::Look { part, look }
                if matches!(look.sight, Sight::Tripped | Sight::Blown) =>
            {
                self.book.protector(*part)
            }
            _ => None,
        }
    }
}
