//! The refrigerant side: saturation, superheat and subcooling.
//!
//! Pressures here are **absolute**; a gauge shows what is above the air outside, and that falls with
//! altitude: see [`absolute`]. A blend that does not boil at one temperature has two: it begins to boil at
//! its *bubble* point and has all boiled at its *dew* point. Superheat is counted from the dew point,
//! subcooling from the bubble point.
//!
//! Opening the circuit is for certified persons; venting is unlawful in many places; classes A2L and A3
//! can burn. Local codes come first.

pub mod charge;
mod fits;
mod limits;
mod proof;
mod saturation;
mod weather;

use serde::Serialize;

use crate::accuracy::{Measured, Quantity};
use crate::math::root_sum_square;
use crate::rules::{Rule, RuleError};
use crate::source::{Source, Status};
use crate::units::{Celsius, Kelvins, Pascals, Ratio};

pub use limits::{
    Liquid, RATIO, SPLIT, SUBCOOLING, SUPERHEAT, Split, VALVE_SUPERHEAT, judge_ratio,
    judge_subcooling, judge_superheat, judge_superheat_about, liquid_in_suction, split,
};
pub use proof::{SPAN, STEADY, TARGETS, VOID_SETS};
pub use saturation::{pressure, temperature};
pub use weather::{
    AIR, DRY_OR_DAMP, HUMIDITY, INDOORS, Metering, OUTDOORS_HIGH, OUTDOORS_LOW, TARGET_AIR,
    TARGET_LOW, Unprovable, WET_BULB, allowed_so_far, provable,
};

/// The rows of this subject.
pub const RULES: &[Rule] = &[
    OUTDOORS_LOW,
    OUTDOORS_HIGH,
    WET_BULB,
    TARGET_LOW,
    TARGET_AIR,
    INDOORS,
    HUMIDITY,
    AIR,
    STEADY,
    SPAN,
    TARGETS,
    VOID_SETS,
    SUPERHEAT,
    VALVE_SUPERHEAT,
    SUBCOOLING,
    SPLIT,
    RATIO,
];

/// Where the saturation series come from.
pub const SATURATION: Source = Source::new(
    "series fitted to CoolProp 8.0.0, an implementation of the published equations of state",
    Status::Computed,
);
/// Where the standard atmosphere comes from.
pub const ATMOSPHERE: Source = Source::new(
    "standard atmosphere, p = 101.325 kPa (1 - 2.25577e-5 h)^5.25588 (ISO 2533)",
    Status::Memory,
);
/// Where the target superheat of a fixed orifice comes from.
pub const TARGET: Source = Source::new(
    "target superheat = (3 wet bulb - 80 - outdoor dry bulb) / 2, degrees Fahrenheit; the maker's chart comes first",
    Status::CommonPractice,
);
/// Where the flammability classes come from.
pub const CLASSES: Source = Source::new("safety classes of ASHRAE 34", Status::Memory);

/// A refrigerant.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
pub enum Refrigerant {
    /// Chlorodifluoromethane.
    R22,
    /// Tetrafluoroethane.
    R134a,
    /// Difluoromethane.
    R32,
    /// Propane.
    R290,
    /// half and half by mass; nearly no glide.
    R410A,
    /// and R-134a, 23 : 25 : 52 by mass.
    R407C,
    /// R-32 and R-1234yf, 68.9 : 31.1 by mass.
    R454B,
}

/// Whether a refrigerant burns, and whether it is toxic: ASHRAE 34.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum SafetyClass {
    /// Lower toxicity, no flame propagation.
    A1,
    /// Lower toxicity, lower flammability.
    A2L,
    /// Lower toxicity, higher flammability.
    A3,
}

impl SafetyClass {
    /// As it is written.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            SafetyClass::A1 => "A1",
            SafetyClass::A2L => "A2L",
            SafetyClass::A3 => "A3",
        }
    }

    /// What to heed, in words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            SafetyClass::A1 => "does not propagate a flame; it displaces air",
            SafetyClass::A2L => {
                "can burn: no ignition source, check for gas first, ventilate, tools made for it"
            }
            SafetyClass::A3 => {
                "burns readily: no ignition source, check for gas first, ventilate, tools made for it"
            }
        }
    }
}

impl Refrigerant {
    /// Every one.
    pub const ALL: [Refrigerant; 7] = [
        Refrigerant::R22,
        Refrigerant::R134a,
        Refrigerant::R32,
        Refrigerant::R290,
        Refrigerant::R410A,
        Refrigerant::R407C,
        Refrigerant::R454B,
    ];

    /// As it is written: `R-410A` (ISO 817).
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Refrigerant::R22 => "R-22",
            Refrigerant::R134a => "R-134a",
            Refrigerant::R32 => "R-32",
            Refrigerant::R290 => "R-290",
            Refrigerant::R410A => "R-410A",
            Refrigerant::R407C => "R-407C",
            Refrigerant::R454B => "R-454B",
        }
    }

    /// By its name, with or without the hyphen, in capitals or not; none if it is not known here.
    #[must_use]
    pub fn by_name(name: &str) -> Option<Self> {
        let plain = |text: &'static str| text.bytes().filter(|b| *b != b'-');
        let typed = || name.bytes().filter(|b| *b != b'-');
        Refrigerant::ALL.into_iter().find(|r| {
            plain(r.name())
                .map(|b| b.to_ascii_uppercase())
                .eq(typed().map(|b| b.to_ascii_uppercase()))
        })
    }

    /// Its class: see [`CLASSES`].
    #[must_use]
    pub const fn safety_class(self) -> SafetyClass {
        match self {
            Refrigerant::R22 | Refrigerant::R134a | Refrigerant::R410A | Refrigerant::R407C => {
                SafetyClass::A1
            }
            Refrigerant::R32 | Refrigerant::R454B => SafetyClass::A2L,
            Refrigerant::R290 => SafetyClass::A3,
        }
    }

    /// How far printed tables were seen to differ from the series, half of the widest distance: 0.14 K
    /// for R-134a (two handbook tables), 0.3 K for R-410A (a maker's table) and R-454B (two charts). Where
    /// no table was seen, as for the widest of those.
    #[must_use]
    pub const fn half_width(self) -> Kelvins {
        match self {
            Refrigerant::R134a => Kelvins(0.14),
            _ => Kelvins(0.3),
        }
    }
}

/// Which end of boiling. The same for a refrigerant that boils at one temperature.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum Point {
    /// The first bubble: the liquid's side.
    Bubble,
    /// The last drop: the vapour's side.
    Dew,
}

/// The absolute pressure that a gauge shows, with the barometer's reading or [`standard_air`].
///
/// # Errors
/// [`RuleError`] if it is not over zero.
pub fn absolute(
    gauge: Quantity<Pascals>,
    air: Quantity<Pascals>,
) -> Result<Quantity<Pascals>, RuleError> {
    let value = gauge.value.get() + air.value.get();
    let u = root_sum_square([gauge.u, air.u]);
    if !(value.is_finite() && u.is_finite()) {
        return Err(RuleError::NotFinite);
    }
    if value <= 0.0 {
        return Err(RuleError::NotPositive);
    }
    Ok(Quantity {
        value: Pascals(value),
        u,
        assumed: gauge.assumed || air.assumed,
    })
}

/// The air's pressure at an altitude in metres, -500 to 11 000, in the standard atmosphere. Weather moves
/// it by 2 kPa or so, which the uncertainty has (common practice, no published source).
///
/// # Errors
/// [`RuleError::OutOfDomain`].
pub fn standard_air(metres: f64) -> Result<Quantity<Pascals>, RuleError> {
    if !(-500.0..=11_000.0).contains(&metres) {
        return Err(RuleError::OutOfDomain);
    }
    let pascals = 101_325.0 * libm::pow(1.0 - 2.255_77e-5 * metres, 5.255_88);
    Ok(Quantity::new(Pascals(pascals), 1000.0))
}

/// Superheat: how far a vapour is above its dew point. Negative: liquid is in it, or a value is wrong.
///
/// # Errors
/// [`RuleError`] outside the range of the series.
pub fn superheat(
    refrigerant: Refrigerant,
    suction: Quantity<Pascals>,
    line: Quantity<Celsius>,
) -> Result<Quantity<Kelvins>, RuleError> {
    let dew = temperature(refrigerant, Point::Dew, suction)?;
    difference(line, dew)
}

/// Subcooling: how far a liquid is below its bubble point. Negative: vapour is in it, or a value is wrong.
///
/// # Errors
/// [`RuleError`] outside the range of the series.
pub fn subcooling(
    refrigerant: Refrigerant,
    liquid: Quantity<Pascals>,
    line: Quantity<Celsius>,
) -> Result<Quantity<Kelvins>, RuleError> {
    let bubble = temperature(refrigerant, Point::Bubble, liquid)?;
    difference(bubble, line)
}

fn difference(
    warm: Quantity<Celsius>,
    cold: Quantity<Celsius>,
) -> Result<Quantity<Kelvins>, RuleError> {
    let u = root_sum_square([warm.u, cold.u]);
    let value = warm.value - cold.value;
    if value.get().is_finite() && u.is_finite() {
        Ok(Quantity {
            value,
            u,
            assumed: warm.assumed || cold.assumed,
        })
    } else {
        Err(RuleError::NotFinite)
    }
}

/// The compression ratio: discharge over suction, both absolute.
///
/// # Errors
/// [`RuleError`] if one is not over zero.
pub fn compression_ratio(
    discharge: Quantity<Pascals>,
    suction: Quantity<Pascals>,
) -> Result<Quantity<Ratio>, RuleError> {
    let (high, low) = (discharge.measured(), suction.measured());
    for m in [high, low] {
        if !m.is_sound() {
            return Err(RuleError::NotFinite);
        }
        if m.value <= 0.0 {
            return Err(RuleError::NotPositive);
        }
    }
    let share = |m: Measured| m.u / m.value;
    let value = high.value / low.value;
    let u = value * root_sum_square([share(high), share(low)]);
    Ok(Quantity {
        value: Ratio(value),
        u,
        assumed: discharge.assumed || suction.assumed,
    })
}

/// The superheat to charge a fixed orifice to, from the wet bulb of the return air, the dry bulb outdoors
/// and the air's pressure: see [`TARGET`], which holds for air as it is at the sea.
///
/// # Errors
/// [`Unprovable::ThinForTarget`] under [`TARGET_AIR`], [`Unprovable::HotAndDry`] where it comes to under
/// [`TARGET_LOW`], [`Unprovable::NotFinite`].
pub fn target_superheat(
    wet_bulb: Celsius,
    outdoor: Celsius,
    air: Pascals,
) -> Result<Kelvins, Unprovable> {
    let found = target(wet_bulb, outdoor);
    if !(found.get().is_finite() && air.get().is_finite()) {
        Err(Unprovable::NotFinite)
    } else if air.get() < TARGET_AIR.limit().low() {
        Err(Unprovable::ThinForTarget)
    } else if found.get() < TARGET_LOW.limit().low() {
        Err(Unprovable::HotAndDry)
    } else {
        Ok(found)
    }
}

/// [`TARGET`], whatever it comes to.
fn target(wet_bulb: Celsius, outdoor: Celsius) -> Kelvins {
    let fahrenheit = |t: Celsius| t.get() * 1.8 + 32.0;
    Kelvins((3.0 * fahrenheit(wet_bulb) - 80.0 - fahrenheit(outdoor)) / 3.6)
}
