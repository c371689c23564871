//! Three-phase motors, star-connected: an open one that leaves its protection to an overload relay,
//! and a hermetic compressor with an overload that opens its star point.

use super::{
    Build, FaultKind, Kind, LookKind, MotorDevice, Param, Sight, Unit, bonded, by_degree, fault,
    look, param, terminal, winding,
};
use crate::motor::MotorData;
use crate::motor3::ThreePhaseData;
use crate::network::{Element, OPEN_OHMS};

/// The spread of winding resistances and reactances from one motor of a model to the next
/// (common practice, no published source).
const SPREAD: f64 = 0.04;

const PARAMS: [Param; 9] = [
    winding(
        "winding-ohms",
        SPREAD,
        "each winding, cold: half of what two leads read",
    ),
    param(
        "winding-reactance",
        Unit::Ohm,
        None,
        SPREAD,
        "leakage reactance of each winding at 60 Hz",
    ),
    param(
        "rotor-ohms",
        Unit::Ohm,
        None,
        SPREAD,
        "rotor resistance, referred to a winding",
    ),
    param(
        "rotor-reactance",
        Unit::Ohm,
        None,
        SPREAD,
        "rotor leakage reactance, likewise, at 60 Hz",
    ),
    param(
        "magnetising-reactance",
        Unit::Ohm,
        None,
        SPREAD,
        "magnetising reactance, likewise, at 60 Hz",
    ),
    param(
        "rated-volts",
        Unit::Volt,
        Some(208.0),
        0.0,
        "line to line, at which it turns at its running slip",
    ),
    param(
        "running-slip",
        Unit::Ratio,
        Some(0.04),
        0.1,
        "slip while running at its rated volts: what its load is",
    ),
    param(
        "breakaway",
        Unit::Watt,
        None,
        0.1,
        "torque that starts it, synchronous watts",
    ),
    param(
        "rated-amps",
        Unit::Ampere,
        None,
        0.0,
        "rated amperes from the plate",
    ),
];

/// The ways that the three windings fail, and those of the rotor and the leads.
const fn faults(scale: f64) -> [FaultKind; 11] {
    let open = 0.12 * scale / 3.0;
    let shorted = 0.09 * scale / 3.0;
    let grounded = 0.14 * scale / 3.0;
    [
        fault("winding-1-open", open, "first winding open"),
        fault("winding-2-open", open, "second winding open"),
        fault("winding-3-open", open, "third winding open"),
        by_degree(
            "winding-1-shorted",
            shorted,
            "first winding shorted over most of its turns",
        ),
        by_degree(
            "winding-2-shorted",
            shorted,
            "second winding shorted over most of its turns",
        ),
        by_degree(
            "winding-3-shorted",
            shorted,
            "third winding shorted over most of its turns",
        ),
        by_degree("winding-1-grounded", grounded, "first winding grounded"),
        by_degree("winding-2-grounded", grounded, "second winding grounded"),
        by_degree("winding-3-grounded", grounded, "third winding grounded"),
        fault(
            "seized",
            0.16 * scale,
            "does not turn: bearings, or what it drives",
        ),
        fault(
            "reversed",
            0.06 * scale,
            "two of its leads changed over: it turns the wrong way",
        ),
    ]
}

/// Each winding's faults: open, shorted, grounded.
const OF_WINDING: [[&str; 3]; 3] = [
    ["winding-1-open", "winding-1-shorted", "winding-1-grounded"],
    ["winding-2-open", "winding-2-shorted", "winding-2-grounded"],
    ["winding-3-open", "winding-3-shorted", "winding-3-grounded"],
];

const WINDINGS: [FaultKind; 11] = faults(0.10);

const RUNNING: LookKind = look(
    "running",
    Sight::Running,
    Some(true),
    "With a call for cooling: does it turn?",
);
const HUMMING: LookKind = look(
    "humming",
    Sight::Humming,
    Some(true),
    "With a call for cooling: does it hum without turning?",
);

pub(super) const THREE_PHASE_COMPRESSOR: Kind = Kind {
    name: "three-phase-compressor",
    about: "three-phase hermetic compressor with an overload that opens its star point",
    terminals: &[
        terminal("T1", "first lead"),
        terminal("T2", "second lead"),
        terminal("T3", "third lead"),
        bonded("shell", "shell"),
    ],
    internals: 7,
    params: &PARAMS,
    links: &[],
    faults: &[
        WINDINGS[0],
        WINDINGS[1],
        WINDINGS[2],
        WINDINGS[3],
        WINDINGS[4],
        WINDINGS[5],
        WINDINGS[6],
        WINDINGS[7],
        WINDINGS[8],
        WINDINGS[9],
        WINDINGS[10],
        fault(
            "protector-failed",
            0.006,
            "overload open and not closing when cold",
        ),
        fault(
            "overheated",
            0.020,
            "overload open from heat whose cause is not in the circuit",
        ),
    ],
    looks: &[
        RUNNING,
        HUMMING,
        look(
            "backwards",
            Sight::Backwards,
            Some(true),
            "While it runs: is it loud, with suction and discharge pressure hardly apart?",
        ),
        look(
            "hot",
            Sight::Hot,
            None,
            "Is its shell hot? Bring the hand near first, do not touch terminals or moving parts.",
        ),
    ],
    source: false,
    build: |b| {
        let failed = b.has("protector-failed");
        let star = b.inside(6);
        let contacts = [3, 4, 5].map(|i| {
            let ohms = if failed { OPEN_OHMS } else { 2e-3 };
            b.resistor(b.inside(i), star, ohms)
        });
        let ends = [3, 4, 5].map(|i| b.inside(i));
        windings(b, ends, contacts.to_vec());
    },
};

pub(super) const THREE_PHASE_MOTOR: Kind = Kind {
    name: "three-phase-motor",
    about: "three-phase motor without protection of its own",
    terminals: &[
        terminal("T1", "first lead"),
        terminal("T2", "second lead"),
        terminal("T3", "third lead"),
        bonded("frame", "frame"),
    ],
    internals: 4,
    params: &PARAMS,
    links: &[],
    faults: &[
        WINDINGS[0],
        WINDINGS[1],
        WINDINGS[2],
        WINDINGS[3],
        WINDINGS[4],
        WINDINGS[5],
        by_degree(
            "grounded",
            0.014,
            "a winding grounded: which one, no check of the dead motor tells",
        ),
        WINDINGS[9],
        WINDINGS[10],
    ],
    looks: &[
        RUNNING,
        HUMMING,
        look(
            "backwards",
            Sight::Backwards,
            Some(true),
            "While it runs: does the wheel turn against its arrow?",
        ),
        look(
            "free",
            Sight::FreeByHand,
            Some(false),
            "Unit dead: does it turn freely by hand?",
        ),
    ],
    source: false,
    build: |b| {
        let star = b.inside(3);
        windings(b, [star; 3], Vec::new());
    },
};

/// From each lead, past a place where the winding can open, a winding to its end at the star
/// point; a place where one can short, and one where it can touch the shell.
fn windings(b: &mut Build<'_>, ends: [crate::network::Node; 3], protectors: Vec<usize>) {
    let data = ThreePhaseData {
        stator_ohms: b.value("winding-ohms"),
        stator_reactance: b.value("winding-reactance"),
        rotor_ohms: b.value("rotor-ohms"),
        rotor_reactance: b.value("rotor-reactance"),
        magnetising_reactance: b.value("magnetising-reactance"),
    };
    let inside = [0, 1, 2].map(|w| b.inside(w));
    // Changed over inside the terminal box: the leads keep their marks.
    let order = if b.has("reversed") {
        [1, 0, 2]
    } else {
        [0, 1, 2]
    };
    let mut stalls = b.has("seized");
    // Which winding and how badly: the severity says both.
    let third = (3.0 * b.severity).clamp(0.0, 2.999);
    let (any, how) = (third as usize, third.fract());
    for (w, [open, shorted, grounded]) in OF_WINDING.into_iter().enumerate() {
        stalls |= b.has(shorted);
        b.contact(b.t(w), inside[w], 1e-3, open);
        let turns = (0.2 + 0.3 * b.severity) * data.stator_ohms;
        b.resistor(inside[w], ends[w], b.under(shorted, turns, OPEN_OHMS));
        // From a dead short to some ohms.
        let touch = if b.has(grounded) {
            0.5 * 16f64.powf(b.severity)
        } else if b.has("grounded") && w == any {
            0.5 * 6f64.powf(how)
        } else {
            OPEN_OHMS
        };
        b.resistor(b.t(w), b.t(3), touch);
    }
    let element = b.push(Element::ThreePhaseMotor {
        windings: order.map(|w| [inside[w], ends[w]]),
        data,
        slip: 1.0,
    });
    // Bonded by its pipes or mount and the equipment ground.
    b.resistor(b.t(3), None, 0.1);
    let slip = b.value("running-slip");
    let load = data.balanced_torque(MotorData::REFERENCE_HERTZ, slip, b.value("rated-volts"));
    let device = MotorDevice {
        part: b.part,
        element,
        protectors,
        shorts: Vec::new(),
        running_slip: slip,
        breakaway_watts: b.value("breakaway"),
        load_watts: Some(load),
        rated_amps: b.value("rated-amps"),
        seized: stalls,
        protector_failed: b.has("protector-failed"),
        overheated: b.has("overheated"),
    };
    b.assembly.motors.push(device);
}
