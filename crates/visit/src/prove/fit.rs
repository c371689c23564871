//! What is fitted, and whether it matches: by the rules of the search of a stock.

use ohmtrail_circuit::sheet::{PointId, Question};
use ohmtrail_core::fit::Outcome;
use ohmtrail_stock::{Differs, Failed, Kind, PlateValue, WrongPlate, failed, held, kind_of};
use ohmtrail_trail::event::{Fitted, PlateEntry, Stamped};
use ohmtrail_words::Said;

use super::mended::Mended;
use crate::book::Book;
use crate::record::Record;
use crate::refusal::Refusal;

/// The keys of a plate that are of other rules than those of a match.
const NOT_OF_A_MATCH: [&str; 5] = ["mcc", "rla", "lra", "curve-amps", "curve-tolerance"];

/// The maker's number of a new part, the numbers that its maker names it in the place of, and the number of the
/// one that failed where the visit before did not read it.
pub(crate) const NUMBER_KEYS: [&str; 3] = [NUMBER, "replaces", NUMBER_BEFORE];
const NUMBER: &str = "number";
const NUMBER_BEFORE: &str = "number-before";

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

/// The part that failed.
fn wanted(
    book: &Book<'_>,
    record: &Record,
    mended: &Mended,
    at: usize,
) -> Option<Result<Failed, WrongPlate>> {
    let name = &book.sheet.parts[at].name;
    let other = record.plates.iter().filter(|p| p.part != *name);
    let plates = mended.repair.plates.iter().chain(other);
    let plates = plates
        .filter(|p| p.part != *name || !NOT_OF_A_MATCH.contains(&p.key.as_str()) || p.key == "rla");
    let mut plates: Vec<PlateValue> = plates.map(value_of).collect();
    if !plates.iter().any(|p| p.part == *name && p.key == NUMBER)
        && let Some(read) = record.plate(name, NUMBER_BEFORE)
    {
        plates.push(PlateValue {
            key: NUMBER.to_owned(),
            ..value_of(read)
        });
    }
    let hertz = record.plate("unit", "hertz");
    let hertz = hertz.map(|p| format!("{} {}", p.value, p.unit));
    let all = failed(book.sheet, &[at], &plates, hertz.as_deref());
    all.into_iter().next()
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

/// Whether a part is matched by its maker's number.
pub(crate) fn by_number(book: &Book<'_>, part: usize) -> bool {
    kind_of(&book.sheet.parts[part]) == Kind::Numbered
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
        Some(Ok(failed)) => failed,
        Some(Err(why)) => return Err(Refusal::Match(Said::phrase(why.to_string()))),
        None => return Ok((None, Said::default())),
    };
    // Of a part that is told by its number, nothing else on its plate is compared.
    let is_numbered = by_number(book, at);
    let compared = |key: &str| match is_numbered {
        true => NUMBER_KEYS[..2].contains(&key),
        false => !NOT_OF_A_MATCH.contains(&key) && key != NUMBER_BEFORE,
    };
    let plates = own().filter(|p| compared(&p.key)).map(value_of);
    let plates: Vec<PlateValue> = plates.collect();
    if plates.is_empty() && !is_numbered {
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
