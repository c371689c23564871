//! Three-phase motors, star-connected: an open one that leaves its protection to an overload relay,
//! and a hermetic compressor with an overload that opens its star point.

use super::{
    Build, Kind, LookKind, MotorDevice, Param, Sight, Unit, bonded, by_degree, fault, look, param,
    terminal,
};
use crate::motor::MotorData;
use crate::motor3::ThreePhaseData;
use crate::network::{Element, OPEN_OHMS};

/// The spread of winding resistances and reactances from one motor of a model to the next
/// (common practice, no published source).
const SPREAD: f64 = 0.04;

const PARAMS: [Param; 9] = [
    param(
        "winding-ohms",
        Unit::Ohm,
        None,
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
        by_degree("winding-open", 0.012, "a winding open"),
        by_degree(
            "winding-shorted",
            0.008,
            "a winding shorted over most of its turns",
        ),
        by_degree("grounded", 0.016, "a winding grounded"),
        fault(
            "protector-failed",
            0.006,
            "overload open and not closing when cold",
        ),
        fault("seized", 0.016, "does not turn"),
        fault(
            "overheated",
            0.020,
            "overload open from heat whose cause is not in the circuit",
        ),
        fault(
            "reversed",
            0.006,
            "two of its leads changed over: it turns the wrong way",
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
        by_degree("winding-open", 0.010, "a winding open"),
        by_degree(
            "winding-shorted",
            0.008,
            "a winding shorted over most of its turns",
        ),
        by_degree("grounded", 0.010, "a winding grounded"),
        fault(
            "seized",
            0.014,
            "does not turn: bearings, or what it drives",
        ),
        fault(
            "reversed",
            0.008,
            "two of its leads changed over: it turns the wrong way",
        ),
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
    let (hit, how) = b.one_of_three();
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
    let shorted = b.has("winding-shorted");
    for (w, (&inside, end)) in inside.iter().zip(ends).enumerate() {
        let under = |b: &Build<'_>, fault, bad, good| {
            if b.has(fault) && w == hit { bad } else { good }
        };
        let joint = under(b, "winding-open", OPEN_OHMS, 1e-3);
        b.resistor(b.t(w), inside, joint);
        let turns = (0.2 + 0.3 * how) * data.stator_ohms;
        let turns = under(b, "winding-shorted", turns, OPEN_OHMS);
        b.resistor(inside, end, turns);
        // From a dead short to some ohms.
        let touch = under(b, "grounded", 0.5 * 16f64.powf(how), OPEN_OHMS);
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
        running_slip: slip,
        breakaway_watts: b.value("breakaway"),
        load_watts: Some(load),
        rated_amps: b.value("rated-amps"),
        seized: b.has("seized") || shorted,
        protector_failed: b.has("protector-failed"),
        overheated: b.has("overheated"),
    };
    b.assembly.motors.push(device);
}
