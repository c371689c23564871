//! Reads a sheet's parts, wires and faults from TOML, with everything that is wrong with them.
//!
//! A sheet may be `based-on` another: it takes over all of it, replaces parts, wires, lifted sets
//! and complaints of the same name, adds its own, and removes what its `remove` names: of the base,
//! what speaks of a removed thing goes with it. Only what must read dead is never shortened so.

use std::collections::BTreeMap;
use std::ops::Range;

use ohmtrail_words::Glossary;

use super::checks::never_dead;
use super::near::did_you_mean;
use super::toml::Keys;
use super::{Check, Fault, Lift, Minutes, Part, Place, Places, PointId, Sheet, Wire, quantity};
use crate::costs::Costs;
use crate::parts::{KINDS, kind};
use crate::priors::Priors;

/// A sheet as it is put together.
#[derive(Default)]
pub(super) struct Reader {
    pub(super) parts: Vec<Part>,
    pub(super) wires: Vec<Wire>,
    pub(super) points: Vec<(String, String)>,
    pub(super) index: BTreeMap<String, PointId>,
    pub(super) faults: Vec<Fault>,
    pub(super) lifts: Vec<Lift>,
    pub(super) checks: Vec<Check>,
    /// Checks that can be made in the meter's low-impedance mode too, and where they are written.
    pub(super) low_impedance: Vec<(Place, Check)>,
    pub(super) places: Places,
    /// Parts and wires that are there and cannot be read: what names them is not wrong for it.
    broken: Vec<String>,
    /// Terminals at the good end of such wires.
    half_wired: Vec<PointId>,
}

/// The tables of that key over all layers. Each layer takes away what its `remove` names, then
/// replaces what has the name of one of its own, and adds the rest.
fn merged<'k>(layers: &'k [Keys<'k, 'k>], key: &'static str) -> Vec<(String, Keys<'k, 'k>)> {
    let mut all: Vec<(String, Keys<'k, 'k>)> = Vec::new();
    for layer in layers {
        let removed = layer.strings("remove");
        all.retain(|(n, _)| removed.iter().all(|(r, _)| r != n));
        let mut own: Vec<&str> = Vec::new();
        for table in layer.tables(key) {
            let Some((name, span)) = table.need("name") else {
                continue;
            };
            if own.contains(&name) {
                table.text.problem(
                    span,
                    format!("\"{name}\" is defined twice"),
                    "give one of them another name",
                );
                continue;
            }
            own.push(name);
            match all.iter().position(|(n, _)| n == name) {
                Some(at) => all[at].1 = table,
                None => all.push((name.to_owned(), table)),
            }
        }
    }
    all
}

/// Names what a layer removes that no layer under it has.
fn check_removed(layers: &[Keys<'_, '_>]) {
    let mut known: Vec<String> = Vec::new();
    for layer in layers {
        for (name, span) in layer.strings("remove") {
            if known.iter().all(|k| k != name) {
                layer.text.problem(
                    span,
                    format!("there is no \"{name}\" to remove"),
                    "name a part, wire, lifted set, cable, complaint, fault or check of the sheet that this sheet is based on",
                );
            }
        }
        for key in ["part", "wire", "lift", "cable", "complaint"] {
            for table in layer.tables(key) {
                let name = table.get("name").and_then(|n| n.get_ref().as_str());
                let Some(name) = name else { continue };
                let of = table.get("kind").and_then(|k| k.get_ref().as_str());
                let faults: Vec<&str> = match of.and_then(kind) {
                    Some(kind) => kind.faults.iter().map(|f| f.name).collect(),
                    None if key == "wire" => vec!["open"],
                    None => Vec::new(),
                };
                known.extend(faults.iter().map(|f| format!("{name}.{f}")));
                known.push(name.to_owned());
            }
        }
        for table in layer.tables("check") {
            known.extend(check_names(&table).into_iter().flatten());
        }
    }
}

/// The names by which a check can be removed: its function and points, as the command lists it,
/// and the same with the power that it needs.
fn check_names(keys: &Keys<'_, '_>) -> Option<[String; 2]> {
    let text = |key| keys.get(key)?.get_ref().as_str();
    let points: Option<Vec<&str>> = keys.get("points")?.get_ref().as_array().map(|points| {
        let names = points.iter().filter_map(|p| p.get_ref().as_str());
        names.collect()
    });
    let name = format!("{} {}", text("measure")?, points?.join(" "));
    let with_power = format!("{name} {}", text("power")?);
    Some([name, with_power])
}

/// Whether a sheet based on this check's sheet removes it: by its name, or with something that it
/// cannot do without.
fn check_is_removed(keys: &Keys<'_, '_>) -> bool {
    let by_name = check_names(keys)
        .into_iter()
        .flatten()
        .any(|n| keys.text.removed.contains(&n));
    let lift = keys.get("lift").and_then(|l| l.get_ref().as_str());
    by_name || keys.lost("points") || lift.is_some_and(|l| keys.text.is_removed(l))
}

impl Reader {
    pub(super) fn sheet(
        mut self,
        layers: &[Keys<'_, '_>],
        hash: [u8; 32],
        priors: Priors,
    ) -> Sheet {
        // At least one layer: the sheet itself.
        let last = &layers[layers.len() - 1];
        let name = last.need("name").map_or("", |n| n.0).to_owned();
        let title = last.need("title").map_or("", |n| n.0).to_owned();
        check_removed(layers);
        let unused: Vec<_> = layers.iter().flat_map(|l| l.strings("unused")).collect();

        let parts = merged(layers, "part");
        for (name, keys) in &parts {
            self.part(name.clone(), keys);
        }
        // A part may name one that comes after it.
        for (name, keys) in &parts {
            self.links(name, keys);
        }
        for (name, keys) in merged(layers, "wire") {
            if self.parts.iter().any(|p| p.name == name) {
                keys.text.problem(
                    keys.string("name").map_or(0..0, |n| n.1),
                    format!("\"{name}\" is the name of a part"),
                    "give the wire another name: points are named after both",
                );
            }
            self.wire(name, &keys);
        }
        self.floating(last, &unused);
        self.name_faults(&priors);
        let removed: Vec<_> = layers.iter().flat_map(|l| l.strings("remove")).collect();
        self.faults
            .retain(|f| removed.iter().all(|(name, _)| *name != f.name));
        for (name, keys) in merged(layers, "lift") {
            self.lift(name, &keys);
        }
        self.looks();
        for layer in layers {
            let checks = layer.tables("check").into_iter();
            for keys in checks.filter(|keys| !check_is_removed(keys)) {
                self.check(&keys);
            }
        }
        self.low_impedance();
        let cables = merged(layers, "cable").into_iter();
        let cables = cables.filter_map(|(name, keys)| self.cable(name, &keys));
        let cables: Vec<_> = cables.collect();
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
        let complaints = merged(layers, "complaint")
            .into_iter()
            .map(|(name, keys)| self.complaint(name, &keys))
            .collect();
        let dead_keys = layers.iter().rev().find_map(|l| l.table("dead"));
        self.places.dead = dead_keys.as_ref().map(Keys::place);
        let dead = dead_keys.as_ref().map(|keys| self.dead(keys));
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
            for key in [
                "name",
                "title",
                "based-on",
                "dead",
                "minutes",
                "complaint",
                "known",
                "words",
            ] {
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
        let mut sheet = Sheet {
            name,
            title,
            hash,
            parts: self.parts,
            wires: self.wires,
            points: self.points,
            cables,
            lifts: self.lifts,
            checks: self.checks,
            faults: self.faults,
            caused,
            masked,
            complaints,
            dead: dead.unwrap_or_default(),
            minutes,
            priors,
            costs: Costs::builtin(),
            known: Vec::new(),
            measured_air: None,
            glossary: Glossary::default(),
            places: self.places,
            nodes,
            internals,
            point_index: self.index,
        };
        for layer in layers {
            sheet.learn_tables(layer);
        }
        sheet.take_words(layers);
        if let Some(keys) = dead_keys
            && last.text.problems.borrow().is_empty()
        {
            never_dead(&sheet, &keys);
        }
        sheet
    }

    fn add_point(&mut self, name: String, words: String) -> PointId {
        let id = self.points.len();
        self.index.insert(name.clone(), id);
        self.points.push((name, words));
        id
    }

    fn part(&mut self, name: String, keys: &Keys<'_, '_>) {
        let Some((kind_name, span)) = keys.need("kind") else {
            self.broken.push(name);
            return;
        };
        let Some(kind) = kind(kind_name) else {
            let known: Vec<&str> = KINDS.iter().map(|k| k.name).collect();
            keys.text.problem(
                span,
                format!("\"{kind_name}\" is not a kind of part"),
                format!(
                    "{}known kinds are {}",
                    did_you_mean(kind_name, known.iter().copied()),
                    known.join(", ")
                ),
            );
            self.broken.push(name);
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
        for link in kind.links {
            let _ = keys.get(link.name);
        }
        keys.finish();
        let first_point = self.points.len();
        for t in kind.terminals {
            self.add_point(
                format!("{name}.{}", t.name),
                format!("{words}: {}", t.words),
            );
        }
        self.places.parts.push(keys.place());
        self.parts.push(Part {
            name,
            words,
            kind,
            values,
            links: Vec::new(),
            first_point,
        });
    }

    /// Finds the parts that a part depends on besides by wires.
    fn links(&mut self, name: &str, keys: &Keys<'_, '_>) {
        let Some(at) = self.parts.iter().position(|p| p.name == name) else {
            return;
        };
        for link in self.parts[at].kind.links {
            let Some((other, span)) = keys.need(link.name) else {
                continue;
            };
            let shows = |p: &Part| p.kind.looks.iter().any(|l| l.sight == link.shows);
            match self.parts.iter().position(|p| p.name == other) {
                Some(found) if shows(&self.parts[found]) => self.parts[at].links.push(found),
                found => {
                    let fit = self.parts.iter().filter(|p| shows(p));
                    let fit: Vec<&str> = fit.map(|p| p.name.as_str()).collect();
                    let what = match found {
                        None => format!("\"{other}\" is not a part of this sheet"),
                        Some(_) => format!("\"{other}\" cannot be {}", link.words),
                    };
                    let remedy = match fit.as_slice() {
                        [] => format!("add a part that can be {}", link.words),
                        fit => format!("name {}: {}", link.words, fit.join(", ")),
                    };
                    keys.text.problem(span, what, remedy);
                }
            }
        }
    }

    pub(super) fn point(
        &self,
        keys: &Keys<'_, '_>,
        name: &str,
        span: Range<usize>,
    ) -> Option<PointId> {
        let found = self.index.get(name).copied();
        let part = name.split('.').next().unwrap_or_default();
        if found.is_none() && !self.is_broken(name) {
            let near: Vec<&str> = self
                .points
                .iter()
                .map(|(n, _)| n.as_str())
                .filter(|n| n.split('.').next() == Some(part))
                .collect();
            let remedy = if near.is_empty() {
                let known = self.parts.iter().map(|p| p.name.as_str());
                let known = known.chain(self.wires.iter().map(|w| w.name.as_str()));
                format!(
                    "{}there is no part or wire \"{part}\"",
                    did_you_mean(part, known)
                )
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

    /// Whether a point or a fault is of something that cannot be read.
    pub(super) fn is_broken(&self, name: &str) -> bool {
        let of = name.split('.').next().unwrap_or_default();
        self.broken.iter().any(|b| b == of)
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
                    format!(
                        "{}name the part whose own lead this is",
                        did_you_mean(part, self.parts.iter().map(|p| p.name.as_str()))
                    ),
                );
            }
            found
        });
        keys.finish();
        let terminals = [&from, &to].map(|end| {
            let (point, span) = end.as_ref()?;
            let id = self.point(keys, point, span.clone())?;
            if self.wires.iter().any(|w| w.ends.contains(&id)) {
                keys.text.problem(
                    span.clone(),
                    format!("\"{point}\" is a wire's end"),
                    "join wires at a part's terminal",
                );
                return None;
            }
            Some(id)
        });
        let [Some(first), Some(second)] = terminals else {
            // Whatever is wrong with one end was said; the other is wired.
            self.half_wired.extend(terminals.into_iter().flatten());
            self.broken.push(name);
            return;
        };
        let terminals = [first, second];
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
        self.places.wires.push(keys.place());
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
                let wired = self.half_wired.contains(&point)
                    || self.wires.iter().any(|w| w.terminals.contains(&point));
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

    fn name_faults(&mut self, priors: &Priors) {
        for (owner, part) in self.parts.iter().enumerate() {
            for f in part.kind.faults.iter().filter(|f| f.needs.is_none()) {
                self.faults.push(Fault {
                    name: format!("{}.{}", part.name, f.name),
                    words: format!("{}: {}", part.words, f.words),
                    weight: priors.weight(part.kind.name, f.name).unwrap_or(f.weight),
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
                weight: priors.wire_open,
                owner: self.parts.len() + i,
                kind_name: "open",
            });
        }
    }
}
