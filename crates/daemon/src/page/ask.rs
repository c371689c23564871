//! What is asked next, and the forms that answer it. Each act is confirmed by itself: no form here answers
//! two asks, and none answers a gate's step but by the hand of the person who did it.

use maud::{Markup, html};
use ohmtrail_words::{Tongue, unmarked};

use super::reader::{Degrees, Reader};
use super::screen::{Screen, saying};
use super::words::{between, of_charge, phrase, said};
use crate::forms::Ask;

/// An ask in a few words; marked where they are in another language.
pub(super) fn short(t: Tongue, screen: &Screen, ask: &Ask) -> String {
    match (ask.function, &ask.points, &ask.what, &ask.act) {
        (Some(function), Some(points), ..) => {
            let function = t.say(&format!("function-{function}"));
            format!("{function}, {}", between(t, points))
        }
        (_, _, Some(what), _) => screen.look_words(t, what),
        (.., Some(act)) => t.say(&format!("act-{act}")),
        _ => String::new(),
    }
}

/// Whether the ask is to prove the meter: a reading on a known source, which no word replaces.
fn proves_meter(ask: &Ask) -> bool {
    ask.act.as_deref() == Some("prove-meter")
}

/// The open ask, with its forms.
pub(super) fn asked(reader: Reader, screen: &Screen, ask: &Ask, watching: Option<&str>) -> Markup {
    let t = reader.tongue;
    let view = &screen.view;
    let say = |what: &str, inside: &Markup| saying(&view.id, what, Some(ask.id), inside);
    let read = ask.kind == "measure" || proves_meter(ask);
    let meters = view.meters.iter().any(|m| m.name.is_some());
    let charge = ask.points.as_ref().and_then(of_charge);
    html! {
        section.ask data-ask=(ask.id) data-kind=(ask.kind) data-gate[screen.for_a_gate()] data-function=[ask.function] data-what=[ask.what.as_ref()]
            data-act=[ask.act.as_ref()] data-ends=[ask.ends.as_ref().map(|e| e.join(" "))] {
            p.kind { (t.say(&format!("do-{}", ask.kind))) " · " (ask.id) }
            (heading(t, screen, ask))
            @if ask.input == Some("low-impedance") { p.mark { (t.say("low-impedance")) } }
            @if let Some(held) = ask.hold { p.mark { (t.say(&format!("hold-{held}"))) } }
            (places(t, screen, ask))
            @if ask.kind != "look" { p.why { (why(t, screen, ask)) } }
            @if ask.kind != "act" && charge.is_none() {
                img.drawing src={ "/api/v1/visits/" (view.id) "/asks/" (ask.id) "/picture.svg?language=" (t.tag()) }
                    alt=(t.tell("drawing-of", &[("what", &unmarked(&short(t, screen, ask)))]));
            }
            div.answers {
                @if ask.kind == "look" {
                    (say("look", &html! {
                        button.main name="answer" value="yes" { (t.say("yes")) }
                        button.main name="answer" value="no" { (t.say("no")) }
                    }))
                } @else if read && meters {
                    @if let Some(meter) = watching {
                        p.waits role="status" { (t.tell("watching", &[("meter", meter)])) }
                        (say("unwatch", &html! { button { (t.say("watch-no-more")) } }))
                    } @else { (say("watch", &html! { button.main { (t.say("take-it")) } })) }
                    details #type-it { summary { (t.say("type-it")) } (typed(reader, ask, false, &say)) }
                } @else if read { (typed(reader, ask, true, &say)) }
                @else { (say("done", &html! { button.main { (t.say("done")) } })) }
                details #cannot {
                    summary { (t.say("cannot")) }
                    (say("skip", &reasons(t, "skip", ["cannot-reach", "cannot-tell", "not-there"])))
                }
            }
        }
    }
}

/// Why it is asked.
fn why(t: Tongue, screen: &Screen, ask: &Ask) -> Markup {
    match screen.why() {
        Some(why) => said(t, why),
        None => phrase(t, &ask.why),
    }
}

fn heading(t: Tongue, screen: &Screen, ask: &Ask) -> Markup {
    html! {
        h2 #ask tabindex="-1" {
            @match (ask.function, &ask.act) {
                (Some(function), _) => (t.say(&format!("function-{function}"))),
                (_, Some(act)) => (t.say(&format!("act-{act}"))),
                _ => (why(t, screen, ask)),
            }
        }
    }
}

/// Where the probes go, or which wire ends it is about.
fn places(t: Tongue, screen: &Screen, ask: &Ask) -> Markup {
    html! {
        @if let Some(part) = ask.what.as_ref().filter(|_| ask.kind == "act") { p { b { (part) } } }
        @if ask.act.as_deref() == Some("fit") {
            p { a.button href={ "/visits/" (screen.view.id) "/add" } { (t.say("tell-stamp")) } }
        }
        @if let Some(words) = ask.points.as_ref().and_then(of_charge) { p { b { (phrase(t, words)) } } }
        @else if let Some(points) = &ask.points {
            ul.probes { @for (mark, point) in ["A", "B"].iter().zip(points) {
                li { span class={ "probe " (mark.to_lowercase()) } { (mark) } " " b { (point) }
                    @if let Some(words) = screen.point(point) { " " span.small { (said(t, words)) } } }
            } }
        }
        @if let Some(ends) = ask.ends.as_ref().filter(|e| !e.is_empty()) {
            ul.ends { @for end in ends { li {
                b { (end) } " "
                @if let Some(wire) = screen.wire(end) {
                    span.small {
                        (t.tell("wire-at", &[("terminal", &wire.terminal)]))
                        @if !wire.mark.is_empty() { " · " (t.say("wire-mark")) ": " (said(t, &screen.mark(&wire.mark))) }
                    }
                    @if let Some(hash) = &wire.photo { (screen.photo(hash, end)) }
                }
                @if ask.act.as_deref() == Some("lift") { (lifted(t, screen, end)) }
            } } }
        }
    }
}

/// The form that notes what a wire end looks like as it comes off.
fn lifted(t: Tongue, screen: &Screen, end: &str) -> Markup {
    let mark = screen
        .wire(end)
        .map(|w| w.mark.as_str())
        .unwrap_or_default();
    let (mark_id, photo_id) = (format!("mark-{end}"), format!("photo-{end}"));
    html! {
        details id={ "wire-" (end) } {
            summary { (t.say("wire-note")) }
            (saying(&screen.view.id, "wire", None, &html! {
                input type="hidden" name="end" value=(end);
                label for=(mark_id) { (t.say("wire-mark")) }
                input id=(mark_id) name="mark" value=(mark) maxlength="80" autocomplete="off";
                label for=(photo_id) { (t.say("photo")) }
                input id=(photo_id) type="file" accept="image/jpeg,image/png,image/webp" capture="environment"
                    data-photo-of=(end);
                button { (t.say("wire-off-now")) }
            }))
        }
    }
}

/// Buttons with the usual reasons, and room for another.
pub(super) fn reasons<const N: usize>(t: Tongue, id: &str, usual: [&str; N]) -> Markup {
    let field = format!("{id}-why");
    html! {
        @for reason in usual.map(|r| t.say(r)) { button name="why" value=(reason) formnovalidate { (reason) } }
        label for=(field) { (t.say("other-reason")) }
        input id=(field) name="reason" required maxlength="300" autocomplete="off";
        button { (t.say("keep")) }
    }
}

/// The form of a value that is read off a display by eye.
fn typed(reader: Reader, ask: &Ask, main: bool, say: &impl Fn(&str, &Markup) -> Markup) -> Markup {
    let t = reader.tongue;
    let function = ask.function.or(proves_meter(ask).then_some("volts-ac"));
    say(
        "display",
        &html! {
            @if proves_meter(ask) { input type="hidden" name="function" value="volts-ac"; }
            div.typed {
                label for="display" { (t.say("display-shows")) }
                input #display name="display" inputmode="decimal" required maxlength="12" autocomplete="off";
                label.unseen for="unit" { (t.say("unit")) }
                select #unit name="unit" { @for unit in units(function, reader.degrees) {
                    option value=(unit) { (unit_sign(unit)) } } }
            }
            button.main[main] { (t.say("keep-value")) }
            button name="over" value="yes" formnovalidate { (t.say("display-ol")) }
        },
    )
}

/// The units of a function's displays, the likely one first.
pub(super) fn units(function: Option<&str>, degrees: Degrees) -> &'static [&'static str] {
    match function {
        Some("volts-ac" | "volts-dc" | "diode") => &["V", "mV", "kV"],
        Some("ohms" | "continuity") => &["Ohm", "kOhm", "MOhm"],
        Some("megohms") => &["MOhm", "GOhm", "kOhm"],
        Some("farads") => &["uF", "nF", "mF"],
        Some("amps-ac" | "amps-dc") => &["A", "mA"],
        Some("celsius") if degrees == Degrees::Fahrenheit => &["[degF]", "Cel"],
        Some("celsius") => &["Cel", "[degF]"],
        Some("pascals") if degrees == Degrees::Fahrenheit => &["[psi]", "kPa", "bar", "MPa"],
        Some("pascals") => &["kPa", "bar", "MPa", "Pa", "[psi]"],
        Some("hertz") => &["Hz", "kHz"],
        _ => &["%"],
    }
}

/// A UCUM code as displays have it.
pub(super) fn unit_sign(unit: &str) -> String {
    match unit {
        "Cel" => "°C".to_owned(),
        "[degF]" => "°F".to_owned(),
        "[psi]" => "psi".to_owned(),
        _ => unit.replace("Ohm", "Ω").replacen('u', "µ", 1),
    }
}
