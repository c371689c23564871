//! Tables of measured values, as CSV: one line for each value. Everything wrong with a file is said
//! at once, each with its line.

use std::fmt;

/// One value of a repeatability study.
#[derive(Debug, Clone, PartialEq)]
pub struct Measured {
    /// The part that was measured.
    pub part: String,
    /// Who measured it, or with what: whatever is to be told apart.
    pub person: String,
    /// What was shown.
    pub value: f64,
}

/// One value of a reference part.
#[derive(Debug, Clone, PartialEq)]
pub struct Checked {
    /// When, as written; the order is the file's.
    pub when: String,
    /// What was shown.
    pub value: f64,
}

/// Everything that is wrong with a file.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub struct TableError {
    /// The file's name.
    pub file: String,
    /// The lines, from 1, and what is wrong there.
    pub troubles: Vec<(u64, String)>,
}

impl fmt::Display for TableError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (nth, (line, what)) in self.troubles.iter().enumerate() {
            if nth > 0 {
                writeln!(f)?;
            }
            write!(f, "{}: line {line}: {what}", self.file)?;
        }
        Ok(())
    }
}

/// Reads the columns `part`, `person` and `value`; without `person`, one person measured all.
///
/// # Errors
/// Everything that is wrong with the file.
pub fn measured(file: &str, bytes: &[u8]) -> Result<Vec<Measured>, TableError> {
    let rows = rows(file, bytes, &["part", "value"], &["person"])?;
    Ok(rows
        .into_iter()
        .map(|row| Measured {
            part: row.text("part"),
            person: row.text("person"),
            value: row.value,
        })
        .collect())
}

/// Reads the columns `when` and `value`, in the order of time.
///
/// # Errors
/// Everything that is wrong with the file.
pub fn checked(file: &str, bytes: &[u8]) -> Result<Vec<Checked>, TableError> {
    let rows = rows(file, bytes, &["when", "value"], &[])?;
    Ok(rows
        .into_iter()
        .map(|row| Checked {
            when: row.text("when"),
            value: row.value,
        })
        .collect())
}

/// A line of the file.
struct Row {
    texts: Vec<(&'static str, String)>,
    value: f64,
}

impl Row {
    fn text(&self, name: &str) -> String {
        let found = self.texts.iter().find(|(column, _)| *column == name);
        found.map_or_else(String::new, |(_, text)| text.clone())
    }
}

fn rows(
    file: &str,
    bytes: &[u8],
    needed: &[&'static str],
    may: &[&'static str],
) -> Result<Vec<Row>, TableError> {
    let wrong = |troubles| TableError {
        file: file.to_owned(),
        troubles,
    };
    // Spreadsheets write a byte-order mark before the first column's name.
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    let mut reader = csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .trim(csv::Trim::All)
        .from_reader(bytes);
    let columns = match reader.headers() {
        Ok(names) => names.clone(),
        Err(error) => return Err(wrong(vec![(1, error.to_string())])),
    };
    let known: Vec<&'static str> = needed.iter().chain(may).copied().collect();
    let mut troubles = Vec::new();
    for name in needed.iter().filter(|n| !columns.iter().any(|c| c == **n)) {
        let have: Vec<&str> = columns.iter().collect();
        let have = have.join(", ");
        troubles.push((1, format!("no column \"{name}\": it has {have}")));
    }
    for (nth, name) in columns.iter().enumerate() {
        if !known.contains(&name) {
            let known = known.join(", ");
            troubles.push((1, format!("column \"{name}\" is not known: {known}")));
        } else if columns.iter().take(nth).any(|before| before == name) {
            troubles.push((1, format!("column \"{name}\" is there twice")));
        }
    }
    if !troubles.is_empty() {
        return Err(wrong(troubles));
    }
    let mut rows = Vec::new();
    for record in reader.records() {
        let record = match record {
            Ok(record) => record,
            Err(error) => {
                let line = error.position().map_or(0, csv::Position::line);
                troubles.push((line, error.to_string()));
                continue;
            }
        };
        let line = record.position().map_or(0, csv::Position::line);
        let of = |name: &str| {
            let at = columns.iter().position(|column| column == name);
            at.and_then(|at| record.get(at)).unwrap_or_default()
        };
        let text = of("value");
        let value = text.parse::<f64>().ok().filter(|value| value.is_finite());
        for name in needed.iter().filter(|n| **n != "value") {
            if of(name).is_empty() {
                troubles.push((line, format!("column {name} is empty")));
            }
        }
        let Some(value) = value else {
            troubles.push((
                line,
                format!(
                    "\"{text}\" is no number: write the value alone, with a point, in one unit"
                ),
            ));
            continue;
        };
        let texts = known.iter().map(|name| (*name, of(name).to_owned()));
        rows.push(Row {
            texts: texts.collect(),
            value,
        });
    }
    if troubles.is_empty() {
        Ok(rows)
    } else {
        Err(wrong(troubles))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_table_is_read_with_its_comments() {
        let text = "\u{feff}part, person, value\n# invented\ncan 1, Ines, 35.2\ncan 1,Olaf,35.3\n";
        let read = measured("t.csv", text.as_bytes()).expect("reads");
        let first = &read[0];
        assert_eq!(
            (first.part.as_str(), first.person.as_str()),
            ("can 1", "Ines")
        );
        assert_eq!((read.len(), read[1].value), (2, 35.3));
    }

    #[test]
    fn everything_wrong_is_said_at_once() {
        let text = "when,value\n2031-01-04,35.2\n,35,2\n2031-01-06,35.2 uF\n,1\n2031-01-07,inf\n";
        let error = checked("t.csv", text.as_bytes()).expect_err("wrong");
        let lines: Vec<u64> = error.troubles.iter().map(|(line, _)| *line).collect();
        assert_eq!(lines, [3, 4, 5, 6], "{error}");
        assert!(
            error
                .to_string()
                .contains("t.csv: line 4: \"35.2 uF\" is no number")
        );
        let error = checked("t.csv", b"date,value,value\n").expect_err("wrong");
        assert_eq!(error.troubles.len(), 3, "{error}");
    }
}
