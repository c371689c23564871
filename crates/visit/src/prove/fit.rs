//! What is fitted, and whether it matches: by the rules of the search of a stock.

use ohmtrail_circuit::sheet::{PointId, Question};
use ohmtrail_core::fit::Outcome;
use ohmtrail_stock::{Differs, Failed, NoRule, PlateValue, failed, held};
use ohmtrail_trail::event::{Fitted, PlateEntry, Stamped};
use ohmtrail_words::Said;

use super::mended::Mended;
use crate::book::Book;
use crate::record::Record;
use crate::refusal::Refusal;

/// The keys of a plate that are of other rules than those of a match.
const NOT_OF_A_MATCH: [&str; 5] = ["mcc", "rla", "lra", "curve-amps", "curve-tolerance"];

/// What a repair's part is in the sheet.
pub(crate) enum Place {
    Part(usize),
    Wire(usize),
}

/// The part or the wire of that name.
pub(crate) fn place(book: &Book<'_>, name: &str) -> Option<Place> {
    let sheet = book.sheet;
    let part = sheet.parts.iter().position(|p| p.name == name);
    let wire = || sheet.wires.iter().position(|w| w.name == name);
    part.map(Place::Part).or_else(|| wire().map(Place::Wire))
}

/// The wire ends that come off with it. A part's own leads come off at their far ends.
pub(crate) fn ends(book: &Book<'_>, place: &Place) -> Vec<PointId> {
    match *place {
        Place::Wire(wire) => book.sheet.wires[wire].ends.to_vec(),
        Place::Part(at) => {
            let part = &book.sheet.parts[at];
            let own = part.first_point..part.first_point + part.kind.terminals.len();
            let wires = book.sheet.wires.iter();
            let each = wires.flat_map(|wire| {
                let leads = wire.lead_of == Some(at);
                (0..2).map(move |e| {
                    let off = if leads { 1 - e } else { e };
                    (wire.terminals[e], wire.ends[off])
                })
            });
            each.filter(|(terminal, _)| own.contains(terminal))
                .map(|(_, end)| end)
                .collect()
        }
    }
}

/// Whether a check reads this part by itself: both points are its terminals, or the far ends of wires
/// that lead to it, with ends lifted for it.
pub(crate) fn by_itself(book: &Book<'_>, check: usize, part: usize) -> bool {
    let (check, part) = (&book.sheet.checks[check], &book.sheet.parts[part]);
    let own = part.first_point..part.first_point + part.kind.terminals.len();
    let leads = |point: &PointId| {
        let wire = book.sheet.wire_of_end(*point);
        let far = wire.and_then(|w| {
            let at = w.ends.iter().position(|e| e == point)?;
            Some(w.terminals[1 - at])
        });
        own.contains(point) || far.is_some_and(|t| own.contains(&t))
    };
    check.lift.is_some()
        && matches!(&check.question, Question::Measure { function, points, .. }
            if function.injects() && points.iter().all(leads))
}

fn value_of(entry: &PlateEntry) -> PlateValue {
    PlateValue {
        part: entry.part.clone(),
        key: entry.key.clone(),
        text: format!("{} {}", entry.value, entry.unit).trim().to_owned(),
    }
}

/// The part that failed, as far as there is a rule for it.
fn wanted(book: &Book<'_>, record: &Record, mended: &Mended, at: usize) -> Result<Failed, NoRule> {
    let name = &book.sheet.parts[at].name;
    let other = record.plates.iter().filter(|p| p.part != *name);
    let plates = mended.repair.plates.iter().chain(other);
    let plates = plates
        .filter(|p| p.part != *name || !NOT_OF_A_MATCH.contains(&p.key.as_str()) || p.key == "rla");
    let plates: Vec<PlateValue> = plates.map(value_of).collect();
    let hertz = record.plate("unit", "hertz");
    let hertz = hertz.map(|p| format!("{} {}", p.value, p.unit));
    let mut all = failed(book.sheet, &[at], &plates, hertz.as_deref());
    if all.is_empty() {
        let kind = book.sheet.parts[at].kind.name.to_owned();
        return Err(NoRule::Kind {
            part: name.clone(),
            kind,
        });
    }
    all.remove(0)
}

/// Judges what is stamped on the part that is said to be fitted.
///
/// # Errors
/// [`Refusal::Match`] if it must not be fitted, or nothing was said of it.
pub(crate) fn fitted(
    book: &Book<'_>,
    record: &Record,
    mended: &Mended,
    name: &str,
) -> Result<Fitted, Refusal> {
    let (matches, words) = matched(book, record, mended, name)?;
    let own = record.plates.iter().filter(|p| p.part == name);
    let stamp = own.map(|p| Stamped {
        key: p.key.clone(),
        value: value_of(p).text,
    });
    Ok(Fitted {
        part: name.to_owned(),
        stamp: stamp.collect(),
        matches,
        words: words.to_string(),
    })
}

/// What a trail says of a part that was fitted, once more before it is put into a language; what it says
/// itself, where more was read off its plate since.
pub(crate) fn again(book: &Book<'_>, record: &Record, mended: &Mended, fitted: &Fitted) -> Said {
    let said = matched(book, record, mended, &fitted.part).ok();
    let said = said.map(|(_, words)| words);
    said.filter(|words| words.to_string() == fitted.words)
        .unwrap_or_else(|| Said::phrase(fitted.words.as_str()))
}

/// Whether the part that is stamped so matches, in words; none where that is not known.
fn matched(
    book: &Book<'_>,
    record: &Record,
    mended: &Mended,
    name: &str,
) -> Result<(Option<bool>, Said), Refusal> {
    let own = || record.plates.iter().filter(|p| p.part == name);
    let Some(Place::Part(at)) = place(book, name) else {
        return Ok((None, "a wire: there is nothing stamped on it".into()));
    };
    let failed = match wanted(book, record, mended, at) {
        Ok(failed) => failed,
        Err(NoRule::Kind { .. }) => {
            let words = "no rule for this kind here: it is matched by its maker's number, which nothing \
                         here can read";
            return Ok((None, words.into()));
        }
        Err(why) => return Err(Refusal::Match(Said::phrase(why.to_string()))),
    };
    let plates: Vec<PlateValue> = own()
        .filter(|p| !NOT_OF_A_MATCH.contains(&p.key.as_str()))
        .map(value_of)
        .collect();
    if plates.is_empty() {
        let nothing = Said::message("fit-nothing-known").with("part", name.to_owned());
        return Err(Refusal::Match(nothing));
    }
    let held = held(&failed, &plates).map_err(|wrong| {
        let each: Vec<String> = wrong.iter().map(ToString::to_string).collect();
        let plate = Said::message("fit-plate").with("part", name.to_owned());
        Refusal::Match(plate.with("wrong", Said::phrase(each.join("; "))))
    })?;
    let words = if held.differs.is_empty() {
        "it is another kind of part".into()
    } else {
        Said::joined(held.differs.iter().map(row), "; ")
    };
    match held.outcome {
        Outcome::Refused => {
            let refused = Said::message("fit-refused").with("part", name.to_owned());
            Err(Refusal::Match(refused.with("words", words)))
        }
        Outcome::Fits if held.differs.is_empty() => {
            Ok((Some(true), "the same by every rule".into()))
        }
        Outcome::Fits => Ok((Some(true), words)),
        Outcome::Unknown => Ok((None, words)),
    }
}

/// A criterion that is not simply the same.
fn row(differs: &Differs) -> Said {
    let said = if differs.section.is_empty() {
        Said::message("fit-row")
    } else {
        Said::message("fit-row-section").with("section", differs.section.clone())
    };
    said.with("aspect", differs.aspect)
        .with("reason", differs.reason)
        .with("source", differs.source)
}
