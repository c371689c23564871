//! The rows of a kind: its terminals, values, faults and looks, each in a short word.

use super::{FaultKind, LookKind, Param, Sight, Terminal, Unit};

pub(super) const fn terminal(name: &'static str, words: &'static str) -> Terminal {
    Terminal {
        name,
        words,
        bonded: false,
    }
}

pub(super) const fn bonded(name: &'static str, words: &'static str) -> Terminal {
    Terminal {
        name,
        words,
        bonded: true,
    }
}

pub(super) const fn param(
    name: &'static str,
    unit: Unit,
    default: Option<f64>,
    spread: f64,
    words: &'static str,
) -> Param {
    Param {
        name,
        unit,
        default,
        spread,
        winding: false,
        words,
    }
}

/// A winding's resistance when it is cold.
pub(super) const fn winding(name: &'static str, spread: f64, words: &'static str) -> Param {
    Param {
        winding: true,
        ..param(name, Unit::Ohm, None, spread, words)
    }
}

pub(super) const fn fault(name: &'static str, weight: f64, words: &'static str) -> FaultKind {
    FaultKind {
        name,
        words,
        weight,
        degree: false,
        needs: None,
        shows: None,
        always: None,
    }
}

/// A fault that comes and goes, with the condition under which it shows.
pub(super) const fn intermittent(
    name: &'static str,
    weight: f64,
    words: &'static str,
    shows: &'static str,
) -> FaultKind {
    FaultKind {
        shows: Some(shows),
        ..fault(name, weight, words)
    }
}

/// A fault that shows while its part is hot, and is otherwise that of this name, which is there at
/// all times.
pub(super) const fn heat_dependent(
    name: &'static str,
    weight: f64,
    words: &'static str,
    always: &'static str,
) -> FaultKind {
    FaultKind {
        always: Some(always),
        ..intermittent(
            name,
            weight,
            words,
            "once current has warmed it; cold it reads whole",
        )
    }
}

/// A fault that comes in degrees.
pub(super) const fn by_degree(name: &'static str, weight: f64, words: &'static str) -> FaultKind {
    FaultKind {
        degree: true,
        ..fault(name, weight, words)
    }
}

/// A fault of degree that shows only in a part of which this value is known.
pub(super) const fn by_value(
    name: &'static str,
    weight: f64,
    words: &'static str,
    value: &'static str,
) -> FaultKind {
    FaultKind {
        needs: Some(value),
        ..by_degree(name, weight, words)
    }
}

pub(super) const fn look(
    name: &'static str,
    sight: Sight,
    power: Option<bool>,
    words: &'static str,
) -> LookKind {
    LookKind {
        name,
        sight,
        words,
        power,
    }
}
