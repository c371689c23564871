//! The tag: a narrow card that hangs in the unit with the lock.

use ohmtrail_trail::Hash;
use ohmtrail_trail::event::{Outcome, Power};
use ohmtrail_visit::{Book, Mended, Record};
use ohmtrail_words::Tongue;

use crate::document::Text;
use crate::text::{day, fault, mark, moment, phrase, wrap};

/// The tag's width, in characters.
pub const WIDTH: usize = 38;

/// A tag before it is set.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Card {
    /// The language that it is in.
    pub tongue: Tongue,
    /// Who made it.
    pub by: String,
    /// The day that it is of, year, month and day.
    pub day: Option<(i32, u8, u8)>,
    /// What it says.
    pub blocks: Vec<CardBlock>,
}

/// A part of a tag.
#[derive(Debug, Clone, PartialEq, Eq)]
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
        text: Text,
    },
    /// A list.
    Items {
        /// Its items.
        items: Vec<Text>,
    },
    /// Something by its name.
    Field {
        /// The name.
        name: String,
        /// What it is.
        value: Text,
    },
    /// Digits of a hash.
    Digits {
        /// The digits.
        text: String,
    },
}

/// The tag of a visit, in a language. `head` is the head hash of the trail as it stands when the tag is
/// written.
#[must_use]
pub fn tag(book: &Book<'_>, record: &Record, head: &Hash, tongue: Tongue) -> Card {
    let t = tongue;
    let mut card = Card {
        tongue,
        by: String::new(),
        day: day(record.last_at),
        blocks: Vec::new(),
    };
    let off = record
        .left
        .as_ref()
        .map_or(record.power == Power::Off, |l| l.power == Power::Off);
    let locked = record.left.as_ref().map_or(record.locked, |l| l.locked);
    let headline = if off { "tag-left-off" } else { "tag-left-on" };
    card.blocks.push(CardBlock::Headline {
        text: t.say(headline),
    });
    if let Some(opened) = &record.opened {
        if opened.simulated {
            card.line(&t.say("tag-simulated"));
        }
        card.field(&t.say("tag-unit"), &opened.unit);
        card.field(&t.say("tag-work-order"), &opened.work_order);
        card.field(&t.say("tag-by"), &opened.technician);
        card.by.clone_from(&opened.technician);
    }
    card.field(&t.say("tag-date"), &moment(t, record.last_at));
    card.rule();
    match &record.mended {
        Some(mended) => repaired(&mut card, book, record, mended),
        None => found(&mut card, book, record),
    }
    card.rule();
    card.line(&t.say("tag-left"));
    card.item(&t.say(match (off, locked) {
        (true, true) => "tag-open-locked",
        (true, false) => "tag-open-not-locked",
        (false, _) => "tag-closed",
    }));
    let lifted = record.left.as_ref().map_or(&record.lifted, |l| &l.lifted);
    for end in lifted {
        let wire = record.wires.iter().rev().find(|w| w.end == *end);
        let (seen, from) = wire.map_or(("", ""), |w| (w.mark.as_str(), w.from.as_str()));
        let named = [
            ("end", end.as_str()),
            ("mark", &mark(t, book, seen)),
            ("from", from),
        ];
        card.item(&t.tell("tag-wire", &named));
    }
    for wire in record.unchecked() {
        let named = [
            ("end", wire.end.as_str()),
            ("mark", &mark(t, book, &wire.mark)),
            ("to", wire.back_on.as_deref().unwrap_or_default()),
        ];
        card.item(&t.tell("tag-wire-unchecked", &named));
    }
    if let Some(why) = record.left_said(book).filter(|_| record.mended.is_none()) {
        card.item(&why.marked(t));
    }
    if off {
        card.line(&t.say("tag-do-not"));
        card.item(&t.say("tag-no-lock"));
        card.item(&t.say("tag-no-power"));
        if !lifted.is_empty() {
            card.item(&t.say("tag-no-wires"));
        }
        card.item(&t.say("tag-no-proof"));
    }
    card.line(&t.say("tag-test-first"));
    card.line(&t.say("tag-codes"));
    card.rule();
    let digits = head.groups();
    card.field(&t.say("paper-trail"), &digits[0]);
    card.line(&t.say("tag-head-hash"));
    for pair in digits.chunks(2) {
        card.blocks.push(CardBlock::Digits {
            text: pair.join(" "),
        });
    }
    card
}

/// The language that a tag was hung in, by its headline; none if none of today's says that.
#[must_use]
pub fn tongue_of(hung: &str) -> Option<Tongue> {
    let says = |t: &Tongue| {
        let heads = ["tag-left-off", "tag-left-on"].map(|id| t.say(id));
        hung.lines()
            .take(3)
            .any(|line| heads.iter().any(|h| h == line))
    };
    Tongue::ALL.into_iter().find(says)
}

fn found(card: &mut Card, book: &Book<'_>, record: &Record) {
    let t = card.tongue;
    card.line(&t.say("tag-found"));
    match &record.finding {
        Some(finding) if !finding.faults.is_empty() => {
            for name in &finding.faults {
                card.item(&fault(t, book, name));
            }
            for set in &finding.alike {
                let words: Vec<String> = set.iter().map(|f| fault(t, book, f)).collect();
                if !words.is_empty() {
                    card.item(&t.tell("tag-alike", &[("faults", &words.join("; "))]));
                }
            }
            for what in finding
                .unproven
                .iter()
                .filter(|u| u.why.contains("recheck"))
            {
                let part = part_of(t, book, &what.fault);
                card.item(&t.tell("tag-recheck", &[("part", &part)]));
            }
        }
        _ => card.item(&t.say(match record.conclusion.as_ref().map(|c| c.outcome) {
            Some(Outcome::NoFault) => "tag-faultless",
            Some(Outcome::NoneOfThese) => "tag-unknown",
            _ => "tag-not-proven",
        })),
    }
}

/// What was fitted, and what the repair came to.
fn repaired(card: &mut Card, book: &Book<'_>, record: &Record, mended: &Mended) {
    let t = card.tongue;
    card.line(&t.say("tag-fitted"));
    for fitted in &mended.fitted {
        card.item(&fitted.part);
    }
    if mended.fitted.is_empty() {
        card.item(&t.say("tag-nothing"));
    }
    if let Some(end) = &mended.end {
        let came_to = phrase(t, end.proved.words());
        card.field(&t.say("tag-repair"), &came_to.to_uppercase());
        let proofs = end.proofs.iter().zip(record.proofs_said(book));
        for (_, (what, _)) in proofs.filter(|(p, _)| p.passed != Some(true)) {
            card.item(&what.marked(t));
        }
    }
}

/// The part of a fault, in words.
fn part_of(t: Tongue, book: &Book<'_>, fault: &str) -> String {
    let name = fault.split('.').next().unwrap_or(fault);
    let part = book.sheet.parts.iter().find(|part| part.name == name);
    part.map_or_else(
        || name.to_owned(),
        |part| book.sheet.said(&part.words).marked(t),
    )
}

impl Card {
    fn rule(&mut self) {
        self.blocks.push(CardBlock::Rule);
    }

    fn line(&mut self, text: &str) {
        self.blocks.push(CardBlock::Line { text: text.into() });
    }

    fn item(&mut self, text: &str) {
        match self.blocks.last_mut() {
            Some(CardBlock::Items { items }) => items.push(text.into()),
            _ => self.blocks.push(CardBlock::Items {
                items: vec![text.into()],
            }),
        }
    }

    fn field(&mut self, name: &str, value: &str) {
        self.blocks.push(CardBlock::Field {
            name: name.to_owned(),
            value: value.into(),
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
                CardBlock::Line { text } => lines.wrapped(&text.words()),
                CardBlock::Digits { text } => lines.wrapped(text),
                CardBlock::Items { items } => items.iter().for_each(|i| lines.item(&i.words())),
                CardBlock::Field { name, value } => lines.field(name, &value.words()),
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
