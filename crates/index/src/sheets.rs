//! What the sheets say of the points in a trail: which part a take is a value of, and of what kind
//! the part is. A trail names points and faults; only its sheet knows the parts.

use std::collections::{BTreeMap, HashMap};
use std::path::Path;

use ohmtrail_circuit::sheet::{BUILTIN, Sheet, read_builtin, read_file};
use ohmtrail_core::reading::Function;
use ohmtrail_trail::Hash;
use ohmtrail_trail::event::Take;

/// The kind of a wire.
pub const WIRE: &str = "wire";

/// The sheets that trails may be of: the built-in ones, and those of a folder.
#[derive(Debug, Default)]
pub struct Sheets {
    known: BTreeMap<String, Known>,
    unsound: Vec<String>,
}

/// What the index needs of a sheet.
#[derive(Debug)]
struct Known {
    hash: [u8; 32],
    parts: Vec<(String, &'static str)>,
    points: HashMap<String, Point>,
    faults: HashMap<String, (String, String, &'static str)>,
}

/// A point that a probe can reach.
#[derive(Debug, Clone, Copy)]
enum Point {
    Terminal {
        part: usize,
    },
    /// A wire's own end: the part that it is on, and that at its other end.
    End {
        wire: usize,
        here: Option<usize>,
        there: Option<usize>,
        /// The part whose current it carries: its lead, or where the wire leads to.
        carries: Option<usize>,
    },
}

impl Sheets {
    /// The built-in sheets, and the `.toml` files of a folder, which go before them.
    ///
    /// A sheet that is not sound is left out, and named by [`Sheets::unsound`]: its trails are read
    /// all the same, without the kinds of their parts.
    #[must_use]
    pub fn new(folder: Option<&Path>) -> Self {
        let mut sheets = Sheets::default();
        for name in BUILTIN.iter().map(|(name, _)| *name) {
            if let Some(Ok(sheet)) = read_builtin(name) {
                sheets.add(&sheet);
            }
        }
        for path in folder.map(toml_files).unwrap_or_default() {
            match read_file(&path) {
                Ok(sheet) => sheets.add(&sheet),
                Err(error) => sheets.unsound.push(error.to_string()),
            }
        }
        sheets
    }

    /// Adds a sheet, in place of one of the same name.
    pub fn add(&mut self, sheet: &Sheet) {
        self.known.insert(sheet.name.clone(), Known::of(sheet));
    }

    /// What is wrong with the sheets that were left out.
    #[must_use]
    pub fn unsound(&self) -> &[String] {
        &self.unsound
    }

    /// A hash of all of them: rows that were made with others are made anew.
    #[must_use]
    pub fn hash(&self) -> Hash {
        let mut all = Vec::new();
        for (name, sheet) in &self.known {
            all.extend(name.as_bytes());
            all.extend(sheet.hash);
        }
        Hash::of(&all)
    }

    /// Whether the sheet of that name is the very one that a visit was made with; none if none is known.
    pub(crate) fn is_same(&self, sheet: &str, hash: &[u8; 32]) -> Option<bool> {
        self.known.get(sheet).map(|known| known.hash == *hash)
    }

    /// The parts of every sheet: the sheet, the part, its kind.
    pub(crate) fn parts(&self) -> impl Iterator<Item = [&str; 3]> {
        self.known.iter().flat_map(|(name, sheet)| {
            let parts = sheet.parts.iter();
            parts.map(move |(part, kind)| [name.as_str(), part.as_str(), *kind])
        })
    }

    /// The part that a take is a value of, and its kind. Of a sheet that is not known, the part by
    /// the names of the points alone.
    pub(crate) fn part_of(&self, sheet: &str, take: &Take) -> (Option<String>, Option<String>) {
        let Some(known) = self.known.get(sheet) else {
            let [a, b] = take.points.each_ref().map(|p| owner(p).0);
            return (((a == b) && !a.is_empty()).then(|| a.to_owned()), None);
        };
        match known.part_of(take).and_then(|p| known.parts.get(p)) {
            Some((part, kind)) => (Some(part.clone()), Some((*kind).to_owned())),
            None => (None, None),
        }
    }

    /// What a fault is of: the part or wire, its kind, and how it failed.
    pub(crate) fn fault(&self, sheet: &str, fault: &str) -> (String, Option<String>, String) {
        let known = self.known.get(sheet).and_then(|s| s.faults.get(fault));
        match known {
            Some((part, kind, mode)) => (part.clone(), Some(kind.clone()), (*mode).to_owned()),
            None => {
                let (part, mode) = owner(fault);
                (part.to_owned(), None, mode.to_owned())
            }
        }
    }
}

impl Known {
    fn of(sheet: &Sheet) -> Self {
        let mut at: HashMap<usize, usize> = HashMap::new();
        let mut points = HashMap::new();
        for (number, part) in sheet.parts.iter().enumerate() {
            for terminal in 0..part.kind.terminals.len() {
                let point = part.first_point + terminal;
                at.insert(point, number);
                let name = sheet.point_name(point).to_owned();
                points.insert(name, Point::Terminal { part: number });
            }
        }
        for (number, wire) in sheet.wires.iter().enumerate() {
            let owners = wire.terminals.map(|t| at.get(&t).copied());
            for (here, there) in [(0, 1), (1, 0)] {
                let name = sheet.point_name(wire.ends[here]).to_owned();
                points.insert(
                    name,
                    Point::End {
                        wire: number,
                        here: owners[here],
                        there: owners[there],
                        carries: wire.lead_of.or(owners[1]),
                    },
                );
            }
        }
        let parts: Vec<(String, &'static str)> = sheet
            .parts
            .iter()
            .map(|part| (part.name.clone(), part.kind.name))
            .collect();
        let faults = sheet.faults.iter().map(|fault| {
            let (part, kind) = match (
                parts.get(fault.owner),
                sheet.wires.get(fault.owner.wrapping_sub(parts.len())),
            ) {
                (Some((part, kind)), _) => (part.clone(), (*kind).to_owned()),
                // A part's own lead is replaced with it.
                (None, Some(wire)) => match wire.lead_of.and_then(|part| parts.get(part)) {
                    Some((part, kind)) => (part.clone(), (*kind).to_owned()),
                    None => (wire.name.clone(), WIRE.to_owned()),
                },
                (None, None) => (owner(&fault.name).0.to_owned(), WIRE.to_owned()),
            };
            (fault.name.clone(), (part, kind, fault.kind_name))
        });
        Known {
            hash: sheet.hash,
            faults: faults.collect(),
            parts,
            points,
        }
    }

    fn part_of(&self, take: &Take) -> Option<usize> {
        let [a, b] = take.points.each_ref().map(|p| self.points.get(p).copied());
        let clamp = matches!(take.function, Function::AmpsAc | Function::AmpsDc);
        match (a?, b?) {
            // A clamp around a wire.
            (Point::End { wire, carries, .. }, Point::End { wire: other, .. })
                if clamp && wire == other =>
            {
                carries
            }
            (a, b) => {
                let lifted = |n: usize| take.state.lifted.contains(&take.points[n]);
                let (a, b) = (a.part(lifted(0))?, b.part(lifted(1))?);
                (a == b).then_some(a)
            }
        }
    }
}

impl Point {
    /// A lifted end is a way to the part at the other end of its wire.
    const fn part(self, lifted: bool) -> Option<usize> {
        match self {
            Point::Terminal { part } => Some(part),
            Point::End { there, .. } if lifted => there,
            Point::End { here, .. } => here,
        }
    }
}

/// What stands before the last dot of a name, and what behind it.
fn owner(name: &str) -> (&str, &str) {
    name.rsplit_once('.').unwrap_or((name, ""))
}

fn toml_files(folder: &Path) -> Vec<std::path::PathBuf> {
    let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
    let mut files: Vec<_> = entries
        .map(|entry| entry.path())
        .filter(|path| path.extension().is_some_and(|e| e == "toml"))
        .collect();
    files.sort();
    files
}
