//! The write-up: what was reported, measured, found, ruled out and left, for the customer to
//! approve a repair on.

use ohmtrail_core::reading::Function;
use ohmtrail_trail::Hash;
use ohmtrail_trail::event::{Finding, Outcome, Power, Quote, QuoteOption};
use ohmtrail_visit::{
    Book, NONE_OF_THESE, Record, Took, Totals, amount, displayed, money, quantity,
};

use crate::document::{Block, Document, Table, Text};
use crate::plot;
use crate::repair;
use crate::text::{day, fault, moment};

/// The write-up of a visit. `head` is the head hash of the trail as it stands when it is written,
/// `trail` what the trail's file is called.
#[must_use]
pub fn write_up(book: &Book<'_>, record: &Record, head: &Hash, trail: &str) -> Document {
    let repair = record.mended.as_deref();
    let mut page = Document::new(match repair {
        Some(_) => "Write-up of a repair",
        None => "Write-up of a visit",
    });
    page.head = head.groups().to_vec();
    page.day = day(record.last_at);
    heading(&mut page, book, record);
    reported(&mut page, book, record);
    if let Some(mended) = repair {
        repair::section(&mut page, book, mended);
    }
    if let Some(finding) = &record.finding {
        found(&mut page, book, record, finding);
    }
    measured(&mut page, book, record);
    cooling(&mut page, book, record);
    if let Some(finding) = &record.finding {
        ruled_out(&mut page, book, finding);
        unproven(&mut page, book, finding);
    }
    wires(&mut page, record);
    photographs(&mut page, record);
    left(&mut page, record);
    quoted(&mut page, record);
    page.section("Cautions");
    page.item("This paper says what was measured and what that proves. It does not say that a circuit can be touched: prove it dead before work.");
    page.item("Repairs are for qualified people. Local codes, the maker's instructions and licensed practice come first, and the refrigerant circuit is opened only by those who are certified for it.");
    page.item("A repair is proven when the unit runs within its limits again, not when the part is fitted.");
    approval(&mut page, record);
    page.section("This paper and its trail");
    page.line(Text::from("Head hash of the trail: ").code(head.groups().join(" ")));
    page.line(
        Text::from("To see that the trail is unchanged up to this paper, run ")
            .code(format!("ohmtrail trail verify {trail} --head {head}"))
            .plain(": it says whether the trail still holds what this paper was made from."),
    );
    page
}

fn heading(page: &mut Document, book: &Book<'_>, record: &Record) {
    if let Some(opened) = &record.opened {
        if opened.simulated {
            page.line(
                Text::default()
                    .strong("Made from a simulated unit: nothing here was measured on a real one."),
            );
        }
        page.item(format!("Unit: {}", opened.unit));
        page.item(format!("Sheet: {} ({})", opened.sheet, book.sheet.title));
        page.item(format!("Work order: {}", opened.work_order));
        page.item(format!("Technician: {}", opened.technician));
        page.author.clone_from(&opened.technician);
    }
    page.item(format!(
        "From {} to {}",
        moment(record.opened_at),
        moment(record.last_at)
    ));
    for meter in &record.meters {
        let accuracy = if meter.accuracy_assumed {
            "accuracy assumed, the cautious default"
        } else {
            "accuracy as its profile states"
        };
        page.item(format!(
            "Meter {}: {} at {}, profile {} ({accuracy})",
            meter.meter.0, meter.driver, meter.place, meter.profile
        ));
    }
}

fn reported(page: &mut Document, book: &Book<'_>, record: &Record) {
    page.section("Reported and read");
    for (what, words) in &record.complaints {
        let known = book.sheet.complaints.iter().find(|c| c.name == *what);
        let said = known.map_or(what.as_str(), |c| c.words.as_str());
        let words = if words.is_empty() {
            String::new()
        } else {
            format!(" In their words: \"{words}\"")
        };
        page.item(format!("{said}{words}"));
    }
    for plate in &record.plates {
        page.item(format!(
            "{}, {}: {} {}",
            plate.part, plate.key, plate.value, plate.unit
        ));
    }
    for look in &record.looks {
        let answer = if look.answer { "yes" } else { "no" };
        let ask = look.ask.map_or_else(String::new, |n| format!(" (ask {n})"));
        page.item(format!("Looked: {}: {answer}{ask}", look.what));
    }
}

fn found(page: &mut Document, book: &Book<'_>, record: &Record, finding: &Finding) {
    page.section("Found");
    if finding.faults.is_empty() {
        let conclusion = record.conclusion.as_ref();
        page.line(match conclusion.map(|c| c.outcome) {
            Some(Outcome::NoFault) => "No fault in what was checked.",
            Some(Outcome::NoneOfThese) => {
                "Something is wrong that the unit's sheet has no fault for. The most probable sets, for what they are worth:"
            }
            _ => "What failed is not proven. The most probable sets, for what they are worth:",
        });
        if let Some(conclusion) = conclusion {
            page.line(format!("Why it ended there: {}.", conclusion.why));
        }
        for suspect in &record.suspects {
            page.item(format!(
                "{} ({})",
                set(book, &suspect.faults),
                percent(suspect.p)
            ));
        }
        return;
    }
    for name in &finding.faults {
        let words = Text::default().strong(fault(book, name));
        page.item(words.plain(" (").code(name).plain(")"));
    }
    page.item(format!("Probability of this set: {}", percent(finding.p)));
    for other in &finding.alike {
        page.item(format!(
            "No check from outside tells it from: {}",
            set(book, other)
        ));
    }
    page.section("Why it is believed");
    for ask in &finding.evidence {
        page.item(evidence(record, *ask));
    }
    page.section("What follows from it");
    if finding.consequences.is_empty() {
        page.line("Nothing beside the failed part was found to have followed from it.");
    }
    for what in &finding.consequences {
        page.item(what.as_str());
    }
}

/// What an ask brought, in a line.
fn evidence(record: &Record, ask: u32) -> String {
    if let Some(look) = record.looks.iter().find(|l| l.ask == Some(ask)) {
        let answer = if look.answer { "yes" } else { "no" };
        return format!("ask {ask}: {}: {answer}", look.what);
    }
    let took = record.takes_of(ask).filter(|t| t.counts()).last();
    let Some(took) = took else {
        return format!("ask {ask}");
    };
    let [a, b] = &took.take.points;
    let words = took.take.verdict.as_ref().map(|v| v.words.clone());
    let shown = || displayed(took.take.function, took.take.shown);
    format!("ask {ask}: {a} to {b}: {}", words.unwrap_or_else(shown))
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
    page.section("Measured");
    let (mut gates, mut notes, mut rows) = (0, Vec::new(), Vec::new());
    for took in &record.takes {
        if is_gates(record, took) && took.counts() {
            gates += 1;
            continue;
        }
        rows.push(row(took));
        if let Some(why) = &took.void {
            notes.push(format!("take {} is void: {why}", took.take.take));
        }
        if let Some(why) = &took.struck {
            notes.push(format!("take {} was struck: {why}", took.take.take));
        }
    }
    page.blocks.push(Block::Table(Table {
        caption: "Every take, with its limits and where they come from".to_owned(),
        heads: vec![
            "take", "ask", "between", "state", "shown", "limits", "verdict", "source",
        ],
        numbers: &[0, 1],
        rows,
    }));
    if let Some((svg, words)) = plot::within_limits(record) {
        page.blocks.push(Block::Drawing { svg, words });
    }
    if gates > 0 {
        page.item(format!(
            "Beside these, {gates} readings of the test for absence of voltage and of the capacitors' charge, by {} pairs; each is in the trail.",
            dead_pairs(book)
        ));
    }
    for line in notes {
        page.item(line);
    }
    for (ask, why) in &record.skipped {
        page.item(format!("ask {ask} was passed over: {why}"));
    }
}

/// Compressors that stand on an open overload, as the trail leaves them.
fn cooling(page: &mut Document, book: &Book<'_>, record: &Record) {
    let now = record.last_at.map(|at| record.elapsed(at.steady));
    for cooling in record.cooling(book, now.unwrap_or_default()) {
        page.section(&format!("Overload open: {}", cooling.part));
        match &cooling.cold {
            Some(cold) => {
                let from = if cold.from.is_empty() {
                    "where it comes from was not said"
                } else {
                    &cold.from
                };
                page.item(format!(
                    "Cold reference, start to run: {} ({from})",
                    cold.text
                ));
            }
            None => page.item("No cold reference of start to run"),
        }
        match cooling.ambient {
            Some(a) => page.item(format!(
                "Ambient, measured: {:.1} ± {:.1} °C",
                a.value.get(),
                2.0 * a.u
            )),
            None => page.item("Ambient not measured"),
        }
        for warm in &cooling.readings {
            let at = moment(Some(warm.at));
            page.item(match warm.winding {
                Some(t) => format!(
                    "Take {}, {at}: winding at {:.0} ± {:.0} °C by that reading alone",
                    warm.take,
                    t.value.get(),
                    2.0 * t.u
                ),
                None => format!(
                    "Take {}, {at}: no temperature without a cold reference",
                    warm.take
                ),
            });
        }
        page.item(format!("When the trail ended: {}", cooling.words()));
    }
}

fn dead_pairs(book: &Book<'_>) -> usize {
    book.plan().pairs().count()
}

fn row(took: &Took) -> Vec<String> {
    let take = &took.take;
    let power = match take.state.power {
        Power::On => "under power",
        Power::Off => "dead",
    };
    let cooled = if take.state.cooled { ", cold" } else { "" };
    let lifted = if take.state.lifted.is_empty() {
        ""
    } else {
        ", ends lifted"
    };
    let (limits, verdict, source) = match &take.verdict {
        Some(judged) if took.counts() => {
            let limit = |x: Option<f64>| x.map_or("-".to_owned(), |x| amount(take.function, x));
            let close = if judged.too_close {
                ", too close to call"
            } else {
                ""
            };
            (
                format!("{} to {}", limit(judged.lower), limit(judged.upper)),
                format!("{}{close}", judged.class.word()),
                format!("{} ({})", judged.source, judged.status),
            )
        }
        _ if !took.counts() => ("-".into(), "does not count".into(), "-".into()),
        _ => ("-".into(), "not judged".into(), "-".into()),
    };
    vec![
        take.take.to_string(),
        take.ask.map_or("-".to_owned(), |n| n.to_string()),
        format!("{} to {}", take.points[0], take.points[1]),
        format!("{power}{cooled}{lifted}"),
        displayed(take.function, take.shown),
        limits,
        verdict,
        source,
    ]
}

fn ruled_out(page: &mut Document, book: &Book<'_>, finding: &Finding) {
    if finding.ruled_out.is_empty() {
        return;
    }
    page.section("Ruled out");
    for out in &finding.ruled_out {
        let by: Vec<String> = out.by.iter().map(u32::to_string).collect();
        page.item(format!(
            "{}: by ask {}",
            fault(book, &out.fault),
            by.join(", ")
        ));
    }
}

fn unproven(page: &mut Document, book: &Book<'_>, finding: &Finding) {
    if finding.unproven.is_empty() {
        return;
    }
    page.section("Still unproven");
    for what in &finding.unproven {
        let p = if what.p >= 0.001 {
            format!(" ({})", percent(what.p))
        } else {
            String::new()
        };
        page.item(format!("{}{p}: {}", fault(book, &what.fault), what.why));
    }
}

fn wires(page: &mut Document, record: &Record) {
    if record.wires.is_empty() {
        return;
    }
    page.section("Wire map");
    for wire in &record.wires {
        let now = match &wire.back_on {
            Some(to) if wire.checked => format!("back on {to}, checked"),
            Some(to) => format!("back on {to}, not checked"),
            None => "still lifted".to_owned(),
        };
        let photo = if wire.photo.is_some() {
            ", photographed"
        } else {
            ""
        };
        page.item(format!(
            "{} ({}{photo}): lifted from {}, {now}",
            wire.end, wire.mark, wire.from
        ));
    }
}

fn left(page: &mut Document, record: &Record) {
    let Some(left) = &record.left else { return };
    page.section("How the unit was left");
    page.item(match (left.power, left.locked) {
        (Power::Off, true) => "Off: breaker open, a lock on it, the tag hung.",
        (Power::Off, false) => "Off: breaker open, not locked.",
        (Power::On, _) => "Under power.",
    });
    if !left.lifted.is_empty() {
        page.item(format!("Wire ends left lifted: {}", left.lifted.join(", ")));
    }
    page.item(left.why.as_str());
    for note in &record.notes {
        page.item(format!("Note: {note}"));
    }
}

fn set(book: &Book<'_>, faults: &[String]) -> String {
    if faults.is_empty() {
        return "no fault at all".to_owned();
    }
    if faults == [NONE_OF_THESE] {
        return "a fault that the sheet does not know".to_owned();
    }
    let words: Vec<String> = faults.iter().map(|f| fault(book, f)).collect();
    words.join("; ")
}

fn percent(p: f32) -> String {
    // Nothing that was inferred is certain.
    let percent = (p * 100.0).clamp(0.0, 99.9);
    if percent > 0.0 && percent < 0.1 {
        "under 0.1 %".to_owned()
    } else {
        format!("{percent:.1} %")
    }
}

fn photographs(page: &mut Document, record: &Record) {
    if record.photos.is_empty() {
        return;
    }
    page.section("Photographs");
    for (hash, caption) in &record.photos {
        // Who cannot see a picture is told at least that it is there.
        let caption = if caption.trim().is_empty() {
            "a photograph that nobody described".to_owned()
        } else {
            caption.clone()
        };
        page.blocks.push(Block::Photo {
            hash: *hash,
            caption,
        });
    }
}

fn quoted(page: &mut Document, record: &Record) {
    let Some(quote) = &record.quote else { return };
    page.section("Recommended repair, and what else may be done");
    page.line(format!(
        "Quote {}, in {}, holds until {}.",
        quote.version, quote.currency, quote.valid_until
    ));
    // What is recommended comes first.
    let (first, others): (Vec<_>, Vec<_>) = quote.options.iter().partition(|o| o.recommended);
    for option in first.into_iter().chain(others) {
        let word = if option.recommended {
            " (recommended)"
        } else {
            ""
        };
        page.blocks.push(Block::Part(format!(
            "Option {}: {}{word}",
            option.name, option.title
        )));
        page.blocks.push(Block::Table(lines(quote, option)));
    }
}

fn lines(quote: &Quote, option: &QuoteOption) -> Table {
    // An amount that cannot be counted is refused before it comes into a trail.
    let written = |amount: Option<u64>| {
        amount.map_or("too much to count".to_owned(), |a| money(a, quote.decimals))
    };
    let mut rows: Vec<Vec<String>> = option
        .lines
        .iter()
        .map(|line| {
            vec![
                line.what.clone(),
                line.kind.name().to_owned(),
                quantity(line.quantity),
                money(line.price, quote.decimals),
                if line.taxed { "yes" } else { "no" }.to_owned(),
                written(Totals::line(line)),
            ]
        })
        .collect();
    let totals = Totals::of(option);
    let mut sum = |what: String, amount: Option<u64>| {
        let blank = String::new;
        rows.push(vec![
            what,
            blank(),
            blank(),
            blank(),
            blank(),
            written(amount),
        ]);
    };
    sum("together".to_owned(), totals.map(|t| t.net));
    let tax = format!("tax, {} %", quantity(u64::from(option.tax)));
    sum(tax, totals.map(|t| t.tax));
    sum("to pay".to_owned(), totals.map(|t| t.gross));
    Table {
        caption: format!("Option {}, amounts in {}", option.name, quote.currency),
        heads: vec!["for", "kind", "quantity", "price of one", "taxed", "amount"],
        numbers: &[2, 3, 5],
        rows,
    }
}

/// What was decided; else space for it, on this very paper.
fn approval(page: &mut Document, record: &Record) {
    page.section("Approval");
    for (decision, at) in &record.decisions {
        let what = match &decision.option {
            Some(option) => format!("option {option} of quote {} was approved", decision.quote),
            None => format!("quote {} was declined", decision.quote),
        };
        let paper: String = decision
            .paper
            .iter()
            .take(8)
            .map(|b| format!("{b:02x}"))
            .collect();
        page.item(
            Text::from(format!(
                "{}: {what} by {}, {}; on the write-up whose hash begins with ",
                moment(Some(*at)),
                decision.by,
                decision.means
            ))
            .code(paper),
        );
    }
    let stands = record.quote.as_ref();
    if let Some(quote) = stands
        && record
            .decisions
            .iter()
            .any(|(d, _)| d.quote == quote.version)
    {
        return;
    }
    let which = stands.map_or_else(
        || "this paper".to_owned(),
        |quote| format!("this paper and its quote {}", quote.version),
    );
    page.line(format!(
        "An approval is one of {which} only: what was measured or quoted later is another paper, with another hash."
    ));
    page.blocks.push(Block::Blanks(vec![
        "Option approved:",
        "By:",
        "Date:",
        "Not approved, or approved in part:",
    ]));
}
