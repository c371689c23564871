//! Repairs: what an earlier visit found is replaced, put back and proven, or it is said why not.

use std::sync::OnceLock;

use ohmtrail_circuit::bench::Bench;
use ohmtrail_circuit::rewired::Rewired;
use ohmtrail_circuit::unit::{Circuit, Flaw};
use ohmtrail_core::class::Class;
use ohmtrail_core::reading::Function;
use ohmtrail_trail::event::{
    Act, Asked, Entry, Event, PlateEntry, Power, Proved, Repair, RepairEnd, Request,
};
use ohmtrail_visit::{Book, Input, Refusal, Stage, Visit, repair};

use crate::bench::{Hands, bundle, done, joined, opened_on};
use crate::gates::no_dead_ask_with_a_gate_shut;

/// The head of the trail before, as these tests name it.
const HEAD: [u8; 32] = [7; 32];
const SEED: u64 = 6;
/// The unit with its new part, as it is drawn.
const NEW: u64 = 2;

/// What the everyday visit left to do.
pub fn found(book: &Book<'_>) -> Repair {
    static FOUND: OnceLock<Repair> = OnceLock::new();
    let found = FOUND.get_or_init(|| {
        let faults = ["run-cap.herm-open", "run-cap.fan-open"];
        let mut hands = Hands::complaining(book, &faults, SEED, "nothing-runs");
        let finding = hands.run();
        assert_eq!(finding.faults, faults);
        let early = repair(book, hands.visit.record(), HEAD, &[]);
        assert!(early.is_err_and(|e| e.to_string().contains("goes on")));
        hands.say(Input::Tagged("left off".into())).expect("left");
        hands.say(Input::Close).expect("ends");
        repair(book, hands.visit.record(), HEAD, &[]).expect("something to repair")
    });
    found.clone()
}

pub fn plate(part: &str, key: &str, value: &str, unit: &str) -> Input {
    Input::Plate(PlateEntry {
        part: part.into(),
        key: key.into(),
        value: value.into(),
        unit: unit.into(),
    })
}

/// The repair begins, on a unit with these faults and flaws left.
pub fn begin<'b>(
    book: &'b Book<'b>,
    wrong: Option<&'b Circuit<'b>>,
    faults: &[&str],
    repair: Repair,
) -> Hands<'b> {
    let mut hands = Hands::new(book, faults, NEW);
    // Opened anew: a repair is told of before anything else.
    hands.visit = Visit::new(book);
    hands.entries.clear();
    let opened = opened_on(book.sheet);
    hands.say(Input::Open(opened)).expect("opens");
    if let Some(wrong) = wrong {
        let right = std::mem::replace(&mut hands.bench, Bench::new(wrong, NEW, &[]));
        hands.right = Some(right);
    }
    for bench in std::iter::once(&mut hands.bench).chain(&mut hands.right) {
        done(bench, book.sheet, &Act::OpenBreaker);
        let off = repair.wires.iter().filter(|w| w.back_on.is_none());
        done(
            bench,
            book.sheet,
            &Act::Lift(off.map(|w| w.end.clone()).collect()),
        );
    }
    hands.say(Input::Repair(repair)).expect("a repair");
    hands.say(joined(1)).expect("joins");
    hands
}

pub fn stamp(hands: &mut Hands<'_>, volts: &str) {
    for (key, value, unit) in [
        ("capacitance-herm", "35", "uF"),
        ("capacitance-fan", "5", "uF"),
        ("tolerance", "6", "%"),
        ("rated-volts", volts, "V"),
        ("duty", "run", ""),
    ] {
        hands
            .say(plate("run-cap", key, value, unit))
            .expect("a plate");
    }
}

/// To the end, with what is stamped on the right part told when it is asked for; `odd` may answer
/// an ask otherwise.
pub fn run<'b>(
    hands: &mut Hands<'b>,
    odd: impl Fn(&Hands<'b>, &Asked) -> Option<Input>,
) -> RepairEnd {
    for _ in 0..600 {
        let Some(asked) = hands.settle() else {
            assert_eq!(hands.visit.stage(), Stage::Left);
            no_dead_ask_with_a_gate_shut(&hands.entries);
            no_power_with_an_end_off(&hands.entries);
            let mended = hands.visit.record().mended.as_ref().expect("a repair");
            return mended.end.clone().expect("an end");
        };
        if let Some(input) = odd(hands, &asked) {
            hands.say(input).expect("taken");
            continue;
        }
        if matches!(&asked.request, Request::Act { act: Act::Fit(_) }) {
            stamp(hands, "440");
        }
        let input = hands.answer(&asked);
        hands.say(input).expect("an honest answer is taken");
    }
    panic!("the repair does not end");
}

pub fn honest(_: &Hands<'_>, _: &Asked) -> Option<Input> {
    None
}

pub fn acts(entries: &[Entry]) -> Vec<Act> {
    let acts = entries.iter().filter_map(|e| match &e.event {
        Event::Acted(acted) => Some(acted.act.clone()),
        _ => None,
    });
    acts.collect()
}

/// By another reader than the plan: the breaker is closed only with every end back and looked at.
fn no_power_with_an_end_off(entries: &[Entry]) {
    let mut off: Vec<String> = Vec::new();
    for entry in entries {
        match &entry.event {
            Event::Repair(repair) => {
                let lifted = repair.wires.iter().filter(|w| w.back_on.is_none());
                off.extend(lifted.map(|w| w.end.clone()));
            }
            Event::Lifted { end, .. } => off.push(end.clone()),
            Event::PutBack { end, .. } => off.retain(|e| e != end),
            Event::Acted(acted) if acted.act == Act::CloseBreaker => {
                assert!(off.is_empty(), "power with {off:?} off");
            }
            _ => {}
        }
    }
}

#[test]
fn the_everyday_repair_is_proven() {
    let book = Book::new(bundle()).expect("the book opens");
    let mut repair = found(&book);
    repair.option = Some("a".into());
    repair.quoted = vec!["an invented capacitor".into()];
    let off: Vec<String> = repair.wires.iter().map(|w| w.end.clone()).collect();
    assert!(off.contains(&"comp-run.1".to_owned()), "{off:?}");
    let mut hands = begin(&book, None, &[], repair);
    let end = run(&mut hands, honest);
    assert_eq!(end.proved, Proved::Proven, "{:#?}", end.why);
    let record = hands.visit.record();
    assert_eq!(record.left.as_ref().expect("left").power, Power::On);
    assert_eq!(
        record.mended.as_ref().expect("a repair").fitted[0].matches,
        Some(true)
    );
    // What the issue of a repair must show.
    for what in [
        "replaced by one that matches",
        "compressor section against its marking",
        "resistance",
        "start sag",
        "inrush",
        "the compressor runs",
        "the outdoor fan motor runs",
        "supply under load",
        "control volts at the coil",
        "drop across pole 1",
        "drop across pole 2",
        "amperes of the compressor",
        "amperes of the outdoor fan motor",
        "capacitance of run-cap.HERM under load",
        "capacitance of run-cap.FAN under load",
        "in heating",
        "in a defrost",
    ] {
        let proof = end.proofs.iter().find(|p| p.what.contains(what));
        assert_eq!(
            proof.and_then(|p| p.passed),
            Some(true),
            "{what}: {proof:?}"
        );
    }
    // What is said of the unit under power was asked for under power.
    let supply = end.proofs.iter().find(|p| p.what == "supply under load");
    let ask = supply.and_then(|p| p.ask).expect("an ask");
    let asked = record.ask(ask).and_then(|a| a.request.measurement());
    assert_eq!(asked.expect("a measurement").state.power, Power::On);
    for proof in &end.proofs {
        let ask = proof.ask.unwrap_or_else(|| panic!("{}", proof.what));
        assert!(record.ask(ask).is_some(), "{}", proof.what);
    }
    // Each end is put back by itself and looked at before power, in this order.
    let acts = acts(&hands.entries);
    let at = |act: &Act| acts.iter().position(|a| a == act).expect("done");
    let power = at(&Act::CloseBreaker);
    for end in &off {
        let seen = at(&Act::CheckWire(end.clone()));
        assert!(seen < power, "{end}");
    }
    assert!(at(&Act::Fit("run-cap".into())) < power);
    assert!(at(&Act::CallOff) < power && power < at(&Act::CallOn));
}

#[test]
fn a_part_that_does_not_match_is_not_fitted() {
    let book = Book::new(bundle()).expect("the book opens");
    let mut hands = begin(&book, None, &[], found(&book));
    let fits = |r: &Request| matches!(r, Request::Act { act: Act::Fit(_) });
    let asked = hands.until(fits);
    let done = || Input::Done {
        ask: Some(asked.ask),
        act: None,
    };
    let nothing = hands.say(done()).expect_err("nothing is stamped");
    assert!(nothing.to_string().contains("stamped"), "{nothing}");
    stamp(&mut hands, "370");
    let weak = hands.say(done()).expect_err("too few volts");
    assert!(matches!(weak, Refusal::Match(_)), "{weak}");
    assert!(weak.to_string().contains("rated volts"), "{weak}");
    assert_eq!(hands.visit.record().open, Some(asked.ask));
    // The right one is not on the truck: the unit stays off.
    let ask = asked.ask;
    let skip = Input::Skip {
        ask,
        why: "none on the truck".into(),
    };
    hands.say(skip).expect("skips");
    let end = run(&mut hands, honest);
    assert_eq!(end.proved, Proved::LeftOff);
    assert!(
        end.why.join(" ").contains("none on the truck"),
        "{:?}",
        end.why
    );
    assert!(!acts(&hands.entries).contains(&Act::CloseBreaker));
}

/// Every two ends that were off change places in the simulated unit: ohms catch it before power, or
/// it was named beforehand as what they cannot tell.
#[test]
fn a_miswire_is_caught_before_power_or_was_named_beforehand() {
    let book = Book::new(bundle()).expect("the book opens");
    let repair = found(&book);
    let points: Vec<usize> = repair
        .wires
        .iter()
        .map(|w| book.sheet.point(&w.end).expect("an end"))
        .collect();
    let (mut caught, mut named) = (0, 0);
    for (i, &a) in points.iter().enumerate() {
        for &b in &points[i + 1..] {
            let swap = [a, b];
            let names = swap.map(|p| book.sheet.point_name(p).to_owned());
            let terminal = |p: usize| {
                let wire = book.sheet.wire_of_end(p).expect("a wire");
                wire.terminals[usize::from(wire.ends[1] == p)]
            };
            if terminal(a) == terminal(b) {
                continue;
            }
            let wrong = Circuit::flawed(book.sheet, vec![Flaw::Swap { ends: swap }]);
            let mut hands = begin(&book, Some(&wrong), &[], repair.clone());
            let closes = |r: &Request| {
                matches!(
                    r,
                    Request::Act {
                        act: Act::PutRight(_) | Act::CloseBreaker
                    }
                )
            };
            stamp(&mut hands, "440");
            let asked = hands.until(closes);
            if let Request::Act {
                act: Act::PutRight(ends),
            } = &asked.request
            {
                caught += 1;
                assert!(
                    names.iter().all(|n| ends.contains(n)),
                    "{names:?}: {ends:?}"
                );
                let end = run(&mut hands, honest);
                assert_eq!(end.proved, Proved::Proven, "{names:?}: {:?}", end.why);
            } else {
                named += 1;
                let whys = hands.entries.iter().filter_map(|e| match &e.event {
                    Event::Asked(asked) => Some(asked.why.as_str()),
                    _ => None,
                });
                let said = |why: &str| {
                    why.contains("no reading of ohms tells")
                        && names.iter().all(|n| why.contains(n.as_str()))
                };
                assert!(whys.into_iter().any(said), "{names:?} was not named");
            }
        }
    }
    println!("{caught} caught before power, {named} named beforehand");
    assert!(caught >= 5, "{caught} caught, {named} named");
}

#[test]
fn swapped_start_and_run_leads_are_told_by_ohms() {
    let book = Book::new(bundle()).expect("the book opens");
    let point = |name: &str| book.sheet.point(name).expect("a point");
    let ends = ["comp-common.1", "comp-run.1", "comp-start.1"].map(point);
    let plan = book.plan();
    let may_probe = |p: usize| {
        let id = ohmtrail_core::gates::PointId(u16::try_from(p).expect("small"));
        !plan.keep_off.contains(&id) && plan.in_scope(id)
    };
    let told = Rewired::of(&book.circuit, &ends, &may_probe);
    assert_eq!(told.untold, Vec::<[usize; 2]>::new());
    let tells: usize = told.pairs.iter().map(|p| p.tells.len()).sum();
    assert_eq!(tells, 3);
    // No probe goes to the compressor's own pins.
    for pair in &told.pairs {
        for point in pair.points {
            let name = book.sheet.point_name(point);
            assert!(
                !name.starts_with("compressor.") || name == "compressor.shell",
                "{name}"
            );
        }
    }
}

#[test]
fn a_miswire_that_stays_is_left_off() {
    let book = Book::new(bundle()).expect("the book opens");
    let swap = ["comp-run.1", "comp-start.1"].map(|n| book.sheet.point(n).expect("an end"));
    let wrong = Circuit::flawed(book.sheet, vec![Flaw::Swap { ends: swap }]);
    let mut hands = begin(&book, Some(&wrong), &[], found(&book));
    hands.right = None;
    let end = run(&mut hands, honest);
    assert_eq!(end.proved, Proved::LeftOff);
    let acts = acts(&hands.entries);
    assert!(!acts.contains(&Act::CloseBreaker));
    let tries = acts.iter().filter(|a| matches!(a, Act::PutRight(_)));
    assert_eq!(tries.count(), 2);
    assert_eq!(
        hands.visit.record().left.as_ref().expect("left").power,
        Power::Off
    );
}

#[test]
fn what_the_weather_does_not_allow_is_monitored() {
    let book = Book::new(bundle()).expect("the book opens");
    let mut hands = begin(&book, None, &[], found(&book));
    let end = run(&mut hands, |_, asked| match &asked.request {
        Request::Act {
            act: Act::CallHeating,
        } => Some(Input::Skip {
            ask: asked.ask,
            why: "34 Cel outdoors".into(),
        }),
        _ => None,
    });
    assert_eq!(end.proved, Proved::Monitor);
    let whys = end.why.join("\n");
    assert!(whys.contains("in heating: 34 Cel outdoors"), "{whys}");
    assert!(whys.contains("in a defrost: 34 Cel outdoors"), "{whys}");
    assert_eq!(
        hands.visit.record().left.as_ref().expect("left").power,
        Power::On
    );
}

#[test]
fn a_motor_that_does_not_run_leaves_the_unit_off() {
    let book = Book::new(bundle()).expect("the book opens");
    let mut hands = begin(&book, None, &["fan-motor.seized"], found(&book));
    let end = run(&mut hands, honest);
    assert_eq!(end.proved, Proved::LeftOff);
    assert!(end.why[0].contains("fan motor"), "{:?}", end.why);
    let left = hands.visit.record().left.clone().expect("left");
    assert_eq!((left.power, left.locked), (Power::Off, true));
    assert!(left.why.starts_with("left off"), "{}", left.why);
    // Nothing is asked of it that came after.
    let heats = |a: &Act| *a == Act::CallHeating;
    assert!(!acts(&hands.entries).iter().any(heats));
}

/// Over the rated-load amperes is a warning, over the maximum continuous current is none.
#[test]
fn amperes_over_the_plate() {
    let book = Book::new(bundle()).expect("the book opens");
    for (key, proved) in [("rla", Proved::Proven), ("mcc", Proved::LeftOff)] {
        let mut hands = begin(&book, None, &[], found(&book));
        hands
            .say(plate("compressor", key, "5", "A"))
            .expect("a plate");
        let end = run(&mut hands, honest);
        assert_eq!(end.proved, proved, "{key}: {:?}", end.why);
        let own = |p: &&ohmtrail_trail::event::Proof| p.what == "amperes of the compressor";
        let proof = end.proofs.iter().find(own).expect("a proof");
        assert_eq!(proof.passed, Some(key == "rla"));
        assert_eq!(
            proof.words.contains("a warning and no more"),
            key == "rla",
            "{}",
            proof.words
        );
    }
}

/// A new capacitor that is bad out of its box is found before it is connected.
#[test]
fn a_bad_new_part_is_not_connected() {
    let book = Book::new(bundle()).expect("the book opens");
    let mut hands = begin(&book, None, &["run-cap.herm-low"], found(&book));
    let end = run(&mut hands, honest);
    assert_eq!(end.proved, Proved::LeftOff);
    assert!(
        end.why[0].contains("before it is connected"),
        "{:?}",
        end.why
    );
    let taken = hands.visit.record().takes.iter().rev();
    let farads = taken.clone().find(|t| t.take.function == Function::Farads);
    let verdict = farads.and_then(|t| t.take.verdict.clone()).expect("judged");
    assert_eq!(verdict.class, Class::Low);
    assert!(!acts(&hands.entries).contains(&Act::CloseBreaker));
}

/// Killed after any of its entries it goes on, with every gate shut, to the same end.
#[test]
fn killed_anywhere_it_ends_the_same() {
    let book = Book::new(bundle()).expect("the book opens");
    let mut whole = begin(&book, None, &[], found(&book));
    let want = run(&mut whole, honest);
    for cut in (3..whole.entries.len()).step_by(9) {
        let mut again = begin(&book, None, &[], found(&book));
        for entry in &whole.entries[..cut] {
            if let Event::Acted(acted) = &entry.event {
                done(&mut again.bench, book.sheet, &acted.act);
            }
        }
        again.visit = Visit::replay(&book, &whole.entries[..cut]).expect("its own trail");
        again.entries = whole.entries[..cut].to_vec();
        assert!(!again.visit.may_measure_dead(again.now()), "cut at {cut}");
        if again.visit.stage() == Stage::Left {
            continue;
        }
        again.seconds = 0.0;
        again.say(joined(1)).expect("joins");
        let end = run(&mut again, honest);
        assert_eq!(end.proved, want.proved, "cut at {cut}: {:?}", end.why);
    }
}

#[test]
fn a_repair_is_told_of_first_and_of_parts_of_the_sheet() {
    let book = Book::new(bundle()).expect("the book opens");
    let mut hands = Hands::new(&book, &[], SEED);
    let mut other = found(&book);
    other.parts = vec!["flux-capacitor".into()];
    let unknown = hands.say(Input::Repair(other)).expect_err("no such part");
    assert!(unknown.to_string().contains("flux-capacitor"), "{unknown}");
    hands.settle().expect("an ask");
    let late = hands
        .say(Input::Repair(found(&book)))
        .expect_err("too late");
    assert_eq!(late, Refusal::NoRepairNow);
}

/// A value that the meter cannot tell from its limit is not proven, and is named.
#[test]
fn what_is_too_close_to_call_is_monitored() {
    let book = Book::new(bundle()).expect("the book opens");
    let repair = found(&book);
    let mut hands = begin(&book, None, &[], repair.clone());
    // This unit's new capacitor reads 36.39 uF, where at most 37.1 uF is marked.
    hands.bench = Bench::new(&book.circuit, SEED, &[]);
    done(&mut hands.bench, book.sheet, &Act::OpenBreaker);
    let off = repair.wires.iter().filter(|w| w.back_on.is_none());
    let off = off.map(|w| w.end.clone()).collect();
    done(&mut hands.bench, book.sheet, &Act::Lift(off));
    let end = run(&mut hands, honest);
    assert_eq!(end.proved, Proved::Monitor);
    assert!(
        end.why[0].contains("too close to a limit to call"),
        "{:?}",
        end.why
    );
}
