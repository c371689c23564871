//! Winding resistance and temperature: `R2 / R1 = (K + t2) / (K + t1)`.
//!
//! `K` is the temperature, below zero, at which the metal's resistance would reach zero on the
//! straight line: 234.5 for copper, 225 for aluminium of electrical grade (heating-test clauses
//! of the UL type, second hand; IEC 60034-1 uses 235 for copper, a difference of 0.2 %).

use serde::{Deserialize, Serialize};

use super::{RuleError, divisor, not_negative};
use crate::accuracy::{Measured, Quantity};
use crate::math::root_sum_square;
use crate::source::Source;
use crate::units::{Celsius, Kelvins, Ohms, Ratio};

/// Where the law and its constants come from.
pub const LAW: Source =
    super::second_hand("R2/R1 = (K + t2)/(K + t1), K = 234.5 copper, 225 aluminium");

/// What a winding is made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Metal {
    /// Copper.
    Copper,
    /// Aluminium of electrical grade.
    Aluminium,
}

impl Metal {
    /// The constant `K` of [`LAW`], in kelvins.
    #[must_use]
    pub const fn k(self) -> f64 {
        match self {
            Metal::Copper => 234.5,
            Metal::Aluminium => 225.0,
        }
    }
}

/// `K + t`, which must be positive.
fn above_zero(t: Quantity<Celsius>, metal: Metal) -> Result<Measured, RuleError> {
    let m = t.measured();
    if !m.is_sound() {
        return Err(RuleError::NotFinite);
    }
    let value = metal.k() + m.value;
    if value > 0.0 {
        Ok(Measured { value, ..m })
    } else {
        Err(RuleError::OutOfDomain)
    }
}

fn sound<Q: crate::accuracy::Unit>(q: Quantity<Q>) -> Result<Quantity<Q>, RuleError> {
    if q.measured().is_sound() {
        Ok(q)
    } else {
        Err(RuleError::OutOfDomain)
    }
}

/// A resistance read at `from`, as it would be at `to`. Uncertainties of the reading and of the
/// reading's temperature are carried through; `to` is exact.
///
/// # Errors
/// [`RuleError`] on a resistance that is none, or a temperature below `-K`.
pub fn resistance_at(
    ohms: Quantity<Ohms>,
    from: Quantity<Celsius>,
    to: Celsius,
    metal: Metal,
) -> Result<Quantity<Ohms>, RuleError> {
    let r = not_negative(ohms)?;
    let t1 = above_zero(from, metal)?;
    let t2 = above_zero(Quantity::new(to, 0.0), metal)?;
    let factor = t2.value / t1.value;
    let value = r.value * factor;
    sound(Quantity {
        value: Ohms(value),
        u: root_sum_square([r.u * factor, value * t1.u / t1.value]),
        assumed: r.assumed || t1.assumed,
    })
}

/// The temperature of a winding from its resistance now and a reference of the same winding:
/// `t2 = R2 / R1 * (K + t1) - K`.
///
/// # Errors
/// [`RuleError`] on a resistance that is none or a reference of zero.
pub fn temperature(
    now: Quantity<Ohms>,
    reference: Quantity<Ohms>,
    reference_at: Quantity<Celsius>,
    metal: Metal,
) -> Result<Quantity<Celsius>, RuleError> {
    let r2 = not_negative(now)?;
    let r1 = divisor(reference)?;
    let t1 = above_zero(reference_at, metal)?;
    let ratio = r2.value / r1.value;
    let absolute = ratio * t1.value;
    sound(Quantity {
        value: Celsius(absolute - metal.k()),
        u: root_sum_square([
            t1.value * r2.u / r1.value,
            absolute * r1.u / r1.value,
            ratio * t1.u,
        ]),
        assumed: r2.assumed || r1.assumed || t1.assumed,
    })
}

/// The rise of a winding over ambient by the resistance method:
/// `(R2 - R1) / R1 * (K + t1) + t1 - ambient`, with `t1` the winding's temperature at `R1` and the
/// ambient at the end of the run.
///
/// # Errors
/// As [`temperature`].
pub fn rise(
    hot: Quantity<Ohms>,
    cold: Quantity<Ohms>,
    cold_at: Quantity<Celsius>,
    ambient: Quantity<Celsius>,
    metal: Metal,
) -> Result<(Kelvins, f64), RuleError> {
    let t2 = temperature(hot, cold, cold_at, metal)?;
    let a = ambient.measured();
    if !a.is_sound() {
        return Err(RuleError::NotFinite);
    }
    Ok((t2.value - ambient.value, root_sum_square([t2.u, a.u])))
}

/// A resistance against a known cold one of the same winding, both at the reference's
/// temperature: under one means shorted turns, which the sum rule cannot see. No published limit
/// is known, so the share is given and not judged.
///
/// # Errors
/// As [`resistance_at`]; [`RuleError::NotPositive`] for a reference of zero.
pub fn share_of_reference(
    now: Quantity<Ohms>,
    now_at: Quantity<Celsius>,
    reference: Quantity<Ohms>,
    reference_at: Quantity<Celsius>,
    metal: Metal,
) -> Result<Quantity<Ratio>, RuleError> {
    let here = resistance_at(now, now_at, reference_at.value, metal)?.measured();
    let r1 = divisor(reference)?;
    let t1 = above_zero(reference_at, metal)?;
    let value = here.value / r1.value;
    sound(Quantity {
        value: Ratio(value),
        u: root_sum_square([
            here.u / r1.value,
            value * r1.u / r1.value,
            value * t1.u / t1.value,
        ]),
        assumed: here.assumed || r1.assumed || t1.assumed,
    })
}
