//! The screen of a visit: what is asked next, how the unit stands, what is believed, what was taken.

use std::collections::BTreeMap;

use maud::{Markup, html};
use ohmtrail_circuit::sheet::{Question, Sheet};
use ohmtrail_core::gates::Gate;
use ohmtrail_core::reading::Function;
use ohmtrail_trail::Hash;
use ohmtrail_trail::event::{Act, Asked};
use ohmtrail_visit::{fault_said, point_said};
use ohmtrail_words::{Glossary, Said, Tongue};

use super::ask::{asked, reasons, short};
use super::belief::{finding, suspects};
use super::door::door;
use super::more::unchecked;
use super::reader::{Degrees, Reader};
use super::units::unit_link;
use super::words::{between, phrase, said};
use crate::forms::Ask;
use crate::index::AtTheDoor;
use crate::visits::view::{Taken, VisitView};
use crate::visits::{Repairer, Seen, repair_of};

/// Everything that the screen shows.
pub struct Screen {
    /// The visit.
    pub view: VisitView,
    /// The last record that it holds: a stream goes on behind it.
    pub last: Option<u32>,
    /// What each fault is.
    faults: BTreeMap<String, Said>,
    /// What each point is.
    points: BTreeMap<String, Said>,
    /// What each look asks, in words.
    looks: BTreeMap<String, Said>,
    /// What the sheet says in other languages.
    glossary: Glossary,
    /// What follows from the finding, and why what is unproven still is.
    pub consequences: Vec<Said>,
    pub unproven: Vec<Said>,
    /// Why the unit was left as it is.
    left: Option<Said>,
    /// What a healthy unit shows at the open ask: lowest, highest, base unit.
    band: Option<(Option<f64>, Option<f64>)>,
    /// What each answer so far says for or against each fault, in bits.
    weights: BTreeMap<String, Vec<(u32, f32)>>,
    /// The wire ends that the open ask is about.
    wires: BTreeMap<String, Seat>,
    /// A repair can set out from it.
    repairable: bool,
    /// When the visit was opened, microseconds since 1970.
    pub opened_us: Option<i64>,
    /// What was found of the unit in the visits before.
    pub door: AtTheDoor,
}

/// Where a wire end belongs, and how it is known.
pub(super) struct Seat {
    /// Its terminal.
    pub terminal: String,
    /// Its colour or mark: as it was noted, else as the sheet has it.
    pub mark: String,
    /// The hash of its photograph.
    pub photo: Option<String>,
}

/// The looks of a sheet: names, and what each asks.
pub(super) fn looks(sheet: &Sheet) -> impl Iterator<Item = (String, Said)> {
    sheet
        .checks
        .iter()
        .filter_map(|check| match check.question {
            Question::Look { part, look } => {
                let of = sheet.parts.get(part)?;
                let words = format!("{}: {}", of.words, look.words);
                Some((sheet.look_name(part, look), sheet.said(&words)))
            }
            Question::Measure { .. } => None,
        })
}

/// The seats of the wire ends that an ask is about.
fn seats(seen: &Seen<'_>, asked: Option<&Asked>) -> BTreeMap<String, Seat> {
    let Some(act) = asked.and_then(|a| a.request.act()) else {
        return BTreeMap::new();
    };
    let ends = match act {
        Act::Lift(ends) | Act::PutBack(ends) | Act::PutRight(ends) => ends.as_slice(),
        Act::CheckWire(end) => std::slice::from_ref(end),
        _ => &[],
    };
    let sheet = seen.book.sheet;
    let seat = |end: &String| {
        let point = sheet.point(end)?;
        let wire = sheet.wire_of_end(point)?;
        let terminal = wire.terminals[usize::from(wire.ends[1] == point)];
        let mut wires = seen.record.wires.iter().rev();
        let noted = wires.find(|w| w.end == *end);
        let mark = noted
            .map(|w| &w.mark)
            .filter(|m| !m.is_empty())
            .unwrap_or(&wire.mark);
        let photo = noted.and_then(|w| w.photo).map(|h| Hash(h).to_string());
        Some((
            end.clone(),
            Seat {
                terminal: sheet.point_name(terminal).to_owned(),
                mark: mark.clone(),
                photo,
            },
        ))
    };
    ends.iter().filter_map(seat).collect()
}

impl Screen {
    /// Of a visit that is seen.
    #[must_use]
    pub fn of(id: &str, last: Option<u32>, seen: &Seen<'_>) -> Self {
        let sheet = seen.book.sheet;
        let open = seen.record.open_ask();
        let unproven = seen.record.finding.iter().flat_map(|f| &f.unproven);
        let limit = open.and_then(|ask| ohmtrail_visit::expected(seen.book, seen.record, ask));
        Screen {
            view: VisitView::of(id, seen),
            last,
            faults: sheet
                .faults
                .iter()
                .map(|f| (f.name.clone(), fault_said(sheet, &f.name)))
                .collect(),
            looks: looks(sheet).collect(),
            glossary: sheet.glossary.clone(),
            consequences: seen.record.consequences_said(seen.book),
            unproven: unproven
                .map(|u| seen.record.unproven_said(seen.book, u))
                .collect(),
            left: seen.record.left_said(seen.book),
            points: sheet
                .points
                .iter()
                .map(|(name, _)| (name.clone(), point_said(sheet, name)))
                .collect(),
            band: limit.map(|l| (l.lower, l.upper)),
            weights: ohmtrail_visit::weights_of_evidence(seen.book, seen.record),
            wires: seats(seen, open),
            repairable: seen.record.closed && repair_of(seen, Repairer::default()).is_ok(),
            opened_us: seen.record.opened_at.map(|at| at.wall_us),
            door: AtTheDoor::default(),
        }
    }

    /// What a point is.
    pub(super) fn point(&self, point: &str) -> Option<&Said> {
        self.points.get(point)
    }

    /// Where a wire end of the open ask belongs.
    pub(super) fn wire(&self, end: &str) -> Option<&Seat> {
        self.wires.get(end)
    }

    /// A wire's colour or mark: of the sheet, or as somebody noted it.
    pub(super) fn mark(&self, mark: &str) -> Said {
        Said::told_of_sheet(mark, &self.glossary)
    }

    /// What a fault is, in words, else its name; marked where they are in another language.
    pub(super) fn fault_words(&self, t: Tongue, fault: &str) -> String {
        let said = self.faults.get(fault).map(|said| said.marked(t));
        said.unwrap_or_else(|| fault.to_owned())
    }

    /// What a look asks, in words, else its name; marked where they are in another language.
    pub(super) fn look_words(&self, t: Tongue, look: &str) -> String {
        let words = self.looks.get(look).map(|words| words.marked(t));
        words.unwrap_or_else(|| look.to_owned())
    }

    /// Whether the open ask is a step towards a safety gate.
    pub(super) fn for_a_gate(&self) -> bool {
        self.view.now.as_ref().is_some_and(|now| now.for_a_gate)
    }

    /// Whether the open ask is to look at this wire end in its place.
    pub(super) fn asks_to_check(&self, end: &str) -> bool {
        let ask = self.open();
        ask.is_some_and(|a| {
            a.act.as_deref() == Some("check-wire") && a.ends.iter().flatten().any(|e| e == end)
        })
    }

    /// Why the open ask is asked.
    pub(super) fn why(&self) -> Option<&Said> {
        self.view.now.as_ref()?.why.as_ref()
    }

    /// A photograph of the visit.
    pub(super) fn photo(&self, hash: &str, words: &str) -> Markup {
        html! { img.photo src={ "/api/v1/visits/" (self.view.id) "/photos/" (hash) } alt=(words) loading="lazy"; }
    }

    fn open(&self) -> Option<&Ask> {
        self.view.now.as_ref()?.ask.as_ref()
    }

    /// The answers that weigh most for or against a set of faults.
    pub(super) fn evidence(&self, faults: &[String]) -> Vec<(u32, f32)> {
        let mut all: BTreeMap<u32, f32> = BTreeMap::new();
        for (ask, bits) in faults.iter().filter_map(|f| self.weights.get(f)).flatten() {
            *all.entry(*ask).or_default() += bits;
        }
        let mut all: Vec<_> = all
            .into_iter()
            .filter(|(_, bits)| bits.abs() >= 0.2)
            .collect();
        all.sort_by(|a, b| b.1.abs().total_cmp(&a.1.abs()));
        all.truncate(5);
        all
    }

    /// An ask and its answer on one line; marked where its words are in another language.
    pub(super) fn answered(&self, t: Tongue, ask: u32) -> String {
        let asked = self.view.asks.iter().find(|a| a.id == ask);
        let what = asked.map(|a| short(t, self, a)).unwrap_or_default();
        if let Some(look) = self.view.looks.iter().find(|l| l.ask == Some(ask)) {
            let answer = if look.answer {
                t.say("yes")
            } else {
                t.say("no")
            };
            return format!("{what}: {answer}");
        }
        let mut takes = self.view.takes.iter().filter(|k| k.verdict.id == Some(ask));
        match takes.next_back() {
            Some(take) => format!("{what}: {}", t.phrase_or_own(&take.verdict.shown)),
            None => what,
        }
    }
}

/// The top of the screen.
pub fn top(screen: &Screen) -> Markup {
    let view = &screen.view;
    html! { strong { (if view.unit.is_empty() { &view.id } else { &view.unit }) } }
}

/// The screen.
pub fn screen(reader: Reader, screen: &Screen, alert: &Markup) -> Markup {
    let t = reader.tongue;
    let view = &screen.view;
    let closed = view.closed;
    html! {
        h1.unseen { (t.say("visit")) " " (view.id) }
        div #visit data-visit=(view.id) data-last=[screen.last] data-live=[(!closed).then_some("")]
            data-said-taken=(t.say("said-taken")) data-said-next=(t.say("said-next")) {
            @if view.simulated { p.mark.wide { (t.say("simulated")) } }
            (state(t, view))
            (door(t, screen))
            div.halves {
                div.half {
                    (live(reader, screen))
                    @let refused = view.now.as_ref().and_then(|n| n.refused.as_ref());
                    div #refused.alert data-part hidden[refused.is_none()] { p { @if let Some(why) = refused { (said(t, why)) } } }
                    div #now data-part {
                        (alert)
                        @if let Some(words) = view.now.as_ref().and_then(|n| n.alarm) {
                            div.alarm role="alert" { strong { (t.say("alarm")) } p { (phrase(t, words)) } }
                        }
                        (unasked(t, view))
                        (unchecked(t, screen))
                        (next(reader, screen))
                    }
                }
                div.half {
                    (latest(reader, view))
                    (suspects(t, screen))
                    (finding(t, screen))
                }
            }
            (more(t, view))
        }
        div #said.unseen aria-live="polite" {}
    }
}

/// Power, locks and gates: always in sight.
fn state(t: Tongue, view: &VisitView) -> Markup {
    let gate = |gate: Gate| {
        let said = view.gates.iter().find(|g| g.name == gate.name());
        let open = said.is_some_and(|g| g.open);
        let points = said.map_or(0, |g| g.points.len()).to_string();
        let name = t.say(&format!("gate-{}", gate.name()));
        let words = match (open, points.as_str()) {
            (false, _) => t.say("gate-not-shown"),
            (true, "0") => t.say("gate-shown"),
            (true, n) => t.tell("gate-shown-at", &[("points", n)]),
        };
        html! { li.gate data-open=[open.then_some("")] { span.sign aria-hidden="true" {} b { (name) } " " (words) } }
    };
    let on = view.power == "on";
    html! {
        section #state.state data-part aria-label=(t.say("state")) {
            // What was shown then shows nothing of today.
            @if view.closed { p { (t.say("as-it-was-left")) } }
            ul {
                li.power data-on=[on.then_some("")] {
                    span.sign aria-hidden="true" {}
                    b { (t.say("power")) " " (if on { t.say("power-on") } else { t.say("power-off") }) }
                    @if view.locked { " · " (t.say("locked")) }
                }
                @if !view.closed {
                    (gate(Gate::ProvedDead))
                    (gate(Gate::DischargedToMeasure))
                }
                @if !view.lifted.is_empty() {
                    li.gate { span.sign aria-hidden="true" {} b { (t.say("lifted")) } " " (view.lifted.join(", ")) }
                }
                @if !view.closed && view.gates.iter().any(|g| g.name == Gate::ReadyToEnergise.name() && g.open) {
                    (gate(Gate::ReadyToEnergise))
                }
            }
        }
    }
}

/// A take that is waited for, and that nobody asked for.
fn unasked(t: Tongue, view: &VisitView) -> Markup {
    let watching = view.now.as_ref().and_then(|now| now.watching.as_ref());
    html! {
        @if let Some(waits) = watching.filter(|w| w.ask.is_none()) {
            section.ask #unasked {
                p.waits role="status" { (t.tell("watching", &[("meter", &waits.meter)])) }
                (saying(&view.id, "unwatch", None, &html! { button { (t.say("watch-no-more")) } }))
            }
        }
    }
}

/// What is asked, or what else is to be done.
fn next(reader: Reader, screen: &Screen) -> Markup {
    let t = reader.tongue;
    let view = &screen.view;
    let Some(now) = &view.now else {
        return html! {
            section.ask { h2 { (t.say("visit-ended")) }
                p { a.button.main href={ "/visits/" (view.id) "/papers" } { (t.say("papers")) } }
                @if screen.repairable {
                    p { a.button.main href={ "/visits/" (view.id) "/repair" } { (t.say("begin-repair")) } }
                } }
        };
    };
    if let Some(ask) = &now.ask {
        return asked(
            reader,
            screen,
            ask,
            now.watching
                .as_ref()
                .filter(|w| w.ask == Some(ask.id))
                .map(|w| w.meter.as_str()),
        );
    }
    if let Some(waiting) = &now.waiting {
        let minutes = waiting.seconds.div_ceil(60).to_string();
        return html! {
            section.ask { p.kind { (t.say("wait")) } h2 { (t.tell("wait-minutes", &[("minutes", &minutes)])) }
                p.why { (phrase(t, waiting.why)) } }
        };
    }
    html! {
        section.ask {
            @if view.left.is_some() {
                h2 { (t.say("was-left")) }
                @if let Some(why) = &screen.left { p { (said(t, why)) } }
                p { a.button.main href={ "/visits/" (view.id) "/papers" } { (t.say("papers")) } }
            } @else { h2 { (t.say("nothing-asked")) } }
        }
    }
}

/// A form that says one thing to the visit.
pub(super) fn saying(id: &str, what: &str, ask: Option<u32>, inside: &Markup) -> Markup {
    html! {
        form method="post" action={ "/visits/" (id) "/say" } data-say {
            input type="hidden" name="do" value=(what);
            @if let Some(ask) = ask { input type="hidden" name="ask" value=(ask); }
            (inside)
        }
    }
}

/// What the meters show now.
fn live(reader: Reader, screen: &Screen) -> Markup {
    let t = reader.tongue;
    let view = &screen.view;
    let meters: Vec<_> = view
        .meters
        .iter()
        .filter_map(|m| m.name.as_ref().map(|n| (n, m)))
        .collect();
    let wanted = screen.open().and_then(|a| a.function);
    let number = |x: Option<f64>| x.map(|x| x.to_string());
    html! {
        @if !meters.is_empty() && !view.closed {
            section #live.live aria-label=(t.say("meters")) {
                div #band data-part data-wanted=[wanted] data-low=[number(screen.band.and_then(|b| b.0))]
                    data-high=[number(screen.band.and_then(|b| b.1))]
                    data-within=(t.say("band-within")) data-under=(t.say("band-under")) data-over=(t.say("band-over"))
                    data-other=(t.say("band-other-function"))
                    data-fahrenheit=[(reader.degrees == Degrees::Fahrenheit).then_some("")] {
                    @if let Some((low, high)) = screen.band {
                        p { (t.say("band")) " " b { (span(reader, low, high, wanted)) } }
                    }
                }
                @for (name, meter) in meters {
                    div.meter data-meter=(name) {
                        p.small { b { (name) } " " (meter.role) " " span data-standing {
                            (meter.standing.map(|s| t.say(&format!("standing-{}", s.word()))).unwrap_or_default()) } }
                        p.value { output data-value aria-live="off" { "––" } " " span.fits data-fits {} }
                        svg.strip data-strip viewBox="0 0 300 60" preserveAspectRatio="none" aria-hidden="true" {
                            rect x="0" y="0" width="300" height="0" {} polyline points="" {} }
                    }
                }
            }
        }
    }
}

/// A temperature's value in °F, beside what the display showed, for who wants it.
fn also_fahrenheit(reader: Reader, take: &Taken) -> Markup {
    let wanted = reader.degrees == Degrees::Fahrenheit && take.unit == Degrees::Celsius.ucum();
    html! { @if let Some(value) = take.value.filter(|_| wanted) { " (" (reader.degrees.of_celsius(value)) ")" } }
}

/// A band in words.
fn span(reader: Reader, low: Option<f64>, high: Option<f64>, function: Option<&str>) -> String {
    let t = reader.tongue;
    let function = function.and_then(Function::by_name);
    let amount = |x: f64| match function {
        Some(Function::Celsius) => reader.degrees.of_celsius(x),
        Some(other) => ohmtrail_visit::amount(other, x),
        None => x.to_string(),
    };
    match (low.map(amount), high.map(amount)) {
        (Some(low), Some(high)) => t.tell("span-between", &[("low", &low), ("high", &high)]),
        (Some(low), None) => t.tell("span-from", &[("low", &low)]),
        (None, Some(high)) => t.tell("span-to", &[("high", &high)]),
        (None, None) => t.say("span-any"),
    }
}

/// The last take, with its verdict.
fn latest(reader: Reader, view: &VisitView) -> Markup {
    let t = reader.tongue;
    html! {
        section #latest data-part data-take=[view.takes.last().map(|k| k.verdict.take)] {
            @if let Some(take) = view.takes.last() {
                h2 { (t.say("last-take")) }
                (taken(reader, view, take))
            }
        }
    }
}

/// A take.
pub(super) fn taken(reader: Reader, view: &VisitView, take: &Taken) -> Markup {
    let t = reader.tongue;
    let verdict = &take.verdict;
    let gone = take.struck.as_ref().map(|w| (t.say("struck"), w));
    let gone = gone.or(take.void.as_ref().map(|w| (t.say("void"), w)));
    html! {
        article.take data-gone=[gone.as_ref().map(|_| "")] {
            p.small { (t.tell("take-number", &[("number", &verdict.take.to_string())])) " · "
                (t.say(&format!("function-{}", verdict.function))) " · " (between(t, &verdict.points)) }
            p.shown { @if gone.is_some() { s { (t.phrase_or_own(&verdict.shown)) } } @else { b { (t.phrase_or_own(&verdict.shown)) } } (also_fahrenheit(reader, take)) }
            @if let Some(words) = &take.said { p.verdict { (said(t, words)) } }
            @if let Some((how, why)) = &gone { p { strong { (how) } ": " (t.phrase_or_own(why)) } }
            @else if !view.closed {
                details {
                    summary { (t.say("strike")) }
                    p { (t.say("strike-why")) }
                    (saying(&view.id, "strike", None, &html! {
                        input type="hidden" name="take" value=(verdict.take);
                        (reasons(t, &format!("strike-{}", verdict.take), ["wrong-points", "slipped", "wrong-setting"]))
                    }))
                }
            }
        }
    }
}

/// The ways on from the screen.
fn more(t: Tongue, view: &VisitView) -> Markup {
    let to = |page: &str, words: String| html! { li { a.button href={ "/visits/" (view.id) "/" (page) } { (words) } } };
    html! {
        nav aria-label=(t.say("more")) { ul.ways {
            @if !view.closed { (to("add", t.say("add"))) }
            (to("takes", t.say("all-takes")))
            (to("wires", t.say("wires-and-notes")))
            (to("papers", t.say("papers")))
            @if !view.unit.is_empty() {
                li { a.button href=(unit_link(&view.unit, view.simulated)) { (t.say("unit-over-years")) } }
            }
        } }
    }
}
