//! The charge, where a part of the refrigerant circuit was fitted: read while the unit runs without a stop, and
//! judged by the core.
//!
//! The weather is read first: where it does not allow a judgement, no gauge is connected. Readings of one
//! judgement are of one run: what starts, stops or rewires the unit has them read anew. Where the circuit
//! cannot be read, a certified person's word is asked for and kept as one. A charge is proven or left to be
//! watched; it leaves a unit off only where liquid comes back to the compressor.

mod known;
mod weigh;
mod words;

use ohmtrail_circuit::sheet::Part;
use ohmtrail_core::reading::Function;
use ohmtrail_core::refrigerant::{SPAN, VOID_SETS};
use ohmtrail_trail::event::{Act, PlateEntry, Request};
use ohmtrail_words::Said;

use self::known::Known;
use self::weigh::{Worked, judge, work};
use super::lines::{Line, Todo, take};
use super::mended::{Answer, How, Mended};
use crate::book::Book;
use crate::record::{Record, Took};

use self::known::CHANGES;
pub(crate) use self::known::{KEYS, SUPERHEAT_KEY};
pub use self::words::point_words;
pub(crate) use self::words::{before_opening, why};

/// What is read, in the order in which it is asked for. Each is a take between one point and itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Reading {
    Outdoor = 0,
    Return = 1,
    WetBulb = 2,
    /// In place of the wet bulb, where that was passed over.
    Humidity = 3,
    Supply = 4,
    Suction = 5,
    SuctionLine = 6,
    Liquid = 7,
    LiquidLine = 8,
}

const READINGS: usize = 9;

impl Reading {
    pub(crate) const ALL: [Reading; READINGS] = [
        Reading::Outdoor,
        Reading::Return,
        Reading::WetBulb,
        Reading::Humidity,
        Reading::Supply,
        Reading::Suction,
        Reading::SuctionLine,
        Reading::Liquid,
        Reading::LiquidLine,
    ];
    /// Those of the refrigerant circuit.
    const CIRCUIT: [Reading; 4] = [
        Reading::Suction,
        Reading::SuctionLine,
        Reading::Liquid,
        Reading::LiquidLine,
    ];

    /// The name that stands for its point.
    pub(crate) const fn point(self) -> &'static str {
        match self {
            Reading::Outdoor => "outdoor-air",
            Reading::Return => "return-air",
            Reading::WetBulb => "return-wet-bulb",
            Reading::Humidity => "return-humidity",
            Reading::Supply => "supply-air",
            Reading::Suction => "suction-pressure",
            Reading::SuctionLine => "suction-line",
            Reading::Liquid => "liquid-pressure",
            Reading::LiquidLine => "liquid-line",
        }
    }

    pub(crate) const fn function(self) -> Function {
        match self {
            Reading::Suction | Reading::Liquid => Function::Pascals,
            Reading::Humidity => Function::Percent,
            _ => Function::Celsius,
        }
    }

    /// Minutes that it takes; common practice, no published source.
    pub(crate) const fn minutes(self) -> f32 {
        match self {
            Reading::Suction | Reading::Liquid => 2.0,
            _ => 1.0,
        }
    }

    /// The reading whose point has this name.
    pub(crate) fn at(point: &str) -> Option<Reading> {
        Reading::ALL.into_iter().find(|r| r.point() == point)
    }

    fn of(request: &Request) -> Option<Reading> {
        let asked = request.measurement()?;
        let reading = Reading::at(&asked.points[0])?;
        (reading.function() == asked.function).then_some(reading)
    }
}

/// Whether a take of this between these points is a reading of the charge.
pub(crate) fn reads(points: &[String; 2], function: Function) -> bool {
    let [a, b] = points;
    a == b && Reading::at(a).is_some_and(|r| r.function() == function)
}

const BY_WORD: &str = "by a certified person's word, and by no reading";
const NOT_IN_THIS_WEATHER: &str = "a word proves no charge where the weather was not read, or does not allow a judgement: come back";

/// What is to be done for the charge.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Step {
    Read(Reading),
    /// A certified person's word.
    Word,
}

/// The part of the refrigerant circuit that was fitted; none if there was none.
pub(crate) fn part<'b>(book: &'b Book<'_>, mended: &Mended) -> Option<&'b Part> {
    let fitted = mended.repair.parts.iter();
    let mut parts = fitted.filter_map(|name| book.sheet.parts.iter().find(|p| p.name == *name));
    parts.find(|p| is_of_circuit(p))
}

/// Whether the refrigerant circuit is opened to change it.
fn is_of_circuit(part: &Part) -> bool {
    part.kind.name.ends_with("compressor")
        || part.kind.name == "pressure-switch"
        || is_of_a_cold_room(part)
}

/// Kinds that cool rooms for goods have and air conditioners have not. The core's model is of the latter.
fn is_of_a_cold_room(part: &Part) -> bool {
    matches!(part.kind.name, "refrigerant" | "liquid-valve")
        || part.kind.name.ends_with("-pressure-control")
}

/// Whether what is known of the charge rests on this plate value.
pub(crate) fn rests_on(plate: &PlateEntry) -> bool {
    plate.part == "unit" && KEYS.contains(&plate.key.as_str())
}

/// Whether a plate value says that refrigerant was put in or taken out.
pub(crate) fn changes(plate: &PlateEntry) -> bool {
    plate.part == "unit" && CHANGES.contains(&plate.key.as_str())
}

impl Record {
    /// A plate value that the charge rests on takes an ended repair up again, as a struck take does.
    pub(crate) fn corrects_charge(&mut self, book: &Book<'_>, plate: &PlateEntry) {
        let mended = self.mended.as_deref_mut();
        let mended = mended.filter(|m| rests_on(plate) && part(book, m).is_some());
        if let Some(mended) = mended.filter(|m| m.end.is_some()) {
            mended.end = None;
            self.left = None;
        }
    }
}

/// What answers an ask for a reading.
#[derive(Debug, Clone, Copy)]
enum Slot<'r> {
    Open,
    Took(&'r Took),
    Skipped(&'r str),
}

/// The readings of the run that goes on.
struct Set<'r> {
    slots: [Slot<'r>; READINGS],
    worked: Worked,
    /// How many sets contradicted themselves since the plate was last corrected, and why the last one did.
    voids: u32,
    void: Option<&'static str>,
    /// Whether some were read so long before the last one that they are read anew.
    aged: bool,
    ask: Option<u32>,
}

impl<'r> Set<'r> {
    fn of(record: &'r Record, mended: &'r Mended, known: &Known) -> Self {
        let mut set = Set {
            slots: [Slot::Open; READINGS],
            worked: Worked::default(),
            voids: 0,
            void: None,
            aged: false,
            ask: None,
        };
        let run = mended.judged_run();
        for answer in mended.answers.iter().filter(|a| a.run == run) {
            let Some(reading) = Reading::of(&answer.request) else {
                continue;
            };
            let slot = match &answer.how {
                How::Skipped(why) => Slot::Skipped(why),
                _ => match take(record, answer) {
                    Some(took) => Slot::Took(took),
                    None => continue,
                },
            };
            set.slots[reading as usize] = slot;
            set.ask = Some(answer.ask);
            match work(known, |reading| set.value(record, reading)) {
                Ok(worked) => set.worked = worked,
                Err(why) => {
                    set.slots = [Slot::Open; READINGS];
                    set.worked = Worked::default();
                    set.void = Some(why);
                    set.voids += u32::from(answer.ask > mended.plated);
                }
            }
        }
        set.age();
        if set.aged {
            // What is left contradicts itself no more than all of it did.
            set.worked = work(known, |reading| set.value(record, reading)).unwrap_or_default();
        }
        set
    }

    /// Leaves out what was read too long before the last one.
    fn age(&mut self) {
        let took = |slot: &Slot<'_>| match slot {
            Slot::Took(took) => Some(took.elapsed),
            Slot::Open | Slot::Skipped(_) => None,
        };
        let Some(last) = self.slots.iter().filter_map(took).max() else {
            return;
        };
        let span = (SPAN.limit().high() * 60e6) as u64;
        for slot in &mut self.slots {
            if took(slot).is_some_and(|at| last.since(at) > span) {
                *slot = Slot::Open;
                self.aged = true;
            }
        }
    }

    fn slot(&self, reading: Reading) -> Slot<'r> {
        self.slots[reading as usize]
    }

    fn value(&self, record: &Record, reading: Reading) -> Option<weigh::Value> {
        match self.slot(reading) {
            Slot::Took(took) => Some(weigh::value(record, &took.take)),
            Slot::Open | Slot::Skipped(_) => None,
        }
    }

    /// The next that is to be read.
    fn next(&self) -> Option<Reading> {
        let dry = !matches!(self.slot(Reading::WetBulb), Slot::Skipped(_));
        let mut open = Reading::ALL
            .into_iter()
            .filter(|r| matches!(self.slot(*r), Slot::Open) && !(*r == Reading::Humidity && dry));
        open.next()
    }

    /// What was passed over and is missing, and why.
    fn missing(&self) -> impl Iterator<Item = (Reading, &'r str)> {
        let humid = matches!(self.slot(Reading::Humidity), Slot::Took(_));
        Reading::ALL.into_iter().filter_map(move |reading| {
            let replaced = reading == Reading::WetBulb && humid;
            match self.slot(reading) {
                Slot::Skipped(why) if !replaced => Some((reading, why)),
                _ => None,
            }
        })
    }

    /// Whether the weather was read, all of it.
    fn has_weather(&self) -> bool {
        let read = |r| matches!(self.slot(r), Slot::Took(_));
        read(Reading::Outdoor)
            && read(Reading::Return)
            && (read(Reading::WetBulb) || read(Reading::Humidity))
    }

    /// Whether nothing of the circuit could be read: each was passed over.
    fn is_without_the_circuit(&self) -> bool {
        let circuit = Reading::CIRCUIT.into_iter();
        circuit
            .map(|r| self.slot(r))
            .all(|slot| matches!(slot, Slot::Skipped(_)))
    }
}

/// Whether the charge is proven, and by what; none where no part of its circuit was fitted.
pub(crate) fn line(book: &Book<'_>, record: &Record, mended: &Mended) -> Option<Line> {
    part(book, mended)?;
    let settled = |passed, words, ask| Line {
        what: "refrigerant charge".into(),
        passed,
        words,
        ask,
        todo: None,
    };
    let to_do = |step| Line {
        todo: Some(Todo::Charge(step)),
        ..settled(None, "it was not come to".into(), None)
    };
    let word = || {
        let run = mended.judged_run();
        let fits = |a: &Answer| a.run == run && a.request.act() == Some(&Act::ProveCharge);
        mended.latest(fits).map(|a| (&a.how, a.ask))
    };
    if book.sheet.parts.iter().any(is_of_a_cold_room) {
        return Some(match word() {
            Some((How::Done, ask)) => settled(Some(true), BY_WORD.into(), Some(ask)),
            Some((How::Skipped(why), ask)) => settled(None, Said::told(why.as_str()), Some(ask)),
            _ => to_do(Step::Word),
        });
    }
    let known = Known::of(record);
    let set = Set::of(record, mended, &known);
    if let Some(why) = set
        .void
        .filter(|_| f64::from(set.voids) >= VOID_SETS.limit().high())
    {
        return Some(settled(None, words::void(set.voids, why), set.ask));
    }
    let found = judge(&known, &set.worked);
    if let Some(reading) = set.next().filter(|_| !found.barred) {
        return Some(to_do(Step::Read(reading)));
    }
    let without = set.is_without_the_circuit() && found.against.is_empty();
    let mut said = None;
    let mut ask = set.ask;
    if found.barred || without {
        match word() {
            Some((How::Done, by)) => {
                ask = Some(by);
                if without && !found.barred && set.has_weather() {
                    let missing = Some(words::missing(set.missing()));
                    let words = Said::from(BY_WORD).then_if("; ", missing);
                    return Some(settled(Some(true), words, ask));
                }
                // What the weather hides is not hidden by a word.
                said = Some(Said::from(BY_WORD).then("; ", NOT_IN_THIS_WEATHER.into()));
            }
            Some((How::Skipped(why), by)) => {
                ask = Some(by);
                said = Some(Said::told(why.as_str()));
            }
            _ => return Some(to_do(Step::Word)),
        }
    }
    let (harms, is_off) = (found.harms, !found.against.is_empty());
    let mut reasons: Vec<Said> = said.into_iter().chain(found.against).collect();
    reasons.extend(found.open);
    if !found.barred {
        let mut missing = set.missing().peekable();
        if missing.peek().is_some() {
            reasons.push(words::missing(missing));
        }
    }
    reasons.extend(known.lacking);
    if is_off {
        reasons.push(Said::message("charge-after").with("keys", CHANGES.join(", ")));
    }
    let passed = match harms {
        true => Some(false),
        false => reasons.is_empty().then_some(true),
    };
    let all = reasons.into_iter().chain(found.said);
    Some(settled(passed, Said::joined(all, "; "), ask))
}
