//! One trail to rows: a fold over its records that knows nothing of where they go.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use ohmtrail_core::reading::{Function, MeterId};
use ohmtrail_core::units::Micros;
use ohmtrail_trail::event::{
    Act, Conclusion, Entry, Event, Finding, LIVE, Opened, Outcome, Part, Power, Proved, Stamp, Take,
};
use ohmtrail_trail::{Body, Damage, Hash, Record, read};

use crate::sheets::Sheets;
use crate::tables::{DAMAGES, DECISIONS, FINDINGS, FITTED, PLATES, TAKES, Table, VISITS, WORDS};
use crate::value::Row;

/// Where the ambient air is measured, as a visit names it.
const AMBIENT: &str = "ambient";
/// Bits of a visit's number that come from its trail's name.
const NAME_BITS: u32 = 20;

/// Why a trail gives no rows.
#[derive(Debug, thiserror::Error)]
pub enum FoldError {
    /// It cannot be read.
    #[error(transparent)]
    Trail(#[from] ohmtrail_trail::Error),
    /// Its first record is damaged or of a newer program.
    #[error("its first record cannot be read: it does not say what was visited")]
    NotOpened,
}

/// What the index keeps of a trail.
#[derive(Debug, Clone, PartialEq)]
pub struct Folded {
    /// The visit's number.
    pub visit: i64,
    /// The trail's name for ever: the chain hash of its first record.
    pub trail: Hash,
    /// Its head hash.
    pub head: Hash,
    /// Whole records.
    pub records: u32,
    /// Records that hold an entry, which were folded.
    pub entries: u32,
    /// The unit, and whether it is simulated.
    pub unit: (String, bool),
    /// What is damaged.
    pub damage: Vec<Damage>,
    /// Whether a head hash that was asked for is that of one of its records.
    pub holds: bool,
    /// The rows, each with its table.
    pub rows: Vec<(&'static Table, Row)>,
}

/// Folds the trail in a file. `held` is a head hash that it had before: a trail only grows.
///
/// # Errors
/// [`FoldError`]. Damage is no error: the rest is folded.
pub fn fold_file(path: &Path, sheets: &Sheets, held: Option<&Hash>) -> Result<Folded, FoldError> {
    let mut reader = read(path)?;
    let mut fold = Fold::new(sheets, held);
    for item in reader.by_ref() {
        fold.item(item);
    }
    fold.done(reader.head(), reader.whole_records())
}

/// The number of a visit. It orders visits by their opening.
#[must_use]
pub fn visit_number(opened_us: i64, trail: &Hash) -> i64 {
    let name = u32::from_le_bytes([trail.0[0], trail.0[1], trail.0[2], 0]) & ((1 << NAME_BITS) - 1);
    // 43 bits of milliseconds last until the year 2248.
    let at = (opened_us / 1000).clamp(0, (1 << 43) - 1);
    (at << NAME_BITS) | i64::from(name)
}

/// When the visit of that number was opened, microseconds since 1970, to the millisecond.
#[must_use]
pub const fn opened_us(visit: i64) -> i64 {
    (visit >> NAME_BITS) * 1000
}

/// The state of a fold.
#[derive(Debug)]
pub struct Fold<'s> {
    sheets: &'s Sheets,
    held: Option<Hash>,
    holds: bool,
    first: Option<(Hash, Stamp, Opened)>,
    entries: u32,
    damage: Vec<Damage>,
    last: Option<Stamp>,
    /// Since the first entry; it goes on over restarts.
    clock: Micros,
    off_at: Option<Micros>,
    meters: BTreeMap<MeterId, bool>,
    takes: Vec<Took>,
    /// The asks for what the meter held of a start.
    at_start: BTreeSet<u32>,
    plates: Vec<Row>,
    fitted: Vec<Row>,
    decisions: Vec<Row>,
    concluded: Option<Conclusion>,
    found: Option<(Stamp, Finding)>,
    complaint: Option<String>,
    repaired: Option<(Proved, String)>,
    left: Option<(Power, bool, String)>,
    closed_us: Option<i64>,
    words: BTreeSet<String>,
}

#[derive(Debug)]
struct Took {
    take: Take,
    at: Stamp,
    off: Option<u64>,
    void: Option<String>,
}

impl<'s> Fold<'s> {
    /// Before the first record. `held` is a head hash that the trail had before.
    #[must_use]
    pub fn new(sheets: &'s Sheets, held: Option<&Hash>) -> Self {
        Fold {
            sheets,
            held: held.copied(),
            holds: held.is_none(),
            first: None,
            entries: 0,
            damage: Vec::new(),
            last: None,
            clock: Micros(0),
            off_at: None,
            meters: BTreeMap::new(),
            takes: Vec::new(),
            at_start: BTreeSet::new(),
            plates: Vec::new(),
            fitted: Vec::new(),
            decisions: Vec::new(),
            concluded: None,
            found: None,
            complaint: None,
            repaired: None,
            left: None,
            closed_us: None,
            words: BTreeSet::new(),
        }
    }

    /// One record, or one damage.
    pub fn item(&mut self, item: Result<Record, Damage>) {
        match item {
            Ok(record) => {
                self.holds |= self.held == Some(record.hash);
                if let Body::Entry(entry) = record.body {
                    self.entry(record.number, &record.hash, entry);
                }
            }
            Err(damage) => self.damage.push(damage),
        }
    }

    /// The entry of the record of that number and chain hash.
    pub fn entry(&mut self, number: u32, hash: &Hash, entry: Entry) {
        self.entries += 1;
        self.pass(&entry);
        let Entry { at, event } = entry;
        match event {
            // Only the first record makes a trail what it is.
            Event::Opened(opened) if number == 0 => {
                for text in [
                    &opened.unit,
                    &opened.sheet,
                    &opened.work_order,
                    &opened.technician,
                ] {
                    self.say(text);
                }
                self.first = Some((*hash, at, opened));
            }
            Event::Plate(plate) => {
                self.say(&plate.part);
                self.say(&plate.value);
                self.plates.push(vec![
                    number.into(),
                    plate.part.into(),
                    plate.key.into(),
                    plate.value.into(),
                    plate.unit.into(),
                ]);
            }
            Event::Complaint { what, words } => {
                self.say(&what);
                self.say(&words);
                self.complaint = Some(what);
            }
            Event::MeterJoined(joined) => {
                self.meters.insert(joined.meter, joined.accuracy_assumed);
            }
            Event::Asked(asked) if asked.request.measurement().is_some_and(|m| m.at_start) => {
                self.at_start.insert(asked.ask);
            }
            Event::Took(take) => self.took(take, at),
            Event::Fitted(fitted) => {
                let stamp = fitted
                    .stamp
                    .iter()
                    .map(|s| format!("{} {}", s.key, s.value));
                let stamp = stamp.collect::<Vec<_>>().join("; ");
                self.say(&stamp);
                self.fitted.push(vec![
                    number.into(),
                    at.wall_us.into(),
                    fitted.part.into(),
                    stamp.into(),
                    fitted.matches.into(),
                ]);
            }
            Event::Voided { ask, why } => {
                let last = self.takes.last_mut().filter(|t| t.take.ask == ask);
                if let Some(took) = last.filter(|t| t.take.verdict.is_none()) {
                    took.void.get_or_insert(why);
                }
            }
            Event::Struck { take, why } => {
                if let Some(took) = self.takes.iter_mut().find(|t| t.take.take == take) {
                    took.void = Some(why);
                }
                // What it came to rested on it.
                self.repaired = None;
            }
            Event::Acted(acted) => self.acted(&acted.act),
            // A unit that was read live was not off, whatever was opened.
            Event::Gate(gate) if !gate.open && gate.why == LIVE => self.off_at = None,
            Event::Concluded(conclusion) => self.concluded = Some(conclusion),
            Event::Found(finding) => self.found = Some((at, finding)),
            Event::RepairEnded(end) => self.repaired = Some((end.proved, end.why.join("; "))),
            Event::Note { text } => self.say(&text),
            Event::Left(left) => {
                self.say(&left.why);
                self.left = Some((left.power, left.locked, left.why));
            }
            Event::Closed => self.closed_us = Some(at.wall_us),
            Event::Decided(decision) => self.decisions.push(vec![
                number.into(),
                at.wall_us.into(),
                decision.quote.into(),
                decision.option.into(),
                decision.by.into(),
                decision.means.into(),
            ]),
            _ => {}
        }
    }

    /// The rows of what was folded, of a trail with that head hash and so many whole records.
    ///
    /// # Errors
    /// [`FoldError::NotOpened`].
    pub fn done(mut self, head: Hash, records: u32) -> Result<Folded, FoldError> {
        let (trail, at, opened) = self.first.take().ok_or(FoldError::NotOpened)?;
        let visit = visit_number(at.wall_us, &trail);
        let mut rows = vec![(
            &VISITS,
            self.visit(visit, trail, head, records, at, &opened),
        )];
        for took in std::mem::take(&mut self.takes) {
            rows.push((&TAKES, self.take(visit, &opened.sheet, took)));
        }
        self.findings(visit, &opened, &mut rows);
        let under = |mut row: Row| {
            row.insert(0, visit.into());
            row
        };
        rows.extend(self.plates.drain(..).map(|row| (&PLATES, under(row))));
        rows.extend(self.fitted.drain(..).map(|row| (&FITTED, under(row))));
        rows.extend(self.decisions.drain(..).map(|row| (&DECISIONS, under(row))));
        for (n, damage) in (0_i64..).zip(&self.damage) {
            let place = [damage.offset, damage.bytes].map(|b| i64::try_from(b).unwrap_or(i64::MAX));
            let row = vec![
                visit.into(),
                n.into(),
                damage.record.into(),
                place[0].into(),
                place[1].into(),
                damage.to_string().into(),
            ];
            rows.push((&DAMAGES, row));
        }
        let words: Vec<String> = std::mem::take(&mut self.words).into_iter().collect();
        rows.push((&WORDS, vec![visit.into(), words.join(" ").into()]));
        Ok(Folded {
            visit,
            trail,
            head,
            records,
            entries: self.entries,
            unit: (opened.unit, opened.simulated),
            damage: self.damage,
            holds: self.holds,
            rows,
        })
    }

    /// Lets time pass up to an entry. A steady clock that steps back is a new run of the program:
    /// then the wall clock has the gap.
    fn pass(&mut self, entry: &Entry) {
        if let Some(last) = self.last {
            let again = matches!(&entry.event, Event::MeterJoined(new)
                if self.meters.contains_key(&new.meter));
            let passed = if again || entry.at.steady < last.steady {
                u64::try_from(entry.at.wall_us.saturating_sub(last.wall_us)).unwrap_or(0)
            } else {
                entry.at.steady.since(last.steady)
            };
            self.clock = Micros(self.clock.0.saturating_add(passed));
        }
        self.last = Some(entry.at);
    }

    fn took(&mut self, take: Take, at: Stamp) {
        if take.state.power == Power::On {
            self.off_at = None;
        }
        let off = self.off_at.map(|off| self.clock.since(off));
        self.takes.push(Took {
            take,
            at,
            off,
            void: None,
        });
    }

    fn acted(&mut self, act: &Act) {
        match act {
            Act::OpenBreaker | Act::LockDisconnect => {
                self.off_at.get_or_insert(self.clock);
            }
            Act::CloseBreaker => self.off_at = None,
            _ => {}
        }
    }

    /// What the isolation came to. The oldest trails only say what was found.
    fn outcome(&self) -> Option<&'static str> {
        match (&self.concluded, &self.found) {
            (Some(conclusion), _) => Some(outcome(conclusion.outcome)),
            (None, Some((_, finding))) if !finding.faults.is_empty() => {
                Some(outcome(Outcome::Faults))
            }
            _ => None,
        }
    }

    fn say(&mut self, text: &str) {
        self.words.extend(words(text));
    }

    fn visit(
        &self,
        visit: i64,
        trail: Hash,
        head: Hash,
        records: u32,
        at: Stamp,
        opened: &Opened,
    ) -> Row {
        let air = self.takes.iter().rev().find(|t| {
            t.void.is_none()
                && t.take.function == Function::Celsius
                && t.take.points[0] == AMBIENT
                && t.take.value.is_finite()
        });
        let concluded = self.concluded.as_ref();
        let left = self.left.as_ref();
        let repaired = self.repaired.as_ref();
        vec![
            visit.into(),
            trail.to_string().into(),
            head.to_string().into(),
            records.into(),
            opened.unit.as_str().into(),
            opened.simulated.into(),
            opened.sheet.as_str().into(),
            self.sheets
                .is_same(&opened.sheet, &opened.sheet_hash)
                .into(),
            opened.work_order.as_str().into(),
            opened.technician.as_str().into(),
            at.wall_us.into(),
            self.closed_us.into(),
            self.complaint.clone().into(),
            self.outcome().into(),
            concluded.map(|c| f64::from(c.p)).into(),
            repaired.map(|r| r.0.words()).into(),
            repaired.map(|r| r.1.as_str()).into(),
            left.map(|l| power(l.0)).into(),
            left.map(|l| l.1).into(),
            left.map(|l| l.2.as_str()).into(),
            air.map(|t| t.take.value).into(),
            air.map(|t| t.take.uncertainty).into(),
            opened.previous.map(|h| Hash(h).to_string()).into(),
            i64::try_from(self.damage.len()).unwrap_or(i64::MAX).into(),
        ]
    }

    fn take(&self, visit: i64, sheet: &str, took: Took) -> Row {
        let Took {
            take,
            at,
            off,
            void,
        } = took;
        let (part, kind) = self.sheets.part_of(sheet, &take);
        let assumed = self.meters.get(&take.meter).copied().unwrap_or(true);
        let at_start = take.ask.is_some_and(|ask| self.at_start.contains(&ask));
        let [point_1, point_2] = take.points;
        let verdict = take.verdict.as_ref();
        vec![
            visit.into(),
            take.take.into(),
            at.wall_us.into(),
            take.function.name().into(),
            point_1.into(),
            point_2.into(),
            part.into(),
            kind.into(),
            (take.state.power == Power::On).into(),
            take.state.cooled.into(),
            at_start.into(),
            off.and_then(|us| i64::try_from(us).ok()).into(),
            u32::from(take.meter.0).into(),
            assumed.into(),
            take.value.into(),
            take.uncertainty.into(),
            verdict.map(|v| v.class.word()).into(),
            verdict.map(|v| f64::from(v.likely.of(v.class))).into(),
            verdict.map(|v| v.too_close).into(),
            verdict.and_then(|v| v.lower).into(),
            verdict.and_then(|v| v.upper).into(),
            verdict.map(|v| v.source.as_str()).into(),
            void.into(),
        ]
    }

    fn findings(&mut self, visit: i64, opened: &Opened, rows: &mut Vec<(&'static Table, Row)>) {
        let (sheet, simulated) = (opened.sheet.as_str(), opened.simulated);
        let concluded = self.outcome() == Some(outcome(Outcome::Faults));
        let Some((at, finding)) = self.found.take().filter(|_| concluded) else {
            return;
        };
        let roles = self.concluded.iter().flat_map(|c| &c.roles);
        let roles: BTreeMap<&str, Part> = roles.map(|r| (r.what.as_str(), r.part)).collect();
        let faults: BTreeSet<&String> = finding.faults.iter().collect();
        for fault in faults {
            let (part, kind, mode) = self.sheets.fault(sheet, fault);
            for text in [fault.as_str(), kind.as_deref().unwrap_or_default()] {
                self.words.extend(words(text));
            }
            let row = vec![
                visit.into(),
                fault.as_str().into(),
                simulated.into(),
                part.into(),
                kind.into(),
                mode.into(),
                at.wall_us.into(),
                f64::from(finding.p).into(),
                roles.get(fault.as_str()).map(|part| role(*part)).into(),
                i64::try_from(finding.alike.len())
                    .unwrap_or(i64::MAX)
                    .into(),
            ];
            rows.push((&FINDINGS, row));
        }
    }
}

/// The words that a text is searched by: lower case, split at all that is neither letter nor digit,
/// and no longer than 64 letters.
pub(crate) fn words(text: &str) -> impl Iterator<Item = String> {
    text.split(|c: char| !c.is_alphanumeric())
        .filter(|word| !word.is_empty())
        .map(|word| word.chars().take(64).flat_map(char::to_lowercase).collect())
}

const fn outcome(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Faults => "faults",
        Outcome::NoFault => "no-fault",
        Outcome::NoneOfThese => "none-of-these",
        Outcome::Undecided => "undecided",
    }
}

const fn power(power: Power) -> &'static str {
    match power {
        Power::On => "on",
        Power::Off => "off",
    }
}

const fn role(part: Part) -> &'static str {
    match part {
        Part::RootCause => "root-cause",
        Part::Consequence => "consequence",
        Part::Coincidence => "coincidence",
    }
}
