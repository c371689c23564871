//! The elements that a unit's parts are made of, and their nodal equations.
//!
//! Phasors are RMS. Direct current is what an ohmmeter drives: sources stand at zero, coils are
//! their copper, capacitors their leak.

use std::f64::consts::TAU;

use num_complex::Complex;

use crate::linear::{Factors, Pattern, Scalar};
use crate::motor::MotorData;
use crate::motor3::ThreePhaseData;

/// A node of the network; `None` is earth.
pub type Node = Option<usize>;

/// A complex phasor.
pub type Phasor = Complex<f64>;

/// Resistance of an open switch, an open wire: the insulation that is left. 10 gigohm,
/// common practice, no published source.
pub const OPEN_OHMS: f64 = 1e10;

/// Leak of every node to earth: the insulation of its wiring. 50 gigohm, common practice, no
/// published source.
pub const LEAK_SIEMENS: f64 = 2e-11;

/// Capacitance of every node to earth: a length of wire among others. 30 picofarad, common
/// practice, no published source.
pub const STRAY_FARADS: f64 = 3e-11;

/// One circuit element. The ends of a pair are ordered: the first is the positive one.
#[derive(Debug, Clone, PartialEq)]
pub enum Element {
    /// Resistance, ohms.
    Resistor {
        /// Its ends.
        ends: [Node; 2],
        /// Ohms, above zero.
        ohms: f64,
    },
    /// Resistance and inductance in series.
    Coil {
        /// Its ends.
        ends: [Node; 2],
        /// Ohms of copper, above zero.
        ohms: f64,
        /// Henries.
        henries: f64,
    },
    /// A capacitor with its series resistance, and its insulation across.
    Capacitor {
        /// Its ends.
        ends: [Node; 2],
        /// Farads.
        farads: f64,
        /// Equivalent series resistance, ohms, above zero.
        esr_ohms: f64,
        /// Insulation, ohms.
        leak_ohms: f64,
    },
    /// An alternating source behind its impedance.
    Source {
        /// Its ends.
        ends: [Node; 2],
        /// Open-circuit volts.
        volts: Phasor,
        /// Source resistance, ohms, above zero.
        ohms: f64,
    },
    /// Two coupled coils.
    Transformer {
        /// Primary ends.
        primary: [Node; 2],
        /// Secondary ends.
        secondary: [Node; 2],
        /// Copper, ohms: primary, secondary.
        ohms: [f64; 2],
        /// Self-inductances, henries: primary, secondary.
        henries: [f64; 2],
        /// Coupling coefficient, below one.
        coupling: f64,
    },
    /// The two windings of a single-phase induction motor.
    Motor {
        /// Main (run) winding.
        main: [Node; 2],
        /// Auxiliary (start) winding.
        aux: [Node; 2],
        /// Its constants.
        data: MotorData,
        /// Slip: 1 at standstill.
        slip: f64,
    },
    /// The three windings of a three-phase induction motor.
    ThreePhaseMotor {
        /// Its windings U, V and W, each from its lead to the star point.
        windings: [[Node; 2]; 3],
        /// Its constants.
        data: ThreePhaseData,
        /// Slip: 1 at standstill, over 1 when it turns against the sequence U, V, W.
        slip: f64,
    },
}

/// One to three pairs of ends.
struct Pairs([[Node; 2]; 3], usize);

impl std::ops::Deref for Pairs {
    type Target = [[Node; 2]];
    fn deref(&self) -> &Self::Target {
        &self.0[..self.1]
    }
}

impl Element {
    /// Its pairs of ends.
    fn pairs(&self) -> Pairs {
        match self {
            Element::Resistor { ends, .. }
            | Element::Coil { ends, .. }
            | Element::Capacitor { ends, .. }
            | Element::Source { ends, .. } => Pairs([*ends; 3], 1),
            Element::Transformer {
                primary, secondary, ..
            } => Pairs([*primary, *secondary, *secondary], 2),
            Element::Motor { main, aux, .. } => Pairs([*main, *aux, *aux], 2),
            Element::ThreePhaseMotor { windings, .. } => Pairs(*windings, 3),
        }
    }

    /// The admittance of a two-terminal element at `hertz`; `None` for coupled windings.
    fn admittance(&self, hertz: f64) -> Option<Phasor> {
        let omega = TAU * hertz;
        match self {
            Element::Resistor { ohms, .. } | Element::Source { ohms, .. } => {
                Some(Complex::new(1.0 / ohms, 0.0))
            }
            Element::Coil { ohms, henries, .. } => Some(Complex::new(*ohms, omega * henries).inv()),
            Element::Capacitor {
                farads,
                esr_ohms,
                leak_ohms,
                ..
            } => {
                let series = if omega * farads == 0.0 {
                    Complex::default()
                } else {
                    Complex::new(*esr_ohms, -1.0 / (omega * farads)).inv()
                };
                Some(series + 1.0 / leak_ohms)
            }
            Element::Transformer { .. }
            | Element::Motor { .. }
            | Element::ThreePhaseMotor { .. } => None,
        }
    }

    /// The admittance matrix of coupled windings at `hertz`, as far as there are windings.
    fn coupled(&self, hertz: f64) -> Option<[[Phasor; 3]; 3]> {
        let omega = TAU * hertz;
        match self {
            Element::Transformer {
                ohms,
                henries,
                coupling,
                ..
            } => {
                let mutual = coupling * (henries[0] * henries[1]).sqrt();
                let m = Complex::new(0.0, omega * mutual);
                Some(inverse([
                    [Complex::new(ohms[0], omega * henries[0]), m],
                    [m, Complex::new(ohms[1], omega * henries[1])],
                ]))
            }
            Element::Motor { data, slip, .. } => Some(inverse(data.impedance(hertz, *slip))),
            Element::ThreePhaseMotor { data, slip, .. } => Some(data.admittance(hertz, *slip)),
            _ => None,
        }
    }
}

/// The inverse of the impedance matrix of two windings.
fn inverse(z: [[Phasor; 2]; 2]) -> [[Phasor; 3]; 3] {
    let det = z[0][0] * z[1][1] - z[0][1] * z[1][0];
    let none = Phasor::default();
    [
        [z[1][1] / det, -z[0][1] / det, none],
        [-z[1][0] / det, z[0][0] / det, none],
        [none; 3],
    ]
}

/// The pattern of a network: every pair of nodes that an element can join.
#[must_use]
pub fn pattern(nodes: usize, elements: &[Element]) -> Pattern {
    let mut edges = Vec::new();
    for element in elements {
        let ends: Vec<usize> = element
            .pairs()
            .iter()
            .flatten()
            .flatten()
            .copied()
            .collect();
        for (i, &a) in ends.iter().enumerate() {
            for &b in &ends[i + 1..] {
                edges.push((a, b));
            }
        }
    }
    Pattern::new(nodes, &edges)
}

/// A network solved at one frequency.
#[derive(Debug)]
pub struct Alternating<'p> {
    pattern: &'p Pattern,
    factors: Factors<Phasor>,
    volts: Vec<Phasor>,
    hertz: f64,
}

impl<'p> Alternating<'p> {
    /// Solves `elements` at `hertz`; the sources drive only if `live`.
    #[must_use]
    pub fn solve(pattern: &'p Pattern, elements: &[Element], hertz: f64, live: bool) -> Self {
        let mut matrix = pattern.matrix::<Phasor>();
        let mut volts = vec![Phasor::default(); pattern.nodes()];
        for node in 0..pattern.nodes() {
            pattern.stamp(
                &mut matrix,
                (Some(node), None),
                (Some(node), None),
                Complex::new(LEAK_SIEMENS, TAU * hertz * STRAY_FARADS),
            );
        }
        for element in elements {
            if let Some(y) = element.admittance(hertz) {
                let [a, b] = element.pairs()[0];
                pattern.stamp(&mut matrix, (a, b), (a, b), y);
                if live && let Element::Source { volts: e, .. } = element {
                    if let Some(a) = a {
                        volts[a] += *e * y;
                    }
                    if let Some(b) = b {
                        volts[b] -= *e * y;
                    }
                }
            } else if let Some(y) = element.coupled(hertz) {
                let pairs = element.pairs();
                for (i, &[a, b]) in pairs.iter().enumerate() {
                    for (j, &[c, d]) in pairs.iter().enumerate() {
                        pattern.stamp(&mut matrix, (a, b), (c, d), y[i][j]);
                    }
                }
            }
        }
        let factors = pattern.factor(matrix);
        pattern.solve(&factors, &mut volts);
        Alternating {
            pattern,
            factors,
            volts,
            hertz,
        }
    }

    /// The voltage from `b` to `a`, volts, with nothing connected.
    #[must_use]
    pub fn across(&self, [a, b]: [Node; 2]) -> Phasor {
        at(&self.volts, a) - at(&self.volts, b)
    }

    /// The impedance seen between two nodes, ohms.
    #[must_use]
    pub fn impedance(&self, ends: [Node; 2]) -> Phasor {
        self.pattern
            .between(&self.factors, ends, Complex::new(1.0, 0.0))
    }

    /// What a voltmeter of `input_ohms` shows between two nodes, volts.
    #[must_use]
    pub fn voltmeter(&self, ends: [Node; 2], input_ohms: f64) -> f64 {
        let open = self.across(ends);
        (open * input_ohms / (self.impedance(ends) + input_ohms)).norm()
    }

    /// The current through an element, amperes, from its first end to its second; for coupled
    /// windings, of each of them.
    #[must_use]
    pub fn currents(&self, element: &Element) -> [Phasor; 3] {
        let pairs = element.pairs();
        if let Some(y) = element.admittance(self.hertz) {
            let drive = match element {
                Element::Source { volts, .. } => *volts,
                _ => Phasor::default(),
            };
            let none = Phasor::default();
            [(self.across(pairs[0]) - drive) * y, none, none]
        } else {
            let y = element.coupled(self.hertz).unwrap_or_default();
            let mut amps = [Phasor::default(); 3];
            for (amps, row) in amps.iter_mut().zip(y) {
                *amps = pairs
                    .iter()
                    .zip(row)
                    .map(|(p, y)| self.across(*p) * y)
                    .sum();
            }
            amps
        }
    }
}

/// A dead network as an ohmmeter's direct current sees it.
#[derive(Debug)]
pub struct Direct<'p> {
    pattern: &'p Pattern,
    factors: Factors<f64>,
}

impl<'p> Direct<'p> {
    /// Prepares `elements` for an ohmmeter.
    #[must_use]
    pub fn new(pattern: &'p Pattern, elements: &[Element]) -> Self {
        let mut matrix = pattern.matrix::<f64>();
        for node in 0..pattern.nodes() {
            pattern.stamp(
                &mut matrix,
                (Some(node), None),
                (Some(node), None),
                LEAK_SIEMENS,
            );
        }
        for element in elements {
            let mut two = |ends: [Node; 2], ohms: f64| {
                let pair = (ends[0], ends[1]);
                pattern.stamp(&mut matrix, pair, pair, 1.0 / ohms);
            };
            match element {
                Element::Resistor { ends, ohms }
                | Element::Coil { ends, ohms, .. }
                | Element::Source { ends, ohms, .. } => two(*ends, *ohms),
                Element::Capacitor {
                    ends, leak_ohms, ..
                } => two(*ends, *leak_ohms),
                Element::Transformer {
                    primary,
                    secondary,
                    ohms,
                    ..
                } => {
                    two(*primary, ohms[0]);
                    two(*secondary, ohms[1]);
                }
                Element::Motor {
                    main, aux, data, ..
                } => {
                    two(*main, data.main_ohms);
                    two(*aux, data.aux_ohms);
                }
                Element::ThreePhaseMotor { windings, data, .. } => {
                    for winding in windings {
                        two(*winding, data.stator_ohms);
                    }
                }
            }
        }
        Direct {
            pattern,
            factors: pattern.factor(matrix),
        }
    }

    /// The resistance between two nodes, ohms.
    #[must_use]
    pub fn resistance(&self, ends: [Node; 2]) -> f64 {
        self.pattern.between(&self.factors, ends, 1.0)
    }
}

fn at<T: Scalar>(values: &[T], node: Node) -> T {
    node.map_or_else(T::default, |n| values[n])
}
