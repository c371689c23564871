//! What ohms tell of two wire ends that changed places, on units that the predictions were not made of:
//! every miswire that is said to be told falls outside of its limits, every right unit within.

use ohmtrail_circuit::meter::{OVERLOAD_OHMS, input_ohms};
use ohmtrail_circuit::netlist::{Analysis, Deck};
use ohmtrail_circuit::operate::Unit;
use ohmtrail_circuit::rewired::{Rewired, Telling};
use ohmtrail_circuit::sheet::{BUILTIN, Heat, PointId, Sheet, read_builtin};
use ohmtrail_circuit::unit::{Circuit, Drawn, Flaw};
use ohmtrail_spice::Ngspice;

/// Units that are drawn, each a seed.
const DRAWN: std::ops::Range<u64> = 100..105;

/// The wire ends at every part that has at least two of them.
fn each_part(sheet: &Sheet) -> Vec<(String, Vec<PointId>)> {
    let each = sheet.parts.iter().map(|part| {
        let own = part.first_point..part.first_point + part.kind.terminals.len();
        let wires = sheet.wires.iter();
        let ends = wires.flat_map(|w| (0..2).map(|e| (w.terminals[e], w.ends[e])));
        let ends = ends.filter(|(t, _)| own.contains(t)).map(|(_, end)| end);
        (part.name.clone(), ends.collect::<Vec<_>>())
    });
    each.filter(|(_, ends)| ends.len() > 1).collect()
}

fn not_a_pin(sheet: &Sheet, point: PointId) -> bool {
    sheet.parts.iter().all(|part| {
        let own = part.first_point..part.first_point + part.kind.terminals.len();
        let Some(terminal) = own.contains(&point).then(|| point - part.first_point) else {
            return true;
        };
        !part.kind.name.ends_with("compressor") || part.kind.terminals[terminal].bonded
    })
}

/// What the unit reads: ohms, or as many times those of the pair before.
fn reads(unit: &Unit<'_>, heat: Heat, telling: &Telling) -> f64 {
    let direct = unit.dead(&[], heat);
    let ohms = |points: [PointId; 2]| {
        let ohms = direct.resistance(points.map(Some));
        if ohms > OVERLOAD_OHMS {
            f64::INFINITY
        } else {
            ohms
        }
    };
    let own = ohms(telling.points);
    telling.times.map_or(own, |base| own / ohms(base))
}

fn within(value: f64, [lower, upper]: [Option<f64>; 2]) -> bool {
    lower.is_none_or(|l| value >= l) && upper.is_none_or(|u| value <= u)
}

#[test]
fn what_is_told_is_told_of_other_units_too() {
    let (mut told, mut untold, mut parts) = (0, 0, 0);
    for (name, _) in BUILTIN {
        let sheet = read_builtin(name).expect("there").expect("right");
        let circuit = Circuit::new(&sheet);
        for (part, ends) in each_part(&sheet) {
            let found = Rewired::of(&circuit, &ends, &|p| not_a_pin(&sheet, p));
            parts += 1;
            untold += found.untold.len();
            for seed in DRAWN {
                let right = Unit::new(&circuit, Drawn::draw(&sheet, seed), &[]);
                for (n, telling) in found.pairs.iter().enumerate() {
                    assert!(telling.points.iter().all(|p| not_a_pin(&sheet, *p)));
                    if let Some(base) = telling.times {
                        let before = found.pairs[..n].iter();
                        assert!(
                            before
                                .clone()
                                .any(|t| t.points == base && t.times.is_none())
                        );
                    }
                    for heat in [Heat::Cold, Heat::AsFound] {
                        let value = reads(&right, heat, telling);
                        assert!(
                            within(value, telling.limits),
                            "{name}, {part}, seed {seed}: a right unit reads {value}: {telling:?}"
                        );
                    }
                }
            }
            for telling in &found.pairs {
                for swap in &telling.tells {
                    told += 1;
                    let wrong = Circuit::flawed(&sheet, vec![Flaw::Swap { ends: *swap }]);
                    for seed in DRAWN {
                        // How it stands under power is beside the point, and may be anything.
                        let unit = Unit::new(&wrong, Drawn::draw(&sheet, seed), &[]);
                        let value = reads(&unit, Heat::Cold, telling);
                        assert!(
                            !within(value, telling.limits),
                            "{name}, {part}, seed {seed}: {swap:?} reads {value}: {telling:?}"
                        );
                    }
                }
            }
        }
    }
    println!("{parts} parts: {told} miswires told by ohms, {untold} named as not told");
    assert!(told > untold, "{told} told, {untold} not");
}

/// The leads of a three-phase motor read alike: no ohms tell their order, and that is said.
#[test]
fn equal_windings_are_named() {
    let sheet = read_builtin("rooftop-3ph").expect("there").expect("right");
    let circuit = Circuit::new(&sheet);
    let motor = sheet
        .parts
        .iter()
        .find(|p| p.kind.name == "three-phase-compressor")
        .expect("a compressor");
    let (_, ends) = each_part(&sheet)
        .into_iter()
        .find(|(name, _)| *name == motor.name)
        .expect("its wires");
    let found = Rewired::of(&circuit, &ends, &|p| not_a_pin(&sheet, p));
    assert_eq!(found.untold.len(), 3, "{found:?}");
}

/// One in so many of the miswires is put before ngspice.
const SHARE: usize = 5;

/// The same by ngspice, a general circuit simulator: a miswire that is said to be told reads outside of its
/// limits there, too. It reads the elements of the exchanged wires, and none of our solver's arithmetic.
#[test]
fn ngspice_tells_them_too() {
    let Ok(program) = std::env::var("OHMTRAIL_NGSPICE") else {
        panic!("OHMTRAIL_NGSPICE is not set: run `cargo xtask test`, which installs ngspice");
    };
    let mut ngspice = Ngspice::start(&program).expect("ngspice starts");
    let mut told = 0;
    for (name, _) in BUILTIN {
        let sheet = read_builtin(name).expect("there").expect("right");
        let circuit = Circuit::new(&sheet);
        for (part, ends) in each_part(&sheet) {
            let found = Rewired::of(&circuit, &ends, &|p| not_a_pin(&sheet, p));
            for telling in &found.pairs {
                for swap in &telling.tells {
                    told += 1;
                    if told % SHARE != 0 {
                        continue;
                    }
                    let wrong = Circuit::flawed(&sheet, vec![Flaw::Swap { ends: *swap }]);
                    let unit = Unit::new(&wrong, Drawn::draw(&sheet, DRAWN.start), &[]);
                    let elements = unit.dead_elements(&[], Heat::Cold);
                    let mut deck = Deck::new(&sheet, Analysis::Ohms, &elements);
                    let base = telling.times.unwrap_or(telling.points);
                    for points in [telling.points, base] {
                        deck.probe(points, input_ohms(false));
                    }
                    let (network, commands, probes) = deck.parts();
                    ngspice.load(&network).expect("the circuit is taken");
                    let read = ngspice.run(&commands, probes).expect("printed");
                    let ohms = |at: usize| {
                        let ohms = read[at].0.hypot(read[at].1);
                        if ohms > OVERLOAD_OHMS {
                            f64::INFINITY
                        } else {
                            ohms
                        }
                    };
                    let value = telling.times.map_or(ohms(0), |_| ohms(0) / ohms(1));
                    assert!(
                        !within(value, telling.limits),
                        "{name}, {part}: {swap:?} reads {value}: {telling:?}"
                    );
                }
            }
        }
    }
    assert!(told > 1000, "{told} told");
}
