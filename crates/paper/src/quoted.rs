//! What a repair would cost, and what was decided on it: the part of a write-up that a customer signs.

use ohmtrail_trail::event::{Quote, QuoteOption};
use ohmtrail_visit::{Record, Totals, money, quantity};
use ohmtrail_words::Tongue;

use crate::document::{Block, Document, Table, Text};
use crate::text::moment;

pub(crate) fn quoted(page: &mut Document, record: &Record) {
    let Some(quote) = &record.quote else { return };
    let t = page.tongue;
    page.section("paper-repair");
    let quoted = [
        ("version", quote.version.to_string()),
        ("currency", quote.currency.clone()),
        ("day", quote.valid_until.clone()),
    ];
    let quoted = quoted
        .each_ref()
        .map(|(name, value)| (*name, value.as_str()));
    page.line(t.tell("paper-quote", &quoted));
    // What is recommended comes first.
    let (first, others): (Vec<_>, Vec<_>) = quote.options.iter().partition(|o| o.recommended);
    for option in first.into_iter().chain(others) {
        let id = if option.recommended {
            "paper-option-recommended"
        } else {
            "paper-option"
        };
        let named = [("name", option.name.as_str()), ("title", &option.title)];
        page.blocks.push(Block::Part(t.tell(id, &named)));
        page.blocks.push(Block::Table(lines(t, quote, option)));
    }
}

fn lines(t: Tongue, quote: &Quote, option: &QuoteOption) -> Table {
    // An amount that cannot be counted is refused before it comes into a trail.
    let written = |amount: Option<u64>| {
        amount.map_or_else(|| t.say("paper-too-much"), |a| money(a, quote.decimals))
    };
    let mut rows: Vec<Vec<String>> = option
        .lines
        .iter()
        .map(|line| {
            vec![
                line.what.clone(),
                t.say(&format!("line-{}", line.kind.name())),
                quantity(line.quantity),
                money(line.price, quote.decimals),
                t.say(if line.taxed { "paper-yes" } else { "paper-no" }),
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
    sum(t.say("paper-net"), totals.map(|t| t.net));
    let percent = quantity(u64::from(option.tax));
    let tax = t.tell("paper-tax", &[("percent", &percent)]);
    sum(tax, totals.map(|t| t.tax));
    sum(t.say("paper-to-pay"), totals.map(|t| t.gross));
    let named = [
        ("name", option.name.as_str()),
        ("currency", &quote.currency),
    ];
    Table {
        caption: t.tell("paper-option-amounts", &named),
        heads: [
            "head-for",
            "head-kind",
            "head-quantity",
            "head-price",
            "head-taxed",
            "head-amount",
        ]
        .map(|head| t.say(head))
        .into(),
        numbers: &[2, 3, 5],
        rows: rows
            .into_iter()
            .map(|row| row.into_iter().map(Text::from).collect())
            .collect(),
    }
}

/// What was decided; else space for it, on this very paper.
pub(crate) fn approval(page: &mut Document, record: &Record) {
    let t = page.tongue;
    page.section("paper-approval");
    for (decision, at) in &record.decisions {
        let number = decision.quote.to_string();
        let what = match &decision.option {
            Some(option) => t.tell("paper-approved", &[("option", option), ("quote", &number)]),
            None => t.tell("paper-declined", &[("quote", &number)]),
        };
        let paper: String = decision
            .paper
            .iter()
            .take(8)
            .map(|b| format!("{b:02x}"))
            .collect();
        let at = moment(t, Some(*at));
        let named = [
            ("at", at.as_str()),
            ("what", &what),
            ("by", &decision.by),
            ("means", &decision.means),
        ];
        page.item(Text::from(t.tell("paper-decided", &named) + " ").code(paper));
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
    page.line(match stands {
        Some(quote) => t.tell(
            "paper-approval-of-quote",
            &[("quote", &quote.version.to_string())],
        ),
        None => t.say("paper-approval-of-paper"),
    });
    let blanks = ["blank-option", "blank-by", "blank-date", "blank-not"];
    page.blocks
        .push(Block::Blanks(blanks.map(|b| t.say(b)).into()));
}
