//! Units as types: a voltage cannot be passed where a resistance is meant, and a temperature
//! is not a temperature difference.

use postcard_schema::Schema;
use serde::{Deserialize, Serialize};

macro_rules! unit {
    ($(#[$doc:meta])* $name:ident, $symbol:literal) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default, Serialize, Deserialize)]
        pub struct $name(pub f64);

        impl $name {
            /// The UCUM code of this unit.
            pub const UCUM: &'static str = $symbol;

            /// The bare number, in the unit of the type.
            #[must_use]
            pub const fn get(self) -> f64 {
                self.0
            }
        }
    };
}

unit!(
    /// Electric potential difference, in volts (RMS where alternating).
    Volts, "V"
);
unit!(
    /// Electric current, in amperes (RMS where alternating).
    Amps, "A"
);
unit!(
    /// Resistance, in ohms.
    Ohms, "Ohm"
);
unit!(
    /// Capacitance, in farads.
    Farads, "F"
);
unit!(
    /// Frequency, in hertz.
    Hertz, "Hz"
);
unit!(
    /// Pressure, in pascals; whether gauge or absolute is the caller's to name.
    Pascals, "Pa"
);
unit!(
    /// A temperature, in degrees Celsius.
    Celsius, "Cel"
);
unit!(
    /// A temperature *difference*, in kelvins.
    Kelvins, "K"
);
unit!(
    /// Power, in watts.
    Watts, "W"
);
unit!(
    /// Apparent power, in volt-amperes.
    VoltAmps, "V.A"
);
unit!(
    /// Length, in metres.
    Metres, "m"
);
unit!(
    /// Turns per minute.
    PerMinute, "/min"
);
unit!(
    /// A share of a whole: 0.06 is 6 %.
    Ratio, "1"
);

impl core::ops::Sub for Celsius {
    type Output = Kelvins;
    fn sub(self, other: Celsius) -> Kelvins {
        Kelvins(self.0 - other.0)
    }
}

impl core::ops::Add<Kelvins> for Celsius {
    type Output = Celsius;
    fn add(self, difference: Kelvins) -> Celsius {
        Celsius(self.0 + difference.0)
    }
}

/// A moment on a clock that never steps back, in microseconds since an origin of the caller's
/// choice (the daemon's or the box's start).
#[derive(
    Debug,
    Clone,
    Copy,
    PartialEq,
    Eq,
    PartialOrd,
    Ord,
    Default,
    Hash,
    Serialize,
    Deserialize,
    Schema,
)]
pub struct Micros(pub u64);

impl Micros {
    /// The microseconds from `earlier` to `self`; zero if `earlier` is later.
    #[must_use]
    pub const fn since(self, earlier: Micros) -> u64 {
        self.0.saturating_sub(earlier.0)
    }
}
