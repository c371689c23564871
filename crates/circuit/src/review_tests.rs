//! Each thing that a review names, on the tests' small sheet made worse.

use super::*;
use crate::sheet::{BUILTIN, read_builtin, read_text};

const SMALL: &str = include_str!("../tests/small-sheet.toml");

fn notes(text: &str) -> Vec<String> {
    let sheet = read_text("small", text).unwrap_or_else(|e| panic!("{e}"));
    let review = review(&sheet).expect("it fits");
    review.notes.iter().map(ToString::to_string).collect()
}

/// The line of a text, from 1.
fn line(text: &str, wanted: &str) -> usize {
    1 + text.lines().position(|l| l == wanted).expect(wanted)
}

fn has(notes: &[String], place: usize, words: &str) {
    assert!(
        notes
            .iter()
            .any(|n| n.starts_with(&format!("small:{place}: ")) && n.contains(words)),
        "no note \"{words}\" at line {place}: {notes:#?}"
    );
}

#[test]
fn a_pole_that_nobody_reads_dead_is_named() {
    let before = notes(SMALL);
    assert!(
        before.iter().all(|n| !n.contains("must read dead")),
        "{before:?}"
    );
    let worse = SMALL.replace(
        "line = [\"disconnect.line-1\", \"disconnect.line-2\"]",
        "line = [\"disconnect.line-1\"]",
    );
    assert_ne!(worse, SMALL);
    has(&notes(&worse), line(&worse, "[dead]"), "\"supply.L2\"");
    // The load side of an open contactor is dead by itself: it does not stand for the line side.
    let worse = SMALL.replace(
        "load = [\"contactor.T1\", \"contactor.T2\"]",
        "load = [\"contactor.T1\"]",
    );
    assert_ne!(worse, SMALL);
    has(&notes(&worse), line(&worse, "[dead]"), "\"contactor.T2\"");
}

#[test]
fn a_lifted_set_and_checks_for_nothing_are_named() {
    let worse = format!(
        "{SMALL}
[[lift]]
name = \"idle\"
ends = [\"feed-1.1\"]

[[check]]
measure = \"volts-ac\"
points = [\"supply.G\", \"supply.G\"]
power = \"on\"
why = \"for nothing\"

[[check]]
measure = \"volts-ac\"
points = [\"contactor.A1\", \"supply.G\"]
power = \"on\"
why = \"at a coil that no wire reaches\"
"
    );
    let notes = notes(&worse);
    let last =
        |words| worse.lines().count() - worse.lines().rev().position(|l| l == words).expect(words);
    has(
        &notes,
        last("[[lift]]"),
        "no check needs the lifted set \"idle\"",
    );
    has(
        &notes,
        line(&worse, "points = [\"supply.G\", \"supply.G\"]") - 2,
        "same outcome under every fault",
    );
    has(
        &notes,
        last("[[check]]"),
        "\"contactor.A1\", which no wire reaches",
    );
}

/// The coil of the small sheet's contactor hangs in the air: with no check at it, its faults are as
/// good as none, and an open one is not told from a shorted one.
#[test]
fn faults_that_nothing_shows_are_named() {
    let sheet = read_text("small", SMALL).expect("sound");
    let review = review(&sheet).expect("it fits");
    let unseen: Vec<&str> = review
        .unseen
        .iter()
        .map(|f| sheet.faults[*f].name.as_str())
        .collect();
    for name in &unseen {
        assert!(
            review
                .notes
                .iter()
                .any(|n| n.what.contains(&format!("\"{name}\""))),
            "{name}"
        );
    }
    let together: Vec<usize> = review
        .alike
        .iter()
        .flatten()
        .chain(&review.unseen)
        .copied()
        .collect();
    let mut once = together.clone();
    once.sort_unstable();
    once.dedup();
    assert_eq!(once.len(), together.len(), "a fault is in two groups");
    assert!(review.alike.iter().all(|g| g.len() > 1));
}

/// Every built-in sheet keeps the rule that this program asks of its users' sheets.
#[test]
fn built_in_sheets_read_every_pole_dead() {
    for (name, _) in BUILTIN {
        let sheet = read_builtin(name).expect("built in").expect("sound");
        let mut notes = Vec::new();
        dead(&sheet, &mut notes);
        assert!(notes.is_empty(), "{name}: {notes:#?}");
    }
}
