//! Reads what can be asked of a unit: lifted sets, looks, checks, what faults bring about and
//! hide, complaints, and what must read dead.

use std::ops::Range;

use ohmtrail_core::gates::limits::DEAD;
use ohmtrail_core::reading::Function;
use toml::de::DeValue;

use super::near::did_you_mean;
use super::read::Reader;
use super::toml::Keys;
use crate::cable::Cable;
use crate::meter::LOW_IMPEDANCE_OHMS;
use crate::operate::Unit;
use crate::unit::{Circuit, Drawn};

use super::{
    Caused, Check, Complaint, DeadPlan, Heat, Lift, Masked, PointId, Question, Sheet, quantity,
};
use crate::parts::{self, Sight};

/// The longest cable, metres: longer ones are not of one unit.
const LONGEST_METRES: f64 = 500.0;

/// Minutes of a look (common practice, no published source).
const LOOK_MINUTES: f64 = 0.5;

impl Reader {
    pub(super) fn lift(&mut self, name: String, keys: &Keys<'_, '_>) {
        let mut ends = Vec::new();
        for (end, span) in keys.left("ends") {
            let Some(id) = self.point(keys, end, span.clone()) else {
                continue;
            };
            if !self.wires.iter().any(|w| w.ends.contains(&id)) {
                keys.text.problem(
                    span,
                    format!("\"{end}\" is a terminal, not a wire's end"),
                    "name the wire end that is lifted off it, such as \"wire-name.1\"",
                );
            }
            ends.push(id);
        }
        let minutes = keys.number("minutes").unwrap_or(2.0);
        keys.finish();
        self.places.lifts.push(keys.place());
        self.lifts.push(Lift {
            name,
            ends,
            minutes,
        });
    }

    pub(super) fn looks(&mut self) {
        for (part, p) in self.parts.iter().enumerate() {
            for look in p.kind.looks {
                let place = self.places.parts.get(part).cloned();
                self.places.checks.push(place.unwrap_or_default());
                self.checks.push(Check {
                    question: Question::Look { part, look },
                    power: look.power,
                    lift: None,
                    heat: (look.sight == Sight::Hot || look.power == Some(true))
                        .then_some(Heat::AsFound),
                    proves: Vec::new(),
                    minutes: LOOK_MINUTES,
                    why: format!("{}: {}", p.words, look.words),
                });
            }
        }
    }

    pub(super) fn check(&mut self, keys: &Keys<'_, '_>) {
        let function = keys.need("measure").and_then(|(name, span)| {
            let found = Function::by_name(name);
            if found.is_none() {
                let known: Vec<&str> = Function::ALL.iter().map(|f| f.name()).collect();
                keys.text.problem(
                    span,
                    format!("\"{name}\" is not something a meter measures"),
                    format!("known are {}", known.join(", ")),
                );
            }
            found
        });
        let points: Vec<PointId> = keys
            .strings("points")
            .into_iter()
            .filter_map(|(name, span)| self.point(keys, name, span))
            .collect();
        let power = match keys.need("power") {
            Some(("on", _)) => Some(true),
            Some(("off", _)) => Some(false),
            Some((other, span)) => {
                keys.text.problem(
                    span,
                    format!("`power = \"{other}\"` is not a state of the unit"),
                    "write \"on\" or \"off\"",
                );
                None
            }
            None => None,
        };
        let lift = keys.string("lift").and_then(|(name, span)| {
            let found = self.lifts.iter().position(|l| l.name == name);
            if found.is_none() {
                keys.text.problem(
                    span,
                    format!("there is no lifted set \"{name}\""),
                    format!(
                        "{}add a [[lift]] of that name, or correct it",
                        did_you_mean(name, self.lifts.iter().map(|l| l.name.as_str()))
                    ),
                );
            }
            found
        });
        let heats: &[Option<Heat>] = match keys.string("motors") {
            None => &[None],
            Some(("as-found", _)) => &[Some(Heat::AsFound)],
            Some(("cold", _)) => &[Some(Heat::Cold)],
            Some(("both", _)) => &[Some(Heat::AsFound), Some(Heat::Cold)],
            Some((other, span)) => {
                keys.text.problem(
                    span,
                    format!("`motors = \"{other}\"` is not a heat of the motors"),
                    "write \"as-found\", \"cold\" or \"both\"",
                );
                &[]
            }
        };
        let minutes = keys.number("minutes").unwrap_or(1.0);
        let low_impedance = keys.boolean("low-impedance").unwrap_or(false);
        let why = keys.need("why").map_or("", |w| w.0).to_owned();
        let limits = keys.strings("within");
        let proves: Vec<usize> = keys
            .left("proves")
            .into_iter()
            .filter_map(|(n, s)| self.fault(keys, n, s))
            .collect();
        keys.finish();
        let (Some(function), &[a, b]) = (function, points.as_slice()) else {
            // Of points that are named and not there, something was said already.
            if function.is_some() && keys.strings("points").len() < 2 {
                keys.text.problem(
                    keys.span.clone(),
                    "a check needs two points",
                    "write `points = [\"part.terminal\", \"part.terminal\"]`",
                );
            }
            return;
        };
        if power == Some(true) && function.injects() {
            keys.text.problem(
                keys.span.clone(),
                format!("{} on a live circuit", function.name()),
                "write `power = \"off\"`: this function drives its own current",
            );
        }
        if low_impedance && (function != Function::VoltsAc || power != Some(true)) {
            keys.text.problem(
                keys.span.clone(),
                "`low-impedance` is for alternating volts under power",
                "leave it out here",
            );
        }
        if function == Function::AmpsAc && self.wires.iter().all(|w| w.ends != [a, b]) {
            keys.text.problem(
                keys.span.clone(),
                "amperes are read with a clamp around a wire",
                "give both ends of one wire: points = [\"wire.1\", \"wire.2\"]",
            );
        }
        let limits = match limits.as_slice() {
            [] => None,
            [(low, low_span), (high, high_span)] => {
                let unit = match function.ucum() {
                    "V" => parts::Unit::Volt,
                    "F" => parts::Unit::Farad,
                    "A" => parts::Unit::Ampere,
                    _ => parts::Unit::Ohm,
                };
                let read = |text: &str, span: &Range<usize>| {
                    quantity::read(text, unit)
                        .map_err(|why| keys.text.problem(span.clone(), why, "correct this limit"))
                        .ok()
                };
                let limits = read(low, low_span).zip(read(high, high_span));
                if limits.is_some_and(|(low, high)| low >= high) {
                    keys.text.problem(
                        keys.span.clone(),
                        "the lower limit of `within` is not under the upper one",
                        "write the lower limit first",
                    );
                }
                limits
            }
            _ => {
                keys.text.problem(
                    keys.span.clone(),
                    "`within` needs a lower and an upper limit",
                    "write `within = [\"216 V\", \"252 V\"]`",
                );
                None
            }
        };
        for &heat in heats {
            let check = Check {
                question: Question::Measure {
                    function,
                    points: [a, b],
                    limits,
                    low_impedance: false,
                },
                power,
                lift,
                heat,
                proves: proves.clone(),
                minutes,
                why: why.clone(),
            };
            if low_impedance {
                self.low_impedance.push((keys.place(), check.clone()));
            }
            self.places.checks.push(keys.place());
            self.checks.push(check);
        }
    }

    /// Adds the checks that can be made in the meter's low-impedance mode too. They come after all
    /// others, so that a probe box, whose inputs have one resistance, numbers the rest as we do.
    pub(super) fn low_impedance(&mut self) {
        for (place, mut check) in std::mem::take(&mut self.low_impedance) {
            if let Question::Measure { low_impedance, .. } = &mut check.question {
                *low_impedance = true;
            }
            check.why = format!(
                "{}; in the meter's low-impedance mode, where the volts of a floating conductor beside \
                 a live one fall to next to nothing",
                check.why
            );
            self.places.checks.push(place);
            self.checks.push(check);
        }
    }

    /// Wires that run side by side.
    pub(super) fn cable(&self, name: String, keys: &Keys<'_, '_>) -> Option<Cable> {
        let named = keys.left("wires");
        let mut wires = Vec::new();
        for (wire, span) in &named {
            match self.wires.iter().position(|w| w.name == *wire) {
                Some(found) => wires.push(found),
                None if self.is_broken(wire) => {}
                None => keys.text.problem(
                    span.clone(),
                    format!("\"{wire}\" is not a wire of this sheet"),
                    format!(
                        "{}name the wires that run side by side",
                        did_you_mean(wire, self.wires.iter().map(|w| w.name.as_str()))
                    ),
                ),
            }
        }
        let metres = keys.need("length").and_then(|(text, span)| {
            let metres = quantity::read(text, parts::Unit::Metre).and_then(|m| {
                let fits = m > 0.0 && m <= LONGEST_METRES;
                fits.then_some(m)
                    .ok_or_else(|| format!("a length is above 0 m and at most {LONGEST_METRES} m"))
            });
            metres
                .map_err(|why| keys.text.problem(span, why, "correct `length`"))
                .ok()
        });
        keys.finish();
        if keys.strings("wires").is_empty() {
            keys.text.problem(
                keys.span.clone(),
                format!("the cable \"{name}\" has no wires"),
                "name them: wires = [\"first\", \"second\"]",
            );
        }
        Some(Cable {
            name,
            wires,
            metres: metres?,
        })
    }

    fn fault(&self, keys: &Keys<'_, '_>, name: &str, span: Range<usize>) -> Option<usize> {
        let found = self.faults.iter().position(|f| f.name == name);
        if found.is_none() && !self.is_broken(name) {
            keys.text.problem(
                span,
                format!("\"{name}\" is not a fault of this sheet"),
                format!(
                    "{}list them with `ohmtrail sheet faults`",
                    did_you_mean(name, self.faults.iter().map(|f| f.name.as_str()))
                ),
            );
        }
        found
    }

    pub(super) fn masked(&self, keys: &Keys<'_, '_>, masked: &mut Vec<Masked>) {
        let faults = |key| -> Vec<usize> {
            keys.left(key)
                .into_iter()
                .filter_map(|(n, s)| self.fault(keys, n, s))
                .collect()
        };
        let (by, hidden) = (faults("by"), faults("faults"));
        keys.finish();
        for &by in &by {
            masked.extend(hidden.iter().map(|&fault| Masked { by, fault }));
        }
    }

    pub(super) fn caused(&self, keys: &Keys<'_, '_>, caused: &mut Vec<Caused>) {
        let p = keys.number("p");
        let to = keys
            .need("fault")
            .filter(|(n, _)| !keys.text.is_removed(n))
            .and_then(|(n, s)| self.fault(keys, n, s));
        let by: Vec<usize> = keys
            .left("by")
            .into_iter()
            .filter_map(|(n, s)| self.fault(keys, n, s))
            .collect();
        keys.finish();
        let (Some(fault), Some(p)) = (to, p) else {
            return;
        };
        if !(p > 0.0 && p < 1.0) {
            keys.text.problem(
                keys.span.clone(),
                "`p` is not a probability",
                "give a number between 0 and 1",
            );
        }
        caused.extend(by.into_iter().map(|by| Caused { by, fault, p }));
    }

    pub(super) fn complaint(&self, name: String, keys: &Keys<'_, '_>) -> Complaint {
        let words = keys.need("words").map_or("", |w| w.0).to_owned();
        let mut says = Vec::new();
        if let Some(looks) = keys.table("says") {
            for (look, span, value) in looks.all() {
                let check = self.checks.iter().position(|c| match &c.question {
                    Question::Look { part, look: l } => {
                        format!("{}.{}", self.parts[*part].name, l.name) == look
                    }
                    Question::Measure { .. } => false,
                });
                match (check, value.get_ref()) {
                    (Some(check), DeValue::Boolean(yes)) => says.push((check, *yes)),
                    (None, _) if keys.text.is_removed(look) => {}
                    (None, _) => keys.text.problem(
                        span,
                        format!("\"{look}\" is nothing that is looked at on this sheet"),
                        "list them with `ohmtrail sheet looks`",
                    ),
                    (Some(_), _) => {
                        keys.text
                            .problem(value.span(), "not yes or no", "write true or false");
                    }
                }
            }
        }
        keys.finish();
        Complaint { name, words, says }
    }

    pub(super) fn dead(&self, keys: &Keys<'_, '_>) -> DeadPlan {
        let points = |keys: &Keys<'_, '_>, key| -> Vec<PointId> {
            keys.strings(key)
                .into_iter()
                .filter_map(|(n, s)| self.point(keys, n, s))
                .collect()
        };
        let line = points(keys, "line");
        let load: Vec<Vec<PointId>> = keys
            .lists("load")
            .into_iter()
            .map(|side| {
                let known = side.into_iter().filter_map(|(n, s)| self.point(keys, n, s));
                known.collect()
            })
            .collect();
        let ground = keys
            .need("ground")
            .and_then(|(n, s)| self.point(keys, n, s))
            .unwrap_or_default();
        let others = keys
            .tables("other")
            .iter()
            .map(|other| {
                let list = points(other, "points");
                other.finish();
                list
            })
            .collect();
        keys.finish();
        if line.is_empty() || load.iter().all(Vec::is_empty) {
            keys.text.problem(
                keys.span.clone(),
                "`line` and `load` need points",
                "name every pole on both sides: an open contactor makes its load side dead by itself",
            );
        }
        let mut capacitors = Vec::new();
        for part in &self.parts {
            let charged = part.kind.charged().into_iter();
            capacitors.extend(charged.map(|pair| pair.map(|t| part.first_point + t)));
        }
        DeadPlan {
            line,
            load,
            others,
            ground,
            capacitors,
        }
    }
}

/// Names the points of a sheet with breakers that stay live when every breaker is open: they can
/// never be proved dead.
pub(super) fn never_dead(sheet: &Sheet, keys: &Keys<'_, '_>) {
    let circuit = Circuit::new(sheet);
    let unit = Unit::new(&circuit, Drawn::draw(sheet, 0), &[]);
    if unit.found().assembly.overcurrent.iter().all(|o| !o.line) {
        return;
    }
    let opened = unit.opened(&[], Heat::Cold, true);
    let others = keys.tables("other");
    let load = keys.lists("load").into_iter().flatten();
    let named = keys.strings("line").into_iter().chain(load);
    let named = named.chain(others.iter().flat_map(|other| other.strings("points")));
    for (name, span) in named {
        let ends = [sheet.point(name), Some(sheet.dead.ground)];
        // What only a cable's coupling puts there is no source.
        if opened.voltmeter(ends, LOW_IMPEDANCE_OHMS) > DEAD.0 {
            keys.text.problem(
                span,
                format!(
                    "\"{name}\" stays live with every breaker open: it can never be proved dead"
                ),
                "name points behind the breakers, such as the line side of the disconnect",
            );
        }
    }
}
