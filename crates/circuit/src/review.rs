//! What a sound sheet lacks or has for nothing: points that must read dead and do not, faults that
//! no check shows, checks that tell nothing. And how much room its table takes.

use ohmtrail_core::class::CLASSES;
use ohmtrail_core::isolate::Table;
use ohmtrail_core::isolate::table::from_byte;

use ohmtrail_words::Tongue;

use crate::compile::{CompileError, Compiled, Options, compile};
use crate::draw::levels;
use crate::network::Element;
use crate::sheet::{FaultId, Place, PointId, Problem, Question, Sheet};
use crate::unit::{Circuit, Drawn};

/// Two predictions of a check that differ by less (total variation) are taken for the same.
const SAME: f32 = 0.08;

/// A resistance under this is a closed contact or a wire, ohms.
const CONTACT_OHMS: f64 = 0.2;

/// How large a table is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Size {
    /// Sets of faults, with *no fault* and *none of these*.
    pub hypotheses: usize,
    /// Bytes.
    pub bytes: usize,
}

/// What was found.
#[derive(Debug, Clone)]
pub struct Review {
    /// What should be changed, in the order of the sheet.
    pub notes: Vec<Problem>,
    /// Faults that no check tells from *no fault*.
    pub unseen: Vec<FaultId>,
    /// Sets of faults whose members no check tells apart.
    pub alike: Vec<Vec<FaultId>>,
    /// The whole table.
    pub table: Size,
}

/// What a sheet with words in another language does not say in it.
fn unspoken(sheet: &Sheet, notes: &mut Vec<Problem>) {
    for tongue in Tongue::ALL.iter().filter(|t| !sheet.glossary.is_empty(**t)) {
        for words in sheet.lacks(*tongue) {
            let tag = tongue.tag();
            notes.push(note(
                sheet.places.words.as_ref(),
                format!(
                    "nothing says \"{words}\" in the language {tag}: it stands in English there"
                ),
                format!("add it to `[words.{tag}]`"),
            ));
        }
    }
}

/// Reviews a sheet.
///
/// # Errors
/// [`CompileError`]: the sheet does not fit a table.
pub fn review(sheet: &Sheet) -> Result<Review, CompileError> {
    let whole = compile(sheet, Options::default())?;
    let table = Table::parse(&whole.bytes).map_err(CompileError::Table)?;
    let (unseen, alike) = groups(&table);
    let mut notes = Vec::new();
    dead(sheet, &mut notes);
    unreached(sheet, &mut notes);
    unused(sheet, &mut notes);
    idle(sheet, &table, &mut notes);
    unspoken(sheet, &mut notes);
    for &fault in &unseen {
        notes.push(of_fault(sheet, fault));
    }
    notes.sort_by(|a, b| (&a.file, a.line).cmp(&(&b.file, b.line)));
    Ok(Review {
        notes,
        unseen,
        alike,
        table: size(&whole),
    })
}

fn size(compiled: &Compiled) -> Size {
    Size {
        hypotheses: compiled.sets.len(),
        bytes: compiled.bytes.len(),
    }
}

fn note(place: Option<&Place>, what: String, remedy: impl Into<String>) -> Problem {
    let place = place.cloned().unwrap_or_default();
    Problem {
        file: place.file,
        line: place.line,
        what,
        remedy: remedy.into(),
    }
}

/// Single faults by group: those that are as *no fault*, then the groups of more than one.
fn groups(table: &Table<'_>) -> (Vec<FaultId>, Vec<Vec<FaultId>>) {
    let mut by_group: Vec<Vec<FaultId>> = vec![Vec::new(); usize::from(table.group_count())];
    for h in 0..table.hypotheses {
        let faults: Vec<FaultId> = table.faults_of(h).map(usize::from).collect();
        if let [fault] = faults[..]
            && let Some(group) = by_group.get_mut(usize::from(table.group(h)))
        {
            group.push(fault);
        }
    }
    let mut by_group = by_group.into_iter();
    let mut unseen = by_group.next().unwrap_or_default();
    unseen.sort_unstable();
    let mut alike: Vec<Vec<FaultId>> = by_group.filter(|g| g.len() > 1).collect();
    for group in &mut alike {
        group.sort_unstable();
    }
    alike.sort();
    (unseen, alike)
}

fn of_fault(sheet: &Sheet, fault: FaultId) -> Problem {
    let f = &sheet.faults[fault];
    let place = match f.owner.checked_sub(sheet.parts.len()) {
        None => sheet.places.parts.get(f.owner),
        Some(wire) => sheet.places.wires.get(wire),
    };
    note(
        place,
        format!(
            "no check tells the fault \"{}\" from a sound unit: it can never be found",
            f.name
        ),
        "add a check that it changes",
    )
}

/// Every pole of a source, and both sides of every contactor of the line circuit, must lie on a
/// point that is read dead: through wires and closed contacts, no farther.
fn dead(sheet: &Sheet, notes: &mut Vec<Problem>) {
    let circuit = Circuit::new(sheet);
    let assembly = circuit.assemble(&Drawn::draw(sheet, 0), &[]);
    let mut joined: Vec<PointId> = (0..sheet.nodes).collect();
    for element in &assembly.elements {
        if let Element::Resistor {
            ends: [Some(a), Some(b)],
            ohms,
        } = element
            && *ohms < CONTACT_OHMS
        {
            let (a, b) = (root(&joined, *a), root(&joined, *b));
            joined[a.max(b)] = a.min(b);
        }
    }
    let plan = &sheet.dead;
    let read: Vec<PointId> = plan
        .line
        .iter()
        .chain(plan.load.iter().flatten())
        .chain(plan.others.iter().flatten())
        .map(|p| root(&joined, *p))
        .collect();
    let mut ask = |point: PointId, what: &str| {
        let at = root(&joined, point);
        if !read.contains(&at) {
            notes.push(note(
                sheet.places.dead.as_ref(),
                format!(
                    "nothing on {what} \"{}\" is among the points that must read dead",
                    sheet.point_name(point)
                ),
                "name a point on it in `line` or `load` of [dead], or in a [[dead.other]]",
            ));
        }
    };
    for part in sheet.parts.iter().filter(|p| p.kind.source) {
        for (t, terminal) in part.kind.terminals.iter().enumerate() {
            if !terminal.bonded {
                ask(part.first_point + t, "the source's pole");
            }
        }
    }
    let line = levels(sheet);
    for contactor in &assembly.contactors {
        for pole in &contactor.poles {
            let Some(Element::Resistor { ends, .. }) = assembly.elements.get(pole.element) else {
                continue;
            };
            for end in ends.iter().flatten() {
                if line.get(*end) == Some(&true) {
                    ask(*end, "the contactor's pole");
                }
            }
        }
    }
}

fn root(joined: &[usize], mut node: usize) -> usize {
    while joined[node] != node {
        node = joined[node];
    }
    node
}

/// Checks at terminals that hang in the air.
fn unreached(sheet: &Sheet, notes: &mut Vec<Problem>) {
    let owner = |point: PointId| {
        sheet
            .parts
            .iter()
            .position(|p| (p.first_point..p.first_point + p.kind.terminals.len()).contains(&point))
    };
    let bare = |point: PointId| {
        owner(point).is_some_and(|part| {
            let part = &sheet.parts[part];
            let terminal = part.kind.terminals.get(point - part.first_point);
            !terminal.is_some_and(|t| t.bonded)
                && !sheet.wires.iter().any(|w| w.terminals.contains(&point))
        })
    };
    for (c, check) in sheet.checks.iter().enumerate() {
        let Question::Measure { points: [a, b], .. } = check.question else {
            continue;
        };
        // Between two terminals of one part there is the part itself.
        if owner(a).is_some() && owner(a) == owner(b) {
            continue;
        }
        for point in [a, b].into_iter().filter(|p| bare(*p)) {
            notes.push(note(
                sheet.places.checks.get(c),
                format!(
                    "this check is at \"{}\", which no wire reaches",
                    sheet.point_name(point)
                ),
                "measure where a wire ends, or wire the terminal",
            ));
        }
    }
}

/// Lifted sets that no check needs.
fn unused(sheet: &Sheet, notes: &mut Vec<Problem>) {
    for (l, lift) in sheet.lifts.iter().enumerate() {
        if sheet.checks.iter().all(|c| c.lift != Some(l)) {
            notes.push(note(
                sheet.places.lifts.get(l),
                format!("no check needs the lifted set \"{}\"", lift.name),
                format!(
                    "write `lift = \"{}\"` in a check, or take it out",
                    lift.name
                ),
            ));
        }
    }
}

/// Measurements whose outcome is the same whatever is wrong.
fn idle(sheet: &Sheet, table: &Table<'_>, notes: &mut Vec<Problem>) {
    for (c, check) in sheet.checks.iter().enumerate() {
        let Question::Measure {
            function, points, ..
        } = check.question
        else {
            continue;
        };
        let Ok(number) = u16::try_from(c) else { break };
        if varies(table, number) {
            continue;
        }
        let [a, b] = points.map(|p| sheet.point_name(p));
        notes.push(note(
            sheet.places.checks.get(c),
            format!(
                "the check {} {a} {b} gives the same outcome under every fault",
                function.name()
            ),
            "take it out, or ask it in a state in which a fault shows",
        ));
    }
}

/// Whether two hypotheses predict different outcomes of an ask.
fn varies(table: &Table<'_>, ask: u16) -> bool {
    let Some(rows) = table.ask(ask).and_then(|record| table.ask_rows(&record)) else {
        return true;
    };
    let samples = usize::from(table.samples).max(1);
    let means: Vec<[f32; CLASSES]> = table
        .ask_cells(ask)
        .chunks(samples)
        .zip(0..)
        .filter(|(_, h)| !table.is_none_of_these(*h))
        .map(|(cells, _)| {
            let mut mean = [0.0; CLASSES];
            for cell in cells {
                let row = rows.chunks(CLASSES).nth(usize::from(*cell));
                for (m, code) in mean.iter_mut().zip(row.unwrap_or_default()) {
                    *m += from_byte(*code) / samples as f32;
                }
            }
            mean
        })
        .collect();
    let Some(first) = means.first() else {
        return false;
    };
    means.iter().any(|mean| {
        let apart: f32 = mean.iter().zip(first).map(|(a, b)| (a - b).abs()).sum();
        apart / 2.0 > SAME
    })
}

#[cfg(test)]
#[path = "review_tests.rs"]
mod tests;
