//! Points of work: behind poles that were proved dead, AC volts come before ohms, farads and hands.

use ohmtrail_circuit::meter::Ideal;
use ohmtrail_core::reading::{Flags, Function};
use ohmtrail_trail::event::{Act, Event, Power, Request};
use ohmtrail_visit::{Book, Input, Stage, Taken};

use crate::bench::{Hands, bundle, show};
use crate::gates::no_dead_ask_with_a_gate_shut;

/// What the sheet does not know: these points are fed from elsewhere, breaker or not, all from one
/// conductor, so that no voltage stands between them.
pub const FED: [&str; 3] = ["run-cap.C", "run-cap.HERM", "run-cap.FAN"];
const FED_VOLTS: f64 = 118.0;

fn is_fed(point: &str) -> bool {
    FED.contains(&point)
}

fn at_fed(points: &[String; 2]) -> bool {
    points.iter().any(|p| is_fed(p))
}

/// What a meter shows of it between these points.
fn volts(points: &[String; 2]) -> f64 {
    if is_fed(&points[0]) == is_fed(&points[1]) {
        0.0
    } else {
        FED_VOLTS
    }
}

/// Answers from the bench, but for what is read at the fed point of a unit that is off.
pub fn answer(hands: &mut Hands<'_>, asked: &ohmtrail_trail::event::Asked) -> Input {
    let honest = hands.answer(asked);
    let Request::Measure {
        function,
        points,
        state,
    } = &asked.request
    else {
        return honest;
    };
    assert!(
        !(function.injects() && at_fed(points)),
        "{} asked for at a live conductor",
        function.name()
    );
    if state.power == Power::On || *function != Function::VoltsAc || !at_fed(points) {
        return honest;
    }
    Input::Take(Taken {
        ask: Some(asked.ask),
        function: Some(*function),
        points: Some(points.clone()),
        shown: show(*function, Ideal::Value(volts(points))),
        flags: Flags::NONE,
        meter: None,
    })
}

/// How often the fed point was read live with the unit off.
fn read_live(hands: &Hands<'_>) -> usize {
    let live = hands.entries.iter().filter(|e| match &e.event {
        Event::Took(take) => {
            take.state.power != Power::On && at_fed(&take.points) && take.value > 100.0
        }
        _ => false,
    });
    live.count()
}

/// A conductor that something unknown feeds is never measured in ohms and never touched: after it was
/// read live twice behind dead poles, the unit is left alone, and that is said.
#[test]
fn a_conductor_fed_from_elsewhere_is_left_alone() {
    let book = Book::new(bundle()).expect("opens");
    let mut hands = Hands::complaining(&book, &["run-cap.herm-low"], 3, "nothing-runs");
    let mut asks = 0;
    while let Some(asked) = hands.settle() {
        asks += 1;
        assert!(asks < 300, "the visit does not end");
        if let Request::Act {
            act: Act::Lift(ends) | Act::PutBack(ends),
        } = &asked.request
        {
            assert!(!ends.iter().any(|e| is_fed(e)), "touched: {ends:?}");
        }
        assert!(
            read_live(&hands) < 2 || !matches!(asked.request, Request::Measure { .. }),
            "whether it has power is not known: {asked:?}"
        );
        let input = answer(&mut hands, &asked);
        hands.say(input).expect("taken");
    }
    assert_eq!(hands.visit.stage(), Stage::Left);
    assert_eq!(read_live(&hands), 2, "read live so often");
    let left = hands.visit.record().left.clone().expect("left");
    assert_eq!(left.power, Power::Off);
    assert!(left.why.contains("it stays live"), "{}", left.why);
    let finding = hands.visit.record().finding.clone().expect("a finding");
    assert!(
        finding.faults.iter().all(|f| f == "run-cap.herm-low"),
        "{finding:?}"
    );
}

/// Ohms that nobody asked for count no more than those that were: volts come first there too.
#[test]
fn ohms_offered_before_volts_are_void() {
    let book = Book::new(bundle()).expect("opens");
    let mut hands = Hands::complaining(&book, &["run-cap.herm-low"], 3, "nothing-runs");
    let asked = hands.until(|request| {
        matches!(request, Request::Measure { function: Function::VoltsAc, points, state }
            if state.power == Power::Off && at_fed(points))
    });
    assert!(asked.why.contains("AC volts first"), "{}", asked.why);
    let Request::Measure { points, .. } = &asked.request else {
        panic!("a measurement");
    };
    let ohms = hands.take(Function::Ohms, points, None);
    hands.say(Input::Take(ohms)).expect("taken");
    let voided = hands.entries.iter().rev().find_map(|e| match &e.event {
        Event::Voided { why, .. } => Some(why.clone()),
        _ => None,
    });
    let why = voided.expect("void");
    assert!(why.contains("AC volts first"), "{why}");
    // The ask stands, and its answer opens the way.
    assert!(hands.step());
    no_dead_ask_with_a_gate_shut(&hands.entries);
}
