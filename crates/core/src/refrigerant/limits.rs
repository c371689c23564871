//! What the refrigerant side is judged by.

use serde::Serialize;

use super::Metering;
use super::charge::{Feature, Shown, Weather};
use crate::accuracy::{Measured, Quantity};
use crate::class::Class;
use crate::rules::{Rule, RuleError, practice, verified};
use crate::units::{Celsius, Kelvins, Ratio};
use crate::verdict::{Decision, Verdict};

/// Superheat of a fixed orifice about its target: 5 degrees Fahrenheit.
pub const SUPERHEAT: Rule = Rule::between(
    "refrigerant.superheat",
    "superheat of a fixed orifice, less its target",
    "K",
    (-5.0 / 1.8, 5.0 / 1.8),
    practice(
        "5 degrees Fahrenheit as in 2008 California Residential Appendix RA3.2.2, about the trade's formula in place of its table",
    ),
);
/// Superheat before which an expansion valve is suspected: 4 to 25 degrees Fahrenheit.
pub const VALVE_SUPERHEAT: Rule = Rule::between(
    "refrigerant.valve-superheat",
    "superheat behind an expansion valve whose maker states none",
    "K",
    (4.0 / 1.8, 25.0 / 1.8),
    verified("2008 California Residential Appendix RA3.2.2: 4 to 25 degrees Fahrenheit"),
);
/// Subcooling before an expansion valve about its plate: 3 degrees Fahrenheit.
pub const SUBCOOLING: Rule = Rule::between(
    "refrigerant.subcooling",
    "subcooling before an expansion valve, less the plate's",
    "K",
    (-3.0 / 1.8, 3.0 / 1.8),
    verified("2008 California Residential Appendix RA3.2.2: 3 degrees Fahrenheit"),
);
/// Temperature split about what is expected in that air: 3 degrees Fahrenheit.
pub const SPLIT: Rule = Rule::between(
    "refrigerant.split",
    "return air less supply air, less what is expected in that air",
    "K",
    (-3.0 / 1.8, 3.0 / 1.8),
    practice(
        "3 degrees Fahrenheit as in 2008 California Residential Appendix RA3.2.2.7, about a split computed from drawn units in place of its table",
    ),
);
/// The compression ratio of an air conditioner.
pub const RATIO: Rule = Rule::between(
    "refrigerant.compression-ratio",
    "discharge over suction, both absolute, of an air conditioner in cooling",
    "1",
    (1.7, 5.0),
    practice("about what drawn units that run well show, 13 to 46 Cel outdoors"),
);

/// A temperature split, and what it is held against.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Split {
    /// Return air less supply air.
    pub split: Kelvins,
    /// What units that run well show in that air, and their spread.
    pub expected: Quantity<Kelvins>,
    /// The difference against [`SPLIT`].
    pub verdict: Verdict,
}

impl Split {
    /// What it says of the airflow (after 2008 California Residential Appendix RA3.2.2.7), where the verdict
    /// says anything.
    #[must_use]
    pub fn hint(&self) -> &'static str {
        if self.verdict.decision == Decision::NotJudged || self.verdict.too_close() {
            return "too near the limit of what is expected for these instruments to tell: measure again, with finer ones, in the mixed air";
        }
        match self.verdict.class {
            Class::High | Class::Open => {
                "over what is expected: too little air over the indoor coil is probable; look at filter, coil, blower and ducts before the charge"
            }
            Class::Low | Class::Absent => {
                "under what is expected: too little capacity, or more air than usual; see that the sensors are in the mixed air, then measure superheat and subcooling"
            }
            _ => "as expected: nothing speaks against the airflow, which it does not measure",
        }
    }
}

/// The temperature split over the indoor coil.
///
/// # Errors
/// [`RuleError::NotFinite`], and [`RuleError::OutOfDomain`] where the weather is none that it can be judged in:
/// [`Weather::allows`].
pub fn split(
    weather: &Weather,
    metering: Metering,
    supply: Quantity<Celsius>,
) -> Result<Split, RuleError> {
    // The target superheat of an orifice is of no matter here.
    weather
        .allows(Metering::ExpansionValve)
        .map_err(|_| RuleError::OutOfDomain)?;
    let shown = Shown {
        supply: Some(supply),
        ..Shown::default()
    };
    let over = weather.over(Feature::Split, metering, &shown);
    let over = over
        .filter(Measured::is_sound)
        .ok_or(RuleError::NotFinite)?;
    Ok(Split {
        split: weather.indoor.value - supply.value,
        expected: weather.expected(Feature::Split, metering),
        verdict: SPLIT.judge(over),
    })
}

/// The compression ratio, [`super::compression_ratio`], against [`RATIO`].
#[must_use]
pub fn judge_ratio(ratio: Quantity<Ratio>) -> Verdict {
    RATIO.judge(ratio.measured())
}

/// Superheat against [`SUPERHEAT`] about the target of a fixed orifice, or [`VALVE_SUPERHEAT`]. None where the
/// weather gives no target, or the air is too thin for it.
#[must_use]
pub fn judge_superheat(
    superheat: Quantity<Kelvins>,
    metering: Metering,
    weather: &Weather,
) -> Option<Verdict> {
    let m = superheat.measured();
    match metering {
        Metering::ExpansionValve => Some(VALVE_SUPERHEAT.judge(m)),
        Metering::FixedOrifice => {
            let target = super::target_superheat(
                weather.wet_bulb.value,
                weather.outdoor.value,
                weather.air.value,
            )
            .ok()?;
            Some(judge_superheat_about(superheat, target, weather))
        }
    }
}

/// Superheat of a fixed orifice about a target that is of this weather: [`SUPERHEAT`]. Whoever states the target,
/// it moves with the air, by 3/2 of the wet bulb and half of the dry bulb outdoors, and what is not known of
/// these is not known of it.
#[must_use]
pub fn judge_superheat_about(
    superheat: Quantity<Kelvins>,
    target: Kelvins,
    weather: &Weather,
) -> Verdict {
    let m = superheat.measured();
    let u = crate::math::root_sum_square([m.u, 1.5 * weather.wet_bulb.u, 0.5 * weather.outdoor.u]);
    SUPERHEAT.judge(Measured {
        value: m.value - target.get(),
        u,
        ..m
    })
}

/// What little superheat means for the compressor.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Liquid {
    /// The suction line is below its dew point.
    Seen,
    /// The instruments cannot tell it from its dew point.
    NotExcluded,
}

impl Liquid {
    /// What it means, and for what.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Liquid::Seen => {
                "below its dew point the suction line has liquid in it, which harms a compressor, or a value is wrong"
            }
            Liquid::NotExcluded => {
                "these instruments see no superheat: liquid may come to the compressor, which harms it"
            }
        }
    }
}

/// Whether liquid comes to the compressor; none where there is superheat by more than its expanded uncertainty,
/// twice the standard one (JCGM 100:2008, 6.2.2).
#[must_use]
pub fn liquid_in_suction(superheat: Quantity<Kelvins>) -> Option<Liquid> {
    let (value, expanded) = (superheat.value.get(), 2.0 * superheat.u);
    if value < -expanded {
        Some(Liquid::Seen)
    } else if value <= expanded {
        Some(Liquid::NotExcluded)
    } else {
        None
    }
}

/// Subcooling before an expansion valve against its plate: [`SUBCOOLING`].
#[must_use]
pub fn judge_subcooling(subcooling: Quantity<Kelvins>, plate: Kelvins) -> Verdict {
    let m = subcooling.measured();
    SUBCOOLING.judge(Measured {
        value: m.value - plate.get(),
        ..m
    })
}
