//! How a unit's values move, in words and numbers.

use maud::{Markup, html};
use ohmtrail_index::{
    FARTHEST, LEAST_VISITS, Leaving, Outlook, Quantity, Scale, Series, Trend, Why,
};
use ohmtrail_words::Tongue;

use super::door::day;
use super::words::phrase;

/// The latest values that are shown; the others are folded away.
const LATEST: usize = 4;

/// All of them.
pub(super) fn trends(t: Tongue, all: &[Trend]) -> Markup {
    html! {
        @if all.is_empty() { p { (t.say("no-trends")) } }
        @for trend in all { (one(t, trend)) }
    }
}

fn one(t: Tongue, trend: &Trend) -> Markup {
    let series = &trend.series;
    let [a, b] = &series.between;
    let scale = Scale::of(series);
    let values = &series.values;
    let earlier = values.len().saturating_sub(LATEST);
    let row = |at_us: i64, value: f64, u: f64| html! { tr { th scope="row" { (day(at_us)) } td { (scale.number(value, u)) " ± " (scale.with_unit(2.0 * u, u)) } } };
    html! {
        article.sheet {
            h3 { code { (series.part) } ": " (t.say(&format!("quantity-{}", series.quantity.name()))) ", " code { (a) " – " (b) } }
            @if series.quantity == Quantity::Winding { p.small { (t.say("brought-to-25")) } }
            @if let Some(at) = series.since_us.filter(|_| !series.of_former) {
                p.small { (t.tell("since-renewed", &[("day", &day(at))])) }
            }
            @if !values.is_empty() {
                table.offer {
                    caption.unseen { code { (series.part) } }
                    tbody { @for v in &values[earlier..] { (row(v.at_us, v.value, v.u)) } }
                }
            }
            @if earlier > 0 {
                details { summary { (t.tell("earlier-values", &[("count", &earlier.to_string())])) }
                    table.offer { caption.unseen { code { (series.part) } } tbody { @for v in &values[..earlier] { (row(v.at_us, v.value, v.u)) } } } }
            }
            @for (why, n) in &series.left_out {
                p.small { (t.tell("left-out", &[("count", &n.to_string())])) " " (phrase(t, why)) }
            }
            @if series.other_sheet > 0 {
                p.small { (t.tell("other-sheet", &[("count", &series.other_sheet.to_string())])) }
            }
            @if let Some(moves) = moves(t, trend, &scale) { p { (moves) } }
            (outlook(t, trend, &scale))
        }
    }
}

/// How far it moves in a year, with the interval of that.
fn moves(t: Tongue, trend: &Trend, scale: &Scale) -> Option<String> {
    let (slope, u) = trend.slope()?;
    let k = trend.line.map_or(2.0, |line| line.k);
    Some(if trend.series.quantity.logarithmic() {
        let times = |decades: f64| format!("{:.3}", 10f64.powf(decades));
        let (times, from, to) = (times(slope), times(slope - k * u), times(slope + k * u));
        t.tell(
            "moves-times",
            &[("times", &times), ("from", &from), ("to", &to)],
        )
    } else {
        let (by, about) = (scale.number(slope, u), scale.with_unit(k * u, u));
        t.tell("moves-by", &[("by", &by), ("about", &about)])
    })
}

fn outlook(t: Tongue, trend: &Trend, scale: &Scale) -> Markup {
    let series = &trend.series;
    match &trend.outlook {
        Outlook::Leaves(leaving) => crossing(t, series, leaving, false, scale),
        Outlook::Left(leaving) => crossing(t, series, leaving, true, scale),
        Outlook::No(why) => html! { p { (t.say("no-forecast")) ": " (no_forecast(t, why)) } },
    }
}

fn crossing(
    t: Tongue,
    series: &Series,
    leaving: &Leaving,
    has_left: bool,
    scale: &Scale,
) -> Markup {
    let [at, from, to] = [leaving.at_us, leaving.from_us, leaving.to_us].map(day);
    let limit = scale.with_unit(leaving.limit, leaving.limit.abs() / 1e3);
    let when: [(&str, &str); 3] = [("day", &at), ("from", &from), ("to", &to)];
    let words = if has_left {
        t.tell("has-left", &when)
    } else {
        t.tell("expected-to-leave", &when)
    };
    let side = if leaving.upper {
        t.tell("limit-upper", &[("limit", &limit)])
    } else {
        t.tell("limit-lower", &[("limit", &limit)])
    };
    html! {
        p.mark { (words) }
        p.small { (side) ": " (phrase(t, &series.limits.source)) }
    }
}

fn no_forecast(t: Tongue, why: &Why) -> String {
    let years = |years: f64| format!("{years:.1}");
    match why {
        Why::Former => t.say("why-former"),
        Why::Few(n) => t.tell(
            "why-few",
            &[
                ("count", &n.to_string()),
                ("least", &LEAST_VISITS.to_string()),
            ],
        ),
        Why::Short(span) => t.tell("why-short", &[("years", &years(*span))]),
        Why::NoSlope => t.say("why-no-slope"),
        Why::NoLimit => t.say("why-no-limit"),
        Why::NoSource => t.say("why-no-source"),
        Why::Far(ahead, span) => t.tell(
            "why-far",
            &[
                ("ahead", &format!("{:.0}", ahead.floor())),
                ("span", &years(*span)),
                ("times", &format!("{FARTHEST:.0}")),
            ],
        ),
    }
}
