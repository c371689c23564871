//! What senses: thermistors and float switches.

use super::{CONTROL_CONTACT_OHMS, Kind, Sight, Unit, by_degree, fault, look, param, terminal};
use crate::network::OPEN_OHMS;

/// The temperature that a thermistor's resistance is stated at, kelvin.
const STATED_KELVIN: f64 = 298.15;

/// A thermistor's ohms at that temperature, by the beta form
/// R(T) = R25 exp(B (1/T - 1/298.15 K)) (a textbook's, from memory). One beta covers a narrow band
/// of temperatures: take the one that is stated for the band at hand.
#[must_use]
pub fn thermistor_ohms(ohms_at_25: f64, beta: f64, kelvin: f64) -> f64 {
    ohms_at_25 * (beta * (1.0 / kelvin - 1.0 / STATED_KELVIN)).exp()
}

pub(super) const THERMISTOR: Kind = Kind {
    name: "thermistor",
    about: "thermistor, falling with temperature; its curve is that of the part at hand, never assumed",
    terminals: &[terminal("1", "first lead"), terminal("2", "second lead")],
    internals: 0,
    params: &[
        param(
            "r25",
            Unit::Ohm,
            None,
            0.01,
            "resistance at 25 degrees Celsius, from its maker's table",
        ),
        param(
            "beta",
            Unit::Kelvin,
            None,
            0.01,
            "the constant of its curve, from its maker's table",
        ),
        param(
            "temperature",
            Unit::Kelvin,
            Some(STATED_KELVIN),
            0.02,
            "of the place that it senses",
        ),
    ],
    // Over 500 kilohm is open, under 100 ohm shorted (common practice, no published source).
    links: &[],
    faults: &[
        fault("open", 0.010, "open"),
        fault("shorted", 0.004, "shorted"),
        by_degree(
            "drifted",
            0.006,
            "off its curve: reads 8 to 25 degrees too cold",
        ),
    ],
    looks: &[],
    source: false,
    build: |b| {
        let off = b.under("drifted", 8.0 + 17.0 * b.severity, 0.0);
        let kelvin = b.value("temperature") - off;
        let healthy = thermistor_ohms(b.value("r25"), b.value("beta"), kelvin);
        let ohms = if b.has("open") {
            OPEN_OHMS
        } else {
            b.under("shorted", 20.0, healthy)
        };
        b.resistor(b.t(0), b.t(1), ohms);
    },
};

pub(super) const FLOAT_SWITCH: Kind = Kind {
    name: "float-switch",
    about: "float switch of a drain pan, closed while there is no water up to it",
    terminals: &[terminal("1", "first side"), terminal("2", "second side")],
    internals: 0,
    params: &[],
    links: &[],
    faults: &[
        fault("tripped", 0.020, "open: water stands in the pan"),
        fault("failed-open", 0.005, "open without water"),
    ],
    looks: &[look(
        "water",
        Sight::Flooded,
        None,
        "Does water stand in the drain pan up to the float?",
    )],
    source: false,
    build: |b| {
        let open = b.has("tripped") || b.has("failed-open");
        let ohms = if open {
            OPEN_OHMS
        } else {
            CONTROL_CONTACT_OHMS
        };
        b.resistor(b.t(0), b.t(1), ohms);
    },
};
