//! What it costs to be wrong: a part that is replaced and was good, a fault that was not named.
//! The built-in amounts are in `costs.toml`; a user's file replaces those that it names.

use std::collections::BTreeMap;
use std::path::Path;

use serde::Deserialize;

use crate::parts::KINDS;
use crate::sheet::{FaultId, Sheet};

/// The name that stands for a wire and its ends.
const WIRE: &str = "wire";
/// The name that stands for every kind that is not named.
const DEFAULT: &str = "default";
/// The name and text of the built-in file.
pub const BUILTIN: (&str, &str) = ("costs.toml", include_str!("costs.toml"));

/// Costs in money of any one currency.
#[derive(Debug, Clone, PartialEq)]
pub struct Costs {
    /// An hour of work.
    pub hour: f64,
    /// A minute of waiting, as a share of a minute of work, 0 to 1.
    pub waiting: f64,
    /// A fault that was there and was not named.
    pub callback: f64,
    /// A part of each kind that is replaced and was good.
    pub wrong: BTreeMap<String, f64>,
}

/// Why a costs file cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum CostsError {
    /// It cannot be read.
    #[error("{file}: cannot be read: {why}")]
    Unreadable {
        /// The file.
        file: String,
        /// Why.
        why: std::io::Error,
    },
    /// It is no TOML of this form.
    #[error("{file}: {what}")]
    Form {
        /// The file.
        file: String,
        /// What is wrong, and where.
        what: String,
    },
    /// An amount is not usable.
    #[error(
        "{file}: {key} = {amount}: an amount of money from 0 is wanted, and more than 0 for an hour"
    )]
    Amount {
        /// The file.
        file: String,
        /// The key.
        key: String,
        /// What it says.
        amount: f64,
    },
    /// The share for waiting is none.
    #[error("{file}: waiting = {waiting}: a share from 0 to 1 is wanted")]
    Share {
        /// The file.
        file: String,
        /// What it says.
        waiting: f64,
    },
    /// No kind of part has this name.
    #[error(
        "{file}: [wrong] {key}: no kind of part has this name; there are default, wire, {known}"
    )]
    Kind {
        /// The file.
        file: String,
        /// The key.
        key: String,
        /// The names that there are.
        known: String,
    },
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    hour: Option<f64>,
    waiting: Option<f64>,
    callback: Option<f64>,
    #[serde(default)]
    wrong: BTreeMap<String, f64>,
}

impl Costs {
    /// The built-in amounts.
    ///
    /// # Panics
    /// Never: a test reads them.
    #[must_use]
    pub fn builtin() -> Costs {
        let nothing = Costs {
            hour: 1.0,
            waiting: 1.0,
            callback: 0.0,
            wrong: BTreeMap::new(),
        };
        nothing
            .with(BUILTIN.0, BUILTIN.1)
            .expect("a test reads the built-in costs")
    }

    /// These amounts, and in their place those that a file names.
    ///
    /// # Errors
    /// What is wrong with the file.
    pub fn with_file(&self, path: &Path) -> Result<Costs, CostsError> {
        let name = path.display().to_string();
        let text = std::fs::read_to_string(path).map_err(|why| CostsError::Unreadable {
            file: name.clone(),
            why,
        })?;
        self.with(&name, &text)
    }

    /// These amounts, and in their place those that this text names.
    ///
    /// # Errors
    /// What is wrong with the text, said of a file of this name.
    pub fn with(&self, name: &str, text: &str) -> Result<Costs, CostsError> {
        let mut costs = self.clone();
        let file: File = toml::from_str(text).map_err(|e| CostsError::Form {
            file: name.to_owned(),
            what: e.to_string(),
        })?;
        let amount = |key: &str, amount: f64, least: f64| {
            if amount.is_finite() && amount >= least {
                Ok(amount)
            } else {
                Err(CostsError::Amount {
                    file: name.to_owned(),
                    key: key.to_owned(),
                    amount,
                })
            }
        };
        if let Some(hour) = file.hour {
            costs.hour = amount("hour", hour, f64::MIN_POSITIVE)?;
        }
        if let Some(waiting) = file.waiting {
            if !(0.0..=1.0).contains(&waiting) {
                return Err(CostsError::Share {
                    file: name.to_owned(),
                    waiting,
                });
            }
            costs.waiting = waiting;
        }
        if let Some(callback) = file.callback {
            costs.callback = amount("callback", callback, 0.0)?;
        }
        for (key, cost) in file.wrong {
            if key != DEFAULT && key != WIRE && KINDS.iter().all(|k| k.name != key) {
                let known: Vec<&str> = KINDS.iter().map(|k| k.name).collect();
                return Err(CostsError::Kind {
                    file: name.to_owned(),
                    key,
                    known: known.join(", "),
                });
            }
            let cost = amount(&key, cost, 0.0)?;
            costs.wrong.insert(key, cost);
        }
        Ok(costs)
    }

    /// What a callback costs, in minutes of work; no more than a table holds.
    #[must_use]
    pub fn callback_minutes(&self) -> u16 {
        self.minutes(self.callback)
    }

    /// What it costs to name this fault of a sheet where it is not, in minutes of work.
    #[must_use]
    pub fn wrong_minutes(&self, sheet: &Sheet, fault: FaultId) -> u16 {
        let owner = sheet.faults[fault].owner;
        let kind = sheet.parts.get(owner).map_or(WIRE, |part| part.kind.name);
        let cost = self.wrong.get(kind).or_else(|| self.wrong.get(DEFAULT));
        self.minutes(cost.copied().unwrap_or(0.0))
    }

    fn minutes(&self, money: f64) -> u16 {
        // A float cast saturates.
        (money / self.hour * 60.0).round() as u16
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_built_in_amounts_are_read_whole() {
        let builtin = Costs::builtin();
        assert!(builtin.hour > 1.0 && builtin.wrong.len() > 5);
        let kept = builtin.with("own", "[wrong]\nwire = 99").unwrap();
        assert_eq!(kept.wrong["wire"], 99.0);
        assert_eq!(
            kept.wrong["psc-compressor"],
            builtin.wrong["psc-compressor"]
        );
        assert_eq!(kept.callback_minutes(), builtin.callback_minutes());
    }

    #[test]
    fn what_is_wrong_with_a_file_is_said() {
        let said = |text: &str| {
            Costs::builtin()
                .with("own.toml", text)
                .unwrap_err()
                .to_string()
        };
        assert!(said("hour = 0").contains("own.toml: hour = 0: an amount"));
        assert!(said("callback = -1").contains("callback = -1"));
        assert!(said("waiting = 1.5").contains("waiting = 1.5: a share from 0 to 1"));
        assert!(said("[wrong]\nfan = 3").contains("[wrong] fan: no kind"));
        assert!(said("houre = 3").contains("houre"));
    }
}
