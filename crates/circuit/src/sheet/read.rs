//! Reads a sheet from TOML, with everything that is wrong with it.
//!
//! A sheet may be `based-on` another: it takes over all of it, replaces parts, wires, lifted sets
//! and complaints of the same name, adds its own, and removes what its `remove` names.

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::ops::Range;
use std::path::Path;

use ohmtrail_core::reading::Function;
use toml::de::DeValue;

use super::error::{Problem, SheetError};
use super::toml::{Keys, Text};
use super::{
    BUILTIN, Caused, Check, Complaint, DeadPlan, Fault, Heat, Lift, Masked, Minutes, Part, PointId,
    Question, Sheet, Wire, quantity,
};
use crate::parts::{KINDS, Sight, Unit, kind};

/// Prior weight of an open wire (common practice, no published source).
const WIRE_OPEN_WEIGHT: f64 = 0.002;

/// Minutes of a look (common practice, no published source).
const LOOK_MINUTES: f64 = 0.5;

/// Reads a built-in sheet; `None` if there is none of that name.
pub fn read_builtin(name: &str) -> Option<Result<Sheet, SheetError>> {
    let (_, text) = BUILTIN.iter().find(|(n, _)| *n == name)?;
    Some(read_text(name, text))
}

/// Reads a sheet from a file.
///
/// # Errors
/// Every problem of the file, or that it cannot be read.
pub fn read_file(path: &Path) -> Result<Sheet, SheetError> {
    let shown = path.display().to_string();
    let text = std::fs::read_to_string(path)
        .map_err(|e| one(&shown, 1, e.to_string(), "check the path"))?;
    read_layers(&shown, text, path.parent())
}

/// Reads a sheet from its text; `name` is what problems call it.
///
/// # Errors
/// Every problem of the text.
pub fn read_text(name: &str, text: &str) -> Result<Sheet, SheetError> {
    read_layers(name, text.to_owned(), None)
}

fn one(file: &str, line: usize, what: String, remedy: &str) -> SheetError {
    SheetError {
        problems: vec![Problem {
            file: file.to_owned(),
            line,
            what,
            remedy: remedy.to_owned(),
        }],
    }
}

/// The sheet and those it is based on, the base first.
fn read_layers(name: &str, text: String, folder: Option<&Path>) -> Result<Sheet, SheetError> {
    let problems = RefCell::new(Vec::new());
    let mut layers = vec![(name.to_owned(), text)];
    let mut folder = folder.map(Path::to_path_buf);
    loop {
        let (name, text) = &layers[0];
        let text = Text {
            name,
            text,
            problems: &problems,
        };
        let base = text.parse().and_then(|table| {
            let span = table.span();
            let table = table.into_inner();
            let keys = Keys::new(&text, span, &table);
            keys.string("based-on").map(|(b, s)| (b.to_owned(), s))
        });
        let Some((base, span)) = base else { break };
        let path = folder.as_ref().map(|f| f.join(&base));
        let known = BUILTIN.iter().find(|(n, _)| *n == base);
        let loaded = match (known, &path) {
            (Some((_, text)), _) => Ok((base.clone(), (*text).to_owned())),
            (None, Some(path)) => std::fs::read_to_string(path)
                .map(|t| (path.display().to_string(), t))
                .map_err(|e| e.to_string()),
            (None, None) => Err("there is no built-in sheet of that name".to_owned()),
        };
        match loaded {
            Ok((base_name, _)) if layers.iter().any(|(n, _)| *n == base_name) => {
                text.problem(
                    span,
                    format!("`based-on = \"{base}\"` leads back to a sheet that is based on this one: a loop of definitions"),
                    "base it on another sheet, or on none",
                );
                break;
            }
            Ok(layer) => {
                if known.is_none() {
                    folder = path.and_then(|p| p.parent().map(Path::to_path_buf));
                }
                layers.insert(0, layer);
            }
            Err(why) => {
                text.problem(
                    span,
                    format!("the sheet \"{base}\" cannot be read: {why}"),
                    "name a built-in sheet, or a file beside this one",
                );
                break;
            }
        }
    }
    let texts: Vec<Text<'_>> = layers
        .iter()
        .map(|(name, text)| Text {
            name,
            text,
            problems: &problems,
        })
        .collect();
    let tables: Vec<_> = texts.iter().filter_map(Text::parse).collect();
    let mut hasher = blake3::Hasher::new();
    for (_, text) in &layers {
        hasher.update(text.as_bytes());
    }
    let sheet = if problems.borrow().is_empty() {
        let tops: Vec<Keys<'_, '_>> = texts
            .iter()
            .zip(&tables)
            .map(|(text, table)| Keys::new(text, 0..0, table.get_ref()))
            .collect();
        Some(Reader::default().sheet(&tops, *hasher.finalize().as_bytes()))
    } else {
        None
    };
    let mut problems = problems.into_inner();
    match sheet {
        Some(sheet) if problems.is_empty() => Ok(sheet),
        _ => {
            problems.dedup();
            Err(SheetError { problems })
        }
    }
}

#[derive(Default)]
struct Reader {
    parts: Vec<Part>,
    wires: Vec<Wire>,
    points: Vec<(String, String)>,
    index: BTreeMap<String, PointId>,
    faults: Vec<Fault>,
    lifts: Vec<Lift>,
    checks: Vec<Check>,
}

/// The tables of that key over all layers; a later one of the same name replaces an earlier one.
fn merged<'k>(
    layers: &'k [Keys<'k, 'k>],
    key: &'static str,
    removed: &[&str],
) -> Vec<(String, Keys<'k, 'k>)> {
    let mut all: Vec<(String, Keys<'k, 'k>)> = Vec::new();
    for layer in layers {
        let start = all.len();
        for table in layer.tables(key) {
            let Some((name, span)) = table.need("name") else {
                continue;
            };
            let found = all.iter().position(|(n, _)| n == name);
            match found {
                Some(at) if at >= start => table.text.problem(
                    span,
                    format!("\"{name}\" is defined twice"),
                    "give one of them another name",
                ),
                Some(at) => all[at].1 = table,
                None => all.push((name.to_owned(), table)),
            }
        }
    }
    all.retain(|(n, _)| !removed.contains(&n.as_str()));
    all
}

impl Reader {
    fn sheet(mut self, layers: &[Keys<'_, '_>], hash: [u8; 32]) -> Sheet {
        // At least one layer: the sheet itself.
        let last = &layers[layers.len() - 1];
        let name = last.need("name").map_or("", |n| n.0).to_owned();
        let title = last.need("title").map_or("", |n| n.0).to_owned();
        let removed: Vec<&str> = layers
            .iter()
            .flat_map(|l| l.strings("remove"))
            .map(|(n, _)| n)
            .collect();
        let unused: Vec<_> = layers.iter().flat_map(|l| l.strings("unused")).collect();

        for (name, keys) in merged(layers, "part", &removed) {
            self.part(name, &keys);
        }
        for (name, keys) in merged(layers, "wire", &removed) {
            self.wire(name, &keys);
        }
        self.floating(last, &unused);
        self.name_faults();
        for (name, keys) in merged(layers, "lift", &removed) {
            self.lift(name, &keys);
        }
        self.looks();
        for layer in layers {
            for keys in layer.tables("check") {
                self.check(&keys);
            }
        }
        let mut caused = Vec::new();
        for layer in layers {
            for keys in layer.tables("caused") {
                self.caused(&keys, &mut caused);
            }
        }
        let mut masked = Vec::new();
        for layer in layers {
            for keys in layer.tables("masked") {
                self.masked(&keys, &mut masked);
            }
        }
        let complaints = merged(layers, "complaint", &removed)
            .into_iter()
            .map(|(name, keys)| self.complaint(name, &keys))
            .collect();
        let dead = layers
            .iter()
            .rev()
            .find_map(|l| l.table("dead"))
            .map(|keys| self.dead(&keys));
        if dead.is_none() {
            last.text.problem(
                0..0,
                "the sheet has no `[dead]` table",
                "say which points must read dead before the unit is proved dead: line, load, ground",
            );
        }
        let minutes = layers
            .iter()
            .rev()
            .find_map(|l| l.table("minutes"))
            .map(|keys| {
                let minutes = Minutes {
                    off: keys.number("off").unwrap_or(8.0),
                    on: keys.number("on").unwrap_or(4.0),
                    cool: keys.number("cool").unwrap_or(90.0),
                };
                keys.finish();
                minutes
            })
            .unwrap_or(Minutes {
                off: 8.0,
                on: 4.0,
                cool: 90.0,
            });
        for layer in layers {
            // Keys that only one layer needs are known to every layer.
            for key in ["name", "title", "based-on", "dead", "minutes", "complaint"] {
                let _ = layer.get(key);
            }
            layer.finish();
        }
        let mut nodes = self.points.len();
        let internals = self
            .parts
            .iter()
            .map(|p| {
                let first = nodes;
                nodes += p.kind.internals;
                first
            })
            .collect();
        Sheet {
            name,
            title,
            hash,
            parts: self.parts,
            wires: self.wires,
            points: self.points,
            lifts: self.lifts,
            checks: self.checks,
            faults: self.faults,
            caused,
            masked,
            complaints,
            dead: dead.unwrap_or_default(),
            minutes,
            nodes,
            internals,
            point_index: self.index,
        }
    }

    fn add_point(&mut self, name: String, words: String) -> PointId {
        let id = self.points.len();
        self.index.insert(name.clone(), id);
        self.points.push((name, words));
        id
    }

    fn part(&mut self, name: String, keys: &Keys<'_, '_>) {
        let Some((kind_name, span)) = keys.need("kind") else {
            return;
        };
        let Some(kind) = kind(kind_name) else {
            let known: Vec<&str> = KINDS.iter().map(|k| k.name).collect();
            keys.text.problem(
                span,
                format!("\"{kind_name}\" is not a kind of part"),
                format!("known kinds are {}", known.join(", ")),
            );
            return;
        };
        let words = keys
            .string("words")
            .map_or_else(|| kind.about.to_owned(), |(w, _)| w.to_owned());
        let values = kind
            .params
            .iter()
            .map(|param| {
                let value = match keys.string(param.name) {
                    None if keys.get(param.name).is_some() => None,
                    None => {
                        if param.default.is_none() {
                            keys.text.problem(
                                keys.span.clone(),
                                format!("\"{name}\" has no `{}` ({})", param.name, param.words),
                                format!("add `{} = \"…\"`", param.name),
                            );
                        }
                        param.default
                    }
                    Some((text, span)) => match quantity::read(text, param.unit) {
                        Ok(v) if v > 0.0 => Some(v),
                        Ok(_) => {
                            keys.text.problem(
                                span,
                                format!("`{}` is not above zero", param.name),
                                "give the value from the plate or the part",
                            );
                            None
                        }
                        Err(why) => {
                            keys.text
                                .problem(span, why, format!("correct `{}`", param.name));
                            None
                        }
                    },
                };
                value.unwrap_or(1.0)
            })
            .collect();
        keys.finish();
        let first_point = self.points.len();
        for t in kind.terminals {
            self.add_point(
                format!("{name}.{}", t.name),
                format!("{words}: {}", t.words),
            );
        }
        self.parts.push(Part {
            name,
            words,
            kind,
            values,
            first_point,
        });
    }

    fn point(&self, keys: &Keys<'_, '_>, name: &str, span: Range<usize>) -> Option<PointId> {
        let found = self.index.get(name).copied();
        if found.is_none() {
            let part = name.split('.').next().unwrap_or_default();
            let near: Vec<&str> = self
                .points
                .iter()
                .map(|(n, _)| n.as_str())
                .filter(|n| n.split('.').next() == Some(part))
                .collect();
            let remedy = if near.is_empty() {
                format!("there is no part or wire \"{part}\"; name one of the sheet's")
            } else {
                format!("\"{part}\" has {}", near.join(", "))
            };
            keys.text.problem(
                span,
                format!("\"{name}\" is not a point of this sheet"),
                remedy,
            );
        }
        found
    }

    fn wire(&mut self, name: String, keys: &Keys<'_, '_>) {
        let from = keys.need("from");
        let to = keys.need("to");
        let mark = keys.string("mark").map_or("", |m| m.0).to_owned();
        let lead_of = keys.string("lead-of").and_then(|(part, span)| {
            let found = self.parts.iter().position(|p| p.name == part);
            if found.is_none() {
                keys.text.problem(
                    span,
                    format!("\"{part}\" is not a part of this sheet"),
                    "name the part whose own lead this is",
                );
            }
            found
        });
        keys.finish();
        let mut terminals = [0; 2];
        for (slot, end) in terminals.iter_mut().zip([&from, &to]) {
            let Some((point, span)) = end else { return };
            let Some(id) = self.point(keys, point, span.clone()) else {
                return;
            };
            if self.wires.iter().any(|w| w.ends.contains(&id)) {
                keys.text.problem(
                    span.clone(),
                    format!("\"{point}\" is a wire's end"),
                    "join wires at a part's terminal",
                );
                return;
            }
            *slot = id;
        }
        if terminals[0] == terminals[1] {
            keys.text.problem(
                keys.span.clone(),
                format!("the wire \"{name}\" has both ends on one terminal"),
                "name the terminal at its other end",
            );
        }
        let ends = [(1, from), (2, to)].map(|(n, at)| {
            self.add_point(
                format!("{name}.{n}"),
                format!(
                    "{}wire end at {}",
                    if mark.is_empty() {
                        String::new()
                    } else {
                        format!("{mark} ")
                    },
                    at.map_or("?", |a| a.0)
                ),
            )
        });
        self.wires.push(Wire {
            name,
            terminals,
            ends,
            mark,
            lead_of,
        });
    }

    fn floating(&self, keys: &Keys<'_, '_>, unused: &[(&str, Range<usize>)]) {
        for (name, span) in unused {
            self.point(keys, name, span.clone());
        }
        for part in &self.parts {
            for (i, terminal) in part.kind.terminals.iter().enumerate() {
                let point = part.first_point + i;
                let wired = self.wires.iter().any(|w| w.terminals.contains(&point));
                let name = &self.points[point].0;
                if !wired && !terminal.bonded && !unused.iter().any(|(u, _)| u == name) {
                    let at = keys.text.text.find(&format!("name = \"{}\"", part.name));
                    keys.text.problem(
                        at.unwrap_or(0)..at.unwrap_or(0),
                        format!("the terminal \"{name}\" floats: no wire ends on it"),
                        format!("add a wire, or list it: unused = [\"{name}\"]"),
                    );
                }
            }
        }
    }

    fn name_faults(&mut self) {
        for (owner, part) in self.parts.iter().enumerate() {
            for f in part.kind.faults {
                self.faults.push(Fault {
                    name: format!("{}.{}", part.name, f.name),
                    words: format!("{}: {}", part.words, f.words),
                    weight: f.weight,
                    owner,
                    kind_name: f.name,
                });
            }
        }
        for (i, wire) in self.wires.iter().enumerate() {
            self.faults.push(Fault {
                name: format!("{}.open", wire.name),
                words: format!(
                    "wire from {} to {} open, loose or burnt off",
                    self.points[wire.terminals[0]].0, self.points[wire.terminals[1]].0
                ),
                weight: WIRE_OPEN_WEIGHT,
                owner: self.parts.len() + i,
                kind_name: "open",
            });
        }
    }

    fn lift(&mut self, name: String, keys: &Keys<'_, '_>) {
        let mut ends = Vec::new();
        for (end, span) in keys.strings("ends") {
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
        self.lifts.push(Lift {
            name,
            ends,
            minutes,
        });
    }

    fn looks(&mut self) {
        for (part, p) in self.parts.iter().enumerate() {
            for look in p.kind.looks {
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

    fn check(&mut self, keys: &Keys<'_, '_>) {
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
                    "add a [[lift]] of that name, or correct it",
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
        let why = keys.need("why").map_or("", |w| w.0).to_owned();
        let limits = keys.strings("within");
        let proves: Vec<usize> = keys
            .strings("proves")
            .into_iter()
            .filter_map(|(n, s)| self.fault(keys, n, s))
            .collect();
        keys.finish();
        let (Some(function), &[a, b]) = (function, points.as_slice()) else {
            if function.is_some() && points.len() < 2 {
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
                    "V" => Unit::Volt,
                    "F" => Unit::Farad,
                    "A" => Unit::Ampere,
                    _ => Unit::Ohm,
                };
                let read = |text: &str, span: &Range<usize>| {
                    quantity::read(text, unit)
                        .map_err(|why| keys.text.problem(span.clone(), why, "correct this limit"))
                        .ok()
                };
                read(low, low_span).zip(read(high, high_span))
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
            self.checks.push(Check {
                question: Question::Measure {
                    function,
                    points: [a, b],
                    limits,
                },
                power,
                lift,
                heat,
                proves: proves.clone(),
                minutes,
                why: why.clone(),
            });
        }
    }

    fn fault(&self, keys: &Keys<'_, '_>, name: &str, span: Range<usize>) -> Option<usize> {
        let found = self.faults.iter().position(|f| f.name == name);
        if found.is_none() {
            keys.text.problem(
                span,
                format!("\"{name}\" is not a fault of this sheet"),
                "list them with `ohmtrail sheet faults`",
            );
        }
        found
    }

    fn masked(&self, keys: &Keys<'_, '_>, masked: &mut Vec<Masked>) {
        let faults = |key| -> Vec<usize> {
            keys.strings(key)
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

    fn caused(&self, keys: &Keys<'_, '_>, caused: &mut Vec<Caused>) {
        let p = keys.number("p");
        let to = keys.need("fault").and_then(|(n, s)| self.fault(keys, n, s));
        let by: Vec<usize> = keys
            .strings("by")
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

    fn complaint(&self, name: String, keys: &Keys<'_, '_>) -> Complaint {
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

    fn dead(&self, keys: &Keys<'_, '_>) -> DeadPlan {
        let points = |keys: &Keys<'_, '_>, key| -> Vec<PointId> {
            keys.strings(key)
                .into_iter()
                .filter_map(|(n, s)| self.point(keys, n, s))
                .collect()
        };
        let line = points(keys, "line");
        let load = points(keys, "load");
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
        if line.is_empty() || load.is_empty() {
            keys.text.problem(
                keys.span.clone(),
                "`line` and `load` need points",
                "name every pole on both sides: an open contactor makes its load side dead by itself",
            );
        }
        let mut capacitors = Vec::new();
        for part in &self.parts {
            if part.kind.name.contains("capacitor") {
                let n = part.kind.terminals.len();
                for a in 0..n {
                    for b in a + 1..n {
                        capacitors.push([part.first_point + a, part.first_point + b]);
                    }
                }
            }
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
