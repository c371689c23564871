//! The stock as a CSV: one line for each kind of part on the truck or in the shop.
//!
//! Everything wrong with the file is said at once, each with its line and column; a stock with an
//! error in it is not used, so that no part is passed over in silence.

use std::collections::BTreeMap;
use std::fmt;

use ohmtrail_circuit::sheet::did_you_mean;
use serde::Serialize;

use crate::part::{FIELDS, Kind, Part};

/// The columns that every part has: their names, what they are, an example.
pub const COMMON_COLUMNS: [(&str, &str, &str); 5] = [
    (
        "kind",
        "capacitor, contactor, transformer, motor or relay",
        "capacitor",
    ),
    ("name", "what you call it; each only once", "bin 12"),
    (
        "quantity",
        "how many there are; 0 is none; left out: 1",
        "2",
    ),
    ("place", "where they are; may be left out", "truck"),
    ("note", "anything; it is kept and shown", "wide can"),
];

/// One line of the stock.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Item {
    /// Its line in the file.
    pub line: u64,
    /// What it is called.
    pub name: String,
    /// How many there are.
    pub quantity: u32,
    /// Where they are.
    pub place: String,
    /// Anything that was noted.
    pub note: String,
    /// What is stamped on it.
    pub part: Part,
}

/// Everything in stock.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Stock {
    /// The lines, in the order of the file.
    pub items: Vec<Item>,
}

/// One thing that is wrong with the file.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Trouble {
    /// The line, from 1.
    pub line: u64,
    /// The column, by its name; empty where it is the line as a whole.
    pub column: String,
    /// What is wrong, and what to do.
    pub what: String,
}

impl fmt::Display for Trouble {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}", self.line)?;
        if !self.column.is_empty() {
            write!(f, ", column {}", self.column)?;
        }
        write!(f, ": {}", self.what)
    }
}

/// Everything that is wrong with the file.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub struct StockError {
    /// The file's name.
    pub file: String,
    /// What is wrong, in the order of the lines.
    pub troubles: Vec<Trouble>,
}

impl fmt::Display for StockError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (i, trouble) in self.troubles.iter().enumerate() {
            if i > 0 {
                writeln!(f)?;
            }
            write!(f, "{}: {trouble}", self.file)?;
        }
        Ok(())
    }
}

impl Stock {
    /// Reads a stock; `file` is what it is called in errors.
    ///
    /// # Errors
    /// Everything that is wrong with it.
    pub fn read(file: &str, bytes: &[u8]) -> Result<Stock, StockError> {
        let mut troubles = Vec::new();
        let items = read(bytes, &mut troubles);
        troubles.sort_by_key(|t| t.line);
        if troubles.is_empty() {
            Ok(Stock { items })
        } else {
            Err(StockError {
                file: file.to_owned(),
                troubles,
            })
        }
    }
}

fn trouble(line: u64, column: &str, what: impl Into<String>) -> Trouble {
    Trouble {
        line,
        column: column.to_owned(),
        what: what.into(),
    }
}

fn read(bytes: &[u8], troubles: &mut Vec<Trouble>) -> Vec<Item> {
    // Spreadsheets write a byte-order mark before the first column's name.
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    let mut reader = csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .trim(csv::Trim::All)
        .flexible(true)
        .from_reader(bytes);
    let columns: Vec<String> = match reader.headers() {
        Ok(names) => names.iter().map(str::to_owned).collect(),
        Err(e) => {
            troubles.push(unreadable(bytes, &e));
            return Vec::new();
        }
    };
    let header = reader.headers().ok().and_then(csv::StringRecord::position);
    let head = line_at(bytes, header);
    check_columns(head, &columns, troubles);
    if !troubles.is_empty() {
        return Vec::new();
    }
    let mut items = Vec::new();
    let mut seen: BTreeMap<String, u64> = BTreeMap::new();
    for record in reader.records() {
        let record = match record {
            Ok(record) => record,
            Err(e) => {
                troubles.push(unreadable(bytes, &e));
                continue;
            }
        };
        let line = line_at(bytes, record.position());
        if record.iter().all(str::is_empty) {
            continue;
        }
        if record.len() != columns.len() {
            troubles.push(trouble(
                line,
                "",
                format!(
                    "{} values for {} columns: put a value with a comma in double quotes, and keep a comma for each empty one",
                    record.len(),
                    columns.len()
                ),
            ));
            continue;
        }
        let of = |name: &str| {
            let at = columns.iter().position(|c| c == name)?;
            record
                .get(at)
                .filter(|text| !text.is_empty())
                .map(str::to_owned)
        };
        if let Some(item) = item(line, &of, troubles) {
            match seen.insert(item.name.clone(), line) {
                Some(first) => troubles.push(trouble(
                    line,
                    "name",
                    format!(
                        "\"{}\" is on line {first} already: give each its own name",
                        item.name
                    ),
                )),
                None => items.push(item),
            }
        }
    }
    items
}

/// The line that a record begins on. The reader's own count stands before the line ends and the
/// comments that it skips, so it is made from the bytes.
fn line_at(bytes: &[u8], position: Option<&csv::Position>) -> u64 {
    let byte = position.map_or(0, csv::Position::byte);
    let mut at = usize::try_from(byte).map_or(bytes.len(), |at| at.min(bytes.len()));
    while let Some(next) = bytes.get(at) {
        match next {
            b'\r' | b'\n' => at += 1,
            b'#' => {
                let rest = bytes[at..].iter().position(|b| *b == b'\n');
                at = rest.map_or(bytes.len(), |end| at + end);
            }
            _ => break,
        }
    }
    1 + bytes[..at]
        .iter()
        .map(|b| u64::from(*b == b'\n'))
        .sum::<u64>()
}

fn unreadable(bytes: &[u8], e: &csv::Error) -> Trouble {
    let line = line_at(bytes, e.position());
    let what = match e.kind() {
        csv::ErrorKind::Utf8 { err, .. } => {
            format!(
                "value {} is not UTF-8: save the file as UTF-8",
                err.field() + 1
            )
        }
        _ => format!("cannot be read: {e}"),
    };
    trouble(line, "", what)
}

fn check_columns(line: u64, columns: &[String], troubles: &mut Vec<Trouble>) {
    let common = || COMMON_COLUMNS.iter().map(|(name, ..)| *name);
    let known = || common().chain(FIELDS.iter().map(|f| f.name));
    for (i, column) in columns.iter().enumerate() {
        if columns[..i].contains(column) {
            troubles.push(trouble(line, column, "is there twice: keep one"));
        } else if !known().any(|name| name == column) {
            let near = did_you_mean(column, known());
            let what = format!(
                "no such column; {near}docs/fits.md lists them, and a note goes into \"note\""
            );
            troubles.push(trouble(line, column, what));
        }
    }
    for needed in ["kind", "name"] {
        if !columns.iter().any(|c| c == needed) {
            troubles.push(trouble(
                line,
                needed,
                "is missing: the first line names the columns",
            ));
        }
    }
}

fn item(
    line: u64,
    of: &dyn Fn(&str) -> Option<String>,
    troubles: &mut Vec<Trouble>,
) -> Option<Item> {
    let before = troubles.len();
    let kinds = Kind::ALL.map(Kind::name).join(", ");
    let kind = match of("kind") {
        Some(text) => {
            let kind = Kind::ALL.into_iter().find(|k| k.name() == text);
            if kind.is_none() {
                let what = format!("\"{text}\" is none of {kinds}");
                troubles.push(trouble(line, "kind", what));
            }
            kind
        }
        None => {
            troubles.push(trouble(line, "kind", format!("is empty: one of {kinds}")));
            None
        }
    };
    let name = of("name");
    if name.is_none() {
        troubles.push(trouble(line, "name", "is empty: say what you call it"));
    }
    let quantity = match of("quantity") {
        None => 1,
        Some(text) => text.parse().unwrap_or_else(|_| {
            let what = format!("\"{text}\" is no count: a whole number, 0 for none");
            troubles.push(trouble(line, "quantity", what));
            0
        }),
    };
    let part = kind.and_then(|kind| match Part::read(kind, of) {
        Ok(part) => Some(part),
        Err(wrong) => {
            troubles.extend(
                wrong
                    .iter()
                    .map(|w| trouble(line, &w.field, w.what.clone())),
            );
            None
        }
    });
    if troubles.len() > before {
        return None;
    }
    Some(Item {
        line,
        name: name?,
        quantity,
        place: of("place").unwrap_or_default(),
        note: of("note").unwrap_or_default(),
        part: part?,
    })
}
