//! Every fault of the built-in sheets, over and over: the finding is the injected fault, or one that
//! no check from outside tells from it, and no healthy part is condemned.
//!
//! Units are drawn from the sheet's priors, the meter errs within its statement, looks mislead as
//! often as the sheet says that they do. Run with `--release`.

use std::collections::BTreeSet;
use std::io::Write;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use ohmtrail_circuit::sheet::read_builtin;
use ohmtrail_meters::profile::Profile;
use ohmtrail_tests::technician::profile;
use ohmtrail_tests::visiting::visit;
use ohmtrail_visit::{Book, SheetBundle};

/// At least this share of a sheet's visits must be right.
const RIGHT: f64 = 0.99;

/// At most so many visits of one fault may end otherwise.
const MISSES: u64 = 1;

/// A fault that is known to be missed more often: of 100 visits to a compressor capacitor far under its
/// marking, 3 ended as *none of these*, each with a capacity at the low end of what is drawn. One more visit
/// than of others may end so, and no more.
const WEAK: [(&str, &str); 1] = [("split-cooling-1ph-single", "herm-cap.low")];

#[derive(Default)]
struct Row {
    right: u64,
    undecided: u64,
    wrong: u64,
    asks: usize,
    others: BTreeSet<String>,
    alike: BTreeSet<String>,
}

#[test]
fn every_fault_of_the_split_heat_pump_is_found() {
    // Every single fault, and the everyday case.
    let both = ["run-cap.herm-open", "run-cap.fan-open"];
    every_fault_is_found("split-heat-pump-1ph", &[&both], 100);
}

#[test]
fn every_fault_of_the_control_loop_is_found() {
    every_fault_is_found("control-loop-24v", &[], 12);
}

#[test]
fn every_fault_of_the_electric_furnace_is_found() {
    every_fault_is_found("electric-furnace-1ph", &[], 12);
}

#[test]
fn every_fault_of_the_walk_in_cooler_is_found() {
    every_fault_is_found("walk-in-cooler-defrost-1ph", &[], 12);
}

#[test]
fn every_fault_of_the_cooling_unit_is_found() {
    let pair: &[&[&str; 2]] = &[&["run-cap.herm-open", "run-cap.fan-open"]];
    every_fault_is_found("split-cooling-1ph", pair, 12);
}

#[test]
fn every_fault_of_the_unit_with_single_capacitors_is_found() {
    let pair: &[&[&str; 2]] = &[&["herm-cap.open", "fan-cap.open"]];
    every_fault_is_found("split-cooling-1ph-single", pair, 12);
}

#[test]
fn every_fault_of_the_unit_with_a_driven_fan_is_found() {
    let pair: &[&[&str; 2]] = &[&["fan-motor.winding-shorted", "fan-module.dead"]];
    every_fault_is_found("split-cooling-1ph-ecm-fan", pair, 12);
}

#[test]
fn every_fault_of_the_unit_with_a_hard_start_is_found() {
    let pair: &[&[&str; 2]] = &[
        &["run-cap.herm-open", "run-cap.fan-open"],
        &["start-relay.welded", "start-cap.open"],
    ];
    every_fault_is_found("split-heat-pump-1ph-hard-start", pair, 12);
}

/// Visits every single fault of a sheet, and these pairs, so many times each.
fn every_fault_is_found(sheet: &str, pairs: &[&[&str; 2]], visits: u64) {
    let sheet = read_builtin(sheet)
        .expect("built in")
        .expect("the sheet is right");
    let bundle = SheetBundle::new(sheet).expect("the sheet compiles");
    let profiles = [0, 1].map(profile);
    let faults = &bundle.sheet.faults;
    let mut sets: Vec<Vec<usize>> = (0..faults.len()).map(|f| vec![f]).collect();
    for pair in pairs {
        let fault = |f: &&str| bundle.sheet.fault(f).expect("a fault of the sheet");
        sets.push(pair.iter().map(fault).collect());
    }
    let next = AtomicUsize::new(0);
    let rows: Mutex<Vec<(usize, Row)>> = Mutex::new(Vec::new());
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    std::thread::scope(|scope| {
        for _ in 0..threads {
            scope.spawn(|| {
                let book = Book::new(&bundle).expect("the book is right");
                loop {
                    let i = next.fetch_add(1, Ordering::Relaxed);
                    let Some(set) = sets.get(i) else { break };
                    let row = seeds(&book, &profiles, set, i, visits);
                    rows.lock().expect("not poisoned").push((i, row));
                }
            });
        }
    });
    let mut rows = rows.into_inner().expect("not poisoned");
    rows.sort_by_key(|(i, _)| *i);
    let mut table = format!(
        "\n{:<40} {:>6} {:>10} {:>6} {:>5}\n",
        "injected", "right", "undecided", "wrong", "asks"
    );
    let mut bad = Vec::new();
    for (i, row) in &rows {
        let name = names(&bundle, &sets[*i]);
        table.push_str(&format!(
            "{name:<40} {:>6} {:>10} {:>6} {:>5}",
            row.right,
            row.undecided,
            row.wrong,
            row.asks / visits as usize
        ));
        if !row.alike.is_empty() {
            let alike: Vec<&str> = row.alike.iter().map(String::as_str).collect();
            table.push_str(&format!("  not to be told from {}", alike.join(", ")));
        }
        if !row.others.is_empty() {
            table.push_str(&format!("  {:?}", row.others));
        }
        table.push('\n');
        let weak = WEAK.contains(&(bundle.sheet.name.as_str(), name.as_str()));
        if row.right + MISSES + u64::from(weak) < visits {
            bad.push(name);
        }
    }
    // Past the test runner's capture: the table is part of the run.
    let _ = std::io::stderr().write_all(table.as_bytes());
    assert!(
        bad.is_empty(),
        "more than {MISSES} of {visits} not right: {}",
        bad.join("; ")
    );
    let right: u64 = rows.iter().map(|(_, row)| row.right).sum();
    let all = visits * rows.len() as u64;
    assert!(
        right as f64 >= RIGHT * all as f64,
        "{right} of {all} visits right"
    );
}

fn names(bundle: &SheetBundle, set: &[usize]) -> String {
    let names: Vec<&str> = set
        .iter()
        .map(|&f| bundle.sheet.faults[f].name.as_str())
        .collect();
    names.join(" + ")
}

fn seeds(book: &Book<'_>, profiles: &[Profile; 2], set: &[usize], salt: usize, visits: u64) -> Row {
    let injected: BTreeSet<String> = set
        .iter()
        .map(|&f| book.sheet.faults[f].name.clone())
        .collect();
    let mut row = Row::default();
    for seed in 0..visits {
        let drawn = 1 + seed * 1009 + salt as u64 * 7;
        let ended = visit(book, profiles, drawn, set, None);
        let (finding, lead) = (ended.finding, ended.lead);
        row.asks += ended.asks;
        let found: BTreeSet<String> = finding.faults.iter().cloned().collect();
        let alike: Vec<BTreeSet<String>> = finding
            .alike
            .iter()
            .map(|set| set.iter().cloned().collect())
            .collect();
        if found == injected || alike.contains(&injected) {
            row.right += 1;
            for set in alike.iter().chain([&found]).filter(|s| **s != injected) {
                let names: Vec<&str> = set.iter().map(String::as_str).collect();
                row.alike.insert(names.join(" + "));
            }
        } else if found.is_empty() {
            row.undecided += 1;
            row.others
                .insert(format!("undecided: {lead}, seed {drawn}"));
        } else {
            row.wrong += 1;
            row.others.insert(format!("{found:?}, seed {drawn}"));
        }
    }
    row
}
