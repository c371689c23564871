//! Every proof of a repair with how far it is: what the trail says of it, and what is still to be done.

use std::collections::BTreeSet;

use ohmtrail_circuit::parts::Sight;
use ohmtrail_circuit::sheet::{Heat, Part, PointId, Wire as Wiring};
use ohmtrail_core::class::Class;
use ohmtrail_core::rules::current;
use ohmtrail_trail::event::{Act, Power, Proof, Request};
use ohmtrail_words::Said;

use super::charge;
use super::fit::{self, Place};
use super::mended::{Answer, How, Mended, Told};
use super::plan::{Against, Item, Outside, Quest, plan};
use crate::book::Book;
use crate::limits::plate_number;
use crate::record::{Record, Took, Wire};
use crate::words::{amount, said_shown};

/// How often ends may be put right before the unit is left off.
pub(crate) const PUT_RIGHT: u32 = 2;
/// How often a reading that is too close to call is made.
const READ: usize = 2;

/// What is still to be done for a proof.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Todo {
    Fit(String),
    Check(usize),
    /// A wire end goes back where it was, and is then held against the wire map.
    PutBack(String),
    CheckWire(String),
    /// The pair of the plan of ohms.
    Ohms(usize),
    PutRight(Vec<String>),
    Item(Box<Item>),
    Charge(charge::Step),
}

/// A proof, and what is to be done for it; none where it is settled.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Line {
    /// What is proven.
    pub what: Said,
    /// Whether it is; none where nothing shows it.
    pub passed: Option<bool>,
    /// As it was measured, or why not.
    pub words: Said,
    /// The ask that brought it.
    pub ask: Option<u32>,
    pub todo: Option<Todo>,
}

impl Line {
    /// As a trail keeps it.
    pub fn proof(&self) -> Proof {
        Proof {
            what: self.what.to_string(),
            passed: self.passed,
            words: self.words.to_string(),
            ask: self.ask,
        }
    }

    /// What is proven, with how it came out.
    pub fn said(&self) -> Said {
        self.what.clone().then(": ", self.words.clone())
    }
}

fn line(what: Said, passed: Option<bool>, words: impl Into<Said>, ask: Option<u32>) -> Line {
    Line {
        what,
        passed,
        words: words.into(),
        ask,
        todo: None,
    }
}

/// Why somebody did not do it.
pub(crate) fn because(id: &'static str, why: &str) -> Said {
    Said::message(id).with("why", Said::told(why))
}

fn to_do(what: Said, todo: Todo) -> Line {
    let mut line = line(what, None, "it was not come to", None);
    line.todo = Some(todo);
    line
}

/// Every proof, in the order they are made.
///
/// `impossible` are checks that no ask can be built for.
pub(crate) fn lines(
    book: &Book<'_>,
    record: &Record,
    mended: &Mended,
    impossible: &BTreeSet<usize>,
) -> Vec<Line> {
    let mut all = fitting(book, record, mended);
    for fitted in &mended.fitted {
        if let Some(Place::Part(part)) = fit::place(book, &fitted.part) {
            all.extend(by_itself(book, record, mended, part, impossible));
        }
    }
    all.extend(wires(book, record, mended));
    all.extend(ohms(book, record, mended));
    let items = plan(book, record, mended);
    let each = items.into_iter().map(|i| item(book, record, mended, i));
    all.extend(each);
    // Last, on a unit that was seen to run.
    all.extend(charge::line(book, record, mended));
    all
}

/// What answers a measurement between two points, either way round.
fn measures(answer: &Answer, book: &Book<'_>, points: [PointId; 2], at_start: bool) -> bool {
    answer.request.measurement().is_some_and(|asked| {
        let own = asked.points.each_ref().map(|p| book.sheet.point(p));
        let [a, b] = points.map(Some);
        asked.at_start == at_start && (own == [a, b] || own == [b, a])
    })
}

/// The take of an answer, if it still counts.
pub(super) fn take<'r>(record: &'r Record, answer: &Answer) -> Option<&'r Took> {
    let How::Took(number) = answer.how else {
        return None;
    };
    let mut takes = record.takes.iter();
    takes.find(|t| t.take.take == number && t.counts())
}

/// A value conforms, or does not, with at least this probability; between, its meter cannot tell. The
/// probability is that of JCGM 106:2012, 7.2; how much is enough is common practice.
const SURE: f32 = 0.95;

/// How a take came out: none where its meter cannot tell, or nothing was said of it.
fn passes(took: &Took, outside: Outside) -> Option<bool> {
    let judged = took.take.verdict.as_ref()?;
    let within = judged.likely.of(Class::Within);
    match judged.class {
        // What should read open does.
        Class::Open if judged.upper.is_none() && judged.lower.is_some() => Some(true),
        Class::Within if outside == Outside::Warn => Some(true),
        Class::Within => (within >= SURE).then_some(true),
        Class::Low | Class::High => match outside {
            Outside::LeaveOff => (within <= 1.0 - SURE).then_some(false),
            Outside::Monitor => None,
            Outside::Warn => Some(true),
        },
        Class::Absent | Class::Open | Class::Short => Some(false),
    }
}

fn words_of(took: &Took) -> Said {
    let shown = || said_shown(took.take.function, took.take.shown);
    took.words().unwrap_or_else(shown)
}

fn fitting(book: &Book<'_>, record: &Record, mended: &Mended) -> Vec<Line> {
    let each = mended.repair.parts.iter().map(|name| {
        let part = match fit::place(book, name) {
            Some(Place::Part(at)) => book.sheet.said(&book.sheet.parts[at].words),
            _ => Said::message("proof-wire").with("wire", name.clone()),
        };
        let what = Said::message("proof-replaced").with("part", part);
        let answer = mended.act(&Act::Fit(name.clone()));
        let ask = answer.map(|a| a.ask);
        if let Some(fitted) = mended.fitted.iter().rev().find(|f| f.part == *name) {
            let words = fit::again(book, record, mended, fitted);
            return line(what, fitted.matches, words, ask);
        }
        match answer.map(|a| &a.how) {
            // Nothing was repaired: whatever follows would prove nothing.
            Some(How::Skipped(why)) => {
                line(what, Some(false), because("proof-not-fitted", why), ask)
            }
            _ => to_do(what, Todo::Fit(name.clone())),
        }
    });
    each.collect()
}

/// The new part, measured by itself before it is connected.
fn by_itself(
    book: &Book<'_>,
    record: &Record,
    mended: &Mended,
    part: usize,
    impossible: &BTreeSet<usize>,
) -> Vec<Line> {
    let sheet = book.sheet;
    let fitted = mended
        .act(&Act::Fit(sheet.parts[part].name.clone()))
        .map_or(0, |a| a.ask);
    let checks = sheet
        .checks
        .iter()
        .enumerate()
        .filter(|(c, check)| check.heat != Some(Heat::Cold) && fit::by_itself(book, *c, part));
    let each = checks.map(|(c, check)| {
        let what = Said::message("proof-by-itself").with("check", sheet.said(&check.why));
        let answer =
            mended.latest(|a| a.ask > fitted && Record::check_of(book, &a.request) == Some(c));
        let ask = answer.map(|a| a.ask);
        match answer.map(|a| (&a.how, take(record, a))) {
            Some((How::Skipped(why), _)) => line(what, None, Said::told(why.as_str()), ask),
            Some((_, Some(took))) => {
                let passed = passes(took, Outside::LeaveOff);
                line(what, passed, words_of(took), ask)
            }
            _ if impossible.contains(&c) => {
                line(what, None, "what comes before it was passed over", ask)
            }
            _ => to_do(what, Todo::Check(c)),
        }
    });
    each.collect()
}

/// Every wire end that was off: back where the wire map has it, and seen there.
fn wires(book: &Book<'_>, record: &Record, mended: &Mended) -> Vec<Line> {
    let each = record.wires.iter().enumerate().filter(|(at, wire)| {
        // Lifted more than once: the last time counts.
        !record.wires[at + 1..].iter().any(|w| w.end == wire.end)
    });
    let each = each.map(|(_, wire)| {
        let photo = wire.photo.is_some().then(|| Said::from("photographed"));
        let what = goes(book, wire).then_if(", ", photo);
        let check = mended.act(&Act::CheckWire(wire.end.clone()));
        let ask = check.map(|a| a.ask);
        let skipped = |a: &Answer| match &a.how {
            How::Skipped(why) => Some(why.clone()),
            _ => None,
        };
        if wire.back_on.is_none() {
            let back = mended.act(&Act::PutBack(vec![wire.end.clone()]));
            return match back.filter(|a| a.wired == mended.wired).and_then(skipped) {
                Some(why) => line(what, Some(false), because("proof-left-off", &why), ask),
                None => to_do(what, Todo::PutBack(wire.end.clone())),
            };
        }
        if wire.checked {
            return line(what, Some(true), "seen there", ask);
        }
        // Ends that were put right since are looked at again.
        let righted = mended.latest(|a| match &a.request {
            Request::Act {
                act: Act::PutRight(ends),
            } => ends.contains(&wire.end),
            _ => false,
        });
        let since = righted.map_or(0, |a| a.ask);
        match check.filter(|a| a.ask > since).and_then(skipped) {
            // Ohms tell exchanges at most, and no end on a terminal that was free.
            Some(why) => line(what, None, because("proof-not-looked-at", &why), ask),
            None => to_do(what, Todo::CheckWire(wire.end.clone())),
        }
    });
    each.collect()
}

/// Where a wire end belongs, by the wire map.
pub(crate) fn goes(book: &Book<'_>, wire: &Wire) -> Said {
    Said::message("wire-goes")
        .with("end", wire.end.clone())
        .with(
            "mark",
            Said::told_of_sheet(&wire.mark, &book.sheet.glossary),
        )
        .with("at", wire.from.clone())
}

/// The names of the ends of miswires.
pub(crate) fn swaps_words(book: &Book<'_>, swaps: &[[PointId; 2]]) -> Said {
    let name = |p: PointId| book.sheet.point_name(p).to_owned();
    let each = swaps.iter().map(|[a, b]| {
        let swap = Said::message("wire-swap").with("one", name(*a));
        swap.with("other", name(*b))
    });
    Said::joined(each, ", ")
}

/// Resistance before power.
fn ohms(book: &Book<'_>, record: &Record, mended: &Mended) -> Vec<Line> {
    let rewired = mended.rewired(book, record);
    let name = |p: PointId| book.sheet.point_name(p);
    let each = rewired.pairs.iter().enumerate().map(|(n, pair)| {
        let [a, b] = pair.points.map(|p| name(p).to_owned());
        let what = match pair.tells.as_slice() {
            [] => Said::message("proof-ohms-next"),
            tells => Said::message("proof-ohms").with("swaps", swaps_words(book, tells)),
        };
        let what = what.with("one", a).with("other", b);
        let fits = |x: &Answer| {
            x.wired == mended.wired
                && !matches!(&x.request, Request::AtStart { .. })
                && x.request
                    .measurement()
                    .is_some_and(|m| m.function.injects())
                && measures(x, book, pair.points, false)
        };
        let count = mended.answers.iter().filter(|x| fits(x)).count();
        let Some(answer) = mended.latest(fits) else {
            return to_do(what, Todo::Ohms(n));
        };
        let ask = Some(answer.ask);
        if let How::Skipped(why) = &answer.how {
            return line(what, None, Said::told(why.as_str()), ask);
        }
        let Some(took) = take(record, answer) else {
            return to_do(what, Todo::Ohms(n));
        };
        let class = took.take.verdict.as_ref().map(|v| v.class);
        let words = words_of(took);
        match class {
            Some(Class::Within) => match passes(took, Outside::LeaveOff) {
                None if count < READ => to_do(what, Todo::Ohms(n)),
                passed => line(what, passed, words, ask),
            },
            None => line(what, None, words, ask),
            Some(_) if mended.put_right < PUT_RIGHT => {
                let mut ends: Vec<String> = Vec::new();
                // What was read for another's sake tells that something is off, and not what.
                let of = |end: &&PointId| pair.tells.iter().flatten().any(|e| e == *end);
                let all = rewired.pairs.iter().flat_map(|p| p.tells.iter().flatten());
                for end in all.filter(|end| pair.tells.is_empty() || of(end)) {
                    let end = name(*end).to_owned();
                    if !ends.contains(&end) {
                        ends.push(end);
                    }
                }
                let act = Act::PutRight(ends.clone());
                let skipped = mended.act(&act).filter(|a| a.wired == mended.wired);
                match skipped.map(|a| &a.how) {
                    Some(How::Skipped(why)) => line(
                        what,
                        Some(false),
                        words.then("; ", because("proof-not-put-right", why)),
                        ask,
                    ),
                    _ => to_do(what, Todo::PutRight(ends)),
                }
            }
            Some(_) => line(what, Some(false), words, ask),
        }
    });
    each.collect()
}

fn item(book: &Book<'_>, record: &Record, mended: &Mended, item: Item) -> Line {
    let what = item.what.clone();
    let mode = match item.told {
        Told::Heating => mended.act(&Act::CallHeating),
        Told::Defrost => mended
            .act(&Act::StartDefrost)
            .or(mended.act(&Act::CallHeating)),
        Told::Call if at_start(&item) => mended.act(&Act::CallOff),
        Told::Call | Told::Nothing => None,
    };
    if let Some(Answer {
        how: How::Skipped(why),
        ask,
        ..
    }) = mode
    {
        return line(what, None, Said::told(why.as_str()), Some(*ask));
    }
    let answer = mended.latest(|a| {
        a.told == item.told
            && a.wired == mended.wired
            && match &item.quest {
                Quest::Look { what, .. } => {
                    matches!(&a.request, Request::Look { what: own } if own == what)
                }
                Quest::Measure {
                    function,
                    points,
                    at_start,
                } => {
                    // What was read dead there, on the way to a gate, is no proof under power.
                    let own = a.request.measurement();
                    own.is_some_and(|m| m.function == *function && m.state.power == Power::On)
                        && measures(a, book, *points, *at_start)
                }
            }
    });
    let Some(answer) = answer else {
        return match amperes_passed_over(book, mended, &item) {
            Some(why) => line(what, None, because("proof-amperes-passed-over", &why), None),
            None => to_do(what, Todo::Item(Box::new(item))),
        };
    };
    let ask = Some(answer.ask);
    match (&answer.how, &item.quest) {
        (How::Skipped(why), _) => line(what, None, Said::told(why.as_str()), ask),
        (How::Looked(yes), Quest::Look { want, .. }) => {
            let words = Said::message(if *yes { "paper-yes" } else { "paper-no" });
            line(what, Some(yes == want), words, ask)
        }
        (How::Took(_), _) => match take(record, answer).filter(|t| t.take.state.power == Power::On)
        {
            Some(took) => measured(book, record, mended, &item, took),
            None => to_do(what, Todo::Item(Box::new(item))),
        },
        _ => to_do(what, Todo::Item(Box::new(item))),
    }
}

/// Why the amperes that a capacitance under load is made of were passed over, if they were.
fn amperes_passed_over(book: &Book<'_>, mended: &Mended, item: &Item) -> Option<String> {
    let Against::Section { amps, .. } = item.against else {
        return None;
    };
    let answer = mended.latest(|a| {
        a.told == item.told && a.wired == mended.wired && measures(a, book, amps, false)
    })?;
    match &answer.how {
        How::Skipped(why) => Some(why.clone()),
        _ => None,
    }
}

fn at_start(item: &Item) -> bool {
    matches!(item.quest, Quest::Measure { at_start: true, .. })
}

fn measured(book: &Book<'_>, record: &Record, mended: &Mended, item: &Item, took: &Took) -> Line {
    let mut passed = match item.against {
        Against::Nothing => Some(true),
        Against::Unknown => None,
        Against::Limit(..) | Against::Section { .. } => passes(took, item.outside),
    };
    let mut words = words_of(took);
    if item.against == Against::Unknown {
        words = words.then("; ", "no limit is known to hold it against".into());
    }
    if let Quest::Measure { points, .. } = &item.quest {
        let close = took
            .take
            .verdict
            .as_ref()
            .is_some_and(|v| v.class == Class::Within);
        // A clamp seldom tells a few percent: what it cannot tell was read before the part went in.
        if passed.is_none() && close && on_the_bench(book, record, mended, *points) {
            passed = Some(true);
            let agrees = "agrees with what it read by itself before it was connected";
            words = words.then("; ", agrees.into());
        }
        // Nothing speaks against what the visit before found no fault in.
        if passed.is_none() && close && of_another_part(book, mended, *points) {
            passed = Some(true);
            let before = "the visit before found no fault in it, and it was not replaced";
            words = words.then("; ", before.into());
        }
        if let Some(rla) = over_rla(book, record, took, *points) {
            let rla = amount(took.take.function, rla);
            let over = Said::message("proof-over-rated").with("amps", rla);
            words = words.then("; ", over);
        }
    }
    line(item.what.clone(), passed, words, took.take.ask)
}

/// Whether this section of a capacitor passed by itself in this visit.
fn on_the_bench(book: &Book<'_>, record: &Record, mended: &Mended, points: [PointId; 2]) -> bool {
    let answer = mended.latest(|a| {
        let farads = a.request.measurement().map(|m| m.function)
            == Some(ohmtrail_core::reading::Function::Farads);
        farads && measures(a, book, points, false)
    });
    let took = answer.and_then(|a| take(record, a));
    took.is_some_and(|t| passes(t, Outside::LeaveOff) == Some(true))
}

/// Whether what is read between these is of a capacitor or a motor that was not replaced in this repair.
fn of_another_part(book: &Book<'_>, mended: &Mended, points: [PointId; 2]) -> bool {
    let has = |p: &Part, point: PointId| {
        (p.first_point..p.first_point + p.kind.terminals.len()).contains(&point)
    };
    let part = match book.sheet.wire_of_end(points[0]) {
        Some(wire) => motor_of(book, wire),
        None => {
            let mut parts = book.sheet.parts.iter();
            parts.find(|p| points.iter().all(|point| has(p, *point)))
        }
    };
    part.is_some_and(|p| !mended.repair.parts.contains(&p.name))
}

/// The motor that a wire leads to.
fn motor_of<'b>(book: &Book<'b>, wire: &Wiring) -> Option<&'b Part> {
    book.sheet.parts.iter().find(|p| {
        let own = p.first_point..p.first_point + p.kind.terminals.len();
        p.kind.looks.iter().any(|l| l.sight == Sight::Running)
            && wire.terminals.iter().any(|t| own.contains(t))
    })
}

/// The rated-load amperes of the compressor whose common is read, if it draws more.
fn over_rla(book: &Book<'_>, record: &Record, took: &Took, points: [PointId; 2]) -> Option<f64> {
    if took.take.function != ohmtrail_core::reading::Function::AmpsAc {
        return None;
    }
    let part = motor_of(book, book.sheet.wire_of_end(points[0])?)?;
    let rla = plate_number(record, &part.name, "rla")?;
    let most = current::RLA.limit_of(rla).upper?;
    let started = took.take.verdict.is_some();
    (started && took.take.value > most).then_some(rla)
}
