//! Wire ends that go back in a plain visit: each is held against the wire map before power is given again.

use std::collections::BTreeMap;

use ohmtrail_trail::event::{Act, Event, Request};
use ohmtrail_visit::{Book, Input};

use crate::bench::{Hands, bundle};

/// Of each wire end that went back whether it was seen there since, as power is given.
fn at_power(events: &[Event]) -> Vec<BTreeMap<String, bool>> {
    let mut seen = BTreeMap::new();
    let mut all = Vec::new();
    for event in events {
        match event {
            Event::PutBack { end, .. } => {
                seen.insert(end.clone(), false);
            }
            Event::WireChecked { end, .. } => {
                seen.insert(end.clone(), true);
            }
            Event::Acted(acted) if acted.act == Act::CloseBreaker => all.push(seen.clone()),
            _ => {}
        }
    }
    all
}

fn events(hands: &Hands<'_>) -> Vec<Event> {
    hands.entries.iter().map(|e| e.event.clone()).collect()
}

/// A unit with nothing wrong is left under power, after parts were read by themselves.
#[test]
fn power_is_given_with_every_end_seen_in_its_place() {
    let book = Book::new(bundle()).expect("opens");
    let mut hands = Hands::complaining(&book, &[], 3, "runs-poorly");
    hands.run();
    let powers = at_power(&events(&hands));
    let ends: usize = powers.iter().map(BTreeMap::len).sum();
    assert!(ends > 0, "no end was lifted before power was given");
    for power in powers {
        assert!(power.values().all(|seen| *seen), "{power:?}");
    }
    assert_eq!(hands.visit.record().unchecked().count(), 0);
}

fn to_a_check<'b>(book: &'b Book<'b>) -> (Hands<'b>, u32, String) {
    let mut hands = Hands::complaining(book, &[], 3, "runs-poorly");
    let check = |r: &Request| matches!(r.act(), Some(Act::CheckWire(_)));
    let asked = hands.until(check);
    let Some(Act::CheckWire(end)) = asked.request.act().cloned() else {
        panic!("{asked:?}");
    };
    (hands, asked.ask, end)
}

/// What is passed over is not asked again and again, and stays unchecked in the trail.
#[test]
fn an_end_that_is_not_looked_at_stays_unchecked() {
    let book = Book::new(bundle()).expect("opens");
    let (mut hands, ask, end) = to_a_check(&book);
    let why = "an invented reason".to_owned();
    hands.say(Input::Skip { ask, why }).expect("passed over");
    hands.run();
    let record = hands.visit.record();
    let left: Vec<&str> = record.unchecked().map(|w| w.end.as_str()).collect();
    assert_eq!(left, [end.as_str()]);
    let powers = at_power(&events(&hands));
    assert!(powers.iter().any(|p| p.get(&end) == Some(&false)));
    let again = hands.entries.iter().filter(|e| {
        matches!(&e.event, Event::Asked(a) if a.request.act() == Some(&Act::CheckWire(end.clone())))
    });
    assert_eq!(again.count(), 1);
}

/// Said by itself, with a photograph, it answers the ask.
#[test]
fn a_look_at_the_end_answers_the_open_ask() {
    let book = Book::new(bundle()).expect("opens");
    let (mut hands, ask, end) = to_a_check(&book);
    let photo = Some([7; 32]);
    let told = Input::WireChecked {
        end: end.clone(),
        photo,
    };
    hands.say(told).expect("seen");
    let record = hands.visit.record();
    assert_eq!(record.open, None);
    assert!(record.unchecked().all(|w| w.end != end));
    let asked = hands.settle().map(|a| a.ask);
    assert!(asked.is_none_or(|next| next > ask));
}

/// A live value where there should be none shuts the gates: the look goes with them.
#[test]
fn the_look_is_withdrawn_with_its_gates() {
    let book = Book::new(bundle()).expect("opens");
    let (mut hands, ask, _) = to_a_check(&book);
    hands
        .say(Input::Done {
            ask: None,
            act: Some(Act::CloseBreaker),
        })
        .expect("told");
    let next = hands.settle().expect("an ask");
    assert_ne!(next.ask, ask);
    let void = hands.entries.iter();
    let void = void.filter(|e| matches!(&e.event, Event::Voided { ask: Some(n), .. } if *n == ask));
    assert_eq!(void.count(), 1);
}
