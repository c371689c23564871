//! One Bayes update and the choice of the next ask on the largest built-in sheet's whole table, pairs and
//! samples, on one core. A simulated unit answers the asks that the planner chooses.

use std::hint::black_box;
use std::time::{Duration, Instant};

mod largest;

use criterion::{Criterion, criterion_group, criterion_main};
use ohmtrail_circuit::compile::{Compiled, Options, compile};
use ohmtrail_circuit::meter::{Ideal, Scene, State as UnitState, input_ohms};
use ohmtrail_circuit::operate::Unit;
use ohmtrail_circuit::sheet::{Heat, Question, Sheet};
use ohmtrail_circuit::unit::{Circuit, Drawn};
use ohmtrail_core::class::Likely;
use ohmtrail_core::isolate::{Active, Belief, Evidence, Planner, Prospect, State, Table};

use largest::largest;

/// How many answered asks the benchmark looks at.
const TAKES: usize = 6;

const START: State = State {
    on: true,
    lifted: 0,
    cooled: false,
};

/// What a good meter or eye says of the unit at a check: 1 % of the value uncertain.
fn answer(unit: &Unit<'_>, sheet: &Sheet, compiled: &Compiled, ask: u16) -> Evidence {
    let check = &sheet.checks[usize::from(ask)];
    let heat = check.heat.unwrap_or(Heat::AsFound);
    match &check.question {
        Question::Look { part, look } => Evidence::Looked(unit.sees(*part, look.sight, heat)),
        Question::Measure {
            function,
            points,
            low_impedance,
            ..
        } => {
            let state = UnitState {
                power: check.power == Some(true),
                lifted: check.lift.map_or(&[], |l| &sheet.lifts[l].ends),
                heat,
            };
            let scene = Scene::new(unit, *function, state).expect("it is modelled");
            let bands = compiled.bands[usize::from(ask)].expect("a measurement");
            let likely: Likely = match scene.shows(*function, *points, input_ohms(*low_impedance)) {
                Ideal::Overload => bands.bands.judge(f64::INFINITY, 0.0),
                Ideal::Value(v) => bands.bands.judge(v, 0.01 * v + 1e-12),
            };
            Evidence::Measured(likely)
        }
    }
}

fn next_ask(c: &mut Criterion) {
    let sheet = largest();
    let circuit = Circuit::new(&sheet);
    let compiled = compile(&sheet, Options::default()).expect("it compiles");
    let table = Table::parse(&compiled.bytes).expect("it is sound");
    let mut room = vec![0.0; table.weight_count()];
    let mut prospects = vec![Prospect::default(); usize::from(table.ask_count())];
    let mut active = vec![Active::default(); usize::from(table.hypotheses)];
    let mut belief = Belief::new(&table, &mut room).expect("room");
    let mut planner = Planner::new(&table, &mut prospects, &mut active).expect("room");

    // The asks of one isolation, and their answers.
    let fault = sheet.fault("run-cap.fan-open").unwrap_or(0);
    let unit = Unit::new(&circuit, Drawn::draw(&sheet, 7), &[fault]);
    let mut takes: Vec<(u16, Evidence)> = Vec::new();
    let mut states = vec![START];
    for _ in 0..=TAKES {
        let now = states[states.len() - 1];
        let asked = |a: u16| takes.iter().all(|(t, _)| *t != a);
        let Some(choice) = planner.next(&belief, now, &mut |a| asked(a)) else {
            break;
        };
        let evidence = answer(&unit, &sheet, &compiled, choice.ask);
        belief.update(choice.ask, &evidence).expect("it fits");
        takes.push((choice.ask, evidence));
        states.push(choice.state);
    }

    // After `n` takes: the next one comes in, and the ask after it is chosen.
    let mut once = |n: usize| -> Duration {
        belief.reset();
        for (ask, evidence) in &takes[..n] {
            belief.update(*ask, evidence).expect("it fits");
        }
        let (ask, evidence) = &takes[n];
        let now = states[n + 1];
        let asked = |a: u16| takes[..=n].iter().all(|(t, _)| *t != a);
        let start = Instant::now();
        belief.update(black_box(*ask), evidence).expect("it fits");
        black_box(planner.next(&belief, now, &mut |a| asked(a)));
        start.elapsed()
    };
    let mut group = c.benchmark_group("update and next ask");
    for n in 0..takes.len() {
        group.bench_function(format!("take {}", n + 1), |b| {
            b.iter_custom(|turns| (0..turns).map(|_| once(n)).sum());
        });
    }
    group.finish();

    println!(
        "one update and next ask on {} ({} asks x {} hypotheses x {} samples, one core), microseconds:",
        sheet.name,
        table.ask_count(),
        table.hypotheses,
        table.samples
    );
    println!("{:48}{:>14}{:>12}", "", "median", "of goal");
    for n in 0..takes.len() {
        let mut times: Vec<Duration> = (0..201).map(|_| once(n)).collect();
        times.sort();
        let micros = times[100].as_secs_f64() * 1e6;
        println!(
            "{:48}{micros:>14.1}{:>12.2}",
            format!("take {}", n + 1),
            micros / 1000.0
        );
    }
}

criterion_group!(benches, next_ask);
criterion_main!(benches);
