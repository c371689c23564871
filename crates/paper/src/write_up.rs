//! The write-up: what was reported, measured, found, ruled out and left, for the customer to
//! approve a repair on.

use ohmtrail_core::reading::Function;
use ohmtrail_trail::Hash;
use ohmtrail_trail::event::{Finding, Outcome, Power};
use ohmtrail_visit::{
    Book, LEADS, Looked, NONE_OF_THESE, Record, Took, amount, charge_point, note_said, said_shown,
};
use ohmtrail_words::Tongue;

use crate::document::{Block, Document, Table, Text};
use crate::plot;
use crate::quoted::{approval, quoted};
use crate::repair;
use crate::text::{day, fault, mark, moment, phrase};

/// The write-up of a visit, in a language. `head` is the head hash of the trail as it stands when it is
/// written, `trail` what the trail's file is called.
#[must_use]
pub fn write_up(
    book: &Book<'_>,
    record: &Record,
    head: &Hash,
    trail: &str,
    tongue: Tongue,
) -> Document {
    let repair = record.mended.as_deref();
    let mut page = Document::new(
        tongue,
        match repair {
            Some(_) => "repair-title",
            None => "paper-title",
        },
    );
    page.head = head.groups().to_vec();
    page.day = day(record.last_at);
    heading(&mut page, book, record);
    reported(&mut page, book, record);
    if let Some(mended) = repair {
        repair::section(&mut page, book, record, mended);
    }
    if let Some(finding) = &record.finding {
        found(&mut page, book, record, finding);
    }
    measured(&mut page, book, record);
    cooling(&mut page, book, record);
    if let Some(finding) = &record.finding {
        ruled_out(&mut page, book, finding);
        unproven(&mut page, book, record, finding);
    }
    wires(&mut page, book, record);
    photographs(&mut page, record);
    left(&mut page, book, record);
    quoted(&mut page, record);
    page.section("paper-cautions");
    for caution in ["caution-measured", "caution-qualified", "caution-proven"] {
        page.told(caution, &[]);
    }
    approval(&mut page, record);
    page.section("paper-and-trail");
    let t = tongue;
    page.line(Text::from(t.say("paper-head-hash") + " ").code(head.groups().join(" ")));
    page.line(
        Text::from(t.say("paper-verify") + " ")
            .code(format!("ohmtrail trail verify {trail} --head {head}"))
            .plain(t.say("paper-verify-says")),
    );
    page
}

fn heading(page: &mut Document, book: &Book<'_>, record: &Record) {
    let t = page.tongue;
    if let Some(opened) = &record.opened {
        if opened.simulated {
            page.line(Text::default().strong(t.say("paper-simulated")));
        }
        let title = book.sheet.said(&book.sheet.title).marked(t);
        page.told("paper-unit", &[("unit", &opened.unit)]);
        page.told(
            "paper-sheet",
            &[("sheet", &opened.sheet), ("title", &title)],
        );
        page.told("paper-work-order", &[("order", &opened.work_order)]);
        page.told("paper-technician", &[("by", &opened.technician)]);
        page.author.clone_from(&opened.technician);
    }
    let (from, to) = (moment(t, record.opened_at), moment(t, record.last_at));
    page.told("paper-from-to", &[("from", &from), ("to", &to)]);
    for meter in &record.meters {
        let accuracy = t.say(if meter.accuracy_assumed {
            "paper-accuracy-assumed"
        } else {
            "paper-accuracy-stated"
        });
        let named = [
            ("number", &meter.meter.0.to_string()),
            ("driver", &meter.driver),
            ("place", &meter.place),
            ("profile", &t.phrase_or_own(&meter.profile)),
            ("accuracy", &accuracy),
        ];
        page.told(
            "paper-meter",
            &named.map(|(name, value)| (name, value.as_str())),
        );
    }
}

fn reported(page: &mut Document, book: &Book<'_>, record: &Record) {
    let t = page.tongue;
    page.section("paper-reported");
    for (what, words) in &record.complaints {
        let known = book.sheet.complaints.iter().find(|c| c.name == *what);
        let known = known.map(|c| book.sheet.said(&c.words).marked(t));
        let mut said = known.unwrap_or_else(|| what.clone());
        if !words.is_empty() {
            said += " ";
            said += &t.tell("paper-their-words", &[("words", words)]);
        }
        page.item(said);
    }
    for plate in &record.plates {
        page.item(format!(
            "{}, {}: {} {}",
            plate.part, plate.key, plate.value, plate.unit
        ));
    }
    for look in &record.looks {
        let seen = looked(t, look);
        let ask = look
            .ask
            .map(|n| t.tell("paper-ask", &[("ask", &n.to_string())]));
        let ask = ask.map_or_else(String::new, |ask| format!(" ({ask})"));
        page.item(t.tell("paper-looked", &[("seen", &seen)]) + &ask);
    }
}

fn found(page: &mut Document, book: &Book<'_>, record: &Record, finding: &Finding) {
    let t = page.tongue;
    page.section("paper-found");
    if finding.faults.is_empty() {
        let conclusion = record.conclusion.as_ref();
        page.line(t.say(match conclusion.map(|c| c.outcome) {
            Some(Outcome::NoFault) => "paper-no-fault",
            Some(Outcome::NoneOfThese) => "paper-unknown-fault",
            _ => "paper-not-proven",
        }));
        if let Some(conclusion) = conclusion {
            let why = phrase(t, &conclusion.why);
            page.line(t.tell("paper-ended-why", &[("why", &why)]));
        }
        for suspect in &record.suspects {
            page.item(format!(
                "{} ({})",
                set(t, book, &suspect.faults),
                percent(t, suspect.p)
            ));
        }
        return;
    }
    for name in &finding.faults {
        let words = Text::default().strong(fault(t, book, name));
        page.item(words.plain(" (").code(name).plain(")"));
    }
    page.told("paper-probability", &[("share", &percent(t, finding.p))]);
    for other in &finding.alike {
        page.told("paper-alike", &[("faults", &set(t, book, other))]);
    }
    page.section("paper-believed");
    for ask in &finding.evidence {
        page.item(evidence(t, record, *ask));
    }
    page.section("paper-follows");
    if finding.consequences.is_empty() {
        page.line(t.say("paper-follows-nothing"));
    }
    for what in record.consequences_said(book) {
        page.item(what.marked(t));
    }
}

/// What was looked at, and the answer.
fn looked(t: Tongue, look: &Looked) -> String {
    let answer = if look.answer { "paper-yes" } else { "paper-no" };
    format!("{}: {}", look.what, t.say(answer))
}

/// What an ask brought, in a line.
fn evidence(t: Tongue, record: &Record, ask: u32) -> String {
    let head = t.tell("paper-ask", &[("ask", &ask.to_string())]);
    if let Some(look) = record.looks.iter().find(|l| l.ask == Some(ask)) {
        return format!("{head}: {}", looked(t, look));
    }
    let took = record.takes_of(ask).filter(|t| t.counts()).last();
    let Some(took) = took else {
        return head;
    };
    let verdict = took.words().map(|said| said.marked(t));
    let shown = || said_shown(took.take.function, took.take.shown).to(t);
    let words = verdict.unwrap_or_else(shown);
    format!("{head}: {}: {words}", between(t, took))
}

/// The points of a take.
fn between(t: Tongue, took: &Took) -> String {
    let [a, b] = &took.take.points;
    if (a.as_str(), b.as_str()) == (LEADS, LEADS) {
        return t.say("leads-together");
    }
    if let Some(words) = charge_point(a).filter(|_| a == b) {
        return t.phrase_or_own(words);
    }
    t.tell("paper-between", &[("one", a), ("other", b)])
}

/// Whether a take belongs to the test for absence of voltage, or to a gate's other readings.
fn is_gates(record: &Record, took: &Took) -> bool {
    took.check.is_none()
        && took.take.ask.and_then(|n| record.ask(n)).is_some_and(|a| {
            a.request.measurement().is_some_and(|m| {
                matches!(m.function, Function::VoltsAc | Function::VoltsDc)
                    && m.state.power == Power::Off
            })
        })
}

fn measured(page: &mut Document, book: &Book<'_>, record: &Record) {
    let t = page.tongue;
    page.section("paper-measured");
    let (mut gates, mut notes, mut rows) = (0, Vec::new(), Vec::new());
    for took in &record.takes {
        if is_gates(record, took) && took.counts() {
            gates += 1;
            continue;
        }
        rows.push(row(t, took));
        let gone = [("paper-void", &took.void), ("paper-struck", &took.struck)];
        for (id, why) in gone {
            let Some(why) = why else { continue };
            let take = took.take.take.to_string();
            notes.push(t.tell(id, &[("take", &take), ("why", &t.phrase_or_own(why))]));
        }
    }
    page.blocks.push(Block::Table(Table {
        caption: t.say("paper-takes"),
        heads: [
            "head-take",
            "head-ask",
            "head-between",
            "head-state",
            "head-shown",
            "head-limits",
            "head-verdict",
            "head-source",
        ]
        .map(|head| t.say(head))
        .into(),
        numbers: &[0, 1],
        rows,
    }));
    if let Some((svg, words)) = plot::within_limits(t, record) {
        page.blocks.push(Block::Drawing { svg, words });
    }
    if gates > 0 {
        let (gates, pairs) = (gates.to_string(), dead_pairs(book).to_string());
        page.told("paper-gates", &[("count", &gates), ("pairs", &pairs)]);
    }
    for line in notes {
        page.item(line);
    }
    for (ask, why) in &record.skipped {
        let (ask, why) = (ask.to_string(), t.phrase_or_own(why));
        page.told("paper-passed-over", &[("ask", &ask), ("why", &why)]);
    }
}

/// Compressors that stand on an open overload, as the trail leaves them.
fn cooling(page: &mut Document, book: &Book<'_>, record: &Record) {
    let t = page.tongue;
    let now = record.last_at.map(|at| record.elapsed(at.steady));
    for cooling in record.cooling(book, now.unwrap_or_default()) {
        page.section_of("paper-overload-open", &[("part", &cooling.part)]);
        match &cooling.cold {
            Some(cold) => {
                let from = if cold.from.is_empty() {
                    t.say("paper-cold-from-nowhere")
                } else {
                    cold.from.clone()
                };
                page.told("paper-cold", &[("cold", &cold.text), ("from", &from)]);
            }
            None => page.told("paper-cold-none", &[]),
        }
        match cooling.ambient {
            Some(a) => {
                let (value, u) = (format!("{:.1}", a.value.get()), format!("{:.1}", 2.0 * a.u));
                page.told("paper-ambient", &[("value", &value), ("u", &u)]);
            }
            None => page.told("paper-ambient-none", &[]),
        }
        for warm in &cooling.readings {
            let (take, at) = (warm.take.to_string(), moment(t, Some(warm.at)));
            let read = [("take", take.as_str()), ("at", &at)];
            match warm.winding {
                Some(w) => {
                    let (value, u) = (format!("{:.0}", w.value.get()), format!("{:.0}", 2.0 * w.u));
                    let warm = [&read[..], &[("value", &value), ("u", &u)]].concat();
                    page.told("paper-warm", &warm);
                }
                None => page.told("paper-warm-none", &read),
            }
        }
        page.told("paper-cooling-end", &[("words", &cooling.said().marked(t))]);
    }
}

fn dead_pairs(book: &Book<'_>) -> usize {
    book.plan().pairs().count()
}

fn row(t: Tongue, took: &Took) -> Vec<Text> {
    let take = &took.take;
    let mut state = vec![match take.state.power {
        Power::On => "state-on",
        Power::Off => "state-off",
    }];
    state.extend(take.state.cooled.then_some("state-cold"));
    state.extend((!take.state.lifted.is_empty()).then_some("state-lifted"));
    let state: Vec<String> = state.into_iter().map(|id| t.say(id)).collect();
    let none = || "-".to_owned();
    let (limits, verdict, source) = match &take.verdict {
        Some(judged) if took.counts() => {
            let limit = |x: Option<f64>| x.map_or("-".to_owned(), |x| amount(take.function, x));
            let (low, high) = (limit(judged.lower), limit(judged.upper));
            let mut class = phrase(t, judged.class.word());
            if judged.too_close {
                class += ", ";
                class += &t.say("paper-too-close");
            }
            (
                t.tell("paper-between", &[("one", &low), ("other", &high)]),
                class,
                format!(
                    "{} ({})",
                    phrase(t, &judged.source),
                    phrase(t, &judged.status)
                ),
            )
        }
        _ if !took.counts() => (none(), t.say("paper-does-not-count"), none()),
        _ => (none(), t.say("paper-not-judged"), none()),
    };
    let cells = [
        take.take.to_string(),
        take.ask.map_or_else(none, |n| n.to_string()),
        between(t, took),
        state.join(", "),
        said_shown(take.function, take.shown).to(t),
        limits,
        verdict,
        source,
    ];
    cells.map(Text::from).into()
}

fn ruled_out(page: &mut Document, book: &Book<'_>, finding: &Finding) {
    if finding.ruled_out.is_empty() {
        return;
    }
    page.section("paper-ruled-out");
    for out in &finding.ruled_out {
        let by: Vec<String> = out.by.iter().map(u32::to_string).collect();
        let fault = fault(page.tongue, book, &out.fault);
        page.told(
            "paper-by-ask",
            &[("fault", &fault), ("asks", &by.join(", "))],
        );
    }
}

fn unproven(page: &mut Document, book: &Book<'_>, record: &Record, finding: &Finding) {
    if finding.unproven.is_empty() {
        return;
    }
    let t = page.tongue;
    page.section("paper-unproven");
    for what in &finding.unproven {
        let p = if what.p >= 0.001 {
            format!(" ({})", percent(t, what.p))
        } else {
            String::new()
        };
        let why = record.unproven_said(book, what).marked(t);
        page.item(format!("{}{p}: {why}", fault(t, book, &what.fault)));
    }
}

fn wires(page: &mut Document, book: &Book<'_>, record: &Record) {
    if record.wires.is_empty() {
        return;
    }
    let t = page.tongue;
    page.section("paper-wire-map");
    for wire in &record.wires {
        let now = match &wire.back_on {
            Some(to) if wire.checked => t.tell("paper-wire-checked", &[("to", to)]),
            Some(to) => t.tell("paper-wire-back", &[("to", to)]),
            None => t.say("paper-wire-lifted"),
        };
        let mut seen = mark(t, book, &wire.mark);
        if wire.photo.is_some() {
            seen += ", ";
            seen += &t.say("paper-photographed");
        }
        let named = [
            ("end", wire.end.as_str()),
            ("mark", &seen),
            ("from", &wire.from),
            ("now", &now),
        ];
        page.told("paper-wire", &named);
    }
}

fn left(page: &mut Document, book: &Book<'_>, record: &Record) {
    let Some(left) = &record.left else { return };
    page.section("paper-left");
    let how = match (left.power, left.locked) {
        (Power::Off, true) => "left-locked",
        (Power::Off, false) => "left-open",
        (Power::On, _) => "left-on",
    };
    page.told(how, &[]);
    if !left.lifted.is_empty() {
        page.told("left-lifted", &[("ends", &left.lifted.join(", "))]);
    }
    let unchecked: Vec<&str> = record.unchecked().map(|w| w.end.as_str()).collect();
    if !unchecked.is_empty() {
        page.told("left-unchecked", &[("ends", &unchecked.join(", "))]);
    }
    if let Some(why) = record.left_said(book) {
        page.item(why.marked(page.tongue));
    }
    for note in &record.notes {
        let note = note_said(note).marked(page.tongue);
        page.told("paper-note", &[("note", &note)]);
    }
}

fn set(t: Tongue, book: &Book<'_>, faults: &[String]) -> String {
    if faults.is_empty() {
        return t.say("paper-no-fault-at-all");
    }
    if faults == [NONE_OF_THESE] {
        return t.say("paper-none-of-these");
    }
    let words: Vec<String> = faults.iter().map(|f| fault(t, book, f)).collect();
    words.join("; ")
}

fn percent(t: Tongue, p: f32) -> String {
    // Nothing that was inferred is certain.
    let percent = (p * 100.0).clamp(0.0, 99.9);
    if percent > 0.0 && percent < 0.1 {
        phrase(t, "under 0.1 %")
    } else {
        format!("{percent:.1} %")
    }
}

fn photographs(page: &mut Document, record: &Record) {
    if record.photos.is_empty() {
        return;
    }
    page.section("paper-photographs");
    for (hash, caption) in &record.photos {
        // Who cannot see a picture is told at least that it is there.
        let caption = if caption.trim().is_empty() {
            page.tongue.say("paper-photo-bare")
        } else {
            caption.clone()
        };
        page.blocks.push(Block::Photo {
            hash: *hash,
            caption,
        });
    }
}
