//! What a repair sets out from, by the trail of the visit that found what failed.

use ohmtrail_circuit::sheet::Sheet;
use ohmtrail_trail::event::{LineKind, Off, Repair};
use ohmtrail_trail::rfc3339;

use super::fit::by_itself;
use crate::book::Book;
use crate::record::Record;
use crate::words::displayed;

/// Why a visit has nothing to repair.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NoRepair {
    /// It goes on.
    #[error("that visit goes on: end it first, then begin the repair")]
    GoesOn,
    /// It is of another sheet.
    #[error(
        "that visit was of the sheet \"{earlier}\", this one is of \"{now}\": name its own sheet"
    )]
    OtherSheet {
        /// Its sheet.
        earlier: String,
        /// This one.
        now: String,
    },
    /// It found nothing.
    #[error("that visit names no failed part: there is nothing to replace")]
    NothingFound,
    /// The repair was declined.
    #[error("the repair was declined by {0}: have it approved first")]
    Declined(String),
    /// A repair, and no visit that found something.
    #[error("that trail is of a repair: name the trail of the visit that found what failed")]
    IsARepair,
}

/// The repair that follows a visit: its failed parts, unless others are named in `parts`, by its
/// record and the head hash of its trail.
///
/// # Errors
/// [`NoRepair`].
pub fn repair(
    book: &Book<'_>,
    record: &Record,
    head: [u8; 32],
    parts: &[String],
) -> Result<Repair, NoRepair> {
    if let Some(opened) = &record.opened
        && opened.sheet_hash != book.sheet.hash
    {
        return Err(NoRepair::OtherSheet {
            earlier: opened.sheet.clone(),
            now: book.sheet.name.clone(),
        });
    }
    if record.mended.is_some() {
        return Err(NoRepair::IsARepair);
    }
    if !record.closed {
        return Err(NoRepair::GoesOn);
    }
    let faults = record.finding.as_ref().map(|f| f.faults.clone());
    let faults = faults.unwrap_or_default();
    let mut fitted: Vec<String> = parts.to_vec();
    if fitted.is_empty() {
        for name in faults.iter().filter_map(|f| owner(book.sheet, f)) {
            if !fitted.contains(&name) {
                fitted.push(name);
            }
        }
    }
    if fitted.is_empty() {
        return Err(NoRepair::NothingFound);
    }
    let decided = record.decisions.last().map(|(decision, _)| decision);
    if let Some(decision) = decided.filter(|d| d.option.is_none()) {
        return Err(NoRepair::Declined(decision.by.clone()));
    }
    let option = decided.and_then(|d| d.option.clone());
    let quoted = record.quote.iter().flat_map(|q| &q.options);
    let quoted = quoted.filter(|o| Some(&o.name) == option.as_ref());
    let quoted = quoted.flat_map(|o| &o.lines);
    let quoted = quoted.filter(|l| l.kind == LineKind::Part);
    let wires = record.wires.iter().enumerate().filter(|(at, wire)| {
        let later = &record.wires[at + 1..];
        !later.iter().any(|w| w.end == wire.end)
    });
    let day = record.opened_at.and_then(|at| rfc3339(at.wall_us));
    Ok(Repair {
        trail: head,
        day: day
            .and_then(|d| d.split('T').next().map(str::to_owned))
            .unwrap_or_default(),
        quoted: quoted.map(|l| l.what.clone()).collect(),
        before: before(book, record, &fitted),
        faults,
        parts: fitted,
        option,
        plates: record.plates.clone(),
        wires: wires
            .map(|(_, wire)| Off {
                end: wire.end.clone(),
                from: wire.from.clone(),
                mark: wire.mark.clone(),
                photo: wire.photo,
                back_on: wire.back_on.clone(),
                checked: wire.checked,
            })
            .collect(),
    })
}

/// The part that a fault is of; of a wire that is a part's own lead, that part; else the wire.
fn owner(sheet: &Sheet, fault: &str) -> Option<String> {
    let fault = &sheet.faults[sheet.fault(fault)?];
    let Some(wire) = fault.owner.checked_sub(sheet.parts.len()) else {
        return Some(sheet.parts[fault.owner].name.clone());
    };
    let wire = sheet.wires.get(wire)?;
    Some(match wire.lead_of {
        Some(part) => sheet.parts[part].name.clone(),
        None => wire.name.clone(),
    })
}

/// What was read at these parts by themselves then.
fn before(book: &Book<'_>, record: &Record, parts: &[String]) -> Vec<String> {
    let sheet = book.sheet;
    let named = parts.iter();
    let parts: Vec<usize> = named
        .filter_map(|name| sheet.parts.iter().position(|p| p.name == *name))
        .collect();
    let checks = 0..book.checks();
    let own = checks.filter(|c| parts.iter().any(|p| by_itself(book, *c, *p)));
    let takes = own.filter_map(|c| record.latest(c));
    let each = takes.map(|t| {
        let [a, b] = &t.take.points;
        format!("{a} – {b}: {}", displayed(t.take.function, t.take.shown))
    });
    each.collect()
}
