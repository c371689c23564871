//! What ohms tell of two wire ends that changed places, on units that the predictions were not made of:
//! every miswire that is said to be told falls outside of its limits, every right unit within.

use ohmtrail_circuit::meter::OVERLOAD_OHMS;
use ohmtrail_circuit::operate::Unit;
use ohmtrail_circuit::rewired::{Rewired, Telling};
use ohmtrail_circuit::sheet::{BUILTIN, Heat, PointId, Sheet, read_builtin};
use ohmtrail_circuit::unit::{Circuit, Drawn, Flaw};

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
