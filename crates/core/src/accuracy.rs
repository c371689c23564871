//! From a meter's stated accuracy to the standard uncertainty of one reading, or the reason why
//! a reading has none.
//!
//! A meter states ±(percent of reading + counts). Its half-width is
//! `a = percent / 100 * |reading| + counts * resolution`; nothing more is known about the error
//! inside it, so it is taken as rectangular, `u = a / sqrt 3`. The last digit shown is rounded,
//! `u = resolution / sqrt 12`. Both combine by root sum of squares
//! ([`UNCERTAINTY`]: JCGM 100:2008, 4.3.7, F.2.2.1 and 5.1.2).

use postcard_schema::Schema;
use serde::{Deserialize, Serialize};

use crate::math::root_sum_square;
use crate::reading::{Decimal, Flags, Function, Reading, Shown};
use crate::source::{Source, Status};

/// Where the formula of [`standard_uncertainty`] comes from.
pub const UNCERTAINTY: Source = Source::new(
    "JCGM 100:2008, 4.3.7: rectangular a/sqrt 3; F.2.2.1: display step/sqrt 12; 5.1.2: root sum of squares",
    Status::Memory,
);

/// What a meter states for one function and range: ±(percent of reading + counts).
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Accuracy {
    /// Percent of the reading.
    pub percent: f64,
    /// Counts of the last digit shown.
    pub counts: f64,
    /// The largest magnitude that this statement covers, in the function's base unit; none if it
    /// covers all that the function can show.
    pub range: Option<f64>,
}

impl Accuracy {
    /// ±(percent of reading + counts) over all of the function's ranges.
    #[must_use]
    pub const fn new(percent: f64, counts: f64) -> Self {
        Accuracy {
            percent,
            counts,
            range: None,
        }
    }

    /// The same, stated up to this magnitude (base unit).
    #[must_use]
    pub const fn up_to(percent: f64, counts: f64, range: f64) -> Self {
        Accuracy {
            percent,
            counts,
            range: Some(range),
        }
    }

    /// Half-width of the stated error for one displayed value, in the base unit.
    #[must_use]
    pub fn half_width(&self, shown: Decimal) -> f64 {
        self.percent.abs() / 100.0 * shown.value().abs() + self.counts.abs() * shown.resolution()
    }

    /// Whether the statement covers this magnitude.
    #[must_use]
    pub fn covers(&self, magnitude: f64) -> bool {
        match self.range {
            Some(range) => magnitude.abs() <= range,
            None => true,
        }
    }
}

/// Standard uncertainty of one displayed value, in the base unit; see the module's head for the
/// formula. Positive for every display, as a display has a last digit.
#[must_use]
pub fn standard_uncertainty(shown: Decimal, accuracy: &Accuracy) -> f64 {
    const SQRT_3: f64 = 1.732_050_807_568_877_2;
    const SQRT_12: f64 = 3.464_101_615_137_754_4;
    root_sum_square([
        accuracy.half_width(shown) / SQRT_3,
        shown.resolution() / SQRT_12,
    ])
}

/// Standard uncertainty of one displayed value *against another of the same meter on the same
/// range*: the percent part is taken as one gain error that both share, so it cancels in their
/// ratio, and only the counts and the display step remain. For unbalance and spread of readings
/// near each other. Base unit.
#[must_use]
pub fn side_by_side_uncertainty(shown: Decimal, accuracy: &Accuracy) -> f64 {
    standard_uncertainty(
        shown,
        &Accuracy {
            percent: 0.0,
            ..*accuracy
        },
    )
}

/// One row of a meter's accuracy table.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Spec {
    /// The function that it is stated for.
    pub function: Function,
    /// The statement.
    pub accuracy: Accuracy,
}

/// What is known of a meter's accuracy.
pub trait AccuracyTable {
    /// The statement that covers this magnitude (base unit) on this function: of several, the
    /// one of the smallest range. None if the magnitude is out of every stated range, or the
    /// function is not stated at all.
    fn accuracy(&self, function: Function, magnitude: f64) -> Option<Accuracy>;

    /// The top of the function's highest stated range, base unit; none if not stated.
    fn top_of_range(&self, function: Function) -> Option<f64>;

    /// Whether the table is assumed, not stated for this meter. Verdicts say so.
    fn assumed(&self) -> bool {
        false
    }
}

impl AccuracyTable for [Spec] {
    fn accuracy(&self, function: Function, magnitude: f64) -> Option<Accuracy> {
        let mut best: Option<Accuracy> = None;
        for spec in self.iter().filter(|s| s.function == function) {
            let a = spec.accuracy;
            let range = a.range.unwrap_or(f64::INFINITY);
            let smaller = best.is_none_or(|b| range < b.range.unwrap_or(f64::INFINITY));
            if a.covers(magnitude) && smaller {
                best = Some(a);
            }
        }
        best
    }

    fn top_of_range(&self, function: Function) -> Option<f64> {
        self.iter()
            .filter(|s| s.function == function)
            .filter_map(|s| s.accuracy.range)
            .fold(None, |top: Option<f64>, range| {
                Some(top.map_or(range, |t| t.max(range)))
            })
    }
}

impl<const N: usize> AccuracyTable for [Spec; N] {
    fn accuracy(&self, function: Function, magnitude: f64) -> Option<Accuracy> {
        self.as_slice().accuracy(function, magnitude)
    }

    fn top_of_range(&self, function: Function) -> Option<f64> {
        self.as_slice().top_of_range(function)
    }
}

/// The table for a meter that nobody stated an accuracy for: worse than most hand-held meters
/// state, and named in every verdict that rests on it ([`CAUTIOUS_DEFAULT`]).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Cautious;

/// Where the numbers of [`Cautious`] come from.
pub const CAUTIOUS_DEFAULT: Source = Source::new(
    "cautious default accuracy, no statement for this meter; insulation: operating uncertainty of 30 % as in IEC 61557-2",
    Status::CommonPractice,
);

impl AccuracyTable for Cautious {
    fn accuracy(&self, function: Function, _magnitude: f64) -> Option<Accuracy> {
        let (percent, counts) = match function {
            Function::VoltsAc => (2.0, 5.0),
            Function::VoltsDc => (1.0, 5.0),
            Function::Ohms => (1.5, 5.0),
            Function::Farads => (5.0, 10.0),
            Function::AmpsAc | Function::AmpsDc => (3.0, 10.0),
            Function::Megohms => (30.0, 0.0),
            Function::Celsius => (1.0, 20.0),
            Function::Pascals => (2.0, 5.0),
            Function::Hertz => (0.5, 5.0),
            Function::Continuity => (5.0, 10.0),
            Function::Diode => (3.0, 5.0),
            Function::Percent => (3.0, 10.0),
        };
        Some(Accuracy::new(percent, counts))
    }

    fn top_of_range(&self, _function: Function) -> Option<f64> {
        None
    }

    fn assumed(&self) -> bool {
        true
    }
}

/// Why a reading proves nothing. Append only.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, Schema)]
#[serde(rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Void {
    /// The meter is set to something else than the check needs.
    WrongFunction {
        /// What the check needs.
        wanted: Function,
        /// What the meter is set to.
        got: Function,
    },
    /// The function drives a current into the circuit, and the circuit was not dead.
    LiveCircuit,
    /// The value lies outside every range that the meter states an accuracy for, or the display
    /// overloaded at a range that does not reach the limit.
    OutOfRange,
    /// The display is frozen or shows a stored extreme.
    Held,
    /// The battery is low: no accuracy is stated then.
    LowBattery,
    /// The display shows nothing readable.
    Blank,
    /// An overload where a number is needed.
    Overload,
    /// The meter's table states nothing for this function.
    NotStated,
    /// A quantity that cannot be negative reads below zero by more than its uncertainty.
    Negative,
    /// The method does not hold here: capacitance from volts and amps on an inverter feed.
    NotSinusoidal,
    /// The value or its uncertainty is not a finite number.
    NotFinite,
}

impl Void {
    /// The reason in words, and what to do about it.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Void::WrongFunction { .. } => "meter on the wrong function: set it and measure again",
            Void::LiveCircuit => "circuit not dead: prove it dead and discharged first",
            Void::OutOfRange => "out of the meter's stated range: choose another range or meter",
            Void::Held => "display held or showing a stored value: release it and measure again",
            Void::LowBattery => "meter battery low: change it and measure again",
            Void::Blank => "nothing readable on the display: measure again",
            Void::Overload => "display over its range: choose a higher range",
            Void::NotStated => "the meter's profile states no accuracy for this function",
            Void::Negative => "below zero by more than the uncertainty: zero the leads again",
            Void::NotSinusoidal => "not a sine wave: measure the capacitor off circuit",
            Void::NotFinite => "not a finite number",
        }
    }
}

/// A value with its standard uncertainty, in the base unit of its function.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Measured {
    /// The value.
    pub value: f64,
    /// Its standard uncertainty.
    pub u: f64,
    /// Whether `u` rests on an assumed accuracy ([`Cautious`]).
    pub assumed: bool,
}

impl Measured {
    /// A value with a known standard uncertainty.
    #[must_use]
    pub const fn new(value: f64, u: f64) -> Self {
        Measured {
            value,
            u,
            assumed: false,
        }
    }

    /// Whether the value is finite and the uncertainty finite and not negative.
    #[must_use]
    pub fn is_sound(&self) -> bool {
        self.value.is_finite() && self.u.is_finite() && self.u >= 0.0
    }

    /// The expanded uncertainty `U = 2u`, a coverage of about 95 %.
    #[must_use]
    pub fn expanded(&self) -> f64 {
        2.0 * self.u
    }
}

/// A unit type of [`crate::units`], as the number in it.
pub trait Unit: Copy {
    /// The functions whose readings are in this unit.
    const FUNCTIONS: &'static [Function];
    /// The bare number.
    fn number(self) -> f64;
    /// The unit on a bare number.
    fn from_number(number: f64) -> Self;
}

macro_rules! units {
    ($($unit:ident: $($function:ident)|*;)*) => {
        $(impl Unit for crate::units::$unit {
            const FUNCTIONS: &'static [Function] = &[$(Function::$function),*];
            fn number(self) -> f64 {
                self.0
            }
            fn from_number(number: f64) -> Self {
                crate::units::$unit(number)
            }
        })*
    };
}

units! {
    Volts: VoltsAc | VoltsDc | Diode;
    Amps: AmpsAc | AmpsDc;
    Ohms: Ohms | Megohms | Continuity;
    Farads: Farads;
    Hertz: Hertz;
    Celsius: Celsius;
    Kelvins: ;
    Pascals: Pascals;
    Ratio: ;
}

/// A measured quantity in its unit: what the rules take, so that a voltage cannot be judged as a
/// resistance.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Quantity<Q> {
    /// The value.
    pub value: Q,
    /// Its standard uncertainty, in the same unit (kelvins for a temperature).
    pub u: f64,
    /// Whether `u` rests on an assumed accuracy.
    pub assumed: bool,
}

impl<Q: Unit> Quantity<Q> {
    /// A value with a known standard uncertainty in the same unit.
    #[must_use]
    pub const fn new(value: Q, u: f64) -> Self {
        Quantity {
            value,
            u,
            assumed: false,
        }
    }

    /// The unit on a bare measured value.
    #[must_use]
    pub fn from_measured(m: Measured) -> Self {
        Quantity {
            value: Q::from_number(m.value),
            u: m.u,
            assumed: m.assumed,
        }
    }

    /// The bare number, its uncertainty, and where that comes from.
    #[must_use]
    pub fn measured(self) -> Measured {
        Measured {
            value: self.value.number(),
            u: self.u,
            assumed: self.assumed,
        }
    }

    /// What a reading says, with [`measure`].
    ///
    /// # Errors
    /// As [`measure`]; also if `wanted` is not a function of this unit.
    pub fn read<T: AccuracyTable + ?Sized>(
        reading: &Reading,
        wanted: Function,
        circuit: Circuit,
        table: &T,
    ) -> Result<Self, Void> {
        if !Q::FUNCTIONS.contains(&wanted) {
            return Err(Void::WrongFunction {
                wanted,
                got: reading.function,
            });
        }
        measure(reading, wanted, circuit, table).map(Self::from_measured)
    }
}

/// Whether the circuit at the probes is under power, as far as the gates know.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum Circuit {
    /// Proved dead (and discharged).
    Dead,
    /// Under power, or not proved dead.
    Live,
}

/// Everything that voids a reading before its number is looked at: wrong function, live circuit
/// under an injecting function, held display, low battery, blank display.
///
/// # Errors
/// The first [`Void`] reason that applies, most dangerous first.
pub fn admit(reading: &Reading, wanted: Function, circuit: Circuit) -> Result<(), Void> {
    if reading.function.injects() && circuit == Circuit::Live {
        return Err(Void::LiveCircuit);
    }
    if reading.function != wanted {
        return Err(Void::WrongFunction {
            wanted,
            got: reading.function,
        });
    }
    if !reading.flags.is_live() {
        return Err(Void::Held);
    }
    if reading.flags.has(Flags::LOW_BATTERY) {
        return Err(Void::LowBattery);
    }
    if reading.shown == Shown::Blank {
        return Err(Void::Blank);
    }
    Ok(())
}

/// The value of a reading and its standard uncertainty.
///
/// # Errors
/// What [`admit`] refuses, an overload, and a value outside the meter's stated ranges.
pub fn measure<T: AccuracyTable + ?Sized>(
    reading: &Reading,
    wanted: Function,
    circuit: Circuit,
    table: &T,
) -> Result<Measured, Void> {
    admit(reading, wanted, circuit)?;
    let shown = match reading.shown {
        Shown::Value(decimal) => decimal,
        Shown::Overload => return Err(Void::Overload),
        Shown::Blank => return Err(Void::Blank),
    };
    let value = shown.value();
    let Some(accuracy) = table.accuracy(reading.function, value) else {
        return Err(match table.accuracy(reading.function, 0.0) {
            Some(_) => Void::OutOfRange,
            None => Void::NotStated,
        });
    };
    let measured = Measured {
        value,
        u: standard_uncertainty(shown, &accuracy),
        assumed: table.assumed(),
    };
    if measured.is_sound() {
        Ok(measured)
    } else {
        Err(Void::NotFinite)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reading::MeterId;
    use crate::units::Micros;

    fn reading(function: Function, shown: Shown, flags: Flags) -> Reading {
        Reading {
            function,
            shown,
            flags,
            meter: MeterId(1),
            at: Micros(0),
        }
    }

    /// Published worked arithmetic (electrical-contractor.net post 31601, at second hand):
    /// ±(0.7 % + 2) with 0.1 V steps at 120 V is 118.96 to 121.04 V.
    #[test]
    fn the_published_half_width_of_120_volts() {
        let a = Accuracy::new(0.7, 2.0).half_width(Decimal::new(1200, -1));
        assert!((120.0 - a - 118.96).abs() < 1e-9 && (120.0 + a - 121.04).abs() < 1e-9);
    }

    /// JCGM 100:2008, 4.3.7 and F.2.2.1 (from memory): 0.58 a, and 0.29 of a display step.
    #[test]
    fn rectangular_and_display_parts_are_those_of_the_guide() {
        let u = standard_uncertainty(Decimal::new(1000, -1), &Accuracy::new(1.0, 0.0));
        assert!((u - root_sum_square([1.0 / 3f64.sqrt(), 0.1 / 12f64.sqrt()])).abs() < 1e-12);
        let step = standard_uncertainty(Decimal::new(0, 0), &Accuracy::new(1.0, 0.0));
        assert!((step - 0.2887).abs() < 5e-5);
    }

    #[test]
    fn the_smallest_covering_range_speaks() {
        let table = [
            Spec {
                function: Function::Ohms,
                accuracy: Accuracy::up_to(1.0, 5.0, 400.0),
            },
            Spec {
                function: Function::Ohms,
                accuracy: Accuracy::up_to(0.8, 3.0, 4000.0),
            },
            Spec {
                function: Function::VoltsAc,
                accuracy: Accuracy::up_to(1.0, 3.0, 600.0),
            },
        ];
        let at = |x| table.accuracy(Function::Ohms, x).map(|a| a.percent);
        assert_eq!(at(400.0), Some(1.0));
        assert_eq!(at(401.0), Some(0.8));
        assert_eq!(at(4001.0), None);
        assert_eq!(table.top_of_range(Function::Ohms), Some(4000.0));
        let over = reading(
            Function::Ohms,
            Shown::Value(Decimal::new(5, 3)),
            Flags::NONE,
        );
        let farads = reading(
            Function::Farads,
            Shown::Value(Decimal::new(5, -6)),
            Flags::NONE,
        );
        let read = |r: &Reading| measure(r, r.function, Circuit::Dead, &table);
        assert_eq!(read(&over), Err(Void::OutOfRange));
        assert_eq!(read(&farads), Err(Void::NotStated));
    }

    #[test]
    fn what_cannot_stand_for_the_value_has_no_uncertainty() {
        let shown = Shown::Value(Decimal::new(22, -1));
        let read = |flags, circuit| {
            let r = reading(Function::Ohms, shown, flags);
            measure(&r, Function::Ohms, circuit, &Cautious)
        };
        assert!(read(Flags::NONE, Circuit::Dead).is_ok_and(|m| m.assumed && m.value == 2.2));
        assert_eq!(read(Flags::NONE, Circuit::Live), Err(Void::LiveCircuit));
        assert_eq!(
            read(Flags::LOW_BATTERY, Circuit::Dead),
            Err(Void::LowBattery)
        );
        for held in [Flags::HOLD, Flags::MINIMUM, Flags::MAXIMUM, Flags::PEAK] {
            assert_eq!(read(held, Circuit::Dead), Err(Void::Held));
        }
        let volts = reading(Function::VoltsAc, shown, Flags::NONE);
        assert_eq!(
            measure(&volts, Function::Ohms, Circuit::Dead, &Cautious),
            Err(Void::WrongFunction {
                wanted: Function::Ohms,
                got: Function::VoltsAc
            })
        );
        for (shown, why) in [
            (Shown::Overload, Void::Overload),
            (Shown::Blank, Void::Blank),
        ] {
            let r = reading(Function::Ohms, shown, Flags::NONE);
            assert_eq!(
                measure(&r, Function::Ohms, Circuit::Dead, &Cautious),
                Err(why)
            );
        }
    }
}
