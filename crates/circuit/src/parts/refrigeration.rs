//! Refrigeration with pump-down: the refrigerant and its pressures, the liquid line's valve, and
//! the controls that follow the pressures.

use super::power::{COIL_FAULTS, COIL_PARAMS, coil, pull_in_volts};
use super::{
    CONTROL_CONTACT_OHMS, Kind, Link, OPEN_OHMS, Param, Sight, Unit, fault, look, param, terminal,
};
use crate::surroundings::{Refrigerant, Trigger, Valve};

/// How far such pressures differ from one unit to the next (common practice, no published source).
const SPREAD: f64 = 0.03;

const fn pascals(name: &'static str, words: &'static str) -> Param {
    param(name, Unit::Pascal, None, SPREAD, words)
}

pub(super) const REFRIGERANT: Kind = Kind {
    name: "refrigerant",
    about: "the refrigerant: what its pressures are decides what pressure controls do",
    terminals: &[],
    internals: 0,
    params: &[
        pascals(
            "standstill",
            "low side with its evaporator fed and the compressor still, above the air's pressure",
        ),
        pascals("suction", "low side while it runs"),
        pascals("discharge", "high side while it runs"),
    ],
    links: &[
        Link {
            name: "valve",
            shows: Sight::Clicks,
            words: "the valve of the liquid line",
        },
        Link {
            name: "compressor",
            shows: Sight::Humming,
            words: "the compressor",
        },
        Link {
            name: "condenser-fan",
            shows: Sight::Running,
            words: "the fan of the condenser",
        },
    ],
    faults: &[
        fault("lost-charge", 0.030, "charge lost through a leak"),
        fault(
            "condenser-blocked",
            0.025,
            "condenser blocked with dirt: the high side rises above its control",
        ),
    ],
    looks: &[
        look(
            "low-side-up",
            Sight::LowSideUp,
            Some(true),
            "Gauges on, with a call: does the low side stand above the pressure that its control closes at?",
        ),
        look(
            "charged",
            Sight::Charged,
            None,
            "Does the high side stand at the saturation pressure of the air around it, or the sight glass run clear?",
        ),
        look(
            "leaks",
            Sight::Leaks,
            None,
            "Does a leak detector, soap or a trace of oil show a leak?",
        ),
        look(
            "blocked",
            Sight::Blocked,
            None,
            "Is the condenser blocked with dirt or its air held back?",
        ),
        look(
            "runs-on",
            Sight::RunsOn,
            Some(true),
            "With the compressor running, shut the liquid line's service valve by hand: does it run on under the cut-out of its low-pressure control? Open the valve again.",
        ),
    ],
    source: false,
    build: |b| {
        b.assembly.refrigerants.push(Refrigerant {
            part: b.part,
            valve: b.linked(0),
            compressor: b.linked(1),
            fan: b.linked(2),
            standstill: b.value("standstill"),
            suction: b.value("suction"),
            discharge: b.value("discharge"),
            lost: b.has("lost-charge"),
            blocked: b.has("condenser-blocked"),
        });
    },
};

pub(super) const LIQUID_VALVE: Kind = Kind {
    name: "liquid-valve",
    about: "solenoid valve of the liquid line, open while its coil is fed",
    terminals: &[terminal("1", "first side"), terminal("2", "second side")],
    internals: 0,
    params: &COIL_PARAMS,
    links: &[],
    faults: &[
        COIL_FAULTS[0],
        COIL_FAULTS[1],
        fault("stuck-shut", 0.015, "does not open with its coil fed"),
    ],
    looks: &[look(
        "clicks",
        Sight::Clicks,
        Some(true),
        "With a call: is the valve heard to open, and is its body felt to pull?",
    )],
    source: false,
    build: |b| {
        let coil = coil(b, 0, 1);
        let pull_in_volts = if b.has("stuck-shut") {
            f64::INFINITY
        } else {
            pull_in_volts(b)
        };
        b.assembly.valves.push(Valve {
            part: b.part,
            coil,
            pull_in_volts,
        });
    },
};

const OF: Link = Link {
    name: "refrigerant",
    shows: Sight::Charged,
    words: "the refrigerant whose pressure it follows",
};

const TWO_SIDES: [super::Terminal; 2] = [terminal("1", "first side"), terminal("2", "second side")];

pub(super) const LOW_PRESSURE: Kind = Kind {
    name: "low-pressure-control",
    about: "low-pressure control: closes above its cut-in, opens under its cut-out and ends the pump-down",
    terminals: &TWO_SIDES,
    internals: 0,
    params: &[
        pascals("cut-in", "closes above it"),
        pascals("cut-out", "opens under it"),
    ],
    links: &[OF],
    faults: &[
        fault(
            "failed-open",
            0.020,
            "open with the pressure above its cut-in",
        ),
        fault(
            "welded",
            0.008,
            "closed with the pressure under its cut-out",
        ),
    ],
    looks: &[],
    source: false,
    build: |b| {
        let trigger = Trigger::LowPressure {
            refrigerant: b.linked(0),
            cut_in: b.value("cut-in"),
            cut_out: b.value("cut-out"),
        };
        b.control([b.t(0), b.t(1)], trigger, "failed-open", "welded");
    },
};

pub(super) const HIGH_PRESSURE: Kind = Kind {
    name: "high-pressure-control",
    about: "high-pressure control that opens above its cut-out and is reset by hand",
    terminals: &TWO_SIDES,
    internals: 0,
    params: &[pascals("cut-out", "opens above it")],
    links: &[OF],
    faults: &[
        fault(
            "tripped",
            0.015,
            "tripped by something that is over, and not reset",
        ),
        fault(
            "failed-open",
            0.010,
            "open, and not closing when it is reset",
        ),
    ],
    looks: &[
        look(
            "reset-out",
            Sight::ResetOut,
            None,
            "Does the reset button of the control stand out, as it does when it has tripped?",
        ),
        look(
            "fan-turns",
            Sight::FanTurns,
            Some(true),
            "With a call: push its reset in, once: does the fan of the condenser turn? Switch off at once if the compressor stalls.",
        ),
    ],
    source: false,
    build: |b| {
        let trigger = Trigger::HighPressure {
            refrigerant: b.linked(0),
            cut_out: b.value("cut-out"),
        };
        b.control([b.t(0), b.t(1)], trigger, "failed-open", "");
    },
};

pub(super) const DEFROST_TIMER: Kind = Kind {
    name: "defrost-timer",
    about: "defrost timer: its motor runs, its contact is closed outside defrost",
    terminals: &[
        terminal("M1", "timer motor"),
        terminal("M2", "timer motor"),
        terminal("1", "contact, feed"),
        terminal("4", "contact, closed outside defrost"),
    ],
    internals: 0,
    params: &[param(
        "motor-ohms",
        Unit::Ohm,
        Some(6000.0),
        0.06,
        "its motor (common practice, no published source)",
    )],
    links: &[],
    faults: &[
        fault(
            "stuck-in-defrost",
            0.015,
            "stands in defrost and does not leave it",
        ),
        fault("motor-open", 0.010, "motor open: it stands where it is"),
    ],
    looks: &[],
    source: false,
    build: |b| {
        let ohms = b.under("motor-open", OPEN_OHMS, b.value("motor-ohms"));
        b.resistor(b.t(0), b.t(1), ohms);
        b.contact(b.t(2), b.t(3), CONTROL_CONTACT_OHMS, "stuck-in-defrost");
    },
};
