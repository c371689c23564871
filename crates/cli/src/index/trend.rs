//! `ohmtrail index trend`: how values move, and when one is expected to leave its tolerance.

use ohmtrail_index::{Leaving, Outlook, Quantity, Series, Trend};
use ohmtrail_trail::rfc3339;
use serde_json::{Value, json};

use super::say::day;
use crate::exit::Exit;
use crate::fail::Fail;
use crate::out::Out;

/// Says all of them.
pub fn say(unit: &str, trends: &[Trend], out: &mut Out) -> Result<Exit, Fail> {
    if out.json() {
        let list: Vec<Value> = trends.iter().map(trend_json).collect();
        out.document(&json!({"unit": unit, "trends": list}))?;
        return Ok(Exit::Done);
    }
    if trends.is_empty() {
        out.line(&format!(
            "{unit}: nothing of its parts was read that is followed over the years"
        ))?;
    }
    for trend in trends {
        text(trend, out)?;
    }
    Ok(Exit::Done)
}

fn text(trend: &Trend, out: &mut Out) -> Result<(), Fail> {
    let series = &trend.series;
    let [a, b] = &series.between;
    let cold = match series.quantity {
        Quantity::Winding => ", cold, brought to 25 Cel",
        _ => "",
    };
    out.line(&format!(
        "{}: {}, {a} to {b}{cold}",
        series.part,
        series.quantity.name()
    ))?;
    if let Some(at) = series.since_us.filter(|_| !series.of_former) {
        out.line(&format!(
            "  since {}, when the part failed or was replaced",
            day(at)
        ))?;
    }
    let scale = Scale::of(series);
    for value in &series.values {
        out.line(&format!(
            "  {}  {} ± {}",
            day(value.at_us),
            scale.number(value.value, value.u),
            scale.with_unit(2.0 * value.u, value.u)
        ))?;
    }
    for (why, n) in &series.left_out {
        out.line(&format!("  left out: {n}, {why}"))?;
    }
    if series.other_sheet > 0 {
        out.line(&format!(
            "  {} of these are of visits with another version of the sheet: a part at a wire's end is told \
             by the one of now",
            series.other_sheet
        ))?;
    }
    if let Some((slope, u)) = trend.slope() {
        let line = trend.line.map_or((2.0, 1.0), |l| (l.k, l.birge));
        let text = if series.quantity.logarithmic() {
            let times = |decades: f64| 10f64.powf(decades);
            format!(
                "times {:.3} in a year ({:.3} to {:.3})",
                times(slope),
                times(slope - line.0 * u),
                times(slope + line.0 * u)
            )
        } else {
            format!(
                "{} ± {} in a year",
                scale.number(slope, u),
                scale.with_unit(line.0 * u, u)
            )
        };
        let scatter = if line.1 > 1.0 {
            format!(
                "; the values scatter {:.1} times as far as the meters' uncertainty explains, and the \
                 intervals are as much wider",
                line.1
            )
        } else {
            String::new()
        };
        out.line(&format!("  moves by {text}{scatter}"))?;
    }
    out.line(&match &trend.outlook {
        Outlook::Leaves(leaving) => format!(
            "  expected to leave its tolerance about {}, between {} and {}, if it goes on as it did ({})",
            day(leaving.at_us),
            day(leaving.from_us),
            day(leaving.to_us),
            limit(leaving, series, &scale)
        ),
        Outlook::Left(leaving) => format!(
            "  by its line it left its tolerance about {}, between {} and {} ({})",
            day(leaving.at_us),
            day(leaving.from_us),
            day(leaving.to_us),
            limit(leaving, series, &scale)
        ),
        Outlook::No(why) => format!("  no forecast: {why}"),
    })
}

fn limit(leaving: &Leaving, series: &Series, scale: &Scale) -> String {
    let side = if leaving.upper { "upper" } else { "lower" };
    let source = &series.limits.source;
    format!(
        "{side} limit {}: {source}",
        scale.with_unit(leaving.limit, leaving.limit.abs() / 1e3)
    )
}

/// A prefix that suits a series, and its unit.
struct Scale {
    factor: f64,
    unit: String,
}

impl Scale {
    fn of(series: &Series) -> Scale {
        let size = series.values.last().map_or(1.0, |v| v.value.abs());
        let prefixes = [
            (1e9, "G"),
            (1e6, "M"),
            (1e3, "k"),
            (1.0, ""),
            (1e-3, "m"),
            (1e-6, "u"),
        ];
        let prefix = prefixes.iter().find(|(factor, _)| size >= *factor);
        let (factor, prefix) = prefix.unwrap_or(&(1e-9, "n"));
        Scale {
            factor: *factor,
            unit: format!("{prefix}{}", series.quantity.function().ucum()),
        }
    }

    /// A value with two digits of its uncertainty.
    fn number(&self, value: f64, u: f64) -> String {
        let step = (u / self.factor).abs().log10().floor();
        let decimals = (1.0 - step).clamp(0.0, 9.0) as usize;
        format!("{:.decimals$}", value / self.factor)
    }

    fn with_unit(&self, value: f64, u: f64) -> String {
        format!("{} {}", self.number(value, u), self.unit)
    }
}

fn trend_json(trend: &Trend) -> Value {
    let series = &trend.series;
    let values: Vec<Value> = series
        .values
        .iter()
        .map(|v| json!({"visit": v.visit, "at": rfc3339(v.at_us), "value": v.value, "u": v.u}))
        .collect();
    let line = trend.line.map(|line| {
        json!({
            "per_year": line.slope, "u_per_year": line.u_slope, "coverage": line.k, "chi2": line.chi2,
            "scatter": line.birge,
        })
    });
    let leaves = |leaving: &Leaving, has_left: bool| {
        json!({
            "forecast": true, "left": has_left, "limit": leaving.limit,
            "side": if leaving.upper { "upper" } else { "lower" },
            "at": rfc3339(leaving.at_us), "from": rfc3339(leaving.from_us), "to": rfc3339(leaving.to_us),
        })
    };
    json!({
        "part": series.part, "kind": series.kind, "quantity": series.quantity.name(),
        "between": series.between, "unit": series.quantity.function().ucum(),
        "logarithmic": series.quantity.logarithmic(), "values": values,
        "lower": series.limits.lower, "upper": series.limits.upper, "source": series.limits.source,
        "left_out": series.left_out, "since": series.since_us.and_then(rfc3339),
        "of_former": series.of_former, "other_sheet": series.other_sheet, "line": line,
        "outlook": match &trend.outlook {
            Outlook::Leaves(leaving) => leaves(leaving, false),
            Outlook::Left(leaving) => leaves(leaving, true),
            Outlook::No(why) => json!({"forecast": false, "why": why.to_string()}),
        },
    })
}
