//! One unit drawn from a sheet: its own winding resistances, its own line volts, how bad its
//! fault is, whether its overload is already open.

use ohmtrail_core::math::phi;
use ohmtrail_core::units::Celsius;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::cable::{Coupling, couple};
use crate::known::STATED_AT;
use crate::linear::Pattern;
use crate::network::{Element, Node, OPEN_OHMS, pattern};
use crate::parts::{Assembly, Build};
use crate::sheet::{FaultId, Part, PointId, Sheet};

/// Resistance of a terminal's joint with a wire's end, ohms (common practice, no published source).
const JOINT_OHMS: f64 = 1e-3;

/// Resistance of a wire, ohms: some metres of copper (common practice, no published source).
const WIRE_OHMS: f64 = 0.012;

/// Everything that differs from one unit of a sheet to the next.
#[derive(Debug, Clone)]
pub struct Drawn {
    /// Each part's values, in the order of its kind's parameters.
    pub values: Vec<Vec<f64>>,
    /// How bad a fault of degree is, 0 to 1, one for each fault.
    pub severity: Vec<f64>,
    /// A share of 1 for each part: its stalled motor's overload is already open if this is under
    /// the share of time that it stands open.
    pub chance: Vec<f64>,
    /// The air around the unit, and so its cold windings.
    pub air: Celsius,
    /// How strongly the conductors of its cables are coupled.
    pub coupling: Coupling,
    /// Something wrong that no fault of the sheet describes.
    pub odd: Option<Odd>,
}

/// Something wrong in a unit that no fault of its sheet describes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Odd {
    /// A joint that passes current badly.
    Joint {
        /// The wire: the joint is at its first end.
        wire: usize,
        /// Its resistance.
        ohms: f64,
    },
    /// A path between the stray points of the circuit.
    Stray {
        /// Its resistance.
        ohms: f64,
    },
}

impl Drawn {
    /// Draws a unit of this sheet from its priors. The same seed draws the same unit.
    #[must_use]
    pub fn draw(sheet: &Sheet, seed: u64) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let values = values(sheet, || normal(&mut rng));
        let severity = sheet.faults.iter().map(|_| rng.random::<f64>()).collect();
        let chance = sheet.parts.iter().map(|_| rng.random::<f64>()).collect();
        let air = air(sheet, normal(&mut rng));
        let coupling = Coupling::drawn(|| normal(&mut rng));
        Drawn {
            values,
            severity,
            chance,
            air,
            coupling,
            odd: None,
        }
    }

    /// The `index`-th of `count` sampled units. Every value's prior is cut into `count` slots of
    /// equal probability, and each sample takes another slot (a Latin hypercube), so that a few
    /// samples cover its range.
    #[must_use]
    pub fn sample(sheet: &Sheet, index: usize, count: usize) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(0x0153_a11e);
        let mut share = || {
            let shift = rng.random_range(0..count);
            let step = coprime(&mut rng, count);
            (((index * step + shift) % count) as f64 + 0.5) / count as f64
        };
        let values = values(sheet, || quantile(share()));
        let severity = sheet.faults.iter().map(|_| share()).collect();
        let chance = sheet.parts.iter().map(|_| share()).collect();
        let air = air(sheet, quantile(share()));
        let coupling = Coupling::drawn(|| quantile(share()));
        Drawn {
            values,
            severity,
            chance,
            air,
            coupling,
            odd: None,
        }
    }

    /// The unit of exactly the sheet's values, in air as the cold values are stated at; a fault of
    /// degree half as bad as it can be, and a stalled motor's overload open.
    #[must_use]
    pub fn stated(sheet: &Sheet) -> Self {
        Drawn {
            values: values(sheet, || 0.0),
            severity: vec![0.5; sheet.faults.len()],
            chance: vec![0.5; sheet.parts.len()],
            air: STATED_AT,
            coupling: Coupling::STATED,
            odd: None,
        }
    }
}

/// Every value of every part, each so many standard deviations from its prior's mean.
fn values(sheet: &Sheet, mut deviation: impl FnMut() -> f64) -> Vec<Vec<f64>> {
    let of_part = |(p, part): (usize, &Part)| {
        let all = 0..part.values.len();
        all.map(|v| {
            let (mean, sd) = sheet.prior(p, v);
            mean + sd * deviation()
        })
        .collect()
    };
    sheet.parts.iter().enumerate().map(of_part).collect()
}

/// The air so many standard deviations from what is expected.
fn air(sheet: &Sheet, deviation: f64) -> Celsius {
    let air = sheet.air();
    Celsius(air.value.get() + air.u * deviation)
}

/// A step that visits every slot of `count`.
fn coprime(rng: &mut ChaCha8Rng, count: usize) -> usize {
    fn divisor(a: usize, b: usize) -> usize {
        if b == 0 { a } else { divisor(b, a % b) }
    }
    loop {
        let step = rng.random_range(1..=count);
        if divisor(step, count) == 1 {
            return step;
        }
    }
}

/// The value under which a standard normal deviate lies with probability `p`, by bisection.
fn quantile(p: f64) -> f64 {
    let (mut low, mut high) = (-8.0, 8.0);
    for _ in 0..60 {
        let middle = (low + high) / 2.0;
        if phi(middle) < p {
            low = middle;
        } else {
            high = middle;
        }
    }
    (low + high) / 2.0
}

/// A standard normal deviate, cut at 2.5 (Box and Muller's transform): parts outside are sorted
/// out by their makers (common practice, no published source).
fn normal(rng: &mut ChaCha8Rng) -> f64 {
    loop {
        let u: f64 = 1.0 - rng.random::<f64>();
        let v: f64 = rng.random();
        let z = (-2.0 * u.ln()).sqrt() * (std::f64::consts::TAU * v).cos();
        if z.abs() <= 2.5 {
            return z;
        }
    }
}

/// Which wire-end joints there are: the element of each, by wire and end.
#[derive(Debug, Clone)]
pub struct Joints {
    first: usize,
}

impl Joints {
    /// The element of the joint at an end (0 or 1) of a wire.
    #[must_use]
    pub fn element(&self, wire: usize, end: usize) -> usize {
        self.first + wire * 3 + if end == 0 { 0 } else { 2 }
    }

    /// The element of the wire itself.
    #[must_use]
    pub fn wire(&self, wire: usize) -> usize {
        self.first + wire * 3 + 1
    }
}

/// Something wrong with a unit that no kind of part describes: what an isolation must not give a
/// name to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Flaw {
    /// A wire of that resistance: a corroded joint.
    Wire {
        /// The wire.
        wire: usize,
        /// Ohms.
        ohms: f64,
    },
    /// A path between two points where there should be none.
    Path {
        /// The points.
        points: [PointId; 2],
        /// Ohms.
        ohms: f64,
    },
    /// Every coil, capacitor, source and winding of a part at another value than any fault gives
    /// it.
    Value {
        /// The part.
        part: usize,
        /// How many times its value.
        factor: f64,
    },
    /// Two wire ends that changed places: each is on the terminal of the other.
    Swap {
        /// The ends.
        ends: [PointId; 2],
    },
}

/// A sheet made ready for solving: the pattern of its network is found once.
#[derive(Debug)]
pub struct Circuit<'s> {
    /// The sheet.
    pub sheet: &'s Sheet,
    /// The network's pattern.
    pub pattern: Pattern,
    /// Where the joints are.
    pub joints: Joints,
    /// Two points that a path may lie between which is not in the sheet.
    stray: Option<[PointId; 2]>,
    flaws: Vec<Flaw>,
}

impl<'s> Circuit<'s> {
    /// Makes a sheet ready.
    #[must_use]
    pub fn new(sheet: &'s Sheet) -> Self {
        Circuit::made(sheet, None, Vec::new())
    }

    /// The same with a path between two points that is not in the sheet: open, but for units that
    /// are drawn with [`Odd::Stray`].
    #[must_use]
    pub fn with_stray(sheet: &'s Sheet, points: [PointId; 2]) -> Self {
        Circuit::made(sheet, Some(points), Vec::new())
    }

    /// The same of units that have these flaws besides their faults.
    #[must_use]
    pub fn flawed(sheet: &'s Sheet, flaws: Vec<Flaw>) -> Self {
        Circuit::made(sheet, None, flaws)
    }

    fn made(sheet: &'s Sheet, stray: Option<[PointId; 2]>, flaws: Vec<Flaw>) -> Self {
        let healthy = Drawn::draw(sheet, 0);
        let (mut assembly, first) = assemble(sheet, &healthy, &[], stray);
        let joints = Joints { first };
        spoil(sheet, &mut assembly, &joints, &flaws);
        Circuit {
            sheet,
            pattern: pattern(sheet.nodes, &assembly.elements),
            joints,
            stray,
            flaws,
        }
    }

    /// The elements and devices of a drawn unit under these faults, contactors released.
    #[must_use]
    pub fn assemble(&self, drawn: &Drawn, faults: &[FaultId]) -> Assembly {
        let mut assembly = assemble(self.sheet, drawn, faults, self.stray).0;
        spoil(self.sheet, &mut assembly, &self.joints, &self.flaws);
        assembly
    }

    /// Lifts these wire ends.
    pub fn lift(&self, assembly: &mut Assembly, ends: &[usize]) {
        for &point in ends {
            for (w, wire) in self.sheet.wires.iter().enumerate() {
                for (e, &end) in wire.ends.iter().enumerate() {
                    if end == point {
                        set_ohms(&mut assembly.elements[self.joints.element(w, e)], OPEN_OHMS);
                    }
                }
            }
        }
    }
}

/// Puts the flaws in. A path is one more element, always the last ones, in the same order.
fn spoil(sheet: &Sheet, assembly: &mut Assembly, joints: &Joints, flaws: &[Flaw]) {
    for flaw in flaws {
        match *flaw {
            Flaw::Wire { wire, ohms } => {
                set_ohms(&mut assembly.elements[joints.wire(wire)], ohms);
            }
            Flaw::Path { points, ohms } => {
                assembly.elements.push(Element::Resistor {
                    ends: points.map(Some),
                    ohms,
                });
                assembly.owners.push(usize::MAX);
            }
            Flaw::Swap { ends } => exchange(sheet, &mut assembly.elements, joints, ends),
            Flaw::Value { part, factor } => {
                let own = assembly.elements.iter_mut().zip(&assembly.owners);
                for (element, _) in own.filter(|(_, owner)| **owner == part) {
                    scale(element, factor);
                }
            }
        }
    }
}

/// Puts each of two wire ends on the terminal of the other.
pub(crate) fn exchange(
    sheet: &Sheet,
    elements: &mut [Element],
    joints: &Joints,
    ends: [PointId; 2],
) {
    let place = |end: PointId| {
        let mut wires = sheet.wires.iter().enumerate();
        wires.find_map(|(w, wire)| {
            let e = wire.ends.iter().position(|own| *own == end)?;
            Some((joints.element(w, e), wire.terminals[e]))
        })
    };
    let [Some((first, its)), Some((second, other))] = ends.map(place) else {
        return;
    };
    for (joint, end, terminal) in [(first, ends[0], other), (second, ends[1], its)] {
        if let Some(Element::Resistor { ends, .. }) = elements.get_mut(joint) {
            *ends = [Some(terminal), Some(end)];
        }
    }
}

/// An element at so many times its value; contacts and wires stay.
fn scale(element: &mut Element, factor: f64) {
    match element {
        Element::Resistor { .. } => {}
        Element::Coil { ohms, henries, .. } => {
            *ohms *= factor;
            *henries *= factor;
        }
        Element::Capacitor { farads, .. } => *farads *= factor,
        Element::Source { volts, .. } => *volts *= factor,
        // Volts go with turns, inductance with their square.
        Element::Transformer { ohms, henries, .. } => {
            ohms[1] *= factor;
            henries[1] *= factor * factor;
        }
        Element::Motor { data, .. } => {
            data.main_ohms *= factor;
            data.main_reactance *= factor;
            data.aux_ohms *= factor;
            data.aux_reactance *= factor;
        }
        Element::ThreePhaseMotor { data, .. } => {
            data.stator_ohms *= factor;
            data.stator_reactance *= factor;
        }
    }
}

/// Sets the ohms of a resistor.
pub(crate) fn set_ohms(element: &mut Element, value: f64) {
    if let Element::Resistor { ohms, .. } = element {
        *ohms = value;
    }
}

fn assemble(
    sheet: &Sheet,
    drawn: &Drawn,
    faults: &[FaultId],
    stray: Option<[PointId; 2]>,
) -> (Assembly, usize) {
    let mut assembly = Assembly::default();
    for (p, part) in sheet.parts.iter().enumerate() {
        let terminals: Vec<Node> = (0..part.kind.terminals.len())
            .map(|t| Some(part.first_point + t))
            .collect();
        let internals: Vec<Node> = (0..part.kind.internals)
            .map(|i| Some(sheet.internals[p] + i))
            .collect();
        let own: Vec<FaultId> = faults
            .iter()
            .copied()
            .filter(|&f| sheet.faults[f].owner == p)
            .collect();
        let names: Vec<&'static str> = own.iter().map(|&f| sheet.faults[f].kind_name).collect();
        (part.kind.build)(&mut Build {
            part: p,
            terminals: &terminals,
            internals: &internals,
            params: part.kind.params,
            values: &drawn.values[p],
            links: &part.links,
            faults: &names,
            severity: own.first().map_or(0.5, |&f| drawn.severity[f]),
            assembly: &mut assembly,
        });
    }
    let first_wire = assembly.elements.len();
    for (w, wire) in sheet.wires.iter().enumerate() {
        let owner = sheet.parts.len() + w;
        let open = faults.iter().any(|&f| sheet.faults[f].owner == owner);
        let joint = match drawn.odd {
            Some(Odd::Joint { wire, ohms }) if wire == w => ohms,
            _ => JOINT_OHMS,
        };
        let stretch = [
            (wire.terminals[0], wire.ends[0], joint),
            (
                wire.ends[0],
                wire.ends[1],
                if open { OPEN_OHMS } else { WIRE_OHMS },
            ),
            (wire.ends[1], wire.terminals[1], JOINT_OHMS),
        ];
        for (a, b, ohms) in stretch {
            assembly.elements.push(Element::Resistor {
                ends: [Some(a), Some(b)],
                ohms,
            });
            assembly.owners.push(owner);
        }
    }
    couple(sheet, drawn.coupling, &mut assembly);
    if let Some([a, b]) = stray {
        let ohms = match drawn.odd {
            Some(Odd::Stray { ohms }) => ohms,
            _ => OPEN_OHMS,
        };
        assembly.elements.push(Element::Resistor {
            ends: [Some(a), Some(b)],
            ohms,
        });
        // It is nobody's: after the wires.
        assembly.owners.push(sheet.parts.len() + sheet.wires.len());
    }
    (assembly, first_wire)
}
