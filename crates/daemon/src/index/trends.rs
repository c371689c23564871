//! The JSON form of how values move.

use std::collections::BTreeMap;

use ohmtrail_index as index;
use ohmtrail_trail::rfc3339;
use serde::Serialize;
use utoipa::ToSchema;

/// How a unit's values move.
#[derive(Debug, Serialize, ToSchema)]
pub struct Trends {
    /// The unit, as the shop names it.
    unit: String,
    trends: Vec<Trend>,
}

/// How a value moves.
#[derive(Debug, Serialize, ToSchema)]
pub struct Trend {
    /// The part.
    part: String,
    /// Its kind; empty if the sheet is not known.
    kind: String,
    /// `capacitance`, `winding`, `resistance`, `insulation` or `current`.
    quantity: &'static str,
    /// Between which points.
    between: [String; 2],
    /// The unit of the values, a UCUM code.
    unit: &'static str,
    /// Whether the line is through their decimal logarithms.
    logarithmic: bool,
    /// The values, the first one first.
    values: Vec<Value>,
    /// The lower limit that the latest was held against.
    lower: Option<f64>,
    /// The upper one.
    upper: Option<f64>,
    /// Where these come from.
    source: String,
    /// How many takes were left out, by reason.
    left_out: BTreeMap<String, usize>,
    /// When the part failed or was replaced: the series begins there.
    since: Option<String>,
    /// Whether nothing was read of the part that is there now.
    of_former: bool,
    /// How many values are of visits with another version of the sheet.
    other_sheet: usize,
    /// The line through them; none through fewer than three visits.
    line: Option<Line>,
    /// When it leaves its tolerance.
    outlook: Outlook,
}

/// A value.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = TrendValue)]
pub struct Value {
    /// The visit's number in the index.
    visit: i64,
    /// When.
    at: Option<String>,
    /// The value.
    value: f64,
    /// Its standard uncertainty.
    u: f64,
}

/// A line.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = TrendLine)]
pub struct Line {
    /// How far it moves in a year; in decades where it is logarithmic.
    per_year: f64,
    /// The standard uncertainty of that.
    u_per_year: f64,
    /// What that is multiplied with for an interval of 95 %.
    coverage: f64,
    /// The sum of the squares of the values' distances in their uncertainties.
    chi2: f64,
    /// How many times as far the values scatter as their uncertainties explain; at least 1.
    scatter: f64,
}

/// When a value leaves its tolerance.
#[derive(Debug, Serialize, ToSchema)]
#[serde(untagged)]
pub enum Outlook {
    /// By its line.
    Leaves(Leaves),
    /// The visits do not bear a forecast.
    None(NoForecast),
}

/// When a line leaves a tolerance.
#[derive(Debug, Serialize, ToSchema)]
pub struct Leaves {
    /// Always true.
    forecast: bool,
    /// Whether it has left it.
    left: bool,
    /// The limit.
    limit: f64,
    /// `upper` or `lower`.
    side: &'static str,
    /// When.
    at: Option<String>,
    /// The begin of the interval of 95 %.
    from: Option<String>,
    /// Its end.
    to: Option<String>,
}

/// Why there is no forecast.
#[derive(Debug, Serialize, ToSchema)]
pub struct NoForecast {
    /// Always false.
    forecast: bool,
    /// Why.
    why: String,
}

impl Trends {
    /// These of a unit.
    #[must_use]
    pub fn of(unit: &str, trends: &[index::Trend]) -> Self {
        Trends {
            unit: unit.to_owned(),
            trends: trends.iter().map(Trend::of).collect(),
        }
    }
}

impl Trend {
    fn of(trend: &index::Trend) -> Self {
        let series = &trend.series;
        let values = series.values.iter().map(|v| Value {
            visit: v.visit,
            at: rfc3339(v.at_us),
            value: v.value,
            u: v.u,
        });
        let line = trend.line.map(|line| Line {
            per_year: line.slope,
            u_per_year: line.u_slope,
            coverage: line.k,
            chi2: line.chi2,
            scatter: line.birge,
        });
        let left_out = series.left_out.iter();
        Trend {
            part: series.part.clone(),
            kind: series.kind.clone(),
            quantity: series.quantity.name(),
            between: series.between.clone(),
            unit: series.quantity.function().ucum(),
            logarithmic: series.quantity.logarithmic(),
            values: values.collect(),
            lower: series.limits.lower,
            upper: series.limits.upper,
            source: series.limits.source.clone(),
            left_out: left_out.map(|(why, n)| ((*why).to_owned(), *n)).collect(),
            since: series.since_us.and_then(rfc3339),
            of_former: series.of_former,
            other_sheet: series.other_sheet,
            line,
            outlook: Outlook::of(&trend.outlook),
        }
    }
}

impl Outlook {
    fn of(outlook: &index::Outlook) -> Self {
        let leaves = |leaving: &index::Leaving, left: bool| {
            Outlook::Leaves(Leaves {
                forecast: true,
                left,
                limit: leaving.limit,
                side: if leaving.upper { "upper" } else { "lower" },
                at: rfc3339(leaving.at_us),
                from: rfc3339(leaving.from_us),
                to: rfc3339(leaving.to_us),
            })
        };
        match outlook {
            index::Outlook::Leaves(leaving) => leaves(leaving, false),
            index::Outlook::Left(leaving) => leaves(leaving, true),
            index::Outlook::No(why) => Outlook::None(NoForecast {
                forecast: false,
                why: why.to_string(),
            }),
        }
    }
}
