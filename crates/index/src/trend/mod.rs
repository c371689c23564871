//! How a value of a part moves over the years, and when it is expected to leave its tolerance: only
//! where the readings bear it, and else why not.

mod line;
mod scale;
mod series;

use std::fmt;

pub use line::{At, Crossing, LEVEL, Line};
pub use scale::Scale;
pub use series::{Limits, Point, Quantity, Series, WINDING_AT};

use crate::error::Error;
use crate::index::Index;

/// The fewest visits that a forecast is made of; common practice, no published source.
pub const LEAST_VISITS: usize = 4;
/// The shortest time that they span, years: a whole round of the seasons, for everything that is read
/// outdoors moves with them; common practice, no published source.
pub const LEAST_YEARS: f64 = 1.0;
/// How far ahead a line is followed, in the time that its visits span; common practice, no published
/// source.
pub const FARTHEST: f64 = 2.0;
/// Microseconds of a year: the Julian year of 365.25 days.
pub const YEAR_US: f64 = 365.25 * 86_400e6;

/// One series of a unit, with its line and what is to be expected of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Trend {
    /// The values.
    pub series: Series,
    /// The line through them, in years since the first value; of the decimal logarithm for a
    /// [`Quantity::logarithmic`] one. None through fewer than three visits.
    pub line: Option<Line>,
    /// When it leaves its tolerance.
    pub outlook: Outlook,
}

/// When a value leaves its tolerance.
#[derive(Debug, Clone, PartialEq)]
pub enum Outlook {
    /// It is expected to.
    Leaves(Leaving),
    /// By the line it has already.
    Left(Leaving),
    /// The readings do not bear a forecast.
    No(Why),
}

/// A crossing of a limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Leaving {
    /// The limit, base unit.
    pub limit: f64,
    /// Whether it is the upper one.
    pub upper: bool,
    /// When the line crosses it, microseconds since 1970.
    pub at_us: i64,
    /// The begin of the interval at [`LEVEL`].
    pub from_us: i64,
    /// Its end.
    pub to_us: i64,
}

/// Why there is no forecast.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Why {
    /// The part failed or was replaced, and nothing was read since.
    Former,
    /// Too few visits.
    Few(usize),
    /// They lie too close together: years.
    Short(f64),
    /// The slope's interval holds zero.
    NoSlope,
    /// There is no limit on the side that it moves to.
    NoLimit,
    /// No limit of such a value has a source.
    NoSource,
    /// The crossing lies too far ahead: years after the last visit, and the span of the visits.
    Far(f64, f64),
}

impl fmt::Display for Why {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Why::Former => write!(
                f,
                "the part failed or was replaced, and nothing was read since"
            ),
            Why::Few(n) => write!(f, "{n} visits, and a forecast takes {LEAST_VISITS}"),
            Why::Short(years) => write!(
                f,
                "the visits span {years:.1} years, and a forecast takes a whole year"
            ),
            Why::NoSlope => write!(f, "it does not move more than its uncertainty"),
            Why::NoLimit => write!(f, "there is no limit on the side that it moves to"),
            Why::NoSource => write!(
                f,
                "no limit of a winding has a published source: only how it moves is said"
            ),
            Why::Far(years, span) => write!(
                f,
                "by its line more than {:.0} years after the last visit: the visits span {span:.1} years, \
                 and {FARTHEST:.0} times that is as far as a line is followed",
                years.floor()
            ),
        }
    }
}

impl Index {
    /// The trends of a unit's parts.
    ///
    /// # Errors
    /// [`Error::NoUnit`], and what the store says.
    pub fn trends(&mut self, unit: &str, simulated: bool) -> Result<Vec<Trend>, Error> {
        self.know_unit(unit, simulated)?;
        let all = series::of_unit(self, unit, simulated)?;
        Ok(all.into_iter().map(Trend::of).collect())
    }
}

impl Trend {
    /// The trend of a series.
    #[must_use]
    pub fn of(series: Series) -> Trend {
        let first = series.values.first().map_or(0, |v| v.at_us);
        let values: Vec<At> = series
            .values
            .iter()
            .filter_map(|v| to_line(series.quantity, first, v))
            .collect();
        let line = Line::through(&values);
        let outlook = outlook(&series, line.as_ref(), &values, first);
        Trend {
            series,
            line,
            outlook,
        }
    }

    /// The slope and its standard uncertainty, base unit in a year; of a logarithmic quantity, in
    /// decades.
    #[must_use]
    pub fn slope(&self) -> Option<(f64, f64)> {
        self.line.map(|line| (line.slope, line.u_slope))
    }
}

/// A value as it goes in a line; none where its logarithm is none.
fn to_line(quantity: Quantity, first_us: i64, value: &Point) -> Option<At> {
    let t = (value.at_us - first_us) as f64 / YEAR_US;
    if !quantity.logarithmic() {
        return Some(At {
            t,
            y: value.value,
            u: value.u,
        });
    }
    (value.value > 0.0).then(|| At {
        t,
        y: value.value.log10(),
        u: value.u / (value.value * std::f64::consts::LN_10),
    })
}

fn outlook(series: &Series, line: Option<&Line>, values: &[At], first_us: i64) -> Outlook {
    if series.of_former {
        return Outlook::No(Why::Former);
    }
    let (n, last) = (values.len(), values.last().map_or(0.0, |v| v.t));
    let span = last - values.first().map_or(0.0, |v| v.t);
    let line = match line {
        Some(line) if n >= LEAST_VISITS => line,
        _ => return Outlook::No(Why::Few(n)),
    };
    if span < LEAST_YEARS {
        return Outlook::No(Why::Short(span));
    }
    if !line.is_sloped() {
        return Outlook::No(Why::NoSlope);
    }
    if series.quantity == Quantity::Winding {
        return Outlook::No(Why::NoSource);
    }
    let upper = line.slope > 0.0;
    let limit = if upper {
        series.limits.upper
    } else {
        series.limits.lower
    };
    let Some(limit) = limit.filter(|l| !series.quantity.logarithmic() || *l > 0.0) else {
        return Outlook::No(Why::NoLimit);
    };
    let in_line = if series.quantity.logarithmic() {
        limit.log10()
    } else {
        limit
    };
    let Some(crossing) = line.crosses(in_line) else {
        return Outlook::No(Why::NoSlope);
    };
    if crossing.at > last + FARTHEST * span {
        return Outlook::No(Why::Far(crossing.at - last, span));
    }
    // Times beyond all calendars are cut to the last moment that can be written.
    let us = |t: f64| first_us.saturating_add((t * YEAR_US) as i64);
    let leaving = Leaving {
        limit,
        upper,
        at_us: us(crossing.at),
        from_us: us(crossing.from),
        to_us: us(crossing.to),
    };
    if crossing.at <= last {
        Outlook::Left(leaving)
    } else {
        Outlook::Leaves(leaving)
    }
}
