//! The quote of a visit that has ended, and what was decided on it. What may be quoted and decided is the
//! visit's to say: here are the forms, and what they sent stands in them again when it was refused.

use std::collections::BTreeMap;

use axum::extract::State;
use axum::response::{IntoResponse, Redirect, Response};
use maud::{Markup, html};
use ohmtrail_paper::{LineDraft, OptionDraft, QuoteDraft};
use ohmtrail_trail::event::{Decision, LineKind, Quote, QuoteOption, Stamp};
use ohmtrail_trail::{Hash, rfc3339};
use ohmtrail_visit::{Totals, money, quantity};
use ohmtrail_words::Tongue;

use super::more::back;
use super::reader::{Form, Reader};
use super::screen::Screen;
use super::{frame, framed, seen};
use crate::api::{App, Decided, Named, Problem, keep_decision, keep_quote};

/// What is sent with an option that was approved, before its name.
const APPROVED: &str = "option-";

type Fields = BTreeMap<String, String>;

fn field(fields: &Fields, name: &str) -> String {
    let text = fields.get(name).map(|v| v.trim());
    text.unwrap_or_default().to_owned()
}

/// An amount as it was typed: some keyboards have the comma alone.
fn amount(fields: &Fields, name: &str) -> String {
    let text = field(fields, name);
    match text.split_once(',') {
        Some((whole, part)) if !part.contains([',', '.']) && !whole.contains('.') => {
            format!("{whole}.{part}")
        }
        _ => text,
    }
}

fn blank(kind: LineKind) -> LineDraft {
    LineDraft {
        what: String::new(),
        kind,
        quantity: "1".to_owned(),
        price: String::new(),
        taxed: kind == LineKind::Part,
    }
}

/// Options are named by letters, in their order.
fn letter(nth: usize) -> String {
    let nth = u8::try_from(nth).unwrap_or(u8::MAX).min(25);
    char::from(b'a' + nth).to_string()
}

fn blank_option(nth: usize) -> OptionDraft {
    OptionDraft {
        name: letter(nth),
        lines: vec![blank(LineKind::Part), blank(LineKind::Labour)],
        ..OptionDraft::default()
    }
}

/// A form that nothing was written in, or the quote that a new one begins with.
fn begun(quote: Option<&Quote>) -> QuoteDraft {
    let Some(quote) = quote else {
        return QuoteDraft {
            options: vec![blank_option(0)],
            ..QuoteDraft::default()
        };
    };
    let line = |line: &ohmtrail_trail::event::QuoteLine| LineDraft {
        what: line.what.clone(),
        kind: line.kind,
        quantity: quantity(line.quantity),
        price: money(line.price, quote.decimals),
        taxed: line.taxed,
    };
    let option = |(nth, option): (usize, &QuoteOption)| OptionDraft {
        name: letter(nth),
        title: option.title.clone(),
        recommended: option.recommended,
        lines: option.lines.iter().map(line).collect(),
    };
    let tax = quote.options.first().map_or(0, |o| o.tax);
    QuoteDraft {
        currency: quote.currency.clone(),
        valid_until: quote.valid_until.clone(),
        tax_percent: quantity(tax.into()),
        options: quote.options.iter().enumerate().map(option).collect(),
    }
}

/// What a form sent, blank lines and all.
fn sent(fields: &Fields) -> QuoteDraft {
    let recommended = field(fields, "recommended");
    let line = |nth: usize, at: usize| {
        let name = |key: &str| format!("{key}-{nth}-{at}");
        fields.contains_key(&name("what")).then(|| LineDraft {
            what: field(fields, &name("what")),
            kind: LineKind::ALL
                .into_iter()
                .find(|kind| kind.name() == field(fields, &name("kind")))
                .unwrap_or(LineKind::Other),
            quantity: amount(fields, &name("quantity")),
            price: amount(fields, &name("price")),
            taxed: fields.contains_key(&name("taxed")),
        })
    };
    let option = |nth: usize| {
        let title = format!("title-{nth}");
        fields.contains_key(&title).then(|| OptionDraft {
            name: letter(nth),
            title: field(fields, &title),
            recommended: recommended == nth.to_string(),
            lines: (0..).map_while(|at| line(nth, at)).collect(),
        })
    };
    QuoteDraft {
        currency: field(fields, "currency").to_uppercase(),
        valid_until: field(fields, "valid_until"),
        tax_percent: amount(fields, "tax_percent"),
        options: (0..).map_while(option).collect(),
    }
}

/// Without what was left blank.
fn written(mut draft: QuoteDraft) -> QuoteDraft {
    for option in &mut draft.options {
        let blank = |l: &LineDraft| l.what.is_empty() && l.price.is_empty();
        option.lines.retain(|line| !blank(line));
        for line in &mut option.lines {
            if line.quantity.is_empty() {
                "1".clone_into(&mut line.quantity);
            }
        }
    }
    let blank = |o: &OptionDraft| o.title.is_empty() && o.lines.is_empty();
    draft.options.retain(|option| !blank(option));
    if draft.tax_percent.is_empty() {
        "0".clone_into(&mut draft.tax_percent);
    }
    draft
}

/// The form of a quote.
pub async fn form(State(app): State<App>, reader: Reader, Named(name): Named<String>) -> Response {
    let found = of(&app, &name).await;
    match found {
        Ok((screen, quote)) => {
            let draft = begun(quote.as_ref());
            framed(reader, &screen, None, |screen, alert| {
                page(reader.tongue, screen, &draft, alert)
            })
        }
        Err(problem) => frame::wrong(reader, &problem),
    }
}

async fn of(app: &App, name: &str) -> Result<(Screen, Option<Quote>), Problem> {
    let visit = app.visit(name)?;
    seen(app, &visit, |seen| seen.record.quote.clone()).await
}

/// Keeps a quote, or gives its form more room.
pub async fn keep(
    State(app): State<App>,
    reader: Reader,
    Named(name): Named<String>,
    Form(fields): Form<Fields>,
) -> Response {
    let mut draft = sent(&fields);
    let more = fields.get("more").map(String::as_str);
    let said = match more {
        Some("option") => {
            draft.options.push(blank_option(draft.options.len()));
            None
        }
        Some(nth) => {
            let nth = nth.parse::<usize>().ok();
            if let Some(option) = nth.and_then(|n| draft.options.get_mut(n)) {
                option.lines.push(blank(LineKind::Other));
            }
            None
        }
        None => match keep_quote(&app, &name, written(draft.clone())).await {
            Ok(()) => return to_papers(&name, "quote"),
            Err(problem) => Some(problem),
        },
    };
    match of(&app, &name).await {
        Ok((screen, _)) => framed(reader, &screen, said.as_ref(), |screen, alert| {
            page(reader.tongue, screen, &draft, alert)
        }),
        Err(problem) => frame::wrong(reader, &problem),
    }
}

fn to_papers(visit: &str, part: &str) -> Response {
    Redirect::to(&format!("/visits/{visit}/papers#{part}")).into_response()
}

/// Keeps what was decided. What was refused stands in its form again.
pub async fn decide(
    State(app): State<App>,
    reader: Reader,
    Named(name): Named<String>,
    Form(fields): Form<Fields>,
) -> Response {
    let other = field(&fields, "other");
    let chosen = field(&fields, "decision");
    let decided = Decided {
        option: chosen.strip_prefix(APPROVED).map(str::to_owned),
        by: field(&fields, "by"),
        means: match other.as_str() {
            "" => field(&fields, "means"),
            _ => other,
        },
        paper: field(&fields, "paper").to_lowercase().replace(' ', ""),
    };
    match keep_decision(&app, &name, decided).await {
        Ok(()) => to_papers(&name, "decided"),
        Err(problem) => super::papers_page(&app, reader, &name, Some((&problem, &fields))).await,
    }
}

/// The page with the form.
fn page(t: Tongue, screen: &Screen, draft: &QuoteDraft, alert: &Markup) -> Markup {
    let view = &screen.view;
    html! {
        (back(t, view))
        h1 { (t.say("quote")) }
        (alert)
        @if view.closed { (fields(t, screen, draft)) } @else { p { (t.say("quote-later")) } }
    }
}

fn fields(t: Tongue, screen: &Screen, draft: &QuoteDraft) -> Markup {
    let some = draft.options.iter().any(|o| o.recommended);
    html! {
        form.quote method="post" action={ "/visits/" (screen.view.id) "/quote" } {
            // What the key of a keyboard sends is the first button: it keeps the quote.
            button.unseen tabindex="-1" aria-hidden="true" {}
            div.pair {
                (input(&t.say("currency"), "currency", &draft.currency, |name, value| html! {
                    input id=(name) name=(name) value=(value) required maxlength="3" pattern="[A-Za-z]{3}"
                        autocapitalize="characters" autocomplete="off"; }))
                (input(&t.say("tax-percent"), "tax_percent", &draft.tax_percent, decimal))
            }
            (input(&t.say("valid-until"), "valid_until", &draft.valid_until, |name, value| html! {
                input type="date" id=(name) name=(name) value=(value) required; }))
            @for (nth, option) in draft.options.iter().enumerate() { (way(t, nth, option)) }
            label.choice { input type="radio" name="recommended" value="" checked[!some]; span { (t.say("recommended-none")) } }
            p { button name="more" value="option" formnovalidate { (t.say("more-option")) } }
            p { (t.say("quote-blank")) }
            button.main { (t.say("quote-keep")) }
        }
    }
}

fn way(t: Tongue, nth: usize, option: &OptionDraft) -> Markup {
    html! {
        fieldset {
            legend { (t.tell("option", &[("name", &option.name)])) }
            (input(&t.say("option-title"), &format!("title-{nth}"), &option.title, text))
            label.choice { input type="radio" name="recommended" value=(nth) checked[option.recommended]; span { (t.say("recommended")) } }
            @for (at, line) in option.lines.iter().enumerate() { (line_fields(t, nth, at, line)) }
            p { button name="more" value=(nth) formnovalidate { (t.say("more-line")) } }
        }
    }
}

fn line_fields(t: Tongue, nth: usize, at: usize, line: &LineDraft) -> Markup {
    let name = |key: &str| format!("{key}-{nth}-{at}");
    let number = (at + 1).to_string();
    html! {
        div.line role="group" aria-label=(t.tell("line", &[("number", &number)])) {
            (input(&t.say("line-what"), &name("what"), &line.what, text))
            div.pair {
                (input(&t.say("line-kind"), &name("kind"), line.kind.name(), |name, value| html! {
                    select id=(name) name=(name) { @for kind in LineKind::ALL.map(LineKind::name) {
                        option value=(kind) selected[kind == value] { (t.say(&format!("line-{kind}"))) } } } }))
                label.choice { input type="checkbox" name=(name("taxed")) value="yes" checked[line.taxed]; span { (t.say("taxed")) } }
            }
            div.pair {
                (input(&t.say("quantity"), &name("quantity"), &line.quantity, decimal))
                (input(&t.say("price"), &name("price"), &line.price, decimal))
            }
        }
    }
}

fn input(words: &str, name: &str, value: &str, of: impl Fn(&str, &str) -> Markup) -> Markup {
    html! { p { label for=(name) { (words) } (of(name, value)) } }
}

fn text(name: &str, value: &str) -> Markup {
    html! { input id=(name) name=(name) value=(value) maxlength="200" autocomplete="off"; }
}

fn decimal(name: &str, value: &str) -> Markup {
    html! { input id=(name) name=(name) value=(value) inputmode="decimal" maxlength="16" autocomplete="off"; }
}

/// What the papers say of a quote.
pub struct Told {
    /// The one that stands.
    pub quote: Option<Quote>,
    /// What was decided, and when.
    pub decisions: Vec<(Decision, Stamp)>,
}

/// The quote that stands, what was decided, and the forms of both.
pub fn told(t: Tongue, screen: &Screen, told: &Told, refused: Option<&Fields>) -> Markup {
    let view = &screen.view;
    html! {
        h2 #quote { (t.say("quote")) }
        @if !view.closed { p { (t.say("quote-later")) } }
        @else {
            @if let Some(quote) = &told.quote {
                p { (t.tell("quote-version", &[("version", &quote.version.to_string()), ("day", &quote.valid_until)])) }
                @for option in &quote.options { (offered(t, quote, option)) }
            } @else { p { (t.say("quote-none")) } }
            p { a.button href={ "/visits/" (view.id) "/quote" } {
                @if told.quote.is_some() { (t.say("quote-anew")) } @else { (t.say("quote-make")) } } }
            @if !told.decisions.is_empty() {
                h2 #decided { (t.say("decided")) }
                ul { @for (decision, at) in &told.decisions { li { (decided(t, decision, *at)) } } }
            }
            @if let Some(quote) = &told.quote { (decision(t, screen, quote, refused)) }
        }
    }
}

/// An option, and what it comes to.
fn offered(t: Tongue, quote: &Quote, option: &QuoteOption) -> Markup {
    let amount = |minor: u64| money(minor, quote.decimals);
    // An amount that cannot be counted is refused before it comes into a trail.
    let totals = Totals::of(option).unwrap_or_default();
    let percent = quantity(option.tax.into());
    html! {
        table.offer {
            caption { b { (t.tell("option", &[("name", &option.name)])) } ": " (option.title)
                @if option.recommended { " " span.mark { (t.say("recommended")) } } }
            tbody {
                @for line in &option.lines { tr {
                    th scope="row" { (line.what)
                        span.small { (t.say(&format!("line-{}", line.kind.name()))) " · "
                            (quantity(line.quantity)) " × " (amount(line.price))
                            @if line.taxed { " · " (t.say("taxed")) } } }
                    td { (amount(Totals::line(line).unwrap_or_default())) }
                } }
                tr { th scope="row" { (t.say("net")) } td { (amount(totals.net)) } }
                tr { th scope="row" { (t.tell("tax", &[("percent", &percent)])) } td { (amount(totals.tax)) } }
                tr.sum { th scope="row" { (t.say("total")) " " (quote.currency) } td { (amount(totals.gross)) } }
            }
        }
    }
}

fn decided(t: Tongue, decision: &Decision, at: Stamp) -> String {
    let day = rfc3339(at.wall_us).unwrap_or_default();
    let day = day.get(..16).unwrap_or(&day).replace('T', "\u{a0}");
    let quote = decision.quote.to_string();
    let mut named = vec![
        ("quote", quote.as_str()),
        ("by", decision.by.as_str()),
        ("means", decision.means.as_str()),
        ("day", day.as_str()),
    ];
    match &decision.option {
        Some(option) => {
            named.push(("option", option));
            t.tell("decided-for", &named)
        }
        None => t.tell("decided-against", &named),
    }
}

/// A hash in groups, as the papers have it.
fn grouped(hash: &str) -> String {
    let read = hash.parse::<Hash>();
    read.map_or_else(|_| hash.to_owned(), |hash| hash.groups().join(" "))
}

/// The form of a decision; on the write-up of now, unless another hash is read off a paper.
fn decision(t: Tongue, screen: &Screen, quote: &Quote, refused: Option<&Fields>) -> Markup {
    let view = &screen.view;
    let sent = |name: &str| refused.map(|f| field(f, name)).unwrap_or_default();
    let paper = refused.map_or_else(|| grouped(&view.head), |f| field(f, "paper"));
    let (chosen, means) = (sent("decision"), sent("means"));
    let choice = |value: &str, words: &Markup| {
        html! { label.choice { input type="radio" name="decision" value=(value) required checked[chosen == value]; span { (words) } } }
    };
    html! {
        details #decide open[refused.is_some()] {
            summary { (t.say("decide")) }
            form.sheet method="post" action={ "/visits/" (view.id) "/decision" } {
                fieldset {
                    legend { (t.say("decision")) }
                    @for option in &quote.options {
                        (choice(&format!("{APPROVED}{}", option.name), &html! {
                            (t.tell("approved", &[("name", &option.name)])) ": " (option.title) }))
                    }
                    (choice("declined", &html! { (t.say("declined")) }))
                }
                (input(&t.say("decided-by"), "by", &sent("by"), |name, value| html! {
                    input id=(name) name=(name) value=(value) required maxlength="200" autocomplete="off"; }))
                p { label for="means" { (t.say("decided-means")) }
                    select #means name="means" {
                        @for way in ["means-paper", "means-telephone", "means-message", "means-spoken"].map(|w| t.say(w)) {
                            option selected[way == means] { (way) } } } }
                (input(&t.say("means-other"), "other", &sent("other"), text))
                (input(&t.say("decided-paper"), "paper", &paper, |name, value| html! {
                    input id=(name) name=(name) value=(value) required maxlength="80" pattern=r"(\s*[0-9A-Fa-f]){64}\s*"
                        autocomplete="off" autocapitalize="none" spellcheck="false"; }))
                p.small { (t.say("decided-paper-words")) }
                button.main { (t.say("decision-keep")) }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fields(pairs: &[(&str, &str)]) -> Fields {
        let own = |(name, value): &(&str, &str)| ((*name).to_owned(), (*value).to_owned());
        pairs.iter().map(own).collect()
    }

    #[test]
    fn a_comma_is_a_decimal_mark_where_it_can_be_nothing_else() {
        for (typed, read) in [
            ("38,50", "38.50"),
            (" 38.50 ", "38.50"),
            ("1,200.00", "1,200.00"),
            ("1.200,00", "1.200,00"),
            ("1,200,00", "1,200,00"),
        ] {
            assert_eq!(amount(&fields(&[("price", typed)]), "price"), read);
        }
    }

    #[test]
    fn what_is_left_blank_does_not_count_and_what_is_written_does() {
        let sent = sent(&fields(&[
            ("currency", "usd"),
            ("valid_until", "2026-12-31"),
            ("tax_percent", ""),
            ("recommended", "0"),
            ("title-0", "an invented repair"),
            ("what-0-0", "an invented part"),
            ("kind-0-0", "part"),
            ("quantity-0-0", ""),
            ("price-0-0", "38,50"),
            ("taxed-0-0", "yes"),
            ("what-0-1", ""),
            ("kind-0-1", "labour"),
            ("quantity-0-1", "1"),
            ("price-0-1", ""),
            ("title-1", ""),
            ("what-1-0", ""),
            ("price-1-0", ""),
        ]));
        assert_eq!(sent.options.len(), 2, "as it was sent");
        let quote = written(sent).quote("it").expect("a quote");
        assert_eq!((quote.currency.as_str(), quote.decimals), ("USD", 2));
        let [option] = quote.options.as_slice() else {
            panic!("{quote:?}");
        };
        assert_eq!((option.name.as_str(), option.recommended), ("a", true));
        let [line] = option.lines.as_slice() else {
            panic!("{option:?}");
        };
        assert_eq!((line.quantity, line.price, line.taxed), (1000, 3850, true));
    }

    #[test]
    fn a_new_quote_begins_as_the_one_before() {
        let draft = QuoteDraft {
            currency: "USD".into(),
            valid_until: "2026-12-31".into(),
            tax_percent: "8.25".into(),
            options: vec![OptionDraft {
                name: "a".into(),
                title: "an invented repair".into(),
                recommended: true,
                lines: vec![LineDraft {
                    quantity: "1.25".into(),
                    price: "95.00".into(),
                    ..blank(LineKind::Labour)
                }],
            }],
        };
        let quote = draft.clone().quote("it").expect("a quote");
        assert_eq!(begun(Some(&quote)), draft);
    }
}
