//! A meter's profile: what it is, how accurate, and what its leads and inputs do to the circuit.
//! TOML, read strictly: an unknown key, a wrong unit or a range out of order is refused with file
//! and line. docs/meters.md says how one is written.

use std::fmt;
use std::ops::Range as Span;
use std::path::Path;
use std::str::FromStr;

use ohmtrail_core::accuracy::{Accuracy, AccuracyTable, CAUTIOUS_DEFAULT, Cautious, Spec};
use ohmtrail_core::reading::{Decimal, Function};
use serde::Deserialize;
use toml::Spanned;

use crate::ble::Pipes;
use crate::driver;
use crate::pattern::{self, Pattern, function};

/// A measurement category by IEC 61010 and the voltage to earth it is stated for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Category {
    /// 2, 3 or 4.
    pub level: u8,
    /// Volts.
    pub volts: u16,
}

impl Category {
    /// Whether a meter of this category may be used where `needed` is called for.
    #[must_use]
    pub const fn covers(self, needed: Category) -> bool {
        self.level >= needed.level && self.volts >= needed.volts
    }
}

impl fmt::Display for Category {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let level = match self.level {
            2 => "II",
            3 => "III",
            _ => "IV",
        };
        write!(f, "CAT {level} {} V", self.volts)
    }
}

impl FromStr for Category {
    type Err = String;

    /// `CAT III 600 V`.
    fn from_str(text: &str) -> Result<Self, String> {
        let wrong = || format!("`{text}` is no category: write it as `CAT III 600 V`");
        let words: Vec<&str> = text.split_whitespace().collect();
        let ["CAT", level, volts, "V"] = words.as_slice() else {
            return Err(wrong());
        };
        let level = match *level {
            "II" => 2,
            "III" => 3,
            "IV" => 4,
            _ => return Err(wrong()),
        };
        match volts.parse() {
            Ok(volts @ 50..=1500) => Ok(Category { level, volts }),
            _ => Err(wrong()),
        }
    }
}

/// One range of one function.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RangeRow {
    /// The function.
    pub function: Function,
    /// The greatest value it shows, base unit; none if the accuracy is stated for all ranges.
    pub full_scale: Option<f64>,
    /// The power of ten of its last digit, base unit, if stated.
    pub last_digit: Option<i8>,
    /// ±(percent of reading + counts).
    pub accuracy: Accuracy,
}

/// What is known of a meter.
#[derive(Debug, Clone, PartialEq)]
pub struct Profile {
    /// What it is, in general words.
    pub name: String,
    /// The driver of its frames, if it sends any.
    pub driver: Option<String>,
    /// The speed of its port, if not the frame's own.
    pub baud: Option<u32>,
    /// How its lines are read, if it writes lines.
    pub lines: Option<Pattern>,
    /// Which of its characteristics are used, if it is a Bluetooth Low Energy meter.
    pub ble: Option<Pipes>,
    /// Its category, if stated.
    pub category: Option<Category>,
    /// Input resistance on volts, ohms.
    pub input_ohm: f64,
    /// Input resistance in the low-impedance mode, ohms; none if it has no such mode.
    pub low_impedance_ohm: Option<f64>,
    /// Resistance of both test leads together, ohms, before zeroing.
    pub lead_ohm: f64,
    /// The accuracy, by function and range; empty if nothing is stated.
    pub ranges: Vec<RangeRow>,
}

impl AccuracyTable for Profile {
    fn accuracy(&self, function: Function, magnitude: f64) -> Option<Accuracy> {
        if self.assumed() {
            return Cautious.accuracy(function, magnitude);
        }
        self.rows(function)
            .map(|row| row.accuracy)
            .filter(|a| a.covers(magnitude))
            .min_by(|a, b| {
                let top = |a: &Accuracy| a.range.unwrap_or(f64::INFINITY);
                top(a).total_cmp(&top(b))
            })
    }

    fn top_of_range(&self, function: Function) -> Option<f64> {
        self.rows(function)
            .filter_map(|row| row.full_scale)
            .max_by(f64::total_cmp)
    }

    fn assumed(&self) -> bool {
        self.ranges.is_empty()
    }
}

/// Why a profile was refused: where, what, and what to do.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{file}:{line}: {what}")]
pub struct ProfileError {
    /// The file, or the name the text was given under.
    pub file: String,
    /// The line, from 1; 0 if the file could not be read.
    pub line: usize,
    /// What is wrong.
    pub what: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
struct File {
    name: Spanned<String>,
    driver: Option<Spanned<String>>,
    baud: Option<Spanned<u32>>,
    lines: Option<Spanned<pattern::Table>>,
    ble: Option<BleTable>,
    category: Option<Spanned<String>>,
    input_impedance_ohm: Option<Spanned<f64>>,
    low_impedance_ohm: Option<Spanned<f64>>,
    lead_resistance_ohm: Option<Spanned<f64>>,
    range: Vec<Row>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
struct BleTable {
    service: Option<Spanned<String>>,
    characteristic: Option<Spanned<String>>,
    write: Option<Spanned<String>>,
    function: Option<Spanned<String>>,
}

impl BleTable {
    fn check(self) -> Result<Pipes, (Span<usize>, String)> {
        let uuid = |text: Option<Spanned<String>>| match text {
            None => Ok(None),
            Some(text) => match text.get_ref().parse() {
                Ok(uuid) => Ok(Some(uuid)),
                Err(what) => Err((text.span(), what)),
            },
        };
        Ok(Pipes {
            service: uuid(self.service)?,
            characteristic: uuid(self.characteristic)?,
            write: uuid(self.write)?,
            function: self.function.as_ref().map(function).transpose()?,
        })
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
struct Row {
    function: Spanned<String>,
    full_scale: Option<Spanned<f64>>,
    resolution: Option<Spanned<f64>>,
    percent: Spanned<f64>,
    counts: Spanned<f64>,
}

/// Input resistance of a common digital meter on volts, ohms (common practice, no published
/// source).
const INPUT_OHM: f64 = 10e6;
/// Resistance of a common pair of test leads, ohms (common practice, no published source).
const LEAD_OHM: f64 = 0.2;

impl Profile {
    /// What is assumed of a meter that no profile describes: the cautious default accuracy of the
    /// core, named as assumed in every verdict; no category, so no live ask may rest on it.
    #[must_use]
    pub fn cautious() -> Profile {
        Profile {
            name: CAUTIOUS_DEFAULT.what.to_string(),
            driver: None,
            baud: None,
            lines: None,
            ble: None,
            category: None,
            input_ohm: INPUT_OHM,
            low_impedance_ohm: None,
            lead_ohm: LEAD_OHM,
            ranges: Vec::new(),
        }
    }

    /// The profile of the simulated meter that sends this frame, or of the simulated `insulation`
    /// tester, which sends none: invented meters.
    #[must_use]
    pub fn simulated(which: &str) -> Option<Profile> {
        let (name, text) = match which {
            "lcd14" => (
                "sim-lcd14.toml",
                include_str!("../../profiles/sim-lcd14.toml"),
            ),
            "ascii14" => (
                "sim-ascii14.toml",
                include_str!("../../profiles/sim-ascii14.toml"),
            ),
            "count14" => (
                "sim-count14.toml",
                include_str!("../../profiles/sim-count14.toml"),
            ),
            "insulation" => (
                "sim-insulation.toml",
                include_str!("../../profiles/sim-insulation.toml"),
            ),
            _ => return None,
        };
        Profile::parse(name, text).ok()
    }

    /// Reads a profile file.
    ///
    /// # Errors
    /// [`ProfileError`] with file and line.
    pub fn load(path: &Path) -> Result<Profile, ProfileError> {
        let file = path.display().to_string();
        match std::fs::read_to_string(path) {
            Ok(text) => Profile::parse(&file, &text),
            Err(e) => Err(ProfileError {
                file,
                line: 0,
                what: format!("cannot be read: {e}"),
            }),
        }
    }

    /// Reads a profile's text; `file` is its name in errors.
    ///
    /// # Errors
    /// [`ProfileError`] with file and line.
    pub fn parse(file: &str, text: &str) -> Result<Profile, ProfileError> {
        let at = |span: Span<usize>, what: String| ProfileError {
            file: file.to_string(),
            line: text
                .get(..span.start)
                .map_or(1, |before| before.matches('\n').count() + 1),
            what,
        };
        let raw: File = toml::from_str(text)
            .map_err(|e| at(e.span().unwrap_or(0..0), e.message().to_string()))?;
        let resistance = |value: Option<Spanned<f64>>, least: f64, key: &str| match value {
            None => Ok(None),
            Some(v) if (least..=1e12).contains(v.get_ref()) => Ok(Some(v.into_inner())),
            Some(v) => Err(at(
                v.span(),
                format!(
                    "{key} = {} is no resistance in ohms from {least}",
                    v.get_ref()
                ),
            )),
        };

        if raw.name.get_ref().trim().is_empty() {
            return Err(at(
                raw.name.span(),
                "name is empty: say what the meter is".into(),
            ));
        }
        if let Some(name) = &raw.driver
            && driver::driver(name.get_ref()).is_none()
        {
            let known: Vec<&str> = driver::drivers().iter().map(|d| d.name).collect();
            return Err(at(
                name.span(),
                format!(
                    "driver `{}` is not known; one of {}, or leave it out for a meter that is read by eye",
                    name.get_ref(),
                    known.join(", ")
                ),
            ));
        }
        if let Some(baud) = &raw.baud
            && !(50..=4_000_000).contains(baud.get_ref())
        {
            return Err(at(
                baud.span(),
                format!("baud = {}: a speed is from 50 to 4000000", baud.get_ref()),
            ));
        }
        let writes_lines = raw.driver.as_ref().map(Spanned::get_ref) == Some(&"lines".to_owned());
        let lines = match (raw.lines, writes_lines) {
            (Some(table), true) => {
                let check = table.into_inner().check();
                Some(check.map_err(|(span, what)| at(span, what))?)
            }
            (Some(table), false) => {
                let what = "[lines] is for driver = \"lines\"".to_owned();
                return Err(at(table.span(), what));
            }
            (None, true) => {
                let span = raw.driver.as_ref().map_or(0..0, Spanned::span);
                return Err(at(span, "driver `lines` needs a [lines] table".into()));
            }
            (None, false) => None,
        };
        let ble = raw.ble.map(BleTable::check).transpose();
        let ble = ble.map_err(|(span, what)| at(span, what))?;
        let category = match &raw.category {
            None => None,
            Some(text) => Some(
                text.get_ref()
                    .parse()
                    .map_err(|what| at(text.span(), what))?,
            ),
        };
        if raw.range.is_empty() {
            return Err(ProfileError {
                file: file.to_string(),
                line: 1,
                what: "no [[range]]: state the accuracy of at least one function".into(),
            });
        }
        let mut ranges: Vec<RangeRow> = Vec::new();
        for row in raw.range {
            let function_at = row.function.span();
            let full_scale_at = row
                .full_scale
                .as_ref()
                .map_or(function_at.clone(), Spanned::span);
            let next = RangeRow::check(row).map_err(|(span, what)| at(span, what))?;
            let before = ranges.iter().rev().find(|r| r.function == next.function);
            if let Some(before) = before {
                let rises = match (before.full_scale, next.full_scale) {
                    (Some(before), Some(next)) => next > before,
                    _ => {
                        return Err(at(
                            function_at,
                            format!(
                                "{} has several ranges: each needs a full-scale",
                                next.function.name()
                            ),
                        ));
                    }
                };
                if !rises {
                    return Err(at(
                        full_scale_at,
                        format!(
                            "the ranges of {} must rise: put the smallest full-scale first",
                            next.function.name()
                        ),
                    ));
                }
            }
            ranges.push(next);
        }
        Ok(Profile {
            name: raw.name.into_inner(),
            driver: raw.driver.map(Spanned::into_inner),
            baud: raw.baud.map(Spanned::into_inner),
            lines,
            ble,
            category,
            input_ohm: resistance(raw.input_impedance_ohm, 1.0, "input-impedance-ohm")?
                .unwrap_or(INPUT_OHM),
            low_impedance_ohm: resistance(raw.low_impedance_ohm, 1.0, "low-impedance-ohm")?,
            lead_ohm: resistance(raw.lead_resistance_ohm, 0.0, "lead-resistance-ohm")?
                .unwrap_or(LEAD_OHM),
            ranges,
        })
    }

    /// The statement for one displayed value: of the range whose last digit it has, as a meter may
    /// stand on a higher range than the value needs; else of the smallest range that covers it.
    #[must_use]
    pub fn accuracy_shown(&self, function: Function, shown: Decimal) -> Option<Accuracy> {
        let magnitude = shown.value().abs();
        self.rows(function)
            .find(|row| row.last_digit == Some(shown.exponent) && row.accuracy.covers(magnitude))
            .map(|row| row.accuracy)
            .or_else(|| self.accuracy(function, magnitude))
    }

    /// What its maker states, range by range; empty for the cautious profile.
    #[must_use]
    pub fn specs(&self) -> Vec<Spec> {
        self.ranges
            .iter()
            .map(|row| Spec {
                function: row.function,
                accuracy: row.accuracy,
            })
            .collect()
    }

    /// The ranges of one function, smallest first.
    pub fn rows(&self, function: Function) -> impl Iterator<Item = &RangeRow> {
        self.ranges.iter().filter(move |r| r.function == function)
    }
}

impl RangeRow {
    fn check(row: Row) -> Result<RangeRow, (Span<usize>, String)> {
        let function = function(&row.function)?;
        let unit = function.ucum();
        let full_scale = match row.full_scale {
            Some(v) if !(v.get_ref().is_finite() && *v.get_ref() > 0.0) => {
                return Err((
                    v.span(),
                    format!(
                        "full-scale = {} is no positive value in {unit}",
                        v.get_ref()
                    ),
                ));
            }
            other => other.map(Spanned::into_inner),
        };
        let last_digit = match row.resolution {
            None => None,
            Some(v) => Some(power_of_ten(*v.get_ref()).ok_or_else(|| {
                (
                    v.span(),
                    format!(
                        "resolution = {} is no power of ten in {unit}, such as 0.1 or 1e-9",
                        v.get_ref()
                    ),
                )
            })?),
        };
        let within = |v: &Spanned<f64>, top: f64, key: &str| {
            if (0.0..=top).contains(v.get_ref()) {
                Ok(*v.get_ref())
            } else {
                Err((
                    v.span(),
                    format!("{key} = {} is not from 0 to {top}", v.get_ref()),
                ))
            }
        };
        Ok(RangeRow {
            function,
            full_scale,
            last_digit,
            accuracy: Accuracy {
                percent: within(&row.percent, 50.0, "percent")?,
                counts: within(&row.counts, 1000.0, "counts")?,
                range: full_scale,
            },
        })
    }
}

/// The exponent of a value that is a power of ten as far as a float can be.
fn power_of_ten(value: f64) -> Option<i8> {
    if !(value.is_finite() && value > 0.0) {
        return None;
    }
    let exponent = value.log10().round();
    let near = (value / 10_f64.powf(exponent) - 1.0).abs() < 1e-9;
    #[expect(clippy::cast_possible_truncation, reason = "checked against the range")]
    (near && (-15.0..=12.0).contains(&exponent)).then_some(exponent as i8)
}

#[cfg(test)]
mod tests;
