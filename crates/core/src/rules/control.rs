//! Control voltage: the 24 V circuit, and any coil against its rating.

use serde::Serialize;

use super::{Rule, RuleError, judge, memory, not_negative, plate, practice, with_absent};
use crate::accuracy::Quantity;
use crate::units::Volts;
use crate::verdict::Verdict;

/// Where a contactor's coil must close, as shares of its rating.
pub const COIL_CLOSES: Rule = Rule::between(
    "control.coil-closes",
    "share of a coil's rated volts at which a contactor must close and stay closed",
    "1",
    (0.85, 1.10),
    memory("IEC 60947-4-1: closing at 85 to 110 % of rated control voltage"),
);
/// Below here a coil on alternating current has let go.
pub const COIL_RELEASED: Rule = Rule::at_least(
    "control.coil-released",
    "share of a coil's rated volts under which it has surely let go (AC)",
    "1",
    0.20,
    memory("IEC 60947-4-1: release between 20 and 75 %"),
);
/// The transformer's secondary with its load.
pub const LOADED: Rule = Rule::between(
    "control.loaded",
    "24 V secondary under load",
    "V",
    (20.0, 30.0),
    practice("24 V secondary under load: trouble below 20 to 22 V; Class 2 up to 30 V"),
);
/// The transformer's secondary without load.
pub const UNLOADED: Rule = Rule::between(
    "control.unloaded",
    "24 V secondary without load",
    "V",
    (24.0, 30.0),
    practice("24 V secondary without load: 26 to 28 V usual; Class 2 up to 30 V"),
);

/// Volts of a control circuit, nominal: a Class 2 secondary of 24 V (common practice, no published source).
pub const NOMINAL: f64 = 24.0;

/// The rows of this subject.
pub const RULES: &[Rule] = &[COIL_CLOSES, COIL_RELEASED, LOADED, UNLOADED];

/// Volts at a coil that is called for, against its rating. Below [`COIL_RELEASED`] they count as
/// absent.
///
/// # Errors
/// [`RuleError`] on a voltage or a rating that is none.
pub fn at_coil(volts: Quantity<Volts>, rated: Volts) -> Result<Verdict, RuleError> {
    let m = not_negative(volts)?;
    let rated = plate(rated)?;
    let limit = COIL_CLOSES.limit_of(rated);
    let bands = with_absent(limit.bands(), COIL_RELEASED.limit_of(rated).low());
    Ok(Verdict::of(m, limit, &bands))
}

/// Whether something draws current from the secondary.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
pub enum Load {
    /// A coil or a board is on.
    On,
    /// Nothing draws current.
    Off,
}

/// Volts at the secondary of a transformer of 24 V nominal.
///
/// # Errors
/// [`RuleError`] on a voltage that is none.
pub fn at_secondary(volts: Quantity<Volts>, load: Load) -> Result<Verdict, RuleError> {
    let m = not_negative(volts)?;
    let limit = match load {
        Load::On => LOADED.limit(),
        Load::Off => UNLOADED.limit(),
    };
    let absent = COIL_RELEASED.limit_of(NOMINAL).low();
    if limit.low() <= absent {
        return Ok(judge(m, limit));
    }
    Ok(Verdict::of(m, limit, &with_absent(limit.bands(), absent)))
}
