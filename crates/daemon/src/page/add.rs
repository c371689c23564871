//! What nobody asked for: a value that was measured, something that was seen, and what stands on a plate.

use axum::extract::State;
use axum::response::Response;
use maud::{Markup, html};
use ohmtrail_core::reading::Function;
use ohmtrail_visit::{AMBIENT, LEADS, PLATE_KEYS, point_said};
use ohmtrail_words::{Tongue, unmarked};

use super::ask::{unit_sign, units};
use super::more::back;
use super::reader::Reader;
use super::say::Said;
use super::screen::{Screen, looks, saying};
use super::words::other;
use super::{frame, framed, seen};
use crate::api::{App, Named, Problem};

/// What can be named: names, and what they are in words, marked where those are in another language.
struct Names {
    points: Vec<(String, String)>,
    looks: Vec<(String, String)>,
    parts: Vec<(String, String)>,
}

/// The page.
pub async fn page(State(app): State<App>, reader: Reader, Named(name): Named<String>) -> Response {
    shown(&app, reader, &name, None).await
}

/// The page; what was refused stands in its form again.
pub async fn shown(
    app: &App,
    reader: Reader,
    name: &str,
    refused: Option<(&Problem, &Said)>,
) -> Response {
    let nothing = Said::default();
    match names(app, name, reader.tongue).await {
        Ok((screen, names)) => framed(reader, &screen, refused.map(|r| r.0), |screen, alert| {
            let said = refused.map_or(&nothing, |r| r.1);
            forms(reader, screen, &names, said, alert)
        }),
        Err(problem) => frame::wrong(reader, &problem),
    }
}

async fn names(app: &App, name: &str, t: Tongue) -> Result<(Screen, Names), Problem> {
    let visit = app.visit(name)?;
    let names = seen(app, &visit, move |seen| {
        let sheet = seen.book.sheet;
        let parts = sheet.parts.iter();
        let points = sheet
            .points
            .iter()
            .map(|(name, _)| (name.clone(), point_said(sheet, name).marked(t)));
        Names {
            points: points.collect(),
            looks: looks(sheet)
                .map(|(name, asks)| (name, asks.marked(t)))
                .collect(),
            parts: parts
                .map(|p| (p.name.clone(), sheet.said(&p.words).marked(t)))
                .collect(),
        }
    });
    names.await
}

fn forms(reader: Reader, screen: &Screen, names: &Names, said: &Said, alert: &Markup) -> Markup {
    let t = reader.tongue;
    let view = &screen.view;
    html! {
        (back(t, view))
        h1 { (t.say("add")) }
        (alert)
        @if view.closed { p { (t.say("visit-ended")) } }
        @else {
            p { (t.say("add-words")) }
            section.sheet { h2 { (t.say("add-take")) } (saying(&view.id, "take", None, &take(reader, screen, names, said))) }
            section.sheet { h2 { (t.say("add-look")) } (saying(&view.id, "saw", None, &look(t, names, said))) }
            section.sheet { h2 { (t.say("add-plate")) } (saying(&view.id, "plate", None, &plate(t, names, said))) }
        }
    }
}

/// A choice of names, with what each is. What has no place within a part is told by its words alone.
fn choice(words: &str, name: &str, all: &[(String, String)], chosen: &str) -> Markup {
    html! {
        p { label for=(name) { (words) }
            select id=(name) name=(name) required {
                option value="" {}
                @for (value, words) in all { option value=(value) lang=[other(words)] selected[value == chosen] {
                    @if value.contains('.') || words.is_empty() { (value) @if !words.is_empty() { ": " } }
                    (unmarked(words)) } }
            } }
    }
}

fn written(words: &str, name: &str, value: &str, required: bool) -> Markup {
    html! {
        p { label for=(name) { (words) }
            input id=(name) name=(name) value=(value) required[required] maxlength="80" autocomplete="off"; }
    }
}

fn take(reader: Reader, screen: &Screen, names: &Names, said: &Said) -> Markup {
    let t = reader.tongue;
    let beside = [(LEADS, "leads-together"), (AMBIENT, "ambient-air")];
    let beside = beside.map(|(name, words)| (name.to_owned(), t.say(words)));
    let points = [&beside[..], &names.points[..]].concat();
    let meters = screen.view.meters.iter().filter_map(|m| m.name.as_ref());
    html! {
        (choice(&t.tell("probe", &[("letter", "A")]), "a", &points, &said.a))
        (choice(&t.tell("probe", &[("letter", "B")]), "b", &points, &said.b))
        label.choice { input type="checkbox" name="low" value="yes" checked[said.low == "yes"]; span { (t.say("low-impedance-read")) } }
        @for meter in meters.clone() {
            p { button.main name="live" value=(meter) formnovalidate { (t.tell("take-live", &[("meter", meter)])) } }
        }
        p { (t.say("take-typed")) }
        p { label for="set" { (t.say("meter-set")) }
            select #set name="set" required {
                option value="" {}
                @for function in Function::ALL.map(Function::name) {
                    optgroup label=(t.say(&format!("function-{function}"))) {
                        @for unit in units(Some(function), reader.degrees) {
                            @let value = format!("{function} {unit}");
                            option value=(value) selected[value == said.set] { (t.say(&format!("function-{function}"))) ", " (unit_sign(unit)) }
                        }
                    }
                }
            } }
        p { label for="shown" { (t.say("display-shows")) }
            input #shown name="display" value=(said.display) inputmode="decimal" required maxlength="12" autocomplete="off"; }
        p { label for="meter" { (t.say("meter-read")) }
            select #meter name="meter" {
                option value="" { (t.say("meter-other")) }
                @for meter in meters { option selected[*meter == said.meter] { (meter) } }
            } }
        p { button.main { (t.say("keep-value")) } " "
            button name="over" value="yes" formnovalidate { (t.say("display-ol")) } }
    }
}

fn look(t: Tongue, names: &Names, said: &Said) -> Markup {
    html! {
        (choice(&t.say("look-at"), "what", &names.looks, &said.what))
        p { button.main name="answer" value="yes" { (t.say("yes")) } " "
            button.main name="answer" value="no" { (t.say("no")) } }
    }
}

fn plate(t: Tongue, names: &Names, said: &Said) -> Markup {
    let unit = [("unit".to_owned(), t.say("plate-of-unit"))];
    let parts = [&unit[..], &names.parts[..]].concat();
    html! {
        (choice(&t.say("plate-part"), "part", &parts, &said.part))
        p { label for="key" { (t.say("plate-key")) }
            input #key name="key" value=(said.key) list="keys" required maxlength="80" autocomplete="off" autocapitalize="none";
            datalist #keys { @for key in PLATE_KEYS { option value=(key) {} } } }
        (written(&t.say("plate-value"), "value", &said.value, true))
        (written(&t.say("plate-unit"), "unit", &said.unit, false))
        p { button.main { (t.say("keep")) } }
    }
}
