//! A visit killed at any entry goes on from its trail, with every gate shut, to the same finding.

use ohmtrail_trail::event::{Event, Request};
use ohmtrail_visit::{Book, Record, Stage};

use crate::bench::{Hands, bundle, go_on, joined};
use crate::gates::no_dead_ask_with_a_gate_shut;

#[test]
fn killed_at_every_entry_it_ends_with_the_same_finding() {
    let book = Book::new(bundle()).expect("the book opens");
    let faults = ["run-cap.fan-open"];
    let mut whole = Hands::complaining(&book, &faults, 4, "fan-stopped");
    let want = whole.run();
    assert_eq!(want.faults, faults);
    let asked = |events: &[ohmtrail_trail::event::Entry]| {
        let asks = events.iter().filter(|e| matches!(e.event, Event::Asked(_)));
        asks.count()
    };
    let mut more = 0;
    for cut in 2..whole.entries.len() {
        let mut again = go_on(&book, &whole.entries[..cut], &faults, 4);
        assert!(!again.visit.may_measure_dead(again.now()), "cut at {cut}");
        if again.visit.stage() == Stage::Left {
            continue;
        }
        again.say(joined(1)).expect("the meter joins again");
        let finding = again.run();
        assert_eq!(finding.faults, want.faults, "cut at {cut}");
        no_dead_ask_with_a_gate_shut(&again.entries);
        more += usize::from(asked(&again.entries) > asked(&whole.entries));
    }
    assert!(
        more > whole.entries.len() / 2,
        "only {more} had gates to ask for anew"
    );
}

#[test]
fn gates_are_never_read_back() {
    let book = Book::new(bundle()).expect("the book opens");
    let faults = ["run-cap.herm-open"];
    let mut hands = Hands::complaining(&book, &faults, 9, "fan-only");
    let injects =
        |r: &Request| matches!(r, Request::Measure { function, .. } if function.injects());
    hands.until(injects);
    assert!(hands.visit.may_measure_dead(hands.now()));
    let opened = hands
        .visit
        .record()
        .gates
        .get("proved-dead")
        .is_some_and(|g| g.open);
    assert!(opened, "the trail says that the gate is open");

    let mut again = go_on(&book, &hands.entries, &faults, 9);
    assert!(!again.visit.may_measure_dead(again.now()));
    again.say(joined(1)).expect("joins");
    let first = again.settle().expect("an ask");
    assert!(!injects(&first.request), "{first:?}");
    // Nor does any gate stand open for who reads the record.
    let gates = &again.visit.record().gates;
    assert!(gates.contains_key("discharged-to-measure"), "it was open");
    assert!(gates.values().all(|g| !g.open), "{gates:?}");
    // The dead ask that was open is withdrawn, and the trail says why.
    let withdrawn = again.entries.iter().any(
        |e| matches!(&e.event, Event::Voided { ask, why } if ask.is_some() && why.contains("started again")),
    );
    assert!(withdrawn);
    let told = again.entries.iter().any(
        |e| matches!(&e.event, Event::Gate(g) if !g.open && g.why.contains("never read back")),
    );
    assert!(told);
    again.until(injects);
    no_dead_ask_with_a_gate_shut(&again.entries);
}

#[test]
fn the_record_is_a_fold_of_the_entries_alone() {
    let book = Book::new(bundle()).expect("the book opens");
    let mut hands = Hands::complaining(&book, &["contactor.pole-1-open"], 6, "fan-only");
    hands.run();
    let folded = Record::of(&book, &hands.entries);
    assert_eq!(format!("{folded:?}"), format!("{:?}", hands.visit.record()));
}
