//! How long until the open protector of a hot motor is expected to close, as far as start to run
//! tells it.
//!
//! Behind an open line-break protector only S-R can be read. With a cold reference of the same
//! winding it gives the winding's mean temperature ([`LAW`]). Several readings, and a *measured*
//! ambient, give the cooling ([`NEWTON`]): `T(t) = Ta + D exp(-t / tau)`. The protector closes when
//! the winding is down at its reset temperature, which is not known but for a prior.
//!
//! What is not known has a stated prior ([`RULES`]): the time constant, the winding's temperature
//! when it was switched off, the reset temperature. What is measured has its uncertainty, kept apart:
//!
//! | error | of | shared by all readings |
//! |---|---|---|
//! | `e_s`, a share of `K + T` | the reference: its ohms, its temperature | yes |
//! | `e_o`, ohms | the meter's accuracy and the leads | yes |
//! | `e_i`, kelvins | the display's step, rounded once, and the law itself ([`ONE_BODY`]) | no |
//! | `e_a`, kelvins | the ambient | yes |
//!
//! For a given `tau` all of them enter a reading linearly, so that each of [`NODES`] time constants
//! has its normal distribution of `(Ta, D)` and its likelihood in closed form, one reading after
//! the other; their mixture is the answer. Work is bounded: at most [`MOST_SAMPLES`] readings at
//! each time constant.
//!
//! One body with one time constant is a model. A winding sheds the first of its heat into the
//! shell faster than the shell sheds it into the air: what does not fit is said ([`Advice::DoesNotFit`]).
//! The program never says that a protector has closed. Only C-S and C-R say that.

mod fit;
mod outlook;

use serde::Serialize;

pub use fit::NODES;
pub use outlook::{Advice, Given, Missing, Outlook, Sample, Window, outlook};

use crate::accuracy::Quantity;
use crate::math::root_sum_square;
use crate::rules::temperature::{self, Metal};
use crate::rules::{Rule, RuleError};
use crate::source::{Source, Status};
use crate::units::{Celsius, Ohms};

pub use crate::rules::temperature::LAW;

/// The law of cooling.
pub const NEWTON: Source = Source::new(
    "Newton's law of cooling of one body: T = Ta + (T0 - Ta) exp(-t/tau)",
    Status::Computed,
);

/// The time constant's prior: nine in ten of its logarithm's normal distribution.
pub const TAU: Rule = Rule::between(
    "cooldown.tau",
    "time constant of a hermetic compressor's cooling; nine in ten, prior",
    "min",
    (30.0, 90.0),
    Source::new(
        "a hermetic shell cools with a time constant of about 30 to 90 minutes",
        Status::CommonPractice,
    ),
);

/// The reset temperature's prior: nine in ten of a normal distribution.
pub const RESET: Rule = Rule::between(
    "cooldown.reset",
    "winding temperature at which a line-break protector closes; nine in ten, prior",
    "Cel",
    (60.0, 90.0),
    Source::new(
        "protectors inside compressors close at 60 to 90 °C; specific to the design",
        Status::Memory,
    ),
);

/// The prior of the winding's temperature when it was switched off: nine in ten of a normal
/// distribution.
pub const START: Rule = Rule::between(
    "cooldown.start",
    "winding temperature behind an open protector; nine in ten, prior",
    "Cel",
    (60.0, 135.0),
    Source::new(
        "from the lowest reset to the highest trip of protectors inside compressors",
        Status::Memory,
    ),
);

/// From this probability down that a good protector would still be open, an open one is evidence
/// for a failed one.
pub const STILL_OPEN: Rule = Rule::at_most(
    "cooldown.still-open",
    "probability that a good protector is still open, from which on an open one is evidence",
    "1",
    0.01,
    Source::new(
        "one in a hundred, a choice of this program",
        Status::CommonPractice,
    ),
);

/// How much a winding may differ from the law of one body at a reading, as a standard uncertainty.
pub const ONE_BODY: Rule = Rule::at_most(
    "cooldown.one-body",
    "difference of a winding from the law of one body at each reading; standard uncertainty",
    "K",
    1.0,
    Source::new(
        "a winding sheds heat into its shell first: one kelvin, a choice of this program",
        Status::CommonPractice,
    ),
);

/// How well the temperature of a cold winding is known, where its uncertainty is not stated:
/// expanded uncertainty.
pub const COLD_AT: Rule = Rule::at_most(
    "cooldown.cold-at",
    "uncertainty of a cold reference's temperature where none is stated; expanded",
    "K",
    2.0,
    Source::new(
        "a winding that stood overnight is within about two kelvins of the air",
        Status::CommonPractice,
    ),
);

/// Every row.
pub const RULES: &[Rule] = &[TAU, RESET, START, ONE_BODY, STILL_OPEN, COLD_AT];

/// The share of cases in which the protector closes within a [`Window`], the rest being half
/// earlier and half later, if the priors hold.
pub const COVERAGE: f64 = 0.8;

/// The most readings that are used: the latest ones.
pub const MOST_SAMPLES: usize = 32;

/// A normal distribution.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Normal {
    /// Its mean.
    pub mean: f64,
    /// Its standard deviation.
    pub sd: f64,
}

impl Normal {
    /// The one that has nine tenths between these.
    #[must_use]
    pub const fn nine_tenths(low: f64, high: f64) -> Self {
        /// The 95th percentile of the standard normal distribution.
        const Z_95: f64 = 1.644_853_626_951_472_2;
        Normal {
            mean: (low + high) / 2.0,
            sd: (high - low) / 2.0 / Z_95,
        }
    }

    /// The one of a prior's row; of a row with an open side, the standard one.
    #[must_use]
    pub const fn of(rule: &Rule) -> Self {
        match (rule.lower, rule.upper) {
            (Some(low), Some(high)) => Normal::nine_tenths(low, high),
            _ => Normal { mean: 0.0, sd: 1.0 },
        }
    }
}

/// What a winding had when it was cold.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Reference {
    /// Its resistance, without leads.
    pub ohms: Quantity<Ohms>,
    /// Its temperature then.
    pub at: Quantity<Celsius>,
    /// What it is made of.
    pub metal: Metal,
}

impl Reference {
    /// Kelvins for each ohm, `(K + t1) / R1`: what a tenth of an ohm is worth in temperature.
    ///
    /// # Errors
    /// [`RuleError`] on a resistance of zero, a temperature below `-K`, or what is not finite.
    pub fn kelvins_per_ohm(&self) -> Result<f64, RuleError> {
        let (ohms, at) = (self.ohms.measured(), self.at.measured());
        if !ohms.is_sound() || !at.is_sound() {
            return Err(RuleError::NotFinite);
        }
        let absolute = self.metal.k() + at.value;
        let slope = absolute / ohms.value;
        if ohms.value <= 0.0 {
            Err(RuleError::NotPositive)
        } else if absolute <= 0.0 || !slope.is_finite() {
            Err(RuleError::OutOfDomain)
        } else {
            Ok(slope)
        }
    }

    /// The winding's mean temperature from a resistance now.
    ///
    /// # Errors
    /// As [`temperature::temperature`].
    pub fn temperature(&self, now: Quantity<Ohms>) -> Result<Quantity<Celsius>, RuleError> {
        temperature::temperature(now, self.ohms, self.at, self.metal)
    }
}

/// The temperature of a winding that has been off for so many minutes, in air of that temperature: what
/// heat may be left of it, between none and the slowest cooling from the hottest start, is part of the
/// uncertainty. None for times that make no sense.
#[must_use]
pub fn rested(air: Quantity<Celsius>, minutes: f64) -> Option<Quantity<Celsius>> {
    let (hottest, slowest) = (START.upper?, TAU.upper?);
    let stood = COLD_AT.upper? / 2.0;
    if minutes.is_nan() || minutes < 0.0 {
        return None;
    }
    let most = (hottest - air.value.get()).max(0.0) * libm::exp(-minutes / slowest);
    // Anywhere between the two: a rectangular distribution.
    let left = most / 1.732_050_807_568_877_2;
    Some(Quantity {
        u: root_sum_square([air.u, stood, left]),
        ..air
    })
}
