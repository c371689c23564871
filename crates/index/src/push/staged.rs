//! An index of some folders for a moment, and what a database is held against it for.

use std::collections::HashMap;
use std::path::{Path, PathBuf};

use tempfile::TempDir;

use crate::error::Error;
use crate::files::{absolute, absolute_path};
use crate::gather::{Gathered, fill};
use crate::index::Index;
use crate::postgres::{Database, Postgres};
use crate::same::Comparison;
use crate::sheets::Sheets;
use crate::store::Store;
use crate::tables::{TABLES, VERSION};
use crate::value::Row;

/// Visits whose rows are carried at a time.
const CHUNK: usize = 500;

/// An index of these folders, gone when it is dropped.
pub(crate) struct Staged {
    pub(crate) index: Index,
    pub(crate) gathered: Gathered,
    /// Its folder, that only this user may look into.
    _folder: TempDir,
}

impl Staged {
    pub(crate) fn of(folders: &[PathBuf], sheets: Option<&Path>) -> Result<Staged, Error> {
        let folders = absolute(folders)?;
        let sheets_folder = sheets.map(absolute_path).transpose()?;
        let making = Error::io(std::env::temp_dir(), "making a folder for the rows");
        let folder = tempfile::tempdir().map_err(making)?;
        let path = folder.path().join("staged");
        let sheets = Sheets::new(sheets_folder.as_deref());
        let gathered = fill(&path, &folders, sheets_folder.as_deref(), &sheets, false)?;
        Ok(Staged {
            index: Index::open_own(&path)?,
            gathered,
            _folder: folder,
        })
    }
}

/// Makes the index of a database anew from the trails in these folders. Who reads meanwhile has the old
/// rows or the new ones. Views and rights that others made on the tables stay.
///
/// A visit that these folders do not have, or have an earlier state of, ends it, unless `drop_others` says that
/// it may go.
///
/// # Errors
/// [`Error::WouldDrop`], and every other [`Error`]; the index is then as it was.
pub fn rebuild_in(
    database: &Database,
    folders: &[PathBuf],
    sheets: Option<&Path>,
    drop_others: bool,
) -> Result<Gathered, Error> {
    // What cannot be reached is said before the trails are read.
    let mut store = Postgres::connect(database)?;
    let mut staged = Staged::of(folders, sheets)?;
    let from = staged.index.store.as_mut();
    store.writing(|store| {
        let version = store.version()?;
        if version.is_some() && !drop_others {
            let visits = others(store, from)?;
            if visits > 0 {
                return Err(Error::WouldDrop {
                    name: store.name().to_owned(),
                    visits,
                });
            }
        }
        match version {
            Some(VERSION) => {
                for table in TABLES {
                    store.batch(&format!("DELETE FROM {}", table.name))?;
                }
                store.batch("DELETE FROM units; DELETE FROM counts; DELETE FROM parts")?;
            }
            Some(_) => {
                store.drop_tables()?;
                store.make()?;
            }
            None => store.make()?,
        }
        for table in ["units", "counts", "parts"] {
            let rows = from.rows(&format!("SELECT * FROM {table}"), &[])?;
            store.insert(table, &rows)?;
        }
        let visits = from.rows("SELECT visit FROM visits ORDER BY visit", &[])?;
        for chunk in visits.chunks(CHUNK) {
            for (table, rows) in rows_of(from, chunk)? {
                store.insert(table, &rows)?;
            }
        }
        // Where trails lie in a store is known of those that are still there.
        store.batch(
            "DELETE FROM files f WHERE NOT EXISTS (SELECT 1 FROM visits v WHERE v.visit = f.visit)",
        )
    })?;
    store.analyze()?;
    Ok(staged.gathered)
}

/// How many visits a database has that are not here as far as there.
fn others(store: &mut Postgres, from: &mut dyn Store) -> Result<u64, Error> {
    // As every version of the tables has them.
    let sql = "SELECT trail, records FROM visits";
    let ours = from.rows(sql, &[])?;
    let ours = ours.iter().map(|row| (row[0].text(), row[1].int()));
    let ours: HashMap<&str, Option<i64>> = ours.collect();
    let theirs = store.rows(sql, &[])?;
    let is_other = |row: &&Row| {
        let here = ours.get(row[0].text());
        here.is_none_or(|records| *records < row[1].int())
    };
    Ok(theirs.iter().filter(is_other).count() as u64)
}

/// Every row of some visits that follow each other, by table. The first column is the visit.
pub(crate) fn rows_of(
    from: &mut dyn Store,
    visits: &[Row],
) -> Result<Vec<(&'static str, Vec<Row>)>, Error> {
    let (Some(first), Some(last)) = (visits.first(), visits.last()) else {
        return Ok(Vec::new());
    };
    let between = [first[0].clone(), last[0].clone()];
    let tables = TABLES.iter();
    let rows = tables.map(|table| Ok((table.name, from.rows(&table.select_between(), &between)?)));
    rows.collect()
}

/// Makes the index of these folders' trails anew on this machine, and compares the database with it, row by
/// row, as it is at one moment.
///
/// # Errors
/// [`Error`]. A difference is no error.
pub fn verify_in(
    database: &Database,
    folders: &[PathBuf],
    sheets: Option<&Path>,
) -> Result<Comparison, Error> {
    let mut store = Postgres::open(database)?;
    let mut staged = Staged::of(folders, sheets)?;
    let mut comparison = Comparison {
        anew: std::mem::take(&mut staged.gathered),
        ..Comparison::default()
    };
    // It looks at every row, and may take its time.
    store.batch("SET statement_timeout = 0")?;
    store.batch("BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY")?;
    comparison.compare(&mut store, staged.index.store.as_mut())?;
    store.batch("ROLLBACK")?;
    Ok(comparison)
}
