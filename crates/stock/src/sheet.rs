//! A failed part of a unit, from its sheet and from what was read off plates.

use std::collections::BTreeSet;

use ohmtrail_circuit::sheet::{Part as SheetPart, Sheet};
use ohmtrail_core::fit::Duty;
use ohmtrail_core::fit::contactor::Load;
use ohmtrail_core::units::Amps;
use serde::Serialize;

use crate::offer::Wanted;
use crate::part::{Can, FIELDS, Kind, Part, Wrong, no_field};
use crate::value;

/// A value that was read off a plate.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlateValue {
    /// The part.
    pub part: String,
    /// The field, or one of the names that visits use: `capacitance`, `capacitance-herm`, `fla`…
    pub key: String,
    /// The value with its unit.
    pub text: String,
}

/// A failed part.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Failed {
    /// Its name in the sheet; two with a plus for a pair.
    pub part: String,
    /// What it is, in words.
    pub words: String,
    /// What is looked for.
    pub wanted: Wanted,
    /// Where the values come from, and what was counted as the load.
    pub from: Vec<String>,
}

/// A plate's value is not understood.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("plate of {part}, {wrong}")]
pub struct WrongPlate {
    /// The part.
    pub part: String,
    /// What is wrong.
    pub wrong: Wrong,
}

/// Which kind a sheet's part is.
#[must_use]
pub fn kind_of(part: &SheetPart) -> Kind {
    match part.kind.name {
        "run-capacitor" | "dual-run-capacitor" | "start-capacitor" => Kind::Capacitor,
        "contactor-1p" | "contactor-2p" | "contactor-3p" => Kind::Contactor,
        "transformer" => Kind::Transformer,
        "psc-fan-motor" | "three-phase-motor" => Kind::Motor,
        "potential-relay" => Kind::Relay,
        _ => Kind::Numbered,
    }
}

/// The field that a visit's name of a plate's value stands for.
pub(crate) fn field_of(key: &str) -> &str {
    match key {
        "capacitance" => "farads",
        "capacitance-herm" => "herm",
        "capacitance-fan" => "fan",
        "rated-volts" => "volts",
        "fla" | "rla" => "full-load",
        "lra" => "locked-rotor",
        key => key,
    }
}

/// A value of a sheet as text, in the unit that such a value is read in.
fn of_sheet(part: &SheetPart, name: &str, scale: f64, unit: &str) -> Option<String> {
    let at = part.kind.params.iter().position(|p| p.name == name)?;
    let value = part.values.get(at)?;
    // What rounding adds is far below what anyone marks.
    Some(format!("{} {unit}", (value * scale * 1e6).round() / 1e6))
}

/// What a sheet says of a field of a part.
fn sheet_field(part: &SheetPart, field: &str) -> Option<String> {
    let fixed = |text: &str| Some(text.to_owned());
    match (part.kind.name, field) {
        ("run-capacitor" | "start-capacitor", "farads") => of_sheet(part, "marked", 1e6, "uF"),
        ("dual-run-capacitor", "herm" | "fan") => of_sheet(part, field, 1e6, "uF"),
        ("run-capacitor" | "dual-run-capacitor" | "start-capacitor", "tolerance") => {
            of_sheet(part, "tolerance", 1e2, "%")
        }
        ("run-capacitor" | "dual-run-capacitor" | "start-capacitor", "volts") => {
            of_sheet(part, "rated", 1.0, "V")
        }
        ("run-capacitor" | "dual-run-capacitor", "duty") => fixed("run"),
        ("start-capacitor", "duty") => fixed("start"),
        ("contactor-1p", "poles") => fixed("1"),
        ("contactor-2p", "poles") => fixed("2"),
        ("contactor-3p", "poles") => fixed("3"),
        ("transformer", "primary") => of_sheet(part, "primary-volts", 1.0, "V"),
        ("psc-fan-motor", "phases") => fixed("1"),
        ("three-phase-motor", "phases") => fixed("3"),
        ("three-phase-motor", "volts") => of_sheet(part, "rated-volts", 1.0, "V"),
        ("psc-fan-motor" | "three-phase-motor", "full-load") => {
            of_sheet(part, "rated-amps", 1.0, "A")
        }
        _ => None,
    }
}

/// The failed parts of a finding, each with what is looked for; of two single run capacitors also
/// the pair.
///
/// `mains` is the frequency that the unit works at, for parts whose plate does not say.
#[must_use]
pub fn failed(
    sheet: &Sheet,
    parts: &[usize],
    plates: &[PlateValue],
    mains: Option<&str>,
) -> Vec<Result<Failed, WrongPlate>> {
    let named: BTreeSet<usize> = parts.iter().copied().collect();
    let mut all: Vec<Result<Failed, WrongPlate>> = named
        .iter()
        .filter_map(|&at| Some((at, sheet.parts.get(at)?)))
        .map(|(at, part)| one(sheet, at, part, plates, mains))
        .collect();
    if let Some(pair) = pair(sheet, &all) {
        all.push(Ok(pair));
    }
    all
}

fn one(
    sheet: &Sheet,
    at: usize,
    part: &SheetPart,
    plates: &[PlateValue],
    mains: Option<&str>,
) -> Result<Failed, WrongPlate> {
    let kind = kind_of(part);
    // Whatever else stands on the plate of a part that is told by its number, nothing of it is compared.
    let asked = |field: &str| {
        let mut own = FIELDS.iter().filter(|f| f.of.contains(&kind));
        kind != Kind::Numbered || own.any(|f| f.name == field)
    };
    let of = |field: &str| {
        if !asked(field) {
            return None;
        }
        let read = plates
            .iter()
            .rev()
            .find(|p| p.part == part.name && field_of(&p.key) == field);
        let hertz = || mains.filter(|_| field == "hertz").map(str::to_owned);
        read.map(|p| p.text.clone())
            .or_else(|| sheet_field(part, field))
            .or_else(hertz)
    };
    let say = |wrong: Wrong| WrongPlate {
        part: part.name.clone(),
        wrong,
    };
    let own = || plates.iter().filter(|p| p.part == part.name);
    // A value that no rule reads was misspelt, or is about something else: it is said, not lost.
    let mut from: Vec<String> = own()
        .filter(|p| {
            !FIELDS
                .iter()
                .any(|f| f.name == field_of(&p.key) && f.of.contains(&kind))
        })
        .map(|p| {
            format!(
                "plate: {} {} is not used: {}",
                p.key,
                p.text,
                no_field(kind, &p.key)
            )
        })
        .collect();
    let read = Part::read(kind, &of).map_err(|mut wrong| say(wrong.remove(0)))?;
    for field in FIELDS.iter().filter(|f| f.of.contains(&kind)) {
        let Some(text) = of(field.name) else { continue };
        let whence = if own().any(|p| field_of(&p.key) == field.name) {
            "plate"
        } else if sheet_field(part, field.name).is_some() {
            "sheet"
        } else {
            "given"
        };
        from.push(format!("{}: {} {text}", whence, field.name));
    }
    let mut wanted = Wanted::of(read);
    if let Wanted::Contactor(_, load) = &mut wanted {
        *load = load_of(sheet, at, plates, &mut from).map_err(say)?;
    }
    Ok(Failed {
        part: part.name.clone(),
        words: part.words.clone(),
        wanted,
        from,
    })
}

/// Terminals that wires join with those of a part; `through` names the kinds whose terminals all
/// count as joined.
fn joined(
    sheet: &Sheet,
    part: usize,
    begins: impl Fn(&str) -> bool,
    through: &[&str],
) -> BTreeSet<usize> {
    let owner = |point: usize| {
        sheet
            .parts
            .iter()
            .position(|p| (p.first_point..p.first_point + p.kind.terminals.len()).contains(&point))
    };
    let this = &sheet.parts[part];
    let mut open: Vec<usize> = (0..this.kind.terminals.len())
        .filter(|&t| begins(this.kind.terminals[t].name))
        .map(|t| this.first_point + t)
        .collect();
    let mut seen: BTreeSet<usize> = open.iter().copied().collect();
    while let Some(point) = open.pop() {
        let mut next: Vec<usize> = Vec::new();
        for wire in &sheet.wires {
            match wire.terminals {
                [a, b] if a == point => next.push(b),
                [a, b] if b == point => next.push(a),
                _ => {}
            }
        }
        if let Some(other) = owner(point).filter(|&o| o != part) {
            let part = &sheet.parts[other];
            if through.contains(&part.kind.name) {
                next.extend(part.first_point..part.first_point + part.kind.terminals.len());
            }
        }
        for point in next {
            if owner(point) != Some(part) && seen.insert(point) {
                open.push(point);
            }
        }
    }
    seen
}

/// What a contactor switches: every motor and heater that wires, contacts and overloads join with
/// its load side. More than there is asks for more, never for less.
fn load_of(
    sheet: &Sheet,
    at: usize,
    plates: &[PlateValue],
    from: &mut Vec<String>,
) -> Result<Load, Wrong> {
    let contacts = ["overload-relay", "defrost-relay", "relay"];
    let points = joined(sheet, at, |terminal| terminal.starts_with('T'), &contacts);
    let mut load = Load::default();
    let mut full = 0.0;
    let mut known = true;
    for part in &sheet.parts {
        let mut own = part.first_point..part.first_point + part.kind.terminals.len();
        let hermetic = matches!(part.kind.name, "psc-compressor" | "three-phase-compressor");
        let motor = hermetic || matches!(part.kind.name, "psc-fan-motor" | "three-phase-motor");
        if !motor || !own.any(|point| points.contains(&point)) {
            continue;
        }
        load.hermetic |= hermetic;
        let read = |field: &str| {
            let mut read = plates.iter().rev();
            let read = read.find(|p| p.part == part.name && field_of(&p.key) == field);
            read.map(|p| p.text.clone())
        };
        let amps = |field: &str, text: &str| {
            let unit = ohmtrail_circuit::parts::Unit::Ampere;
            value::quantity(text, unit).map_err(|what| Wrong {
                field: format!("{field} of {}", part.name),
                what,
            })
        };
        let text = read("full-load").or_else(|| of_sheet(part, "rated-amps", 1.0, "A"));
        match text {
            Some(text) => {
                full += amps("full-load", &text)?;
                from.push(format!("load: {} {text}", part.name));
            }
            None => {
                known = false;
                from.push(format!("load: {}, amps not known", part.name));
            }
        }
        if let Some(text) = read("locked-rotor") {
            let locked = amps("locked-rotor", &text)?;
            let before = load.locked_rotor.map_or(0.0, Amps::get);
            load.locked_rotor = Some(Amps(before.max(locked)));
            from.push(format!("load: {} locked rotor {text}", part.name));
        }
    }
    load.full_load = (known && full > 0.0).then_some(Amps(full));
    Ok(load)
}

/// Two single run capacitors that failed together: one dual can may stand for both.
fn pair(sheet: &Sheet, all: &[Result<Failed, WrongPlate>]) -> Option<Failed> {
    let singles: Vec<(&Failed, _)> = all
        .iter()
        .filter_map(|f| f.as_ref().ok())
        .filter_map(|f| match &f.wanted {
            Wanted::Capacitor(Can::One(c)) if c.duty == Some(Duty::Continuous) => Some((f, *c)),
            _ => None,
        })
        .collect();
    let [(a, first), (b, second)] = singles.as_slice() else {
        return None;
    };
    let net = |failed: &Failed| {
        let at = sheet.parts.iter().position(|p| p.name == failed.part)?;
        Some(joined(sheet, at, |_| true, &[]))
    };
    let common = !net(a)?.is_disjoint(&net(b)?);
    Some(Failed {
        part: format!("{} + {}", a.part, b.part),
        words: "both capacitors, in one can or in two".to_owned(),
        wanted: Wanted::Pair {
            sections: [(a.part.clone(), *first), (b.part.clone(), *second)],
            common: Some(common),
        },
        from: Vec::new(),
    })
}
