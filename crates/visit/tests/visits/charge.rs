//! The charge of a repair that fitted a part of the refrigerant circuit: read, judged, or left open with the
//! reason. Units and readings are invented; what is worked out of them is held against CoolProp.

use std::sync::OnceLock;

use ohmtrail_circuit::sheet::read_builtin;
use ohmtrail_core::accuracy::{Accuracy, Spec};
use ohmtrail_core::reading::{Decimal, Flags, Function, MeterId, Shown};
use ohmtrail_trail::event::{
    Act, Asked, Entry, Event, MeterJoined, PlateEntry, Proof, Proved, Repair, Request,
};
use ohmtrail_visit::{Book, Input, Inputs, SheetBundle, Stage, Taken, Visit};

use crate::bench::{Hands, bundle, joined};
use crate::prove::{begin, plate};
use crate::spanish::in_spanish;

const CHARGE: &str = "refrigerant charge";
const SEED: u64 = 2;

/// What an earlier visit left to do: a pressure switch, which sits in the refrigerant circuit.
fn repair(part: &str, plates: &[PlateEntry]) -> Repair {
    Repair {
        trail: [7; 32],
        day: "2026-06-30".into(),
        faults: vec![format!("{part}.open")],
        parts: vec![part.into()],
        option: None,
        quoted: Vec::new(),
        before: Vec::new(),
        plates: plates.to_vec(),
        wires: Vec::new(),
    }
}

/// Instruments of an invented kit: a third of a kelvin, half a percent of a pressure, two of humidity.
fn fine(meter: u16) -> Input {
    let of = |function, percent, counts| Spec {
        function,
        accuracy: Accuracy::new(percent, counts),
    };
    Input::MeterJoined {
        joined: MeterJoined {
            meter: MeterId(meter),
            driver: "test".into(),
            place: "bench".into(),
            profile: "an invented kit".into(),
            accuracy_assumed: false,
        },
        accuracy: vec![
            of(Function::Celsius, 0.0, 3.0),
            of(Function::Pascals, 0.5, 1.0),
            of(Function::Percent, 0.0, 2.0),
            of(Function::VoltsAc, 1.0, 3.0),
            of(Function::VoltsDc, 0.5, 2.0),
            of(Function::Ohms, 0.8, 3.0),
            of(Function::Farads, 2.0, 5.0),
            of(Function::AmpsAc, 2.0, 5.0),
        ],
        inputs: Inputs::default(),
    }
}

/// A plate that says all that a valve's charge rests on.
const VALVE: [[&str; 3]; 4] = [
    ["refrigerant", "R-410A", ""],
    ["metering", "expansion-valve", ""],
    ["subcooling", "5.6", "K"],
    ["altitude", "300", "m"],
];
const ORIFICE: [[&str; 3]; 3] = [
    ["refrigerant", "R-410A", ""],
    ["metering", "fixed-orifice", ""],
    ["altitude", "300", "m"],
];

/// What a sound unit with a valve shows: by the gauge, in kilopascals and degrees.
type Shows = [(&'static str, f64)];
const SOUND: [(&str, f64); 8] = [
    ("outdoor-air", 33.0),
    ("return-air", 25.5),
    ("return-wet-bulb", 18.0),
    ("supply-air", 13.9),
    ("suction-pressure", 882.0),
    ("suction-line", 13.2),
    ("liquid-pressure", 2578.0),
    ("liquid-line", 38.5),
];

/// The same with some of it otherwise.
fn but(other: &Shows) -> Vec<(&'static str, f64)> {
    let changed = |name: &str| other.iter().find(|(n, _)| *n == name);
    let own = SOUND.iter().map(|s| *changed(s.0).unwrap_or(s));
    let more = other
        .iter()
        .filter(|(n, _)| SOUND.iter().all(|(m, _)| m != n));
    own.chain(more.copied()).collect()
}

/// The repair up to where the charge is asked for: once for all tests.
fn base() -> &'static [Entry] {
    static BASE: OnceLock<Vec<Entry>> = OnceLock::new();
    BASE.get_or_init(|| {
        let book = Book::new(bundle()).expect("the book opens");
        // What a visit in other weather wrote down goes into the record of this one.
        let of_other_weather = PlateEntry {
            part: "unit".into(),
            key: "superheat".into(),
            value: "11".into(),
            unit: "K".into(),
        };
        let mut hands = begin(
            &book,
            None,
            &[],
            repair("low-pressure", &[of_other_weather]),
        );
        let asked = hands.until(|r| point(r) == Some("outdoor-air"));
        let ask = Event::Asked(asked);
        let at = hands.entries.iter().position(|e| e.event == ask);
        hands.entries.truncate(at.expect("it was asked"));
        hands.entries
    })
}

/// A repair that has come to its charge, with these on the unit's plate.
fn at_charge<'b>(book: &'b Book<'b>, plates: &[[&str; 3]]) -> Hands<'b> {
    let mut hands = Hands::new(book, &[], SEED);
    again(&mut hands, base());
    hands.say(fine(1)).expect("joins");
    for [key, value, unit] in plates {
        hands.say(plate("unit", key, value, unit)).expect("a plate");
    }
    hands
}

/// The program is started again on these entries, a minute later.
fn again(hands: &mut Hands<'_>, entries: &[Entry]) {
    hands.visit = Visit::replay(hands.visit.book(), entries).expect("its own trail");
    hands.entries = entries.to_vec();
    let last = entries.last().expect("entries").at.steady;
    hands.seconds = last.0 as f64 / 1e6 + 60.0;
}

/// The point of a reading that is asked for.
fn point(request: &Request) -> Option<&str> {
    let [a, b] = request.measurement()?.points;
    (a == b && !a.contains('.')).then_some(a.as_str())
}

fn shown(name: &str, value: f64) -> Shown {
    Shown::Value(if name.ends_with("pressure") {
        Decimal::new(value.round() as i32, 3)
    } else {
        Decimal::new((value * 10.0).round() as i32, -1)
    })
}

/// The answer of these instruments; what they do not show is passed over.
fn reading(asked: &Asked, shows: &Shows) -> Option<Input> {
    let name = point(&asked.request)?;
    let found = shows.iter().find(|(n, _)| *n == name);
    Some(match found {
        Some((_, value)) => Input::Take(Taken {
            ask: Some(asked.ask),
            shown: shown(name, *value),
            flags: Flags::NONE,
            ..Taken::default()
        }),
        None => Input::Skip {
            ask: asked.ask,
            why: "no such instrument (invented)".into(),
        },
    })
}

/// To the end of the repair: the proof of the charge, and what was asked for it.
fn prove(hands: &mut Hands<'_>, shows: &Shows, word: Option<bool>) -> (Proof, Vec<String>) {
    let mut names = Vec::new();
    for _ in 0..200 {
        let Some(asked) = hands.settle() else {
            assert_eq!(hands.visit.stage(), Stage::Left);
            return (proof(hands), names);
        };
        let why = hands.visit.why().expect("it says why");
        assert_eq!(why.to_string(), asked.why);
        in_spanish(&why);
        if let Some(input) = reading(&asked, shows) {
            hands.seconds += 60.0 * f64::from(asked.minutes);
            names.extend(point(&asked.request).map(str::to_owned));
            hands.say(input).expect("taken");
            continue;
        }
        if asked.request.act() == Some(&Act::ProveCharge) {
            names.push("word".into());
            let ask = asked.ask;
            let input = match word.expect("no word is asked for") {
                true => Input::Done {
                    ask: Some(ask),
                    act: None,
                },
                false => Input::Skip {
                    ask,
                    why: "nobody certified here".into(),
                },
            };
            hands.say(input).expect("taken");
            continue;
        }
        let input = hands.answer(&asked);
        hands.say(input).expect("an honest answer is taken");
    }
    panic!("the repair does not end");
}

/// The proof of the charge, as the end has it and as it is said in Spanish.
fn proof(hands: &Hands<'_>) -> Proof {
    let record = hands.visit.record();
    let end = record.mended.as_ref().and_then(|m| m.end.as_ref());
    let proofs = &end.expect("an end").proofs;
    let at = proofs.iter().position(|p| p.what == CHARGE);
    let at = at.expect("a proof of the charge");
    let (what, words) = &record.proofs_said(hands.visit.book())[at];
    assert_eq!(
        (what.to_string(), words.to_string()),
        (proofs[at].what.clone(), proofs[at].words.clone())
    );
    in_spanish(what);
    in_spanish(words);
    proofs[at].clone()
}

fn says(proof: &Proof, words: &[&str]) {
    for word in words {
        assert!(proof.words.contains(word), "no \"{word}\": {}", proof.words);
    }
}

fn plates_but(
    plates: &[[&'static str; 3]],
    key: &str,
    with: Option<[&'static str; 3]>,
) -> Vec<[&'static str; 3]> {
    let others = plates.iter().filter(|p| p[0] != key).copied();
    others.chain(with).collect()
}

/// The number behind this word.
fn number(words: &str, what: &str) -> f64 {
    let (_, rest) = words
        .split_once(&format!("{what} "))
        .unwrap_or_else(|| panic!("{what}: {words}"));
    let digits = rest.split(' ').next().expect("a number");
    digits.parse().unwrap_or_else(|_| panic!("{what}: {words}"))
}

#[test]
fn a_charge_behind_a_valve_is_proven_by_its_subcooling() {
    let book = Book::new(bundle()).expect("the book opens");
    let mut hands = at_charge(&book, &VALVE);
    let (proof, asked) = prove(&mut hands, &SOUND, None);
    assert_eq!(proof.passed, Some(true), "{}", proof.words);
    // The weather first, the airflow next, then the gauges.
    assert_eq!(asked, SOUND.map(|(name, _)| name.to_owned()));
    says(
        &proof,
        &[
            "subcooling 5.6 K",
            "limits 3.9 K to 7.3 K, pass",
            "its target is 5.6 K by the plate of the unit",
            "superheat 6.6 K",
            "882 kPa by the gauge, 980 kPa absolute at 300 m",
            "temperature split",
            "compression ratio",
            "suspects:",
            "nothing measured speaks for a fault of these",
        ],
    );
    assert!(!proof.words.contains("assumed"), "{}", proof.words);
    let record = hands.visit.record();
    let whys: Vec<&str> = record.asks.iter().map(|a| a.why.as_str()).collect();
    for said in [
        "before any gauge is connected",
        "not absolute",
        "certified persons only: recover, never vent",
        "R-410A (A1): does not propagate a flame",
    ] {
        assert!(whys.iter().any(|why| why.contains(said)), "{said}");
    }
}

/// Nothing is read before the unit ran for a quarter of an hour, by the entries alone.
#[test]
fn it_runs_for_fifteen_minutes_first() {
    let book = Book::new(bundle()).expect("the book opens");
    let mut hands = at_charge(&book, &VALVE);
    prove(&mut hands, &SOUND, None);
    let on = |e: &&Entry| matches!(&e.event, Event::Acted(a) if a.act == Act::CallOn);
    let asks = |e: &&Entry| matches!(&e.event, Event::Asked(a) if point(&a.request).is_some());
    let on = hands.entries.iter().rev().find(on).expect("it was started");
    let first = hands.entries.iter().find(asks).expect("it was asked");
    let minutes = first.at.steady.since(on.at.steady) as f64 / 60e6;
    assert!(minutes >= 15.0, "{minutes}");
    // Every other proof under power comes before it.
    let charge = hands
        .entries
        .iter()
        .position(|e| e == first)
        .expect("there");
    let later = hands.entries[charge..]
        .iter()
        .filter_map(|e| match &e.event {
            Event::Asked(a) => Some(&a.request),
            _ => None,
        });
    assert!(later.into_iter().all(|r| point(r).is_some()));
}

/// 33 Cel outdoors and a wet bulb of 18: (3 * 64.4 - 80 - 91.4) / 2 = 10.9 degrees Fahrenheit, 6.06 K.
#[test]
fn a_fixed_orifice_is_held_to_the_superheat_of_the_weather() {
    let book = Book::new(bundle()).expect("the book opens");
    let mut hands = at_charge(&book, &ORIFICE);
    let (proof, _) = prove(&mut hands, &SOUND, None);
    assert_eq!(proof.passed, Some(true), "{}", proof.words);
    says(
        &proof,
        &["its target is 6.1 K by target superheat = (3 wet bulb"],
    );
    // What a visit in other weather wrote down is not taken over.
    let plates = &hands.visit.record().plates;
    assert!(plates.iter().all(|p| p.key != "superheat"));
}

#[test]
fn over_360_metres_an_orifice_wants_the_makers_chart() {
    let book = Book::new(bundle()).expect("the book opens");
    let high = plates_but(&ORIFICE, "altitude", Some(["altitude", "5250", "[ft_i]"]));
    let shows = but(&[("suction-pressure", 896.0), ("liquid-pressure", 2593.0)]);
    let mut hands = at_charge(&book, &high);
    let (proof, _) = prove(&mut hands, &shows, None);
    assert_eq!(proof.passed, None, "{}", proof.words);
    says(
        &proof,
        &[
            "maker's chart for this altitude",
            "superheat of the unit is not known",
        ],
    );
    // Entered after the end it is judged anew, by the same readings.
    hands
        .say(plate("unit", "superheat", "12.5", "[degF]"))
        .expect("a plate");
    assert_eq!(hands.visit.stage(), Stage::Repairing);
    let (proof, asked) = prove(&mut hands, &shows, None);
    assert_eq!(proof.passed, Some(true), "{}", proof.words);
    assert_eq!(asked, Vec::<String>::new());
    says(
        &proof,
        &["its target is 6.9 K by the maker's chart", "at 1600 m"],
    );
}

#[test]
fn weather_that_allows_nothing_is_monitored_without_a_gauge() {
    let book = Book::new(bundle()).expect("the book opens");
    for (name, value, why) in [
        (
            "outdoor-air",
            9.0,
            "under 55 degrees Fahrenheit (12.8 Cel) outdoors",
        ),
        ("outdoor-air", 47.0, "over 115 degrees Fahrenheit"),
        ("return-air", 31.0, "the return air is over 30 Cel"),
        (
            "return-wet-bulb",
            9.4,
            "wet bulb is under 50 degrees Fahrenheit",
        ),
    ] {
        // With the rest of the air read and without, and whatever somebody's word is.
        let alone: &[(&str, f64)] = &[(name, value)];
        for (shows, word) in [
            (&but(alone)[..], true),
            (&but(alone)[..], false),
            (alone, true),
        ] {
            let mut hands = at_charge(&book, &VALVE);
            let (proof, asked) = prove(&mut hands, shows, Some(word));
            assert_eq!(proof.passed, None, "{}", proof.words);
            let said = match word {
                true => "a word proves no charge where the weather was not read",
                false => "nobody certified here",
            };
            says(&proof, &[why, said]);
            assert!(
                asked.iter().all(|name| !name.contains("pressure")),
                "{asked:?}"
            );
            let mended = hands.visit.record().mended.as_ref().expect("a repair");
            assert_eq!(mended.end.as_ref().expect("an end").proved, Proved::Monitor);
        }
    }
}

/// Each thing that must be known beforehand, left out or without its unit: what is to be entered is said while
/// it is read, and at the end.
#[test]
fn what_is_not_known_of_the_unit_leaves_it_open() {
    let book = Book::new(bundle()).expect("the book opens");
    let cases: [(&str, Option<[&str; 3]>, &str); 9] = [
        ("refrigerant", None, "refrigerant of the unit is not known"),
        ("metering", None, "metering of the unit is not known"),
        (
            "metering",
            Some(["metering", "a thing", ""]),
            "metering of the unit, \"a thing\", cannot be used",
        ),
        ("subcooling", None, "subcooling of the unit is not known"),
        (
            "subcooling",
            Some(["subcooling", "5.6", ""]),
            "subcooling of the unit, \"5.6\", has no unit and is not used",
        ),
        (
            "subcooling",
            Some(["subcooling", "56", "K"]),
            "subcooling of the unit, \"56 K\", cannot be used",
        ),
        ("altitude", None, "altitude of the unit is not known"),
        (
            "altitude",
            Some(["altitude", "300", ""]),
            "altitude of the unit, \"300\", has no unit and is not used",
        ),
        (
            "altitude",
            Some(["altitude", "3000", "m"]),
            "the model holds from the sea up to 2500 m",
        ),
    ];
    for (key, with, why) in cases {
        let mut hands = at_charge(&book, &plates_but(&VALVE, key, with));
        let (proof, _) = prove(&mut hands, &SOUND, Some(false));
        assert_eq!(proof.passed, None, "{key}: {}", proof.words);
        says(&proof, &[why]);
        if !why.starts_with("the model") {
            let asks = &hands.visit.record().asks;
            assert!(asks.iter().any(|a| a.why.contains(why)), "{why}");
        }
    }
}

#[test]
fn a_refrigerant_that_is_not_in_here_is_taken_as_printed() {
    let book = Book::new(bundle()).expect("the book opens");
    // In any visit.
    let mut found = Hands::new(&book, &[], SEED);
    let printed = || plate("unit", "refrigerant", "R-9999X", "");
    found.say(printed()).expect("as printed");
    let mut hands = at_charge(&book, &plates_but(&VALVE, "refrigerant", None));
    hands.say(printed()).expect("as printed");
    let (proof, _) = prove(&mut hands, &SOUND, None);
    assert_eq!(proof.passed, None, "{}", proof.words);
    says(&proof, &["the properties of R-9999X are not in here"]);
    let asks = &hands.visit.record().asks;
    let heed = "its class is not known here: heed it as one that burns";
    assert!(asks.iter().any(|a| a.why.contains(heed)));
}

/// The example of docs/refrigerant.md: 12.5 K of superheat, 0.5 K of subcooling, a split that is 3 K short.
#[test]
fn too_little_refrigerant_is_suspected() {
    let book = Book::new(bundle()).expect("the book opens");
    let mut hands = at_charge(&book, &VALVE);
    let low = but(&[
        ("supply-air", 16.9),
        ("suction-pressure", 790.0),
        ("suction-line", 15.9),
        ("liquid-pressure", 2370.0),
        ("liquid-line", 40.2),
    ]);
    let (proof, _) = prove(&mut hands, &low, None);
    assert_eq!(proof.passed, None, "{}", proof.words);
    says(
        &proof,
        &[
            "subcooling is outside of its limits",
            "temperature split is outside of its limits",
            "what was read speaks for a fault more than for none",
        ],
    );
    let (_, suspects) = proof.words.split_once("suspects: ").expect("suspects");
    let (share, rest) = suspects.split_once(" % ").expect("a share");
    assert!(
        rest.starts_with("too little refrigerant: find the leak"),
        "{suspects}"
    );
    assert!(share.parse::<f64>().expect("a number") > 90.0, "{suspects}");
    let end = hands
        .visit
        .record()
        .mended
        .as_ref()
        .and_then(|m| m.end.clone());
    assert_eq!(end.expect("an end").proved, Proved::Monitor);
}

/// A subcooling that is right proves nothing beside a split that is not.
#[test]
fn another_sign_out_of_its_limits_leaves_it_open() {
    let book = Book::new(bundle()).expect("the book opens");
    let mut hands = at_charge(&book, &VALVE);
    let (proof, _) = prove(&mut hands, &but(&[("supply-air", 9.0)]), None);
    assert_eq!(proof.passed, None, "{}", proof.words);
    says(
        &proof,
        &[
            "temperature split is outside of its limits",
            "subcooling 5.6 K",
        ],
    );
    assert!(
        !proof.words.contains("subcooling is outside"),
        "{}",
        proof.words
    );
}

/// By the cautious default, 20 steps of a thermometer are 2 K: it cannot tell 1.7 K, and says what it assumes.
#[test]
fn an_assumed_accuracy_is_said_and_cannot_tell() {
    let book = Book::new(bundle()).expect("the book opens");
    let mut hands = Hands::new(&book, &[], SEED);
    again(&mut hands, base());
    // This meter states volts and ohms, and nothing of temperatures or pressures.
    hands.say(joined(1)).expect("joins");
    for [key, value, unit] in VALVE {
        hands.say(plate("unit", key, value, unit)).expect("a plate");
    }
    let (proof, _) = prove(&mut hands, &SOUND, None);
    assert_eq!(proof.passed, None, "{}", proof.words);
    says(
        &proof,
        &[
            "subcooling is too close to a limit to call",
            "meter accuracy assumed",
        ],
    );
}

/// A stop between two readings: all of them are read anew, after another quarter of an hour.
#[test]
fn readings_of_two_runs_are_not_joined() {
    let book = Book::new(bundle()).expect("the book opens");
    let mut hands = at_charge(&book, &VALVE);
    let is_gauge = |r: &Request| point(r) == Some("suction-pressure");
    loop {
        let asked = hands.settle().expect("an ask");
        if is_gauge(&asked.request) {
            break;
        }
        let input = reading(&asked, &SOUND).expect("a reading");
        hands.say(input).expect("taken");
    }
    let open = hands.visit.record().open.expect("an ask");
    hands
        .say(Input::Done {
            ask: None,
            act: Some(Act::CallOff),
        })
        .expect("it is stopped");
    let stopped = hands.seconds;
    let (proof, asked) = prove(&mut hands, &SOUND, None);
    assert_eq!(asked, SOUND.map(|(name, _)| name.to_owned()));
    assert_eq!(proof.passed, Some(true), "{}", proof.words);
    assert!(proof.ask.expect("an ask") > open);
    let first = hands.entries.iter().find(|e| {
        let late = e.at.steady.0 as f64 / 1e6 > stopped;
        late && matches!(&e.event, Event::Asked(a) if point(&a.request).is_some())
    });
    let waited = first.expect("asked").at.steady.0 as f64 / 1e6 - stopped;
    assert!(waited >= 15.0 * 60.0, "{waited}");
    // The open ask of the run before was withdrawn, not answered.
    let withdrawn = |e: &Entry| matches!(&e.event, Event::Voided { ask, .. } if *ask == Some(open));
    assert!(hands.entries.iter().any(withdrawn));
}

#[test]
fn a_wire_that_was_moved_ends_a_run() {
    let book = Book::new(bundle()).expect("the book opens");
    let mut hands = at_charge(&book, &VALVE);
    for _ in 0..3 {
        let asked = hands.settle().expect("an ask");
        let input = reading(&asked, &SOUND).expect("a reading");
        hands.say(input).expect("taken");
    }
    let end = "control-y.2".to_owned();
    hands
        .say(Input::Lifted {
            end,
            mark: String::new(),
            photo: None,
        })
        .expect("lifted");
    let (_, asked) = prove(&mut hands, &SOUND, None);
    assert_eq!(asked.first().map(String::as_str), Some("outdoor-air"));
    assert_eq!(asked.len(), 8, "{asked:?}");
}

/// Hoses the wrong way round: read anew twice, then it is left open with the reason.
#[test]
fn readings_that_contradict_themselves_are_read_anew_and_then_left() {
    let book = Book::new(bundle()).expect("the book opens");
    let swapped = but(&[("suction-pressure", 2578.0), ("liquid-pressure", 882.0)]);
    let mut hands = at_charge(&book, &VALVE);
    let (proof, asked) = prove(&mut hands, &swapped, None);
    assert_eq!(proof.passed, None);
    says(
        &proof,
        &[
            "3 sets of readings contradicted themselves",
            "the hoses are not swapped",
        ],
    );
    let sets = asked.iter().filter(|name| *name == "outdoor-air").count();
    assert_eq!(sets, 3, "{asked:?}");
    let told = "the readings before contradicted themselves (the liquid pressure is under";
    let asks = &hands.visit.record().asks;
    assert_eq!(asks.iter().filter(|a| a.why.contains(told)).count(), 2);
}

/// Readings of R-134a by a plate that says R-410A: out of its range. The plate corrected, the count begins anew.
#[test]
fn a_corrected_plate_begins_the_count_anew() {
    let book = Book::new(bundle()).expect("the book opens");
    let swapped = but(&[("suction-pressure", 2578.0), ("liquid-pressure", 882.0)]);
    let mut hands = at_charge(&book, &VALVE);
    let (_, asked) = prove(&mut hands, &swapped, None);
    assert_eq!(asked.len(), 21);
    hands
        .say(plate("unit", "refrigerant", "R410A", ""))
        .expect("a plate");
    assert_eq!(hands.visit.stage(), Stage::Repairing);
    let (proof, asked) = prove(&mut hands, &SOUND, None);
    assert_eq!(asked, SOUND.map(|(name, _)| name.to_owned()));
    assert_eq!(proof.passed, Some(true), "{}", proof.words);
    // What else stands on the plate is no correction of the charge.
    hands
        .say(plate("unit", "rated-volts", "230", "V"))
        .expect("a plate");
    assert_eq!(hands.visit.stage(), Stage::Left);
}

const AIR: [(&str, f64); 4] = [SOUND[0], SOUND[1], SOUND[2], SOUND[3]];

#[test]
fn a_word_counts_where_the_circuit_was_not_read() {
    let book = Book::new(bundle()).expect("the book opens");
    // Of weather that nobody read nothing is known.
    for (shows, circuit_only) in [(&AIR[..], true), (&AIR[1..], false), (&[][..], false)] {
        let mut hands = at_charge(&book, &VALVE);
        let (proof, asked) = prove(&mut hands, shows, Some(true));
        assert_eq!(asked.last().map(String::as_str), Some("word"), "{asked:?}");
        let passed = circuit_only.then_some(true);
        assert_eq!(proof.passed, passed, "{}", proof.words);
        says(
            &proof,
            &[
                "by a certified person's word, and by no reading",
                "not read: ",
                "suction pressure: no such instrument (invented)",
            ],
        );
        assert_eq!(proof.words.contains("outdoor air: "), !circuit_only);
    }
    let mut hands = at_charge(&book, &VALVE);
    let (proof, _) = prove(&mut hands, &AIR, Some(false));
    assert_eq!(proof.passed, None);
    assert!(
        proof.words.starts_with("nobody certified here; not read"),
        "{}",
        proof.words
    );
}

#[test]
fn a_word_never_goes_over_readings() {
    let book = Book::new(bundle()).expect("the book opens");
    let mut air = AIR;
    air[3].1 = 21.0;
    let some = &SOUND[..6];
    for (shows, why) in [
        // The air cools by far too little.
        (&air[..], "temperature split is outside of its limits"),
        // One gauge was read, and the other passed over.
        (
            some,
            "not read: liquid pressure: no such instrument (invented)",
        ),
    ] {
        let mut hands = at_charge(&book, &VALVE);
        let (proof, asked) = prove(&mut hands, shows, None);
        assert!(!asked.contains(&"word".to_owned()), "{asked:?}");
        assert_eq!(proof.passed, None, "{}", proof.words);
        says(&proof, &[why]);
    }
}

#[test]
fn a_cold_rooms_charge_is_a_word_only() {
    let sheet = read_builtin("walk-in-cooler-1ph")
        .expect("built in")
        .expect("sound");
    let bundle = SheetBundle::new(sheet).expect("compiles");
    let book = Book::new(&bundle).expect("the book opens");
    let mut hands = begin(&book, None, &[], repair("high-pressure", &[]));
    let (proof, asked) = prove(&mut hands, &SOUND, Some(true));
    assert_eq!(asked, ["word"]);
    assert_eq!(proof.passed, Some(true));
    assert_eq!(
        proof.words,
        "by a certified person's word, and by no reading"
    );
    let asks = &hands.visit.record().asks;
    assert!(asks.iter().any(|a| {
        a.why
            .contains("of a cold room, of which nothing here has a model")
    }));
}

/// Started again after each reading it goes on with the next, in the same run.
#[test]
fn started_again_between_readings_it_ends_the_same() {
    let book = Book::new(bundle()).expect("the book opens");
    let mut whole = at_charge(&book, &VALVE);
    let (want, _) = prove(&mut whole, &SOUND, None);
    for read in 0..=SOUND.len() {
        let mut hands = at_charge(&book, &VALVE);
        for _ in 0..read {
            let asked = hands.settle().expect("an ask");
            let input = reading(&asked, &SOUND).expect("a reading");
            hands.say(input).expect("taken");
        }
        hands.settle();
        let entries = hands.entries.clone();
        again(&mut hands, &entries);
        hands.say(fine(1)).expect("joins");
        let (proof, asked) = prove(&mut hands, &SOUND, None);
        assert_eq!(asked.len(), SOUND.len() - read, "{asked:?}");
        assert_eq!((proof.passed, &proof.words), (want.passed, &want.words));
    }
}

/// The humidity stands in for the wet bulb; 20 % is drier than the model's units.
#[test]
fn a_humidity_stands_in_for_the_wet_bulb() {
    let book = Book::new(bundle()).expect("the book opens");
    let with = |percent| {
        let own = SOUND.iter().filter(|(name, _)| *name != "return-wet-bulb");
        own.copied()
            .chain([("return-humidity", percent)])
            .collect::<Vec<_>>()
    };
    let mut hands = at_charge(&book, &VALVE);
    // 49 % at 25.5 Cel and 300 m: a wet bulb of 18.05 Cel (the example of docs/refrigerant.md).
    let (proof, asked) = prove(&mut hands, &with(49.0), None);
    assert!(asked.contains(&"return-humidity".to_owned()));
    assert_eq!(proof.passed, Some(true), "{}", proof.words);
    says(&proof, &["wet bulb of 18.0 \u{b0}C"]);
    assert!(!proof.words.contains("drier or damper"), "{}", proof.words);
    let mut hands = at_charge(&book, &VALVE);
    let (proof, _) = prove(&mut hands, &with(22.0), None);
    says(
        &proof,
        &["the return air is drier or damper than the 25 to 75 % of saturation"],
    );
}

#[test]
fn a_struck_reading_is_read_again() {
    let book = Book::new(bundle()).expect("the book opens");
    let mut hands = at_charge(&book, &VALVE);
    let (proof, _) = prove(&mut hands, &but(&[("liquid-line", 44.0)]), None);
    assert_eq!(proof.passed, None);
    let takes = &hands.visit.record().takes;
    let wrong = takes.iter().find(|t| t.take.points[0] == "liquid-line");
    let take = wrong.expect("it was read").take.take;
    hands
        .say(Input::Strike {
            take,
            why: "the sensor was loose".into(),
        })
        .expect("struck");
    let (proof, asked) = prove(&mut hands, &SOUND, None);
    assert_eq!(asked, ["liquid-line"]);
    assert_eq!(proof.passed, Some(true), "{}", proof.words);
}

/// Superheat and subcooling at the very readings, by CoolProp 8.0.0: PropsSI at the absolute pressure in the
/// standard atmosphere of that altitude; R-454B as R-32 and R-1234yf, 0.689 to 0.311 by mass.
#[test]
fn superheat_and_subcooling_are_within_a_tenth_of_a_kelvin_of_coolprop() {
    let book = Book::new(bundle()).expect("the book opens");
    for (name, metres, suction, liquid, superheat, subcooling) in [
        ("R-410A", "300", 882.0, 2578.0, 6.602, 5.593),
        ("R-410A", "1600", 896.0, 2593.0, 6.611, 5.605),
        ("R-454B", "0", 799.0, 2449.0, 6.590, 5.597),
        ("R-32", "300", 901.0, 2638.0, 6.616, 5.602),
        ("R-22", "2400", 538.0, 1617.0, 6.614, 5.598),
        ("R-407C", "300", 479.0, 1833.0, 6.608, 5.606),
        ("R-134a", "0", 268.0, 1032.0, 6.616, 5.609),
        ("R-290", "300", 480.0, 1406.0, 6.583, 5.605),
    ] {
        let plates = plates_but(&VALVE, "altitude", Some(["altitude", metres, "m"]));
        let plates = plates_but(&plates, "refrigerant", Some(["refrigerant", name, ""]));
        let shows = but(&[("suction-pressure", suction), ("liquid-pressure", liquid)]);
        let mut hands = at_charge(&book, &plates);
        let (proof, _) = prove(&mut hands, &shows, None);
        for (what, theirs) in [("superheat", superheat), ("subcooling", subcooling)] {
            let ours = number(&proof.words, what);
            assert!(
                (ours - theirs).abs() < 0.1,
                "{name} {what}: {ours}, {theirs}"
            );
        }
    }
}

/// What was charged since is another charge: all of it is read anew, after another quarter of an hour, as often as
/// it takes; in between, and after the end.
#[test]
fn a_charge_that_was_changed_is_read_anew() {
    let book = Book::new(bundle()).expect("the book opens");
    let mut hands = at_charge(&book, &VALVE);
    let low = but(&[("liquid-line", 42.0), ("suction-line", 17.0)]);
    let all = SOUND.map(|(name, _)| name.to_owned());
    for (n, key) in ["charge-added", "charge-recovered"]
        .iter()
        .cycle()
        .take(6)
        .enumerate()
    {
        let (proof, asked) = prove(&mut hands, &low, None);
        assert_eq!(proof.passed, None, "{}", proof.words);
        says(
            &proof,
            &["enter its weight as a plate value of the unit (charge-added"],
        );
        assert_eq!(asked, all, "{n}");
        let changed = hands.seconds;
        let before = hands.entries.len();
        hands.say(plate("unit", key, "0.1", "kg")).expect("a plate");
        assert_eq!(hands.visit.stage(), Stage::Repairing);
        let asked = hands.settle().expect("an ask");
        assert_eq!(point(&asked.request), Some("outdoor-air"));
        let entry = hands.entries[before..].iter();
        let at = entry
            .filter(|e| matches!(e.event, Event::Asked(_)))
            .map(|e| e.at.steady.0)
            .next();
        let waited = at.expect("asked") as f64 / 1e6 - changed;
        assert!(waited >= 15.0 * 60.0, "{waited}");
    }
    // Between two readings.
    for _ in 0..6 {
        let asked = hands.settle().expect("an ask");
        hands
            .say(reading(&asked, &low).expect("a reading"))
            .expect("taken");
    }
    hands
        .say(plate("unit", "charge-added", "0.1", "kg"))
        .expect("a plate");
    let (proof, asked) = prove(&mut hands, &SOUND, None);
    assert_eq!(asked, all);
    assert_eq!(proof.passed, Some(true), "{}", proof.words);
}

/// Called away between the air and the gauges: the weather is another one by then.
#[test]
fn what_was_read_too_long_before_is_read_anew() {
    let book = Book::new(bundle()).expect("the book opens");
    for (minutes, again) in [(20.0, 0), (45.0, 4)] {
        let mut hands = at_charge(&book, &VALVE);
        for _ in 0..4 {
            let asked = hands.settle().expect("an ask");
            hands
                .say(reading(&asked, &SOUND).expect("a reading"))
                .expect("taken");
        }
        hands.seconds += 60.0 * minutes;
        let (proof, asked) = prove(&mut hands, &SOUND, None);
        let air = asked
            .iter()
            .filter(|name| AIR.iter().any(|(n, _)| n == name))
            .count();
        assert_eq!((air, asked.len()), (again, 4 + again), "{asked:?}");
        assert_eq!(proof.passed, Some(true), "{}", proof.words);
        let asks = &hands.visit.record().asks;
        let told = asks
            .iter()
            .filter(|a| a.why.contains("too long went by"))
            .count();
        assert_eq!(told > 0, again > 0);
    }
}

/// Liquid that comes back burns a compressor: the unit does not run on. Where the instruments cannot tell, it is
/// said.
#[test]
fn liquid_in_the_suction_line_leaves_the_unit_off() {
    let book = Book::new(bundle()).expect("the book opens");
    for (line, passed, proved, words) in [
        (
            5.0,
            Some(false),
            Proved::LeftOff,
            "has liquid in it, which harms a compressor",
        ),
        (
            6.6,
            None,
            Proved::Monitor,
            "liquid may come to the compressor",
        ),
    ] {
        let mut hands = at_charge(&book, &VALVE);
        let (proof, _) = prove(&mut hands, &but(&[("suction-line", line)]), None);
        assert_eq!(proof.passed, passed, "{}", proof.words);
        says(
            &proof,
            &[words, "the model is of air conditioners of one speed"],
        );
        let mended = hands.visit.record().mended.as_ref().expect("a repair");
        assert_eq!(mended.end.as_ref().expect("an end").proved, proved);
    }
}

/// A maker's chart has its superheat for the weather of the hour.
#[test]
fn a_target_of_another_run_is_looked_up_again() {
    let book = Book::new(bundle()).expect("the book opens");
    let mut hands = at_charge(&book, &ORIFICE);
    let target = || plate("unit", "superheat", "7", "K");
    hands.say(target()).expect("a plate");
    let (proof, _) = prove(&mut hands, &SOUND, None);
    assert_eq!(proof.passed, Some(true), "{}", proof.words);
    says(&proof, &["its target is 7.0 K by the maker's chart"]);
    hands
        .say(plate("unit", "charge-added", "20", "g"))
        .expect("a plate");
    let (proof, _) = prove(&mut hands, &SOUND, None);
    assert_eq!(proof.passed, None, "{}", proof.words);
    says(
        &proof,
        &["superheat of the unit, 7 K, was entered before this run"],
    );
    hands.say(target()).expect("a plate");
    let (proof, asked) = prove(&mut hands, &SOUND, None);
    assert_eq!(proof.passed, Some(true), "{}", proof.words);
    assert_eq!(asked, Vec::<String>::new());
}

/// A whole repair of the refrigerant circuit: the maker's number, every wire, every proof, the charge.
#[test]
fn a_repair_of_the_circuit_ends_as_proven() {
    let book = Book::new(bundle()).expect("the book opens");
    let number = |value: &str| PlateEntry {
        part: "low-pressure".into(),
        key: "number".into(),
        value: value.into(),
        unit: String::new(),
    };
    for (new, proved) in [("P 40", Proved::Proven), ("P 41", Proved::Monitor)] {
        let mut hands = begin(&book, None, &[], repair("low-pressure", &[number("P 40")]));
        for [key, value, unit] in VALVE {
            hands.say(plate("unit", key, value, unit)).expect("a plate");
        }
        hands
            .say(plate("low-pressure", "number", new, ""))
            .expect("a plate");
        // The instruments of the charge come with its first ask.
        hands.until(|r| point(r) == Some("outdoor-air"));
        hands.say(fine(1)).expect("joins");
        let (proof, _) = prove(&mut hands, &SOUND, None);
        assert_eq!(proof.passed, Some(true), "{}", proof.words);
        let mended = hands.visit.record().mended.as_ref().expect("a repair");
        let end = mended.end.as_ref().expect("an end");
        assert_eq!(end.proved, proved, "{:?}", end.why);
        let whys: Vec<&str> = hands
            .visit
            .record()
            .asks
            .iter()
            .map(|a| a.why.as_str())
            .collect();
        for said in [
            "tell the maker's number",
            "only those who are certified",
            "no flame before the circuit is empty",
        ] {
            assert!(whys.iter().any(|why| why.contains(said)), "{said}");
        }
    }
}
