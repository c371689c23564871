//! Honest visits to units with one or two faults.

use std::collections::BTreeMap;

use ohmtrail_circuit::costs::Costs;
use ohmtrail_circuit::sheet::read_builtin;
use ohmtrail_core::class::Class;
use ohmtrail_core::reading::{Decimal, Flags, Function, Shown};
use ohmtrail_trail::event::{Act, Event, Finding, Power, Request};
use ohmtrail_visit::{Book, Input, SheetBundle, Taken, Visit};

use crate::bench::{Hands, bundle, joined, sheet};
use crate::gates::no_dead_ask_with_a_gate_shut;

fn visit(faults: &[&str], complaint: &str, seed: u64) -> (Finding, Vec<Event>) {
    let book = Book::new(bundle()).expect("the book opens");
    let mut hands = Hands::complaining(&book, faults, seed, complaint);
    let finding = hands.run();
    no_dead_ask_with_a_gate_shut(&hands.entries);
    let left = hands.visit.record().left.clone().expect("left");
    if !finding.faults.is_empty() {
        assert_eq!((left.power, left.locked), (Power::Off, true), "{left:?}");
    }
    let events = hands.entries.into_iter().map(|e| e.event).collect();
    (finding, events)
}

/// The finding is this set, or one that no check tells from it.
fn is(finding: &Finding, faults: &[&str]) -> bool {
    let sorted = |set: &[String]| {
        let mut set = set.to_vec();
        set.sort();
        set
    };
    let mut want: Vec<String> = faults.iter().map(|f| (*f).to_owned()).collect();
    want.sort();
    sorted(&finding.faults) == want || finding.alike.iter().any(|set| sorted(set) == want)
}

#[test]
fn each_of_these_faults_is_found() {
    for (faults, complaint) in [
        (&["contactor.coil-open"][..], "nothing-runs"),
        (&["breaker.tripped"], "nothing-runs"),
        (&["compressor.grounded"], "breaker-trips"),
        (&["reversing-valve.shorted"], "nothing-runs"),
        (&["fan-motor.seized"], "fan-stopped"),
        (&["compressor.protector-failed"], "fan-only"),
        (&["compressor.overheated"], "fan-only"),
    ] {
        let (finding, _) = visit(faults, complaint, 7);
        assert!(is(&finding, faults), "{faults:?}: {finding:#?}");
        assert!(finding.p >= 0.9, "{faults:?}: {}", finding.p);
        assert!(!finding.evidence.is_empty(), "{faults:?}: no evidence");
    }
}

#[test]
fn a_healthy_unit_condemns_nothing() {
    let (finding, _) = visit(&[], "runs-poorly", 3);
    assert!(finding.faults.is_empty(), "{finding:#?}");
}

/// The everyday case: both sections of the capacitor failed, both motors tripped on their
/// overloads. The sections are named, the overloads explained, no motor is condemned.
#[test]
fn both_sections_failed_and_both_overloads_explained() {
    let faults = ["run-cap.herm-open", "run-cap.fan-open"];
    let (finding, events) = visit(&faults, "nothing-runs", 11);
    assert!(is(&finding, &faults), "{finding:#?}");
    let named = |part: &str| {
        finding.consequences.iter().any(|c| {
            c.starts_with(&format!(
                "{part}.overload-open-from-heat: follows from run-cap."
            ))
        })
    };
    assert!(
        named("compressor") && named("fan-motor"),
        "{:?}",
        finding.consequences
    );
    let cause = "run-cap.fan-open: follows from run-cap.herm-open";
    assert!(
        finding.consequences.iter().any(|c| c == cause),
        "{:?}",
        finding.consequences
    );
    for set in finding.alike.iter().chain([&finding.faults]) {
        assert!(
            set.iter()
                .all(|f| !f.starts_with("compressor.") && !f.starts_with("fan-motor."))
        );
    }
    for part in ["compressor", "fan-motor"] {
        let recheck = finding
            .unproven
            .iter()
            .any(|u| u.fault.starts_with(part) && u.why.contains("recheck the windings when cool"));
        let cold = events.iter().any(|e| {
            matches!(e, Event::Took(t) if t.state.cooled
                && t.points.iter().any(|p| p.starts_with(if part == "compressor" { "comp-" } else { "fan-" })))
        });
        assert!(
            recheck || cold,
            "{part}: neither proven nor to be rechecked"
        );
    }
    // Section takes are judged against the marking.
    let marked = events.iter().any(|e| {
        matches!(e, Event::Took(t) if t.verdict.as_ref().is_some_and(|v| v.source.contains("marking")))
    });
    assert!(marked);
}

/// A part that can be measured by itself is, before it is condemned: a section that does not
/// conduct is read in farads with its wires off, though the clamp told the tale.
#[test]
fn a_part_is_measured_by_itself_before_it_is_condemned() {
    for (fault, point) in [
        ("run-cap.herm-open", "run-cap.HERM"),
        ("run-cap.fan-low", "run-cap.FAN"),
    ] {
        for seed in [12, 13] {
            let (finding, events) = visit(&[fault], "nothing-runs", seed);
            assert!(is(&finding, &[fault]), "{finding:#?}");
            let carries = |e: &Event| {
                matches!(e, Event::Took(t) if t.function == Function::Farads
                    && t.points.iter().any(|p| p == point)
                    && t.ask.is_some_and(|ask| finding.evidence.contains(&ask)))
            };
            assert!(
                events.iter().any(carries),
                "{fault}: {:?}",
                finding.evidence
            );
        }
    }
}

/// What hangs on a tripped breaker is read to ground before it is restored.
#[test]
fn a_tripped_breaker_is_not_restored_unchecked() {
    let book = Book::new(bundle()).expect("the book opens");
    let mut hands = Hands::complaining(&book, &["compressor.overheated"], 8, "nothing-runs");
    hands
        .say(Input::Look {
            ask: None,
            what: Some("breaker.tripped".into()),
            answer: true,
        })
        .expect("a look of the sheet");
    hands.run();
    let (mut checked, mut restored) = (0, 0);
    for entry in &hands.entries {
        match &entry.event {
            Event::Took(t)
                if t.function == Function::Ohms
                    && t.points[1] == "compressor.shell"
                    && t.points[0].starts_with("contactor.") =>
            {
                checked += 1;
            }
            Event::Acted(a) if a.act == Act::CloseBreaker => {
                let all = sheet().dead.load.iter().flatten().count();
                assert!(checked >= all, "restored after {checked} checks of {all}");
                restored += 1;
            }
            _ => {}
        }
    }
    assert!(restored > 0, "nothing was restored");
}

/// A protector is condemned only on takes with its motor cold.
#[test]
fn a_failed_protector_waits_for_the_cold() {
    let (finding, events) = visit(&["compressor.protector-failed"], "fan-only", 5);
    assert!(
        is(&finding, &["compressor.protector-failed"]),
        "{finding:#?}"
    );
    let waited = events
        .iter()
        .position(|e| matches!(e, Event::Acted(a) if a.act == Act::WaitCool));
    let found = events.iter().position(|e| matches!(e, Event::Found(_)));
    assert!(waited.is_some() && waited < found);
}

/// So is a three-phase one's, and on two takes of one pair: one probe that does not touch looks
/// the same.
#[test]
fn a_failed_protector_of_three_phases_is_read_twice_when_cold() {
    let sheet = read_builtin("rooftop-3ph").expect("the sheet is there");
    let bundle = SheetBundle::new(sheet.expect("it is right")).expect("it compiles");
    let book = Book::new(&bundle).expect("the book opens");
    let mut named = 0;
    for seed in 0..4 {
        let mut hands = Hands::new(&book, &["compressor.protector-failed"], seed);
        let finding = hands.run();
        assert!(
            finding
                .faults
                .iter()
                .all(|f| f.ends_with("protector-failed")),
            "unit {seed}: {finding:#?}"
        );
        let mut cold: BTreeMap<[String; 2], usize> = BTreeMap::new();
        let found = hands
            .entries
            .iter()
            .position(|e| matches!(e.event, Event::Found(_)));
        for entry in &hands.entries[..found.expect("a finding")] {
            if let Event::Took(take) = &entry.event
                && take.state.cooled
                && take.function == Function::Ohms
                && take
                    .verdict
                    .as_ref()
                    .is_some_and(|v| v.class == Class::Open)
            {
                *cold.entry(take.points.clone()).or_default() += 1;
            }
        }
        if !finding.faults.is_empty() {
            let most = cold.values().max();
            assert!(most >= Some(&2), "unit {seed}: condemned on {cold:?}");
            named += 1;
        }
    }
    assert!(named >= 3, "named in {named} of 4");
}

/// The rule stands beside the costs: even one to whom a wrong part costs nothing condemns no
/// compressor on a hot open overload.
#[test]
fn no_cost_is_low_enough_to_condemn_a_hot_compressor() {
    let book = Book::new(bundle()).expect("the book opens");
    let mut careless = bundle().sheet.clone();
    careless.costs = Costs::builtin()
        .with("none", "callback = 0\n[wrong]\npsc-compressor = 0")
        .expect("costs");
    let careless = SheetBundle::new(careless).expect("it compiles");
    let careless = Book::new(&careless).expect("the book opens");
    let mut named = 0;
    for fault in [
        "compressor.protector-failed",
        "compressor.overheated",
        "run-cap.herm-open",
    ] {
        for seed in 0..6 {
            let mut hands = Hands::new(&book, &[fault], seed);
            hands.until(|r| matches!(r, Request::Measure { function, .. } if function.injects()));
            let open = hands.visit.record().open.expect("an ask is open");
            let skip = Input::Skip {
                ask: open,
                why: "later".into(),
            };
            hands.say(skip).expect("skipped");
            for end in hands.visit.record().lifted.clone() {
                hands.do_act(&Act::PutBack(vec![end.clone()]));
                let back = Input::PutBack { end, photo: None };
                hands.say(back).expect("a wire end");
            }
            for end in ["comp-common.1", "comp-run.1", "comp-start.1"] {
                hands.do_act(&Act::Lift(vec![end.into()]));
                let lift = Input::Lifted {
                    end: end.into(),
                    mark: "black".into(),
                    photo: None,
                };
                hands.say(lift).expect("a wire end");
            }
            // The hot pattern: common open to both windings, start to run whole.
            for (a, b) in [("common", "run"), ("common", "start"), ("start", "run")] {
                let whole = Shown::Value(Decimal::new(398, -2));
                hands.volts_first([&format!("comp-{a}.1"), &format!("comp-{b}.1")]);
                let taken = Taken {
                    function: Some(Function::Ohms),
                    points: Some([format!("comp-{a}.1"), format!("comp-{b}.1")]),
                    shown: if a == "common" {
                        Shown::Overload
                    } else {
                        whole
                    },
                    flags: Flags::RELATIVE,
                    ..Taken::default()
                };
                hands.say(Input::Take(taken)).expect("recorded");
                let take = hands.visit.record().takes.last().expect("a take");
                assert!(
                    take.take.verdict.is_some() && take.check.is_some(),
                    "{take:?}"
                );
            }
            // The visit goes on in the hands of one who is easily satisfied.
            hands.visit = Visit::replay(&careless, &hands.entries).expect("its own trail");
            hands.say(joined(1)).expect("joins again");
            let finding = hands.run();
            let condemned = finding.faults.iter().any(|f| {
                f.starts_with("compressor.")
                    && !["overheated", "seized", "grounded"]
                        .iter()
                        .any(|k| f.ends_with(k))
            });
            let cold = hands.entries.iter().any(|e| {
                matches!(&e.event, Event::Took(t) if t.state.cooled && t.verdict.is_some()
                    && t.points[0] == "comp-common.1")
            });
            assert!(
                !condemned || cold,
                "{fault} in unit {seed}: {:?}",
                finding.faults
            );
            named += usize::from(condemned);
        }
    }
    assert!(named > 0, "no protector was named, cold or not");
}

#[test]
fn every_ask_says_why_and_no_word_says_safe() {
    let (_, events) = visit(&["run-cap.fan-open"], "fan-stopped", 2);
    let mut asked = 0;
    for event in &events {
        if let Event::Asked(ask) = event {
            assert!(ask.why.len() > 8 && ask.minutes > 0.0, "{ask:?}");
            asked += 1;
        }
        let words = format!("{event:?}").to_lowercase();
        assert!(
            !words.contains("safe to") && !words.contains("is safe"),
            "{words}"
        );
    }
    assert!(asked > 10);
    // One at a time: every ask is closed before the next.
    let mut open = None;
    for event in &events {
        match event {
            Event::Asked(a) => {
                assert_eq!(open, None, "{a:?} while another is open");
                open = Some(a.ask);
            }
            Event::Looked { ask, .. } | Event::Voided { ask, .. } if *ask == open => open = None,
            Event::Took(t) if t.ask == open => open = None,
            Event::Acted(a) if a.ask == open => open = None,
            Event::Skipped { ask, .. } if Some(*ask) == open => open = None,
            _ => {}
        }
    }
    let acts = |e: &&Event| matches!(e, Event::Asked(a) if matches!(&a.request, Request::Act { act: Act::LockAndTag }));
    assert!(events.iter().filter(acts).count() >= 1);
}
