//! Units with something wrong that their sheet has no fault for: what *none of these* looks like.
//!
//! Half of them have one joint of a wire that passes current badly, a quarter a path between two
//! terminals of one part or to its ground, a quarter one value of a part that is far off. Their
//! ranges are common practice, no published source: what neither passes for whole nor for open.

use rand::seq::SliceRandom;
use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::parts::Unit as Of;
use crate::sheet::{PointId, Sheet};
use crate::unit::{Circuit, Drawn, Odd};

/// Ohms of a joint that passes current badly.
const JOINT: [f64; 2] = [3.0, 300.0];
/// Ohms of a path that should not be there.
const STRAY: [f64; 2] = [0.5, 1000.0];
/// How far off a value is, as a factor up or down.
const OFF: [f64; 2] = [1.6, 6.0];

/// One unit that something unnamed is wrong with.
pub(crate) struct Unnamed<'s> {
    circuit: Circuit<'s>,
    drawn: Drawn,
}

impl<'s> Unnamed<'s> {
    /// `count` of them, every wire's turn coming before one comes again.
    pub(crate) fn draw(sheet: &'s Sheet, count: usize) -> Vec<Unnamed<'s>> {
        let mut rng = ChaCha8Rng::seed_from_u64(0x0dd5);
        // A joint at a supply is the supply's: its own faults say what that looks like.
        let of_a_supply = |point: PointId| {
            sheet.parts.iter().any(|part| {
                let own = part.first_point..part.first_point + part.kind.terminals.len();
                part.kind.source && own.contains(&point)
            })
        };
        let mut wires: Vec<usize> = (0..sheet.wires.len())
            .filter(|&w| !sheet.wires[w].terminals.iter().any(|t| of_a_supply(*t)))
            .collect();
        wires.shuffle(&mut rng);
        let mut values: Vec<(usize, usize)> = sheet
            .parts
            .iter()
            .enumerate()
            .flat_map(|(p, part)| {
                let params = part.kind.params.iter().enumerate();
                params
                    .filter(|(_, param)| matches!(param.unit, Of::Ohm | Of::Farad | Of::Henry))
                    .map(move |(v, _)| (p, v))
            })
            .collect();
        values.shuffle(&mut rng);
        let mut strays = neighbours(sheet);
        strays.shuffle(&mut rng);
        (0..count)
            .filter_map(|i| {
                let mut drawn = Drawn::sample(sheet, i, count);
                let turn = i / 4;
                let circuit = match i % 4 {
                    0 | 1 => {
                        let wire = *nth(&wires, i / 2)?;
                        let ohms = log_uniform(&mut rng, JOINT);
                        drawn.odd = Some(Odd::Joint { wire, ohms });
                        Circuit::new(sheet)
                    }
                    2 => {
                        let ohms = log_uniform(&mut rng, STRAY);
                        drawn.odd = Some(Odd::Stray { ohms });
                        Circuit::with_stray(sheet, *nth(&strays, turn)?)
                    }
                    _ => {
                        let (part, value) = *nth(&values, turn)?;
                        let factor = log_uniform(&mut rng, OFF);
                        let up = rng.random::<bool>();
                        drawn.values[part][value] *= if up { factor } else { 1.0 / factor };
                        Circuit::new(sheet)
                    }
                };
                Some(Unnamed { circuit, drawn })
            })
            .collect()
    }

    /// The unit.
    pub(crate) fn unit(&self) -> crate::operate::Unit<'_> {
        crate::operate::Unit::new(&self.circuit, self.drawn.clone(), &[])
    }
}

fn nth<T>(all: &[T], turn: usize) -> Option<&T> {
    all.get(turn % all.len().max(1))
}

/// Pairs of terminals of one part, and of each terminal and ground.
fn neighbours(sheet: &Sheet) -> Vec<[PointId; 2]> {
    let mut all = Vec::new();
    for part in &sheet.parts {
        let points: Vec<PointId> = (0..part.kind.terminals.len())
            .filter(|t| !part.kind.terminals[*t].bonded)
            .map(|t| part.first_point + t)
            .collect();
        for (i, &a) in points.iter().enumerate() {
            all.extend(points[i + 1..].iter().map(|&b| [a, b]));
            if a != sheet.dead.ground {
                all.push([a, sheet.dead.ground]);
            }
        }
    }
    all
}

fn log_uniform(rng: &mut impl Rng, [low, high]: [f64; 2]) -> f64 {
    low * (high / low).powf(rng.random::<f64>())
}
