//! The visits, and a new one.

use maud::{Markup, html};
use ohmtrail_words::{Said, Tongue};

use super::words::{other, said};
use crate::visits::Summary;

/// A sheet to choose.
pub struct SheetChoice {
    /// Its name.
    pub name: String,
    /// What it describes; none if it cannot be used.
    pub title: Option<Said>,
}

/// What the form of a new visit offers.
pub struct Offer {
    /// The sheet.
    pub sheet: SheetChoice,
    /// What customers report: names and words.
    pub complaints: Vec<(String, Said)>,
    /// The daemon's meters: names, and how each stands.
    pub meters: Vec<(String, String)>,
    /// Who did the visit before.
    pub technician: String,
}

/// All visits, those that go on first.
pub fn visits(t: Tongue, visits: &[Summary]) -> Markup {
    let (ended, open): (Vec<_>, Vec<_>) = visits.iter().partition(|v| v.stage == "closed");
    html! {
        h1 { (t.say("visits")) }
        p { a.button.main href="/new" { (t.say("new-visit")) } " " a.button href="/units" { (t.say("units")) } }
        @if visits.is_empty() { p { (t.say("no-visits")) } }
        (group(t, &t.say("visits-open"), &open))
        (group(t, &t.say("visits-ended"), &ended))
    }
}

fn group(t: Tongue, title: &str, some: &[&Summary]) -> Markup {
    html! {
        @if !some.is_empty() {
            h2 { (title) }
            ul.cards { @for visit in some { li { (line(t, visit)) } } }
        }
    }
}

fn line(t: Tongue, visit: &Summary) -> Markup {
    let day = visit.opened_at.as_deref().unwrap_or_default();
    let day = day.get(..16).unwrap_or(day).replace('T', " ");
    html! {
        a.card href={ "/visits/" (visit.id) } {
            strong { (if visit.unit.is_empty() { &visit.id } else { &visit.unit }) }
            span.mark { (t.say(&format!("stage-{}", visit.stage))) }
            span { (visit.work_order) " " (visit.technician) }
            span.small { (day) " · " (visit.sheet) }
            @if let Some(found) = &visit.found {
                span { (t.say("found")) ": " (if found.is_empty() { t.say("no-fault-carried") } else { found.join(", ") }) }
            }
            @if let Some(problem) = &visit.problem { (said(t, problem)) }
        }
    }
}

/// Which unit a new visit is to.
pub fn sheets(t: Tongue, sheets: &[SheetChoice]) -> Markup {
    html! {
        h1 { (t.say("which-unit")) }
        p { (t.say("which-unit-words")) }
        ul.cards {
            @for (sheet, title) in sheets.iter().filter_map(|s| Some((s, s.title.as_ref()?))) {
                li {
                    a.card href={ "/new?sheet=" (sheet.name) } {
                        strong { (said(t, title)) }
                        span.small { (sheet.name) }
                    }
                }
            }
        }
    }
}

/// The form of a new visit.
pub fn new(t: Tongue, offer: &Offer) -> Markup {
    html! {
        h1 { (t.say("new-visit")) }
        p { @if let Some(title) = &offer.sheet.title { (said(t, title)) } " " a href="/new" { (t.say("other-unit")) } }
        form.sheet method="post" action="/new" {
            input type="hidden" name="sheet" value=(offer.sheet.name);
            p { label for="complaint" { (t.say("complaint")) }
                select #complaint name="complaint" {
                    @for (name, words) in &offer.complaints {
                        option value=(name) lang=[other(&words.marked(t))] { (words.to(t)) }
                    }
                    option value="" { (t.say("complaint-none")) }
                } }
            (field(t.say("unit-name"), "unit", ""))
            (field(t.say("work-order"), "work_order", ""))
            (field(t.say("technician"), "technician", &offer.technician))
            (field(t.say("customers-words"), "words", ""))
            (meters(t, &offer.meters))
            label.choice { input type="checkbox" name="simulated" value="yes"; span { (t.say("simulated-choice")) } }
            p { button.main { (t.say("begin")) } }
        }
    }
}

/// The meters that are to join: names, and how each stands.
pub(super) fn meters(t: Tongue, meters: &[(String, String)]) -> Markup {
    html! {
        fieldset {
            legend { (t.say("meters")) }
            @if meters.is_empty() { p { (t.say("no-meters")) } }
            @for (name, standing) in meters {
                label.choice {
                    input type="checkbox" name="meter" value=(name) checked;
                    span { (name) " (" (t.say(&format!("standing-{standing}"))) ")" }
                }
            }
        }
    }
}

pub(super) fn field(words: String, name: &str, value: &str) -> Markup {
    html! {
        p { label for=(name) { (words) } input #(name) name=(name) value=(value) maxlength="200" autocomplete="off"; }
    }
}
