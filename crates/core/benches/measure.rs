//! One reading from the display to a verdict: settling, accuracy, the classes of its bands and the
//! rule's decision.

use std::hint::black_box;
use std::time::Instant;

use criterion::{Criterion, criterion_group, criterion_main};
use ohmtrail_core::accuracy::{Accuracy, Circuit, Quantity, Spec};
use ohmtrail_core::reading::{Decimal, Flags, Function, MeterId, Reading, Shown};
use ohmtrail_core::rules::capacitor::{Known, Tolerance, marked_limits, section};
use ohmtrail_core::settle::{Settler, State};
use ohmtrail_core::units::{Farads, Micros, Ratio};
use ohmtrail_core::verdict::{Limit, Verdict};

/// A meter of an invented accuracy: 3 % and 5 counts on farads.
const METER: [Spec; 1] = [Spec {
    function: Function::Farads,
    accuracy: Accuracy::new(3.0, 5.0),
}];

/// The `n`-th display of a meter that is on a 35 microfarad section: the last digit breathes.
fn reading(n: u64, a_second: u64) -> Reading {
    Reading {
        function: Function::Farads,
        shown: Shown::Value(Decimal::new(3488 + (n % 2) as i32, -8)),
        flags: Flags::AUTO_RANGE,
        meter: MeterId(1),
        at: Micros(1_000_000 + n * 1_000_000 / a_second),
    }
}

fn limit() -> Limit {
    marked_limits(Farads(35e-6), Tolerance::symmetric(Ratio(0.06))).expect("a marking")
}

/// One reading: pushed, and judged once it stands.
fn one(settler: &mut Settler, reading: &Reading, limit: &Limit) -> Option<Verdict> {
    let State::Settled(settled) = settler.push(reading) else {
        return None;
    };
    let shown = Reading {
        shown: settled.shown,
        ..*reading
    };
    let bands = limit.bands();
    Some(Verdict::read(
        &shown,
        Function::Farads,
        Circuit::Dead,
        &METER,
        *limit,
        &bands,
    ))
}

/// A settler that has stood for some seconds.
fn standing(a_second: u64) -> (Settler, u64) {
    let mut settler = Settler::new();
    let readings = 5 * a_second;
    for n in 0..readings {
        settler.push(&reading(n, a_second));
    }
    (settler, readings)
}

fn measure(c: &mut Criterion) {
    let limit = limit();
    let mut group = c.benchmark_group("measure");
    // A hand-held meter, and the fastest that the window of one second holds whole.
    for a_second in [4, 60] {
        let (mut settler, mut n) = standing(a_second);
        assert!(one(&mut settler, &reading(n, a_second), &limit).is_some());
        group.bench_function(
            format!("settle and verdict, {a_second} readings a second"),
            |b| {
                b.iter(|| {
                    n += 1;
                    one(&mut settler, black_box(&reading(n, a_second)), &limit)
                });
            },
        );
    }
    let known = Known {
        marked: Some(Farads(35e-6)),
        tolerance: Some(Tolerance::symmetric(Ratio(0.06))),
        plate: None,
    };
    let take = reading(0, 4);
    group.bench_function("capacitor rule", |b| {
        b.iter(|| {
            Quantity::read(black_box(&take), Function::Farads, Circuit::Dead, &METER)
                .map(|farads| section(farads, &known))
        });
    });
    group.finish();
    println!("one reading through settle and verdict, 100000 readings, microseconds:");
    println!("{:32}{:>12}", "", "mean");
    for a_second in [4, 60] {
        let (mut settler, from) = standing(a_second);
        let start = Instant::now();
        for n in from..from + 100_000 {
            black_box(one(&mut settler, black_box(&reading(n, a_second)), &limit));
        }
        let each = start.elapsed().as_secs_f64() * 1e6 / 100_000.0;
        println!("{:32}{each:>12.3}", format!("{a_second} readings a second"));
    }
}

criterion_group!(benches, measure);
criterion_main!(benches);
