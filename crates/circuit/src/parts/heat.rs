//! Electric heat: thermostat, sequencer, elements, and the limits in series with them.

use super::contacts::relay_contact;
use super::{
    CONTROL_CONTACT_OHMS, Contactor, Kind, LINE_CONTACT_OHMS, Link, Sight, Unit, bonded, by_degree,
    fault, look, param, terminal,
};
use crate::network::OPEN_OHMS;
use crate::surroundings::Trigger;

pub(super) const THERMOSTAT: Kind = Kind {
    name: "heating-thermostat",
    about: "thermostat of electric heat, calling for heat and for the blower with it",
    terminals: &[
        terminal("R", "24 V hot"),
        terminal("W", "call for heat"),
        terminal("G", "call for the blower"),
    ],
    internals: 0,
    params: &[],
    links: &[],
    faults: &[
        fault("no-heat-call", 0.030, "does not close R to W"),
        fault("no-blower-call", 0.010, "does not close R to G"),
    ],
    looks: &[],
    source: false,
    build: |b| {
        b.contact(b.t(0), b.t(1), CONTROL_CONTACT_OHMS, "no-heat-call");
        b.contact(b.t(0), b.t(2), CONTROL_CONTACT_OHMS, "no-blower-call");
    },
};

pub(super) const SEQUENCER: Kind = Kind {
    name: "sequencer",
    about: "sequencer: a small heater moves two contacts, some tens of seconds after it is fed and one after the other",
    terminals: &[
        terminal("H1", "heater"),
        terminal("H2", "heater"),
        terminal("M1", "first contact"),
        terminal("M2", "first contact"),
        terminal("M3", "second contact"),
        terminal("M4", "second contact"),
    ],
    internals: 0,
    params: &[
        param(
            "heater-ohms",
            Unit::Ohm,
            Some(110.0),
            0.08,
            "its heater (common practice, no published source)",
        ),
        param(
            "closes-at",
            Unit::Volt,
            Some(18.0),
            0.04,
            "least heater volts that move its contacts (common practice, no published source)",
        ),
    ],
    links: &[],
    faults: &[
        fault("heater-open", 0.030, "heater open"),
        fault("heater-shorted", 0.006, "heater shorted"),
        fault("contact-1-open", 0.025, "first contact does not make"),
        fault("contact-2-open", 0.025, "second contact does not make"),
        fault("contact-1-welded", 0.008, "first contact welded shut"),
        fault("contact-2-welded", 0.008, "second contact welded shut"),
    ],
    looks: &[],
    source: false,
    build: |b| {
        let ends = [b.t(0), b.t(1)];
        let dead = b.has("heater-open") || b.has("heater-shorted");
        let ohms = if b.has("heater-open") {
            OPEN_OHMS
        } else {
            b.value("heater-ohms") * b.under("heater-shorted", 0.01, 1.0)
        };
        b.resistor(ends[0], ends[1], ohms);
        let faults = ["contact-1-open", "contact-1-welded"];
        let first = relay_contact(b, [2, 3], LINE_CONTACT_OHMS, faults);
        let faults = ["contact-2-open", "contact-2-welded"];
        let second = relay_contact(b, [4, 5], LINE_CONTACT_OHMS, faults);
        let pull_in_volts = if dead {
            f64::INFINITY
        } else {
            b.value("closes-at")
        };
        b.assembly.contactors.push(Contactor {
            part: b.part,
            coil: ends,
            pull_in_volts,
            poles: vec![first, second],
            delayed: true,
        });
    },
};

pub(super) const ELEMENT: Kind = Kind {
    name: "heating-element",
    about: "open-wire heating element in its frame",
    terminals: &[
        terminal("1", "switched end"),
        terminal("2", "other end"),
        bonded("frame", "frame"),
    ],
    internals: 2,
    params: &[
        param("volts", Unit::Volt, Some(240.0), 0.0, "rated volts"),
        // Tolerance of such elements: +5 and -10 % of the watts are usual.
        param(
            "watts",
            Unit::Watt,
            None,
            0.03,
            "rated watts at these volts",
        ),
    ],
    links: &[],
    faults: &[
        fault("open", 0.030, "burnt open"),
        by_degree("grounded", 0.010, "grounded at its switched end"),
        by_degree(
            "sagged",
            0.015,
            "sagged on its frame, grounded between its ends",
        ),
    ],
    looks: &[look(
        "heats",
        Sight::Heats,
        Some(true),
        "With a call for heat: does this element give heat (warm air over it, or its glow from a distance)?",
    )],
    source: false,
    build: |b| {
        let (one, two, frame) = (b.t(0), b.t(1), b.t(2));
        let (near, far) = (b.inside(0), b.inside(1));
        let volts = b.value("volts");
        let watts = b.value("watts");
        // Ohm's law.
        let ohms = volts * volts / watts;
        // Where it touches: a quarter to three quarters along.
        let share = 0.25 + 0.5 * b.severity;
        b.contact(one, near, 1e-3, "open");
        let element = b.resistor(near, far, share * ohms);
        b.resistor(far, two, (1.0 - share) * ohms);
        // From a dead short to some ohms.
        let ground = b.under("grounded", 0.3 * 16f64.powf(b.severity), OPEN_OHMS);
        b.resistor(near, frame, ground);
        let sag = b.under("sagged", 0.5, OPEN_OHMS);
        b.resistor(far, frame, sag);
        b.resistor(frame, None, 0.1);
        b.assembly.heaters.push((element, 0.3 * share * watts));
    },
};

pub(super) const LIMIT: Kind = Kind {
    name: "element-limit",
    about: "automatic limit in series with a heating element: opens when no air moves over the element, closes by itself when cool",
    terminals: &[terminal("1", "first side"), terminal("2", "second side")],
    internals: 0,
    params: &[],
    links: &[Link {
        name: "air",
        shows: Sight::Running,
        words: "the motor that moves the air",
    }],
    faults: &[fault("open", 0.020, "open, and not closing when cool")],
    looks: &[],
    source: false,
    build: |b| {
        let ends = [b.t(0), b.t(1)];
        let air = b.linked(0);
        b.control(ends, Trigger::Heat { air }, "open", "");
    },
};

pub(super) const CUT_OUT: Kind = Kind {
    name: "thermal-cut-out",
    about: "one-shot thermal cut-out in series with a heating element",
    terminals: &[terminal("1", "first side"), terminal("2", "second side")],
    internals: 0,
    params: &[],
    links: &[],
    faults: &[fault("blown", 0.015, "opened once, and for good")],
    looks: &[],
    source: false,
    build: |b| {
        b.contact(b.t(0), b.t(1), LINE_CONTACT_OHMS, "blown");
    },
};
