//! Unbalance of the three line voltages (NEMA MG-1), and of currents by the same formula.

use serde::Serialize;

use super::{Rule, RuleError, divisor, practice, second_hand};
use crate::accuracy::{Measured, Quantity, Unit};
use crate::math::root_sum_square;
use crate::units::Ratio;
use crate::verdict::Verdict;

/// Up to here a motor carries its rated load.
pub const RATED: Rule = Rule::at_most(
    "unbalance.rated",
    "voltage unbalance up to which a motor carries its rated load",
    "1",
    0.01,
    second_hand("NEMA MG-1 14.36: derate above 1 %"),
);
/// Above here a motor is not run.
pub const RUN: Rule = Rule::at_most(
    "unbalance.run",
    "voltage unbalance above which a motor is not run",
    "1",
    0.05,
    second_hand("NEMA MG-1 14.36: not above 5 %"),
);
/// What equipment makers commonly allow.
pub const EQUIPMENT: Rule = Rule::at_most(
    "unbalance.equipment",
    "voltage unbalance that equipment manuals commonly allow",
    "1",
    0.02,
    practice("2 % as the equipment's own maximum"),
);
/// At the service, without load.
pub const SERVICE: Rule = Rule::at_most(
    "unbalance.service",
    "voltage unbalance at the service without load",
    "1",
    0.03,
    second_hand("ANSI C84.1: 3 % at the service, no load"),
);
/// Currents of a motor.
pub const CURRENT: Rule = Rule::at_most(
    "unbalance.current",
    "current unbalance of a motor",
    "1",
    0.10,
    practice("10 % current unbalance"),
);

/// The rows of this subject.
pub const RULES: &[Rule] = &[RATED, RUN, EQUIPMENT, SERVICE, CURRENT];

/// The unbalance of three values.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Unbalance {
    /// Largest deviation from the mean over the mean.
    pub share: Quantity<Ratio>,
    /// The mean of the three.
    pub mean: f64,
    /// Which of the three deviates most: 0, 1 or 2.
    pub odd: usize,
}

/// NEMA MG-1: the largest deviation of any of the three from their mean, over the mean. Not
/// (largest - smallest) / mean, which is up to twice as much.
///
/// The uncertainty is carried through for independent errors; readings of one meter on one range
/// share its gain error, so give them [`crate::accuracy::side_by_side_uncertainty`]. Near zero the
/// result is biased upwards by about that uncertainty, as any largest deviation is.
///
/// # Errors
/// [`RuleError`] if a value is not positive.
pub fn of_three<Q: Unit>(values: [Quantity<Q>; 3]) -> Result<Unbalance, RuleError> {
    let [a, b, c] = values;
    let (a, b, c) = (divisor(a)?, divisor(b)?, divisor(c)?);
    let mean = a.value / 3.0 + b.value / 3.0 + c.value / 3.0;
    let deviation = |m: Measured| m.value - mean;
    // The odd one, then the other two.
    let (odd, x, y, z) = {
        let (da, db, dc) = (deviation(a).abs(), deviation(b).abs(), deviation(c).abs());
        if da >= db && da >= dc {
            (0, a, b, c)
        } else if db >= dc {
            (1, b, a, c)
        } else {
            (2, c, a, b)
        }
    };
    // share = |x - mean| / mean = |x / mean - 1|; d(x / mean)/dx = (1 - x / (3 mean)) / mean and
    // d(x / mean)/dy = -x / (3 mean) / mean.
    let third = x.value / mean / 3.0;
    let u = root_sum_square([
        (1.0 - third) / mean * x.u,
        third / mean * y.u,
        third / mean * z.u,
    ]);
    let share = Quantity {
        value: Ratio(deviation(x).abs() / mean),
        u,
        assumed: a.assumed || b.assumed || c.assumed,
    };
    if share.measured().is_sound() {
        Ok(Unbalance { share, mean, odd })
    } else {
        Err(RuleError::OutOfDomain)
    }
}

/// Three-phase line voltages, judged.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct UnbalanceVerdict {
    /// The unbalance.
    pub unbalance: Unbalance,
    /// Against [`RATED`]: outside it, derate.
    pub rated: Verdict,
    /// Against [`RUN`].
    pub run: Verdict,
    /// Against [`EQUIPMENT`].
    pub equipment: Verdict,
    /// The share of its rated load that a motor may carry; none above 5 %.
    pub derate: Option<Ratio>,
}

/// The three line-to-line voltages at a motor.
///
/// # Errors
/// [`RuleError`] if a voltage is not positive.
pub fn of_voltages(
    volts: [Quantity<crate::units::Volts>; 3],
) -> Result<UnbalanceVerdict, RuleError> {
    let unbalance = of_three(volts)?;
    let m = unbalance.share.measured();
    Ok(UnbalanceVerdict {
        unbalance,
        rated: RATED.judge(m).as_warning(),
        run: RUN.judge(m),
        equipment: EQUIPMENT.judge(m),
        derate: derating(unbalance.share.value).ok(),
    })
}

/// Derating over unbalance, read off the curve of NEMA MG-1 figure 14-1 by a public handbook
/// page (second hand; reading error of the curve about 0.01).
pub const DERATING: [(f64, f64); 9] = [
    (0.010, 1.00),
    (0.015, 0.97),
    (0.020, 0.95),
    (0.025, 0.93),
    (0.030, 0.89),
    (0.035, 0.85),
    (0.040, 0.82),
    (0.045, 0.78),
    (0.050, 0.76),
];

/// The share of its rated load that a motor may carry, straight between the points of
/// [`DERATING`].
///
/// # Errors
/// [`RuleError::OutOfDomain`] above 5 %: the motor is not run then. [`RuleError::NotFinite`] or
/// [`RuleError::Negative`] on a share that is none.
pub fn derating(unbalance: Ratio) -> Result<Ratio, RuleError> {
    let x = unbalance.get();
    if !x.is_finite() {
        return Err(RuleError::NotFinite);
    }
    if x < 0.0 {
        return Err(RuleError::Negative);
    }
    let mut below = (0.0, 1.0);
    for (at, factor) in DERATING {
        if x <= at {
            let (x0, f0) = below;
            return Ok(Ratio(f0 + (factor - f0) * (x - x0) / (at - x0)));
        }
        below = (at, factor);
    }
    Err(RuleError::OutOfDomain)
}

/// Extra rise of the winding temperature, as a share of the normal rise: about `2 p^2` percent for
/// `p` percent of unbalance (NEMA MG-1 14.36 comment, second hand).
///
/// # Errors
/// [`RuleError`] on a share that is none.
pub fn extra_rise(unbalance: Ratio) -> Result<Ratio, RuleError> {
    let x = unbalance.get();
    if !x.is_finite() {
        Err(RuleError::NotFinite)
    } else if x < 0.0 {
        Err(RuleError::Negative)
    } else {
        Ok(Ratio(2.0 * (x * 100.0) * (x * 100.0) / 100.0))
    }
}
