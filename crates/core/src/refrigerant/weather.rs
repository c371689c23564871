//! Whether the weather allows a charge to be proven in cooling.
//!
//! The standard procedure holds in a window of air outdoors and indoors. Outside it the charge is weighed
//! in, or the visit comes back. A heat pump is judged in cooling: heating has charts of its maker only.

use serde::Serialize;

use super::target;
use crate::rules::{Rule, memory, verified};
use crate::units::Celsius;

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
        }
    }
}

/// Whether the charge can be proven in cooling with this air outdoors and this wet bulb of the return air.
/// That the weather allows it proves nothing of the charge.
///
/// # Errors
/// [`Unprovable`]: why not, and what to do.
pub fn provable(
    outdoor: Celsius,
    indoor_wet_bulb: Celsius,
    metering: Metering,
) -> Result<(), Unprovable> {
    let (out, wet) = (outdoor.get(), indoor_wet_bulb.get());
    let (low, high) = (OUTDOORS_LOW.limit().low(), OUTDOORS_HIGH.limit().high());
    let wet_bulb = WET_BULB.limit();
    if !(out.is_finite() && wet.is_finite()) {
        Err(Unprovable::NotFinite)
    } else if out < low {
        Err(Unprovable::ColdOutdoors)
    } else if out > high {
        Err(Unprovable::HotOutdoors)
    } else if wet < wet_bulb.low() {
        Err(Unprovable::DryIndoors)
    } else if wet > wet_bulb.high() {
        Err(Unprovable::HumidIndoors)
    } else if metering == Metering::FixedOrifice
        && target(indoor_wet_bulb, outdoor).get() < TARGET_LOW.limit().low()
    {
        Err(Unprovable::HotAndDry)
    } else {
        Ok(())
    }
}
