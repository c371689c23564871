//! The tables for other programs: CSV, JSON lines and Parquet.

use std::io::{self, Write};
use std::sync::Arc;

use parquet::data_type::{ByteArray, ByteArrayType, DoubleType, Int64Type};
use parquet::errors::ParquetError;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::{SerializedColumnWriter, SerializedFileWriter};
use parquet::schema::parser::parse_message_type;
use serde_json::{Map, Value as Json};

use crate::error::Error;
use crate::index::Index;
use crate::tables::{Of, Table};
use crate::value::{Row, Value};

/// How many visits are read at a time.
const CHUNK: usize = 500;
/// How many rows a group of a Parquet file has, about.
const GROUP: usize = 65_536;

/// In which form a table is handed on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Format {
    /// RFC 4180, UTF-8, a header line; an empty field for no value.
    Csv,
    /// An object on each line; `null` for no value.
    JsonLines,
    /// Apache Parquet, uncompressed but for its dictionaries; an optional column may have no value.
    Parquet,
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
        to: impl Write + Send,
    ) -> Result<u64, ExportError> {
        match format {
            Format::Csv => self.csv(table, to),
            Format::JsonLines => self.json_lines(table, to),
            Format::Parquet => self.parquet(table, to),
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

    fn parquet(
        &mut self,
        table: &'static Table,
        to: impl Write + Send,
    ) -> Result<u64, ExportError> {
        let schema = parse_message_type(&table.message()).map_err(refused)?;
        let properties = Arc::new(WriterProperties::builder().build());
        let mut file =
            SerializedFileWriter::new(to, Arc::new(schema), properties).map_err(refused)?;
        let mut group: Vec<Row> = Vec::new();
        let written = self.each(table, |rows| {
            group.extend(rows);
            if group.len() >= GROUP {
                write_group(&mut file, table, &group)?;
                group.clear();
            }
            Ok(())
        })?;
        if !group.is_empty() {
            write_group(&mut file, table, &group)?;
        }
        file.close().map_err(refused)?;
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

impl Table {
    /// Its schema as Parquet writes it.
    fn message(&self) -> String {
        let fields: Vec<String> = self
            .columns
            .iter()
            .map(|c| {
                let repetition = if c.always { "REQUIRED" } else { "OPTIONAL" };
                match c.of {
                    Of::Int => format!("{repetition} INT64 {};", c.name),
                    Of::Real => format!("{repetition} DOUBLE {};", c.name),
                    Of::Text => format!("{repetition} BYTE_ARRAY {} (UTF8);", c.name),
                }
            })
            .collect();
        format!("message {} {{ {} }}", self.name, fields.join(" "))
    }
}

fn write_group<W: Write + Send>(
    file: &mut SerializedFileWriter<W>,
    table: &Table,
    rows: &[Row],
) -> Result<(), ExportError> {
    let mut group = file.next_row_group().map_err(refused)?;
    for (n, column) in table.columns.iter().enumerate() {
        let mut writer = group
            .next_column()
            .map_err(refused)?
            .ok_or_else(|| io::Error::other("a column is missing in the schema"))?;
        let values = || rows.iter().map(move |row| &row[n]);
        let defined: Vec<i16> = values().map(|v| i16::from(*v != Value::Null)).collect();
        let defined = (!column.always).then_some(defined.as_slice());
        write_column(&mut writer, column.of, values(), defined).map_err(refused)?;
        writer.close().map_err(refused)?;
    }
    group.close().map_err(refused)?;
    Ok(())
}

fn write_column<'r>(
    writer: &mut SerializedColumnWriter<'_>,
    of: Of,
    values: impl Iterator<Item = &'r Value>,
    defined: Option<&[i16]>,
) -> Result<usize, ParquetError> {
    match of {
        Of::Int => {
            let values: Vec<i64> = values.filter_map(Value::int).collect();
            writer
                .typed::<Int64Type>()
                .write_batch(&values, defined, None)
        }
        Of::Real => {
            let values: Vec<f64> = values.filter_map(Value::real).collect();
            writer
                .typed::<DoubleType>()
                .write_batch(&values, defined, None)
        }
        Of::Text => {
            let values: Vec<ByteArray> = values
                .filter_map(|v| match v {
                    Value::Text(text) => Some(ByteArray::from(text.as_str())),
                    _ => None,
                })
                .collect();
            writer
                .typed::<ByteArrayType>()
                .write_batch(&values, defined, None)
        }
    }
}

fn refused(error: ParquetError) -> ExportError {
    ExportError::Write(match error {
        ParquetError::External(source) => io::Error::other(source),
        other => io::Error::other(other),
    })
}
