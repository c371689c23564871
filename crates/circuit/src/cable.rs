//! Cables: conductors that run side by side are coupled by their capacitance, so that one which floats
//! beside a live one shows volts on a meter of megohms. Into a few kilohms next to nothing is left of
//! them: the coupling passes some microamperes.

use crate::network::Element;
use crate::parts::Assembly;
use crate::sheet::{Sheet, Wire};

/// Capacitance between two conductors of one cable, farads a metre (common practice, no published
/// source). EN 50288-7 and BS 5308-2 allow 250 pF/m between adjacent PVC-insulated cores (verified
/// at second hand).
const BETWEEN_FARADS: f64 = 80e-12;

/// Capacitance between a conductor of a cable and the ground around it, farads a metre (common
/// practice, no published source). The same standards allow 450 pF/m from one core to all else.
const TO_GROUND_FARADS: f64 = 60e-12;

/// How much either differs from one unit to the next: the standard deviation of its logarithm
/// (common practice, no published source): other cables, other lengths, conduits of metal or not.
const SPREAD: f64 = 0.35;

/// Insulation between the conductors, ohms: next to nothing beside that of the wiring to earth
/// (common practice, no published source).
const LEAK_OHMS: f64 = 1e13;

/// Series resistance of the coupling, ohms: nothing beside its reactance.
const ESR_OHMS: f64 = 1.0;

/// Wires that run side by side over some length.
#[derive(Debug, Clone)]
pub struct Cable {
    /// Its name.
    pub name: String,
    /// Its conductors, by the sheet's numbers of wires.
    pub wires: Vec<usize>,
    /// Its length, metres.
    pub metres: f64,
}

/// How strongly the conductors of a unit's cables are coupled, against what is stated.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Coupling {
    between: f64,
    to_ground: f64,
}

impl Coupling {
    /// As stated.
    pub const STATED: Coupling = Coupling {
        between: 1.0,
        to_ground: 1.0,
    };

    /// Drawn, each so many standard deviations from the middle.
    pub(crate) fn drawn(mut deviation: impl FnMut() -> f64) -> Self {
        let mut factor = || (SPREAD * deviation()).exp();
        Coupling {
            between: factor(),
            to_ground: factor(),
        }
    }
}

/// Adds the capacitances of every cable of a sheet. They lie at the far ends of the wires: of one
/// that is open anywhere, that is the end which floats.
pub(crate) fn couple(sheet: &Sheet, coupling: Coupling, assembly: &mut Assembly) {
    // They are no part's and no wire's: after both.
    let owner = sheet.parts.len() + sheet.wires.len();
    let mut add = |a: &Wire, b: Option<&Wire>, farads: f64| {
        assembly.elements.push(Element::Capacitor {
            ends: [Some(a.ends[1]), b.map(|b| b.ends[1])],
            farads,
            esr_ohms: ESR_OHMS,
            leak_ohms: LEAK_OHMS,
        });
        assembly.owners.push(owner);
    };
    for cable in &sheet.cables {
        let conductors: Vec<&Wire> = cable.wires.iter().map(|&w| &sheet.wires[w]).collect();
        for (i, &a) in conductors.iter().enumerate() {
            add(
                a,
                None,
                TO_GROUND_FARADS * cable.metres * coupling.to_ground,
            );
            for &b in &conductors[i + 1..] {
                add(a, Some(b), BETWEEN_FARADS * cable.metres * coupling.between);
            }
        }
    }
}
