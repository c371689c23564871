//! Compiling the largest built-in sheet, and one ngspice process that solves the same operating points.
//!
//! An operating point is one probe pair in one state of one unit under one fault set. ngspice
//! takes one deck for each state of a unit, all of them in one process; compiling solves every
//! hypothesis and sampled unit. So both are held against each other by the operating point.

use std::hint::black_box;
use std::time::{Duration, Instant};

mod largest;

use criterion::{Criterion, criterion_group, criterion_main};
use ohmtrail_circuit::compile::{Options, compile};
use ohmtrail_circuit::meter::{Scene, State, VOLTMETER_OHMS};
use ohmtrail_circuit::netlist::{Analysis, Deck};
use ohmtrail_circuit::operate::Unit;
use ohmtrail_circuit::sheet::{Heat, PointId, Question, Sheet};
use ohmtrail_circuit::unit::{Circuit, Drawn};
use ohmtrail_core::isolate::Table;
use ohmtrail_core::reading::Function;
use ohmtrail_spice::Ngspice;

use largest::largest;

const TURNS: usize = 10;

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

/// The decks of one unit, one for each state.
fn decks(unit: &Unit<'_>, groups: &[Group<'_>]) -> Vec<(String, String, usize)> {
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
                deck.probe(*pair, VOLTMETER_OHMS);
            }
            deck.parts()
        })
        .collect()
}

/// Runs one process through all decks; returns how many values it printed, and how long it took,
/// its start included.
fn solve_with(program: &str, decks: &[(String, String, usize)]) -> (usize, Duration) {
    let start = Instant::now();
    let mut ngspice = Ngspice::start(program).expect("ngspice starts");
    let mut values = 0;
    for (network, commands, probes) in decks {
        ngspice.load(network).expect("the network is taken");
        values += ngspice.run(commands, *probes).expect("it solves").len();
    }
    (values, start.elapsed())
}

/// This solver, one thread, the same unit and the same probe pairs, from its parts on.
fn solve(circuit: &Circuit<'_>, groups: &[Group<'_>], faults: &[usize]) -> Duration {
    let drawn = Drawn::draw(circuit.sheet, 11);
    let start = Instant::now();
    let unit = Unit::new(circuit, drawn, faults);
    for group in groups {
        let scene = Scene::new(&unit, group.function, group.state).expect("it is modelled");
        for pair in &group.pairs {
            black_box(scene.shows(group.function, *pair, VOLTMETER_OHMS));
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
    let sheet = largest();
    let circuit = Circuit::new(&sheet);
    let groups = groups(&sheet);
    let points: usize = groups.iter().map(|g| g.pairs.len()).sum();
    let faults = [sheet.fault("run-cap.herm-open").unwrap_or(0)];
    let unit = Unit::new(&circuit, Drawn::draw(&sheet, 11), &faults);
    let decks = decks(&unit, &groups);
    let program = Some(Ngspice::program()).filter(|p| Ngspice::start(p).is_ok());
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
        "compiling {} ({} hypotheses x {} samples x {points} probe pairs, {cores} threads), microseconds:",
        sheet.name, table.hypotheses, table.samples
    );
    println!("{:48}{:>14}{:>12}", "", "median", "ratio");
    row("compile", whole, 1.0);
    row("goal", 500_000.0, 500_000.0 / whole);
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
    let sheet = largest();
    let mut group = c.benchmark_group(format!("compile {}", sheet.name));
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
