//! The line circuit: supply, breaker, disconnect, contactors, heater.

use super::{
    Build, Contactor, Kind, LINE_CONTACT_OHMS, Overcurrent, Pole, Sight, Unit, bonded, by_degree,
    fault, look, param, terminal,
};
use crate::network::{Element, OPEN_OHMS, Phasor};

const LINE_LOAD: [super::Terminal; 4] = [
    terminal("line-1", "line side, first pole"),
    terminal("line-2", "line side, second pole"),
    terminal("load-1", "load side, first pole"),
    terminal("load-2", "load side, second pole"),
];

pub(super) const SUPPLY: Kind = Kind {
    name: "supply",
    about: "single-phase three-wire supply, its middle earthed",
    terminals: &[
        terminal("L1", "first leg"),
        terminal("L2", "second leg"),
        bonded("G", "equipment ground"),
    ],
    internals: 0,
    params: &[
        param(
            "volts",
            Unit::Volt,
            Some(239.0),
            0.015,
            "leg to leg, no load",
        ),
        param(
            "ohms",
            Unit::Ohm,
            Some(0.08),
            0.3,
            "loop resistance of both legs",
        ),
    ],
    links: &[],
    faults: &[
        fault("absent", 0.010, "both legs dead"),
        fault("leg-1-lost", 0.008, "first leg dead"),
        fault("leg-2-lost", 0.008, "second leg dead"),
        by_degree("low", 0.010, "voltage far under the plate's window"),
    ],
    looks: &[],
    source: true,
    build: |b| {
        let depth = b.under("low", 0.66 + 0.10 * b.severity, 1.0);
        let half = b.value("volts") * depth / 2.0;
        let ohms = b.value("ohms") / 2.0;
        let dead = b.has("absent");
        let (l1, l2, g) = (b.t(0), b.t(1), b.t(2));
        for (leg, sign, lost) in [(l1, 1.0, "leg-1-lost"), (l2, -1.0, "leg-2-lost")] {
            let ohms = if dead || b.has(lost) { OPEN_OHMS } else { ohms };
            b.push(Element::Source {
                ends: [leg, None],
                volts: Phasor::new(sign * half, 0.0),
                ohms,
            });
        }
        b.resistor(g, None, 0.05);
    },
};

pub(super) const BREAKER: Kind = Kind {
    name: "breaker",
    about: "two-pole circuit breaker",
    terminals: &LINE_LOAD,
    internals: 0,
    params: &[param("rating", Unit::Ampere, None, 0.0, "rated amperes")],
    links: &[],
    faults: &[
        fault("tripped", 0.010, "tripped with nothing wrong behind it"),
        fault("pole-1-open", 0.004, "first pole does not make"),
        fault("pole-2-open", 0.004, "second pole does not make"),
    ],
    looks: &[look(
        "tripped",
        Sight::Tripped,
        None,
        "Does the breaker's handle stand in its tripped position?",
    )],
    source: false,
    build: |b| {
        let tripped = b.has("tripped");
        let first = b.contact(b.t(0), b.t(2), LINE_CONTACT_OHMS, "pole-1-open");
        let second = b.contact(b.t(1), b.t(3), LINE_CONTACT_OHMS, "pole-2-open");
        let rating = b.value("rating");
        b.assembly.overcurrent.push(Overcurrent {
            part: b.part,
            elements: vec![first, second],
            // Instantaneous trip at about six times the rating, in the long run at 1.35 times
            // (common practice, no published source).
            at_once_amps: 6.0 * rating,
            held_amps: 1.35 * rating,
            open: tripped,
            line: true,
            opens: "tripped",
        });
    },
};

pub(super) const DISCONNECT: Kind = Kind {
    name: "disconnect",
    about: "two-pole disconnect within sight of the unit",
    terminals: &LINE_LOAD,
    internals: 0,
    params: &[],
    links: &[],
    faults: &[
        fault("left-open", 0.006, "left open or its pull-out not in"),
        fault("pole-1-open", 0.007, "first blade or clip does not make"),
        fault("pole-2-open", 0.007, "second blade or clip does not make"),
    ],
    looks: &[look(
        "open",
        Sight::Pulled,
        None,
        "Is the disconnect open, or its pull-out not fully in?",
    )],
    source: false,
    build: |b| {
        let open = b.has("left-open");
        for (line, load, name) in [(0, 2, "pole-1-open"), (1, 3, "pole-2-open")] {
            let ohms = if open || b.has(name) {
                OPEN_OHMS
            } else {
                LINE_CONTACT_OHMS
            };
            b.resistor(b.t(line), b.t(load), ohms);
        }
    },
};

pub(super) const COIL_PARAMS: [super::Param; 3] = [
    param(
        "coil-ohms",
        Unit::Ohm,
        Some(12.0),
        0.08,
        "copper of the coil",
    ),
    param(
        "coil-henries",
        Unit::Henry,
        Some(0.17),
        0.05,
        "inductance of the coil, sealed",
    ),
    param(
        "pull-in",
        Unit::Volt,
        Some(18.0),
        0.04,
        "least coil volts that pull it in (common practice, no published source)",
    ),
];

pub(super) const COIL_FAULTS: [super::FaultKind; 2] = [
    fault("coil-open", 0.030, "coil open"),
    fault("coil-shorted", 0.012, "coil shorted"),
];

pub(super) const CONTACTOR_LOOKS: [super::LookKind; 1] = [look(
    "pulled-in",
    Sight::PulledIn,
    Some(true),
    "With a call for cooling: is the contactor's armature pulled in?",
)];

pub(super) fn coil(b: &mut Build<'_>, a1: usize, a2: usize) -> [crate::network::Node; 2] {
    let ends = [b.t(a1), b.t(a2)];
    let (mut ohms, mut henries) = (b.value("coil-ohms"), b.value("coil-henries"));
    if b.has("coil-open") {
        (ohms, henries) = (OPEN_OHMS, 0.0);
    } else if b.has("coil-shorted") {
        ohms *= 0.04;
        henries *= 0.005;
    }
    b.push(Element::Coil {
        ends,
        ohms,
        henries,
    });
    ends
}

/// The least volts at which it pulls in; a coil that is open or shorted never does.
pub(super) fn pull_in_volts(b: &Build<'_>) -> f64 {
    if b.has("coil-open") || b.has("coil-shorted") {
        f64::INFINITY
    } else {
        b.value("pull-in")
    }
}

pub(super) fn pole(b: &mut Build<'_>, line: usize, load: usize, open: &str, burnt: &str) -> Pole {
    // A burnt contact drops some volts at full load: 0.2 to 0.6 ohm.
    let closed_ohms = b.under(burnt, 0.2 + 0.4 * b.severity, LINE_CONTACT_OHMS);
    let stuck = if b.has(open) {
        Some(false)
    } else if b.has("welded") {
        Some(true)
    } else {
        None
    };
    let element = b.resistor(b.t(line), b.t(load), OPEN_OHMS);
    Pole {
        element,
        closed_ohms,
        stuck,
    }
}

pub(super) const CONTACTOR_2P: Kind = Kind {
    name: "contactor-2p",
    about: "two-pole contactor",
    terminals: &[
        terminal("L1", "line side, first pole"),
        terminal("T1", "load side, first pole"),
        terminal("L2", "line side, second pole"),
        terminal("T2", "load side, second pole"),
        terminal("A1", "coil"),
        terminal("A2", "coil"),
    ],
    internals: 0,
    params: &COIL_PARAMS,
    links: &[],
    faults: &[
        COIL_FAULTS[0],
        COIL_FAULTS[1],
        fault("pole-1-open", 0.018, "first pole does not make"),
        fault("pole-2-open", 0.018, "second pole does not make"),
        by_degree("pole-1-burnt", 0.012, "first pole makes badly and heats"),
        by_degree("pole-2-burnt", 0.012, "second pole makes badly and heats"),
        fault("welded", 0.010, "contacts welded shut"),
    ],
    looks: &CONTACTOR_LOOKS,
    source: false,
    build: |b| {
        let coil = coil(b, 4, 5);
        let poles = vec![
            pole(b, 0, 1, "pole-1-open", "pole-1-burnt"),
            pole(b, 2, 3, "pole-2-open", "pole-2-burnt"),
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

pub(super) const CONTACTOR_1P: Kind = Kind {
    name: "contactor-1p",
    about: "one-pole contactor with a bar in place of its second pole: that leg stays live",
    terminals: CONTACTOR_2P.terminals,
    internals: 0,
    params: &COIL_PARAMS,
    links: &[],
    faults: &[
        COIL_FAULTS[0],
        COIL_FAULTS[1],
        fault("pole-1-open", 0.030, "the pole does not make"),
        by_degree("pole-1-burnt", 0.020, "the pole makes badly and heats"),
        fault("welded", 0.010, "contacts welded shut"),
    ],
    looks: &CONTACTOR_LOOKS,
    source: false,
    build: |b| {
        let coil = coil(b, 4, 5);
        let poles = vec![pole(b, 0, 1, "pole-1-open", "pole-1-burnt")];
        b.resistor(b.t(2), b.t(3), LINE_CONTACT_OHMS);
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

pub(super) const CRANKCASE_HEATER: Kind = Kind {
    name: "crankcase-heater",
    about: "heater of the compressor's oil",
    terminals: &[terminal("1", "first lead"), terminal("2", "second lead")],
    internals: 0,
    params: &[param("ohms", Unit::Ohm, Some(1200.0), 0.05, "resistance")],
    links: &[],
    faults: &[fault("open", 0.010, "heater open")],
    looks: &[],
    source: false,
    build: |b| {
        let ohms = b.under("open", OPEN_OHMS, b.value("ohms"));
        b.resistor(b.t(0), b.t(1), ohms);
    },
};
