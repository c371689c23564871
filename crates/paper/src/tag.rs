//! The tag: a narrow card that hangs in the unit with the lock.

use ohmtrail_trail::Hash;
use ohmtrail_trail::event::{Outcome, Power};
use ohmtrail_visit::{Book, Mended, Record};
use serde::Serialize;

use crate::text::{day, fault, moment, wrap};

/// The tag's width, in characters.
pub const WIDTH: usize = 38;

/// A tag before it is set.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Card {
    /// Who made it.
    pub by: String,
    /// The day that it is of, year, month and day.
    pub day: Option<(i32, u8, u8)>,
    /// What it says.
    pub blocks: Vec<CardBlock>,
}

/// A part of a tag.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum CardBlock {
    /// What must be seen first.
    Headline {
        /// The words.
        text: String,
    },
    /// A line across.
    Rule,
    /// A line of text.
    Line {
        /// The words.
        text: String,
    },
    /// A list.
    Items {
        /// Its items.
        items: Vec<String>,
    },
    /// Something by its name.
    Field {
        /// The name.
        name: String,
        /// What it is.
        value: String,
    },
    /// Digits of a hash.
    Digits {
        /// The digits.
        text: String,
    },
}

/// The tag of a visit. `head` is the head hash of the trail as it stands when the tag is written.
#[must_use]
pub fn tag(book: &Book<'_>, record: &Record, head: &Hash) -> Card {
    let mut card = Card {
        by: String::new(),
        day: day(record.last_at),
        blocks: Vec::new(),
    };
    let off = record
        .left
        .as_ref()
        .map_or(record.power == Power::Off, |l| l.power == Power::Off);
    let locked = record.left.as_ref().map_or(record.locked, |l| l.locked);
    let headline = if off {
        "LEFT OFF - DO NOT ENERGISE"
    } else {
        "LEFT UNDER POWER"
    };
    card.blocks.push(CardBlock::Headline {
        text: headline.to_owned(),
    });
    if let Some(opened) = &record.opened {
        if opened.simulated {
            card.line("MADE FROM A SIMULATED UNIT");
        }
        card.field("Unit", &opened.unit);
        card.field("Work order", &opened.work_order);
        card.field("By", &opened.technician);
        card.by.clone_from(&opened.technician);
    }
    card.field("Date", &moment(record.last_at));
    card.rule();
    match &record.mended {
        Some(mended) => repaired(&mut card, mended),
        None => found(&mut card, book, record),
    }
    card.rule();
    card.line("Left:");
    card.item(match (off, locked) {
        (true, true) => "breaker open, lock on it",
        (true, false) => "breaker open, NOT LOCKED",
        (false, _) => "breaker closed",
    });
    let lifted = record.left.as_ref().map_or(&record.lifted, |l| &l.lifted);
    for end in lifted {
        let wire = record.wires.iter().rev().find(|w| w.end == *end);
        let (mark, from) = wire.map_or(("", ""), |w| (w.mark.as_str(), w.from.as_str()));
        card.item(&format!("wire {end} ({mark}) lifted from {from}"));
    }
    if let Some(left) = &record.left
        && record.mended.is_none()
    {
        card.item(&left.why);
    }
    if off {
        card.line("Do not:");
        card.item("remove a lock that is not yours");
        card.item("close the breaker or a disconnect");
        if !lifted.is_empty() {
            card.item("connect lifted wires other than by the wire map");
        }
        card.item("take this card as proof that anything is dead: test before touch");
    }
    card.line("Local codes and licensed practice come first.");
    card.rule();
    let digits = head.groups();
    card.field("Trail", &digits[0]);
    card.line("full head hash:");
    for pair in digits.chunks(2) {
        card.blocks.push(CardBlock::Digits {
            text: pair.join(" "),
        });
    }
    card
}

fn found(card: &mut Card, book: &Book<'_>, record: &Record) {
    card.line("Found:");
    match &record.finding {
        Some(finding) if !finding.faults.is_empty() => {
            for name in &finding.faults {
                card.item(&fault(book, name));
            }
            for set in &finding.alike {
                let words: Vec<String> = set.iter().map(|f| fault(book, f)).collect();
                if !words.is_empty() {
                    card.item(&format!(
                        "or, no check tells them apart: {}",
                        words.join("; ")
                    ));
                }
            }
            for what in finding
                .unproven
                .iter()
                .filter(|u| u.why.contains("recheck"))
            {
                card.item(&format!("{}: recheck when cool", part_of(&what.fault)));
            }
        }
        _ => card.item(match record.conclusion.as_ref().map(|c| c.outcome) {
            Some(Outcome::NoFault) => "no fault in what was checked",
            Some(Outcome::NoneOfThese) => "something the sheet does not know: see the write-up",
            _ => "not proven: see the write-up",
        }),
    }
}

/// What was fitted, and what the repair came to.
fn repaired(card: &mut Card, mended: &Mended) {
    card.line("Fitted:");
    for fitted in &mended.fitted {
        card.item(&fitted.part);
    }
    if mended.fitted.is_empty() {
        card.item("nothing");
    }
    if let Some(end) = &mended.end {
        card.field("Repair", &end.proved.words().to_uppercase());
        for proof in end.proofs.iter().filter(|p| p.passed != Some(true)) {
            card.item(&proof.what);
        }
    }
}

fn part_of(fault: &str) -> &str {
    fault.split('.').next().unwrap_or(fault)
}

impl Card {
    fn rule(&mut self) {
        self.blocks.push(CardBlock::Rule);
    }

    fn line(&mut self, text: &str) {
        self.blocks.push(CardBlock::Line {
            text: text.to_owned(),
        });
    }

    fn item(&mut self, text: &str) {
        match self.blocks.last_mut() {
            Some(CardBlock::Items { items }) => items.push(text.to_owned()),
            _ => self.blocks.push(CardBlock::Items {
                items: vec![text.to_owned()],
            }),
        }
    }

    fn field(&mut self, name: &str, value: &str) {
        self.blocks.push(CardBlock::Field {
            name: name.to_owned(),
            value: value.to_owned(),
        });
    }

    /// As plain text, in lines of at most [`WIDTH`] characters.
    #[must_use]
    pub fn text(&self) -> String {
        let mut lines = Lines::default();
        for block in &self.blocks {
            match block {
                CardBlock::Headline { text } => {
                    lines.rule('=');
                    lines.wrapped(text);
                    lines.rule('=');
                }
                CardBlock::Rule => lines.rule('-'),
                CardBlock::Line { text } | CardBlock::Digits { text } => lines.wrapped(text),
                CardBlock::Items { items } => items.iter().for_each(|i| lines.item(i)),
                CardBlock::Field { name, value } => lines.field(name, value),
            }
        }
        lines.rule('=');
        lines.text
    }
}

/// The card's text as it grows.
#[derive(Default)]
struct Lines {
    text: String,
}

impl Lines {
    fn push(&mut self, line: &str) {
        self.text.push_str(line.trim_end());
        self.text.push('\n');
    }

    fn rule(&mut self, mark: char) {
        let line: String = std::iter::repeat_n(mark, WIDTH).collect();
        self.push(&line);
    }

    fn wrapped(&mut self, text: &str) {
        for line in wrap(text, WIDTH) {
            self.push(&line);
        }
    }

    fn item(&mut self, text: &str) {
        for (n, line) in wrap(text, WIDTH - 2).iter().enumerate() {
            self.push(&format!("{} {line}", if n == 0 { '-' } else { ' ' }));
        }
    }

    fn field(&mut self, name: &str, value: &str) {
        const NAME: usize = 12;
        for (n, line) in wrap(value, WIDTH - NAME).iter().enumerate() {
            let name = if n == 0 { name } else { "" };
            self.push(&format!("{name:NAME$}{line}"));
        }
    }
}
