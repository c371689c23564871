//! What a repair costs, and what was decided on it.

use std::fmt;

use ohmtrail_trail::event::{Decision, Event, Quote, QuoteLine, QuoteOption, Stamp};
use ohmtrail_words::Said;
use time::macros::format_description;
use time::{Date, OffsetDateTime};

use crate::refusal::Refusal;
use crate::visit::Visit;

/// Why a quote cannot be one.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum QuoteError {
    /// It has nothing to choose.
    NoOption,
    /// An option has no name, or one that another has.
    Name(usize),
    /// An option with nothing in it.
    NoLine(String),
    /// More than one is recommended.
    Recommended,
    /// The day is none.
    Day(String),
    /// An amount that is beyond counting.
    TooMuch(String),
}

impl QuoteError {
    /// What is wrong, before it is put into a language.
    #[must_use]
    pub fn said(&self) -> Said {
        let of = |id, option: &String| Said::message(id).with("option", option.clone());
        match self {
            QuoteError::NoOption => Said::message("quote-no-option"),
            QuoteError::Name(number) => {
                Said::message("quote-name").with("number", number.to_string())
            }
            QuoteError::NoLine(option) => of("quote-no-line", option),
            QuoteError::Recommended => Said::message("quote-recommended"),
            QuoteError::Day(day) => Said::message("quote-day").with("day", day.clone()),
            QuoteError::TooMuch(option) => of("quote-too-much", option),
        }
    }
}

impl fmt::Display for QuoteError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.said().fmt(f)
    }
}

impl std::error::Error for QuoteError {}

/// What an option comes to, in minor units of the currency.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Totals {
    /// Its lines.
    pub net: u64,
    /// The tax on those that are taxed, rounded once, on their sum.
    pub tax: u64,
    /// Both.
    pub gross: u64,
}

impl Totals {
    /// A line's amount: quantity times price, half a minor unit rounded up.
    ///
    /// None beyond what can be counted.
    #[must_use]
    pub fn line(line: &QuoteLine) -> Option<u64> {
        rounded(u128::from(line.quantity) * u128::from(line.price), 1000)
    }

    /// What an option comes to; none beyond what can be counted.
    #[must_use]
    pub fn of(option: &QuoteOption) -> Option<Self> {
        let (mut net, mut taxed) = (0_u64, 0_u64);
        for line in &option.lines {
            let amount = Totals::line(line)?;
            net = net.checked_add(amount)?;
            taxed = taxed.checked_add(if line.taxed { amount } else { 0 })?;
        }
        // Thousandths of a percent are hundred-thousandths.
        let tax = rounded(u128::from(taxed) * u128::from(option.tax), 100_000)?;
        Some(Totals {
            net,
            tax,
            gross: net.checked_add(tax)?,
        })
    }
}

/// `amount / by`, half rounded up.
fn rounded(amount: u128, by: u128) -> Option<u64> {
    u64::try_from((amount + by / 2) / by).ok()
}

/// An amount as it is written: `1234.50`.
#[must_use]
pub fn money(amount: u64, decimals: u8) -> String {
    fixed(amount, decimals)
}

/// A quantity of thousandths as it is written, without zeros at its end: `1.5`.
#[must_use]
pub fn quantity(thousandths: u64) -> String {
    let text = fixed(thousandths, 3);
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

fn fixed(amount: u64, decimals: u8) -> String {
    let places = usize::from(decimals);
    let digits = format!("{amount:0>width$}", width = places + 1);
    let (whole, part) = digits.split_at(digits.len() - places);
    if part.is_empty() {
        whole.to_owned()
    } else {
        format!("{whole}.{part}")
    }
}

fn day(text: &str) -> Result<Date, QuoteError> {
    let form = format_description!("[year]-[month]-[day]");
    Date::parse(text, form).map_err(|_| QuoteError::Day(text.to_owned()))
}

/// Whether it can be a quote.
fn check(quote: &Quote) -> Result<(), QuoteError> {
    day(&quote.valid_until)?;
    if quote.options.is_empty() {
        return Err(QuoteError::NoOption);
    }
    if quote.options.iter().filter(|o| o.recommended).count() > 1 {
        return Err(QuoteError::Recommended);
    }
    for (nth, option) in quote.options.iter().enumerate() {
        let before = quote.options.iter().take(nth);
        if option.name.trim().is_empty() || before.clone().any(|o| o.name == option.name) {
            return Err(QuoteError::Name(nth + 1));
        }
        if option.lines.is_empty() {
            return Err(QuoteError::NoLine(option.name.clone()));
        }
        if Totals::of(option).is_none() {
            return Err(QuoteError::TooMuch(option.name.clone()));
        }
    }
    Ok(())
}

impl Visit<'_> {
    pub(crate) fn quoted(&self, mut quote: Quote) -> Result<Vec<Event>, Refusal> {
        check(&quote)?;
        quote.version = self.record.quote.as_ref().map_or(1, |q| q.version + 1);
        Ok(vec![Event::Quoted(quote)])
    }

    pub(crate) fn decided(
        &self,
        option: Option<String>,
        by: String,
        means: String,
        paper: [u8; 32],
        at: Stamp,
    ) -> Result<Vec<Event>, Refusal> {
        let quote = self.record.quote.as_ref().ok_or(Refusal::NoQuote)?;
        if by.trim().is_empty() {
            return Err(Refusal::Unsaid("who decided"));
        }
        if means.trim().is_empty() {
            return Err(Refusal::Unsaid("by what means it was told"));
        }
        if let Some(name) = &option {
            let mut names = quote.options.iter().map(|o| &o.name);
            if !names.clone().any(|n| n == name) {
                return Err(Refusal::NoSuchOption {
                    name: name.clone(),
                    known: names.by_ref().cloned().collect(),
                });
            }
            let now = OffsetDateTime::from_unix_timestamp_nanos(i128::from(at.wall_us) * 1000);
            // A clock that is beyond all days cannot be held against it.
            if now.is_ok_and(|now| day(&quote.valid_until).is_ok_and(|last| now.date() > last)) {
                return Err(Refusal::Expired(quote.valid_until.clone()));
            }
        }
        Ok(vec![Event::Decided(Decision {
            quote: quote.version,
            option,
            by,
            means,
            paper,
        })])
    }
}

#[cfg(test)]
mod tests {
    use ohmtrail_trail::event::LineKind;

    use super::*;

    fn line(quantity: u64, price: u64, taxed: bool) -> QuoteLine {
        QuoteLine {
            what: "an invented line".into(),
            kind: LineKind::Part,
            quantity,
            price,
            taxed,
        }
    }

    fn option(name: &str, lines: Vec<QuoteLine>) -> QuoteOption {
        QuoteOption {
            name: name.into(),
            title: "an invented way".into(),
            recommended: false,
            lines,
            tax: 8_250,
        }
    }

    /// Worked by hand: 1 at 38.50 taxed, 1.25 h at 95.00 untaxed: 38.50 + 118.75 = 157.25; 8.25 % of
    /// 38.50 is 3.17625, 3.18; together 160.43.
    #[test]
    fn a_worked_quote() {
        let totals = Totals::of(&option(
            "a",
            vec![line(1000, 3850, true), line(1250, 9500, false)],
        ));
        let expected = Totals {
            net: 15_725,
            tax: 318,
            gross: 16_043,
        };
        assert_eq!(totals, Some(expected));
        assert_eq!(money(16_043, 2), "160.43");
        assert_eq!(money(7, 2), "0.07");
        assert_eq!(money(1200, 0), "1200");
        assert_eq!(quantity(1250), "1.25");
        assert_eq!(quantity(1000), "1");
        assert_eq!(quantity(0), "0");
    }

    #[test]
    fn what_is_no_quote_is_refused() {
        let good = Quote {
            version: 0,
            currency: "USD".into(),
            decimals: 2,
            valid_until: "2026-12-31".into(),
            options: vec![option("a", vec![line(1000, 1, true)])],
        };
        assert_eq!(check(&good), Ok(()));
        let with = |change: &dyn Fn(&mut Quote)| {
            let mut quote = good.clone();
            change(&mut quote);
            check(&quote)
        };
        assert_eq!(with(&|q| q.options.clear()), Err(QuoteError::NoOption));
        assert_eq!(
            with(&|q| q.options.push(q.options[0].clone())),
            Err(QuoteError::Name(2))
        );
        assert_eq!(
            with(&|q| q.valid_until = "31.12.2026".into()),
            Err(QuoteError::Day("31.12.2026".into()))
        );
        assert_eq!(
            with(&|q| q.options[0].lines[0] = line(2000, u64::MAX, false)),
            Err(QuoteError::TooMuch("a".into()))
        );
        assert_eq!(
            with(&|q| q.options[0].lines.clear()),
            Err(QuoteError::NoLine("a".into()))
        );
    }
}
