//! Ghost volts in a visit: asked about in the low-impedance mode where the meter has one, and never
//! taken for no voltage in the test for its absence.

use ohmtrail_circuit::sheet::{read_builtin, read_text};
use ohmtrail_core::reading::Function;
use ohmtrail_trail::event::{Event, Power, Request};
use ohmtrail_visit::{Book, Input, Inputs, SheetBundle};

use crate::bench::{Hands, joined};

/// A meter with a low-impedance mode joins as another one.
fn with_low_impedance(hands: &mut Hands<'_>) {
    let Input::MeterJoined {
        joined, accuracy, ..
    } = joined(2)
    else {
        panic!("a meter joins");
    };
    let inputs = Inputs {
        low_impedance_ohms: Some(3000.0),
        ..Inputs::default()
    };
    let joins = Input::MeterJoined {
        joined,
        accuracy,
        inputs,
    };
    hands.say(joins).expect("it joins");
}

fn asked_low(hands: &Hands<'_>) -> usize {
    let asks = hands.visit.record().asks.iter();
    asks.filter(|a| matches!(a.request, Request::LowImpedance { .. }))
        .count()
}

/// The call's wire floats beside the live one: on a meter of megohms it reads what a call would.
#[test]
fn a_ghost_of_a_call_is_told_from_a_call() {
    let sheet = read_builtin("electric-furnace-1ph")
        .expect("built in")
        .expect("reads");
    let bundle = SheetBundle::new(sheet).expect("compiles");
    let book = Book::new(&bundle).expect("opens");
    let wrong = ["thermostat.no-heat-call", "sequencer.heater-open"];
    let mut hands = Hands::new(&book, &wrong, 4);
    with_low_impedance(&mut hands);
    // It is volunteered: on that meter a call, and in words no more than that.
    let points = ["thermostat.W".to_owned(), "transformer.X2".to_owned()];
    let taken = hands.take(Function::VoltsAc, &points, None);
    hands.say(Input::Take(taken)).expect("taken");
    let verdict = hands.visit.record().takes[0].take.verdict.clone();
    assert_eq!(verdict.expect("a verdict").class.word(), "within");
    let finding = hands.run();
    assert!(
        asked_low(&hands) > 0,
        "the low-impedance mode is never asked for"
    );
    let mut faults = finding.faults.clone();
    faults.sort();
    assert_eq!(faults, ["sequencer.heater-open", "thermostat.no-heat-call"]);
}

/// A meter without that mode is never asked for it; a reading that shows the mode has it.
#[test]
fn a_mode_that_no_meter_has_is_not_asked_for() {
    let sheet = read_builtin("electric-furnace-1ph")
        .expect("built in")
        .expect("reads");
    let bundle = SheetBundle::new(sheet).expect("compiles");
    let book = Book::new(&bundle).expect("opens");
    let wrong = ["thermostat.no-heat-call", "sequencer.heater-open"];
    let mut hands = Hands::new(&book, &wrong, 4);
    let finding = hands.run();
    assert_eq!(asked_low(&hands), 0);
    // What it names is broken; it may name less.
    assert!(
        finding.faults.iter().all(|f| wrong.contains(&f.as_str())),
        "{finding:?}"
    );
    // One reading in that mode: the check is that of the mode.
    let mut hands = Hands::new(&book, &wrong, 4);
    let points = ["thermostat.W".to_owned(), "transformer.X2".to_owned()];
    let taken = hands.take_through(Function::VoltsAc, &points, None, true);
    hands.say(Input::Take(taken)).expect("taken");
    let took = &hands.visit.record().takes[0];
    let check = took.check.expect("a check of the sheet");
    assert!(book.sheet.checks[check].is_low_impedance());
    let verdict = took.take.verdict.as_ref().expect("a verdict");
    assert_eq!(verdict.class.word(), "absent");
}

/// The unit's feed runs beside a conductor that stays live: dead, it shows tens of volts on a meter
/// of megohms. That is no proof of absence, whatever the reason; into a low impedance it is read.
#[test]
fn ghost_volts_are_no_absence_of_voltage() {
    let text = r#"
        name = "beside-a-live-one"
        title = "An invented heat pump whose feed runs beside a live circuit"
        based-on = "split-heat-pump-1ph"
        [[cable]]
        name = "shared-conduit"
        wires = ["service-1", "feed-1"]
        length = "15 m"
        "#;
    let sheet = read_text("beside-a-live-one", text).unwrap_or_else(|e| panic!("{e}"));
    let bundle = SheetBundle::new(sheet).expect("compiles");
    let book = Book::new(&bundle).expect("opens");
    let mut hands = Hands::complaining(&book, &["run-cap.herm-open"], 4, "fan-only");
    let dead = |r: &Request| {
        matches!(r, Request::Measure { function: Function::VoltsAc, state, .. }
            if state.power == Power::Off)
    };
    let mut asked = hands.until(dead);
    // Poles to each other are tied by the crankcase heater: it is ground that they float above.
    let ground = |r: &Request| matches!(r, Request::Measure { points, .. } if points.iter().any(|p| p == "compressor.shell"));
    while !ground(&asked.request) {
        let input = hands.answer(&asked);
        hands.say(input).expect("taken");
        asked = hands.until(dead);
    }
    let input = hands.answer(&asked);
    let Input::Take(taken) = &input else {
        panic!("a take")
    };
    let shown = taken.shown.decimal().expect("a number").value();
    assert!((10.0..110.0).contains(&shown), "{shown} V");
    hands.say(input).expect("it is told");
    let alarmed = hands
        .entries
        .iter()
        .any(|e| matches!(&e.event, Event::Gate(g) if !g.open && g.why.contains("live value")));
    assert!(alarmed, "volts on a dead unit sound the alarm");
    assert!(hands.visit.alarm().is_some());
    // It is made dead anew, and the way out is said.
    let mut opened = None;
    for _ in 0..200 {
        let asked = hands.settle().expect("an ask");
        let input = match &asked.request {
            Request::Measure {
                function,
                points,
                state,
                ..
            } if state.power == Power::Off && !function.injects() => {
                assert!(asked.why.contains("low-impedance mode"), "{}", asked.why);
                Input::Take(hands.take_through(*function, points, Some(asked.ask), true))
            }
            _ => hands.answer(&asked),
        };
        hands.say(input).expect("taken");
        opened = hands.entries.iter().rev().find_map(|e| match &e.event {
            Event::Gate(gate) if gate.gate == "proved-dead" && gate.open => Some(gate.why.clone()),
            _ => None,
        });
        if opened.is_some() {
            break;
        }
    }
    let why = opened.expect("proved dead by readings into a low impedance");
    assert!(
        why.contains("into a low impedance") && why.contains("comes back"),
        "{why}"
    );
    assert!(!why.contains("safe"), "{why}");
}
