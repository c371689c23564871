//! What stands behind the screen of a visit: all its takes, its wires with notes and photographs, its
//! papers.

use maud::{Markup, html};
use ohmtrail_visit::note_said;
use ohmtrail_words::Tongue;

use super::ask::reasons;
use super::reader::Reader;
use super::screen::{Screen, saying, taken};
use super::words::{marked, said};
use crate::visits::view::{Taken, VisitView, WireEnd};

/// So many takes stand on one page.
const TAKES: usize = 50;

/// The takes before that number, or all of them; the latest first, a page of them.
pub fn takes(reader: Reader, screen: &Screen, before: Option<u32>, alert: &Markup) -> Markup {
    let t = reader.tongue;
    let view = &screen.view;
    let earlier = |k: &&Taken| before.is_none_or(|number| k.verdict.take < number);
    let mut all = view.takes.iter().rev().filter(earlier);
    let some: Vec<_> = all.by_ref().take(TAKES).collect();
    let older = all.next().and(some.last());
    html! {
        (back(t, view))
        h1 { (t.say("all-takes")) }
        (alert)
        div #takes data-part {
            @for take in &some { (taken(reader, view, take)) }
            @if some.is_empty() { p { (t.say("no-takes")) } }
            @if older.is_some() || before.is_some() {
                ul.ways {
                    @if let Some(last) = older {
                        li { a.button href={ "?before=" (last.verdict.take) } { (t.say("older-takes")) } }
                    }
                    @if before.is_some() {
                        li { a.button href={ "/visits/" (view.id) "/takes" } { (t.say("latest-takes")) } }
                    }
                }
            }
            @if before.is_none() && !view.skipped.is_empty() {
                h2 { (t.say("passed-over")) }
                ul { @for skip in &view.skipped { li { (marked(&screen.answered(t, skip.ask))) ": " (t.phrase_or_own(&skip.why)) } } }
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
        @if !view.wires.is_empty() { p { (schematic(t, view)) } }
        ul.cards { @for wire in &view.wires { li.card { (wire_end(t, screen, wire)) } } }
        h2 { (t.say("notes")) }
        ul { @for note in &view.notes { li { (said(t, &note_said(note))) } } }
        @if !view.closed {
            (saying(&view.id, "note", None, &html! {
                label for="note" { (t.say("note")) }
                textarea #note name="text" rows="3" required maxlength="2000" {}
                button { (t.say("keep")) }
            }))
        }
        @if !view.plates.is_empty() {
            h2 { (t.say("plates")) }
            ul { @for p in &view.plates { li { (p.part) ", " (p.key) ": " b { (p.value) " " (p.unit) } } } }
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
        @if !wire.mark.is_empty() { span { (t.say("wire-mark")) ": " (said(t, &screen.mark(&wire.mark))) } }
        @if let Some(hash) = &wire.photo { (screen.photo(hash, &wire.end)) }
        span.mark { @match &wire.back_on {
            Some(on) => (t.tell("wire-back", &[("terminal", on)])),
            None => (t.say("wire-off")),
        } }
        @if wire.back_on.is_some() {
            span.mark { (if wire.checked { t.say("wire-checked") } else { t.say("wire-unchecked") }) }
        }
        @if !view.closed && wire.back_on.is_none() {
            (saying(&view.id, "back", None, &html! {
                input type="hidden" name="end" value=(wire.end);
                button { (t.tell("wire-back-now", &[("terminal", &wire.from)])) }
            }))
            (saying(&view.id, "mark", None, &html! {
                input type="hidden" name="end" value=(wire.end);
                label for=(id) { (t.say("wire-mark")) }
                input id=(id) name="mark" value=(wire.mark) maxlength="80" autocomplete="off";
                button { (t.say("keep")) }
            }))
        }
    }
}

/// The way to the drawing of the unit.
fn schematic(t: Tongue, view: &VisitView) -> Markup {
    html! { a.button href={ "/api/v1/sheets/" (view.sheet) "/schematic.svg?language=" (t.tag()) } { (t.say("wire-drawing")) } }
}

/// The wire ends that are back and were not checked since.
fn unseen(view: &VisitView) -> impl Iterator<Item = &WireEnd> {
    // An end that was lifted again has a later line of its own.
    let last = |at: usize, end: &str| view.wires.iter().skip(at + 1).all(|w| w.end != end);
    let open =
        move |(at, w): &(usize, &WireEnd)| w.back_on.is_some() && !w.checked && last(*at, &w.end);
    let all = view.wires.iter().enumerate();
    all.filter(open).map(|(_, wire)| wire)
}

/// The wire ends that are back and were not checked since, each with its own confirmation: what it looked
/// like in its place stands beside it.
pub fn unchecked(t: Tongue, screen: &Screen) -> Markup {
    let view = &screen.view;
    // The end that the open ask is about is confirmed there.
    let asked = |w: &&WireEnd| screen.asks_to_check(&w.end);
    let all: Vec<_> = unseen(view).filter(|w| !asked(w)).collect();
    html! {
        @if !view.closed && !all.is_empty() {
            section.ask #unchecked data-confirms=(all.iter().map(|w| w.end.as_str()).collect::<Vec<_>>().join(" ")) {
                p.kind { (t.say("wire-check")) }
                p.why { (t.say("wire-check-words")) }
                @for wire in all { div.wire { (wire_check(t, screen, wire)) } }
                p { (schematic(t, view)) }
            }
        }
    }
}

fn wire_check(t: Tongue, screen: &Screen, wire: &WireEnd) -> Markup {
    let id = format!("photo-back-{}", wire.end);
    let on = wire.back_on.as_deref().unwrap_or_default();
    html! {
        h2 { (wire.end) " → " (on) }
        @if !wire.mark.is_empty() { p { (t.say("wire-mark")) ": " b { (said(t, &screen.mark(&wire.mark))) } } }
        @match &wire.photo {
            Some(hash) => figure { (screen.photo(hash, &wire.end)) figcaption { (t.say("wire-photo-lifted")) } },
            None => p.small { (t.say("wire-no-photo")) },
        }
        (saying(&screen.view.id, "checked", None, &html! {
            input type="hidden" name="end" value=(wire.end);
            details id={ "again-" (wire.end) } {
                summary { (t.say("wire-photo-now")) }
                label for=(id) { (t.say("photo")) }
                input id=(id) type="file" accept="image/jpeg,image/png,image/webp" capture="environment" data-photo-of=(wire.end);
            }
            button.main { (t.tell("wire-check-now", &[("terminal", on)])) }
        }))
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

/// The tag, the write-up and the quote.
pub fn papers(
    t: Tongue,
    screen: &Screen,
    tag: &str,
    write_up: &str,
    quote: &Markup,
    alert: &Markup,
) -> Markup {
    let view = &screen.view;
    let file = |paper: &str| format!("/api/v1/visits/{}/{paper}&language={}", view.id, t.tag());
    html! {
        (back(t, view))
        h1 { (t.say("papers")) }
        (alert)
        h2 #tag { (t.say("tag")) }
        pre tabindex="0" role="region" aria-labelledby="tag" { (tag) }
        p { a.button href=(file("tag?form=pdf")) { (t.say("tag-to-print")) } }
        @if !view.closed {
            @let open: Vec<_> = unseen(view).map(|w| w.end.as_str()).collect();
            @if !open.is_empty() {
                p.mark { (t.say("wires-unchecked")) ": " (open.join(", ")) }
            }
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
        pre.flows tabindex="0" role="region" aria-labelledby="write-up" { (write_up) }
        ul.ways {
            li { a.button href=(file("write-up?form=html")) { (t.say("write-up-to-read")) } }
            li { a.button href=(file("write-up?form=pdf")) { (t.say("write-up-to-print")) } }
        }
        (quote)
    }
}
