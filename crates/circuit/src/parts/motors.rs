//! Motors with a start winding behind a capacitor, and a line-break protector in their common.

use super::{
    Build, FaultKind, Kind, LookKind, MotorDevice, Param, Sight, Unit, bonded, by_degree, by_value,
    fault, heat_dependent, look, param, terminal, winding,
};
use crate::network::{Element, OPEN_OHMS};

/// The spread of winding resistances and reactances from one motor of a model to the next
/// (common practice, no published source).
const SPREAD: f64 = 0.04;

const PARAMS: [Param; 11] = [
    winding("run-ohms", SPREAD, "run winding, cold"),
    winding("start-ohms", SPREAD, "start winding, cold"),
    param(
        "run-reactance",
        Unit::Ohm,
        None,
        SPREAD,
        "leakage reactance of the run winding at 60 Hz",
    ),
    param(
        "start-reactance",
        Unit::Ohm,
        None,
        SPREAD,
        "leakage reactance of the start winding at 60 Hz",
    ),
    param(
        "turns-ratio",
        Unit::Ratio,
        None,
        0.02,
        "effective turns, start to run",
    ),
    param(
        "rotor-ohms",
        Unit::Ohm,
        None,
        SPREAD,
        "rotor resistance, referred to the run winding",
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
        "running-slip",
        Unit::Ratio,
        Some(0.05),
        0.1,
        "slip while running",
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

const fn faults(scale: f64) -> [FaultKind; 12] {
    [
        fault("run-open", 0.12 * scale, "run winding open"),
        fault("start-open", 0.15 * scale, "start winding open"),
        heat_dependent(
            "run-opens-hot",
            0.012 * scale,
            "run winding opens when it is hot, and closes when it is cold",
            "run-open",
        ),
        heat_dependent(
            "start-opens-hot",
            0.015 * scale,
            "start winding opens when it is hot, and closes when it is cold",
            "start-open",
        ),
        fault(
            "run-shorted",
            0.07 * scale,
            "run winding shorted over most of its turns",
        ),
        fault(
            "start-shorted",
            0.04 * scale,
            "start winding shorted over most of its turns",
        ),
        by_degree("grounded", 0.16 * scale, "winding grounded"),
        fault(
            "protector-failed",
            0.06 * scale,
            "overload open and not closing when cold",
        ),
        fault("seized", 0.18 * scale, "does not turn"),
        fault(
            "overheated",
            0.22 * scale,
            "overload open from heat whose cause is not in the circuit",
        ),
        by_value(
            "run-turns-shorted",
            0.06 * scale,
            "some turns of the run winding shorted",
            "run-ohms",
        ),
        by_value(
            "start-turns-shorted",
            0.05 * scale,
            "some turns of the start winding shorted",
            "start-ohms",
        ),
    ]
}

/// The least and the greatest share of a winding's turns that are shorted where some are: fewer
/// are lost in the readings, more are most of them (common practice, no published source).
const SHORTED_TURNS: [f64; 2] = [0.06, 0.30];

/// A winding with some of its turns shorted: what is left of its ohms, and the ohms beside it.
///
/// To direct current a share `k` of the turns is passed by: the pair reads `(1 - k) R`. To
/// alternating current it is a shorted secondary of that share, `k R` behind `k` of the volts: `R / k`
/// beside the winding, its leakage left out. Both at once: `R (1 - k) / (1 - k (1 - k))` with `R / k`
/// beside it (an ideal transformer, by hand).
fn shorted_turns(ohms: f64, severity: f64) -> (f64, f64) {
    let [least, most] = SHORTED_TURNS;
    let k = least + (most - least) * severity;
    (ohms * (1.0 - k) / (1.0 - k * (1.0 - k)), ohms / k)
}

const RUNNING: LookKind = look(
    "running",
    Sight::Running,
    Some(true),
    "With a call for cooling: does it run?",
);
const HUMMING: LookKind = look(
    "humming",
    Sight::Humming,
    Some(true),
    "With a call for cooling: does it hum without turning?",
);
const HOT: LookKind = look(
    "hot",
    Sight::Hot,
    None,
    "Is its shell hot? Bring the hand near first, do not touch terminals or moving parts.",
);

pub(super) const COMPRESSOR: Kind = Kind {
    name: "psc-compressor",
    about: "hermetic compressor with a start winding and a line-break overload in its common",
    terminals: &[
        terminal("C", "common"),
        terminal("S", "start winding"),
        terminal("R", "run winding"),
        bonded("shell", "shell"),
    ],
    internals: 3,
    params: &PARAMS,
    links: &[],
    faults: &faults(0.10),
    looks: &[RUNNING, HUMMING, HOT],
    source: false,
    build: two_windings,
};

pub(super) const FAN_MOTOR: Kind = Kind {
    name: "psc-fan-motor",
    about: "fan motor with a start winding and an overload in its common",
    terminals: &[
        terminal("common", "common lead"),
        terminal("start", "capacitor lead"),
        terminal("run", "run lead"),
        bonded("frame", "frame"),
    ],
    internals: 3,
    params: &PARAMS,
    links: &[],
    faults: &faults(0.11),
    looks: &[
        RUNNING,
        HUMMING,
        HOT,
        look(
            "free",
            Sight::FreeByHand,
            Some(false),
            "Unit dead: does the fan turn freely by hand?",
        ),
    ],
    source: false,
    build: two_windings,
};

/// Common through the protector to a star point inside; from there the run winding and the
/// start winding, each with a place where it can open, and a place where it can touch the shell.
fn two_windings(b: &mut Build<'_>) {
    let (common, start, run, shell) = (b.t(0), b.t(1), b.t(2), b.t(3));
    let (star, run_inside, start_inside) = (b.inside(0), b.inside(1), b.inside(2));
    let protector_failed = b.has("protector-failed");
    let protector = b.contact(common, star, 5e-3, "protector-failed");
    b.warmed([run, run_inside], 1e-3, "run-open", "run-opens-hot");
    b.warmed([start, start_inside], 1e-3, "start-open", "start-opens-hot");
    let mut data = b.motor_data();
    let mut run_short = b.under("run-shorted", 0.3 * data.main_ohms, OPEN_OHMS);
    let mut start_short = b.under("start-shorted", 0.3 * data.aux_ohms, OPEN_OHMS);
    if b.has("run-turns-shorted") {
        (data.main_ohms, run_short) = shorted_turns(data.main_ohms, b.severity);
    }
    if b.has("start-turns-shorted") {
        (data.aux_ohms, start_short) = shorted_turns(data.aux_ohms, b.severity);
    }
    let element = b.push(Element::Motor {
        main: [run_inside, star],
        aux: [start_inside, star],
        data,
        slip: 1.0,
    });
    let run_short = b.resistor(run_inside, star, run_short);
    let start_short = b.resistor(start_inside, star, start_short);
    // What is left of a winding and what lies beside it are as warm as each other.
    let mut shorts = Vec::new();
    if b.has("run-turns-shorted") {
        shorts.push(run_short);
    }
    if b.has("start-turns-shorted") {
        shorts.push(start_short);
    }
    // From a dead short to some ohms.
    let ground = b.under("grounded", 0.5 * 16f64.powf(b.severity), OPEN_OHMS);
    b.resistor(run, shell, ground);
    // Bonded by its pipes or mount and the equipment ground.
    b.resistor(shell, None, 0.1);
    let seized = b.has("seized") || b.has("run-shorted") || b.has("start-shorted");
    let device = MotorDevice {
        part: b.part,
        element,
        protectors: vec![protector],
        shorts,
        running_slip: b.value("running-slip"),
        breakaway_watts: b.value("breakaway"),
        load_watts: None,
        rated_amps: b.value("rated-amps"),
        seized,
        protector_failed,
        overheated: b.has("overheated"),
    };
    b.assembly.motors.push(device);
}
