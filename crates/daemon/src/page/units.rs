//! Over the years: the units, the search over all visits, and what one unit has behind it.

use axum::extract::State;
use axum::response::{IntoResponse, Response};
use maud::{Markup, html};
use ohmtrail_index::{Door, Trend, Unit, Visited};
use ohmtrail_visit::fault_said;
use ohmtrail_words::Tongue;
use serde::Deserialize;

use super::door::{day, parts, unproven};
use super::frame::{self, Page};
use super::reader::Reader;
use super::trends::trends;
use super::words::phrase;
use crate::api::{App, Problem, Query};
use crate::index::Standing;
use crate::sheets::Sheets;

/// So many units or visits stand on one page.
const MOST: u32 = 30;

/// What to show of all.
#[derive(Debug, Deserialize)]
pub struct Which {
    #[serde(default)]
    words: String,
    #[serde(default)]
    simulated: String,
    #[serde(default)]
    skip: u32,
}

/// Which unit.
#[derive(Debug, Deserialize)]
pub struct WhichUnit {
    #[serde(default)]
    name: String,
    #[serde(default)]
    simulated: String,
}

const YES: &str = "yes";

/// The way to a unit's page.
pub(super) fn unit_link(unit: &str, simulated: bool) -> String {
    let mut query = vec![("name", unit)];
    if simulated {
        query.push(("simulated", YES));
    }
    // Text has a form in a query, always.
    format!(
        "/unit?{}",
        serde_urlencoded::to_string(query).unwrap_or_default()
    )
}

fn framed(reader: Reader, title: &str, body: Markup) -> Response {
    let top = html! {};
    let page = Page {
        reader,
        title,
        top,
        body,
    };
    page.into_response()
}

/// The units, or the visits that have some words.
pub async fn all(State(app): State<App>, reader: Reader, Query(which): Query<Which>) -> Response {
    let t = reader.tongue;
    let words = which.words.trim().to_owned();
    let listed = if words.is_empty() {
        units(&app, t, &which).await
    } else {
        found(&app, t, words).await
    };
    let title = t.say("units");
    match listed {
        Ok(list) => {
            let body = html! {
                h1 { (title) }
                (behind(t, &app.index().standing()))
                form role="search" method="get" action="/units" {
                    label for="words" { (t.say("search-words")) }
                    input #words name="words" type="search" value=(which.words) autocomplete="off";
                    button.main { (t.say("search")) }
                }
                (list)
            };
            framed(reader, &title, body)
        }
        Err(problem) => frame::wrong(reader, &problem),
    }
}

async fn units(app: &App, t: Tongue, which: &Which) -> Result<Markup, Problem> {
    let (simulated, skip) = (which.simulated == YES, which.skip);
    let asked = app.index().ask(move |index| {
        let size = index.size(simulated)?;
        Ok((index.units(simulated, skip, MOST)?, size.0))
    });
    let (units, all) = asked.await?;
    let mark = if simulated { "&simulated=yes" } else { "" };
    let other = if simulated {
        "/units"
    } else {
        "/units?simulated=yes"
    };
    let link = |skip: u32, words: &str| html! { li { a.button href={ "/units?skip=" (skip) (mark) } { (t.say(words)) } } };
    Ok(html! {
        p { a href=(other) { (t.say(if simulated { "units-real" } else { "units-simulated" })) } }
        @if units.is_empty() { p { (t.say("no-units")) } }
        ul.cards { @for unit in &units { li { (unit_card(t, unit)) } } }
        ul.ways {
            @if skip > 0 { (link(skip.saturating_sub(MOST), "units-later")) }
            @if i64::from(skip) + i64::from(MOST) < all { (link(skip.saturating_add(MOST), "units-earlier")) }
        }
    })
}

fn unit_card(t: Tongue, unit: &Unit) -> Markup {
    html! {
        a.card href=(unit_link(&unit.unit, unit.simulated)) {
            strong { (unit.unit) }
            @if unit.simulated { span.mark { (t.say("simulated-unit")) } }
            span { (t.tell("unit-visits", &[("visits", &unit.visits.to_string()), ("day", &day(unit.last_us))])) }
            span.small { (unit.sheet) }
        }
    }
}

async fn found(app: &App, t: Tongue, words: String) -> Result<Markup, Problem> {
    let asked = app.index().ask(move |index| index.search(&words, MOST));
    let visits = asked.await?;
    Ok(html! {
        p { a href="/units" { (t.say("units-all")) } }
        @if visits.is_empty() { p role="status" { (t.say("no-visit-has-words")) } }
        @if visits.len() >= MOST as usize { p { (t.tell("only-latest", &[("visits", &MOST.to_string())])) } }
        ul.cards { @for visit in &visits { li { (visit_card(app, t, visit, true)) } } }
    })
}

/// A visit, with the way to it if it is one of this daemon.
fn visit_card(app: &App, t: Tongue, visit: &Visited, with_unit: bool) -> Markup {
    let repaired = visit.proved.as_deref();
    let repaired =
        repaired.map(|proved| html! { (t.say("visit-repair")) ": " (phrase(t, proved)) });
    let found = match (visit.faults.as_slice(), visit.outcome.as_deref()) {
        ([], None) => t.say("outcome-none"),
        ([], Some(outcome)) => t.say(&format!("outcome-{outcome}")),
        (faults, _) => format!("{}: {}", t.say("found"), faults.join(", ")),
    };
    let inside = html! {
        strong { (day(visit.opened_us)) @if with_unit { " · " (visit.unit) } }
        @if with_unit && visit.simulated { span.mark { (t.say("simulated-unit")) } }
        span { @match repaired { Some(repaired) => (repaired), None => (found) } }
        span { (visit.work_order) " " (visit.technician) }
        @if visit.damage > 0 { span.mark { (t.say("trail-damaged")) } }
    };
    let here = visit.path.as_deref();
    let here = here.and_then(|path| app.index().visit_at(path));
    let here = here.filter(|name| app.visits().find(name).is_some());
    let to = match here {
        Some(name) => Some(format!("/visits/{name}")),
        None if with_unit => Some(unit_link(&visit.unit, visit.simulated)),
        None => None,
    };
    html! {
        @if let Some(to) = to { a.card href=(to) { (inside) } }
        @else { div.card { (inside) span.small { (t.say("trail-elsewhere")) } } }
    }
}

/// That the index may be older than the trails, and why.
fn behind(t: Tongue, standing: &Standing) -> Markup {
    html! {
        @if standing.is_behind() {
            div.alert role="status" {
                p { strong { (t.say("index-behind")) } }
                @if let Some(why) = standing.trouble() { p { (phrase(t, why)) } }
            }
        }
    }
}

/// What a unit's page is made of.
struct Behinds {
    door: Door,
    trends: Vec<Trend>,
    visits: Vec<Visited>,
}

/// A unit over the years.
pub async fn one(
    State(app): State<App>,
    reader: Reader,
    Query(which): Query<WhichUnit>,
) -> Response {
    let t = reader.tongue;
    let (name, simulated) = (which.name, which.simulated == YES);
    let unit = name.clone();
    let asked = app.index().ask(move |index| {
        Ok(Behinds {
            door: index.door(&unit, simulated)?,
            trends: index.trends(&unit, simulated)?,
            visits: index.history(&unit, simulated, MOST)?,
        })
    });
    let known = match asked.await {
        Ok(known) => known,
        Err(error) => return frame::wrong(reader, &error.into()),
    };
    let sheet = known.visits.first().map(|v| v.sheet.clone());
    let faults = known.door.parts.iter().flat_map(|p| &p.failures);
    let faults: Vec<String> = faults.map(|f| f.fault.clone()).collect();
    // What no sheet of ours says keeps its name.
    let words = super::reading(&app, move |app| {
        Ok(fault_words(&app.context().sheets, sheet, faults, t))
    });
    let words = words.await.unwrap_or_default();
    let of_fault = |fault: &str| {
        let found = words.iter().find(|(name, _)| name == fault);
        found.map_or_else(|| fault.to_owned(), |(_, words)| words.clone())
    };
    let body = html! {
        p { a.button href="/units" { "← " (t.say("units")) } }
        h1 { (name) }
        @if simulated { p.mark.wide { (t.say("simulated")) } }
        (behind(t, &app.index().standing()))
        h2 { (t.say("door")) }
        @if let Some(repair) = known.door.unproven() { (unproven(t, repair)) }
        @if known.door.parts.is_empty() { p { (t.say("nothing-before")) } }
        (parts(t, &known.door.parts, usize::MAX, &of_fault))
        h2 { (t.say("trends")) }
        (trends(t, &known.trends))
        h2 { (t.say("visits")) }
        @if known.visits.len() >= MOST as usize { p { (t.tell("only-latest", &[("visits", &MOST.to_string())])) } }
        ul.cards { @for visit in &known.visits { li { (visit_card(&app, t, visit, false)) } } }
    };
    framed(reader, &name, body)
}

/// What each fault is in words, by the sheet of the unit's latest visit.
fn fault_words(
    sheets: &Sheets,
    sheet: Option<String>,
    mut faults: Vec<String>,
    t: Tongue,
) -> Vec<(String, String)> {
    faults.sort();
    faults.dedup();
    let sheet = sheet.and_then(|name| sheets.read(&name).ok());
    let Some(sheet) = sheet else {
        return Vec::new();
    };
    let known = |fault: &String| sheet.faults.iter().any(|f| f.name == *fault);
    faults.retain(known);
    let words = faults.into_iter().map(|fault| {
        let words = fault_said(&sheet, &fault).marked(t);
        (fault, words)
    });
    words.collect()
}
