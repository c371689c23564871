//! The line circuit of a three-phase unit: supply, breaker, fused disconnect, contactor, overload
//! relay, phase monitor.

use super::power::{COIL_FAULTS, COIL_PARAMS, CONTACTOR_LOOKS, coil, pole, pull_in_volts};
use super::{
    CONTROL_CONTACT_OHMS, Contactor, Kind, LINE_CONTACT_OHMS, Overcurrent, ProtectiveRelay, Sight,
    Unit, Watches, bonded, by_degree, fault, look, param, terminal,
};
use crate::network::{Element, OPEN_OHMS, Phasor};

const LINE_LOAD: [super::Terminal; 6] = [
    terminal("line-1", "line side, first pole"),
    terminal("line-2", "line side, second pole"),
    terminal("line-3", "line side, third pole"),
    terminal("load-1", "load side, first pole"),
    terminal("load-2", "load side, second pole"),
    terminal("load-3", "load side, third pole"),
];

pub(super) const THREE_PHASE_SUPPLY: Kind = Kind {
    name: "three-phase-supply",
    about: "three-phase supply, its star point earthed",
    terminals: &[
        terminal("L1", "first line"),
        terminal("L2", "second line"),
        terminal("L3", "third line"),
        bonded("G", "equipment ground"),
    ],
    internals: 0,
    params: &[
        param(
            "volts",
            Unit::Volt,
            Some(208.0),
            0.015,
            "line to line, no load",
        ),
        param(
            "ohms",
            Unit::Ohm,
            Some(0.05),
            0.3,
            "resistance of each line",
        ),
    ],
    links: &[],
    faults: &[
        fault("absent", 0.008, "all three lines dead"),
        fault("line-1-lost", 0.006, "first line dead"),
        fault("line-2-lost", 0.006, "second line dead"),
        fault("line-3-lost", 0.006, "third line dead"),
        fault(
            "swapped",
            0.006,
            "two lines changed over: the phases in the wrong order",
        ),
        by_degree("line-1-weak", 0.004, "first line far under the others"),
        by_degree("line-2-weak", 0.004, "second line far under the others"),
        by_degree("line-3-weak", 0.004, "third line far under the others"),
        by_degree(
            "low",
            0.008,
            "volts of all lines far under the plate's window",
        ),
    ],
    looks: &[],
    source: true,
    build: |b| {
        let depth = b.under("low", 0.66 + 0.10 * b.severity, 1.0);
        let phase = b.value("volts") * depth / 3f64.sqrt();
        let ohms = b.value("ohms");
        let sense = if b.has("swapped") { 1.0 } else { -1.0 };
        for (line, (lost, weak)) in [
            ("line-1-lost", "line-1-weak"),
            ("line-2-lost", "line-2-weak"),
            ("line-3-lost", "line-3-weak"),
        ]
        .into_iter()
        .enumerate()
        {
            let dead = b.has("absent") || b.has(lost);
            // A line at 60 to 80 % of its volts: an unbalance of 7 to 14 % line to line.
            let share = b.under(weak, 0.60 + 0.20 * b.severity, 1.0);
            let turn = sense * line as f64 * std::f64::consts::TAU / 3.0;
            b.push(Element::Source {
                ends: [b.t(line), None],
                volts: Phasor::from_polar(share * phase, turn),
                ohms: if dead { OPEN_OHMS } else { ohms },
            });
        }
        b.resistor(b.t(3), None, 0.05);
    },
};

pub(super) const BREAKER_3P: Kind = Kind {
    name: "breaker-3p",
    about: "three-pole circuit breaker",
    terminals: &LINE_LOAD,
    internals: 0,
    params: &[param("rating", Unit::Ampere, None, 0.0, "rated amperes")],
    links: &[],
    faults: &[
        fault("tripped", 0.008, "tripped with nothing wrong behind it"),
        fault("pole-1-open", 0.003, "first pole does not make"),
        fault("pole-2-open", 0.003, "second pole does not make"),
        fault("pole-3-open", 0.003, "third pole does not make"),
    ],
    looks: &[look(
        "tripped",
        Sight::Tripped,
        None,
        "Does the breaker's handle stand in its tripped position?",
    )],
    source: false,
    build: |b| {
        let elements = ["pole-1-open", "pole-2-open", "pole-3-open"]
            .into_iter()
            .enumerate()
            .map(|(p, open)| b.contact(b.t(p), b.t(p + 3), LINE_CONTACT_OHMS, open))
            .collect();
        let rating = b.value("rating");
        let open = b.has("tripped");
        b.assembly.overcurrent.push(Overcurrent {
            part: b.part,
            elements,
            // As a two-pole breaker's.
            at_once_amps: 6.0 * rating,
            held_amps: 1.35 * rating,
            open,
            line: true,
            opens: "tripped",
        });
    },
};

pub(super) const FUSED_DISCONNECT_3P: Kind = Kind {
    name: "fused-disconnect-3p",
    about: "three-pole disconnect with a fuse in each line, within sight of the unit",
    terminals: &LINE_LOAD,
    internals: 0,
    params: &[param(
        "rating",
        Unit::Ampere,
        None,
        0.0,
        "rated amperes of its fuses",
    )],
    links: &[],
    faults: &[
        fault("left-open", 0.006, "left open or its pull-out not in"),
        fault(
            "pole-1-open",
            0.014,
            "first fuse blown, or its blade or clip does not make",
        ),
        fault(
            "pole-2-open",
            0.014,
            "second fuse blown, or its blade or clip does not make",
        ),
        fault(
            "pole-3-open",
            0.014,
            "third fuse blown, or its blade or clip does not make",
        ),
    ],
    looks: &[look(
        "open",
        Sight::Pulled,
        None,
        "Is the disconnect open, or its pull-out not fully in?",
    )],
    source: false,
    build: |b| {
        let left_open = b.has("left-open");
        let rating = b.value("rating");
        for (p, (open, opens)) in [
            ("pole-1-open", "fuse-1-blown"),
            ("pole-2-open", "fuse-2-blown"),
            ("pole-3-open", "fuse-3-blown"),
        ]
        .into_iter()
        .enumerate()
        {
            let element = b.resistor(
                b.t(p),
                b.t(p + 3),
                if left_open || b.has(open) {
                    OPEN_OHMS
                } else {
                    LINE_CONTACT_OHMS
                },
            );
            b.assembly.overcurrent.push(Overcurrent {
                part: b.part,
                elements: vec![element],
                // A time-delay fuse holds ten times its rating for a fraction of a second, five
                // times for some ten (common practice, no published source).
                at_once_amps: 10.0 * rating,
                held_amps: 1.35 * rating,
                open: false,
                line: false,
                opens,
            });
        }
    },
};

pub(super) const CONTACTOR_3P: Kind = Kind {
    name: "contactor-3p",
    about: "three-pole contactor",
    terminals: &[
        terminal("L1", "line side, first pole"),
        terminal("T1", "load side, first pole"),
        terminal("L2", "line side, second pole"),
        terminal("T2", "load side, second pole"),
        terminal("L3", "line side, third pole"),
        terminal("T3", "load side, third pole"),
        terminal("A1", "coil"),
        terminal("A2", "coil"),
    ],
    internals: 0,
    params: &COIL_PARAMS,
    links: &[],
    faults: &[
        COIL_FAULTS[0],
        COIL_FAULTS[1],
        fault("pole-1-open", 0.012, "first pole does not make"),
        fault("pole-2-open", 0.012, "second pole does not make"),
        fault("pole-3-open", 0.012, "third pole does not make"),
        by_degree("pole-1-burnt", 0.008, "first pole makes badly and heats"),
        by_degree("pole-2-burnt", 0.008, "second pole makes badly and heats"),
        by_degree("pole-3-burnt", 0.008, "third pole makes badly and heats"),
        fault("welded", 0.010, "contacts welded shut"),
    ],
    looks: &CONTACTOR_LOOKS,
    source: false,
    build: |b| {
        let coil = coil(b, 6, 7);
        let poles = vec![
            pole(b, 0, 1, "pole-1-open", "pole-1-burnt"),
            pole(b, 2, 3, "pole-2-open", "pole-2-burnt"),
            pole(b, 4, 5, "pole-3-open", "pole-3-burnt"),
        ];
        let pull_in_volts = pull_in_volts(b);
        b.assembly.contactors.push(Contactor {
            part: b.part,
            coil,
            pull_in_volts,
            poles,
            delayed: false,
        });
    },
};

pub(super) const OVERLOAD_RELAY: Kind = Kind {
    name: "overload-relay",
    about: "overload relay: a heater in each line of a motor, a contact in its contactor's coil circuit",
    terminals: &[
        terminal("95", "contact, closed until it trips"),
        terminal("96", "contact, closed until it trips"),
        terminal("L1", "first heater, from the contactor"),
        terminal("T1", "first heater, to the motor"),
        terminal("L2", "second heater, from the contactor"),
        terminal("T2", "second heater, to the motor"),
        terminal("L3", "third heater, from the contactor"),
        terminal("T3", "third heater, to the motor"),
    ],
    internals: 0,
    params: &[
        param("setting", Unit::Ampere, None, 0.0, "amperes it is set to"),
        param("heater-ohms", Unit::Ohm, Some(0.012), 0.1, "each heater"),
    ],
    links: &[],
    faults: &[
        fault(
            "tripped",
            0.012,
            "tripped from heat whose cause is not in the circuit",
        ),
        fault(
            "contact-open",
            0.008,
            "its contact does not close when it is cold and reset",
        ),
        fault("heater-1-open", 0.002, "first heater burnt out"),
        fault("heater-2-open", 0.002, "second heater burnt out"),
        fault("heater-3-open", 0.002, "third heater burnt out"),
    ],
    looks: &[look(
        "tripped",
        Sight::Tripped,
        None,
        "Does the overload relay's flag or button show that it has tripped?",
    )],
    source: false,
    build: |b| {
        let whole = b.value("heater-ohms");
        let heaters = ["heater-1-open", "heater-2-open", "heater-3-open"]
            .into_iter()
            .enumerate()
            .map(|(h, open)| b.contact(b.t(2 + 2 * h), b.t(3 + 2 * h), whole, open))
            .collect();
        let contact = b.contact(b.t(0), b.t(1), CONTROL_CONTACT_OHMS, "contact-open");
        let relay = ProtectiveRelay {
            part: b.part,
            contact,
            watches: Watches::Heaters {
                heaters,
                // IEC 60947-4-1: trips within two hours at 1.2 times its setting (from memory).
                amps: 1.2 * b.value("setting"),
            },
            tripped: b.has("tripped"),
            failed: false,
        };
        b.assembly.relays.push(relay);
    },
};

pub(super) const PHASE_MONITOR: Kind = Kind {
    name: "phase-monitor",
    about: "relay that watches three lines for a lost one, the wrong order and unbalance; its contact in the control circuit",
    terminals: &[
        terminal("L1", "first line"),
        terminal("L2", "second line"),
        terminal("L3", "third line"),
        terminal("COM", "contact"),
        terminal("NO", "contact, closed while the lines are right"),
    ],
    internals: 0,
    params: &[
        param(
            "trip-unbalance",
            Unit::Ratio,
            Some(0.05),
            0.0,
            "unbalance above which it trips (NEMA MG-1: a motor is not run above 5 %)",
        ),
        param(
            "input-ohms",
            Unit::Ohm,
            Some(300e3),
            0.1,
            "between two of its lines",
        ),
    ],
    links: &[],
    faults: &[
        // A dead one shows no lamp, one whose contact is burnt shows that all is right.
        by_degree(
            "failed",
            0.020,
            "its contact stays open although its lines are right",
        ),
    ],
    looks: &[
        look(
            "lamp",
            Sight::LinesRight,
            Some(true),
            "Does the phase monitor's lamp show that its three lines are right?",
        ),
        look(
            "in-order",
            Sight::InOrder,
            Some(true),
            "With a phase sequence indicator on the monitor's three lines: is their order right?",
        ),
    ],
    source: false,
    build: |b| {
        let ohms = b.value("input-ohms");
        let lines = [b.t(0), b.t(1), b.t(2)];
        for (from, to) in [(0, 1), (1, 2), (2, 0)] {
            b.resistor(lines[from], lines[to], ohms);
        }
        let contact = b.contact(b.t(3), b.t(4), CONTROL_CONTACT_OHMS, "failed");
        let relay = ProtectiveRelay {
            part: b.part,
            contact,
            watches: Watches::Lines {
                lines,
                unbalance: b.value("trip-unbalance"),
            },
            tripped: false,
            failed: b.has("failed") && b.severity < 0.6,
        };
        b.assembly.relays.push(relay);
    },
};
