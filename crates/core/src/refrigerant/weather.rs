//! Whether the weather allows a charge to be proven in cooling.
//!
//! The standard procedure holds in a window of air outdoors and indoors. Outside it the charge is weighed
//! in, or the visit comes back. A heat pump is judged in cooling: heating has charts of its maker only.
//! What is held against the model ([`super::charge::MODEL`]) is held to the air that it was drawn in, too.

use serde::Serialize;

use super::target;
use crate::rules::{Rule, computed, memory, verified};
use crate::units::{Celsius, Pascals};

/// Air outdoors, at least: 55 degrees Fahrenheit.
pub const OUTDOORS_LOW: Rule = Rule::at_least(
    "refrigerant.outdoors-low",
    "outdoor air at which the charge is judged in cooling; below it is weighed in",
    "Cel",
    (55.0 - 32.0) / 1.8,
    verified("2008 California Residential Appendix RA3.2.1: 55 degrees Fahrenheit or above"),
);
/// Air outdoors, at most: 115 degrees Fahrenheit.
pub const OUTDOORS_HIGH: Rule = Rule::at_most(
    "refrigerant.outdoors-high",
    "outdoor air at which the charge is judged in cooling",
    "Cel",
    (115.0 - 32.0) / 1.8,
    memory("2008 California Residential Appendix RA3.2, last column of table RA3.2-2"),
);
/// Wet bulb of the return air: 50 to 76 degrees Fahrenheit.
pub const WET_BULB: Rule = Rule::between(
    "refrigerant.wet-bulb",
    "wet bulb of the return air at which the charge is judged in cooling",
    "Cel",
    ((50.0 - 32.0) / 1.8, (76.0 - 32.0) / 1.8),
    memory("2008 California Residential Appendix RA3.2, first and last row of table RA3.2-2"),
);
/// The target superheat of a fixed orifice: 5 degrees Fahrenheit.
pub const TARGET_LOW: Rule = Rule::at_least(
    "refrigerant.target-low",
    "target superheat of a fixed orifice at which its charge can be judged",
    "K",
    5.0 / 1.8,
    verified(
        "2008 California Residential Appendix RA3.2.2: a target under 5 degrees Fahrenheit is no valid test",
    ),
);
/// Return air that the model was drawn in: 20 to 30 degrees Celsius.
pub const INDOORS: Rule = Rule::between(
    "refrigerant.indoors",
    "return air in which units were drawn for the model",
    "Cel",
    (20.0, 30.0),
    computed("the weather of tests/fits/charge.py"),
);
/// How humid the return air is that the model was drawn in.
pub const HUMIDITY: Rule = Rule::between(
    "refrigerant.humidity",
    "relative humidity of the return air in which units were drawn for the model",
    "1",
    (0.25, 0.75),
    computed("the weather of tests/fits/charge.py"),
);
/// What is said outside of [`HUMIDITY`].
pub const DRY_OR_DAMP: &str = "the return air is drier or damper than the 25 to 75 % of saturation that the model's units were drawn in: what is expected is less certain";
/// The air's pressure that the model was drawn in: from 2500 m down to the sea, and 2 kPa of weather.
pub const AIR: Rule = Rule::between(
    "refrigerant.air",
    "air pressure at which units were drawn for the model: 2500 m to the sea",
    "Pa",
    (74_600.0, 103_400.0),
    computed("the weather of tests/fits/charge.py, and 2 kPa over the sea's"),
);
/// The air's pressure at which the trade's target superheat is used: from about 360 m down.
pub const TARGET_AIR: Rule = Rule::at_least(
    "refrigerant.target-air",
    "air pressure at which the target superheat of a fixed orifice is used: up to 360 m",
    "Pa",
    97_000.0,
    computed(
        "the cycle model of tests/fits/cycle.py, which thin air moves by 1 K from the sea to there",
    ),
);

/// What feeds the indoor coil.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Metering {
    /// A piston or a capillary: superheat follows the weather.
    FixedOrifice,
    /// An expansion valve, thermostatic or electronic: it holds superheat, and subcooling shows the charge.
    ExpansionValve,
}

impl Metering {
    /// As it is written on a command line and in JSON.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Metering::FixedOrifice => "fixed-orifice",
            Metering::ExpansionValve => "expansion-valve",
        }
    }
}

/// Why a charge cannot be proven in this weather.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Unprovable {
    /// A temperature is not a finite number.
    NotFinite,
    /// Under [`OUTDOORS_LOW`].
    ColdOutdoors,
    /// Over [`OUTDOORS_HIGH`].
    HotOutdoors,
    /// Under [`WET_BULB`].
    DryIndoors,
    /// Over [`WET_BULB`].
    HumidIndoors,
    /// The target superheat is under [`TARGET_LOW`].
    HotAndDry,
    /// The return air is under [`INDOORS`].
    ColdIndoors,
    /// The return air is over [`INDOORS`].
    HotIndoors,
    /// The air is outside [`AIR`].
    Altitude,
    /// The air is thinner than [`TARGET_AIR`].
    ThinForTarget,
}

impl Unprovable {
    /// Why, and what to do.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Unprovable::NotFinite => "a temperature is not a number: measure again",
            Unprovable::ColdOutdoors => {
                "under 55 degrees Fahrenheit (12.8 Cel) outdoors the charge cannot be proven by superheat or subcooling: weigh it in, or come back in warmer weather"
            }
            Unprovable::HotOutdoors => {
                "over 115 degrees Fahrenheit (46.1 Cel) outdoors the charge cannot be proven: come back in cooler weather"
            }
            Unprovable::DryIndoors => {
                "the return air's wet bulb is under 50 degrees Fahrenheit (10 Cel), too little load to prove the charge: warm the rooms and measure again, or come back"
            }
            Unprovable::HumidIndoors => {
                "the return air's wet bulb is over 76 degrees Fahrenheit (24.4 Cel), too much load to prove the charge: let the unit pull the rooms down and measure again"
            }
            Unprovable::HotAndDry => {
                "the target superheat comes to under 5 degrees Fahrenheit (2.8 K), too hot outdoors and too dry indoors to prove the charge of a fixed orifice: warm the rooms and measure again, or come back"
            }
            Unprovable::ColdIndoors => {
                "the return air is under 20 Cel, and the model holds for 20 to 30: warm the rooms and measure again, or judge by the maker's data"
            }
            Unprovable::HotIndoors => {
                "the return air is over 30 Cel, and the model holds for 20 to 30: let the unit pull the rooms down and measure again, or judge by the maker's data"
            }
            Unprovable::Altitude => {
                "the model holds from the sea up to 2500 m: see that the altitude is right, or judge by the maker's data for this one"
            }
            Unprovable::ThinForTarget => {
                "the target superheat is the trade's for air at the sea, and over 360 m thin air moves it by more than 1 K: charge by the maker's chart for this altitude"
            }
        }
    }
}

/// Whether the charge can be proven in cooling with this air outdoors and this wet bulb of the return air;
/// for a fixed orifice by its target at the sea.
/// That the weather allows it proves nothing of the charge.
///
/// # Errors
/// [`Unprovable`]: why not, and what to do.
pub fn provable(
    outdoor: Celsius,
    indoor_wet_bulb: Celsius,
    metering: Metering,
) -> Result<(), Unprovable> {
    outdoors(outdoor)?;
    wet_bulb(indoor_wet_bulb)?;
    if metering == Metering::FixedOrifice
        && target(indoor_wet_bulb, outdoor).get() < TARGET_LOW.limit().low()
    {
        return Err(Unprovable::HotAndDry);
    }
    Ok(())
}

/// Whether what is known of the weather allows it so far, each temperature by itself: the air outdoors, the return
/// air, its wet bulb.
///
/// # Errors
/// [`Unprovable`]: why not, and what to do.
pub fn allowed_so_far(
    outdoor: Option<Celsius>,
    indoor: Option<Celsius>,
    indoor_wet_bulb: Option<Celsius>,
) -> Result<(), Unprovable> {
    outdoor.map_or(Ok(()), outdoors)?;
    indoor.map_or(Ok(()), indoors)?;
    indoor_wet_bulb.map_or(Ok(()), wet_bulb)
}

fn outdoors(air: Celsius) -> Result<(), Unprovable> {
    let (low, high) = (OUTDOORS_LOW.limit().low(), OUTDOORS_HIGH.limit().high());
    let sides = [Unprovable::ColdOutdoors, Unprovable::HotOutdoors];
    between(air.get(), low, high, sides)
}

fn indoors(air: Celsius) -> Result<(), Unprovable> {
    let limit = INDOORS.limit();
    let sides = [Unprovable::ColdIndoors, Unprovable::HotIndoors];
    between(air.get(), limit.low(), limit.high(), sides)
}

fn wet_bulb(air: Celsius) -> Result<(), Unprovable> {
    let limit = WET_BULB.limit();
    let sides = [Unprovable::DryIndoors, Unprovable::HumidIndoors];
    between(air.get(), limit.low(), limit.high(), sides)
}

fn between(x: f64, low: f64, high: f64, [under, over]: [Unprovable; 2]) -> Result<(), Unprovable> {
    if !x.is_finite() {
        Err(Unprovable::NotFinite)
    } else if x < low {
        Err(under)
    } else if x > high {
        Err(over)
    } else {
        Ok(())
    }
}

/// Whether the model was drawn in return air and at a pressure like these.
pub(super) fn modelled(indoor: Celsius, air: Pascals) -> Result<(), Unprovable> {
    indoors(indoor)?;
    let limit = AIR.limit();
    let sides = [Unprovable::Altitude; 2];
    between(air.get(), limit.low(), limit.high(), sides)
}
