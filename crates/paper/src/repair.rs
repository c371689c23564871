//! What the write-up says of a repair: what was fitted, what was measured before and after, and what it
//! came to.

use ohmtrail_trail::Hash;
use ohmtrail_trail::event::{Proof, Proved};
use ohmtrail_visit::{Book, Mended, Record};
use ohmtrail_words::{Said, Tongue};

use crate::document::{Block, Document, Table, Text};
use crate::text::fault;

/// The sections of a repair.
pub(crate) fn section(page: &mut Document, book: &Book<'_>, record: &Record, mended: &Mended) {
    let repair = &mended.repair;
    let t = page.tongue;
    page.section("repair-what");
    for name in &repair.faults {
        let named = [
            ("day", repair.day.as_str()),
            ("fault", &fault(t, book, name)),
        ];
        page.told("repair-found", &named);
    }
    page.item(Text::from(t.say("repair-trail") + " ").code(Hash(repair.trail).groups().join(" ")));
    page.item(match &repair.option {
        Some(option) => {
            let quoted = [&[option.clone()][..], &repair.quoted].concat().join(", ");
            t.tell("repair-approved", &[("option", &quoted)])
        }
        None => t.say("repair-no-approval"),
    });
    let proofs = record.proofs_said(book);
    fitted(page, book, record, mended, &proofs);
    let Some(end) = &mended.end else {
        return;
    };
    page.section("repair-came-to");
    page.line(Text::default().strong(t.say(match end.proved {
        Proved::Proven => "repair-proven",
        Proved::Monitor => "repair-monitor",
        Proved::LeftOff => "repair-left-off",
    })));
    for why in record.end_said(book) {
        page.item(why.marked(t));
    }
    page.blocks.push(Block::Table(Table {
        caption: t.say("repair-proofs"),
        heads: ["head-ask", "head-what", "head-outcome", "head-as-measured"]
            .map(|head| t.say(head))
            .into(),
        numbers: &[0],
        rows: end
            .proofs
            .iter()
            .zip(&proofs)
            .map(|(proof, said)| row(t, proof, said))
            .collect(),
    }));
}

fn fitted(
    page: &mut Document,
    book: &Book<'_>,
    record: &Record,
    mended: &Mended,
    proofs: &[(Said, Said)],
) {
    let t = page.tongue;
    page.section("repair-fitted");
    if mended.fitted.is_empty() {
        page.line(t.say("repair-fitted-nothing"));
    }
    for part in &mended.fitted {
        let stamp = part.stamp.iter();
        let stamp: Vec<String> = stamp.map(|s| format!("{} {}", s.key, s.value)).collect();
        let named = [
            ("stamp", stamp.join(", ")),
            ("words", record.fitted_said(book, part).marked(t)),
        ];
        let named = named
            .each_ref()
            .map(|(name, value)| (*name, value.as_str()));
        let against = t.tell("repair-against", &named);
        let part = Text::default().strong(part.part.as_str());
        page.item(part.plain(": ").plain(against));
    }
    page.section("repair-before-after");
    for before in &mended.repair.before {
        let named = [("day", mended.repair.day.as_str()), ("before", before)];
        page.told("repair-before", &named);
    }
    let kept = mended.end.iter().flat_map(|e| &e.proofs).zip(proofs);
    let after = kept.filter(|(p, _)| {
        p.what.contains("before it is connected") || p.what.contains("under load")
    });
    for (_, (what, words)) in after {
        let named = [("what", what.marked(t)), ("words", words.marked(t))];
        let named = named
            .each_ref()
            .map(|(name, value)| (*name, value.as_str()));
        page.told("repair-after", &named);
    }
}

fn row(t: Tongue, proof: &Proof, (what, words): &(Said, Said)) -> Vec<Text> {
    let outcome = match proof.passed {
        Some(true) => "proof-passed",
        Some(false) => "proof-failed",
        None => "proof-none",
    };
    let cells = [
        proof.ask.map_or("-".to_owned(), |n| n.to_string()),
        what.marked(t),
        t.say(outcome),
        words.marked(t),
    ];
    cells.map(Text::from).into()
}
