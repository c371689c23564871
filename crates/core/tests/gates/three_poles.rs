//! A three-phase unit: every pole to pole and every pole to ground, on both sides.

use ohmtrail_core::gates::*;
use ohmtrail_core::reading::Function;

use super::bench::*;

const LINE: [PointId; 3] = [PointId(20), PointId(21), PointId(22)];
const LOAD: [PointId; 6] = [
    PointId(23),
    PointId(24),
    PointId(25),
    PointId(26),
    PointId(27),
    PointId(28),
];

/// A three-pole disconnect, and a three-pole contactor behind it with both its sides.
const THREE_POLES: GatePlan<'static> = GatePlan {
    line: &LINE,
    load: &LOAD,
    load_sides: &[],
    sources: &[],
    capacitors: &[],
    covers: &[WIRE],
    protectors: &[],
    ..UNIT
};

/// The pairs of a side: NFPA 70E 120.5 tests each conductor to each other and to ground (second
/// hand): n poles make n (n - 1) / 2 pairs and n to ground.
fn pairs(poles: &[PointId]) -> Vec<Pair> {
    let mut all = Vec::new();
    for (i, &a) in poles.iter().enumerate() {
        all.extend(poles[i + 1..].iter().map(|&b| [a, b]));
        all.push([a, GROUND]);
    }
    all
}

#[test]
fn every_pole_of_three_is_read_to_every_other_and_to_ground() {
    let mut bench = Bench::new(THREE_POLES);
    bench.open(Gate::ProvedDead);
    let all: Vec<Pair> = pairs(&LINE).into_iter().chain(pairs(&LOAD)).collect();
    assert_eq!(all.len(), 3 + 3 + 15 + 6);
    for function in [Function::VoltsAc, Function::VoltsDc] {
        let read: Vec<Pair> = bench
            .steps
            .iter()
            .filter_map(|step| match step {
                Step::ReadDead {
                    function: f,
                    points,
                    ..
                } if *f == function => Some(*points),
                _ => None,
            })
            .collect();
        assert_eq!(read, all, "{function:?}");
    }
    let dead = bench.gates.proved_dead().expect("it is open");
    assert_eq!(usize::from(dead.pairs()), all.len());
}

/// Two dead poles say nothing of the third: whichever pair still has volts, the unit is not dead.
#[test]
fn one_live_pole_keeps_it_shut() {
    for live in pairs(&LINE).into_iter().chain(pairs(&LOAD)) {
        let mut bench = Bench::new(THREE_POLES);
        for _ in 0..200 {
            match bench.next(Gate::ProvedDead) {
                Step::Open => panic!("{live:?} is live and the gate is open"),
                Step::ReadDead {
                    function: Function::VoltsAc,
                    points,
                    ..
                } if points == live => {
                    let out = bench.take(Function::VoltsAc, 118.0, points);
                    assert!(out.alarm.is_some(), "{live:?}");
                    break;
                }
                step => {
                    bench.answer(step);
                }
            }
        }
        assert!(!bench.is_dead(), "{live:?}");
    }
}
