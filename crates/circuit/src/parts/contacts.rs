//! Contacts of the control circuit: relays, limits, and what holds a call back.

use super::power::{COIL_FAULTS, COIL_PARAMS, CONTACTOR_LOOKS, coil, pull_in_volts};
use super::{
    Build, CONTROL_CONTACT_OHMS, Contactor, Kind, LINE_CONTACT_OHMS, Pole, Terminal, fault,
    terminal,
};
use crate::network::OPEN_OHMS;

const TWO_SIDES: [Terminal; 2] = [terminal("1", "first side"), terminal("2", "second side")];

pub(super) const ROOM_THERMOSTAT: Kind = Kind {
    name: "cold-room-thermostat",
    about: "thermostat of a cold room: one contact, closed while the room is too warm",
    terminals: &TWO_SIDES,
    internals: 0,
    params: &[],
    links: &[],
    faults: &[fault(
        "no-call",
        0.030,
        "does not close, the room being warm",
    )],
    looks: &[],
    source: false,
    build: |b| {
        b.contact(b.t(0), b.t(1), CONTROL_CONTACT_OHMS, "no-call");
    },
};

pub(super) const LIMIT_SWITCH: Kind = Kind {
    name: "limit-switch",
    about: "temperature limit in the control circuit, closed while it is cool",
    terminals: &TWO_SIDES,
    internals: 0,
    params: &[],
    links: &[],
    faults: &[fault(
        "open",
        0.020,
        "open: too hot from a cause outside the circuit, or the limit itself",
    )],
    looks: &[],
    source: false,
    build: |b| {
        b.contact(b.t(0), b.t(1), CONTROL_CONTACT_OHMS, "open");
    },
};

pub(super) const LOCKOUT_CONTACT: Kind = Kind {
    name: "lockout-contact",
    about: "contact of a lockout or delay relay, closed once its time is over and nothing locked it out",
    terminals: &TWO_SIDES,
    internals: 0,
    params: &[],
    links: &[],
    faults: &[fault(
        "open",
        0.015,
        "open: locked out and not reset, or the relay itself",
    )],
    looks: &[],
    source: false,
    build: |b| {
        b.contact(b.t(0), b.t(1), CONTROL_CONTACT_OHMS, "open");
    },
};

/// A normally open contact of a relay.
pub(super) fn relay_contact(
    b: &mut Build<'_>,
    [a, c]: [usize; 2],
    closed_ohms: f64,
    [open, welded]: [&str; 2],
) -> Pole {
    let stuck = match (b.has(open), b.has(welded)) {
        (true, _) => Some(false),
        (_, true) => Some(true),
        _ => None,
    };
    let element = b.resistor(b.t(a), b.t(c), OPEN_OHMS);
    Pole {
        element,
        closed_ohms,
        stuck,
    }
}

pub(super) const RELAY: Kind = Kind {
    name: "relay",
    about: "relay with two normally open contacts, the second in the control circuit",
    terminals: &[
        terminal("A1", "coil"),
        terminal("A2", "coil"),
        terminal("13", "first contact"),
        terminal("14", "first contact"),
        terminal("23", "second contact"),
        terminal("24", "second contact"),
    ],
    internals: 0,
    params: &COIL_PARAMS,
    links: &[],
    faults: &[
        COIL_FAULTS[0],
        COIL_FAULTS[1],
        fault("contact-1-open", 0.025, "first contact does not make"),
        fault("contact-2-open", 0.015, "second contact does not make"),
        fault("contact-1-welded", 0.006, "first contact welded shut"),
        fault("contact-2-welded", 0.002, "second contact stuck shut"),
    ],
    looks: &[],
    source: false,
    build: |b| {
        let coil = coil(b, 0, 1);
        let faults = ["contact-1-open", "contact-1-welded"];
        let first = relay_contact(b, [2, 3], LINE_CONTACT_OHMS, faults);
        let faults = ["contact-2-open", "contact-2-welded"];
        let second = relay_contact(b, [4, 5], CONTROL_CONTACT_OHMS, faults);
        let pull_in_volts = pull_in_volts(b);
        b.assembly.contactors.push(Contactor {
            part: b.part,
            coil,
            pull_in_volts,
            poles: vec![first, second],
            delayed: false,
        });
    },
};

pub(super) const RELAY_COIL: Kind = Kind {
    name: "contactor-coil",
    about: "coil of a contactor by itself, its poles being no part of the sheet",
    terminals: &[terminal("A1", "coil"), terminal("A2", "coil")],
    internals: 0,
    params: &COIL_PARAMS,
    links: &[],
    faults: &COIL_FAULTS,
    looks: &CONTACTOR_LOOKS,
    source: false,
    build: |b| {
        let coil = coil(b, 0, 1);
        let pull_in_volts = pull_in_volts(b);
        b.assembly.contactors.push(Contactor {
            part: b.part,
            coil,
            pull_in_volts,
            poles: Vec::new(),
            delayed: false,
        });
    },
};
