//! Stored charge: what must have gone before anyone touches a capacitor, and before an ohmmeter
//! or a capacitance meter does.
//!
//! Discharge through a resistor, never by a short; the meter's value is the proof, not the time,
//! and it is read again just before touching, as some charge comes back by itself.

use serde::Serialize;

use super::{Rule, RuleError, judge, plate, practice, second_hand};
use crate::accuracy::{Measured, Quantity};
use crate::units::{Farads, Ohms, Volts};
use crate::verdict::{Decision, Verdict};

/// Before anyone touches.
pub const TOUCH: Rule = Rule::at_most(
    "discharge.touch",
    "volts left on any pair of a capacitor's terminals before anyone touches",
    "V",
    34.0,
    second_hand("IEC 60335-1, 22.5: 34 V"),
);
/// Before ohms or farads are measured at a node that touches a capacitor.
pub const MEASURE: Rule = Rule::at_most(
    "discharge.measure",
    "volts left before ohms or farads are measured at a node that touches a capacitor",
    "V",
    1.0,
    practice("1 V before ohms or farads"),
);

/// The rows of this subject.
pub const RULES: &[Rule] = &[TOUCH, MEASURE];

/// What is left on a capacitor. Either may be negative: the magnitude counts.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct DischargeVerdict {
    /// Against [`TOUCH`].
    pub touch: Verdict,
    /// Against [`MEASURE`].
    pub measure: Verdict,
}

impl DischargeVerdict {
    /// Whether the volts are under the limit of touch by the whole guard band. It says what was
    /// measured on this pair, not that the unit is safe.
    #[must_use]
    pub fn under_touch(&self) -> bool {
        self.touch.decision == Decision::Pass
    }

    /// Whether the volts are under the limit for ohms and farads by the whole guard band.
    #[must_use]
    pub fn under_measure(&self) -> bool {
        self.measure.decision == Decision::Pass
    }
}

/// The volts left on one pair of a capacitor's terminals.
///
/// # Errors
/// [`RuleError::NotFinite`] on a voltage that is none.
pub fn left(volts: Quantity<Volts>) -> Result<DischargeVerdict, RuleError> {
    let m = volts.measured();
    if !m.is_sound() {
        return Err(RuleError::NotFinite);
    }
    let m = Measured {
        value: m.value.abs(),
        ..m
    };
    Ok(DischargeVerdict {
        touch: judge(m, TOUCH.limit()),
        measure: judge(m, MEASURE.limit()),
    })
}

/// Seconds until a capacitor has fallen from one voltage to another through a resistor:
/// `t = R C ln(from / to)`. To plan by; the proof is the meter's value.
///
/// # Errors
/// [`RuleError`] if a quantity is not positive.
pub fn seconds(
    resistor: Ohms,
    capacitor: Farads,
    from: Volts,
    to: Volts,
) -> Result<f64, RuleError> {
    let (r, c, from, to) = (
        plate(resistor)?,
        plate(capacitor)?,
        plate(from)?,
        plate(to)?,
    );
    let t = r * c * libm::log(from / to);
    if t.is_finite() {
        Ok(t.max(0.0))
    } else {
        Err(RuleError::OutOfDomain)
    }
}
