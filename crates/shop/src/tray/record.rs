//! What was written down of a tray: a CSV, a line for each value, in the order in which they were taken.
//! Lines with `#` before the columns' names say what the tray was.

use ohmtrail_core::verdict::Decision;
use ohmtrail_trail::Displayed;
use serde::{Deserialize, Serialize};

use super::run::Take;
use super::script::Script;
use crate::table::{TableError, comments};

/// One value of one part.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Row {
    /// Which part, from 1.
    pub part: u32,
    /// What was read.
    pub step: String,
    /// The meter's function.
    pub function: String,
    /// The digits, or `OL`.
    pub display: String,
    /// Their UCUM unit.
    pub unit: String,
    /// The value in the function's base unit; none for an overload.
    pub value: Option<f64>,
    /// Its standard uncertainty.
    pub uncertainty: Option<f64>,
    /// The lower limit, base unit.
    pub low: Option<f64>,
    /// The upper limit, base unit.
    pub high: Option<f64>,
    /// How it stands; none where it is written down only.
    pub decision: Option<Decision>,
    /// Where the limit comes from, or why there is no verdict.
    pub by: String,
}

impl Row {
    /// A take as it is written down.
    #[must_use]
    pub fn of(script: &Script, take: &Take) -> Row {
        let step = script.steps.get(take.step);
        let function = step.map(|s| s.function);
        let displayed = function.map(|f| Displayed::of(f, take.shown));
        let (display, unit) = displayed.map_or_else(Default::default, |d| (d.digits, d.unit));
        Row {
            part: take.part,
            step: step.map_or_else(String::new, |s| s.name.clone()),
            function: function.map_or("", |f| f.name()).to_owned(),
            display,
            unit,
            value: take.measured.map(|m| m.value),
            uncertainty: take.measured.map(|m| m.u),
            low: take.outcome.low,
            high: take.outcome.high,
            decision: take.outcome.decision,
            by: take.outcome.by.clone(),
        }
    }
}

/// The beginning of a record: what the tray is, a line each, and the columns' names.
#[must_use]
pub fn head(about: &[String]) -> String {
    let mut text: String = about
        .iter()
        .map(|line| format!("# {}\n", line.replace(['\r', '\n'], " ")))
        .collect();
    text.push_str("part,step,function,display,unit,value,uncertainty,low,high,decision,by\n");
    text
}

/// A row as a line.
///
/// # Errors
/// What the CSV writer says.
pub fn line(row: &Row) -> Result<Vec<u8>, csv::Error> {
    let mut writer = csv::WriterBuilder::new()
        .has_headers(false)
        .from_writer(Vec::new());
    writer.serialize(row)?;
    writer
        .into_inner()
        .map_err(|e| csv::Error::from(e.into_error()))
}

/// Reads a record back.
///
/// # Errors
/// Everything that is wrong with the file.
pub fn read(file: &str, bytes: &[u8]) -> Result<Vec<Row>, TableError> {
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    let (before, bytes) = comments(bytes);
    let mut reader = csv::ReaderBuilder::new()
        .trim(csv::Trim::All)
        .from_reader(bytes);
    let (mut rows, mut troubles) = (Vec::new(), Vec::new());
    for row in reader.deserialize() {
        match row {
            Ok(row) => rows.push(row),
            Err(error) => {
                let error: csv::Error = error;
                let line = error.position().map_or(1, csv::Position::line);
                troubles.push((before + line, error.to_string()));
            }
        }
    }
    if rows.is_empty() && troubles.is_empty() {
        troubles.push((before + 1, "no part was written down in it".to_owned()));
    }
    if troubles.is_empty() {
        Ok(rows)
    } else {
        Err(TableError {
            file: file.to_owned(),
            troubles,
        })
    }
}
