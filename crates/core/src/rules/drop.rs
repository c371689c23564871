//! Volts across a closed contact under load.

use serde::Serialize;

use super::{Rule, RuleError, not_negative, plate, practice};
use crate::accuracy::Quantity;
use crate::class::Class;
use crate::units::{Amps, Ohms, Volts};
use crate::verdict::{Bands, Limit, Verdict};

/// Up to here a closed pole under load is good; above it is watched.
pub const GOOD: Rule = Rule::at_most(
    "drop.good",
    "volts across one closed pole under load, good",
    "V",
    0.1,
    practice("drop across a closed contact"),
);
/// Above here a pole is worn.
pub const WORN: Rule = Rule::at_most(
    "drop.worn",
    "volts across one closed pole under load, replace above",
    "V",
    0.3,
    practice("drop across a closed contact"),
);
/// The most that two poles under the same load may be apart.
pub const APART: Rule = Rule::at_most(
    "drop.apart",
    "volts between the drops of two poles under the same load",
    "V",
    0.05,
    practice("drop across a closed contact"),
);

/// The rows of this subject.
pub const RULES: &[Rule] = &[GOOD, WORN, APART];

/// The drop across one pole.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct DropVerdict {
    /// Against [`GOOD`].
    pub good: Verdict,
    /// Against [`WORN`]. Over half of the source across the pole is [`Class::Open`].
    pub worn: Verdict,
    /// The contact's resistance, drop over current.
    pub resistance: Ohms,
}

/// The drop across one closed pole that carries `load`, in a circuit of `source` volts.
///
/// # Errors
/// [`RuleError::NoLoad`] if no current above the meter's uncertainty flows: the drop would prove
/// nothing, unless the contact is open, which [`open_or_closed`] tells.
pub fn across_pole(
    drop: Quantity<Volts>,
    load: Quantity<Amps>,
    source: Volts,
) -> Result<DropVerdict, RuleError> {
    let m = not_negative(drop)?;
    let amps = not_negative(load)?;
    if amps.value <= amps.expanded() || amps.value <= 0.0 {
        return Err(RuleError::NoLoad);
    }
    let open = plate(source)? / 2.0;
    let with_open =
        |limit: Limit| Verdict::of(m, limit, &limit.bands().with_top(Class::Open, open));
    Ok(DropVerdict {
        good: with_open(GOOD.limit()),
        worn: with_open(WORN.limit()),
        resistance: Ohms(m.value / amps.value),
    })
}

/// The drops of two poles under the same load, against [`APART`].
///
/// # Errors
/// [`RuleError`] on a voltage that is none.
pub fn poles_apart(one: Quantity<Volts>, other: Quantity<Volts>) -> Result<Verdict, RuleError> {
    let (a, b) = (not_negative(one)?, not_negative(other)?);
    let apart = crate::accuracy::Measured {
        value: (a.value - b.value).abs(),
        u: crate::math::root_sum_square([a.u, b.u]),
        assumed: a.assumed || b.assumed,
    };
    Ok(APART.judge(apart))
}

/// Whether a contact in a live circuit is closed (next to nothing across it) or open (the whole
/// source across it, by Kirchhoff's voltage law); in between, neither: [`Class::High`].
#[must_use]
pub fn open_or_closed(source: Volts) -> Bands {
    Bands::about(None, Some(WORN.limit().high())).with_top(Class::Open, source.get() / 2.0)
}
