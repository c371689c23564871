//! The tables for other programs: CSV and JSON lines.

use std::io::{self, Write};

use serde_json::{Map, Value as Json};

use crate::error::Error;
use crate::index::Index;
use crate::tables::Table;
use crate::value::{Row, Value};

/// How many visits are read at a time.
const CHUNK: usize = 500;

/// In which form a table is handed on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Format {
    /// RFC 4180, UTF-8, a header line; an empty field for no value.
    Csv,
    /// An object on each line; `null` for no value.
    JsonLines,
}

/// Why an export stopped.
#[derive(Debug, thiserror::Error)]
pub enum ExportError {
    /// The index cannot be read.
    #[error(transparent)]
    Index(#[from] Error),
    /// The export cannot be written.
    #[error("the export cannot be written: {0}")]
    Write(#[from] io::Error),
}

impl Index {
    /// Writes a table, in the order of its key. Returns how many rows it has.
    ///
    /// # Errors
    /// [`ExportError`].
    pub fn export(
        &mut self,
        table: &'static Table,
        format: Format,
        to: impl Write,
    ) -> Result<u64, ExportError> {
        match format {
            Format::Csv => self.csv(table, to),
            Format::JsonLines => self.json_lines(table, to),
        }
    }

    fn csv(&mut self, table: &Table, to: impl Write) -> Result<u64, ExportError> {
        let mut csv = csv::Writer::from_writer(to);
        let names = table.columns.iter().map(|c| c.name);
        csv.write_record(names).map_err(io::Error::from)?;
        let written = self.each(table, |rows| {
            for row in rows {
                let fields = row.iter().map(|value| match value {
                    Value::Null => String::new(),
                    Value::Int(n) => n.to_string(),
                    // As JSON has it: the shortest digits that read back the same.
                    Value::Real(_) => value.json().to_string(),
                    Value::Text(text) => text.clone(),
                });
                csv.write_record(fields).map_err(io::Error::from)?;
            }
            Ok(())
        })?;
        csv.flush()?;
        Ok(written)
    }

    fn json_lines(&mut self, table: &Table, mut to: impl Write) -> Result<u64, ExportError> {
        let written = self.each(table, |rows| {
            for row in rows {
                let fields = table.columns.iter().zip(row);
                let object: Map<String, Json> = fields
                    .map(|(column, value)| (column.name.to_owned(), value.json()))
                    .collect();
                writeln!(to, "{}", Json::Object(object))?;
            }
            Ok(())
        })?;
        to.flush()?;
        Ok(written)
    }

    /// Hands on the rows of a table in the order of its key, some at a time.
    fn each(
        &mut self,
        table: &Table,
        mut take: impl FnMut(Vec<Row>) -> Result<(), ExportError>,
    ) -> Result<u64, ExportError> {
        let visits = self
            .store
            .rows("SELECT visit FROM visits ORDER BY visit", &[])?;
        let mut written = 0;
        for chunk in visits.chunks(CHUNK) {
            let (Some(first), Some(last)) = (chunk.first(), chunk.last()) else {
                continue;
            };
            let between = [first[0].clone(), last[0].clone()];
            let rows = self.store.rows(&table.select_between(), &between)?;
            written += rows.len() as u64;
            take(rows)?;
        }
        Ok(written)
    }
}
