//! The index: what is put into it, and what is taken out.

use std::collections::BTreeSet;
use std::fmt;
use std::path::{Path, PathBuf};

use crate::error::Error;
use crate::fold::Folded;
use crate::lock::Lock;
use crate::postgres::{Database, Postgres};
use crate::sheets::Sheets;
use crate::sqlite::Sqlite;
use crate::store::Store;
use crate::tables::{TABLES, WORDS};
use crate::value::Value;

/// The shop index: rows of every trail, for questions over many visits. It is made of the trails
/// alone, and can be made anew from them at any time.
pub struct Index {
    pub(crate) store: Box<dyn Store>,
    /// Whether it is new and being filled: what is derived is derived at the end.
    filling: bool,
    /// Held while it is open; none of one that nobody else knows of.
    _lock: Option<Lock>,
}

impl fmt::Debug for Index {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_tuple("Index").field(&self.store.name()).finish()
    }
}

/// What the index was told when it was made.
const FOLDERS: &str = "folders";
const SHEETS: &str = "sheets";
const SHEETS_FOLDER: &str = "sheets-folder";

impl Index {
    /// A new index in a file that is not there.
    pub(crate) fn create(path: &Path) -> Result<Self, Error> {
        Ok(Index {
            store: Box::new(Sqlite::create(path)?),
            filling: true,
            _lock: None,
        })
    }

    /// The index in this file.
    ///
    /// # Errors
    /// [`Error::Missing`], [`Error::NotAnIndex`], [`Error::OtherVersion`], and what the store says.
    pub fn open(path: &Path) -> Result<Self, Error> {
        Index::open_with(path, Sqlite::open)
    }

    /// What the index in this file was told, of whatever version it is: the folders of its trails, and
    /// that of the shop's own sheets.
    ///
    /// # Errors
    /// [`Error::Missing`], [`Error::NotAnIndex`], and what the store says.
    pub fn told_at(path: &Path) -> Result<(Vec<PathBuf>, Option<PathBuf>), Error> {
        let any = |path: &Path| Sqlite::open_any(path).map(|(store, _)| store);
        let mut index = Index::open_with(path, any)?;
        Ok((index.folders()?, index.sheets_folder()?))
    }

    fn open_with(
        path: &Path,
        open: impl FnOnce(&Path) -> Result<Sqlite, Error>,
    ) -> Result<Self, Error> {
        if !path.is_file() {
            return Err(Error::Missing {
                path: path.to_path_buf(),
            });
        }
        let lock = Lock::to_read(path)?;
        match open(path) {
            Ok(store) => Ok(Index {
                store: Box::new(store),
                filling: false,
                _lock: Some(lock),
            }),
            Err(error) => {
                if matches!(error, Error::NotAnIndex { .. }) {
                    Lock::forget(path)?;
                }
                Err(error)
            }
        }
    }

    /// One beside another, that nobody else knows of.
    pub(crate) fn open_own(path: &Path) -> Result<Self, Error> {
        Ok(Index {
            store: Box::new(Sqlite::open(path)?),
            filling: false,
            _lock: None,
        })
    }

    /// The index in a database.
    ///
    /// # Errors
    /// [`Error::Empty`], [`Error::OtherVersionThere`], [`Error::Store`].
    pub fn at(database: &Database) -> Result<Self, Error> {
        Ok(Index {
            store: Box::new(Postgres::open(database)?),
            filling: false,
            _lock: None,
        })
    }

    /// What errors call it.
    #[must_use]
    pub fn name(&self) -> &str {
        self.store.name()
    }

    pub(crate) fn path(&self) -> &Path {
        Path::new(self.store.name())
    }

    /// Puts a trail's rows in, in place of those of the same visit.
    pub(crate) fn put(&mut self, folded: &Folded, anew: bool) -> Result<(), Error> {
        if !anew {
            self.remove(folded.visit)?;
        }
        for (table, row) in &folded.rows {
            self.store.insert(table.name, std::slice::from_ref(row))?;
            if table.name == WORDS.name && !self.filling {
                self.store.list_words(row[1].text())?;
            }
        }
        self.count_parts(folded.visit, 1)
    }

    /// Takes a visit's rows out.
    pub(crate) fn remove(&mut self, visit: i64) -> Result<(), Error> {
        self.count_parts(visit, -1)?;
        for table in TABLES {
            let sql = format!("DELETE FROM {} WHERE visit = $1", table.name);
            self.store.run(&sql, &[visit.into()])?;
        }
        Ok(())
    }

    /// Adds a visit to what is counted of kinds of parts, or takes it out.
    fn count_parts(&mut self, visit: i64, by: i64) -> Result<(), Error> {
        if self.filling {
            return Ok(());
        }
        let sql = counts("visit = $2", "$1");
        self.store.run(&sql, &[by.into(), visit.into()])?;
        self.store.run("DELETE FROM counts WHERE n = 0", &[])
    }

    /// Derives what was left while it was filled.
    pub(crate) fn filled(&mut self, is_searched: bool) -> Result<(), Error> {
        self.store.run(&counts("visit IS NOT NULL", "1"), &[])?;
        if is_searched {
            self.store.make_searched()?;
        }
        self.filling = false;
        Ok(())
    }

    /// Counts these units' visits anew.
    pub(crate) fn count(&mut self, units: &BTreeSet<(String, bool)>) -> Result<(), Error> {
        for (unit, simulated) in units {
            let which: [Value; 2] = [unit.as_str().into(), (*simulated).into()];
            self.store.run(
                "DELETE FROM units WHERE unit = $1 AND simulated = $2",
                &which,
            )?;
            self.store.run(
                "INSERT INTO units SELECT unit, simulated, \
                 (SELECT sheet FROM visits WHERE unit = $1 AND simulated = $2 ORDER BY visit DESC LIMIT 1), \
                 count(*), min(opened_us), max(opened_us) \
                 FROM visits WHERE unit = $1 AND simulated = $2 AND unit <> '' GROUP BY unit, simulated",
                &which,
            )?;
        }
        Ok(())
    }

    /// The folders and files that its trails are looked for in.
    ///
    /// # Errors
    /// What the store says.
    pub fn folders(&mut self) -> Result<Vec<PathBuf>, Error> {
        let told = self.told(FOLDERS)?.unwrap_or_default();
        Ok(told
            .split('\n')
            .filter(|f| !f.is_empty())
            .map(PathBuf::from)
            .collect())
    }

    /// The folder of the shop's own sheets, if it was told of one.
    ///
    /// # Errors
    /// What the store says.
    pub fn sheets_folder(&mut self) -> Result<Option<PathBuf>, Error> {
        Ok(self.told(SHEETS_FOLDER)?.map(PathBuf::from))
    }

    pub(crate) fn tell_folders(
        &mut self,
        folders: &[PathBuf],
        sheets: Option<&Path>,
    ) -> Result<(), Error> {
        let folders: Vec<String> = folders.iter().map(|f| f.display().to_string()).collect();
        self.tell(FOLDERS, Some(&folders.join("\n")))?;
        self.tell(
            SHEETS_FOLDER,
            sheets.map(|f| f.display().to_string()).as_deref(),
        )
    }

    /// Whether its rows were made with these sheets.
    pub(crate) fn knows(&mut self, sheets: &Sheets) -> Result<bool, Error> {
        Ok(self.told(SHEETS)? == Some(sheets.hash().to_string()))
    }

    /// Keeps the parts of these sheets.
    pub(crate) fn learn(&mut self, sheets: &Sheets) -> Result<(), Error> {
        self.store.run("DELETE FROM parts", &[])?;
        for row in sheets.parts() {
            self.store.run(
                "INSERT INTO parts VALUES ($1, $2, $3)",
                &row.map(Value::from),
            )?;
        }
        self.tell(SHEETS, Some(&sheets.hash().to_string()))
    }

    fn told(&mut self, what: &str) -> Result<Option<String>, Error> {
        let sql = "SELECT value FROM told WHERE what = $1";
        let rows = self.store.rows(sql, &[what.into()])?;
        Ok(rows.first().and_then(|row| row[0].some_text()))
    }

    fn tell(&mut self, what: &str, value: Option<&str>) -> Result<(), Error> {
        self.store
            .run("DELETE FROM told WHERE what = $1", &[what.into()])?;
        match value {
            Some(value) => self.store.run(
                "INSERT INTO told VALUES ($1, $2)",
                &[what.into(), value.into()],
            ),
            None => Ok(()),
        }
    }

    /// Runs changes as one transaction.
    pub(crate) fn together<T>(
        &mut self,
        change: impl FnOnce(&mut Index) -> Result<T, Error>,
    ) -> Result<T, Error> {
        self.store.batch("BEGIN IMMEDIATE")?;
        match change(self) {
            Ok(done) => {
                self.store.batch("COMMIT")?;
                Ok(done)
            }
            Err(error) => {
                // What went wrong first is what counts.
                let _ = self.store.batch("ROLLBACK");
                Err(error)
            }
        }
    }
}

/// The SQL that adds to what is counted, of these visits: those that came to a conclusion by sheet, and
/// those that found a fault by the kind of its part, and by how it failed.
pub(crate) fn counts(of: &str, by: &str) -> String {
    format!(
        "INSERT INTO counts (what, simulated, name, mode, n) \
         SELECT 'sheet', simulated, sheet, '', {by} * count(*) FROM visits \
         WHERE {of} AND outcome IN ('faults', 'no-fault', 'none-of-these') GROUP BY simulated, sheet \
         UNION ALL \
         SELECT 'kind', simulated, kind, '', {by} * count(DISTINCT visit) FROM findings \
         WHERE {of} AND kind IS NOT NULL GROUP BY simulated, kind \
         UNION ALL \
         SELECT 'mode', simulated, kind, mode, {by} * count(DISTINCT visit) FROM findings \
         WHERE {of} AND kind IS NOT NULL GROUP BY simulated, kind, mode \
         ON CONFLICT (what, simulated, name, mode) DO UPDATE SET n = counts.n + excluded.n"
    )
}
