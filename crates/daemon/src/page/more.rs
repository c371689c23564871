//! What stands behind the screen of a visit: all its takes, its wires with notes and photographs, its
//! papers.

use maud::{Markup, html};

use super::ask::reasons;
use super::reader::Reader;
use super::screen::{Screen, saying, taken};
use super::words::Tongue;
use crate::visits::view::{VisitView, WireEnd};

/// Every take, the latest first.
pub fn takes(reader: Reader, screen: &Screen, alert: &Markup) -> Markup {
    let t = reader.tongue;
    let view = &screen.view;
    html! {
        (back(t, view))
        h1 { (t.say("all-takes")) }
        (alert)
        div #takes data-part {
            @for take in view.takes.iter().rev() { (taken(reader, view, take)) }
            @if view.takes.is_empty() { p { (t.say("no-takes")) } }
            @if !view.skipped.is_empty() {
                h2 { (t.say("passed-over")) }
                ul { @for skip in &view.skipped { li { (screen.answered(t, skip.ask)) ": " (skip.why) } } }
            }
        }
    }
}

/// The way back to the visit's screen.
pub fn back(t: Tongue, view: &VisitView) -> Markup {
    html! { p { a.button href={ "/visits/" (view.id) } { "← " (t.say("back-to-visit")) } } }
}

/// Wires, notes and photographs.
pub fn wires(t: Tongue, screen: &Screen, alert: &Markup) -> Markup {
    let view = &screen.view;
    html! {
        (back(t, view))
        h1 { (t.say("wires-and-notes")) }
        (alert)
        h2 { (t.say("wires")) }
        @if view.wires.is_empty() { p { (t.say("no-wires")) } }
        ul.cards { @for wire in &view.wires { li.card { (wire_end(t, screen, wire)) } } }
        h2 { (t.say("notes")) }
        ul { @for note in &view.notes { li { (note) } } }
        @if !view.closed {
            (saying(&view.id, "note", None, &html! {
                label for="note" { (t.say("note")) }
                textarea #note name="text" rows="3" required maxlength="2000" {}
                button { (t.say("keep")) }
            }))
        }
        h2 { (t.say("photos")) }
        @for p in &view.photos { figure { (screen.photo(&p.hash, &p.caption)) figcaption { (p.caption) } } }
        @if !view.closed { (photo_form(t)) }
    }
}

/// A wire end: where it was, how it is known, and where it is now.
fn wire_end(t: Tongue, screen: &Screen, wire: &WireEnd) -> Markup {
    let view = &screen.view;
    let id = format!("mark-{}", wire.end);
    html! {
        b { (wire.end) }
        span { (t.tell("wire-from", &[("terminal", &wire.from)])) }
        @if !wire.mark.is_empty() { span { (t.say("wire-mark")) ": " (wire.mark) } }
        @if let Some(hash) = &wire.photo { (screen.photo(hash, &wire.end)) }
        span.mark { @match &wire.back_on {
            Some(on) => (t.tell("wire-back", &[("terminal", on)])),
            None => (t.say("wire-off")),
        } }
        @if !view.closed && wire.back_on.is_none() {
            (saying(&view.id, "mark", None, &html! {
                input type="hidden" name="end" value=(wire.end);
                label for=(id) { (t.say("wire-mark")) }
                input id=(id) name="mark" value=(wire.mark) maxlength="80" autocomplete="off";
                button { (t.say("keep")) }
            }))
        }
    }
}

fn photo_form(t: Tongue) -> Markup {
    html! {
        form data-photo {
            label for="caption" { (t.say("photo-shows")) }
            input #caption name="caption" maxlength="200" autocomplete="off";
            label for="photo" { (t.say("photo")) }
            input #photo name="photo" type="file" accept="image/jpeg,image/png,image/webp" capture="environment" required;
            button { (t.say("keep")) }
            p role="status" data-failed=(t.say("photo-failed")) {}
        }
    }
}

/// The tag and the write-up.
pub fn papers(t: Tongue, screen: &Screen, tag: &str, write_up: &str, alert: &Markup) -> Markup {
    let view = &screen.view;
    let file = |paper: &str| format!("/api/v1/visits/{}/{paper}", view.id);
    html! {
        (back(t, view))
        h1 { (t.say("papers")) }
        (alert)
        h2 #tag { (t.say("tag")) }
        pre lang="en" tabindex="0" role="region" aria-labelledby="tag" { (tag) }
        p { a.button href=(file("tag?form=pdf")) { (t.say("tag-to-print")) } }
        @if !view.closed {
            @if view.left.is_some() {
                p { (t.say("hang-words")) }
                (saying(&view.id, "close", None, &html! { button.main { (t.say("hang")) } }))
            } @else {
                p { (t.say("not-left")) }
                details #end-checks { summary { (t.say("end-checks")) }
                    p { (t.say("end-why")) }
                    (saying(&view.id, "end-checks", None, &reasons(t, "end", ["no-time", "called-away"]))) }
            }
        }
        h2 #write-up { (t.say("write-up")) }
        pre.flows lang="en" tabindex="0" role="region" aria-labelledby="write-up" { (write_up) }
        ul.ways {
            li { a.button href=(file("write-up?form=html")) { (t.say("write-up-to-read")) } }
            li { a.button href=(file("write-up?form=pdf")) { (t.say("write-up-to-print")) } }
        }
    }
}
