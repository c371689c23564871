//! A tray as a meter would show it, reading by reading. All values are invented; the limits are what the
//! markings say, and the rules of the core, which have their own tests.

use std::io::Write;
use std::process::{Command, Stdio};

use ohmtrail_core::accuracy::{Accuracy, AccuracyTable, Quantity};
use ohmtrail_core::leads::Leads;
use ohmtrail_core::reading::{Decimal, Flags, Function, MeterId, Reading, Shown};
use ohmtrail_core::rules::capacitor::Tolerance;
use ohmtrail_core::rules::insulation::Insulation;
use ohmtrail_core::units::{Amps, Celsius, Micros, Ohms, Ratio, Volts};
use ohmtrail_core::verdict::Decision;
use ohmtrail_shop::tray::record::{self, Row};
use ohmtrail_shop::tray::run::{Take, Told, Tray};
use ohmtrail_shop::tray::script::{Held, Kind, Plate, Script, ScriptError, script};
use ohmtrail_shop::tray::sorted::Sorted;

/// A meter of 0.5 % and two counts on everything.
struct Meter;

impl AccuracyTable for Meter {
    fn accuracy(&self, _: Function, _: f64) -> Option<Accuracy> {
        Some(Accuracy::new(0.5, 2.0))
    }

    fn top_of_range(&self, _: Function) -> Option<f64> {
        None
    }
}

const ZEROED: Leads = Leads::Zeroed { step: Ohms(0.01) };

/// A meter that shows one thing after the other, four times a second.
struct Bench<'t> {
    tray: Tray<'t>,
    at: u64,
    function: Function,
    taken: Vec<Take>,
    told: Vec<Told>,
}

impl<'t> Bench<'t> {
    fn new(script: &'t Script, parts: Option<u32>) -> Self {
        Bench {
            tray: Tray::new(script, &Meter, ZEROED, parts),
            at: 0,
            function: script.steps[0].function,
            taken: Vec::new(),
            told: Vec::new(),
        }
    }

    fn heed(&mut self, told: Vec<Told>) {
        for told in told {
            if let Told::Taken(take) = &told {
                self.taken.push(take.clone());
            }
            self.told.push(told);
        }
    }

    fn show(&mut self, shown: Shown, times: u32) {
        for _ in 0..times {
            self.at += 250_000;
            let told = self.tray.push(&Reading {
                function: self.function,
                shown,
                flags: Flags::NONE,
                meter: MeterId(1),
                at: Micros(self.at),
            });
            self.heed(told);
        }
    }

    /// Puts the leads on something, and takes them off again.
    fn touch(&mut self, mantissa: i32, exponent: i8, off: Shown) {
        self.show(number(mantissa, exponent), 12);
        self.show(off, 8);
    }

    fn enter(&mut self) {
        let told = self.tray.enter();
        self.heed(told);
    }

    fn decisions(&self) -> Vec<Option<Decision>> {
        self.taken.iter().map(|t| t.outcome.decision).collect()
    }
}

fn number(mantissa: i32, exponent: i8) -> Shown {
    Shown::Value(Decimal { mantissa, exponent })
}

const NOTHING: Shown = Shown::Value(Decimal {
    mantissa: 0,
    exponent: -8,
});

fn six_percent() -> Option<Tolerance> {
    Some(Tolerance::symmetric(Ratio(0.06)))
}

#[test]
fn capacitors_go_by_hands_free() {
    let plate = Plate {
        marked: vec![35e-6],
        tolerance: six_percent(),
        ..Plate::default()
    };
    let script = script(Kind::Capacitor, &plate).expect("a script");
    let mut bench = Bench::new(&script, Some(4));
    // Before the first part, with the leads off, nothing is taken.
    bench.show(NOTHING, 40);
    assert!(bench.taken.is_empty());
    // 35.12, 31.4 and, moved while it is read, 35.9 microfarad: one take each, however long they are on.
    bench.touch(3512, -8, NOTHING);
    bench.show(number(3140, -8), 60);
    bench.enter();
    assert_eq!(bench.told.last(), Some(&Told::StillOn));
    bench.show(NOTHING, 8);
    for step in 0..6 {
        bench.show(number(3300 + 60 * step, -8), 1);
    }
    bench.touch(3590, -8, NOTHING);
    // An empty one looks like none: it is told by hand.
    bench.show(NOTHING, 20);
    assert_eq!(bench.taken.len(), 3);
    bench.enter();
    let decisions = bench.decisions();
    assert_eq!(
        decisions,
        [
            Some(Decision::Pass),
            Some(Decision::Fail),
            Some(Decision::Pass),
            Some(Decision::Fail)
        ]
    );
    let parts: Vec<u32> = bench.taken.iter().map(|t| t.part).collect();
    assert_eq!(parts, [1, 2, 3, 4]);
    // 35 microfarad less and more 6 %.
    let outcome = &bench.taken[0].outcome;
    assert!((outcome.low.expect("a limit") - 32.9e-6).abs() < 1e-12);
    assert!((outcome.high.expect("a limit") - 37.1e-6).abs() < 1e-12);
    assert!(outcome.by.contains("marking"), "{}", outcome.by);
    assert!(bench.tray.is_done());
    bench.show(number(3512, -8), 20);
    assert_eq!(bench.taken.len(), 4, "nothing after the last");
}

#[test]
fn a_meter_on_another_function_takes_nothing_and_says_so_once() {
    let script = script(Kind::Capacitor, &Plate::default()).expect("a script");
    let mut bench = Bench::new(&script, None);
    bench.function = Function::Ohms;
    bench.show(number(3512, -2), 20);
    assert_eq!(
        bench.told,
        [Told::Function {
            wanted: Function::Farads,
            got: Function::Ohms
        }]
    );
    bench.enter();
    assert_eq!(bench.told.last(), Some(&Told::NotStill));
    // With nothing marked it is held against what run capacitors usually have, which never condemns.
    bench.function = Function::Farads;
    bench.touch(3512, -8, NOTHING);
    bench.touch(9900, -8, NOTHING);
    assert_eq!(
        bench.decisions(),
        [Some(Decision::Pass), Some(Decision::Check)]
    );
}

/// Ohms of three pairs whose sum holds and of three whose does not; an open pair, told by hand.
#[test]
fn windings_are_judged_by_their_sum() {
    let plate = Plate {
        insulation: Some((Insulation::Thermoplastic, Celsius(25.0))),
        ..Plate::default()
    };
    let script = script(Kind::Motor, &plate).expect("a script");
    let mut bench = Bench::new(&script, Some(3));
    let tester = |bench: &mut Bench<'_>, shown| {
        bench.function = Function::Megohms;
        bench.show(shown, 20);
        bench.enter();
        bench.function = Function::Ohms;
        bench.show(Shown::Overload, 8);
    };
    for [start, run, both] in [[420, 180, 600], [420, 180, 540]] {
        for mantissa in [start, run, both] {
            bench.touch(mantissa, -2, Shown::Overload);
        }
        tester(&mut bench, number(550, 6));
    }
    bench.touch(420, -2, Shown::Overload);
    // An open winding shows what leads in the air show.
    bench.show(Shown::Overload, 40);
    assert_eq!(bench.taken.len(), 9);
    bench.enter();
    bench.show(Shown::Overload, 8);
    bench.touch(421, -2, Shown::Overload);
    tester(&mut bench, Shown::Overload);
    let decisions = bench.decisions();
    assert_eq!(decisions[..3], [None, None, Some(Decision::Pass)]);
    assert_eq!(decisions[3], Some(Decision::Pass));
    assert_eq!(decisions[6], Some(Decision::Check), "a sum that is off");
    assert_eq!(decisions[9], Some(Decision::Fail), "open");
    assert_eq!(decisions[10], Some(Decision::NotJudged));
    assert!(bench.taken[9].outcome.by.contains("one path"));
    assert_eq!(bench.taken.len(), 12);
    // 550 megohm at 25 degrees, a tester of 30 %: IEEE 43 asks for 5 at 40.
    assert_eq!(bench.taken[3].outcome.low, Some(5e6));
}

/// Contacts under a test current: a display of millivolts cannot tell leads that are off, so each is asked
/// for. With no test circuit they are left out, and that is said.
#[test]
fn contacts_are_asked_for_one_by_one() {
    let plate = Plate {
        marked: vec![18.0],
        tolerance: Some(Tolerance::symmetric(Ratio(0.10))),
        amps: Some(Quantity::new(Amps(10.0), 0.05)),
        source: Some(Volts(24.0)),
        poles: 2,
        ..Plate::default()
    };
    let contactor = script(Kind::Contactor, &plate).expect("a script");
    let names: Vec<&str> = contactor.steps.iter().map(|s| s.name.as_str()).collect();
    assert_eq!(names, ["coil", "pole 1", "pole 2"]);
    let mut bench = Bench::new(&contactor, Some(1));
    bench.touch(1790, -2, Shown::Overload);
    bench.function = Function::VoltsAc;
    bench.show(number(31, -3), 20);
    assert_eq!(bench.taken.len(), 1);
    bench.enter();
    // A key at once finds nothing that has stood still since: what stands next is taken.
    bench.enter();
    assert_eq!(bench.told.last(), Some(&Told::NotStill));
    bench.show(number(2100, -2), 20);
    bench.enter();
    assert_eq!(bench.taken.len(), 3);
    assert_eq!(bench.decisions()[0], Some(Decision::Pass));
    assert_eq!(bench.decisions()[1], Some(Decision::Pass));
    assert_eq!(
        bench.decisions()[2],
        Some(Decision::Check),
        "the pole is open"
    );
    let without = script(Kind::Contactor, &Plate::default()).expect("a script");
    assert_eq!(without.steps.len(), 1);
    assert!(without.unproven.iter().any(|u| u.contains("contacts")));
    let half = Plate {
        source: Some(Volts(24.0)),
        ..Plate::default()
    };
    assert_eq!(script(Kind::Relay, &half), Err(ScriptError::Circuit));
}

/// Every kind has a script; a limit is a rule of the core or a marking, and where neither is, none is made up.
#[test]
fn no_limit_is_made_up() {
    for kind in Kind::ALL {
        let bare = script(kind, &Plate::default()).expect("a script");
        assert!(!bare.steps.is_empty(), "{kind:?}");
        for step in &bare.steps {
            let made_up = matches!(step.held, Held::Marked(_));
            assert!(!made_up && !step.connect.is_empty(), "{kind:?} {step:?}");
        }
        let many = Plate {
            marked: vec![1.0; 5],
            ..Plate::default()
        };
        assert_eq!(script(kind, &many), Err(ScriptError::Marked(kind)));
    }
    let switch = Plate {
        marked: vec![4.1e6, 2.9e6],
        tolerance: Some(Tolerance::symmetric(Ratio(0.05))),
        ..Plate::default()
    };
    let switch = script(Kind::PressureSwitch, &switch).expect("a script");
    let mut bench = Bench::new(&switch, Some(1));
    bench.touch(4150, 3, number(20, 3));
    bench.touch(2400, 3, number(20, 3));
    assert_eq!(
        bench.decisions(),
        [Some(Decision::Pass), Some(Decision::Fail)]
    );
    let thermistor = script(Kind::Thermistor, &Plate::default()).expect("a script");
    let mut bench = Bench::new(&thermistor, Some(1));
    bench.touch(1001, 1, Shown::Overload);
    assert_eq!(bench.decisions(), [None]);
    let wrong = Plate {
        marked: vec![1e4],
        tolerance: Some(Tolerance::symmetric(Ratio(1.5))),
        ..Plate::default()
    };
    assert!(matches!(
        script(Kind::Thermistor, &wrong),
        Err(ScriptError::Rule(_))
    ));
}

/// Keyed values are takes at once, and a part may be passed over.
#[test]
fn values_are_keyed_in() {
    let script = script(Kind::Transformer, &Plate::default()).expect("a script");
    let mut bench = Bench::new(&script, Some(2));
    let told = bench.tray.keyed(number(271, -1));
    assert_eq!(told.last(), Some(&Told::Next { part: 1, step: 1 }));
    bench.heed(told);
    let told = bench.tray.skip();
    bench.heed(told);
    for mantissa in [271, 170] {
        let told = bench.tray.keyed(number(mantissa, -1));
        bench.heed(told);
    }
    assert!(bench.tray.is_done());
    assert_eq!(
        bench.decisions(),
        [
            Some(Decision::Pass),
            Some(Decision::Pass),
            Some(Decision::Check)
        ]
    );
    let parts: Vec<u32> = bench.taken.iter().map(|t| t.part).collect();
    assert_eq!(parts, [1, 2, 2]);
}

fn row(part: u32, value: f64, decision: Option<Decision>) -> Row {
    Row {
        part,
        step: "section 1".to_owned(),
        function: "farads".to_owned(),
        display: format!("{:.2}", value * 1e6),
        unit: "uF".to_owned(),
        value: Some(value),
        uncertainty: Some(1e-7),
        low: Some(32.9e-6),
        high: Some(37.1e-6),
        decision,
        by: "marking, \"as read\" (marked on the part or plate)".to_owned(),
    }
}

#[test]
fn a_record_is_read_back_as_it_was_written() {
    let rows = [
        row(1, 35.12e-6, Some(Decision::Pass)),
        row(2, 31.4e-6, Some(Decision::ConditionalFail)),
        Row {
            value: None,
            uncertainty: None,
            low: None,
            ..row(3, 0.0, None)
        },
    ];
    let mut bytes = record::head(&["capacitors, invented".to_owned()]).into_bytes();
    for row in &rows {
        bytes.extend(record::line(row).expect("a line"));
    }
    assert_eq!(record::read("t.csv", &bytes).expect("reads"), rows);
    let text = String::from_utf8(bytes).expect("text");
    let wrong = text.replace("conditional-fail", "middling");
    let error = record::read("t.csv", wrong.as_bytes()).expect_err("wrong");
    assert_eq!(error.troubles[0].0, 4, "{error}");
    let empty = record::head(&[]);
    assert!(record::read("t.csv", empty.as_bytes()).is_err());
}

#[test]
fn parts_are_sorted_by_the_worst_of_their_values() {
    let other = |part, decision| Row {
        step: "section 2".to_owned(),
        ..row(part, 5e-6, decision)
    };
    let sorted = Sorted::of(&[
        row(1, 31.0e-6, Some(Decision::Fail)),
        row(2, 35.0e-6, Some(Decision::Pass)),
        other(2, None),
        row(3, 35.4e-6, Some(Decision::Pass)),
        other(3, Some(Decision::Check)),
        row(4, 36.0e-6, None),
        // Measured again: as it was last.
        row(1, 34.0e-6, Some(Decision::Pass)),
    ]);
    let order: Vec<u32> = sorted.parts.iter().map(|p| p.part).collect();
    assert_eq!(order, [1, 2, 4, 3]);
    assert_eq!(
        sorted.counts,
        [
            (Decision::Pass, 2),
            (Decision::NotJudged, 1),
            (Decision::Check, 1)
        ]
    );
    assert_eq!(sorted.worst(), Some(Decision::Check));
    assert_eq!(sorted.share, 0.5);
    let spread = &sorted.spreads[0];
    assert_eq!(spread.values, [34.0e-6, 35.0e-6, 35.4e-6, 36.0e-6]);
    assert!((spread.mean - 35.1e-6).abs() < 1e-12);
    assert_eq!(spread.limits, Some((Some(32.9e-6), Some(37.1e-6))));
}

/// The exact interval of a yield, against scipy's.
#[test]
fn a_yield_has_scipys_interval() {
    if std::env::var_os("OHMTRAIL_WITHOUT_PYTHON").is_some() {
        eprintln!("left out: OHMTRAIL_WITHOUT_PYTHON is set");
        return;
    }
    let python = std::env::var_os("OHMTRAIL_PYTHON")
        .expect("OHMTRAIL_PYTHON names a Python with scipy: run cargo xtask test");
    let script = "import sys, scipy.stats as s\nfor line in sys.stdin:\n    k, n = map(int, line.split())\n    c = s.binomtest(k, n).proportion_ci(0.95, 'exact')\n    print(c.low, c.high)";
    let mut child = Command::new(python)
        .args(["-c", script])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("Python starts");
    let cases = [(0, 1), (1, 1), (3, 10), (10, 10), (47, 50), (0, 30)];
    let mut input = child.stdin.take().expect("its input");
    for (k, n) in cases {
        writeln!(input, "{k} {n}").expect("it reads");
    }
    drop(input);
    let done = child.wait_with_output().expect("it ends");
    assert!(done.status.success());
    let text = String::from_utf8(done.stdout).expect("text");
    assert_eq!(text.lines().count(), cases.len());
    for ((k, n), line) in cases.into_iter().zip(text.lines()) {
        let rows: Vec<Row> = (0..n)
            .map(|p| {
                let decision = if p < k {
                    Decision::Pass
                } else {
                    Decision::Fail
                };
                row(p, 35e-6, Some(decision))
            })
            .collect();
        let ours = Sorted::of(&rows).interval;
        for (ours, theirs) in ours.iter().zip(line.split(' ')) {
            let theirs: f64 = theirs.parse().expect("a number");
            assert!((ours - theirs).abs() < 1e-7, "{k} of {n}: {ours} {theirs}");
        }
    }
}
