//! Run capacitors, each section by itself, off circuit: against the marking; where none can be
//! read, against what the plates of the motor and compressor ask for; last, against common
//! practice. Which of these was used is named ([`Basis`]).
//!
//! Discharge and prove it first. A bulged can or an open terminal is rejected whatever the number.

use serde::Serialize;

use super::{Rule, RuleError, not_negative, plate, practice, with_absent};
use crate::accuracy::{Measured, Quantity};
use crate::source::{Source, Status};
use crate::units::{Farads, Ratio};
use crate::verdict::{Limit, Verdict};

/// A marked tolerance, both sides given as positive shares: -6/+6 % is `(0.06, 0.06)`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Tolerance {
    /// How far below the marked value.
    pub minus: Ratio,
    /// How far above it.
    pub plus: Ratio,
}

impl Tolerance {
    /// The same on both sides.
    #[must_use]
    pub const fn symmetric(share: Ratio) -> Self {
        Tolerance {
            minus: share,
            plus: share,
        }
    }
}

/// What is known of one section.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
pub struct Known {
    /// Capacitance marked on the can for this section.
    pub marked: Option<Farads>,
    /// Tolerance marked on the can.
    pub tolerance: Option<Tolerance>,
    /// Capacitance that the plate of the motor or compressor on this section asks for.
    pub plate: Option<Farads>,
}

/// What a section was held against.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
pub enum Basis {
    /// Value and tolerance as marked.
    Marking,
    /// Value as marked; no tolerance can be read, so that of common practice.
    MarkedValue,
    /// The value that the motor's or compressor's plate asks for, tolerance of common practice.
    Plate,
    /// Nothing is known of the section: the range that run capacitors usually have.
    UsualRange,
}

impl Basis {
    /// The basis in words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Basis::Marking => "value and tolerance marked on the capacitor",
            Basis::MarkedValue => "value marked on the capacitor, tolerance of common practice",
            Basis::Plate => "value on the motor's plate, tolerance of common practice",
            Basis::UsualRange => "usual range of run capacitors: nothing is marked",
        }
    }
}

const MARKING: Source = Source::new("marking on the capacitor", Status::Plate);

/// Warned outside, where no tolerance is marked.
pub const WARN: Rule = Rule::between(
    "capacitor.warn",
    "share of the value, where no tolerance is marked: warn outside",
    "1",
    (0.94, 1.06),
    practice("run capacitor without marked tolerance: 6 %"),
);
/// Replaced outside, where no tolerance is marked.
pub const REPLACE: Rule = Rule::between(
    "capacitor.replace",
    "share of the value, where no tolerance is marked: replace outside",
    "1",
    (0.90, 1.10),
    practice("run capacitor without marked tolerance: 10 %"),
);
/// Less than half of the value that is marked or asked for is outside every tolerance in use.
pub const GONE: Rule = Rule::at_least(
    "capacitor.gone",
    "share of the marked or asked value under which no tolerance in use reaches",
    "1",
    0.5,
    Source::new(
        "half of the value on the capacitor or on the motor's plate",
        Status::Plate,
    ),
);
/// Less than this share of the value is no capacitor any more.
pub const ABSENT: Rule = Rule::at_least(
    "capacitor.absent",
    "share of the value under which a section counts as open",
    "1",
    0.1,
    practice("a capacitor at zero has failed"),
);
/// What run capacitors usually have.
pub const USUAL: Rule = Rule::between(
    "capacitor.usual",
    "capacitance that run capacitors usually have",
    "F",
    (2e-6, 80e-6),
    practice("usual range of run capacitors"),
);

/// The rows of this subject.
pub const RULES: &[Rule] = &[WARN, REPLACE, GONE, ABSENT, USUAL];

/// One section of a run capacitor, judged.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct CapacitorVerdict {
    /// What it was held against.
    pub basis: Basis,
    /// Against the limits of that basis.
    pub replace: Verdict,
    /// Against the narrower limits of common practice, where no tolerance is marked.
    pub warn: Option<Verdict>,
    /// Against [`GONE`], where no tolerance is marked but a value is known.
    pub gone: Option<Verdict>,
}

/// The limits of a marking: 55 microfarad marked ±10 % reaches from 49.5 to 60.5.
///
/// # Errors
/// [`RuleError`] if the value is not positive, or a tolerance is negative, not a number, or takes
/// the whole value away.
pub fn marked_limits(value: Farads, tolerance: Tolerance) -> Result<Limit, RuleError> {
    let value = plate(value)?;
    let (minus, plus) = (tolerance.minus.get(), tolerance.plus.get());
    if !minus.is_finite() || !plus.is_finite() {
        return Err(RuleError::NotFinite);
    }
    if minus < 0.0 || plus < 0.0 {
        return Err(RuleError::Negative);
    }
    if minus >= 1.0 {
        return Err(RuleError::OutOfDomain);
    }
    Ok(Limit::new(
        Some(value * (1.0 - minus)),
        Some(value * (1.0 + plus)),
        MARKING,
    ))
}

/// One section, off circuit.
///
/// # Errors
/// [`RuleError`] on a capacitance or a marking that is none.
pub fn section(farads: Quantity<Farads>, known: &Known) -> Result<CapacitorVerdict, RuleError> {
    let m = not_negative(farads)?;
    match (known.marked, known.tolerance, known.plate) {
        (Some(value), Some(tolerance), _) => {
            let limit = marked_limits(value, tolerance)?;
            Ok(CapacitorVerdict {
                basis: Basis::Marking,
                replace: against(m, limit, value.get()),
                warn: None,
                gone: None,
            })
        }
        (Some(value), None, _) => by_practice(m, value, Basis::MarkedValue),
        (None, _, Some(value)) => by_practice(m, value, Basis::Plate),
        (None, _, None) => {
            let limit = USUAL.limit();
            Ok(CapacitorVerdict {
                basis: Basis::UsualRange,
                replace: against(m, limit, limit.low()),
                warn: None,
                gone: None,
            })
        }
    }
}

fn by_practice(m: Measured, value: Farads, basis: Basis) -> Result<CapacitorVerdict, RuleError> {
    let value = plate(value)?;
    Ok(CapacitorVerdict {
        basis,
        replace: against(m, REPLACE.limit_of(value), value),
        warn: Some(against(m, WARN.limit_of(value), value)),
        gone: Some(against(m, GONE.limit_of(value), value)),
    })
}

fn against(m: Measured, limit: Limit, value: f64) -> Verdict {
    let absent = ABSENT.limit_of(value).low().min(limit.low());
    Verdict::of(m, limit, &with_absent(limit.bands(), absent))
}
