//! What a trail's entries say: a fold over them, and nothing else.

use std::collections::{BTreeMap, BTreeSet};

use ohmtrail_core::isolate::Evidence;
use ohmtrail_core::reading::Flags;
use ohmtrail_core::reading::MeterId;
use ohmtrail_core::units::Micros;
use ohmtrail_trail::event::{
    Act, Asked, Conclusion, Decision, Entry, Event, Finding, GateEvent, LeftState, MeterJoined,
    Opened, PlateEntry, Power, Quote, Request, Stamp, Suspect, Take, UnitState,
};
use ohmtrail_words::Said;

use crate::book::Book;
use crate::judge::said_again;
use crate::prove::Mended;
use crate::words;

/// A look that was answered.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Looked {
    /// The ask that it answers.
    pub ask: Option<u32>,
    /// What was looked at.
    pub what: String,
    /// Yes or no.
    pub answer: bool,
    /// The check of the sheet that it answers, if the unit was in that check's state.
    pub check: Option<usize>,
}

/// A take, and what became of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Took {
    /// The take.
    pub take: Take,
    /// Its verdict before it is put into a language; none if it has none, or an older program said it.
    pub said: Option<Said>,
    /// When.
    pub at: Stamp,
    /// When, since the visit was opened: on a clock that goes on over restarts.
    pub(crate) elapsed: Micros,
    /// The check of the sheet that it answers.
    pub check: Option<usize>,
    /// Why it was struck.
    pub struck: Option<String>,
    /// Why it is void.
    pub void: Option<String>,
}

/// A wire end of the wire map.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wire {
    /// The end.
    pub end: String,
    /// The terminal it was on.
    pub from: String,
    /// Its mark, as seen.
    pub mark: String,
    /// Photograph of it in place.
    pub photo: Option<[u8; 32]>,
    /// The terminal it was put back on; none while it is lifted.
    pub back_on: Option<String>,
    /// Whether it was checked since it is back.
    pub checked: bool,
}

/// Everything that the entries of a trail say.
#[derive(Debug, Clone, PartialEq)]
pub struct Record {
    /// The first event.
    pub opened: Option<Opened>,
    /// When it was.
    pub opened_at: Option<Stamp>,
    /// When the last entry was.
    pub last_at: Option<Stamp>,
    /// What was read off plates.
    pub plates: Vec<PlateEntry>,
    /// What the customer reports: the sheet's name, and words.
    pub complaints: Vec<(String, String)>,
    /// The meters, each as it joined last.
    pub meters: Vec<MeterJoined>,
    /// What meters are for.
    pub roles: BTreeMap<MeterId, String>,
    /// Every ask so far.
    pub asks: Vec<Asked>,
    /// The number of the ask that is open.
    pub open: Option<u32>,
    /// Every look that was answered.
    pub looks: Vec<Looked>,
    /// Every take.
    pub takes: Vec<Took>,
    /// Asks that were passed over, and why.
    pub skipped: Vec<(u32, String)>,
    /// The unit's power, as the acts so far left it.
    pub power: Power,
    /// Whether a lock hangs on it.
    pub locked: bool,
    /// A live value was read where there should be none, and nothing was opened since.
    pub alarmed: bool,
    /// Whether the motors had time to cool since they were last under power.
    pub cooled: bool,
    /// The wire ends that are lifted now.
    pub lifted: Vec<String>,
    /// Every wire end that was lifted, in order.
    pub wires: Vec<Wire>,
    /// The gates, as they were last said to be.
    pub gates: BTreeMap<String, GateEvent>,
    /// The suspects, as last told.
    pub suspects: Vec<Suspect>,
    /// What the isolation came to.
    pub conclusion: Option<Conclusion>,
    /// The finding that stands.
    pub finding: Option<Finding>,
    /// Why the checks were ended by the technician.
    pub leave: Option<String>,
    /// How the unit was left.
    pub left: Option<LeftState>,
    /// The tag that was hung.
    pub tag: Option<String>,
    /// Whether the visit ended.
    pub closed: bool,
    /// Notes.
    pub notes: Vec<String>,
    /// The quote that stands.
    pub quote: Option<Quote>,
    /// What was decided, on whichever quote, and when.
    pub decisions: Vec<(Decision, Stamp)>,
    /// Photographs: hash and caption.
    pub photos: Vec<([u8; 32], String)>,
    /// Of a repair: what it sets out from, and how far it is.
    pub mended: Option<Box<Mended>>,
    /// Wire ends whose check was passed over since they went back.
    pub(crate) unseen: BTreeSet<String>,
    /// Checks that were passed over.
    pub(crate) skipped_checks: BTreeSet<usize>,
    /// Void takes of each check so far.
    pub(crate) voids: BTreeMap<usize, u32>,
    /// Counts what changes the suspects.
    pub(crate) version: u32,
    /// Since the visit was opened, up to the last entry: by the steady clock, and by the wall clock
    /// over a restart.
    pub(crate) clock: Micros,
    /// When the unit was switched off, on that clock; none while it is under power.
    pub(crate) off_at: Option<Micros>,
    /// It was asked to leave the motors to cool, since the unit was switched off.
    pub(crate) wait_asked: bool,
    /// The version that the suspects were last told for.
    pub(crate) told: Option<u32>,
    /// The version that the finding was made for.
    pub(crate) found: Option<u32>,
}

/// An answer that counts: of which check, by which ask.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Answer {
    /// The check, as the table numbers its asks.
    pub number: u16,
    pub ask: Option<u32>,
    pub evidence: Evidence,
    /// How many answers of that check there are.
    pub repeats: usize,
}

impl Default for Record {
    fn default() -> Self {
        Record {
            opened: None,
            opened_at: None,
            last_at: None,
            plates: Vec::new(),
            complaints: Vec::new(),
            meters: Vec::new(),
            roles: BTreeMap::new(),
            asks: Vec::new(),
            open: None,
            looks: Vec::new(),
            takes: Vec::new(),
            skipped: Vec::new(),
            // A unit is found under power until it is switched off.
            power: Power::On,
            locked: false,
            alarmed: false,
            cooled: false,
            lifted: Vec::new(),
            wires: Vec::new(),
            gates: BTreeMap::new(),
            suspects: Vec::new(),
            conclusion: None,
            finding: None,
            leave: None,
            left: None,
            tag: None,
            closed: false,
            notes: Vec::new(),
            quote: None,
            decisions: Vec::new(),
            photos: Vec::new(),
            mended: None,
            unseen: BTreeSet::new(),
            skipped_checks: BTreeSet::new(),
            voids: BTreeMap::new(),
            version: 0,
            clock: Micros(0),
            off_at: None,
            wait_asked: false,
            told: None,
            found: None,
        }
    }
}

impl Record {
    /// The record of a whole trail, or of the part of it that is there.
    #[must_use]
    pub fn of<'e>(book: &Book<'_>, entries: impl IntoIterator<Item = &'e Entry>) -> Self {
        let mut record = Record::default();
        for entry in entries {
            record.apply(book, entry);
        }
        record
    }

    /// The state that the unit is in.
    #[must_use]
    pub fn state(&self) -> UnitState {
        UnitState {
            power: self.power,
            lifted: self.lifted.clone(),
            cooled: self.cooled,
        }
    }

    /// The ask that is open.
    #[must_use]
    pub fn open_ask(&self) -> Option<&Asked> {
        self.open.and_then(|n| self.ask(n))
    }

    /// The ask of that number.
    #[must_use]
    pub fn ask(&self, number: u32) -> Option<&Asked> {
        self.asks.iter().find(|a| a.ask == number)
    }

    /// The takes that answer an ask.
    pub fn takes_of(&self, ask: u32) -> impl Iterator<Item = &Took> {
        self.takes.iter().filter(move |t| t.take.ask == Some(ask))
    }

    /// The number of the next ask.
    pub(crate) fn next_ask(&self) -> u32 {
        self.asks.iter().map(|a| a.ask).max().unwrap_or(0) + 1
    }

    /// The number of the next take.
    pub(crate) fn next_take(&self) -> u32 {
        self.takes.iter().map(|t| t.take.take).max().unwrap_or(0) + 1
    }

    /// The check that a request is one of.
    pub(crate) fn check_of(book: &Book<'_>, request: &Request) -> Option<usize> {
        match request {
            Request::Look { what } => book.sheet.look(what),
            _ => {
                let asked = request.measurement()?;
                let [a, b] = asked.points;
                let points = [book.sheet.point(a)?, book.sheet.point(b)?];
                book.check_for(asked.function, points, asked.state, asked.low_impedance)
            }
        }
    }

    /// Folds one entry.
    pub fn apply(&mut self, book: &Book<'_>, entry: &Entry) {
        self.pass(entry);
        match &entry.event {
            Event::Opened(opened) => {
                self.opened = Some(opened.clone());
                self.opened_at = Some(entry.at);
            }
            Event::Plate(plate) => {
                self.plates.push(plate.clone());
                self.corrects_charge(book, plate);
            }
            Event::Complaint { what, words } => {
                self.complaints.push((what.clone(), words.clone()));
                self.version += 1;
            }
            Event::MeterJoined(joined) => {
                let known = self.meters.iter_mut().find(|m| m.meter == joined.meter);
                match known {
                    Some(known) => known.clone_from(joined),
                    None => self.meters.push(joined.clone()),
                }
            }
            Event::MeterRole { meter, role } => {
                self.roles.insert(*meter, role.clone());
            }
            Event::Asked(asked) => {
                self.open = Some(asked.ask);
                self.wait_asked |= matches!(&asked.request, Request::Act { act: Act::WaitCool });
                self.asks.push(asked.clone());
            }
            Event::Looked { ask, what, answer } => {
                let check = book
                    .sheet
                    .look(what)
                    .filter(|&c| book.fits(c, &self.state()));
                self.looks.push(Looked {
                    ask: *ask,
                    what: what.clone(),
                    answer: *answer,
                    check,
                });
                self.answered(*ask, check.is_some());
            }
            Event::Took(take) => {
                let points = [&take.points[0], &take.points[1]].map(|p| book.sheet.point(p));
                let check = match points {
                    [Some(a), Some(b)] => {
                        let low_impedance = take.flags.has(Flags::LOW_IMPEDANCE);
                        book.check_for(take.function, [a, b], &take.state, low_impedance)
                    }
                    _ => None,
                };
                let judged = take.verdict.as_ref();
                let said = judged.and_then(|j| said_again(book, self, check, take, j));
                self.takes.push(Took {
                    take: take.clone(),
                    said,
                    at: entry.at,
                    elapsed: self.clock,
                    check,
                    struck: None,
                    void: None,
                });
                self.answered(take.ask, check.is_some() && take.verdict.is_some());
            }
            Event::Skipped { ask, why } => {
                let request = self.ask(*ask).map(|a| a.request.clone());
                request.iter().for_each(|r| self.pass_over_wire(r));
                let check = request.and_then(|r| Record::check_of(book, &r));
                self.skipped_checks.extend(check);
                self.skipped.push((*ask, why.clone()));
                self.answered(Some(*ask), check.is_some());
            }
            Event::Voided { ask, why } => self.voided(book, *ask, why),
            Event::Struck { take, why } => {
                if let Some(took) = self.takes.iter_mut().find(|t| t.take.take == *take) {
                    took.struck = Some(why.clone());
                    self.version += u32::from(took.check.is_some());
                }
                // What a repair came to rests on it: the unit is taken up again.
                if self.mended.is_some() {
                    self.left = None;
                }
            }
            Event::Acted(acted) => {
                self.acted(&acted.act);
                if acted.ask.is_some() && acted.ask == self.open {
                    self.open = None;
                }
            }
            Event::Gate(gate) => {
                if gate.why == words::LIVE && !gate.open {
                    self.power = Power::On;
                    self.off_at = None;
                    self.locked = false;
                    self.alarmed = true;
                }
                self.gates.insert(gate.gate.clone(), gate.clone());
            }
            Event::Suspects { ranked } => {
                self.suspects.clone_from(ranked);
                self.told = Some(self.version);
            }
            Event::Concluded(conclusion) => self.conclusion = Some(conclusion.clone()),
            Event::Found(finding) => {
                self.finding = Some(finding.clone());
                self.found = Some(self.version);
            }
            Event::Lifted {
                end,
                from,
                mark,
                photo,
            } => {
                if !self.lifted.contains(end) {
                    self.lifted.push(end.clone());
                }
                let off = |w: &&mut Wire| w.end == *end && w.back_on.is_none();
                match self.wires.iter_mut().rev().find(off) {
                    // Told again while it is off: described better, lifted once.
                    Some(wire) => {
                        wire.mark.clone_from(mark);
                        wire.photo = photo.or(wire.photo);
                    }
                    None => self.wires.push(Wire {
                        end: end.clone(),
                        from: from.clone(),
                        mark: mark.clone(),
                        photo: *photo,
                        back_on: None,
                        checked: false,
                    }),
                }
            }
            Event::PutBack { end, to, .. } => {
                self.lifted.retain(|e| e != end);
                self.unseen.remove(end);
                let wire = self.wires.iter_mut().rev().find(|w| w.end == *end);
                if let Some(wire) = wire {
                    wire.back_on = Some(to.clone());
                }
            }
            Event::WireChecked { end, .. } => {
                let wire = self.wires.iter_mut().rev().find(|w| w.end == *end);
                if let Some(wire) = wire {
                    wire.checked = wire.back_on.is_some();
                }
            }
            Event::Photo { hash, caption, .. } => self.photos.push((*hash, caption.clone())),
            Event::Note { text } => {
                if let Some(why) = text.strip_prefix(words::LEAVING) {
                    self.leave = Some(why.to_owned());
                }
                self.notes.push(text.clone());
            }
            Event::Left(left) => self.left = Some(left.clone()),
            Event::Tagged { text } => self.tag = Some(text.clone()),
            Event::Closed => self.closed = true,
            Event::Quoted(quote) => self.quote = Some(quote.clone()),
            Event::Repair(repair) => Mended::begin(self, repair),
            Event::Decided(decision) => self.decisions.push((decision.clone(), entry.at)),
            // Streamed readings are kept for the plots; meters that come and go change no answer.
            _ => {}
        }
        if let Some(mut mended) = self.mended.take() {
            let state = (self.clock, self.has_power());
            mended.apply(&entry.event, state, |n| {
                self.ask(n).map(|a| a.request.clone())
            });
            self.mended = Some(mended);
        }
    }

    /// Lets time pass up to an entry. A steady clock that steps back, or a meter that joins again, is
    /// a new run of the program: then the wall clock has the gap.
    fn pass(&mut self, entry: &Entry) {
        if let Some(last) = self.last_at {
            let again = matches!(&entry.event, Event::MeterJoined(new)
                if self.meters.iter().any(|m| m.meter == new.meter));
            let passed = if again || entry.at.steady < last.steady {
                u64::try_from(entry.at.wall_us.saturating_sub(last.wall_us)).unwrap_or(0)
            } else {
                entry.at.steady.since(last.steady)
            };
            self.clock = Micros(self.clock.0.saturating_add(passed));
        }
        self.last_at = Some(entry.at);
    }

    /// Whether the unit is known to have its power: after an alarm that is not known.
    pub(crate) fn has_power(&self) -> bool {
        self.power == Power::On && !self.alarmed
    }

    /// Closes the ask that this answers; `tells` if the suspects may be others now.
    fn answered(&mut self, ask: Option<u32>, tells: bool) {
        if ask.is_some() && ask == self.open {
            self.open = None;
        }
        self.version += u32::from(tells);
    }

    fn voided(&mut self, book: &Book<'_>, ask: Option<u32>, why: &str) {
        let asked = ask.and_then(|n| self.ask(n)).map(|a| a.request.clone());
        let check = asked.and_then(|r| Record::check_of(book, &r));
        let took = self.takes.last_mut().filter(|t| t.take.ask == ask);
        if let Some(took) = took.filter(|t| t.take.verdict.is_none() && t.void.is_none()) {
            took.void = Some(why.to_owned());
            if let Some(check) = check.or(took.check) {
                *self.voids.entry(check).or_default() += 1;
            }
        }
        if ask.is_some() && ask == self.open {
            self.open = None;
        }
    }

    fn acted(&mut self, act: &Act) {
        match act {
            Act::OpenBreaker | Act::LockDisconnect => {
                self.alarmed = false;
                if self.power == Power::On {
                    self.power = Power::Off;
                    self.off_at = Some(self.clock);
                    self.wait_asked = false;
                    self.cooled = false;
                    self.locked = false;
                }
                if *act == Act::LockDisconnect {
                    self.locked = true;
                }
            }
            Act::LockAndTag => self.locked = true,
            // What was read shows that a look was wrong: each of these is looked at again.
            Act::PutRight(ends) => {
                for wire in self.wires.iter_mut().filter(|w| ends.contains(&w.end)) {
                    wire.checked = false;
                }
                self.unseen.retain(|end| !ends.contains(end));
            }
            Act::CloseBreaker => {
                self.power = Power::On;
                self.off_at = None;
                self.locked = false;
            }
            Act::WaitCool => self.cooled = self.power == Power::Off,
            _ => {}
        }
    }

    /// The answers that count. The latest take of a check stands for all of its repeats, which
    /// share the unit's unknowns and the meter's error, so that a repeat adds nothing but that the
    /// probes were where they should be: two that agree are confirmed. The customer's word stands
    /// for a look until the look is answered.
    pub(crate) fn answers(&self, book: &Book<'_>) -> Vec<Answer> {
        let mut by_check: BTreeMap<usize, Answer> = BTreeMap::new();
        let mut add = |check: usize, ask, evidence| {
            let Ok(number) = u16::try_from(check) else {
                return;
            };
            let before = by_check.get(&check);
            let repeats = before.map_or(0, |a| a.repeats) + 1;
            let evidence = match (before.map(|a| a.evidence), evidence) {
                (
                    Some(Evidence::Measured(one) | Evidence::Confirmed(one)),
                    Evidence::Measured(other),
                ) if one.best().0 == other.best().0 => Evidence::Confirmed(other),
                _ => evidence,
            };
            let answer = Answer {
                number,
                ask,
                evidence,
                repeats,
            };
            by_check.insert(check, answer);
        };
        for look in &self.looks {
            if let Some(check) = look.check {
                add(check, look.ask, Evidence::Looked(look.answer));
            }
        }
        for took in self.takes.iter().filter(|t| t.counts()) {
            if let (Some(check), Some(verdict)) = (took.check, &took.take.verdict) {
                add(check, took.take.ask, Evidence::Measured(verdict.likely));
            }
        }
        let mut all: Vec<Answer> = Vec::new();
        for (what, _) in &self.complaints {
            let complaint = book.sheet.complaints.iter().find(|c| c.name == *what);
            for (check, yes) in complaint.into_iter().flat_map(|c| &c.says) {
                let number = book.customer(*check);
                let open = !by_check.contains_key(check);
                if let Some(number) = number.filter(|n| open && all.iter().all(|a| a.number != *n))
                {
                    all.push(Answer {
                        number,
                        ask: None,
                        evidence: Evidence::Looked(*yes),
                        repeats: 1,
                    });
                }
            }
        }
        all.extend(by_check.into_values());
        all
    }

    /// The latest take of a check that counts.
    pub(crate) fn latest(&self, check: usize) -> Option<&Took> {
        let mut takes = self.takes.iter().rev();
        takes.find(|t| t.check == Some(check) && t.counts())
    }

    /// What was read off a plate.
    pub(crate) fn plate(&self, part: &str, key: &str) -> Option<&PlateEntry> {
        let mut plates = self.plates.iter().rev();
        plates.find(|p| p.part == part && p.key == key)
    }
}
