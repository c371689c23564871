//! A quote as it is written in a file.
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

use iso_currency::Currency;
use ohmtrail_trail::event::{LineKind, Quote, QuoteLine, QuoteOption};
use serde::Deserialize;

/// Why a file is no quote.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum QuoteFileError {
    /// Not TOML, or not with these keys.
    #[error("{file}: {words}")]
    Toml {
        /// The file.
        file: String,
        /// What and where.
        words: String,
    },
    /// A currency that is none.
    #[error("{file}: '{code}' is no currency: give its code of three letters (ISO 4217), as USD")]
    Currency {
        /// The file.
        file: String,
        /// The code.
        code: String,
    },
    /// An amount that cannot be read.
    #[error(
        "{file}: {place}: '{text}' is no amount: write digits, with at most {decimals} after the point"
    )]
    Amount {
        /// The file.
        file: String,
        /// Where.
        place: String,
        /// What stands there.
        text: String,
        /// How many decimals it may have.
        decimals: u8,
    },
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
struct File {
    currency: String,
    valid_until: String,
    #[serde(default = "nothing")]
    tax_percent: String,
    option: Vec<FileOption>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct FileOption {
    name: String,
    title: String,
    #[serde(default)]
    recommended: bool,
    line: Vec<FileLine>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct FileLine {
    what: String,
    kind: LineKind,
    #[serde(default = "one")]
    quantity: String,
    price: String,
    #[serde(default)]
    taxed: bool,
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
    let read: File = toml::from_str(text).map_err(|e| QuoteFileError::Toml {
        file: file.to_owned(),
        words: e.to_string(),
    })?;
    let currency = Currency::from_code(&read.currency).ok_or(QuoteFileError::Currency {
        file: file.to_owned(),
        code: read.currency.clone(),
    })?;
    let decimals = currency
        .exponent()
        .and_then(|e| u8::try_from(e).ok())
        .unwrap_or(2);
    let amount = |place: String, text: &str, decimals: u8| {
        fixed(text, decimals).ok_or_else(|| QuoteFileError::Amount {
            file: file.to_owned(),
            place,
            text: text.to_owned(),
            decimals,
        })
    };
    let tax = amount("tax-percent".into(), &read.tax_percent, 3)?;
    let tax = u32::try_from(tax).map_err(|_| QuoteFileError::Amount {
        file: file.to_owned(),
        place: "tax-percent".into(),
        text: read.tax_percent.clone(),
        decimals: 3,
    })?;
    let mut options = Vec::new();
    for option in read.option {
        let mut lines = Vec::new();
        for line in option.line {
            let place = |key: &str| format!("option {}, \"{}\", {key}", option.name, line.what);
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
        valid_until: read.valid_until,
        options,
    })
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
