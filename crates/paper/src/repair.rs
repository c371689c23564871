//! What the write-up says of a repair: what was fitted, what was measured before and after, and what it
//! came to.

use ohmtrail_trail::Hash;
use ohmtrail_trail::event::{Proof, Proved};
use ohmtrail_visit::{Book, Mended};
use ohmtrail_words::Tongue;

use crate::document::{Block, Document, Table, Text};
use crate::text::fault;

/// The sections of a repair.
pub(crate) fn section(page: &mut Document, book: &Book<'_>, mended: &Mended) {
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
    fitted(page, mended);
    let Some(end) = &mended.end else {
        return;
    };
    page.section("repair-came-to");
    page.line(Text::default().strong(t.say(match end.proved {
        Proved::Proven => "repair-proven",
        Proved::Monitor => "repair-monitor",
        Proved::LeftOff => "repair-left-off",
    })));
    for why in &end.why {
        page.item(t.phrase_or_own(why));
    }
    page.blocks.push(Block::Table(Table {
        caption: t.say("repair-proofs"),
        heads: ["head-ask", "head-what", "head-outcome", "head-as-measured"]
            .map(|head| t.say(head))
            .into(),
        numbers: &[0],
        rows: end.proofs.iter().map(|p| row(t, p)).collect(),
    }));
}

fn fitted(page: &mut Document, mended: &Mended) {
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
            ("words", t.phrase_or_own(&part.words)),
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
    let proofs = mended.end.iter().flat_map(|e| &e.proofs);
    let after = proofs
        .filter(|p| p.what.contains("before it is connected") || p.what.contains("under load"));
    for proof in after {
        let named = [
            ("what", t.phrase_or_own(&proof.what)),
            ("words", t.phrase_or_own(&proof.words)),
        ];
        let named = named
            .each_ref()
            .map(|(name, value)| (*name, value.as_str()));
        page.told("repair-after", &named);
    }
}

fn row(t: Tongue, proof: &Proof) -> Vec<String> {
    let outcome = match proof.passed {
        Some(true) => "proof-passed",
        Some(false) => "proof-failed",
        None => "proof-none",
    };
    vec![
        proof.ask.map_or("-".to_owned(), |n| n.to_string()),
        t.phrase_or_own(&proof.what),
        t.say(outcome),
        t.phrase_or_own(&proof.words),
    ]
}
