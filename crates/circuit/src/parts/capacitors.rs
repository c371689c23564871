//! Capacitors of motors: run capacitors, one or two in a can, and start capacitors.

use super::{
    Build, FaultKind, Kind, LookKind, Param, Sight, Unit, by_degree, fault, look, param, terminal,
};
use crate::network::{Element, Node};

/// Series resistance of a film capacitor, ohms (common practice, no published source).
const FILM_OHMS: f64 = 0.05;

/// Insulation of a film capacitor, ohms (common practice, no published source).
const FILM_LEAK_OHMS: f64 = 5e8;

/// Loss factor of an electrolytic start capacitor: series resistance over reactance at 60 Hz.
/// At most a tenth is marked (from memory).
const START_LOSS: f64 = 0.08;

const TOLERANCE: Param = param(
    "tolerance",
    Unit::Ratio,
    Some(0.06),
    0.0,
    "marked tolerance",
);

const RATED: Param = param("rated", Unit::Volt, None, 0.0, "marked AC volts");

const SWOLLEN: LookKind = look(
    "swollen",
    Sight::Swollen,
    None,
    "Is the capacitor's can bulged, split or leaking?",
);

/// The names of the faults of one section.
struct Names {
    open: &'static str,
    low: &'static str,
    shorted: &'static str,
}

const ONE: Names = Names {
    open: "open",
    low: "low",
    shorted: "shorted",
};

const HERM: Names = Names {
    open: "herm-open",
    low: "herm-low",
    shorted: "herm-shorted",
};

const FAN: Names = Names {
    open: "fan-open",
    low: "fan-low",
    shorted: "fan-shorted",
};

/// What is left of a section's marked farads.
fn left(b: &Build<'_>, marked: f64, names: &Names) -> f64 {
    if b.has(names.open) {
        // What is left of an opened film: about a thousandth.
        marked * 1e-3
    } else if b.has(names.low) {
        marked * (0.35 + 0.45 * b.severity)
    } else {
        marked
    }
}

fn film(b: &mut Build<'_>, ends: [Node; 2], value: &str, names: &Names) {
    let farads = left(b, b.value(value), names);
    let leak_ohms = b.under(names.shorted, 0.3, FILM_LEAK_OHMS);
    b.push(Element::Capacitor {
        ends,
        farads,
        esr_ohms: FILM_OHMS,
        leak_ohms,
    });
}

pub(super) const DUAL_RUN_CAPACITOR: Kind = Kind {
    name: "dual-run-capacitor",
    about: "two run capacitors in one can, with a common terminal",
    terminals: &[
        terminal("C", "common of both sections"),
        terminal("HERM", "compressor section"),
        terminal("FAN", "fan section"),
    ],
    internals: 0,
    params: &[
        param(
            "herm",
            Unit::Farad,
            None,
            0.02,
            "marked capacitance, compressor section",
        ),
        param(
            "fan",
            Unit::Farad,
            None,
            0.02,
            "marked capacitance, fan section",
        ),
        TOLERANCE,
        RATED,
    ],
    links: &[],
    faults: &[
        fault("herm-open", 0.070, "compressor section open"),
        fault("fan-open", 0.070, "fan section open"),
        by_degree(
            "herm-low",
            0.060,
            "compressor section far under its marking",
        ),
        by_degree("fan-low", 0.060, "fan section far under its marking"),
        fault("herm-shorted", 0.006, "compressor section shorted"),
        fault("fan-shorted", 0.006, "fan section shorted"),
    ],
    looks: &[SWOLLEN],
    source: false,
    build: |b| {
        film(b, [b.t(1), b.t(0)], "herm", &HERM);
        film(b, [b.t(2), b.t(0)], "fan", &FAN);
    },
};

const ONE_OPEN: FaultKind = fault("open", 0.070, "open");
const ONE_LOW: FaultKind = by_degree("low", 0.060, "far under its marking");
const ONE_SHORTED: FaultKind = fault("shorted", 0.006, "shorted");

const TWO: [super::Terminal; 2] = [
    terminal("1", "first terminal"),
    terminal("2", "second terminal"),
];

const MARKED: Param = param("marked", Unit::Farad, None, 0.02, "marked capacitance");

pub(super) const RUN_CAPACITOR: Kind = Kind {
    name: "run-capacitor",
    about: "run capacitor of one motor",
    terminals: &TWO,
    internals: 0,
    params: &[MARKED, TOLERANCE, RATED],
    links: &[],
    faults: &[ONE_OPEN, ONE_LOW, ONE_SHORTED],
    looks: &[SWOLLEN],
    source: false,
    build: |b| film(b, [b.t(1), b.t(0)], "marked", &ONE),
};

pub(super) const START_CAPACITOR: Kind = Kind {
    name: "start-capacitor",
    about: "start capacitor with its bleed resistor, in the circuit until the motor has started",
    terminals: &TWO,
    internals: 0,
    params: &[
        param(
            "marked",
            Unit::Farad,
            None,
            0.05,
            "middle of its marked range of capacitance",
        ),
        RATED,
        param(
            "bleed-ohms",
            Unit::Ohm,
            Some(15e3),
            0.05,
            "bleed resistor across it (from memory)",
        ),
    ],
    links: &[],
    faults: &[
        fault("open", 0.030, "open"),
        by_degree("low", 0.015, "far under its marking"),
        fault("shorted", 0.006, "shorted"),
        fault(
            "bleed-open",
            0.003,
            "bleed resistor open: it keeps its charge after a start",
        ),
    ],
    looks: &[look(
        "swollen",
        Sight::Swollen,
        None,
        "Is the start capacitor's case cracked, its vent open, or does it leak?",
    )],
    source: false,
    build: |b| {
        let ends = [b.t(1), b.t(0)];
        let marked = b.value("marked");
        let farads = left(b, marked, &ONE);
        let leak_ohms = if b.has("shorted") {
            0.3
        } else {
            // Electrolytic: far leakier than a film.
            b.under("bleed-open", 2e7, b.value("bleed-ohms"))
        };
        b.push(Element::Capacitor {
            ends,
            farads,
            esr_ohms: START_LOSS / (std::f64::consts::TAU * 60.0 * marked),
            leak_ohms,
        });
    },
};
