//! The sampled units that stand for a hypothesis.

use crate::operate::Unit;
use crate::sheet::FaultId;
use crate::unit::{Circuit, Drawn};

/// How many units are drawn for each one that is kept, where a fault comes in degrees.
const CANDIDATES: usize = 6;

/// The sampled units of a hypothesis. Where a fault comes in degrees, what the unit does depends on
/// how bad it is (a weak capacitor lets its motor run, hum, or trip): the units are then chosen so
/// that each of these ways is among them, as often as it is drawn, and once at least.
pub(crate) fn sampled<'c>(
    circuit: &'c Circuit<'c>,
    faults: &[FaultId],
    drawn: &[Drawn],
) -> Vec<Unit<'c>> {
    let by_degree = faults.iter().any(|&f| {
        let fault = &circuit.sheet.faults[f];
        let part = circuit.sheet.parts.get(fault.owner);
        part.is_some_and(|p| {
            p.kind
                .faults
                .iter()
                .any(|k| k.name == fault.kind_name && k.degree)
        })
    });
    if !by_degree {
        let unit = |d: &Drawn| Unit::new(circuit, d.clone(), faults);
        return drawn.iter().map(unit).collect();
    }
    let count = CANDIDATES * drawn.len();
    let mut ways: Vec<Vec<(f64, Unit<'c>)>> = Vec::new();
    for i in 0..count {
        let drawn = Drawn::sample(circuit.sheet, i, count);
        let severity = faults.iter().map(|&f| drawn.severity[f]).sum();
        let unit = Unit::new(circuit, drawn, faults);
        let same = ways.iter_mut().find(|way| {
            let (a, b) = (way[0].1.found(), unit.found());
            a.motion == b.motion
                && a.open == b.open
                && a.pulled_in == b.pulled_in
                && a.tripped == b.tripped
                && a.closed == b.closed
        });
        match same {
            Some(way) => way.push((severity, unit)),
            None => ways.push(vec![(severity, unit)]),
        }
    }
    // The most frequent ways first, if there are more of them than samples.
    ways.sort_by_key(|way| std::cmp::Reverse(way.len()));
    ways.truncate(drawn.len());
    // In order of their degree: those that are picked then cover it. In the order they were drawn
    // every third may lie at one end.
    for way in &mut ways {
        way.sort_by(|a, b| a.0.total_cmp(&b.0));
    }
    let mut slots: Vec<usize> = vec![1; ways.len()];
    while slots.iter().sum::<usize>() < drawn.len() {
        // The way that is most under its share gets the next slot.
        let under = |w: usize| ways[w].len() as f64 / slots[w] as f64;
        let next = (0..ways.len())
            .filter(|&w| slots[w] < ways[w].len())
            .max_by(|&a, &b| under(a).total_cmp(&under(b)));
        match next {
            Some(next) => slots[next] += 1,
            None => break,
        }
    }
    ways.into_iter()
        .zip(slots)
        .flat_map(|(way, slots)| {
            let step = way.len() / slots;
            let picked = way.into_iter().skip(step / 2).step_by(step).take(slots);
            picked.map(|(_, unit)| unit)
        })
        .collect()
}
