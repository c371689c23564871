//! An index in a PostgreSQL database, in a schema of its own.

mod place;

use std::collections::HashMap;
use std::error::Error as _;

use ::postgres::binary_copy::BinaryCopyInWriter;
use ::postgres::error::SqlState;
use ::postgres::types::{IsNull, ToSql, Type, to_sql_checked};
use ::postgres::{Client, Statement};
use bytes::BytesMut;

pub use place::Database;

use crate::error::Error;
use crate::store::Store;
use crate::tables::{TABLES, VERSION, schema};
use crate::value::{Row, Value};

/// The schema that the tables are in.
const SCHEMA: &str = "ohmtrail";
/// Text is ordered by its bytes, whatever the database's own order is.
const TEXT: &str = "TEXT COLLATE \"C\"";
/// Held by whoever writes, until the transaction ends: "OTIX", as SQLite's files begin.
const WRITING: i64 = 0x4F54_4958;
/// What a connection begins with. Another writer is waited for so long.
const BEGIN: &str = "SET search_path = ohmtrail; SET lock_timeout = '30s'; SET statement_timeout = 0; \
                     SET client_min_messages = warning";
/// How long the server may work on one statement of who only asks.
const ASKING: &str = "SET statement_timeout = '30s'";
/// What the words are searched by: the words as they stand, for ours are split already.
const LEXEMES: &str = "array_to_tsvector(string_to_array(words, ' '))";
/// So many of the latest visits are looked through before the index on words is asked: one word in forty, and
/// rarer ones, are left to it where 50 visits are wanted.
const LATEST: u32 = 2000;
/// Statements that are kept ready.
const STATEMENTS: usize = 64;
/// The tables that stand beside those of the visits.
const BESIDE: [&str; 5] = ["parts", "units", "counts", "files", "told"];

/// An index in a database.
pub(crate) struct Postgres {
    client: Client,
    name: String,
    ready: HashMap<String, Statement>,
    /// The types of the columns of each table that was written to.
    types: HashMap<&'static str, Vec<Type>>,
}

impl Postgres {
    /// A connection, whatever the database holds.
    pub(crate) fn connect(database: &Database) -> Result<Self, Error> {
        let mut store = Postgres {
            client: database.connect()?,
            name: database.name().to_owned(),
            ready: HashMap::new(),
            types: HashMap::new(),
        };
        store.batch(BEGIN)?;
        Ok(store)
    }

    /// An index that is there, to ask it.
    pub(crate) fn open(database: &Database) -> Result<Self, Error> {
        let mut store = Postgres::connect(database)?;
        store.batch(ASKING)?;
        match store.version()? {
            Some(VERSION) => Ok(store),
            Some(found) => Err(store.other_version(found)),
            None => Err(Error::Empty { name: store.name }),
        }
    }

    /// An index that is there, or else a new one.
    pub(crate) fn open_or_make(database: &Database) -> Result<Self, Error> {
        let mut store = Postgres::connect(database)?;
        if store.version()?.is_none() {
            store.writing(|store| match store.version()? {
                None => store.make(),
                Some(_) => Ok(()),
            })?;
        }
        match store.version()? {
            Some(VERSION) => Ok(store),
            Some(found) => Err(store.other_version(found)),
            None => Err(Error::Empty { name: store.name }),
        }
    }

    fn other_version(&self, found: i64) -> Error {
        Error::OtherVersionThere {
            name: self.name.clone(),
            found,
            ours: VERSION,
        }
    }

    /// The version of the index that is there.
    pub(crate) fn version(&mut self) -> Result<Option<i64>, Error> {
        // Looked up as rows: what a connection remembers of names may be from before it waited for another
        // writer.
        let sql = "SELECT tablename::text FROM pg_tables WHERE schemaname = 'ohmtrail' AND tablename = 'told'";
        if self.rows(sql, &[])?.is_empty() {
            return Ok(None);
        }
        // By its whole name: without the right to the schema, it is that which is said.
        let sql = "SELECT value FROM ohmtrail.told WHERE what = 'version'";
        let rows = self.rows(sql, &[])?;
        let said = rows.first().map(|row| row[0].text().to_owned());
        Ok(Some(said.and_then(|v| v.parse().ok()).unwrap_or(-1)))
    }

    /// Makes the tables.
    pub(crate) fn make(&mut self) -> Result<(), Error> {
        let encoding = self.rows("SELECT current_setting('server_encoding')", &[])?;
        let encoding = encoding.first().map(|row| row[0].text().to_owned());
        if encoding.as_deref() != Some("UTF8") {
            return Err(Error::Store {
                name: self.name.clone(),
                why: format!(
                    "its encoding is {}, and trails are UTF-8: make the database with ENCODING 'UTF8'",
                    encoding.unwrap_or_default()
                ),
            });
        }
        // Who may not make a schema may have been given one.
        let there = "SELECT nspname::text FROM pg_namespace WHERE nspname = 'ohmtrail'";
        if self.rows(there, &[])?.is_empty() {
            self.batch(&format!("CREATE SCHEMA {SCHEMA}"))?;
        }
        self.batch(&schema(TEXT))?;
        self.batch(&format!(
            "CREATE INDEX words_searched ON words USING gin ({LEXEMES})"
        ))?;
        let version = VERSION.to_string();
        self.insert("told", &[vec!["version".into(), version.into()]])
    }

    /// Takes tables of another version away. What else is in the schema is not ours.
    pub(crate) fn drop_tables(&mut self) -> Result<(), Error> {
        for name in tables() {
            self.batch(&format!("DROP TABLE IF EXISTS {SCHEMA}.{name}"))?;
        }
        self.ready.clear();
        self.types.clear();
        Ok(())
    }

    /// Runs changes as one transaction, while nobody else writes.
    pub(crate) fn writing<T>(
        &mut self,
        change: impl FnOnce(&mut Postgres) -> Result<T, Error>,
    ) -> Result<T, Error> {
        self.batch("BEGIN")?;
        let done = self.lock().and_then(|()| change(self));
        match done {
            Ok(done) => {
                self.batch("COMMIT")?;
                Ok(done)
            }
            Err(error) => {
                // What went wrong first is what counts.
                let _ = self.batch("ROLLBACK");
                Err(error)
            }
        }
    }

    /// Waits until nobody else writes; until the transaction ends, nobody else does.
    pub(crate) fn lock(&mut self) -> Result<(), Error> {
        self.run("SELECT pg_advisory_xact_lock($1)", &[WRITING.into()])
    }

    /// Lets the planner look at the tables; who does not own them leaves that to the server.
    pub(crate) fn analyze(&mut self) -> Result<(), Error> {
        self.batch("ANALYZE visits, takes, findings, words, units, fitted, decisions, files")
    }

    fn ready(&mut self, sql: &str) -> Result<Statement, Error> {
        if let Some(statement) = self.ready.get(sql) {
            return Ok(statement.clone());
        }
        let statement = self.client.prepare(sql);
        let statement = statement.map_err(|e| self.refused(&e))?;
        if self.ready.len() >= STATEMENTS {
            self.ready.clear();
        }
        self.ready.insert(sql.to_owned(), statement.clone());
        Ok(statement)
    }

    fn refused(&self, error: &::postgres::Error) -> Error {
        let name = self.name.clone();
        let mut why = said(error);
        let is_unfit = error.source().is_some_and(|e| e.is::<Unfit>());
        match error.code() {
            Some(&SqlState::LOCK_NOT_AVAILABLE) => return Error::Held { name },
            Some(code) if OF_ROWS.iter().any(|class| code.code().starts_with(class)) => {
                return Error::NotTaken { name, why };
            }
            None if is_unfit => return Error::NotTaken { name, why },
            Some(&SqlState::INSUFFICIENT_PRIVILEGE) => why.push_str(
                "; docs/shop-index.md names the rights of a user who writes, and of one who only asks",
            ),
            _ => {}
        }
        Error::Store { name, why }
    }

    fn try_insert(
        &mut self,
        table: &str,
        types: &[Type],
        rows: &[Row],
    ) -> Result<(), ::postgres::Error> {
        let sql = format!("COPY {table} FROM STDIN (FORMAT binary)");
        let mut writer = BinaryCopyInWriter::new(self.client.copy_in(&sql)?, types);
        for row in rows {
            writer.write_raw(row.iter())?;
        }
        writer.finish().map(|_| ())
    }
}

impl Store for Postgres {
    fn name(&self) -> &str {
        &self.name
    }

    fn rows(&mut self, sql: &str, with: &[Value]) -> Result<Vec<Row>, Error> {
        let statement = self.ready(sql)?;
        let found = self.client.query(&statement, &parameters(with));
        let found = found.map_err(|e| self.refused(&e))?;
        let rows: Result<Vec<Row>, _> = found.iter().map(row).collect();
        rows.map_err(|e| self.refused(&e))
    }

    fn run(&mut self, sql: &str, with: &[Value]) -> Result<(), Error> {
        let statement = self.ready(sql)?;
        let done = self.client.execute(&statement, &parameters(with));
        done.map(|_| ()).map_err(|e| self.refused(&e))
    }

    fn batch(&mut self, sql: &str) -> Result<(), Error> {
        let done = self.client.batch_execute(sql);
        done.map_err(|e| self.refused(&e))
    }

    /// By a copy: however many rows they are, they are not waited for one by one.
    fn insert(&mut self, table: &'static str, rows: &[Row]) -> Result<(), Error> {
        if rows.is_empty() {
            return Ok(());
        }
        let types = match self.types.get(table) {
            Some(types) => types.clone(),
            None => {
                let statement = self.ready(&format!("SELECT * FROM {table}"))?;
                let types = statement.columns().iter().map(|c| c.type_().clone());
                let types: Vec<Type> = types.collect();
                self.types.insert(table, types.clone());
                types
            }
        };
        if let Some(row) = rows.iter().find(|row| row.len() != types.len()) {
            return Err(Error::Store {
                name: self.name.clone(),
                why: format!(
                    "its table {table} has {} columns, and this program's {}: somebody changed it; the schema \
                     {SCHEMA} is for this program's tables as it makes them",
                    types.len(),
                    row.len()
                ),
            });
        }
        let put = self.try_insert(table, &types, rows);
        put.map_err(|e| self.refused(&e))
    }

    /// The words are searched where they stand.
    fn list_words(&mut self, _words: &str) -> Result<(), Error> {
        Ok(())
    }

    /// See [`Postgres::list_words`].
    fn make_searched(&mut self) -> Result<(), Error> {
        Ok(())
    }

    /// What is frequent is soon found among the latest visits; the index on words is asked for what is not, and then
    /// for all of it: the planner cannot tell the two apart by how a word begins.
    fn search(&mut self, words: &[String], limit: u32) -> Result<Vec<i64>, Error> {
        // A word is letters and digits, so that nothing in it ends the quotes.
        let each: Vec<String> = words.iter().map(|word| format!("'{word}':*")).collect();
        let with = [each.join(" & ").into(), limit.into()];
        let found = format!("{LEXEMES} @@ $1::text::tsquery");
        let among_latest = format!(
            "SELECT visit FROM (SELECT visit, words FROM words ORDER BY visit DESC LIMIT {LATEST}) AS latest \
             WHERE {found} ORDER BY visit DESC LIMIT $2"
        );
        let mut rows = self.rows(&among_latest, &with)?;
        if rows.len() < limit as usize {
            let all = format!(
                "WITH found AS MATERIALIZED (SELECT visit FROM words WHERE {found}) \
                 SELECT visit FROM found ORDER BY visit DESC LIMIT $2"
            );
            rows = self.rows(&all, &with)?;
        }
        Ok(rows.iter().filter_map(|row| row[0].int()).collect())
    }

    fn these(&self) -> &'static str {
        "SELECT unnest(string_to_array($1, ',')::bigint[])"
    }

    /// Pages and indexes are the server's own.
    fn check(&mut self) -> Result<(), Error> {
        Ok(())
    }
}

/// Every table of ours.
fn tables() -> impl Iterator<Item = &'static str> {
    TABLES.iter().map(|table| table.name).chain(BESIDE)
}

fn parameters(with: &[Value]) -> Vec<&(dyn ToSql + Sync)> {
    with.iter()
        .map(|value| value as &(dyn ToSql + Sync))
        .collect()
}

fn row(from: &::postgres::Row) -> Result<Row, ::postgres::Error> {
    let value = |n: usize, of: &Type| {
        Ok(match *of {
            Type::INT8 => from.try_get::<_, Option<i64>>(n)?.into(),
            Type::INT4 => from.try_get::<_, Option<i32>>(n)?.map(i64::from).into(),
            Type::FLOAT8 => from.try_get::<_, Option<f64>>(n)?.into(),
            _ => from.try_get::<_, Option<String>>(n)?.into(),
        })
    };
    let columns = from.columns().iter().enumerate();
    columns
        .map(|(n, column)| value(n, column.type_()))
        .collect()
}

/// The classes of refusals that are of the rows that were sent: data, constraints, limits.
const OF_ROWS: [&str; 3] = ["22", "23", "54"];

/// A value that its column does not take.
#[derive(Debug, thiserror::Error)]
#[error("{0}")]
struct Unfit(String);

impl ToSql for Value {
    fn to_sql(
        &self,
        of: &Type,
        out: &mut BytesMut,
    ) -> Result<IsNull, Box<dyn std::error::Error + Sync + Send>> {
        match (self, of) {
            (Value::Null, _) => Ok(IsNull::Yes),
            (Value::Int(n), &Type::INT8) => n.to_sql(of, out),
            (Value::Int(n), &Type::INT4) => i32::try_from(*n)
                .map_err(|e| Unfit(format!("{n}: {e}")))?
                .to_sql(of, out),
            (Value::Real(x), &Type::FLOAT8) => x.to_sql(of, out),
            (Value::Text(text), &Type::TEXT) => text.to_sql(of, out),
            (value, of) => Err(Unfit(format!("{} is no {of}", value.json())).into()),
        }
    }

    fn accepts(of: &Type) -> bool {
        matches!(*of, Type::INT8 | Type::INT4 | Type::FLOAT8 | Type::TEXT)
    }

    to_sql_checked!();
}

/// What the server said, or what is between it and here.
fn said(error: &::postgres::Error) -> String {
    if let Some(db) = error.as_db_error() {
        let more = [db.detail(), db.hint()].into_iter().flatten();
        let all: Vec<&str> = [db.message()].into_iter().chain(more).collect();
        return all.join("; ");
    }
    let mut said = error.to_string();
    let mut source = error.source();
    while let Some(inner) = source {
        let words = inner.to_string();
        if !said.contains(&words) {
            said.push_str(": ");
            said.push_str(&words);
        }
        source = inner.source();
    }
    said
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_table_is_known_by_name() {
        let sql = schema(TEXT);
        let made = sql.split("CREATE TABLE ").skip(1);
        let mut made: Vec<&str> = made.filter_map(|rest| rest.split(' ').next()).collect();
        let mut known: Vec<&str> = tables().collect();
        made.sort_unstable();
        known.sort_unstable();
        assert_eq!(made, known);
    }
}
