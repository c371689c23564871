//! The 24 V circuit: transformer, fuse, thermostat, pressure switches, board relay, solenoid.

use super::{
    CONTROL_CONTACT_OHMS, Kind, Overcurrent, Sight, Unit, fault, intermittent, look, param,
    terminal,
};
use crate::network::{Element, OPEN_OHMS};

/// When a contact shows that opens while the unit runs.
const OPENS_RUNNING: &str = "once the unit has run for a while; at rest it reads closed";

const TWO_LEADS: [super::Terminal; 2] = [terminal("1", "first side"), terminal("2", "second side")];

pub(super) const TRANSFORMER: Kind = Kind {
    name: "transformer",
    about: "control transformer",
    terminals: &[
        terminal("H1", "primary"),
        terminal("H2", "primary"),
        terminal("X1", "secondary, hot side"),
        terminal("X2", "secondary, common side"),
    ],
    internals: 2,
    params: &[
        param(
            "primary-volts",
            Unit::Volt,
            Some(240.0),
            0.0,
            "rated primary volts",
        ),
        param(
            "secondary-volts",
            Unit::Volt,
            Some(27.0),
            0.01,
            "secondary volts with no load",
        ),
        param(
            "primary-ohms",
            Unit::Ohm,
            Some(60.0),
            0.06,
            "copper of the primary",
        ),
        param(
            "secondary-ohms",
            Unit::Ohm,
            Some(0.7),
            0.06,
            "copper of the secondary",
        ),
        param(
            "primary-henries",
            Unit::Henry,
            Some(14.0),
            0.1,
            "inductance of the primary",
        ),
    ],
    links: &[],
    faults: &[
        fault("primary-open", 0.012, "primary open"),
        fault("secondary-open", 0.006, "secondary open"),
    ],
    looks: &[],
    source: false,
    build: |b| {
        let (primary, secondary) = (b.inside(0), b.inside(1));
        b.contact(b.t(0), primary, 1e-3, "primary-open");
        b.contact(b.t(2), secondary, 1e-3, "secondary-open");
        let ratio = b.value("secondary-volts") / b.value("primary-volts");
        let henries = b.value("primary-henries");
        b.push(Element::Transformer {
            primary: [primary, b.t(1)],
            secondary: [secondary, b.t(3)],
            ohms: [b.value("primary-ohms"), b.value("secondary-ohms")],
            henries: [henries, henries * ratio * ratio],
            coupling: 0.9995,
        });
    },
};

pub(super) const FUSE: Kind = Kind {
    name: "control-fuse",
    about: "fuse of the 24 V circuit",
    terminals: &TWO_LEADS,
    internals: 0,
    params: &[param(
        "rating",
        Unit::Ampere,
        Some(3.0),
        0.0,
        "rated amperes",
    )],
    links: &[],
    faults: &[fault("blown", 0.025, "blown with nothing wrong behind it")],
    looks: &[look(
        "blown",
        Sight::Blown,
        None,
        "Is the control fuse's link seen to be gone?",
    )],
    source: false,
    build: |b| {
        let element = b.contact(b.t(0), b.t(1), CONTROL_CONTACT_OHMS, "blown");
        let rating = b.value("rating");
        b.assembly.overcurrent.push(Overcurrent {
            part: b.part,
            elements: vec![element],
            // A blade or glass fuse opens within seconds at twice its rating (common practice, no
            // published source).
            at_once_amps: 2.0 * rating,
            held_amps: 1.35 * rating,
            open: b.has("blown"),
            line: false,
            opens: "blown",
        });
    },
};

pub(super) const THERMOSTAT: Kind = Kind {
    name: "thermostat",
    about: "thermostat of a heat pump, calling for cooling",
    terminals: &[
        terminal("R", "24 V hot"),
        terminal("Y", "call for the compressor"),
        terminal("O", "call for the reversing valve"),
    ],
    internals: 0,
    params: &[],
    links: &[],
    faults: &[
        fault("no-call", 0.030, "does not close R to Y"),
        fault("no-valve-call", 0.006, "does not close R to O"),
    ],
    looks: &[],
    source: false,
    build: |b| {
        b.contact(b.t(0), b.t(1), CONTROL_CONTACT_OHMS, "no-call");
        b.contact(b.t(0), b.t(2), CONTROL_CONTACT_OHMS, "no-valve-call");
    },
};

pub(super) const COOLING_THERMOSTAT: Kind = Kind {
    name: "cooling-thermostat",
    about: "thermostat of a unit that only cools, calling for cooling",
    terminals: &[
        terminal("R", "24 V hot"),
        terminal("Y", "call for the compressor"),
    ],
    internals: 0,
    params: &[],
    links: &[],
    faults: &[fault("no-call", 0.030, "does not close R to Y")],
    looks: &[],
    source: false,
    build: |b| {
        b.contact(b.t(0), b.t(1), CONTROL_CONTACT_OHMS, "no-call");
    },
};

pub(super) const PACKAGED_THERMOSTAT: Kind = Kind {
    name: "packaged-thermostat",
    about: "thermostat of a packaged unit, calling for cooling and for the blower",
    terminals: &[
        terminal("R", "24 V hot"),
        terminal("Y", "call for the compressor"),
        terminal("G", "call for the blower"),
    ],
    internals: 0,
    params: &[],
    links: &[],
    faults: &[
        fault("no-call", 0.030, "does not close R to Y"),
        fault("no-blower-call", 0.010, "does not close R to G"),
    ],
    looks: &[],
    source: false,
    build: |b| {
        b.contact(b.t(0), b.t(1), CONTROL_CONTACT_OHMS, "no-call");
        b.contact(b.t(0), b.t(2), CONTROL_CONTACT_OHMS, "no-blower-call");
    },
};

pub(super) const PRESSURE_SWITCH: Kind = Kind {
    name: "pressure-switch",
    about: "pressure switch, closed while the pressure is in range",
    terminals: &TWO_LEADS,
    internals: 0,
    params: &[],
    links: &[],
    faults: &[
        fault(
            "open",
            0.025,
            "open: a true pressure fault, or the switch itself",
        ),
        intermittent(
            "opens-running",
            0.005,
            "opens while the unit runs, and closes again at rest",
            OPENS_RUNNING,
        ),
    ],
    looks: &[],
    source: false,
    build: |b| {
        let ends = [b.t(0), b.t(1)];
        b.shaken(ends, CONTROL_CONTACT_OHMS, "open", "opens-running");
    },
};

pub(super) const DEFROST_RELAY: Kind = Kind {
    name: "defrost-relay",
    about: "relay of the defrost board that stops the outdoor fan in defrost",
    terminals: &[
        terminal("COM", "from the contactor"),
        terminal("NC", "to the fan, closed outside defrost"),
    ],
    internals: 0,
    params: &[],
    links: &[],
    faults: &[
        fault("stuck-open", 0.025, "fan contact stays open"),
        intermittent(
            "opens-running",
            0.005,
            "fan contact opens while the unit runs, and closes again at rest",
            OPENS_RUNNING,
        ),
    ],
    looks: &[],
    source: false,
    build: |b| {
        b.shaken([b.t(0), b.t(1)], 0.01, "stuck-open", "opens-running");
    },
};

pub(super) const SOLENOID: Kind = Kind {
    name: "solenoid",
    about: "solenoid coil of a valve, 24 V",
    terminals: &TWO_LEADS,
    internals: 0,
    params: &[
        param(
            "coil-ohms",
            Unit::Ohm,
            Some(18.0),
            0.08,
            "copper of the coil",
        ),
        param(
            "coil-henries",
            Unit::Henry,
            Some(0.16),
            0.05,
            "inductance of the coil",
        ),
    ],
    links: &[],
    faults: &[
        fault("open", 0.008, "coil open"),
        fault("shorted", 0.005, "coil shorted"),
    ],
    looks: &[],
    source: false,
    build: |b| {
        let (mut ohms, mut henries) = (b.value("coil-ohms"), b.value("coil-henries"));
        if b.has("open") {
            (ohms, henries) = (OPEN_OHMS, 0.0);
        } else if b.has("shorted") {
            ohms *= 0.04;
            henries *= 0.005;
        }
        b.push(Element::Coil {
            ends: [b.t(0), b.t(1)],
            ohms,
            henries,
        });
    },
};
