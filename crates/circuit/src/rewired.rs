//! Which miswire an ohmmeter would see before power returns: wire ends that were off and went back on
//! each other's terminals. What the unit reads between two points when every end is in its place is
//! predicted, and what it reads with each pair of ends exchanged; pairs of points that tell them apart
//! are asked for, and the exchanges that no pair tells are named.

use std::collections::BTreeSet;

use crate::meter::OVERLOAD_OHMS;
use crate::network::{Direct, Element, pattern};
use crate::operate::Unit;
use crate::sheet::{Heat, PointId, Sheet};
use crate::unit::{Circuit, Drawn, exchange};

/// Sampled units that the predictions are made of.
const SAMPLES: usize = 6;
/// Two ranges of ohms are told apart if this much lies between them: what a hand-held meter and its
/// leads leave open, ohms and share of the value (common practice, no published source).
const APART_OHMS: f64 = 0.4;
const APART_SHARE: f64 = 0.04;
/// The same of the ratio of two readings made with the same meter and leads.
const RATIO_OHMS: f64 = 0.2;
const RATIO_SHARE: f64 = 0.06;

/// What reads open counts as told only from a path of less than this, ohms (common practice, no
/// published source).
pub const OPEN_OVER_OHMS: f64 = 1e5;

/// Two wire ends that may have changed places.
pub type Swap = [PointId; 2];

/// A range of ohms, or of ratios; open circuits are infinite.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Range {
    low: f64,
    high: f64,
}

impl Range {
    fn of(values: impl Iterator<Item = f64>) -> Range {
        let none = Range {
            low: f64::INFINITY,
            high: f64::NEG_INFINITY,
        };
        values.fold(none, |all, v| Range {
            low: all.low.min(v),
            high: all.high.max(v),
        })
    }

    /// What lies between the two, as a share of what would tell them apart; 1 and more tells.
    fn apart(self, other: Range, step: Step) -> f64 {
        let (under, over) = if self.high < other.low {
            (self.high, other.low)
        } else if other.high < self.low {
            (other.high, self.low)
        } else {
            return 0.0;
        };
        if over.is_infinite() {
            return if under < OPEN_OVER_OHMS {
                f64::INFINITY
            } else {
                0.0
            };
        }
        (over - under) / step.from(under)
    }

    /// Where a value counts as of this range: half of the gap to the nearest of what it is told
    /// from, but no more than makes sense of a reading that is off for other reasons.
    fn limits(self, least: f64, step: Step) -> [Option<f64>; 2] {
        let gaps = least.min(4.0);
        let Range { low, high } = self;
        let lower = if low.is_infinite() {
            OPEN_OVER_OHMS
        } else {
            // So many steps under it.
            let under = (low - gaps * step.least) / (1.0 + gaps * step.share);
            (low + under.max(0.0)) / 2.0
        };
        let upper = high + 0.5 * gaps * step.from(high);
        [
            (lower > 0.0).then_some(lower),
            upper.is_finite().then_some(upper),
        ]
    }
}

/// From a value on, two values are told apart from so much and so large a share of it on.
#[derive(Debug, Clone, Copy)]
struct Step {
    least: f64,
    share: f64,
}

impl Step {
    const OF_OHMS: Step = Step {
        least: APART_OHMS,
        share: APART_SHARE,
    };
    /// Of a pair that another is held against: nothing is told from it by itself.
    const OF_BASE: Step = Step {
        least: 1.0,
        share: 0.2,
    };

    fn from(self, value: f64) -> f64 {
        self.least + self.share * value
    }
}

/// A pair of points that tells miswires.
#[derive(Debug, Clone, PartialEq)]
pub struct Telling {
    /// The points.
    pub points: [PointId; 2],
    /// What it is held against: its own ohms, or as many times those of this pair, which is read
    /// before it.
    pub times: Option<[PointId; 2]>,
    /// Where it counts as right, ohms or times: none on a side where it may read open, or nothing.
    pub limits: [Option<f64>; 2],
    /// The miswires that it tells; of a pair that is read for the sake of another, none.
    pub tells: Vec<Swap>,
}

/// What ohms can say of a unit whose wires went back.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Rewired {
    /// The pairs to read, in their order.
    pub pairs: Vec<Telling>,
    /// Miswires that no pair tells: photographs and the drawing must.
    pub untold: Vec<Swap>,
}

impl Rewired {
    /// What can be told of these ends, between points that `may_probe` allows, every end in its place.
    #[must_use]
    pub fn of(
        circuit: &Circuit<'_>,
        ends: &[PointId],
        may_probe: &dyn Fn(PointId) -> bool,
    ) -> Rewired {
        let sheet = circuit.sheet;
        let swaps = swaps(sheet, ends);
        if swaps.is_empty() {
            return Rewired::default();
        }
        let points = reached(sheet, ends, may_probe);
        let pairs: Vec<[PointId; 2]> = (0..points.len())
            .flat_map(|i| (i + 1..points.len()).map(move |k| (i, k)))
            .map(|(i, k)| [points[i], points[k]])
            .collect();
        let bases = bases(circuit);
        let right = read(sheet, &bases, &pairs, |_| {});
        let wrong = swaps.into_iter().map(|swap| {
            let change =
                |elements: &mut [Element]| exchange(sheet, elements, &circuit.joints, swap);
            (swap, read(sheet, &bases, &pairs, change))
        });
        let mut told = Rewired::default();
        let left = by_ohms(&pairs, &right, wrong.collect(), &mut told);
        by_ratio(&pairs, &right, left, &mut told);
        told
    }
}

/// What every pair reads on every sampled unit.
type Readings = Vec<Vec<f64>>;

fn column(readings: &Readings, pair: usize) -> Range {
    Range::of(readings.iter().map(|unit| unit[pair]))
}

/// Fewest pairs first: the one that tells most miswires of those that are left, by the widest gap
/// where two tell as many. Returns those that no pair tells by its ohms.
fn by_ohms(
    pairs: &[[PointId; 2]],
    right: &Readings,
    mut wrong: Vec<(Swap, Readings)>,
    told: &mut Rewired,
) -> Vec<(Swap, Readings)> {
    let apart =
        |p: usize, wrong: &Readings| column(right, p).apart(column(wrong, p), Step::OF_OHMS);
    loop {
        let best = (0..pairs.len())
            .map(|p| {
                let told = wrong.iter().map(|(_, w)| apart(p, w)).filter(|a| *a >= 1.0);
                let least = told.clone().fold(f64::INFINITY, f64::min);
                (told.count(), least, p)
            })
            .max_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)).then(b.2.cmp(&a.2)));
        let Some((_, least, p)) = best.filter(|b| b.0 > 0) else {
            return wrong;
        };
        let (these, left): (Vec<_>, Vec<_>) =
            wrong.into_iter().partition(|(_, w)| apart(p, w) >= 1.0);
        wrong = left;
        told.pairs.push(Telling {
            points: pairs[p],
            times: None,
            limits: column(right, p).limits(least, Step::OF_OHMS),
            tells: these.into_iter().map(|(swap, _)| swap).collect(),
        });
    }
}

/// What no pair tells by itself, for units differ: two readings of one unit share what it is.
fn by_ratio(
    pairs: &[[PointId; 2]],
    right: &Readings,
    wrong: Vec<(Swap, Readings)>,
    told: &mut Rewired,
) {
    let ratio = |readings: &Readings, p: usize, q: usize| {
        Range::of(readings.iter().map(|unit| unit[p] / unit[q]))
    };
    for (swap, readings) in wrong {
        let mut best: Option<(f64, usize, usize, Step)> = None;
        for q in 0..pairs.len() {
            let ohms = column(right, q);
            if !(ohms.high.is_finite() && ohms.low > RATIO_OHMS) {
                continue;
            }
            // A pair is read for one thing: by itself, or against one other.
            let for_ratio = |t: &Telling| t.points == pairs[q] && t.times.is_some();
            if told.pairs.iter().any(for_ratio) {
                continue;
            }
            let free = |p: usize| {
                let of = |t: &Telling| t.points == pairs[p] && t.times != Some(pairs[q]);
                p != q && !told.pairs.iter().any(of)
            };
            for p in (0..pairs.len()).filter(|p| free(*p)) {
                let smaller = ohms.low.min(column(right, p).low);
                if smaller <= RATIO_OHMS {
                    continue;
                }
                let step = Step {
                    least: 0.0,
                    share: RATIO_SHARE + RATIO_OHMS / smaller,
                };
                let (is, other) = (ratio(right, p, q), ratio(&readings, p, q));
                if !(is.high.is_finite() && other.high.is_finite() && is.low > 0.0) {
                    continue;
                }
                let apart = is.apart(other, step);
                if apart >= 1.0 && best.is_none_or(|(most, ..)| apart > most) {
                    best = Some((apart, p, q, step));
                }
            }
        }
        let Some((apart, p, q, step)) = best else {
            told.untold.push(swap);
            continue;
        };
        let (points, times) = (pairs[p], Some(pairs[q]));
        let same = |t: &&mut Telling| t.points == points && t.times == times;
        if let Some(there) = told.pairs.iter_mut().find(same) {
            there.tells.push(swap);
            continue;
        }
        if !told
            .pairs
            .iter()
            .any(|t| t.points == pairs[q] && t.times.is_none())
        {
            told.pairs.push(Telling {
                points: pairs[q],
                times: None,
                limits: column(right, q).limits(2.0, Step::OF_BASE),
                tells: Vec::new(),
            });
        }
        told.pairs.push(Telling {
            points,
            times,
            limits: ratio(right, p, q).limits(apart, step),
            tells: vec![swap],
        });
    }
}

/// Every two ends that are not on one terminal.
fn swaps(sheet: &Sheet, ends: &[PointId]) -> Vec<Swap> {
    let terminal = |end: PointId| {
        let wire = sheet.wire_of_end(end)?;
        let at = wire.ends.iter().position(|e| *e == end)?;
        Some(wire.terminals[at])
    };
    let mut all = Vec::new();
    for (i, &a) in ends.iter().enumerate() {
        for &b in &ends[i + 1..] {
            if a != b && terminal(a).is_some() && terminal(a) != terminal(b) {
                all.push([a, b]);
            }
        }
    }
    all
}

/// The points that are read: the terminals of the parts that these wires lead to and of what else
/// hangs on those parts, and ground.
fn reached(sheet: &Sheet, ends: &[PointId], may_probe: &dyn Fn(PointId) -> bool) -> Vec<PointId> {
    let part_of = |point: PointId| {
        let own = |p: &crate::sheet::Part| p.first_point..p.first_point + p.kind.terminals.len();
        sheet.parts.iter().position(|p| own(p).contains(&point))
    };
    let wires = ends.iter().filter_map(|e| sheet.wire_of_end(*e));
    let parts: BTreeSet<usize> = wires
        .flat_map(|w| w.terminals)
        .filter_map(part_of)
        .collect();
    let mut points = BTreeSet::from([sheet.dead.ground]);
    for wire in &sheet.wires {
        let touches = wire.terminals.iter().any(|t| {
            let part = part_of(*t);
            part.is_some_and(|p| parts.contains(&p))
        });
        if touches {
            // A motor's own leads end inside of it.
            let inside = |t: &PointId| wire.lead_of.is_some() && part_of(*t) == wire.lead_of;
            points.extend(wire.terminals.iter().filter(|t| !inside(t)));
        }
    }
    points.into_iter().filter(|p| may_probe(*p)).collect()
}

/// The elements of sampled healthy units, dead: motors cold, and as warm as they are after a run.
fn bases(circuit: &Circuit<'_>) -> Vec<Vec<Element>> {
    let each = (0..SAMPLES).flat_map(|s| {
        let drawn = Drawn::sample(circuit.sheet, s, SAMPLES);
        let unit = Unit::new(circuit, drawn, &[]);
        [Heat::Cold, Heat::AsFound].map(|heat| unit.dead_elements(&[], heat))
    });
    each.collect()
}

/// What each pair reads of these units, changed so.
fn read(
    sheet: &Sheet,
    bases: &[Vec<Element>],
    pairs: &[[PointId; 2]],
    change: impl Fn(&mut [Element]),
) -> Readings {
    let mut found = None;
    let each = bases.iter().map(|base| {
        let mut elements = base.clone();
        change(&mut elements);
        let pattern = found.get_or_insert_with(|| pattern(sheet.nodes, &elements));
        let direct = Direct::new(pattern, &elements);
        let ohms = pairs.iter().map(|pair| direct.resistance(pair.map(Some)));
        ohms.map(|ohms| {
            if ohms > OVERLOAD_OHMS {
                f64::INFINITY
            } else {
                ohms
            }
        })
        .collect()
    });
    each.collect()
}
