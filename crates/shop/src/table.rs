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
    /// One count of the last digit as it is written; 0 where it is not known.
    pub step: f64,
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
            step: row.step,
        })
        .collect())
}

/// A line of the file.
struct Row {
    texts: Vec<(&'static str, String)>,
    value: f64,
    step: f64,
}

/// One count of the last digit of a number as it is written: `35.20` goes by 0.01, `3.52e-5` by 1e-7.
fn step(text: &str) -> f64 {
    let (digits, exponent) = text.split_once(['e', 'E']).unwrap_or((text, "0"));
    let decimals = digits.split_once('.').map_or(0, |(_, after)| after.len());
    let exponent: i32 = exponent.parse().unwrap_or(0);
    10f64.powi(exponent.saturating_sub(i32::try_from(decimals).unwrap_or(i32::MAX)))
}

impl Row {
    fn text(&self, name: &str) -> String {
        let found = self.texts.iter().find(|(column, _)| *column == name);
        found.map_or_else(String::new, |(_, text)| text.clone())
    }
}

/// How many lines of comments there are at the beginning, and what comes after.
pub(crate) fn comments(mut bytes: &[u8]) -> (u64, &[u8]) {
    let mut lines = 0;
    while bytes.first() == Some(&b'#') {
        let end = bytes.iter().position(|b| *b == b'\n');
        bytes = end.and_then(|end| bytes.get(end + 1..)).unwrap_or_default();
        lines += 1;
    }
    (lines, bytes)
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
    // Comments stand before the columns' names. Below them a part may be called #3.
    let (comments, bytes) = comments(bytes);
    let mut reader = csv::ReaderBuilder::new()
        .trim(csv::Trim::All)
        .from_reader(bytes);
    let columns = match reader.headers() {
        Ok(names) => names.clone(),
        Err(error) => return Err(wrong(vec![(comments + 1, error.to_string())])),
    };
    let known: Vec<&'static str> = needed.iter().chain(may).copied().collect();
    let mut troubles = Vec::new();
    for name in needed.iter().filter(|n| !columns.iter().any(|c| c == **n)) {
        let have: Vec<&str> = columns.iter().collect();
        let have = have.join(", ");
        troubles.push((comments + 1, format!("no column \"{name}\": it has {have}")));
    }
    for (nth, name) in columns.iter().enumerate() {
        if !known.contains(&name) {
            let known = known.join(", ");
            troubles.push((
                comments + 1,
                format!("column \"{name}\" is not known: {known}"),
            ));
        } else if columns.iter().take(nth).any(|before| before == name) {
            troubles.push((comments + 1, format!("column \"{name}\" is there twice")));
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
                troubles.push((comments + line, error.to_string()));
                continue;
            }
        };
        let line = comments + record.position().map_or(0, csv::Position::line);
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
            step: step(text),
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
        let text = "\u{feff}# invented\npart, person, value\ncan 1, Ines, 35.2\n#3,Olaf,35.3\n";
        let read = measured("t.csv", text.as_bytes()).expect("reads");
        let first = &read[0];
        assert_eq!(
            (first.part.as_str(), first.person.as_str()),
            ("can 1", "Ines")
        );
        // A part may be called so.
        assert_eq!((read[1].part.as_str(), read[1].value), ("#3", 35.3));
        assert_eq!(read.len(), 2);
        // A comment that stands among the values is not passed over in silence, nor is its line lost.
        let text = "# invented\npart,value\na,1\n# a remark\n";
        let error = measured("t.csv", text.as_bytes()).expect_err("wrong");
        assert_eq!(error.troubles[0].0, 4, "{error}");
        assert_eq!(
            measured("t.csv", b"# only this")
                .expect_err("wrong")
                .troubles[0]
                .0,
            2
        );
    }

    #[test]
    fn the_last_digit_is_counted_as_it_is_written() {
        for (text, counted) in [
            ("35.20", 0.01),
            ("35", 1.0),
            ("-0.5", 0.1),
            ("3.52e-5", 1e-7),
            ("3.5E2", 10.0),
        ] {
            assert!((step(text) / counted - 1.0).abs() < 1e-9, "{text}");
        }
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
