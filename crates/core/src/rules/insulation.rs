//! Insulation resistance to ground, by an insulation tester.
//!
//! Electronics disconnected, never on a compressor in vacuum, discharged afterwards. Open motors
//! are judged by IEEE 43 with its correction to 40 °C. A hermetic compressor is not: refrigerant
//! and oil lower its reading, so its middle band asks for warmth and a repeat and never condemns.

use serde::{Deserialize, Serialize};

use super::{Rule, RuleError, memory, not_negative, practice, second_hand, verified};
use crate::accuracy::{Measured, Quantity, Void};
use crate::class::Class;
use crate::source::Source;
use crate::units::{Celsius, Ohms, Ratio, Volts};
use crate::verdict::{Bands, Decision, Verdict};

/// Operating uncertainty of insulation testers: ±30 % of the reading, as a half-width.
pub const TESTER: Source = memory("IEC 61557-2: operating uncertainty of 30 %");

/// Random-wound stators, and form-wound ones under 1 kV, at 40 °C after one minute.
pub const RANDOM_WOUND: Rule = Rule::at_least(
    "insulation.random-wound",
    "one-minute insulation resistance at 40 Cel of random-wound stators, and form-wound under 1 kV",
    "Ohm",
    5e6,
    second_hand("IEEE 43-2013: 5 megohm"),
);
/// Form-wound windings after about 1970, at 40 °C after one minute.
pub const FORM_WOUND: Rule = Rule::at_least(
    "insulation.form-wound",
    "one-minute insulation resistance at 40 Cel of form-wound windings after about 1970",
    "Ohm",
    100e6,
    second_hand("IEEE 43-2013: 100 megohm"),
);
/// Windings before about 1970 and field windings: this and one megohm for each kilovolt.
pub const OLD: Rule = Rule::at_least(
    "insulation.old",
    "one-minute insulation resistance at 40 Cel of windings before about 1970: this and 1 megohm for each kilovolt",
    "Ohm",
    1e6,
    second_hand("IEEE 43-2013: kV + 1 megohm"),
);
/// Pin to shell of a hermetic compressor.
pub const HERMETIC_GROUND: Rule = Rule::at_least(
    "insulation.hermetic-ground",
    "pin to shell of a hermetic compressor by insulation tester; under it a ground fault, never energised",
    "Ohm",
    2e6,
    verified("compressor service handbook: under 2 megohm is a ground fault"),
);
/// Under this a hermetic compressor is warmed and measured again.
pub const HERMETIC_REPEAT: Rule = Rule::at_least(
    "insulation.hermetic-repeat",
    "pin to shell of a hermetic compressor; under it heat the crankcase and repeat",
    "Ohm",
    20e6,
    practice("2 to 20 megohm: heat the crankcase and repeat"),
);
/// Under this: dry the system, change the oil.
pub const HERMETIC_POOR: Rule = Rule::at_least(
    "insulation.hermetic-poor",
    "pin to shell of a hermetic compressor; under it dry the system and change the oil",
    "Ohm",
    50e6,
    practice("20 to 50 megohm: poor"),
);
/// Under this: watch for moisture.
pub const HERMETIC_WATCH: Rule = Rule::at_least(
    "insulation.hermetic-watch",
    "pin to shell of a hermetic compressor; under it watch for moisture",
    "Ohm",
    100e6,
    practice("50 to 100 megohm: watch"),
);
/// Large hermetic machines, at 10 s and at 60 s, with a tester of 500 V.
pub const LARGE_HERMETIC: Rule = Rule::at_least(
    "insulation.large-hermetic",
    "large hermetic machine, 500 V tester, the readings at 10 s and at 60 s both",
    "Ohm",
    50e6,
    verified("large hermetic chiller manual: 50 megohm at 10 s and 60 s, ratio at least 1"),
);

/// The rows of this subject.
pub const RULES: &[Rule] = &[
    RANDOM_WOUND,
    FORM_WOUND,
    OLD,
    HERMETIC_GROUND,
    HERMETIC_REPEAT,
    HERMETIC_POOR,
    HERMETIC_WATCH,
    LARGE_HERMETIC,
];

/// A reading with at least the operating uncertainty of insulation testers ([`TESTER`]), taken as
/// rectangular.
fn operating(ohms: Quantity<Ohms>) -> Result<Measured, RuleError> {
    let m = not_negative(ohms)?;
    let floor = 0.30 * m.value.abs() / 1.732_050_807_568_877_2;
    Ok(Measured {
        u: m.u.max(floor),
        ..m
    })
}

/// The insulation of an open motor.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Winding {
    /// Random-wound stator, or form-wound under 1 kV: motors of air conditioners.
    RandomWound,
    /// Form-wound, after about 1970.
    FormWound,
    /// Before about 1970, or a field winding, with its rated volts.
    Old(Volts),
}

/// How insulation changes with temperature.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Insulation {
    /// Thermoplastic, and systems before the early 1970s: halves for every 10 K.
    Thermoplastic,
    /// Thermosetting: two exponentials that meet at 40 °C.
    Thermosetting,
}

impl Insulation {
    /// Where the correction comes from.
    #[must_use]
    pub const fn source(self) -> Source {
        match self {
            Insulation::Thermoplastic => second_hand("IEEE 43: R40 = Rt * 0.5^((40 - t)/10)"),
            Insulation::Thermosetting => memory(
                "IEEE 43-2013: exp(-4230 (1/(t+273) - 1/313)) above 40 Cel, exp(-1245 (...)) below",
            ),
        }
    }
}

/// The factor that takes an insulation resistance at a winding temperature to 40 °C:
/// `0.5^((40 - t) / 10)` for thermoplastic insulation; for thermosetting
/// `exp(-4230 (1/(t + 273) - 1/313))` from 40 to 85 °C and `exp(-1245 (...))` from 10 to 40 °C.
///
/// # Errors
/// [`RuleError::OutOfDomain`] under 10 °C and over 85 °C, where the thermosetting correction is
/// not stated; the same bounds are kept for the other, as dew and ageing spoil it outside them.
pub fn to_40(winding: Celsius, insulation: Insulation) -> Result<Ratio, RuleError> {
    let t = winding.get();
    if !t.is_finite() {
        return Err(RuleError::NotFinite);
    }
    if !(10.0..=85.0).contains(&t) {
        return Err(RuleError::OutOfDomain);
    }
    Ok(Ratio(match insulation {
        Insulation::Thermoplastic => libm::exp2((t - 40.0) / 10.0),
        Insulation::Thermosetting => {
            let slope = if t >= 40.0 { 4230.0 } else { 1245.0 };
            libm::exp(-slope * (1.0 / (t + 273.0) - 1.0 / 313.0))
        }
    }))
}

/// Winding to frame of an open motor, one minute, corrected to 40 °C. The correction's own
/// uncertainty is not known and not in the verdict; a correction from memory never condemns. The
/// verdict's value is the corrected one.
///
/// # Errors
/// [`RuleError`] on a resistance or a temperature that is none.
pub fn open_motor(
    ohms: Quantity<Ohms>,
    at: Celsius,
    winding: Winding,
    insulation: Insulation,
) -> Result<Verdict, RuleError> {
    let m = operating(ohms)?;
    let factor = to_40(at, insulation)?.get();
    let limit = match winding {
        Winding::RandomWound => RANDOM_WOUND.limit(),
        Winding::FormWound => FORM_WOUND.limit(),
        Winding::Old(volts) => {
            let mut limit = OLD.limit();
            // One megohm for each kilovolt is 1000 ohm for each volt.
            let more = 1000.0 * super::plate(volts)?;
            limit.lower = limit.lower.map(|base| base + more);
            limit
        }
    };
    let corrected = Measured {
        value: m.value * factor,
        u: m.u * factor,
        ..m
    };
    let verdict = super::judge(corrected, limit);
    Ok(if insulation.source().status.may_condemn() {
        verdict
    } else {
        verdict.as_warning()
    })
}

/// What a hermetic compressor was measured with.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Instrument {
    /// An insulation tester.
    InsulationTester,
    /// An ohmmeter: it finds a dead ground and misses a weak one.
    Ohmmeter,
}

/// What the insulation of a hermetic compressor asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Hermetic {
    /// Surely under 2 Mohm: a ground fault. Never energised.
    GroundFault,
    /// Not surely a ground fault, and not over 20 Mohm: heat the crankcase and repeat; do not
    /// energise before.
    HeatAndRepeat,
    /// 20 to 50 Mohm: dry the system, change the oil.
    Poor,
    /// 50 to 100 Mohm: moisture, watch the trend.
    Watch,
    /// Over 100 Mohm.
    Good,
    /// An ohmmeter found no ground: it misses weak ones, so nothing is proved.
    NotProved,
}

/// The insulation of a hermetic compressor, judged.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct HermeticVerdict {
    /// Against [`HERMETIC_GROUND`], with the classes short (under 2 Mohm), low (to 20 Mohm) and
    /// within. Its decision is never a failure unless the value is surely under 2 Mohm.
    pub ground: Verdict,
    /// What to do.
    pub asks_for: Hermetic,
}

/// The classes of a hermetic compressor's insulation: short, low and within.
#[must_use]
pub fn hermetic_bands() -> Bands {
    Bands::about(HERMETIC_REPEAT.lower, None)
        .with_bottom(Class::Short, HERMETIC_GROUND.limit().low())
}

/// One pin to the shell of a hermetic compressor. An overload of the tester is over every limit:
/// see [`Verdict::read`] with [`hermetic_bands`].
///
/// # Errors
/// [`RuleError`] on a resistance that is none.
pub fn hermetic(
    ohms: Quantity<Ohms>,
    instrument: Instrument,
) -> Result<HermeticVerdict, RuleError> {
    let limit = HERMETIC_GROUND.limit();
    let m = match instrument {
        Instrument::InsulationTester => operating(ohms)?,
        Instrument::Ohmmeter => not_negative(ohms)?,
    };
    let mut ground = Verdict::of(m, limit, &hermetic_bands());
    if ground.decision == Decision::Fail {
        return Ok(HermeticVerdict {
            ground,
            asks_for: Hermetic::GroundFault,
        });
    }
    if instrument == Instrument::Ohmmeter {
        return Ok(HermeticVerdict {
            ground: Verdict::void(
                Void::WrongFunction {
                    wanted: crate::reading::Function::Megohms,
                    got: crate::reading::Function::Ohms,
                },
                limit,
            ),
            asks_for: Hermetic::NotProved,
        });
    }
    if ground.decision == Decision::ConditionalFail {
        ground.decision = Decision::Check;
    }
    let under = |rule: Rule| m.value < rule.limit().low();
    Ok(HermeticVerdict {
        ground,
        asks_for: if under(HERMETIC_REPEAT) {
            Hermetic::HeatAndRepeat
        } else if under(HERMETIC_POOR) {
            Hermetic::Poor
        } else if under(HERMETIC_WATCH) {
            Hermetic::Watch
        } else {
            Hermetic::Good
        },
    })
}

/// A large hermetic machine with a tester of 500 V.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct LargeHermeticVerdict {
    /// The reading at 10 s against [`LARGE_HERMETIC`].
    pub at_10_s: Verdict,
    /// The reading at 60 s against [`LARGE_HERMETIC`].
    pub at_60_s: Verdict,
    /// The second over the first; under one the insulation gets worse under test.
    pub ratio: Ratio,
    /// Whether the ratio is at least one.
    pub rises: bool,
}

/// A large hermetic machine: both readings and their ratio.
///
/// # Errors
/// [`RuleError`] on a resistance that is none, or a first reading of zero.
pub fn large_hermetic(
    at_10_s: Quantity<Ohms>,
    at_60_s: Quantity<Ohms>,
) -> Result<LargeHermeticVerdict, RuleError> {
    let first = operating(at_10_s)?;
    let second = operating(at_60_s)?;
    if first.value <= 0.0 {
        return Err(RuleError::NotPositive);
    }
    let ratio = second.value / first.value;
    Ok(LargeHermeticVerdict {
        at_10_s: LARGE_HERMETIC.judge(first),
        at_60_s: LARGE_HERMETIC.judge(second),
        ratio: Ratio(ratio),
        rises: ratio >= 1.0,
    })
}
