//! Compiling the built-in sheet, and one ngspice process that solves the same operating points.
//!
//! An operating point is one probe pair in one state of one unit under one fault set. ngspice
//! takes one deck for each state of a unit, all of them in one process; compiling solves every
//! hypothesis and sampled unit. So both are held against each other by the operating point.

use std::fmt::Write as _;
use std::fs;
use std::hint::black_box;
use std::io::Write as _;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use criterion::{Criterion, criterion_group, criterion_main};
use ohmtrail_circuit::compile::{Options, compile};
use ohmtrail_circuit::meter::{Scene, State};
use ohmtrail_circuit::netlist::{Analysis, Deck};
use ohmtrail_circuit::operate::Unit;
use ohmtrail_circuit::sheet::{Heat, PointId, Question, Sheet, read_builtin};
use ohmtrail_circuit::unit::{Circuit, Drawn};
use ohmtrail_core::isolate::Table;
use ohmtrail_core::reading::Function;

const TURNS: usize = 10;

fn heat_pump() -> Sheet {
    read_builtin("split-heat-pump-1ph")
        .expect("it is built in")
        .expect("it reads")
}

/// The probe pairs of one state.
struct Group<'s> {
    function: Function,
    analysis: Analysis,
    state: State<'s>,
    pairs: Vec<[PointId; 2]>,
}

/// Every measurement of the sheet, by its state. Amperes are read as the volts between their
/// points: a deck has no clamp.
fn groups(sheet: &Sheet) -> Vec<Group<'_>> {
    let mut groups: Vec<Group<'_>> = Vec::new();
    for check in &sheet.checks {
        let Question::Measure {
            function, points, ..
        } = &check.question
        else {
            continue;
        };
        let (function, analysis) = match function {
            Function::Farads => (Function::Farads, Analysis::Farads),
            f if f.injects() => (Function::Ohms, Analysis::Ohms),
            _ => (Function::VoltsAc, Analysis::Live),
        };
        let state = State {
            power: check.power == Some(true),
            lifted: check.lift.map_or(&[], |l| &sheet.lifts[l].ends),
            heat: check.heat.unwrap_or(Heat::AsFound),
        };
        let same = |g: &&mut Group<'_>| g.analysis == analysis && g.state == state;
        match groups.iter_mut().find(same) {
            Some(group) => group.pairs.push(*points),
            None => groups.push(Group {
                function,
                analysis,
                state,
                pairs: vec![*points],
            }),
        }
    }
    groups
}

/// The decks of one unit, one for each state, without the command that ends ngspice.
fn decks(unit: &Unit<'_>, groups: &[Group<'_>]) -> Vec<String> {
    groups
        .iter()
        .map(|group| {
            let elements = if group.state.power {
                unit.standing(group.state.heat).assembly.elements.clone()
            } else {
                unit.dead_elements(group.state.lifted, group.state.heat)
            };
            let mut deck = Deck::new(unit.circuit().sheet, group.analysis, &elements);
            for pair in &group.pairs {
                deck.probe(*pair);
            }
            deck.finish().replace("\nquit\n", "\n")
        })
        .collect()
}

/// ngspice, if it is there.
fn ngspice() -> Option<String> {
    let program = std::env::var("OHMTRAIL_NGSPICE").unwrap_or_else(|_| "ngspice".into());
    let asked = Command::new(&program)
        .arg("--version")
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .status();
    asked.is_ok_and(|s| s.success()).then_some(program)
}

/// Runs one process through all decks; returns how many values it printed, and how long it took.
fn solve_with(program: &str, decks: &[String]) -> (usize, Duration) {
    let folder = tempfile::tempdir().expect("a folder");
    let mut script = String::from("* all of them\n.control\n");
    for (i, deck) in decks.iter().enumerate() {
        let path = folder.path().join(format!("{i}.cir"));
        fs::write(&path, deck).expect("a deck");
        let _ = writeln!(script, "source {}\nremcirc", path.display());
    }
    script.push_str("quit\n.endc\n.end\n");
    let start = Instant::now();
    let mut child = Command::new(program)
        .args(["-b", "/dev/stdin"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .expect("ngspice starts");
    let mut stdin = child.stdin.take().expect("stdin is piped");
    stdin.write_all(script.as_bytes()).expect("the script");
    drop(stdin);
    let output = child.wait_with_output().expect("ngspice ends");
    let took = start.elapsed();
    let text = String::from_utf8_lossy(&output.stdout);
    let values = text.lines().filter(|l| l.starts_with("v(")).count();
    (values, took)
}

/// This solver, one thread, the same unit and the same probe pairs, from its parts on.
fn solve(circuit: &Circuit<'_>, groups: &[Group<'_>], faults: &[usize]) -> Duration {
    let drawn = Drawn::draw(circuit.sheet, 11);
    let start = Instant::now();
    let unit = Unit::new(circuit, drawn, faults);
    for group in groups {
        let scene = Scene::new(&unit, group.function, group.state).expect("it is modelled");
        for pair in &group.pairs {
            black_box(scene.shows(group.function, *pair));
        }
    }
    start.elapsed()
}

fn median(mut times: Vec<Duration>) -> f64 {
    times.sort();
    times[times.len() / 2].as_secs_f64() * 1e6
}

fn row(name: &str, micros: f64, ratio: f64) {
    println!("{name:48}{micros:>14.2}{ratio:>12.2}");
}

fn side_by_side(_: &mut Criterion) {
    let sheet = heat_pump();
    let circuit = Circuit::new(&sheet);
    let groups = groups(&sheet);
    let points: usize = groups.iter().map(|g| g.pairs.len()).sum();
    let faults = [sheet.fault("run-cap.herm-open").expect("a fault")];
    let unit = Unit::new(&circuit, Drawn::draw(&sheet, 11), &faults);
    let decks = decks(&unit, &groups);
    let program = ngspice();
    let (mut whole, mut ours, mut theirs) = (Vec::new(), Vec::new(), Vec::new());
    // They take turns, so that all see the same machine.
    for _ in 0..TURNS {
        let start = Instant::now();
        black_box(compile(&sheet, Options::default()).expect("it compiles"));
        whole.push(start.elapsed());
        ours.push(solve(&circuit, &groups, &faults));
        if let Some(program) = &program {
            let (values, took) = solve_with(program, &decks);
            assert_eq!(
                values, points,
                "ngspice prints one value for each probe pair"
            );
            theirs.push(took);
        }
    }
    let compiled = compile(&sheet, Options::default()).expect("it compiles");
    let table = Table::parse(&compiled.bytes).expect("it is sound");
    // The row of *none of these* is not solved.
    let units = (table.weight_count() - usize::from(table.samples)) as f64;
    let solved = units * points as f64;
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    let whole = median(whole);
    println!(
        "compiling the sheet ({} hypotheses x {} samples x {points} probe pairs, {cores} threads), microseconds:",
        table.hypotheses, table.samples
    );
    println!("{:48}{:>14}{:>12}", "", "median", "ratio");
    row("compile", whole, 1.0);
    row("goal", 200_000.0, 200_000.0 / whole);
    if theirs.is_empty() {
        println!("ngspice is not there: set OHMTRAIL_NGSPICE or install it; its side is skipped");
        return;
    }
    let (ours, theirs) = (median(ours) / points as f64, median(theirs) / points as f64);
    row(
        "ngspice, as many operating points (computed)",
        theirs * solved,
        theirs * solved / whole,
    );
    println!(
        "one operating point ({} decks of {points} in one ngspice process), microseconds:",
        decks.len()
    );
    println!("{:48}{:>14}{:>12}", "", "median", "ratio");
    row("compile, all threads", whole / solved, 1.0);
    row(
        "this solver, one unit, one thread",
        ours,
        ours * solved / whole,
    );
    row(
        "ngspice, one unit, one thread",
        theirs,
        theirs * solved / whole,
    );
}

fn compiling(c: &mut Criterion) {
    let sheet = heat_pump();
    let mut group = c.benchmark_group("compile split-heat-pump-1ph");
    group.sample_size(10);
    group.bench_function("pairs and samples", |b| {
        b.iter(|| compile(black_box(&sheet), Options::default()));
    });
    let singles = Options {
        singles_only: true,
        ..Options::default()
    };
    group.bench_function("single faults", |b| {
        b.iter(|| compile(black_box(&sheet), singles));
    });
    group.finish();
}

criterion_group!(benches, compiling, side_by_side);
criterion_main!(benches);
