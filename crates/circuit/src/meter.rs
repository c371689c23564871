//! What a meter shows of a unit at one check: its input resistance, its test frequency, its
//! overload.

use ohmtrail_core::reading::Function;

use crate::network::{Alternating, Direct, Element, Node, Phasor};
use crate::operate::{AsFound, Unit};
use crate::sheet::{Heat, PointId};

/// Input resistance of a voltmeter, ohms (common practice, no published source).
pub const VOLTMETER_OHMS: f64 = 10e6;

/// Input resistance of a voltmeter in its low-impedance mode, ohms: some thousands (common practice,
/// no published source).
pub const LOW_IMPEDANCE_OHMS: f64 = 3e3;

/// The frequency at which a capacitance is measured, hertz (common practice, no published source).
pub const CAPACITANCE_HERTZ: f64 = 100.0;

/// The most ohms that are shown before an overload (common practice, no published source).
pub const OVERLOAD_OHMS: f64 = 40e6;

/// The most farads that are shown before an overload (common practice, no published source).
pub const OVERLOAD_FARADS: f64 = 20e-3;

/// Input resistance of the modelled voltmeter, in its low-impedance mode or not, ohms.
#[must_use]
pub const fn input_ohms(low_impedance: bool) -> f64 {
    if low_impedance {
        LOW_IMPEDANCE_OHMS
    } else {
        VOLTMETER_OHMS
    }
}

/// What a perfect display would show.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Ideal {
    /// A value in the function's base unit.
    Value(f64),
    /// Over the range.
    Overload,
}

/// A unit in one state, solved once for all checks in that state.
#[derive(Debug)]
pub enum Scene<'u, 'c> {
    /// Under power.
    Live(&'u AsFound<'c>),
    /// The line's breakers open, the supplies live before them: for volts.
    Opened(Alternating<'c>),
    /// Dead, for ohms.
    Direct(Direct<'c>),
    /// Dead, for farads.
    Capacitance(Alternating<'c>),
}

/// The state of the unit at a check.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct State<'l> {
    /// Under power.
    pub power: bool,
    /// The lifted wire ends.
    pub lifted: &'l [PointId],
    /// The heat of the motors.
    pub heat: Heat,
}

impl<'u, 'c> Scene<'u, 'c> {
    /// Sets the scene for one function in one state. `None` for a function that the model does
    /// not know in that state.
    #[must_use]
    pub fn new(unit: &'u Unit<'c>, function: Function, state: State<'_>) -> Option<Self> {
        match (state.power, function) {
            (true, Function::VoltsAc | Function::AmpsAc) => {
                Some(Scene::Live(unit.standing(state.heat)))
            }
            (false, Function::VoltsAc) => {
                Some(Scene::Opened(unit.opened(state.lifted, state.heat, true)))
            }
            (false, Function::Ohms | Function::Continuity | Function::Megohms) => {
                Some(Scene::Direct(unit.dead(state.lifted, state.heat)))
            }
            (false, Function::Farads) => Some(Scene::Capacitance(unit.dead_alternating(
                state.lifted,
                state.heat,
                CAPACITANCE_HERTZ,
            ))),
            _ => None,
        }
    }

    /// What a perfect display shows between two points; for amperes, of the wire between them. For
    /// volts, on a meter of that input resistance.
    #[must_use]
    pub fn shows(&self, function: Function, points: [PointId; 2], input_ohms: f64) -> Ideal {
        let ends = points.map(Some);
        match self {
            Scene::Live(standing) => Ideal::Value(if function == Function::AmpsAc {
                amps(&standing.live, &standing.assembly.elements, ends)
            } else {
                standing.live.voltmeter(ends, input_ohms)
            }),
            Scene::Opened(network) => Ideal::Value(network.voltmeter(ends, input_ohms)),
            Scene::Direct(direct) => {
                let ohms = direct.resistance(ends);
                if ohms > OVERLOAD_OHMS {
                    Ideal::Overload
                } else {
                    Ideal::Value(ohms)
                }
            }
            Scene::Capacitance(network) => farads(network.impedance(ends)),
        }
    }
}

/// The amperes in the wire between two points.
pub(crate) fn amps(live: &Alternating<'_>, elements: &[Element], ends: [Node; 2]) -> f64 {
    elements
        .iter()
        .find(|e| matches!(e, Element::Resistor { ends: own, .. } if *own == ends))
        .map_or(0.0, |wire| live.currents(wire)[0].norm())
}

/// The series capacitance of an impedance at [`CAPACITANCE_HERTZ`]. A short or a coil shows an
/// overload; an open circuit next to nothing.
fn farads(impedance: Phasor) -> Ideal {
    let omega = std::f64::consts::TAU * CAPACITANCE_HERTZ;
    let value = -1.0 / (omega * impedance.im);
    if impedance.im >= 0.0 || value > OVERLOAD_FARADS {
        Ideal::Overload
    } else {
        Ideal::Value(value)
    }
}
