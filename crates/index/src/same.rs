//! Is the index what the trails say? It is made anew beside itself, and the two are compared.

use std::cmp::Ordering;
use std::collections::BTreeSet;
use std::path::Path;

use crate::error::Error;
use crate::files::{beside, remove_index};
use crate::gather::{Gathered, fill};
use crate::index::Index;
use crate::lock::Lock;
use crate::sheets::Sheets;
use crate::store::Store;
use crate::tables::TABLES;
use crate::value::{Row, Value};

/// How many differences are told in full.
const TOLD: usize = 20;
/// How many visits are compared at a time.
const CHUNK: usize = 1000;
/// What is compared beside [`TABLES`]: what is derived once more.
const DERIVED: [(&str, &str, usize); 3] = [
    (
        "units",
        "SELECT unit, simulated, sheet, visits, first_us, last_us FROM units ORDER BY unit, simulated",
        2,
    ),
    (
        "counts",
        "SELECT what, simulated, name, mode, n FROM counts ORDER BY what, simulated, name, mode",
        4,
    ),
    (
        "parts",
        "SELECT sheet, part, kind FROM parts ORDER BY sheet, part",
        2,
    ),
];

/// How an index compares with one that was made anew.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Comparison {
    /// What making it anew came to.
    pub anew: Gathered,
    /// Rows that were compared.
    pub rows: u64,
    /// How many rows differ.
    pub differ: u64,
    /// The first of them, in words.
    pub differences: Vec<String>,
}

/// Makes the index at `path` anew from its trails, beside it, and compares every row.
///
/// # Errors
/// [`Error`]. A difference is no error.
pub fn verify(path: &Path) -> Result<Comparison, Error> {
    // Nothing is put beside what is no index.
    drop(Index::open(path)?);
    // An update in between would make it look unequal.
    let _writing = Lock::to_write(path)?;
    let mut index = Index::open(path)?;
    let folders = index.folders()?;
    if folders.is_empty() {
        return Err(Error::NoFolders {
            name: index.name().to_owned(),
        });
    }
    let sheets_folder = index.sheets_folder()?;
    let sheets = Sheets::new(sheets_folder.as_deref());
    let fresh = beside(path, "anew");
    remove_index(&fresh)?;
    let compared =
        fill(&fresh, &folders, sheets_folder.as_deref(), &sheets, false).and_then(|anew| {
            let mut comparison = Comparison {
                anew,
                ..Comparison::default()
            };
            let mut other = Index::open_own(&fresh)?;
            comparison.compare(index.store.as_mut(), other.store.as_mut())?;
            Ok(comparison)
        });
    remove_index(&fresh)?;
    compared
}

impl Comparison {
    /// Whether they are equal.
    #[must_use]
    pub const fn equal(&self) -> bool {
        self.differ == 0
    }

    pub(crate) fn compare(
        &mut self,
        ours: &mut dyn Store,
        anew: &mut dyn Store,
    ) -> Result<(), Error> {
        for (name, sql, key) in DERIVED {
            self.rows_of(name, sql, key, &[], ours, anew)?;
        }
        let sql = "SELECT visit FROM visits";
        let both = [ours.rows(sql, &[])?, anew.rows(sql, &[])?];
        let visits: BTreeSet<i64> = both
            .iter()
            .flatten()
            .filter_map(|row| row[0].int())
            .collect();
        let visits: Vec<i64> = visits.into_iter().collect();
        // Rows of no visit at all lie before the first one, between two, or behind the last.
        let mut from = i64::MIN;
        for chunk in visits.chunks(CHUNK).map(Some).chain([None]) {
            let to = chunk.and_then(<[i64]>::last).map_or(i64::MAX, |last| *last);
            for table in TABLES {
                let sql = table.select_between();
                let between = [from.into(), to.into()];
                self.rows_of(table.name, &sql, table.key, &between, ours, anew)?;
            }
            from = to.saturating_add(1);
        }
        ours.check()
    }

    /// Walks two lists of rows in the order of their keys.
    fn rows_of(
        &mut self,
        table: &str,
        sql: &str,
        key: usize,
        with: &[Value],
        ours: &mut dyn Store,
        anew: &mut dyn Store,
    ) -> Result<(), Error> {
        let (ours, anew) = (ours.rows(sql, with)?, anew.rows(sql, with)?);
        let mut left: Vec<&Row> = ours.iter().rev().collect();
        let mut right: Vec<&Row> = anew.iter().rev().collect();
        loop {
            let order = match (left.last(), right.last()) {
                (None, None) => return Ok(()),
                (Some(_), None) => Ordering::Less,
                (None, Some(_)) => Ordering::Greater,
                (Some(a), Some(b)) => order(&a[..key], &b[..key]),
            };
            self.rows += 1;
            let (a, b) = match order {
                Ordering::Less => (left.pop(), None),
                Ordering::Greater => (None, right.pop()),
                Ordering::Equal => (left.pop(), right.pop()),
            };
            if a != b {
                self.differ += 1;
                if self.differences.len() < TOLD {
                    self.differences.push(difference(table, key, a, b));
                }
            }
        }
    }
}

fn difference(table: &str, key: usize, ours: Option<&Row>, anew: Option<&Row>) -> String {
    let shown = ours.or(anew).map(|row| {
        let key: Vec<String> = row[..key].iter().map(|v| v.json().to_string()).collect();
        key.join(", ")
    });
    let shown = shown.unwrap_or_default();
    match (ours, anew) {
        (Some(_), None) => format!("{table} {shown}: in the index, not in the trails"),
        (None, _) => format!("{table} {shown}: in the trails, not in the index"),
        (Some(ours), Some(anew)) => {
            let column = ours.iter().zip(anew).position(|(a, b)| a != b);
            let column = column.unwrap_or_default();
            format!(
                "{table} {shown}: column {} is {} in the index, {} by the trails",
                column + 1,
                ours[column].json(),
                anew[column].json()
            )
        }
    }
}

fn order(a: &[Value], b: &[Value]) -> Ordering {
    let pairs = a.iter().zip(b);
    let orders = pairs.map(|(a, b)| match (a, b) {
        (Value::Int(a), Value::Int(b)) => a.cmp(b),
        (a, b) => a.text().cmp(b.text()),
    });
    orders.fold(Ordering::Equal, Ordering::then)
}
