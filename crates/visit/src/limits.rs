//! Which limit a take of a check is held against: a published rule or a marking where one
//! applies, else the bands that the sheet was compiled with.

use ohmtrail_circuit::bands::CheckBands;
use ohmtrail_circuit::sheet::{Part, PointId, Question};
use ohmtrail_core::class::Class;
use ohmtrail_core::reading::Function;
use ohmtrail_core::rules::capacitor::{REPLACE, Tolerance, marked_limits};
use ohmtrail_core::rules::supply::{self, Compressor, window};
use ohmtrail_core::rules::{control, current, insulation};
use ohmtrail_core::source::{Source, Status};
use ohmtrail_core::units::{Farads, Ratio};
use ohmtrail_core::verdict::{Bands, Limit};
use ohmtrail_trail::event::Asked;

use crate::book::Book;
use crate::prove::{CHARGE_KEYS, NUMBER_KEYS};
use crate::record::Record;

/// Where the bands of a check come from.
pub(crate) const HEALTHY: Source = Source::new(
    "what healthy units of this sheet show",
    Status::CommonPractice,
);
/// Limits that a sheet states.
const SHEET: Source = Source::new("limits that the sheet states", Status::CommonPractice);

/// What stands on plates that limits are taken from, by the keys that it is noted under; behind them, what a
/// charge rests on, and the numbers that a part is matched by.
pub const PLATE_KEYS: [&str; 16] = [
    RATED_VOLTS,
    CAPACITANCE,
    HERM,
    FAN,
    TOLERANCE,
    MCC,
    RLA,
    FLA,
    CHARGE_KEYS[0],
    CHARGE_KEYS[1],
    CHARGE_KEYS[2],
    CHARGE_KEYS[3],
    CHARGE_KEYS[4],
    NUMBER_KEYS[0],
    NUMBER_KEYS[1],
    NUMBER_KEYS[2],
];
const RATED_VOLTS: &str = "rated-volts";
const CAPACITANCE: &str = "capacitance";
const HERM: &str = "capacitance-herm";
const FAN: &str = "capacitance-fan";
const TOLERANCE: &str = "tolerance";
const MCC: &str = "mcc";
const RLA: &str = "rla";
const FLA: &str = "fla";

/// More farads than any run capacitor: a short to a capacitance meter.
const SHORTED_FARADS: f64 = 1e-3;

/// A check's bands, and the limit that its verdict names.
pub(crate) struct Held {
    pub bands: Bands,
    pub limit: Limit,
}

/// What a take of this check is held against; none for a look.
pub(crate) fn held(book: &Book<'_>, record: &Record, check: usize) -> Option<Held> {
    let bands = book.compiled.bands.get(check).copied().flatten()?;
    let Question::Measure {
        function,
        points,
        limits,
        ..
    } = &book.sheet.checks.get(check)?.question
    else {
        return None;
    };
    let by_bands = || Held {
        bands: bands.bands,
        limit: of_bands(&bands),
    };
    let of_rule = |limit: Limit| Held {
        bands: bands.bands,
        limit,
    };
    Some(match function {
        Function::VoltsAc => match limits {
            Some(limits) => of_rule(volts(record, *limits)),
            None => by_bands(),
        },
        Function::Farads => farads(book, record, *points).unwrap_or_else(by_bands),
        Function::Ohms if to_hermetic_shell(book, *points) => {
            of_rule(insulation::HERMETIC_GROUND.limit())
        }
        Function::AmpsAc => match amps(book, record, *points) {
            Some(limit) => of_rule(limit),
            None => by_bands(),
        },
        _ => by_bands(),
    })
}

/// What a healthy unit shows where this is asked; none for what is no check of the sheet.
#[must_use]
pub fn expected(book: &Book<'_>, record: &Record, asked: &Asked) -> Option<Limit> {
    if let Some(mended) = &record.mended
        && let Some(limit) = crate::prove::expected(book, record, mended, &asked.request)
    {
        return Some(limit);
    }
    let check = Record::check_of(book, &asked.request)?;
    held(book, record, check).map(|held| held.limit)
}

fn of_bands(bands: &CheckBands) -> Limit {
    let finite = |edge: f32| edge.is_finite().then_some(f64::from(edge));
    let [_, low, high, top] = bands.bands.edges;
    // Open when healthy: everything under the last edge is a path that should not be there.
    if low == high && high == top {
        return Limit::new(finite(top), None, HEALTHY);
    }
    Limit::new(finite(low), finite(high), HEALTHY)
}

/// Line volts against the plate's window, or the sheet's; control volts against the rule for a
/// loaded secondary where the sheet's limits are that rule's.
fn volts(record: &Record, (low, high): (f64, f64)) -> Limit {
    let same = |limit: Limit| limit.lower == Some(low) && limit.upper == Some(high);
    let loaded = control::LOADED.limit();
    if same(loaded) {
        return loaded;
    }
    if high > 60.0
        && let Some(plate) = record.plate("unit", RATED_VOLTS)
    {
        if let Some(window) = window(&plate.value) {
            return window.operate.limit();
        }
        if let Ok(rated) = plate.value.trim().parse::<f64>()
            && rated > 0.0
        {
            return supply::GENERIC.limit_of(rated);
        }
    }
    [Compressor::WeldedSinglePhase, Compressor::ThreePhase]
        .map(|compressor| compressor.window().limit())
        .into_iter()
        .find(|window| same(*window))
        .unwrap_or(Limit::new(Some(low), Some(high), SHEET))
}

/// The part that a point belongs to and the name of its terminal; for a wire's end, of the
/// terminal at that end.
fn terminal<'b>(book: &'b Book<'_>, point: PointId) -> Option<(&'b Part, &'static str)> {
    let at = match book.sheet.wire_of_end(point) {
        Some(wire) => {
            *wire
                .terminals
                .iter()
                .zip(wire.ends)
                .find(|(_, end)| *end == point)?
                .0
        }
        None => point,
    };
    book.sheet.parts.iter().find_map(|part| {
        let terminal = part.kind.terminals.get(at.checked_sub(part.first_point)?)?;
        Some((part, terminal.name))
    })
}

pub(crate) fn value(part: &Part, key: &str) -> Option<f64> {
    let at = part.kind.params.iter().position(|p| p.name == key)?;
    part.values.get(at).copied()
}

/// A number with a unit off a plate, in the base unit.
pub(crate) fn plate_number(record: &Record, part: &str, key: &str) -> Option<f64> {
    let entry = record.plate(part, key)?;
    let number: f64 = entry.value.trim().trim_start_matches('±').parse().ok()?;
    let factor = match entry.unit.as_str() {
        "uF" => 1e-6,
        "nF" => 1e-9,
        "%" => 0.01,
        "mA" => 1e-3,
        _ => 1.0,
    };
    Some(number * factor)
}

/// The marking of a section of a run capacitor, as farads.
pub(crate) fn section(book: &Book<'_>, record: &Record, points: [PointId; 2]) -> Option<Limit> {
    farads(book, record, points).map(|held| held.limit)
}

/// A section of a run capacitor against its marking: what was read off the can, else what the
/// sheet says is on it.
fn farads(book: &Book<'_>, record: &Record, points: [PointId; 2]) -> Option<Held> {
    let (part, section) = points
        .iter()
        .filter_map(|p| terminal(book, *p))
        .find(|(_, name)| *name != "C")?;
    let section = section.to_ascii_lowercase();
    // A can with one section has its marking by itself.
    let single = value(part, "marked");
    let key = match (single, section.as_str()) {
        (Some(_), _) => CAPACITANCE,
        (None, "fan") => FAN,
        (None, _) => HERM,
    };
    let read = plate_number(record, &part.name, key);
    let marked = read.or(single).or_else(|| value(part, &section))?;
    let tolerance = plate_number(record, &part.name, TOLERANCE).or_else(|| match read {
        // The can was read, and no tolerance on it.
        Some(_) => None,
        None => value(part, "tolerance"),
    });
    let limit = match tolerance {
        Some(share) => marked_limits(Farads(marked), Tolerance::symmetric(Ratio(share))).ok()?,
        None => REPLACE.limit_of(marked),
    };
    Some(Held {
        bands: limit
            .bands()
            .with_bottom(Class::Absent, 0.1 * limit.low())
            .with_top(Class::Short, SHORTED_FARADS),
        limit,
    })
}

fn to_hermetic_shell(book: &Book<'_>, points: [PointId; 2]) -> bool {
    let parts: Vec<_> = points
        .iter()
        .filter_map(|p| far_terminal(book, *p))
        .collect();
    let shell = parts.iter().any(|(_, bonded)| *bonded);
    shell && parts.iter().all(|(name, _)| name.ends_with("compressor"))
}

/// The kind that a point leads to, along its wire, and whether the terminal is bonded to ground.
fn far_terminal(book: &Book<'_>, point: PointId) -> Option<(&'static str, bool)> {
    let candidates = match book.sheet.wire_of_end(point) {
        Some(wire) => wire.terminals.to_vec(),
        None => vec![point],
    };
    let mut found = candidates.iter().filter_map(|at| {
        book.sheet.parts.iter().find_map(|part| {
            let terminal = part.kind.terminals.get(at.checked_sub(part.first_point)?)?;
            Some((part.kind.name, terminal.bonded))
        })
    });
    let all: Vec<_> = found.by_ref().collect();
    all.iter()
        .find(|(name, _)| name.ends_with("compressor"))
        .or(all.first())
        .copied()
}

/// Amps against what was read off the plate of the motor that the wire leads to.
fn amps(book: &Book<'_>, record: &Record, points: [PointId; 2]) -> Option<Limit> {
    let wire = book.sheet.wire_of_end(points[0])?;
    let part = wire.terminals.iter().find_map(|t| {
        book.sheet.parts.iter().find(|p| {
            let own = p.first_point..p.first_point + p.kind.terminals.len();
            own.contains(t) && p.kind.faults.iter().any(|f| f.name == "seized")
        })
    })?;
    let of = |key, rule: ohmtrail_core::rules::Rule| {
        plate_number(record, &part.name, key).map(|amps| rule.limit_of(amps))
    };
    of(MCC, current::MCC)
        .or_else(|| of(RLA, current::RLA))
        .or_else(|| of(FLA, current::FLA))
}
