//! The tolerance rules of the trade: one short file per subject, each number a data row with its
//! source and how far that source was checked.
//!
//! Every rule takes quantities in their units with their uncertainties and gives [`Verdict`]s, or
//! a [`RuleError`] on nonsense. A rule informs a qualified person: none of them says that a
//! circuit is safe to touch or fit to energise.

pub mod capacitor;
pub mod control;
pub mod current;
pub mod discharge;
pub mod drop;
pub mod insulation;
pub mod supply;
pub mod temperature;
pub mod three_phase;
pub mod unbalance;
pub mod under_load;
pub mod winding;

use serde::Serialize;

use crate::accuracy::{Measured, Quantity, Unit, Void};
use crate::source::{Source, Status};
use crate::verdict::{Bands, Limit, Verdict};

/// One limit: a row of a rule's table.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Rule {
    /// A name that does not change, `subject.limit`.
    pub id: &'static str,
    /// What it limits, in words.
    pub what: &'static str,
    /// The UCUM code of the numbers' unit; `1` for a share of the plate's value.
    pub unit: &'static str,
    /// The lower limit, if there is one.
    pub lower: Option<f64>,
    /// The upper limit, if there is one.
    pub upper: Option<f64>,
    /// Where the numbers come from.
    pub source: Source,
}

impl Rule {
    /// A row with both sides.
    pub(crate) const fn between(
        id: &'static str,
        what: &'static str,
        unit: &'static str,
        (lower, upper): (f64, f64),
        source: Source,
    ) -> Self {
        Rule {
            id,
            what,
            unit,
            lower: Some(lower),
            upper: Some(upper),
            source,
        }
    }

    /// A row with a lower limit.
    pub(crate) const fn at_least(
        id: &'static str,
        what: &'static str,
        unit: &'static str,
        lower: f64,
        source: Source,
    ) -> Self {
        Rule {
            id,
            what,
            unit,
            lower: Some(lower),
            upper: None,
            source,
        }
    }

    /// A row with an upper limit.
    pub(crate) const fn at_most(
        id: &'static str,
        what: &'static str,
        unit: &'static str,
        upper: f64,
        source: Source,
    ) -> Self {
        Rule {
            id,
            what,
            unit,
            lower: None,
            upper: Some(upper),
            source,
        }
    }

    /// The row as a limit.
    #[must_use]
    pub const fn limit(&self) -> Limit {
        Limit::new(self.lower, self.upper, self.source)
    }

    /// A row of shares as a limit about the plate's value.
    #[must_use]
    pub fn limit_of(&self, plate: f64) -> Limit {
        Limit::new(
            self.lower.map(|share| share * plate),
            self.upper.map(|share| share * plate),
            self.source,
        )
    }

    /// The verdict on a value against this row, low, within or high.
    #[must_use]
    pub fn judge(&self, m: Measured) -> Verdict {
        judge(m, self.limit())
    }
}

/// Every row of every rule.
pub fn all() -> impl Iterator<Item = &'static Rule> {
    supply::rules()
        .chain(drop::RULES)
        .chain(unbalance::RULES)
        .chain(control::RULES)
        .chain(capacitor::RULES)
        .chain(three_phase::RULES)
        .chain(insulation::RULES)
        .chain(current::RULES)
        .chain(discharge::RULES)
        .chain(crate::cooldown::RULES)
        .chain(crate::refrigerant::RULES)
        .chain(crate::fit::rules::RULES)
}

/// Why a rule cannot be applied to its inputs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[non_exhaustive]
pub enum RuleError {
    /// A value or an uncertainty is not a finite number, or an uncertainty is negative.
    NotFinite,
    /// A quantity that cannot be negative is, by more than its expanded uncertainty.
    Negative,
    /// A plate value, a rating or a divisor is zero or negative.
    NotPositive,
    /// Outside the range that the formula or the table holds for.
    OutOfDomain,
    /// No current flows, so a drop proves nothing.
    NoLoad,
    /// The method does not hold for this reading.
    Void(Void),
}

impl RuleError {
    /// The error in words, and what to do.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            RuleError::NotFinite => "not a finite number: measure again",
            RuleError::Negative => "negative where nothing can be: zero the leads, measure again",
            RuleError::NotPositive => "the plate value must be over zero: read the plate again",
            RuleError::OutOfDomain => "outside the range this rule holds for",
            RuleError::NoLoad => "no current flows: put the contacts under load first",
            RuleError::Void(why) => why.words(),
        }
    }
}

/// Low, within or high against a limit.
fn judge(m: Measured, limit: Limit) -> Verdict {
    Verdict::of(m, limit, &limit.bands())
}

/// A measured quantity that cannot be negative: volts and amps RMS, ohms, farads. Less than
/// nothing by no more than the expanded uncertainty is let pass.
fn not_negative<Q: Unit>(q: Quantity<Q>) -> Result<Measured, RuleError> {
    let m = q.measured();
    if !m.is_sound() {
        Err(RuleError::NotFinite)
    } else if m.value < -m.expanded() {
        Err(RuleError::Negative)
    } else {
        Ok(m)
    }
}

/// A measured quantity that something is divided by.
fn divisor<Q: Unit>(q: Quantity<Q>) -> Result<Measured, RuleError> {
    let m = not_negative(q)?;
    if m.value > 0.0 {
        Ok(m)
    } else {
        Err(RuleError::NotPositive)
    }
}

/// A plate value or a rating.
fn plate<Q: Unit>(q: Q) -> Result<f64, RuleError> {
    let x = q.number();
    if !x.is_finite() {
        Err(RuleError::NotFinite)
    } else if x > 0.0 {
        Ok(x)
    } else {
        Err(RuleError::NotPositive)
    }
}

/// A source at second hand.
pub(crate) const fn second_hand(what: &'static str) -> Source {
    Source::new(what, Status::SecondHand)
}

/// A habit of the trade.
pub(crate) const fn practice(what: &'static str) -> Source {
    Source::new(what, Status::CommonPractice)
}

/// A source from memory.
pub(crate) const fn memory(what: &'static str) -> Source {
    Source::new(what, Status::Memory)
}

/// A document that was seen.
pub(crate) const fn verified(what: &'static str) -> Source {
    Source::new(what, Status::Verified)
}

/// A number that follows from others.
pub(crate) const fn computed(what: &'static str) -> Source {
    Source::new(what, Status::Computed)
}

/// Bands with a class of its own for next to nothing.
fn with_absent(bands: Bands, below: f64) -> Bands {
    bands.with_bottom(crate::class::Class::Absent, below)
}
