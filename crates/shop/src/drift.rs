//! Whether a meter has drifted: the same reference part read again and again, on a control chart.
//!
//! The first readings are the baseline. Their scatter is taken from the moving range, so that a
//! slow drift within them does not widen it; a single reading is out beyond three standard
//! deviations (chart of individuals: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2, from
//! memory), and a small lasting shift shows in the exponentially weighted mean (6.3.2.4, at second
//! hand: centre and three deviations of the mean, weights of 0.2 to 0.3).
//!
//! A single reading that is out alone, with neither neighbour out on its side, is left out of the
//! mean, of the baseline too: it is to be read again, and one that is confirmed counts. A scatter
//! under the display's step is the step's doing: then the step is taken for the deviation of one
//! reading, which no reading can be known better than. The present error is what the weighted mean
//! has now. Readings are made one at a time with the leads taken off between: ten in a row are one.

use std::f64::consts::FRAC_2_SQRT_PI;

use serde::Serialize;

use crate::table::Checked;

/// The mean range of two normal values to their standard deviation: their difference is normal with
/// a deviation of `sqrt 2`, and the mean of its size `sqrt(2 / pi)` of that, which is `2 / sqrt pi`.
const RANGE_OF_TWO: f64 = FRAC_2_SQRT_PI;
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
    /// No two readings after each other differ, and the display's step is not known.
    #[error("the baseline does not scatter: the display's step hides it; use a finer range")]
    NoScatter,
    /// So many are out alone that too few are left.
    #[error(
        "of a baseline of {asked}, {left} reading(s) are left that are not out alone: at least {FEWEST} are needed; read again with clean leads"
    )]
    Wild {
        /// How many were asked for.
        asked: usize,
        /// How many are left.
        left: usize,
    },
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
    /// It is out alone, and the weighted mean is without it.
    pub left_out: bool,
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

/// A time in which the weighted mean was out, and from which it came back.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Excursion {
    /// The first reading at which it was out.
    pub from: usize,
    /// The last.
    pub to: usize,
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
    /// The readings scatter by less than this step of the display, which is taken for their deviation.
    pub step: Option<f64>,
    /// The readings, in their order.
    pub points: Vec<Point>,
    /// The first reading at which the weighted mean was out and has stayed on that side since.
    pub drifted_at: Option<usize>,
    /// From which reading on the drift is likely to date: the first after the weighted mean last
    /// crossed the center.
    pub since: Option<usize>,
    /// Times in the past in which the weighted mean was out.
    pub excursions: Vec<Excursion>,
    /// The meter's present error: the weighted mean at the last reading, less the reference.
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
    // Spreadsheets drop zeros at the end: the finest of all is the display's.
    let step = readings.iter().map(|r| r.step).filter(|s| *s > 0.0);
    let step = step.reduce(f64::min).unwrap_or(0.0);
    let first = &values[..baseline];
    let all = Scatter::of(first, step)?;
    let kept: Vec<f64> = (0..baseline)
        .filter(|n| !all.out_alone(&values, *n))
        .map(|n| values[n])
        .collect();
    if kept.len() < FEWEST {
        return Err(DriftError::Wild {
            asked: baseline,
            left: kept.len(),
        });
    }
    let scatter = Scatter::of(&kept, step)?;
    let center = scatter.center;
    let points = points(readings, &values, scatter);
    let (drifted_at, since) = drift(&points, center);
    let now = points.last();
    let error = now.map_or(center, |p| p.mean) - reference.value;
    let of_mean = now.map_or(0.0, |p| p.mean_limit) / LIMIT;
    let expanded = 2.0 * of_mean.hypot(reference.u);
    Ok(Chart {
        baseline,
        center,
        deviation: scatter.deviation,
        step: scatter.quantised.then_some(step),
        drifted_at,
        since,
        excursions: excursions(&points, drifted_at),
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

/// Where the readings of a baseline lie.
#[derive(Debug, Clone, Copy)]
struct Scatter {
    center: f64,
    deviation: f64,
    /// The display's step stands for the deviation.
    quantised: bool,
}

impl Scatter {
    fn of(values: &[f64], step: f64) -> Result<Scatter, DriftError> {
        let ranges: Vec<f64> = values.windows(2).map(|w| (w[1] - w[0]).abs()).collect();
        let deviation = mean(&ranges) / RANGE_OF_TWO;
        let quantised = deviation < step;
        if deviation <= 0.0 && !quantised {
            return Err(DriftError::NoScatter);
        }
        Ok(Scatter {
            center: mean(values),
            deviation: deviation.max(step),
            quantised,
        })
    }

    fn is_out(&self, value: f64) -> bool {
        (value - self.center).abs() > LIMIT * self.deviation
    }

    /// Whether this value is out, and neither the one before nor the one after is on its side.
    fn out_alone(&self, values: &[f64], nth: usize) -> bool {
        let out = |at: Option<usize>| {
            let value = values.get(at?).copied()?;
            self.is_out(value).then_some(value > self.center)
        };
        let here = out(Some(nth));
        let before = out(nth.checked_sub(1));
        here.is_some() && before != here && out(Some(nth + 1)) != here
    }
}

fn points(readings: &[Checked], values: &[f64], scatter: Scatter) -> Vec<Point> {
    let (center, deviation) = (scatter.center, scatter.deviation);
    let mut weighted = center;
    // The share of the first mean that is left in the weighted one.
    let mut left = 1.0;
    let mut points = Vec::with_capacity(readings.len());
    for (nth, reading) in readings.iter().enumerate() {
        let left_out = scatter.out_alone(values, nth);
        if !left_out {
            weighted = WEIGHT * reading.value + (1.0 - WEIGHT) * weighted;
            left *= (1.0 - WEIGHT).powi(2);
        }
        let mean_limit = LIMIT * deviation * (WEIGHT / (2.0 - WEIGHT) * (1.0 - left)).sqrt();
        points.push(Point {
            when: reading.when.clone(),
            value: reading.value,
            mean: weighted,
            mean_limit,
            value_out: scatter.is_out(reading.value),
            left_out,
            mean_out: (weighted - center).abs() > mean_limit,
        });
    }
    points
}

/// Where the weighted mean was out before it came to be where it is.
fn excursions(points: &[Point], drifted_at: Option<usize>) -> Vec<Excursion> {
    let before = drifted_at.unwrap_or(points.len());
    let mut all: Vec<Excursion> = Vec::new();
    for nth in (0..before).filter(|n| points[*n].mean_out) {
        match all.last_mut() {
            Some(last) if last.to + 1 == nth => last.to = nth,
            _ => all.push(Excursion { from: nth, to: nth }),
        }
    }
    all
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
