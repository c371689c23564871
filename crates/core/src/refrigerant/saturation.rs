//! Saturation by series: a temperature from a pressure, and back.

use super::{Point, Refrigerant, fits};
use crate::accuracy::Quantity;
use crate::math::root_sum_square;
use crate::rules::RuleError;
use crate::units::{Celsius, Pascals};

const ZERO: f64 = 273.15;
/// Newton's steps from the middle of the range that bring a pressure to a billionth of itself.
const STEPS: u32 = 8;

/// A temperature, kelvins, as a Chebyshev series in the logarithm of the pressure, pascals.
#[derive(Debug, Clone, Copy)]
pub(super) struct Fit {
    /// The range, in logarithms of pascals.
    pub log_p: [f64; 2],
    /// The coefficients, lowest first.
    pub series: [f64; 8],
}

impl Fit {
    const fn of(refrigerant: Refrigerant, point: Point) -> &'static Fit {
        match (refrigerant, point) {
            (Refrigerant::R22, _) => &fits::R22_PURE,
            (Refrigerant::R134a, _) => &fits::R134A_PURE,
            (Refrigerant::R32, _) => &fits::R32_PURE,
            (Refrigerant::R290, _) => &fits::R290_PURE,
            (Refrigerant::R410A, Point::Bubble) => &fits::R410A_BUBBLE,
            (Refrigerant::R410A, Point::Dew) => &fits::R410A_DEW,
            (Refrigerant::R407C, Point::Bubble) => &fits::R407C_BUBBLE,
            (Refrigerant::R407C, Point::Dew) => &fits::R407C_DEW,
            (Refrigerant::R454B, Point::Bubble) => &fits::R454B_BUBBLE,
            (Refrigerant::R454B, Point::Dew) => &fits::R454B_DEW,
        }
    }

    /// Clenshaw's recurrence: the temperature, kelvins, and its slope by the logarithm.
    fn at(&self, log_p: f64) -> (f64, f64) {
        let [low, high] = self.log_p;
        let scale = 2.0 / (high - low);
        let x = scale * (log_p - low) - 1.0;
        let (mut b1, mut b2, mut d1, mut d2) = (0.0, 0.0, 0.0, 0.0);
        let (first, rest) = match self.series.split_first() {
            Some((first, rest)) => (*first, rest),
            None => (0.0, &[][..]),
        };
        for c in rest.iter().rev() {
            let d = 2.0 * x * d1 - d2 + 2.0 * b1;
            (d1, d2) = (d, d1);
            let b = 2.0 * x * b1 - b2 + c;
            (b1, b2) = (b, b1);
        }
        let value = x * b1 - b2 + first;
        let slope = b1 + x * d1 - d2;
        (value, slope * scale)
    }
}

/// The saturation temperature at an absolute pressure, with the reading's uncertainty and that of the
/// series ([`Refrigerant::half_width`], rectangular: JCGM 100:2008, 4.3.7).
///
/// # Errors
/// [`RuleError::OutOfDomain`] outside the range of the series: from -60 degrees Celsius to 67 or more.
pub fn temperature(
    refrigerant: Refrigerant,
    point: Point,
    pressure: Quantity<Pascals>,
) -> Result<Quantity<Celsius>, RuleError> {
    let m = pressure.measured();
    if !m.is_sound() {
        return Err(RuleError::NotFinite);
    }
    let fit = Fit::of(refrigerant, point);
    let [low, high] = fit.log_p;
    let log_p = libm::log(m.value);
    if !(low..=high).contains(&log_p) {
        return Err(RuleError::OutOfDomain);
    }
    let (kelvins, slope) = fit.at(log_p);
    let series = refrigerant.half_width().get() / libm::sqrt(3.0);
    let u = root_sum_square([slope * m.u / m.value, series]);
    Ok(Quantity {
        value: Celsius(kelvins - ZERO),
        u,
        assumed: pressure.assumed,
    })
}

/// The absolute pressure at which it boils at that temperature: the inverse of [`temperature`].
///
/// # Errors
/// [`RuleError::OutOfDomain`] outside the range of the series.
pub fn pressure(refrigerant: Refrigerant, point: Point, at: Celsius) -> Result<Pascals, RuleError> {
    let wanted = at.get() + ZERO;
    let fit = Fit::of(refrigerant, point);
    let [low, high] = fit.log_p;
    if !(fit.at(low).0..=fit.at(high).0).contains(&wanted) {
        return Err(RuleError::OutOfDomain);
    }
    // It rises all the way and bends one way, so Newton's steps close in from anywhere.
    let mut log_p = 0.5 * (low + high);
    for _ in 0..STEPS {
        let (kelvins, slope) = fit.at(log_p);
        log_p = (log_p + (wanted - kelvins) / slope).max(low).min(high);
    }
    Ok(Pascals(libm::exp(log_p)))
}
