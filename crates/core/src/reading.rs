//! One display value of a meter, exactly as it was shown.
//!
//! The digits are evidence: `0.7` on a display of 0.1 ohm steps is not `0.70`, so a reading keeps
//! the decimal mantissa and exponent and never only a binary float.

use postcard_schema::Schema;
use serde::{Deserialize, Serialize};

use crate::units::Micros;

/// What the meter was set to measure. Append only: the number of a variant is on disk and on
/// the wire.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, Schema,
)]
#[serde(rename_all = "kebab-case")]
#[non_exhaustive]
#[repr(u8)]
pub enum Function {
    /// Alternating volts, RMS.
    VoltsAc = 0,
    /// Direct volts.
    VoltsDc = 1,
    /// Resistance.
    Ohms = 2,
    /// Capacitance.
    Farads = 3,
    /// Alternating amperes, RMS.
    AmpsAc = 4,
    /// Direct amperes.
    AmpsDc = 5,
    /// Insulation resistance under a test voltage; the display value is in ohms.
    Megohms = 6,
    /// Temperature, degrees Celsius.
    Celsius = 7,
    /// Pressure.
    Pascals = 8,
    /// Frequency.
    Hertz = 9,
    /// Continuity (ohms with a beeper).
    Continuity = 10,
    /// Diode test, volts.
    Diode = 11,
    /// Duty cycle or another percentage.
    Percent = 12,
}

impl Function {
    /// Every function.
    pub const ALL: [Function; 13] = [
        Function::VoltsAc,
        Function::VoltsDc,
        Function::Ohms,
        Function::Farads,
        Function::AmpsAc,
        Function::AmpsDc,
        Function::Megohms,
        Function::Celsius,
        Function::Pascals,
        Function::Hertz,
        Function::Continuity,
        Function::Diode,
        Function::Percent,
    ];

    /// The name used on the command line, in sheets and in the dialogue.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Function::VoltsAc => "volts-ac",
            Function::VoltsDc => "volts-dc",
            Function::Ohms => "ohms",
            Function::Farads => "farads",
            Function::AmpsAc => "amps-ac",
            Function::AmpsDc => "amps-dc",
            Function::Megohms => "megohms",
            Function::Celsius => "celsius",
            Function::Pascals => "pascals",
            Function::Hertz => "hertz",
            Function::Continuity => "continuity",
            Function::Diode => "diode",
            Function::Percent => "percent",
        }
    }

    /// The function of that name.
    #[must_use]
    pub fn by_name(name: &str) -> Option<Function> {
        Function::ALL.into_iter().find(|f| f.name() == name)
    }

    /// The UCUM code of the base unit the display value is kept in.
    #[must_use]
    pub const fn ucum(self) -> &'static str {
        match self {
            Function::VoltsAc | Function::VoltsDc | Function::Diode => "V",
            Function::Ohms | Function::Continuity | Function::Megohms => "Ohm",
            Function::Farads => "F",
            Function::AmpsAc | Function::AmpsDc => "A",
            Function::Celsius => "Cel",
            Function::Pascals => "Pa",
            Function::Hertz => "Hz",
            Function::Percent => "%",
        }
    }

    /// Whether the meter drives its own current into the circuit, so that the circuit must be
    /// dead and discharged.
    #[must_use]
    pub const fn injects(self) -> bool {
        matches!(
            self,
            Function::Ohms
                | Function::Farads
                | Function::Megohms
                | Function::Continuity
                | Function::Diode
        )
    }
}

/// A decimal number as displayed: `mantissa * 10^exponent`, in the function's base unit.
/// `2384 * 10^-1` volts was shown as `238.4`; `55.1` microfarad is `551 * 10^-7`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, Schema)]
pub struct Decimal {
    /// The digits, with sign.
    pub mantissa: i32,
    /// The power of ten of the last digit, unit prefix included.
    pub exponent: i8,
}

impl Decimal {
    /// A decimal from its digits and the power of ten of the last one.
    #[must_use]
    pub const fn new(mantissa: i32, exponent: i8) -> Self {
        Decimal { mantissa, exponent }
    }

    /// The value in the base unit.
    #[must_use]
    pub fn value(self) -> f64 {
        scale(f64::from(self.mantissa), self.exponent)
    }

    /// One count of the last digit shown, in the base unit: the display's resolution.
    #[must_use]
    pub fn resolution(self) -> f64 {
        scale(1.0, self.exponent)
    }
}

/// `x * 10^exponent`, correctly rounded for the exponents a display has: powers of ten up to
/// 10^22 are exact in binary64, and a division by an exact power rounds once.
fn scale(x: f64, exponent: i8) -> f64 {
    let mut power = 1.0_f64;
    let mut n = exponent.unsigned_abs();
    while n > 0 {
        power *= 10.0;
        n -= 1;
    }
    if exponent < 0 { x / power } else { x * power }
}

/// What the display showed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, Schema)]
pub enum Shown {
    /// A number.
    Value(Decimal),
    /// Over the range: "OL". On ohms, an open; on volts, more than the range.
    Overload,
    /// Powered, and nothing readable: blank digits, dashes, or a mode in change.
    Blank,
}

impl Shown {
    /// The number, if one was shown.
    #[must_use]
    pub const fn decimal(self) -> Option<Decimal> {
        match self {
            Shown::Value(d) => Some(d),
            Shown::Overload | Shown::Blank => None,
        }
    }
}

/// Annunciators of the display, as a bit set.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize, Schema)]
pub struct Flags(pub u16);

impl Flags {
    /// No annunciator lit.
    pub const NONE: Flags = Flags(0);
    /// The display is frozen.
    pub const HOLD: Flags = Flags(1);
    /// The display shows a difference to a stored value (leads zeroed, on ohms).
    pub const RELATIVE: Flags = Flags(1 << 1);
    /// The meter's battery is low: its accuracy is not stated any more.
    pub const LOW_BATTERY: Flags = Flags(1 << 2);
    /// Low input impedance on volts: ghost voltages collapse.
    pub const LOW_IMPEDANCE: Flags = Flags(1 << 3);
    /// The range is chosen by the meter.
    pub const AUTO_RANGE: Flags = Flags(1 << 4);
    /// A stored minimum, not the present value.
    pub const MINIMUM: Flags = Flags(1 << 5);
    /// A stored maximum, not the present value.
    pub const MAXIMUM: Flags = Flags(1 << 6);
    /// A captured peak, not the present RMS value.
    pub const PEAK: Flags = Flags(1 << 7);
    /// A low-pass filter is in.
    pub const LOW_PASS: Flags = Flags(1 << 8);

    const NAMES: [(Flags, &'static str); 9] = [
        (Flags::HOLD, "hold"),
        (Flags::RELATIVE, "relative"),
        (Flags::LOW_BATTERY, "low-battery"),
        (Flags::LOW_IMPEDANCE, "low-impedance"),
        (Flags::AUTO_RANGE, "auto-range"),
        (Flags::MINIMUM, "minimum"),
        (Flags::MAXIMUM, "maximum"),
        (Flags::PEAK, "peak"),
        (Flags::LOW_PASS, "low-pass"),
    ];

    /// Whether every flag of `other` is set.
    #[must_use]
    pub const fn has(self, other: Flags) -> bool {
        self.0 & other.0 == other.0
    }

    /// These flags and those of `other`.
    #[must_use]
    pub const fn with(self, other: Flags) -> Flags {
        Flags(self.0 | other.0)
    }

    /// `other` too, if `lit`.
    #[must_use]
    pub const fn with_if(self, other: Flags, lit: bool) -> Flags {
        if lit { self.with(other) } else { self }
    }

    /// The names of the flags that are set.
    pub fn names(self) -> impl Iterator<Item = &'static str> {
        Flags::NAMES
            .into_iter()
            .filter(move |(flag, _)| self.has(*flag))
            .map(|(_, name)| name)
    }

    /// The flag of that name.
    #[must_use]
    pub fn by_name(name: &str) -> Option<Flags> {
        Flags::NAMES
            .into_iter()
            .find(|(_, n)| *n == name)
            .map(|(flag, _)| flag)
    }

    /// Whether the display can stand for the present value: not held, not a stored extreme.
    #[must_use]
    pub const fn is_live(self) -> bool {
        self.0 & (Flags::HOLD.0 | Flags::MINIMUM.0 | Flags::MAXIMUM.0 | Flags::PEAK.0) == 0
    }
}

/// A meter within a visit: a small number that the visit assigns when the meter joins.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct MeterId(pub u16);

/// One value as a meter displayed it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Reading {
    /// What the meter was set to measure.
    pub function: Function,
    /// What its display showed.
    pub shown: Shown,
    /// Its annunciators.
    pub flags: Flags,
    /// Which meter.
    pub meter: MeterId,
    /// When, on a clock that never steps back.
    pub at: Micros,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_display_keeps_its_digits_and_its_resolution() {
        let shown = Decimal::new(70, -2);
        assert_eq!(shown.value(), 0.7);
        assert_eq!(shown.resolution(), 0.01);
        assert_ne!(shown, Decimal::new(7, -1));
        assert_eq!(Decimal::new(551, -7).value(), 55.1e-6);
    }

    #[test]
    fn names_of_functions_and_flags_go_both_ways() {
        for f in Function::ALL {
            assert_eq!(Function::by_name(f.name()), Some(f));
        }
        for (flag, name) in Flags::NAMES {
            assert_eq!(Flags::by_name(name), Some(flag));
        }
        assert!(!Flags::HOLD.with(Flags::AUTO_RANGE).is_live());
        assert!(Flags::AUTO_RANGE.is_live());
    }
}
