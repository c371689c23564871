//! Whether a meter has drifted: the same reference part read again and again, on a control chart.
//!
//! The first readings are the baseline. Their scatter is taken from the moving range, so that a
//! slow drift within them does not widen it; a single reading is out beyond three standard
//! deviations (chart of individuals, NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2, from
//! memory), and a small lasting shift shows in the exponentially weighted mean (6.3.2.4, from memory).
//! Readings are made one at a time with the leads taken off between: ten in a row are one.

use serde::Serialize;

use crate::table::Checked;

/// The mean range of two normal values to their standard deviation.
const RANGE_OF_TWO: f64 = 1.128;
/// The weight of the newest value in the weighted mean.
pub const WEIGHT: f64 = 0.2;
/// Standard deviations from the baseline's mean at which a chart calls out.
pub const LIMIT: f64 = 3.0;
/// Fewer readings than this make no baseline. Common practice, no published source.
pub const FEWEST: usize = 10;
/// With fewer than this the limits are uncertain, and that is said. Common practice, no published
/// source.
pub const ENOUGH: usize = 20;

/// Why readings make no chart.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum DriftError {
    /// Too few for a baseline.
    #[error(
        "a baseline of {asked}, of {have} reading(s): at least {FEWEST} are needed, better {ENOUGH}"
    )]
    Few {
        /// How many were asked for.
        asked: usize,
        /// How many there are.
        have: usize,
    },
    /// No two readings after each other differ.
    #[error("the baseline does not scatter: the display's step hides it; use a finer range")]
    NoScatter,
    /// A number that is none.
    #[error("{0} is a positive number, or zero")]
    Number(&'static str),
}

/// What is known of the reference part, in the unit of the table.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reference {
    /// Its value.
    pub value: f64,
    /// The standard uncertainty of that.
    pub u: f64,
    /// How far the meter may be off there, as its maker states; none if it is not known.
    pub permitted: Option<f64>,
}

/// One reading on the chart.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Point {
    /// When, as written.
    pub when: String,
    /// What was shown.
    pub value: f64,
    /// The weighted mean up to here.
    pub mean: f64,
    /// How far the weighted mean may be from the baseline's mean.
    pub mean_limit: f64,
    /// The single value is out.
    pub value_out: bool,
    /// The weighted mean is out.
    pub mean_out: bool,
}

/// What is said of the meter's present error against what it may be.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Against {
    /// The error and its uncertainty are within.
    Within,
    /// The error less its uncertainty is outside.
    Outside,
    /// Neither can be said.
    TooCloseToCall,
    /// How far it may be off is not known.
    NotKnown,
}

/// The chart.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Chart {
    /// How many readings are the baseline.
    pub baseline: usize,
    /// Their mean.
    pub center: f64,
    /// The standard deviation of one reading, from the moving range.
    pub deviation: f64,
    /// The readings, in their order.
    pub points: Vec<Point>,
    /// The first reading at which the weighted mean was out and has stayed on that side since.
    pub drifted_at: Option<usize>,
    /// From which reading on the drift is likely to date: the first after the weighted mean last
    /// crossed the center.
    pub since: Option<usize>,
    /// The meter's present error: the mean of the readings since, or of all, less the reference.
    pub error: f64,
    /// Its expanded uncertainty, two standard uncertainties.
    pub expanded: f64,
    /// That error against what is permitted.
    pub against: Against,
}

impl Chart {
    /// Whether the baseline is short of [`ENOUGH`].
    #[must_use]
    pub const fn is_short(&self) -> bool {
        self.baseline < ENOUGH
    }
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

/// Draws the chart of readings of one reference part. `baseline` readings are its beginning.
///
/// # Errors
/// What the readings lack.
pub fn chart(
    readings: &[Checked],
    baseline: usize,
    reference: Reference,
) -> Result<Chart, DriftError> {
    let sound = |x: f64| x.is_finite() && x >= 0.0;
    if !reference.value.is_finite() || !sound(reference.u) {
        return Err(DriftError::Number("the reference's uncertainty"));
    }
    if !reference.permitted.is_none_or(sound) {
        return Err(DriftError::Number("the permitted error"));
    }
    if baseline < FEWEST || readings.len() < baseline {
        return Err(DriftError::Few {
            asked: baseline,
            have: readings.len(),
        });
    }
    let values: Vec<f64> = readings.iter().map(|r| r.value).collect();
    let first = &values[..baseline];
    let ranges: Vec<f64> = first.windows(2).map(|w| (w[1] - w[0]).abs()).collect();
    let deviation = mean(&ranges) / RANGE_OF_TWO;
    if deviation <= 0.0 {
        return Err(DriftError::NoScatter);
    }
    let center = mean(first);
    let points = points(readings, center, deviation);
    let (drifted_at, since) = drift(&points, center);
    let kept = &values[since.unwrap_or(0)..];
    let of_mean = deviation / (kept.len() as f64).sqrt();
    let error = mean(kept) - reference.value;
    let expanded = 2.0 * of_mean.hypot(reference.u);
    Ok(Chart {
        baseline,
        center,
        deviation,
        drifted_at,
        since,
        error,
        expanded,
        against: match reference.permitted {
            None => Against::NotKnown,
            Some(most) if error.abs() + expanded <= most => Against::Within,
            Some(most) if error.abs() - expanded > most => Against::Outside,
            Some(_) => Against::TooCloseToCall,
        },
        points,
    })
}

fn points(readings: &[Checked], center: f64, deviation: f64) -> Vec<Point> {
    let mut weighted = center;
    // The share of the first mean that is left in the weighted one.
    let mut left = 1.0;
    let mut points = Vec::with_capacity(readings.len());
    for reading in readings {
        weighted = WEIGHT * reading.value + (1.0 - WEIGHT) * weighted;
        left *= (1.0 - WEIGHT).powi(2);
        let mean_limit = LIMIT * deviation * (WEIGHT / (2.0 - WEIGHT) * (1.0 - left)).sqrt();
        points.push(Point {
            when: reading.when.clone(),
            value: reading.value,
            mean: weighted,
            mean_limit,
            value_out: (reading.value - center).abs() > LIMIT * deviation,
            mean_out: (weighted - center).abs() > mean_limit,
        });
    }
    points
}

/// Where the weighted mean went out on the side where it still is, and where that began.
fn drift(points: &[Point], center: f64) -> (Option<usize>, Option<usize>) {
    let Some(last) = points.last() else {
        return (None, None);
    };
    let above = last.mean > center;
    let same_side = |p: &Point| (p.mean > center) == above;
    let since = points
        .iter()
        .rposition(|p| !same_side(p))
        .map_or(0, |n| n + 1);
    let out = points[since..].iter().position(|p| p.mean_out);
    match out {
        Some(nth) => (Some(since + nth), Some(since)),
        None => (None, None),
    }
}
