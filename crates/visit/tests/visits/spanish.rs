//! A visit and a repair in Spanish: what is asked, refused and proven has words of its own there, and what the
//! trail keeps in English is known again.

use ohmtrail_trail::event::{Act, Asked, Request};
use ohmtrail_visit::{Book, Input};
use ohmtrail_words::{Said, Tongue, runs};

use crate::bench::{Hands, bundle};
use crate::prove::{begin, found, honest, run, stamp};

/// Nothing of it stands in English there.
pub(crate) fn in_spanish(said: &Said) {
    let text = said.marked(Tongue::Spanish);
    let english: Vec<&str> = runs(&text)
        .filter(|r| r.other.is_some())
        .map(|r| r.words)
        .collect();
    assert!(english.is_empty(), "{english:?} in {said}");
}

fn asked_in_spanish(hands: &Hands<'_>, asked: &Asked) {
    let why = hands.visit.why().expect("it says why");
    assert_eq!(why.to_string(), asked.why);
    in_spanish(&why);
}

fn ended_in_spanish(hands: &Hands<'_>) {
    let record = hands.visit.record();
    let mended = record.mended.as_ref().expect("a repair");
    let end = mended.end.as_ref().expect("an end");
    let proofs = record.proofs_said(hands.visit.book());
    assert_eq!(proofs.len(), end.proofs.len());
    for (kept, (what, words)) in end.proofs.iter().zip(&proofs) {
        assert_eq!(
            (what.to_string(), words.to_string()),
            (kept.what.clone(), kept.words.clone())
        );
        in_spanish(what);
        in_spanish(words);
    }
    let whys = record.end_said(hands.visit.book());
    assert!(whys.iter().map(Said::to_string).eq(end.why.iter().cloned()));
    whys.iter().for_each(in_spanish);
    for fitted in &mended.fitted {
        in_spanish(&record.fitted_said(hands.visit.book(), fitted));
    }
    let left = record.left_said(hands.visit.book()).expect("left");
    assert_eq!(left.to_string(), record.left.as_ref().expect("left").why);
    in_spanish(&left);
}

#[test]
fn a_visit_asks_in_spanish() {
    let book = Book::new(bundle()).expect("opens");
    let mut hands = Hands::complaining(&book, &["run-cap.fan-open"], 5, "fan-stopped");
    for _ in 0..1500 {
        let Some(asked) = hands.settle() else {
            return;
        };
        asked_in_spanish(&hands, &asked);
        let input = hands.answer(&asked);
        hands.say(input).expect("an honest answer is taken");
    }
    panic!("the visit does not end");
}

#[test]
fn a_repair_is_asked_for_and_proven_in_spanish() {
    let book = Book::new(bundle()).expect("opens");
    let mut hands = begin(&book, None, &[], found(&book));
    run(&mut hands, |hands, asked| {
        asked_in_spanish(hands, asked);
        honest(hands, asked)
    });
    ended_in_spanish(&hands);
}

/// Whatever can be passed over is: each reason stands as it was told.
#[test]
fn what_was_passed_over_is_said_in_spanish() {
    let book = Book::new(bundle()).expect("opens");
    let mut hands = begin(&book, None, &[], found(&book));
    run(&mut hands, |_, asked| {
        let passed = match &asked.request {
            Request::Act { act } => matches!(
                act,
                Act::CheckWire(_) | Act::CallHeating | Act::StartDefrost
            ),
            Request::AtStart { .. } | Request::Look { .. } => true,
            _ => false,
        };
        passed.then(|| Input::Skip {
            ask: asked.ask,
            why: "un motivo inventado".into(),
        })
    });
    ended_in_spanish(&hands);
}

#[test]
fn a_part_that_must_not_be_fitted_is_refused_in_spanish() {
    let book = Book::new(bundle()).expect("opens");
    let mut hands = begin(&book, None, &[], found(&book));
    let fit = |r: &Request| matches!(r.act(), Some(Act::Fit(_)));
    let asked = hands.until(fit);
    let done = || Input::Done {
        ask: Some(asked.ask),
        act: None,
    };
    let nothing = hands.say(done()).expect_err("nothing is known of it");
    in_spanish(&nothing.said());
    stamp(&mut hands, "370");
    let weak = hands.say(done()).expect_err("it stands at more");
    in_spanish(&weak.said());
}
