//! What the write-up says of a repair: what was fitted, what was measured before and after, and what it
//! came to.

use ohmtrail_trail::Hash;
use ohmtrail_trail::event::{Proof, Proved};
use ohmtrail_visit::{Book, Mended};

use crate::document::{Block, Document, Table, Text};
use crate::text::fault;

/// The sections of a repair.
pub(crate) fn section(page: &mut Document, book: &Book<'_>, mended: &Mended) {
    let repair = &mended.repair;
    page.section("What was repaired");
    for name in &repair.faults {
        page.item(format!("Found on {}: {}", repair.day, fault(book, name)));
    }
    page.item(
        Text::from("By the trail of that visit, head hash ")
            .code(Hash(repair.trail).groups().join(" ")),
    );
    page.item(match &repair.option {
        Some(option) if repair.quoted.is_empty() => format!("Approved: option {option}"),
        Some(option) => format!("Approved: option {option}, {}", repair.quoted.join(", ")),
        None => "No approval is in the trail of that visit".to_owned(),
    });
    fitted(page, mended);
    let Some(end) = &mended.end else {
        return;
    };
    page.section("What the repair came to");
    page.line(Text::default().strong(match end.proved {
        Proved::Proven => "Proven: everything that the plan asks for was measured, and passed.",
        Proved::Monitor => "Monitor: nothing failed, and this is not proven yet:",
        Proved::LeftOff => "Left off: the unit is not to be used before this is put right:",
    }));
    for why in &end.why {
        page.item(why.as_str());
    }
    page.blocks.push(Block::Table(Table {
        caption: "Every proof, in the order they were made".to_owned(),
        heads: vec!["ask", "what", "outcome", "as measured"],
        numbers: &[0],
        rows: end.proofs.iter().map(row).collect(),
    }));
}

fn fitted(page: &mut Document, mended: &Mended) {
    page.section("Fitted");
    if mended.fitted.is_empty() {
        page.line("Nothing was fitted.");
    }
    for part in &mended.fitted {
        let stamp = part.stamp.iter();
        let stamp: Vec<String> = stamp.map(|s| format!("{} {}", s.key, s.value)).collect();
        page.item(Text::default().strong(part.part.as_str()).plain(format!(
            ": {}. Against the one that failed: {}",
            stamp.join(", "),
            part.words
        )));
    }
    page.section("Before and after");
    for before in &mended.repair.before {
        page.item(format!("Before, on {}: {before}", mended.repair.day));
    }
    let proofs = mended.end.iter().flat_map(|e| &e.proofs);
    let after = proofs
        .filter(|p| p.what.contains("before it is connected") || p.what.contains("under load"));
    for proof in after {
        page.item(format!("After: {}: {}", proof.what, proof.words));
    }
}

fn row(proof: &Proof) -> Vec<String> {
    let outcome = match proof.passed {
        Some(true) => "passed",
        Some(false) => "failed",
        None => "not proven",
    };
    vec![
        proof.ask.map_or("-".to_owned(), |n| n.to_string()),
        proof.what.clone(),
        outcome.to_owned(),
        proof.words.clone(),
    ]
}
