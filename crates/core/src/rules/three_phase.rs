//! Winding resistance of a three-phase motor: the three pairs must be alike.

use serde::Serialize;

use super::{Rule, RuleError, divisor, practice};
use crate::accuracy::{Measured, Quantity};
use crate::math::root_sum_square;
use crate::units::{Ohms, Ratio};
use crate::verdict::Verdict;

/// Warned above.
pub const WARN: Rule = Rule::at_most(
    "three-phase.warn",
    "spread of the three pairs over their mean: warn above",
    "1",
    0.05,
    practice("winding spread 5 %"),
);
/// Rejected above.
pub const REJECT: Rule = Rule::at_most(
    "three-phase.reject",
    "spread of the three pairs over their mean: reject above",
    "1",
    0.10,
    practice("winding spread 10 %"),
);

/// The rows of this subject.
pub const RULES: &[Rule] = &[WARN, REJECT];

/// The spread of three pairs, judged.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct SpreadVerdict {
    /// (largest - smallest) / mean.
    pub spread: Quantity<Ratio>,
    /// Against [`WARN`].
    pub warn: Verdict,
    /// Against [`REJECT`].
    pub reject: Verdict,
}

/// The spread of the three pairs of a three-phase winding, leads taken off. Give readings of one
/// meter on one range their [`crate::accuracy::side_by_side_uncertainty`].
///
/// # Errors
/// [`RuleError`] if a resistance is not positive.
pub fn spread(pairs: [Quantity<Ohms>; 3]) -> Result<SpreadVerdict, RuleError> {
    let [a, b, c] = pairs;
    let (a, b, c) = (divisor(a)?, divisor(b)?, divisor(c)?);
    let mean = a.value / 3.0 + b.value / 3.0 + c.value / 3.0;
    let pick = |x: Measured, y: Measured, larger: bool| {
        if (x.value >= y.value) == larger { x } else { y }
    };
    let most = pick(pick(a, b, true), c, true);
    let least = pick(pick(a, b, false), c, false);
    let value = (most.value - least.value) / mean;
    // The mean's own error changes the spread by spread / 3 times its share: next to nothing for
    // a small spread, so the two ends carry the uncertainty.
    let spread = Quantity {
        value: Ratio(value),
        u: root_sum_square([most.u / mean, least.u / mean]),
        assumed: a.assumed || b.assumed || c.assumed,
    };
    let m = spread.measured();
    if !m.is_sound() {
        return Err(RuleError::OutOfDomain);
    }
    Ok(SpreadVerdict {
        spread,
        warn: WARN.judge(m),
        reject: REJECT.judge(m),
    })
}
