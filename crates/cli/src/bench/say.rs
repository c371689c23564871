//! What is said of a study or a chart: text and JSON.

use ohmtrail_shop::drift::{Against, Chart, ENOUGH, Reference};
use ohmtrail_shop::repeat::{CONFIDENCE, Repeat};
use serde_json::json;

use crate::check::number::digits;
use crate::fail::Fail;
use crate::out::Out;

fn percent(share: f64) -> String {
    format!("{:.1} %", share * 100.0)
}

/// A study.
pub fn repeat(found: &Repeat, out: &mut Out) -> Result<(), Fail> {
    if out.json() {
        return out.document(&json!({ "repeat": found }));
    }
    let [parts, people, times] = found.design;
    let people = match people {
        1 => "1 person".to_owned(),
        people => format!("{people} people"),
    };
    out.line(&format!(
        "{parts} parts, {people}, {times} times each; every figure in the unit of the table"
    ))?;
    for line in &found.lines {
        let ratio = line.ratio.map_or_else(String::new, |(ratio, by_chance)| {
            let seldom = if by_chance < 1e-4 {
                "under 0.01 %".to_owned()
            } else {
                format!("{:.2} %", by_chance * 100.0)
            };
            format!(", ratio {}, by chance {seldom}", digits(ratio))
        });
        out.line(&format!(
            "  {}: freedom {}, mean square {}{ratio}",
            line.of,
            line.freedom,
            digits(line.mean_square)
        ))?;
    }
    if found.pooled {
        out.line(
            "  parts with people are pooled with the repeats: chance alone brings that about",
        )?;
    }
    let [low, high] = found.repeatability_interval;
    out.line(&format!(
        "repeatability: standard deviation {}, {} to {} at {:.0} %",
        digits(found.repeatability),
        digits(low),
        digits(high),
        CONFIDENCE * 100.0
    ))?;
    match found.reproducibility {
        Some(people) => out.line(&format!(
            "reproducibility: standard deviation {}",
            digits(people)
        ))?,
        None => out.line("reproducibility: not known, one person measured")?,
    }
    out.line(&format!(
        "both: {}, of all scatter ({}) {}",
        digits(found.gauge),
        digits(found.total),
        percent(found.share)
    ))?;
    if let Some(of) = found.of_tolerance {
        out.line(&format!(
            "six deviations of it are {} of the tolerance",
            percent(of)
        ))?;
    }
    out.line(&format!(
        "groups of these parts that it tells apart: {}",
        found.groups
    ))?;
    out.line(&format!("it {}", found.standing))
}

/// A chart.
pub fn drift(chart: &Chart, known: Reference, out: &mut Out) -> Result<(), Fail> {
    if out.json() {
        return out.document(&json!({ "drift": chart, "reference": known.value }));
    }
    out.line(&format!(
        "{} readings; baseline: the first {}, mean {}, deviation of one {}",
        chart.points.len(),
        chart.baseline,
        digits(chart.center),
        digits(chart.deviation)
    ))?;
    if chart.is_short() {
        out.line(&format!(
            "the baseline is short: with under {ENOUGH} readings the limits are uncertain"
        ))?;
    }
    if let Some(step) = chart.step {
        out.line(&format!(
            "the readings scatter by less than the display's step, {}, which is taken for the deviation of one: a finer range tells more",
            digits(step)
        ))?;
    }
    for point in chart.points.iter().filter(|p| p.value_out) {
        let what = if point.left_out {
            "out alone, and left out: read it again"
        } else {
            "out, as is a reading beside it"
        };
        out.line(&format!(
            "{} on {}: {what}",
            digits(point.value),
            point.when
        ))?;
    }
    let when = |nth: usize| chart.points.get(nth).map_or("", |p| p.when.as_str());
    for past in &chart.excursions {
        out.line(&format!(
            "the weighted mean was out from {} to {}, and came back: look at what was measured between",
            when(past.from),
            when(past.to)
        ))?;
    }
    let at = |nth: Option<usize>| {
        nth.and_then(|n| chart.points.get(n))
            .map(|p| p.when.as_str())
    };
    match (at(chart.drifted_at), at(chart.since)) {
        (Some(seen), Some(since)) => out.line(&format!(
            "drifted: the weighted mean went out on {seen} and has not come back over the baseline's; it is likely to date from {since}"
        ))?,
        _ => out.line("no drift is seen")?,
    }
    out.line(&format!(
        "present error: {}{} by the reference of {}, expanded uncertainty {}",
        if chart.error > 0.0 { "+" } else { "" },
        digits(chart.error),
        digits(known.value),
        digits(chart.expanded)
    ))?;
    let permitted = known.permitted.map_or_else(String::new, digits);
    out.line(&match chart.against {
        Against::Within => format!("within what is permitted, {permitted}"),
        Against::Outside => {
            format!("outside of what is permitted, {permitted}: have it calibrated")
        }
        Against::TooCloseToCall => {
            format!("too close to call against what is permitted, {permitted}")
        }
        Against::NotKnown => "how far it may be off was not given".to_owned(),
    })
}
