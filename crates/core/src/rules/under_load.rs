//! Capacitance of a run capacitor in the running unit, from its current and the volts across it.
//!
//! `C = I / (2 pi f V)`: the volts across the capacitor itself, not the line, and the current in
//! its own lead. The leads are live: keep clear, and clamp the lead where it is insulated.

use serde::{Deserialize, Serialize};

use super::{RuleError, divisor};
use crate::accuracy::{Measured, Quantity, Void};
use crate::math::root_sum_square;
use crate::source::Source;
use crate::units::{Amps, Farads, Hertz, Volts};

/// Where the formula comes from.
pub const FORMULA: Source =
    super::computed("C = I / (2 pi f V); k = 2652.58 at 60 Hz, 3183.10 at 50 Hz");

/// What feeds the motor.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum Feed {
    /// The mains, a sine wave.
    Mains,
    /// An inverter: its current is distorted, and the method is void.
    Inverter,
}

/// The capacitance, with relative uncertainties of current, volts and frequency combined by root
/// sum of squares. Judge it with [`super::capacitor::section`].
///
/// # Errors
/// [`RuleError::Void`] on an inverter feed; [`RuleError`] if a quantity is not positive (no
/// current is not zero capacitance: the circuit may be open anywhere).
pub fn capacitance(
    amps: Quantity<Amps>,
    volts: Quantity<Volts>,
    frequency: Quantity<Hertz>,
    feed: Feed,
) -> Result<Quantity<Farads>, RuleError> {
    if feed == Feed::Inverter {
        return Err(RuleError::Void(Void::NotSinusoidal));
    }
    let (i, v, f) = (divisor(amps)?, divisor(volts)?, divisor(frequency)?);
    let value = i.value / (2.0 * core::f64::consts::PI * f.value * v.value);
    let share = |m: Measured| m.u / m.value;
    let result = Quantity {
        value: Farads(value),
        u: value * root_sum_square([share(i), share(v), share(f)]),
        assumed: i.assumed || v.assumed || f.assumed,
    };
    if result.measured().is_sound() {
        Ok(result)
    } else {
        Err(RuleError::OutOfDomain)
    }
}
