//! An index in one SQLite file.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::types::{ToSqlOutput, ValueRef};
use rusqlite::{Connection, ErrorCode, OpenFlags, ToSql, params_from_iter};

use crate::error::Error;
use crate::store::Store;
use crate::tables::{VERSION, schema};
use crate::value::{Row, Value};

/// "OTIX": the file's application, at its bytes 68 to 71.
const APPLICATION: i64 = 0x4F54_4958;
/// How long a writer is waited for.
const PATIENCE: Duration = Duration::from_secs(5);
/// Statements that are kept ready.
const STATEMENTS: usize = 64;

/// How many words may begin with one that is searched, for each of them to be searched by itself.
const BEGINNINGS: usize = 64;
/// How long a beginning may be, in characters, that has its own list of visits.
const LISTED: usize = 3;
/// Bytes of words that are sorted at a time: while an index is filled, and afterwards.
const SORTED: [i64; 2] = [64 << 20, 1 << 20];

/// The words to search, as a table of words, and of how they begin, with the visits that have them. They
/// are put in by the order of the visits: each step back would end a part that has to be merged later.
/// The vocabulary counts the visits of every word that it tells, so the words have a list of their own; it
/// may have more of them, of visits that are gone.
const SEARCHED: &str = "
CREATE VIRTUAL TABLE searched USING fts5
  (words, content = 'words', content_rowid = 'visit', tokenize = 'ascii', detail = none, prefix = '1 2 3');
CREATE VIRTUAL TABLE vocabulary USING fts5vocab (searched, row);
CREATE TABLE terms (term TEXT PRIMARY KEY) WITHOUT ROWID;
";
const FILL_SEARCHED: &str = "
INSERT INTO searched (rowid, words) SELECT visit, words FROM words ORDER BY visit;
INSERT INTO searched (searched) VALUES ('optimize');
INSERT INTO terms SELECT term FROM vocabulary;
";
const KEEP_SEARCHED: &str = "
CREATE TRIGGER words_in AFTER INSERT ON words BEGIN
  INSERT INTO searched (rowid, words) VALUES (new.visit, new.words);
END;
CREATE TRIGGER words_out AFTER DELETE ON words BEGIN
  INSERT INTO searched (searched, rowid, words) VALUES ('delete', old.visit, old.words);
END;
";

/// An index in a file.
#[derive(Debug)]
pub(crate) struct Sqlite {
    connection: Connection,
    name: String,
    /// The SQL that puts a row in each table.
    inserts: BTreeMap<&'static str, String>,
}

impl Sqlite {
    /// A new index. While it is filled it is not safe from a power cut: it is put in its place when
    /// it is whole.
    pub(crate) fn create(path: &Path) -> Result<Self, Error> {
        let connection = Connection::open(path).map_err(|e| refused(path, &e))?;
        let mut store = Sqlite::with(connection, path)?;
        store.batch(
            "PRAGMA journal_mode = OFF; PRAGMA synchronous = OFF; PRAGMA cache_size = -65536",
        )?;
        store.batch(&schema("TEXT"))?;
        store.batch(&format!(
            "PRAGMA application_id = {APPLICATION}; PRAGMA user_version = {VERSION}"
        ))?;
        Ok(store)
    }

    /// An index that is there.
    pub(crate) fn open(path: &Path) -> Result<Self, Error> {
        let (mut store, found) = Sqlite::open_any(path)?;
        if found != VERSION {
            return Err(Error::OtherVersion {
                name: store.name,
                found,
                ours: VERSION,
            });
        }
        // Readers go on while it is written to. The file is read and not mapped: a page that the disk cannot
        // give is then the error of one question, and not the end of a program that has visits open.
        store.batch("PRAGMA journal_mode = WAL; PRAGMA synchronous = NORMAL")?;
        Ok(store)
    }

    /// An index of any version, and which.
    pub(crate) fn open_any(path: &Path) -> Result<(Self, i64), Error> {
        let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let connection = Connection::open_with_flags(path, flags).map_err(|e| refused(path, &e))?;
        let store = Sqlite::with(connection, path)?;
        if store.pragma("application_id")? != APPLICATION {
            return Err(Error::NotAnIndex { name: store.name });
        }
        let version = store.pragma("user_version")?;
        Ok((store, version))
    }

    fn with(connection: Connection, path: &Path) -> Result<Self, Error> {
        connection
            .busy_timeout(PATIENCE)
            .map_err(|e| refused(path, &e))?;
        connection.set_prepared_statement_cache_capacity(STATEMENTS);
        Ok(Sqlite {
            connection,
            name: path.display().to_string(),
            inserts: BTreeMap::new(),
        })
    }

    fn pragma(&self, name: &str) -> Result<i64, Error> {
        self.connection
            .pragma_query_value(None, name, |row| row.get(0))
            .map_err(|e| self.refused(&e))
    }

    fn refused(&self, error: &rusqlite::Error) -> Error {
        refused(&PathBuf::from(&self.name), error)
    }

    fn try_rows(&self, sql: &str, with: &[Value]) -> rusqlite::Result<Vec<Row>> {
        let mut statement = self.connection.prepare_cached(sql)?;
        let columns = statement.column_count();
        let mut rows = statement.query(params_from_iter(with))?;
        let mut all = Vec::new();
        while let Some(row) = rows.next()? {
            let values = (0..columns).map(|n| row.get_ref(n).map(value));
            all.push(values.collect::<rusqlite::Result<Row>>()?);
        }
        Ok(all)
    }
}

impl Store for Sqlite {
    fn name(&self) -> &str {
        &self.name
    }

    fn rows(&mut self, sql: &str, with: &[Value]) -> Result<Vec<Row>, Error> {
        self.try_rows(sql, with).map_err(|e| self.refused(&e))
    }

    fn run(&mut self, sql: &str, with: &[Value]) -> Result<(), Error> {
        let done = self
            .connection
            .prepare_cached(sql)
            .and_then(|mut statement| statement.execute(params_from_iter(with)));
        done.map(|_| ()).map_err(|e| self.refused(&e))
    }

    fn insert(&mut self, table: &'static str, rows: &[Row]) -> Result<(), Error> {
        let Some(first) = rows.first() else {
            return Ok(());
        };
        let sql = self.inserts.entry(table).or_insert_with(|| {
            let values: Vec<String> = (1..=first.len()).map(|n| format!("${n}")).collect();
            format!("INSERT INTO {table} VALUES ({})", values.join(", "))
        });
        let put = || -> rusqlite::Result<()> {
            let mut statement = self.connection.prepare_cached(sql)?;
            for row in rows {
                statement.execute(params_from_iter(row))?;
            }
            Ok(())
        };
        put().map_err(|e| refused(Path::new(&self.name), &e))
    }

    fn list_words(&mut self, words: &str) -> Result<(), Error> {
        for word in words.split(' ').filter(|word| !word.is_empty()) {
            self.run("INSERT OR IGNORE INTO terms VALUES ($1)", &[word.into()])?;
        }
        Ok(())
    }

    fn batch(&mut self, sql: &str) -> Result<(), Error> {
        self.connection
            .execute_batch(sql)
            .map_err(|e| self.refused(&e))
    }

    fn search(&mut self, words: &[String], limit: u32) -> Result<Vec<i64>, Error> {
        let mut all = Vec::with_capacity(words.len());
        for word in words {
            match self.beginning(word)? {
                Some(one) => all.push(one),
                None => return Ok(Vec::new()),
            }
        }
        let sql = "SELECT rowid FROM searched WHERE searched MATCH $1 ORDER BY rowid DESC LIMIT $2";
        let rows = self.rows(sql, &[all.join(" AND ").into(), limit.into()])?;
        Ok(rows.iter().filter_map(|row| row[0].int()).collect())
    }

    fn these(&self) -> &'static str {
        "SELECT value FROM json_each('[' || $1 || ']')"
    }

    fn make_searched(&mut self) -> Result<(), Error> {
        let sorted = |bytes: i64| {
            format!("INSERT INTO searched (searched, rank) VALUES ('hashsize', {bytes});")
        };
        self.batch(SEARCHED)?;
        self.batch(&sorted(SORTED[0]))?;
        self.batch(FILL_SEARCHED)?;
        self.batch(&sorted(SORTED[1]))?;
        self.batch(KEEP_SEARCHED)
    }

    fn check(&mut self) -> Result<(), Error> {
        // The words that are searched are those of the table, and every page is whole.
        self.batch("INSERT INTO searched (searched, rank) VALUES ('integrity-check', 1)")?;
        let unlisted =
            "SELECT term FROM vocabulary WHERE term NOT IN (SELECT term FROM terms) LIMIT 1";
        if let Some(row) = self.rows(unlisted, &[])?.first() {
            return Err(self.damaged(&format!("\"{}\" is not among its words", row[0].text())));
        }
        let found = self.rows("PRAGMA quick_check(1)", &[])?;
        match found.first().map(|row| row[0].text()) {
            Some("ok") => Ok(()),
            said => Err(self.damaged(said.unwrap_or_default())),
        }
    }
}

impl Sqlite {
    /// What is searched for words that begin so; none if no word does.
    ///
    /// Of a beginning without a list of its own, SQLite first merges the lists of every word that begins
    /// so, whole. Where these are few they are named instead: their lists are only read as far as needed.
    fn beginning(&mut self, word: &str) -> Result<Option<String>, Error> {
        let any = format!("\"{word}\"*");
        if word.chars().count() <= LISTED {
            return Ok(Some(any));
        }
        let sql = "SELECT term FROM terms WHERE term >= $1 AND term < $2 LIMIT $3";
        let most = i64::try_from(BEGINNINGS).unwrap_or(i64::MAX) + 1;
        let behind = format!("{word}{}", char::MAX);
        let found = self.rows(sql, &[word.into(), behind.into(), most.into()])?;
        Ok(match found.len() {
            0 => None,
            n if n > BEGINNINGS => Some(any),
            _ => {
                let each: Vec<String> = found
                    .iter()
                    .map(|row| format!("\"{}\"", row[0].text()))
                    .collect();
                Some(format!("({})", each.join(" OR ")))
            }
        })
    }

    fn damaged(&self, what: &str) -> Error {
        Error::Damaged {
            name: self.name.clone(),
            what: what.to_owned(),
        }
    }
}

fn refused(path: &Path, error: &rusqlite::Error) -> Error {
    let name = path.display().to_string();
    match error.sqlite_error_code() {
        Some(ErrorCode::NotADatabase) => Error::NotAnIndex { name },
        Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => Error::Held { name },
        Some(ErrorCode::DatabaseCorrupt) => Error::Damaged {
            name,
            what: error.to_string(),
        },
        _ => Error::Store {
            name,
            why: error.to_string(),
        },
    }
}

impl ToSql for Value {
    fn to_sql(&self) -> rusqlite::Result<ToSqlOutput<'_>> {
        Ok(ToSqlOutput::Borrowed(match self {
            Value::Null => ValueRef::Null,
            Value::Int(n) => ValueRef::Integer(*n),
            Value::Real(x) => ValueRef::Real(*x),
            Value::Text(text) => ValueRef::Text(text.as_bytes()),
        }))
    }
}

fn value(of: ValueRef<'_>) -> Value {
    match of {
        ValueRef::Null => Value::Null,
        ValueRef::Integer(n) => Value::Int(n),
        ValueRef::Real(x) => Value::Real(x),
        ValueRef::Text(text) | ValueRef::Blob(text) => {
            Value::Text(String::from_utf8_lossy(text).into_owned())
        }
    }
}
