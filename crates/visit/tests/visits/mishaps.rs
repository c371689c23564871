//! Repairs in which something goes otherwise than asked: none of them ends as proven.

use ohmtrail_circuit::meter::Ideal;
use ohmtrail_circuit::unit::{Circuit, Flaw};
use ohmtrail_core::reading::{Flags, Function};
use ohmtrail_trail::event::{
    Act, Asked, Event, PlateEntry, Power, Proof, Proved, RepairEnd, Request,
};
use ohmtrail_visit::{Book, Input, Stage, Taken};

use crate::bench::{Hands, bundle, show};
use crate::prove::{acts, begin, found, honest, plate, run};

fn book() -> Book<'static> {
    Book::new(bundle()).expect("the book opens")
}

fn repairing<'b>(book: &'b Book<'b>) -> Hands<'b> {
    begin(book, None, &[], found(book))
}

fn skip(asked: &Asked) -> Option<Input> {
    Some(Input::Skip {
        ask: asked.ask,
        why: "passed over".into(),
    })
}

/// Volts that must come before the work at these points.
fn at_work(asked: &Asked) -> bool {
    asked.why.contains("AC volts first")
}

fn act(asked: &Asked) -> Option<&Act> {
    match &asked.request {
        Request::Act { act } => Some(act),
        _ => None,
    }
}

fn proof<'e>(end: &'e RepairEnd, what: &str) -> &'e Proof {
    let mut proofs = end.proofs.iter();
    let found = proofs.find(|p| p.what.contains(what));
    found.unwrap_or_else(|| panic!("{what}: {:#?}", end.proofs))
}

/// What is fed from elsewhere stays live with the breaker open: the repair ends there, and the unit
/// counts neither as proven nor as under power.
#[test]
fn a_unit_that_stays_live_is_left_off() {
    let book = book();
    let mut hands = repairing(&book);
    let end = run(&mut hands, |_, asked| {
        let measured = asked.request.measurement().filter(|_| at_work(asked))?;
        Some(Input::Take(Taken {
            ask: Some(asked.ask),
            function: Some(Function::VoltsAc),
            points: Some(measured.points.clone()),
            shown: show(Function::VoltsAc, Ideal::Value(118.0)),
            flags: Flags::NONE,
            meter: None,
        }))
    });
    assert_eq!(end.proved, Proved::LeftOff, "{:?}", end.why);
    let acts = acts(&hands.entries);
    assert!(
        !acts
            .iter()
            .any(|a| matches!(a, Act::CloseBreaker | Act::Fit(_)))
    );
    assert_eq!(
        hands.visit.record().left.as_ref().expect("left").power,
        Power::Off
    );
}

/// The volts before a reading can be passed over, and the reading goes with them: the repair goes on
/// to an end, and does not end as proven.
#[test]
fn volts_that_are_passed_over_cost_the_readings_behind_them() {
    let book = book();
    let mut hands = repairing(&book);
    let end = run(&mut hands, |_, asked| {
        skip(asked).filter(|_| at_work(asked))
    });
    assert_ne!(end.proved, Proved::Proven);
}

/// The same for the readings of the new part by itself alone.
#[test]
fn a_new_part_that_was_not_read_is_not_proven() {
    let book = book();
    let mut hands = repairing(&book);
    let end = run(&mut hands, |hands, asked| {
        let fitted = acts(&hands.entries)
            .iter()
            .any(|a| matches!(a, Act::Fit(_)));
        let back = acts(&hands.entries)
            .iter()
            .any(|a| matches!(a, Act::PutBack(_)));
        skip(asked).filter(|_| fitted && !back && at_work(asked))
    });
    assert_ne!(end.proved, Proved::Proven);
    let own = proof(&end, "before it is connected");
    assert_eq!(own.passed, None, "{own:?}");
}

/// A proof under power is none without power: the ask goes when the breaker is opened under it.
#[test]
fn an_ask_under_power_goes_with_the_power() {
    let book = book();
    let mut hands = repairing(&book);
    crate::prove::stamp(&mut hands, "440");
    let asked = hands.until(|r| matches!(r, Request::Look { what } if what.contains("compressor")));
    hands.do_act(&Act::OpenBreaker);
    let opened = Input::Done {
        ask: None,
        act: Some(Act::OpenBreaker),
    };
    hands.say(opened).expect("told");
    let next = hands.settle().expect("an ask");
    assert_ne!(next.request, asked.request);
    assert_ne!(hands.visit.record().open, Some(asked.ask));
    let end = run(&mut hands, honest);
    assert_eq!(end.proved, Proved::Proven, "{:?}", end.why);
    // Each take that proves something under power was made under power.
    let record = hands.visit.record();
    for own in &end.proofs {
        let asked = own.ask.and_then(|ask| record.ask(ask));
        let live = asked.is_some_and(|a| {
            let measured = a.request.measurement();
            measured.is_some_and(|m| !m.function.injects())
        });
        let take = record.takes.iter().find(|t| t.take.ask == own.ask);
        if let Some(took) = take.filter(|_| live) {
            assert_eq!(took.take.state.power, Power::On, "{}", own.what);
        }
    }
}

/// What was proven on another wiring is proven again on this one.
#[test]
fn a_change_of_wiring_undoes_what_was_proven_before() {
    let book = book();
    let mut hands = repairing(&book);
    crate::prove::stamp(&mut hands, "440");
    let heats = |r: &Request| matches!(r, Request::Act { act } if *act == Act::CallHeating);
    hands.until(heats);
    let before = hands.entries.len();
    let wire = "comp-run.1".to_owned();
    for told in [
        Act::OpenBreaker,
        Act::Lift(vec![wire.clone()]),
        Act::PutBack(vec![wire]),
    ] {
        hands.do_act(&told);
        let told = Input::Done {
            ask: None,
            act: Some(told),
        };
        hands.say(told).expect("told");
    }
    let end = run(&mut hands, honest);
    assert_eq!(end.proved, Proved::Proven, "{:?}", end.why);
    let asked = hands.entries[before..]
        .iter()
        .filter_map(|e| match &e.event {
            Event::Asked(asked) => Some(asked.ask),
            _ => None,
        });
    let first = asked.min().expect("asks");
    for what in ["start sag", "the compressor runs", "supply under load"] {
        let own = proof(&end, what);
        assert!(own.ask.is_some_and(|ask| ask >= first), "{own:?}");
    }
}

/// A take that is struck takes what was proven with it; the unit is taken up again.
#[test]
fn a_struck_take_opens_the_repair_again() {
    let book = book();
    let mut hands = repairing(&book);
    let end = run(&mut hands, honest);
    let ask = proof(&end, "supply under load").ask;
    let mut takes = hands.visit.record().takes.iter();
    let take = takes.find(|t| t.take.ask == ask).expect("a take").take.take;
    let strike = Input::Strike {
        take,
        why: "on the wrong terminals".into(),
    };
    hands.say(strike).expect("struck");
    assert_ne!(hands.visit.stage(), Stage::Left);
    let end = run(&mut hands, honest);
    assert_eq!(end.proved, Proved::Proven, "{:?}", end.why);
    assert_ne!(proof(&end, "supply under load").ask, ask);
}

/// An end that nobody looked at is not proven by ohms.
#[test]
fn a_wire_that_was_not_looked_at_is_monitored() {
    let book = book();
    let mut hands = repairing(&book);
    let look = Act::CheckWire("comp-run.1".into());
    let end = run(&mut hands, |_, asked| {
        skip(asked).filter(|_| act(asked) == Some(&look))
    });
    assert_eq!(end.proved, Proved::Monitor);
    let own = proof(&end, "comp-run.1");
    assert!(
        own.passed.is_none() && own.words.contains("not looked at"),
        "{own:?}"
    );
}

/// Ends that ohms showed to be wrong are looked at again after they were put right.
#[test]
fn what_is_put_right_is_looked_at_again() {
    let book = book();
    let swap = ["comp-run.1", "comp-start.1"].map(|n| book.sheet.point(n).expect("an end"));
    let wrong = Circuit::flawed(book.sheet, vec![Flaw::Swap { ends: swap }]);
    let mut hands = begin(&book, Some(&wrong), &[], found(&book));
    let end = run(&mut hands, honest);
    assert_eq!(end.proved, Proved::Proven, "{:?}", end.why);
    let acts = acts(&hands.entries);
    let righted = acts.iter().position(|a| matches!(a, Act::PutRight(_)));
    let righted = righted.expect("put right");
    for end in ["comp-run.1", "comp-start.1"] {
        let look = Act::CheckWire(end.into());
        assert!(acts[..righted].contains(&look), "{end} before");
        assert!(acts[righted..].contains(&look), "{end} after");
    }
}

/// A part that no rating tells matches by its maker's number, or as what its maker names for it. Of a number that
/// nobody read, and of another one, nothing is proven.
#[test]
fn a_part_without_ratings_matches_by_its_makers_number() {
    let book = book();
    let mut parts = book.sheet.parts.iter();
    let odd = parts.find(|p| p.kind.name == "thermostat");
    let name = odd.expect("the sheet has a thermostat").name.as_str();
    let read_before = ["number", "T 1-20"];
    type Plate<'p> = &'p [[&'p str; 2]];
    let cases: [(Plate<'_>, Plate<'_>, Option<bool>, &str); 8] = [
        (&[], &[], None, "not known of the failed part"),
        (&[read_before], &[], None, "not known of this part"),
        (
            &[],
            &[["number", "T 1-20"]],
            None,
            "not known of the failed part",
        ),
        (
            &[read_before],
            &[["number", "t1-20"], ["volts", "24"]],
            Some(true),
            "the same",
        ),
        (
            &[["rla", "5 A"], read_before, ["volts", "24 V"]],
            &[["number", "T 1-20"]],
            Some(true),
            "the same",
        ),
        (&[read_before], &[["number", "U 3"]], None, "another number"),
        (
            &[read_before],
            &[["number", "U 3"], ["replaces", "T 1-10, T 1-20"]],
            Some(true),
            "names it",
        ),
        (
            &[],
            &[
                ["number", "U 3"],
                ["replaces", "T 1-20"],
                ["number-before", "T 1-20"],
            ],
            Some(true),
            "names it",
        ),
    ];
    for (before, stamped, passed, words) in cases {
        let mut repair = found(&book);
        repair.parts.insert(0, name.to_owned());
        repair
            .plates
            .extend(before.iter().map(|[key, value]| PlateEntry {
                part: name.to_owned(),
                key: (*key).into(),
                value: (*value).into(),
                unit: String::new(),
            }));
        let mut hands = begin(&book, None, &[], repair);
        for [key, value] in stamped {
            hands.say(plate(name, key, value, "")).expect("a plate");
        }
        let end = run(&mut hands, honest);
        let own = end.proofs.iter().find(|p| p.words.contains(words));
        let own = own.unwrap_or_else(|| panic!("{words} in {:#?}", end.proofs));
        assert_eq!(own.passed, passed, "{own:?}");
        let ended = if passed == Some(true) {
            Proved::Proven
        } else {
            Proved::Monitor
        };
        assert_eq!(end.proved, ended, "{stamped:?}: {:?}", end.why);
    }
}

/// Nothing is stamped on a wire: nothing here shows that it is as thick as the one before.
#[test]
fn a_wire_is_not_called_a_match() {
    let book = book();
    let mut repair = found(&book);
    repair.parts.push("cap-feed".into());
    let mut hands = begin(&book, None, &[], repair);
    let end = run(&mut hands, honest);
    assert_eq!(end.proved, Proved::Monitor, "{:?}", end.why);
    let mut proofs = end.proofs.iter();
    let own = proofs.find(|p| p.words.contains("nothing stamped on it"));
    assert_eq!(own.expect("its line").passed, None);
}

/// A frequency of either is no frequency: no capacitance is worked out from it.
#[test]
fn a_plate_of_two_frequencies_proves_no_capacitance() {
    let book = book();
    let ends = ["60", "50/60"].map(|hertz| {
        let mut hands = repairing(&book);
        let told = plate("unit", "hertz", hertz, "Hz");
        hands.say(told).expect("a plate");
        // The new part is stamped for both.
        let stamped = plate("run-cap", "hertz", "50/60", "Hz");
        hands.say(stamped).expect("a plate");
        run(&mut hands, honest)
    });
    let [one, end] = &ends;
    assert_eq!(one.proved, Proved::Proven, "{:?}", one.why);
    assert_eq!(end.proved, Proved::Monitor);
    let own = proof(end, "capacitance of run-cap.HERM under load");
    assert!(
        own.passed.is_none() && own.words.contains("no limit is known"),
        "{own:?}"
    );
}

/// Near the locked-rotor amperes a compressor does not run, whatever its rated-load amperes warn of.
#[test]
fn amperes_of_a_locked_rotor_leave_the_unit_off() {
    let book = book();
    let mut hands = repairing(&book);
    for (key, value) in [("rla", "5"), ("lra", "6")] {
        hands
            .say(plate("compressor", key, value, "A"))
            .expect("a plate");
    }
    let end = run(&mut hands, honest);
    assert_eq!(end.proved, Proved::LeftOff, "{:?}", end.why);
    assert_eq!(proof(&end, "amperes of the compressor").passed, Some(false));
}

/// Amperes that are passed over cost the capacitance that is made of them, and nothing else.
#[test]
fn a_clamp_that_is_passed_over_costs_its_capacitance_alone() {
    let book = book();
    let mut hands = repairing(&book);
    let end = run(&mut hands, |_, asked| {
        skip(asked).filter(|_| {
            asked
                .why
                .contains("first the amperes in the capacitor's lead")
        })
    });
    assert_eq!(end.proved, Proved::Monitor);
    let own = proof(&end, "capacitance of run-cap.HERM under load");
    assert!(
        own.passed.is_none() && own.words.contains("passed over"),
        "{own:?}"
    );
    assert_eq!(proof(&end, "in heating").passed, Some(true));
}
