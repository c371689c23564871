//! A quote as it is written, in a file or in a form.
//!
//! ```toml
//! currency = "USD"
//! valid-until = "2026-12-31"
//! tax-percent = "8.25"
//!
//! [[option]]
//! name = "a"
//! title = "Replace the run capacitor"
//! recommended = true
//! line = [
//!     { what = "run capacitor 45+5 uF, 440 V", kind = "part", price = "38.50", taxed = true },
//!     { what = "work on the roof", kind = "labour", quantity = "1.25", price = "95.00" },
//! ]
//! ```
//!
//! Amounts are in quotes, so that they are read as they are written.

use std::fmt;

use iso_currency::Currency;
use ohmtrail_trail::event::{LineKind, Quote, QuoteLine, QuoteOption};
use ohmtrail_words::Said;
use serde::Deserialize;

/// Why a file is no quote.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum QuoteFileError {
    /// Not TOML, or not with these keys.
    Toml {
        /// The file.
        file: String,
        /// What and where.
        words: String,
    },
    /// A currency that is none.
    Currency {
        /// The file.
        file: String,
        /// The code.
        code: String,
    },
    /// An amount that cannot be read.
    Amount {
        /// The file.
        file: String,
        /// Where.
        place: Said,
        /// What stands there.
        text: String,
        /// How many decimals it may have.
        decimals: u8,
    },
}

impl QuoteFileError {
    /// Why, before it is put into a language.
    #[must_use]
    pub fn said(&self) -> Said {
        let named = |file: &String, said| Said::phrase(file.clone()).then(": ", said);
        match self {
            QuoteFileError::Toml { file, words } => named(file, Said::own(words.clone())),
            QuoteFileError::Currency { file, code } => named(
                file,
                Said::message("quote-currency").with("code", code.clone()),
            ),
            QuoteFileError::Amount {
                file,
                place,
                text,
                decimals,
            } => {
                let amount = Said::message("quote-amount")
                    .with("text", text.clone())
                    .with("decimals", decimals.to_string());
                named(file, place.clone().then(": ", amount))
            }
        }
    }
}

impl fmt::Display for QuoteFileError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.said().fmt(f)
    }
}

impl std::error::Error for QuoteFileError {}

/// A quote as it is written: its amounts are text still.
#[derive(Debug, Clone, PartialEq, Eq, Default, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
pub struct QuoteDraft {
    /// The currency's code of three letters (ISO 4217).
    pub currency: String,
    /// The last day that it holds, such as `2026-12-31`.
    pub valid_until: String,
    /// The tax on lines that are taxed, percent.
    #[serde(default = "nothing")]
    pub tax_percent: String,
    /// The ways to repair.
    #[serde(rename = "option")]
    pub options: Vec<OptionDraft>,
}

/// One way to repair, as it is written.
#[derive(Debug, Clone, PartialEq, Eq, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct OptionDraft {
    /// A short name that a decision names it by.
    pub name: String,
    /// What is done.
    pub title: String,
    /// Whether it is the one that is recommended.
    #[serde(default)]
    pub recommended: bool,
    /// What it is made up of.
    #[serde(rename = "line")]
    pub lines: Vec<LineDraft>,
}

/// A line, as it is written.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LineDraft {
    /// What it is for.
    pub what: String,
    /// Part, labour or other.
    pub kind: LineKind,
    /// How many.
    #[serde(default = "one")]
    pub quantity: String,
    /// The price of one, in the currency.
    pub price: String,
    /// Whether tax is on it.
    #[serde(default)]
    pub taxed: bool,
}

fn nothing() -> String {
    "0".to_owned()
}

fn one() -> String {
    "1".to_owned()
}

/// Reads a quote; `file` is what it is called in errors.
///
/// # Errors
/// [`QuoteFileError`].
pub fn quote(file: &str, text: &str) -> Result<Quote, QuoteFileError> {
    let read: QuoteDraft = toml::from_str(text).map_err(|e| QuoteFileError::Toml {
        file: file.to_owned(),
        words: e.to_string(),
    })?;
    read.quote(file)
}

impl QuoteDraft {
    /// The quote; `file` is what it is called in errors.
    ///
    /// # Errors
    /// [`QuoteFileError`]: what cannot be read as it is written.
    pub fn quote(self, file: &str) -> Result<Quote, QuoteFileError> {
        let currency = Currency::from_code(&self.currency).ok_or(QuoteFileError::Currency {
            file: file.to_owned(),
            code: self.currency.clone(),
        })?;
        let decimals = currency
            .exponent()
            .and_then(|e| u8::try_from(e).ok())
            .unwrap_or(2);
        let amount = |place: Said, text: &str, decimals: u8| {
            fixed(text, decimals).ok_or_else(|| QuoteFileError::Amount {
                file: file.to_owned(),
                place,
                text: text.to_owned(),
                decimals,
            })
        };
        let tax = amount("tax-percent".into(), &self.tax_percent, 3)?;
        let tax = u32::try_from(tax).map_err(|_| QuoteFileError::Amount {
            file: file.to_owned(),
            place: "tax-percent".into(),
            text: self.tax_percent.clone(),
            decimals: 3,
        })?;
        let mut options = Vec::new();
        for option in self.options {
            let mut lines = Vec::new();
            for line in option.lines {
                let place = |key: &'static str| {
                    Said::message("quote-place")
                        .with("option", option.name.clone())
                        .with("line", line.what.clone())
                        .with("key", key)
                };
                lines.push(QuoteLine {
                    kind: line.kind,
                    quantity: amount(place("quantity"), &line.quantity, 3)?,
                    price: amount(place("price"), &line.price, decimals)?,
                    taxed: line.taxed,
                    what: line.what,
                });
            }
            options.push(QuoteOption {
                name: option.name,
                title: option.title,
                recommended: option.recommended,
                lines,
                tax,
            });
        }
        Ok(Quote {
            version: 0,
            currency: currency.code().to_owned(),
            decimals,
            valid_until: self.valid_until,
            options,
        })
    }
}

/// Digits with at most so many decimals, as a whole number of the last.
fn fixed(text: &str, decimals: u8) -> Option<u64> {
    let (whole, part) = text.split_once('.').unwrap_or((text, ""));
    let digits = |t: &str| t.bytes().all(|b| b.is_ascii_digit());
    if whole.is_empty() || !digits(whole) || !digits(part) || part.len() > usize::from(decimals) {
        return None;
    }
    format!("{whole}{part:0<width$}", width = usize::from(decimals))
        .parse()
        .ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn digits_are_read_as_they_are_written() {
        assert_eq!(fixed("38.50", 2), Some(3850));
        assert_eq!(fixed("38.5", 2), Some(3850));
        assert_eq!(fixed("38", 2), Some(3800));
        assert_eq!(fixed("8.25", 3), Some(8250));
        assert_eq!(fixed("1200", 0), Some(1200));
        for bad in [
            "",
            ".5",
            "1.234",
            "-1",
            "1,5",
            "1e3",
            " 1",
            "99999999999999999999",
        ] {
            assert_eq!(fixed(bad, 2), None, "{bad}");
        }
    }
}
