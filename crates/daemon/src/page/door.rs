//! What is said at the door: what was found of this unit before, and what failed again.

use maud::{Markup, html};
use ohmtrail_index::{Behind, Failure, Repaired};
use ohmtrail_trail::rfc3339;
use ohmtrail_words::Tongue;

use super::screen::Screen;
use super::units::unit_link;
use super::words::{marked, phrase};

/// So many parts, and so many findings of each, stand at the door; the unit's page has all.
const PARTS: usize = 4;
const FINDINGS: usize = 3;

/// The day of a moment, by the calendar in UTC.
pub(super) fn day(us: i64) -> String {
    let text = rfc3339(us).unwrap_or_default();
    text.split('T').next().unwrap_or_default().to_owned()
}

/// A probability in percent. What is rounded up to all of it is more than is known.
pub(super) fn percent(p: f64) -> String {
    let rounded = (1000.0 * p).round() / 10.0;
    match rounded {
        all if all >= 100.0 && p < 1.0 => format!("> {:.1}", 99.9),
        some => format!("{some:.1}"),
    }
}

/// What stands at the top of a visit.
pub(super) fn door(t: Tongue, screen: &Screen) -> Markup {
    let (view, at) = (&screen.view, &screen.door);
    let known = &at.known;
    let again: Vec<&str> = known
        .parts
        .iter()
        .filter(|part| part.again())
        .map(|part| part.part.as_str())
        .collect();
    let names: Vec<&str> = known.parts.iter().map(|part| part.part.as_str()).collect();
    html! {
        section #door data-part aria-label=(t.say("door")) {
            @if let Some(repair) = known.unproven() { (unproven(t, repair)) }
            @if !known.parts.is_empty() {
                details #door-more {
                    summary {
                        @if again.is_empty() {
                            (t.say("door")) ": " code { (names.join(", ")) }
                        } @else {
                            (t.say("door-again")) ": " code { (again.join(", ")) }
                        }
                    }
                    (parts(t, &known.parts[..known.parts.len().min(PARTS)], FINDINGS, &|f| screen.fault_words(t, f)))
                    p { a.button href=(unit_link(&view.unit, view.simulated)) { (t.say("unit-over-years")) } }
                }
            }
            @if at.behind { p.small { (t.say("index-behind")) } }
        }
    }
}

/// The last repair, which was not proven.
pub(super) fn unproven(t: Tongue, repair: &Repaired) -> Markup {
    html! {
        details #last-repair {
            summary { (t.tell("repair-unproven", &[("day", &day(repair.at_us))])) ": " (phrase(t, &repair.proved)) }
            p { (phrase(t, &repair.why)) }
        }
    }
}

/// Parts with what was found of each.
pub(super) fn parts(
    t: Tongue,
    parts: &[Behind],
    most: usize,
    fault_words: &dyn Fn(&str) -> String,
) -> Markup {
    html! {
        ul.found {
            @for part in parts {
                @let times = part.times().to_string();
                li {
                    b { code { (part.part) } }
                    @if part.again() {
                        p.mark { (t.tell("failed-again", &[("times", &times)])) }
                    } @else if part.times() > 1 {
                        p { (t.tell("found-before", &[("times", &times)])) }
                    }
                    ul {
                        @for failure in part.failures.iter().take(most) {
                            li { (finding(t, failure, fault_words)) }
                        }
                    }
                    @if part.failures.len() > most {
                        p.small { (t.tell("found-more", &[("more", &(part.failures.len() - most).to_string())])) }
                    }
                }
            }
        }
    }
}

/// What was found once: the fault, how sure that was, and what came of it.
fn finding(t: Tongue, failure: &Failure, fault_words: &dyn Fn(&str) -> String) -> Markup {
    let decided = match failure.approved {
        Some(true) => Some(t.say("was-approved")),
        Some(false) => Some(t.say("was-declined")),
        None => None,
    };
    let fitted = failure.fitted_us;
    let fitted = fitted.map(|at| t.tell("part-fitted", &[("day", &day(at))]));
    let role = failure.role.as_deref();
    let role = role.map(|role| t.say(&format!("role-{role}")));
    html! {
        (day(failure.at_us)) ": " (marked(&fault_words(&failure.fault)))
        " (" (t.tell("found-share", &[("share", &percent(failure.p))]))
        @if let Some(role) = role { ", " (role) }
        ")"
        @for more in [decided, fitted].into_iter().flatten() { "; " (more) }
    }
}
