//! A fixed slice of the fault bench, and its figures against scipy. The whole of it is
//! `cargo xtask bench isolation`.

use std::process::Command;

use ohmtrail_circuit::compile::{Options as CompileOptions, compile};
use ohmtrail_core::isolate::Table;
use ohmtrail_tests::fault_bench::policy::Mind;
use ohmtrail_tests::fault_bench::report::{Summary, failure};
use ohmtrail_tests::fault_bench::stats::{Rate, Reliability};
use ohmtrail_tests::fault_bench::{Options, Ran, run, sheet};

const SLICE: Options = Options {
    cases: 40,
    seed: 2026,
    jobs: 2,
};

/// The sheet that the slice is run on: the largest single-phase one.
const SHEET: &str = "split-heat-pump-1ph";

#[test]
fn the_hard_bars_hold_on_a_fixed_slice() {
    let data = sheet(SHEET);
    let (ran, took) = run(&data, &SLICE);
    let summary = Summary::of(&data.sheet, &ran);
    let failures: Vec<String> = ran.iter().filter_map(|r| failure(&data.sheet, r)).collect();
    eprintln!("{}\n{}", failures.join("\n"), summary.table(SHEET));
    eprintln!("{:.0} s", took.as_secs_f64());
    assert_eq!(ran.len(), SLICE.cases);
    assert!(
        summary.violations.is_empty(),
        "asked for before its gate: {:?}",
        summary.violations
    );
    assert_eq!(
        summary.hot.hits, 0,
        "a compressor is condemned on a hot overload"
    );
    assert!(
        summary.hot.of > 0,
        "no case of the slice had a hot overload"
    );
    // At most one in five hundred: more than that must be excluded by no slice, this one included.
    let (least, _) = summary.condemned().interval();
    assert!(
        least <= 1.0 / 500.0,
        "healthy parts condemned: {}",
        summary.condemned()
    );
    // Every dialogue comes to an end, whatever is wrong.
    let broken = |r: &&Ran| r.played.broken.is_some();
    assert_eq!(ran.iter().filter(broken).count(), 0, "dialogues broken off");
    // Floating points, read through the leads, come close to one; the bar itself is held by
    // crates/circuit/tests/ngspice.rs, where the meter has no leads.
    assert!(
        summary.agreement.values > 500 && summary.agreement.worst <= 2.0,
        "ngspice and our solver differ: {:?}",
        summary.agreement
    );
}

/// The planner against the best of all policies, exactly, on the asks that tell most.
#[test]
fn the_planner_is_near_the_best_policy() {
    let data = sheet(SHEET);
    let compiled = compile(&data.sheet, CompileOptions::default()).expect("it compiles");
    let table = Table::parse(&compiled.bytes).expect("it is sound");
    let (planner, best) = Mind::new(table).against_the_best(4);
    eprintln!("planner {planner:.3} minutes, best {best:.3}");
    assert!(
        best > 1.0 && planner >= best * (1.0 - 1e-6),
        "{planner} {best}"
    );
    assert!(planner <= 1.15 * best, "{planner} against {best} minutes");
}

/// The longest test for absence of voltage is carried to its end, also where a hand slips in it.
#[test]
fn every_dialogue_on_the_three_phase_unit_ends() {
    let data = sheet("rooftop-3ph");
    let options = Options {
        cases: 16,
        seed: 1,
        jobs: 2,
    };
    let (ran, _) = run(&data, &options);
    let summary = Summary::of(&data.sheet, &ran);
    assert_eq!(ran.len(), options.cases);
    assert!(summary.violations.is_empty(), "{:?}", summary.violations);
    let broken: Vec<String> = ran
        .iter()
        .filter(|r| r.played.broken.is_some())
        .filter_map(|r| failure(&data.sheet, r))
        .collect();
    assert!(broken.is_empty(), "{}", broken.join("\n"));
}

/// Wilson's interval and the Brier score by scipy and numpy.
#[test]
fn intervals_and_scores_are_those_of_scipy() {
    if std::env::var_os("OHMTRAIL_WITHOUT_PYTHON").is_some_and(|v| v == "1") {
        eprintln!("left out, as asked: OHMTRAIL_WITHOUT_PYTHON=1");
        return;
    }
    let python = std::env::var("OHMTRAIL_PYTHON")
        .expect("OHMTRAIL_PYTHON is not set: run `cargo xtask test`, which installs scipy");
    let cases = [
        (0, 1),
        (0, 160),
        (1, 1),
        (3, 40),
        (114, 117),
        (999, 1000),
        (160, 160),
    ];
    let script = format!(
        "from scipy.stats import binomtest\n\
         for k, n in {cases:?}:\n\
         \x20   i = binomtest(k, n).proportion_ci(0.95, 'wilson')\n\
         \x20   print(i.low, i.high)\n\
         import numpy as np\n\
         p = np.arange(1, 200) / 200\n\
         came = (np.arange(1, 200) % 3 == 0)\n\
         print(np.mean((p - came) ** 2), 0)\n"
    );
    let output = Command::new(python)
        .args(["-c", &script])
        .output()
        .expect("Python starts");
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    let text = String::from_utf8(output.stdout).expect("text");
    let rows: Vec<Vec<f64>> = text
        .lines()
        .map(|l| l.split(' ').map(|v| v.parse().expect("a number")).collect())
        .collect();
    assert_eq!(rows.len(), cases.len() + 1);
    for ((hits, of), row) in cases.iter().zip(&rows) {
        let (low, high) = Rate {
            hits: *hits,
            of: *of,
        }
        .interval();
        assert!(
            (low - row[0]).abs() < 1e-12 && (high - row[1]).abs() < 1e-12,
            "{hits} of {of}: {low} {high}, scipy {row:?}"
        );
    }
    let mut said = Reliability::default();
    for i in 1..200 {
        said.say(f64::from(i) / 200.0, i % 3 == 0);
    }
    assert!((said.brier() - rows[cases.len()][0]).abs() < 1e-12);
    // The curve: every statement in one bin, none too small.
    let bins = said.bins(40);
    assert_eq!(bins.iter().map(|b| b.came.of).sum::<u64>(), 199);
    assert!(bins.iter().all(|b| b.came.of >= 39), "{bins:?}");
}
