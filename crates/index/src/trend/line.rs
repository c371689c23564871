//! A straight line through values with their uncertainties, and when it crosses a limit.
//!
//! * The line: weighted least squares, each value with the weight 1/u² (JCGM 100:2008, the GUM, H.3 has
//!   the unweighted case).
//! * Values that scatter more than their uncertainties allow: every variance is multiplied by χ²/ν,
//!   the square of the Birge ratio (R. T. Birge, *The calculation of errors by the method of least
//!   squares*, Physical Review 40, 1932); never by less than one.
//! * The crossing: the times at which the confidence band of the line holds the limit, that is
//!   Fieller's interval (E. C. Fieller, *Some problems in interval estimation*, Journal of the Royal
//!   Statistical Society B 16, 1954). It is bounded only if the slope is significant at the same level.

use statrs::distribution::{ContinuousCDF, StudentsT};

/// The level of every interval: 95 %, two-sided.
pub const LEVEL: f64 = 0.95;

/// A value at a time, with its standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct At {
    /// When, in years since any moment.
    pub t: f64,
    /// The value.
    pub y: f64,
    /// Its standard uncertainty, above zero.
    pub u: f64,
}

/// A line through values.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// How many values.
    pub n: usize,
    /// The weighted mean of the times, years: height and slope are not correlated there.
    pub t: f64,
    /// The line's height at that time.
    pub y: f64,
    /// Its slope, per year.
    pub slope: f64,
    /// The standard uncertainty of the height at `t`.
    pub u_y: f64,
    /// The standard uncertainty of the slope.
    pub u_slope: f64,
    /// The sum of squares of the values' distances, in their uncertainties.
    pub chi2: f64,
    /// What the uncertainties were multiplied by, for the scatter: 1 or more.
    pub birge: f64,
    /// The coverage factor of [`LEVEL`]: Student's t for n − 2 degrees of freedom.
    pub k: f64,
}

/// An interval of times, in the years of [`At`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Crossing {
    /// When the line itself crosses the limit.
    pub at: f64,
    /// The interval's begin.
    pub from: f64,
    /// The interval's end.
    pub to: f64,
}

impl Line {
    /// The line through at least three values of different times; none if there is no such line.
    #[must_use]
    pub fn through(values: &[At]) -> Option<Line> {
        let n = values.len();
        if n < 3 || values.iter().any(|v| v.u <= 0.0 || !v.u.is_finite()) {
            return None;
        }
        let sum =
            |of: &dyn Fn(&At) -> f64| -> f64 { values.iter().map(|v| of(v) / (v.u * v.u)).sum() };
        let weight = sum(&|_| 1.0);
        let t = sum(&|v| v.t) / weight;
        let y = sum(&|v| v.y) / weight;
        let spread = sum(&|v| (v.t - t).powi(2));
        if spread <= 0.0 {
            return None;
        }
        let slope = sum(&|v| (v.t - t) * (v.y - y)) / spread;
        let chi2 = sum(&|v| (v.y - y - slope * (v.t - t)).powi(2));
        let free = (n - 2) as f64;
        let birge = (chi2 / free).sqrt().max(1.0);
        let student = StudentsT::new(0.0, 1.0, free).ok()?;
        let line = Line {
            n,
            t,
            y,
            slope,
            u_y: birge / weight.sqrt(),
            u_slope: birge / spread.sqrt(),
            chi2,
            birge,
            k: student.inverse_cdf(0.5 + LEVEL / 2.0),
        };
        line.slope.is_finite().then_some(line)
    }

    /// The line's height at a time.
    #[must_use]
    pub fn height(&self, t: f64) -> f64 {
        self.y + self.slope * (t - self.t)
    }

    /// The standard uncertainty of that.
    #[must_use]
    pub fn u_height(&self, t: f64) -> f64 {
        self.u_y.hypot((t - self.t) * self.u_slope)
    }

    /// Whether the slope's interval does not hold zero.
    #[must_use]
    pub fn is_sloped(&self) -> bool {
        self.slope.abs() > self.k * self.u_slope
    }

    /// When the line crosses a limit, by Fieller; none without a significant slope.
    #[must_use]
    pub fn crosses(&self, limit: f64) -> Option<Crossing> {
        if !self.is_sloped() {
            return None;
        }
        let d = limit - self.y;
        // (d − slope·τ)² = k²·(u_y² + τ²·u_slope²), solved for τ, the time since `t`.
        let a = self.slope.powi(2) - (self.k * self.u_slope).powi(2);
        let half = self.k * (self.u_y.powi(2) * a + (d * self.u_slope).powi(2)).sqrt();
        let middle = d * self.slope;
        Some(Crossing {
            at: self.t + d / self.slope,
            from: self.t + (middle - half) / a,
            to: self.t + (middle + half) / a,
        })
    }
}
