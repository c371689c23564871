//! Electronically commutated fan motors: a module with rectifier and inverter, and the
//! three-winding motor that it turns.
//!
//! The model is what a multimeter sees of them: the module's power plug, its control input, the
//! motor's three leads. What an inverter puts out is not a sine, and is not modelled: no check reads
//! volts or amperes between module and motor.

use super::{Kind, Sight, Unit, bonded, by_degree, fault, look, param, terminal};
use crate::network::{Element, Node, OPEN_OHMS};

/// The module of an electronically commutated motor.
#[derive(Debug, Clone)]
pub struct Drive {
    /// The part.
    pub part: usize,
    /// Its feed, behind its input fuse.
    pub feed: [Node; 2],
    /// The least volts that it works on.
    pub least_volts: f64,
    /// Its control input.
    pub signal: [Node; 2],
    /// The least volts there that it takes for a call.
    pub least_signal_volts: f64,
    /// Its three leads to the motor.
    pub leads: [Node; 3],
    /// The element of its power plug.
    pub load: usize,
    /// What its power plug is to the line while the motor turns, ohms.
    pub load_ohms: f64,
    /// It drives nothing.
    pub dead: bool,
}

/// A motor that only a [`Drive`] turns.
#[derive(Debug, Clone)]
pub struct DrivenMotor {
    /// The part.
    pub part: usize,
    /// Its three leads.
    pub leads: [Node; 3],
    /// It turns if it is driven.
    pub able: bool,
}

/// Resistance of a transistor that is off, with what lies beside it, ohms (common practice, no
/// published source).
const OFF_OHMS: f64 = 1e6;

/// The filter across the power plug, farads (common practice, no published source).
const FILTER_FARADS: f64 = 0.47e-6;

pub(super) const MODULE: Kind = Kind {
    name: "ecm-module",
    about: "control module of an electronically commutated motor: line power in, a control signal in, three leads out",
    terminals: &[
        terminal("L1", "power plug, first line"),
        terminal("L2", "power plug, second line"),
        terminal("signal", "control input"),
        terminal("signal-common", "common of the control input"),
        terminal("U", "first motor lead"),
        terminal("V", "second motor lead"),
        terminal("W", "third motor lead"),
    ],
    internals: 2,
    params: &[
        param(
            "volts",
            Unit::Volt,
            Some(230.0),
            0.0,
            "rated volts at its power plug",
        ),
        param(
            "amps",
            Unit::Ampere,
            None,
            0.05,
            "amperes at rated volts, the motor at its speed",
        ),
        param(
            "plug-ohms",
            Unit::Ohm,
            Some(470e3),
            0.05,
            "what an ohmmeter sees at its power plug: the resistor that discharges its filter, behind it rectifiers that do not conduct (common practice, no published source)",
        ),
        param(
            "signal-ohms",
            Unit::Ohm,
            Some(3.3e3),
            0.10,
            "its control input (common practice, no published source)",
        ),
        param(
            "signal-volts",
            Unit::Volt,
            Some(14.0),
            0.10,
            "least volts that its control input takes for a call (common practice, no published source)",
        ),
    ],
    links: &[],
    faults: &[
        fault("dead", 0.050, "has power and a signal, and drives nothing"),
        fault(
            "input-open",
            0.010,
            "its input fuse or inrush resistor open",
        ),
        fault("input-shorted", 0.012, "its rectifier shorted"),
    ],
    looks: &[],
    source: false,
    build: |b| {
        let (l1, l2, signal, common) = (b.t(0), b.t(1), b.t(2), b.t(3));
        let (fused, bus) = (b.inside(0), b.inside(1));
        b.contact(l1, fused, 0.5, "input-open");
        let plug = b.under("input-shorted", 0.3, b.value("plug-ohms"));
        let load = b.resistor(fused, l2, plug);
        b.push(Element::Capacitor {
            ends: [fused, l2],
            farads: FILTER_FARADS,
            esr_ohms: 0.5,
            leak_ohms: 5e8,
        });
        b.resistor(bus, l2, OPEN_OHMS);
        let ohms = b.value("signal-ohms");
        b.resistor(signal, common, ohms);
        let leads = [b.t(4), b.t(5), b.t(6)];
        for lead in leads {
            b.resistor(lead, bus, OFF_OHMS);
        }
        let drive = Drive {
            part: b.part,
            feed: [fused, l2],
            // 0.8 of the rated volts (common practice, no published source).
            least_volts: 0.8 * b.value("volts"),
            signal: [signal, common],
            least_signal_volts: b.value("signal-volts"),
            leads,
            load,
            load_ohms: b.value("volts") / b.value("amps"),
            dead: b.has("dead") || b.has("input-shorted"),
        };
        b.assembly.drives.push(drive);
    },
};

pub(super) const MOTOR: Kind = Kind {
    name: "ecm-motor",
    about: "electronically commutated motor without its module: three windings in star",
    terminals: &[
        terminal("U", "first lead"),
        terminal("V", "second lead"),
        terminal("W", "third lead"),
        bonded("frame", "frame"),
    ],
    internals: 2,
    params: &[param(
        "lead-to-lead",
        Unit::Ohm,
        None,
        0.04,
        "two windings in series, cold: the same between any two leads",
    )],
    links: &[],
    faults: &[
        fault("winding-open", 0.008, "a winding open"),
        fault(
            "winding-shorted",
            0.006,
            "a winding shorted over most of its turns",
        ),
        by_degree("grounded", 0.008, "winding grounded"),
        fault("seized", 0.020, "does not turn"),
    ],
    looks: &[
        look(
            "running",
            Sight::Running,
            Some(true),
            "With a call for cooling: does it run?",
        ),
        look(
            "humming",
            Sight::Humming,
            Some(true),
            "With a call for cooling: does it hum, jerk or twitch without turning?",
        ),
        look(
            "free",
            Sight::FreeByHand,
            Some(false),
            "Unit dead, its plug off: does the fan turn freely by hand?",
        ),
    ],
    source: false,
    build: |b| {
        let leads = [b.t(0), b.t(1), b.t(2)];
        let (frame, inside, star) = (b.t(3), b.inside(0), b.inside(1));
        let winding = b.value("lead-to-lead") / 2.0;
        b.contact(leads[0], inside, 1e-3, "winding-open");
        b.resistor(inside, star, winding);
        b.resistor(leads[1], star, winding);
        let last = b.under("winding-shorted", 0.2 * winding, winding);
        b.resistor(leads[2], star, last);
        // From a dead short to some ohms.
        let ground = b.under("grounded", 0.5 * 16f64.powf(b.severity), OPEN_OHMS);
        b.resistor(leads[1], frame, ground);
        // Bonded by its mount and the equipment ground.
        b.resistor(frame, None, 0.1);
        let motor = DrivenMotor {
            part: b.part,
            leads,
            able: b.faults.is_empty(),
        };
        b.assembly.driven.push(motor);
    },
};
