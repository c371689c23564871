//! A unit's network as SPICE text, so that a general circuit simulator can solve the same.
//!
//! Only elements that every SPICE knows are written: R, L, C, K, V, I and the linear controlled
//! sources. A motor is written from its physical branches (winding, leakage, rotor and magnetising
//! halves of both revolving fields), not from the impedance matrix that the solver uses. The factor
//! j of its coupling is made by driving a current through an inductance of one ohm at the frequency
//! of the analysis.

use std::collections::BTreeSet;
use std::f64::consts::TAU;
use std::fmt::Write;

use crate::meter::CAPACITANCE_HERTZ;
use crate::motor::MotorData;
use crate::motor3::ThreePhaseData;
use crate::network::{Element, LEAK_SIEMENS, Node, STRAY_FARADS};
use crate::operate::LINE_HERTZ;
use crate::sheet::{PointId, Sheet};

/// A meter that is not connected, ohms.
const METER_OFF: f64 = 1e18;

/// What stands before a charge that is held: a meter of megohms does not notice it.
const HELD_OHMS: f64 = 10.0;

/// What is solved.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Analysis {
    /// Alternating current at line frequency, the supplies live.
    Live,
    /// One ampere of direct current into the probes: volts are ohms.
    Ohms,
    /// One ampere at the capacitance meter's frequency into the probes.
    Farads,
    /// Direct volts: the supplies stand at zero, only what is held drives.
    Held,
}

impl Analysis {
    fn hertz(self) -> f64 {
        match self {
            Analysis::Live | Analysis::Ohms | Analysis::Held => LINE_HERTZ,
            Analysis::Farads => CAPACITANCE_HERTZ,
        }
    }

    /// The command that solves it.
    fn run(self) -> String {
        match self {
            Analysis::Ohms | Analysis::Held => "op".to_owned(),
            Analysis::Live | Analysis::Farads => format!("ac lin 1 {0} {0}", self.hertz()),
        }
    }
}

/// A meter's two leads in a loaded circuit of [`Deck::leads`]: they reach any two points.
#[derive(Debug, Clone, Copy)]
pub struct Leads {
    analysis: Analysis,
    ohms: f64,
}

impl Leads {
    /// The commands that put the leads to two points, solve, print the one value between the
    /// meter's own terminals, and take them off again: volts, or for a meter that drives one
    /// ampere, ohms.
    #[must_use]
    pub fn touch(self, [a, b]: [PointId; 2]) -> String {
        // A lead at each end; both at one point meet there.
        format!(
            "alter Rplus{a} = {on:e}\nalter Rminus{b} = {on:e}\n{run}\nprint v(mplus)-v(mminus)\n\
             destroy\nalter Rplus{a} = {METER_OFF:e}\nalter Rminus{b} = {METER_OFF:e}\n",
            on = self.ohms / 2.0,
            run = self.analysis.run(),
        )
    }
}

/// A network with a meter between each of some pairs of points, one connected at a time; or with
/// one meter on leads that go to any points.
#[derive(Debug)]
pub struct Deck {
    analysis: Analysis,
    body: String,
    commands: String,
    probed: Vec<[PointId; 2]>,
    held: usize,
}

impl Deck {
    /// A network of this sheet.
    #[must_use]
    pub fn new(sheet: &Sheet, analysis: Analysis, elements: &[Element]) -> Self {
        let mut deck = Deck {
            analysis,
            body: format!("* {}\n", sheet.title),
            commands: String::new(),
            probed: Vec::new(),
            held: 0,
        };
        for (point, (name, words)) in sheet.points.iter().enumerate() {
            let _ = writeln!(deck.body, "* n{point} is {name}: {words}");
        }
        for node in 0..sheet.nodes {
            let _ = writeln!(deck.body, "Rleak{node} n{node} 0 {:e}", 1.0 / LEAK_SIEMENS);
            let _ = writeln!(deck.body, "Cstray{node} n{node} 0 {STRAY_FARADS:e}");
        }
        for (number, element) in elements.iter().enumerate() {
            deck.element(number, element);
        }
        deck
    }

    /// Connects the meter between two points, solves, prints the voltage between them, and takes
    /// the meter off again. A voltmeter has that input resistance.
    pub fn probe(&mut self, points: [PointId; 2], input_ohms: f64) {
        let i = self.probed.len();
        self.probed.push(points);
        let [a, b] = points.map(|p| format!("n{p}"));
        let (card, on, off) = match self.analysis {
            Analysis::Live | Analysis::Held => (
                format!("Rmeter{i} {a} {b} {METER_OFF:e}"),
                format!("Rmeter{i} = {input_ohms:e}"),
                format!("Rmeter{i} = {METER_OFF:e}"),
            ),
            Analysis::Ohms => (
                format!("Imeter{i} {b} {a} DC 0"),
                format!("Imeter{i} dc = 1"),
                format!("Imeter{i} dc = 0"),
            ),
            Analysis::Farads => (
                format!("Imeter{i} {b} {a} DC 0 AC 0"),
                format!("Imeter{i} acmag = 1"),
                format!("Imeter{i} acmag = 0"),
            ),
        };
        let run = self.analysis.run();
        let _ = writeln!(self.body, "{card}");
        let _ = writeln!(
            self.commands,
            "alter {on}\n{run}\nprint v({a})-v({b})\ndestroy\nalter {off}"
        );
    }

    /// The circuit, the commands that solve it, and how many values they print: for a simulator
    /// that is kept running.
    #[must_use]
    pub fn parts(self) -> (String, String, usize) {
        // Only these are kept of a solution: keeping all nodes takes longer than solving.
        let mut body = self.body;
        body.push_str(".save");
        for point in self.probed.iter().flatten().collect::<BTreeSet<_>>() {
            let _ = write!(body, " v(n{point})");
        }
        body.push('\n');
        (body, self.commands, self.probed.len())
    }

    /// The circuit with one meter of that input resistance, whose two leads of together
    /// `lead_ohms` reach every point; and what puts them there. A meter that drives a current has
    /// no input resistance of its own.
    #[must_use]
    pub fn leads(mut self, sheet: &Sheet, lead_ohms: f64, input_ohms: f64) -> (String, Leads) {
        for point in 0..sheet.points.len() {
            let _ = writeln!(self.body, "Rplus{point} n{point} mplus {METER_OFF:e}");
            let _ = writeln!(self.body, "Rminus{point} n{point} mminus {METER_OFF:e}");
        }
        let _ = match self.analysis {
            Analysis::Live | Analysis::Held => {
                writeln!(self.body, "Rmeter mplus mminus {input_ohms:e}")
            }
            Analysis::Ohms => writeln!(self.body, "Imeter mminus mplus DC 1"),
            Analysis::Farads => writeln!(self.body, "Imeter mminus mplus DC 0 AC 1"),
        };
        self.body.push_str(".save v(mplus) v(mminus)\n");
        let leads = Leads {
            analysis: self.analysis,
            ohms: lead_ohms,
        };
        (self.body, leads)
    }

    /// A direct voltage that a charged capacitor holds between two points.
    pub fn hold(&mut self, [a, b]: [PointId; 2], volts: f64) {
        let i = self.held;
        self.held += 1;
        let _ = writeln!(self.body, "Vheld{i} n{a} held{i} DC {volts:e}");
        let _ = writeln!(self.body, "Rheld{i} held{i} n{b} {HELD_OHMS:e}");
    }

    /// The whole deck as text, with the commands that solve it and print the probes' volts.
    #[must_use]
    pub fn finish(self) -> String {
        // Between a joint of a milliohm and an insulation of gigohms, elimination needs large pivots.
        format!(
            "{}.options pivrel=0.9\n.control\nset numdgt=15\n{}quit\n.endc\n.end\n",
            self.body, self.commands
        )
    }

    fn element(&mut self, k: usize, element: &Element) {
        let body = &mut self.body;
        let omega = TAU * self.analysis.hertz();
        match element {
            Element::Resistor { ends: [a, b], ohms } => {
                line(body, 'R', k, "", [*a, *b], *ohms);
            }
            Element::Coil {
                ends: [a, b],
                ohms,
                henries,
            } => {
                let inner = format!("m{k}");
                let _ = writeln!(body, "R{k} {} {inner} {ohms:e}", node(*a));
                // A coil of no inductance is its copper.
                let _ = if *henries > 0.0 {
                    writeln!(body, "L{k} {inner} {} {henries:e}", node(*b))
                } else {
                    writeln!(body, "V{k} {inner} {} DC 0", node(*b))
                };
            }
            Element::Capacitor {
                ends: [a, b],
                farads,
                esr_ohms,
                leak_ohms,
            } => {
                let _ = writeln!(body, "R{k} {} m{k} {esr_ohms:e}", node(*a));
                let _ = writeln!(body, "C{k} m{k} {} {farads:e}", node(*b));
                line(body, 'R', k, "leak", [*a, *b], *leak_ohms);
            }
            Element::Source {
                ends: [a, b],
                volts,
                ohms,
            } => {
                let (magnitude, degrees) = (volts.norm(), volts.arg().to_degrees());
                let ac = match self.analysis {
                    Analysis::Live => format!(" AC {magnitude:e} {degrees:e}"),
                    _ => String::new(),
                };
                let _ = writeln!(body, "V{k} m{k} {} DC 0{ac}", node(*b));
                let _ = writeln!(body, "R{k} {} m{k} {ohms:e}", node(*a));
            }
            Element::Transformer {
                primary,
                secondary,
                ohms,
                henries,
                coupling,
            } => {
                for (w, [a, b]) in [primary, secondary].into_iter().enumerate() {
                    let _ = writeln!(body, "R{k}w{w} {} m{k}w{w} {:e}", node(*a), ohms[w]);
                    let _ = writeln!(body, "L{k}w{w} m{k}w{w} {} {:e}", node(*b), henries[w]);
                }
                let _ = writeln!(body, "K{k} L{k}w0 L{k}w1 {coupling:e}");
            }
            Element::Motor {
                main,
                aux,
                data,
                slip,
            } => motor(body, k, [*main, *aux], data, *slip, omega),
            Element::ThreePhaseMotor {
                windings,
                data,
                slip,
            } => three_phase(body, k, *windings, data, *slip, omega),
        }
    }
}

fn node(node: Node) -> String {
    node.map_or_else(|| "0".to_owned(), |n| format!("n{n}"))
}

fn line(body: &mut String, kind: char, k: usize, tag: &str, [a, b]: [Node; 2], value: f64) {
    let _ = writeln!(body, "{kind}{k}{tag} {} {} {value:e}", node(a), node(b));
}

/// What a revolving field meets: ohms at [`MotorData::REFERENCE_HERTZ`].
struct Rotor {
    ohms: f64,
    reactance: f64,
    magnetising: f64,
}

/// A revolving field, scaled: rotor in parallel with magnetising branch.
fn field(
    body: &mut String,
    name: &str,
    from: &str,
    to: &str,
    rotor: &Rotor,
    slip: f64,
    scale: f64,
) {
    let reference = TAU * MotorData::REFERENCE_HERTZ;
    let leakage = scale * rotor.reactance / reference;
    let magnetising = scale * rotor.magnetising / reference;
    let rotor = scale * rotor.ohms / slip;
    let _ = writeln!(body, "R{name} {from} {name}r {rotor:e}");
    let _ = writeln!(body, "L{name} {name}r {to} {leakage:e}");
    let _ = writeln!(body, "L{name}m {from} {to} {magnetising:e}");
}

fn motor(
    body: &mut String,
    k: usize,
    windings: [[Node; 2]; 2],
    data: &MotorData,
    slip: f64,
    omega: f64,
) {
    let reference = TAU * MotorData::REFERENCE_HERTZ;
    let rotor = Rotor {
        ohms: data.rotor_ohms,
        reactance: data.rotor_reactance,
        magnetising: data.magnetising_reactance,
    };
    let ratio = data.turns_ratio;
    let own = [
        (data.main_ohms, data.main_reactance, 0.5),
        (data.aux_ohms, data.aux_reactance, 0.5 * ratio * ratio),
    ];
    for (w, ([a, b], (ohms, reactance, scale))) in windings.into_iter().zip(own).enumerate() {
        let at = |step: &str| format!("m{k}w{w}{step}");
        let _ = writeln!(body, "R{k}w{w} {} {} {ohms:e}", node(a), at("a"));
        let _ = writeln!(
            body,
            "L{k}w{w} {} {} {:e}",
            at("a"),
            at("b"),
            reactance / reference
        );
        field(
            body,
            &format!("{k}w{w}f"),
            &at("b"),
            &at("c"),
            &rotor,
            slip,
            scale,
        );
        field(
            body,
            &format!("{k}w{w}b"),
            &at("c"),
            &at("d"),
            &rotor,
            2.0 - slip,
            scale,
        );
        // The winding's own current is felt here.
        let _ = writeln!(body, "V{k}w{w} {} {} DC 0", at("d"), at("e"));
        // The other winding's fields, turned a quarter: main feels -j a, aux +j a of them.
        let sign = if w == 0 { -ratio } else { ratio };
        let _ = writeln!(
            body,
            "E{k}w{w} {} {} m{k}j{} 0 {sign:e}",
            at("e"),
            node(b),
            1 - w
        );
        // Half the forward less half the backward field of this winding's current, times j.
        let _ = writeln!(body, "F{k}f{w} 0 m{k}f{w} V{k}w{w} 1");
        field(
            body,
            &format!("{k}c{w}f"),
            &format!("m{k}f{w}"),
            "0",
            &rotor,
            slip,
            0.5,
        );
        let _ = writeln!(body, "F{k}b{w} 0 m{k}b{w} V{k}w{w} 1");
        field(
            body,
            &format!("{k}c{w}b"),
            &format!("m{k}b{w}"),
            "0",
            &rotor,
            2.0 - slip,
            0.5,
        );
        let _ = writeln!(body, "G{k}j{w} 0 m{k}j{w} m{k}f{w} m{k}b{w} 1");
        let _ = writeln!(body, "L{k}j{w} m{k}j{w} 0 {:e}", 1.0 / omega);
    }
}

/// Three windings. Each current drives a copy of the forward and of the backward field's branch,
/// whose volts act on the windings by where these lie: on the own one a third of both, on the
/// others less a sixth of both, and less or plus j times the root of three over six of their
/// difference.
fn three_phase(
    body: &mut String,
    k: usize,
    windings: [[Node; 2]; 3],
    data: &ThreePhaseData,
    slip: f64,
    omega: f64,
) {
    let reference = TAU * MotorData::REFERENCE_HERTZ;
    let rotor = Rotor {
        ohms: data.rotor_ohms,
        reactance: data.rotor_reactance,
        magnetising: data.magnetising_reactance,
    };
    for (w, [a, b]) in windings.into_iter().enumerate() {
        let at = |step: usize| format!("m{k}w{w}s{step}");
        let _ = writeln!(
            body,
            "R{k}w{w} {} {} {:e}",
            node(a),
            at(0),
            data.stator_ohms
        );
        let henries = data.stator_reactance / reference;
        let _ = writeln!(body, "L{k}w{w} {} {} {henries:e}", at(0), at(1));
        let _ = writeln!(body, "V{k}w{w} {} {} DC 0", at(1), at(2));
        let mut step = 2;
        for other in 0..3 {
            let in_phase = if other == w { 1.0 / 3.0 } else { -1.0 / 6.0 };
            let quarter = match (w + 3 - other) % 3 {
                0 => 0.0,
                1 => -(3f64.sqrt()) / 6.0,
                _ => 3f64.sqrt() / 6.0,
            };
            for (field, share) in [("f", in_phase), ("b", in_phase), ("j", quarter)] {
                let _ = writeln!(
                    body,
                    "E{k}w{w}{field}{other} {} {} m{k}{field}{other} 0 {share:e}",
                    at(step),
                    at(step + 1)
                );
                step += 1;
            }
        }
        let _ = writeln!(body, "V{k}e{w} {} {} DC 0", at(step), node(b));
        let _ = writeln!(body, "F{k}f{w} 0 m{k}f{w} V{k}w{w} 1");
        let (forward, backward) = (format!("m{k}f{w}"), format!("m{k}b{w}"));
        field(body, &format!("{k}c{w}f"), &forward, "0", &rotor, slip, 1.0);
        let _ = writeln!(body, "F{k}b{w} 0 m{k}b{w} V{k}w{w} 1");
        field(
            body,
            &format!("{k}c{w}b"),
            &backward,
            "0",
            &rotor,
            2.0 - slip,
            1.0,
        );
        let _ = writeln!(body, "G{k}j{w} 0 m{k}j{w} m{k}f{w} m{k}b{w} 1");
        let _ = writeln!(body, "L{k}j{w} m{k}j{w} 0 {:e}", 1.0 / omega);
    }
}
