//! `ohmtrail index trend`: how values move, and when one is expected to leave its tolerance.

use ohmtrail_daemon::index::trends;
use ohmtrail_index::{Leaving, Outlook, Quantity, Scale, Series, Trend};

use super::say::day;
use crate::exit::Exit;
use crate::fail::Fail;
use crate::out::Out;

/// Says all of them.
pub fn say(unit: &str, trends: &[Trend], out: &mut Out) -> Result<Exit, Fail> {
    if out.json() {
        out.document(&trends::Trends::of(unit, trends))?;
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
