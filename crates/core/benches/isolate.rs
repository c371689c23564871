//! One Bayes update and the choice of the next ask, on a table of full size: 200 asks, 1,000
//! hypotheses (single faults and pairs), 8 samples. The table is invented.

use std::hint::black_box;

use criterion::{Criterion, criterion_group, criterion_main};
use ohmtrail_core::class::Likely;
use ohmtrail_core::isolate::ask::ANY_LIFTED;
use ohmtrail_core::isolate::table::NO_FAULT;
use ohmtrail_core::isolate::{
    Active, Belief, Cooled, Evidence, Planner, PowerNeed, Prospect, State, Table,
};

#[allow(dead_code, reason = "the bench uses a part of the tests' builder")]
#[path = "../tests/isolate/build.rs"]
mod build;

use build::{Dice, Sheet, measure, row};

const FAULTS: usize = 60;
const HYPOTHESES: usize = 1000;
const SAMPLES: u8 = 8;
const ASKS: usize = 200;

/// Each fault changes what one ask in ten shows; a pair shows what its first fault that changes
/// anything shows. One cell in ten differs between the samples of a hypothesis.
fn full_size(dice: &mut Dice) -> Sheet {
    let mut sets = vec![[NO_FAULT; 2]];
    sets.extend((0..FAULTS as u16).map(|f| [f, NO_FAULT]));
    while sets.len() < HYPOTHESES - 1 {
        let (a, b) = (dice.below(FAULTS) as u16, dice.below(FAULTS) as u16);
        if a != b && !sets.contains(&[a, b]) {
            sets.push([a, b]);
        }
    }
    sets.push([NO_FAULT; 2]);
    let priors: Vec<f32> = sets
        .iter()
        .map(|[_, second]| if *second == NO_FAULT { 0.016 } else { 2e-4 } * (0.5 + dice.unit()))
        .collect();
    let mut sheet = Sheet::singles(&priors, SAMPLES);
    sheet.sets = sets;
    sheet.faults = FAULTS as u16;
    sheet.wrong = vec![100; FAULTS];
    sheet.lifts = vec![0, 40, 40, 60, 60, 80];
    for a in 0..ASKS {
        let power = [PowerNeed::Off, PowerNeed::On][a % 2];
        let mut record = measure(power, 5 + dice.below(30) as u16);
        record.live = 0b01_1111;
        record.lifted = [0, 0, 0, ANY_LIFTED, 1 + dice.below(5) as u8][dice.below(5)];
        record.cooled = [Cooled::Any, Cooled::Any, Cooled::Any, Cooled::Cooled][dice.below(4)];
        let mut rows: Vec<_> = (0..24).map(|_| row(&dice.probabilities(6))).collect();
        rows[23] = row(&[1.0; 6]);
        let shows: Vec<Option<u8>> = (0..FAULTS)
            .map(|_| (dice.below(10) == 0).then(|| 1 + dice.below(22) as u8))
            .collect();
        let mut cells = Vec::new();
        for (h, set) in sheet.sets.iter().enumerate() {
            let shown = set
                .iter()
                .find_map(|fault| shows.get(usize::from(*fault)).copied().flatten());
            let common = if h == HYPOTHESES - 1 {
                23
            } else {
                shown.unwrap_or(0)
            };
            let differs = h != HYPOTHESES - 1 && dice.below(10) == 0;
            cells.extend((0..SAMPLES).map(|s| if differs { (common + s) % 23 } else { common }));
        }
        sheet.ask(record, rows, cells);
    }
    sheet
}

fn isolate(c: &mut Criterion) {
    let mut dice = Dice(5);
    let sheet = full_size(&mut dice);
    let bytes = sheet.bytes();
    let table = Table::parse(&bytes).expect("the table is sound");
    let mut room = vec![0.0; table.weight_count()];
    let mut prospects = vec![Prospect::default(); ASKS];
    let mut active = vec![Active::default(); HYPOTHESES];
    let mut belief = Belief::new(&table, &mut room).expect("room");
    let mut planner = Planner::new(&table, &mut prospects, &mut active).expect("room");
    let now = State {
        on: false,
        lifted: 0,
        cooled: false,
    };
    let take = Evidence::Measured(Likely([0.05, 0.1, 0.8, 0.05, 0.0, 0.0]));

    let mut group = c.benchmark_group("isolate-200x1000x4");
    group.bench_function("parse", |b| b.iter(|| Table::parse(black_box(&bytes))));
    group.bench_function("reset", |b| b.iter(|| belief.reset()));
    group.bench_function("update", |b| {
        b.iter(|| {
            belief.reset();
            belief.update(black_box(7), &take)
        });
    });
    for takes in [0, 1, 3, 6] {
        belief.reset();
        for a in 0..takes {
            belief.update(a, &take).expect("a measurement");
        }
        group.bench_function(format!("next-after-{takes}"), |b| {
            b.iter(|| planner.next(&belief, black_box(now), &mut |a| a >= takes));
        });
    }
    group.finish();
}

criterion_group!(benches, isolate);
criterion_main!(benches);
