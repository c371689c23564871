//! The charge, where a part of the refrigerant circuit was fitted: read while the unit runs without a stop, and
//! judged by the core.
//!
//! The weather is read first: where it does not allow a judgement, no gauge is connected. Readings of one
//! judgement are of one run: what starts, stops or rewires the unit has them read anew. Where the circuit
//! cannot be read, a certified person's word is asked for and kept as one. A charge is proven or left to be
//! watched; it never leaves a unit off by itself.

mod known;
mod weigh;
mod words;

use ohmtrail_circuit::sheet::Part;
use ohmtrail_core::reading::Function;
use ohmtrail_core::refrigerant::VOID_SETS;
use ohmtrail_trail::event::{Act, PlateEntry, Request};
use ohmtrail_words::Said;

use self::known::Known;
use self::weigh::{Worked, judge, work};
use super::lines::{Line, Todo, take};
use super::mended::{How, Mended};
use crate::book::Book;
use crate::record::{Record, Took};

pub(crate) use self::known::{KEYS, SUPERHEAT_KEY};
pub use self::words::point_words;
pub(crate) use self::words::why;

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
    parts.find(|p| {
        p.kind.name.ends_with("compressor")
            || p.kind.name == "pressure-switch"
            || is_of_a_cold_room(p)
    })
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
    ask: Option<u32>,
}

impl<'r> Set<'r> {
    fn of(record: &'r Record, mended: &'r Mended, known: &Known) -> Self {
        let mut set = Set {
            slots: [Slot::Open; READINGS],
            worked: Worked::default(),
            voids: 0,
            void: None,
            ask: None,
        };
        for answer in mended.answers.iter().filter(|a| a.run == mended.run) {
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
        set
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
    let by_word = |passed_over: Option<Said>| {
        let word =
            mended.latest(|a| a.run == mended.run && a.request.act() == Some(&Act::ProveCharge));
        match word.map(|a| (&a.how, a.ask)) {
            Some((How::Done, ask)) => {
                let words = Said::from("by a certified person's word, and by no reading");
                settled(Some(true), words.then_if("; ", passed_over), Some(ask))
            }
            Some((How::Skipped(why), ask)) => settled(None, Said::told(why.as_str()), Some(ask)),
            _ => to_do(Step::Word),
        }
    };
    if book.sheet.parts.iter().any(is_of_a_cold_room) {
        return Some(by_word(None));
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
    if !found.barred && found.against.is_empty() && set.is_without_the_circuit() {
        return Some(by_word(Some(words::missing(set.missing()))));
    }
    let mut reasons = found.against;
    reasons.extend(found.open);
    if !found.barred {
        let mut missing = set.missing().peekable();
        if missing.peek().is_some() {
            reasons.push(words::missing(missing));
        }
    }
    reasons.extend(known.lacking);
    let passed = reasons.is_empty().then_some(true);
    let all = reasons.into_iter().chain(found.said);
    Some(settled(passed, Said::joined(all, "; "), set.ask))
}
