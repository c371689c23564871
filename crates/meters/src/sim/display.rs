//! What a meter's display shows of a true value: its ranges and last digits, an error drawn once
//! per function within the stated accuracy, a flicker of the last digit, overload.

use ohmtrail_core::reading::{Decimal, Function, Shown};

use super::noise::Noise;
use crate::profile::Profile;

/// One range as this meter has it.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Range {
    function: Function,
    full_scale: f64,
    last_digit: i8,
    /// This meter's own error: part of the value.
    gain: f64,
    /// This meter's own error: counts.
    offset: f64,
}

/// A display with its own, lasting error.
#[derive(Debug, Clone, PartialEq)]
pub struct DisplayModel {
    ranges: Vec<Range>,
}

/// How much of the stated percentage a meter's own error uses at most. The rest, and one count,
/// are left for flicker and rounding, so that what is shown always keeps the statement.
const SHARE: f64 = 0.8;

impl DisplayModel {
    /// The display of a meter with this profile. Its error is drawn from the seed once for each
    /// function. Ranges without full scale or resolution cannot be shown and are left out.
    #[must_use]
    pub fn new(profile: &Profile, seed: u64) -> Self {
        let ranges = profile
            .ranges
            .iter()
            .filter_map(|row| {
                let mut noise = Noise::of(seed, 1 + row.function as u64);
                Some(Range {
                    function: row.function,
                    full_scale: row.full_scale?,
                    last_digit: row.last_digit?,
                    gain: SHARE * noise.signed() * row.accuracy.percent / 100.0,
                    offset: noise.signed() * (row.accuracy.counts - 1.0).max(0.0),
                })
            })
            .collect();
        DisplayModel { ranges }
    }

    /// Whether the meter has this function.
    #[must_use]
    pub fn has(&self, function: Function) -> bool {
        self.ranges.iter().any(|r| r.function == function)
    }

    /// What is shown of a true value in the function's base unit. Infinity (an open circuit on
    /// ohms) and values over every range are overload; what is no number, or a function that the
    /// meter has not, is blank. The smallest range that holds the value is used.
    pub fn show(&self, function: Function, true_value: f64, noise: &mut Noise) -> Shown {
        let flicker = 0.5 * noise.signed();
        if true_value.is_nan() || !self.has(function) {
            return Shown::Blank;
        }
        self.ranges
            .iter()
            .filter(|r| r.function == function)
            .find_map(|range| range.counts(true_value, flicker))
            .map_or(Shown::Overload, Shown::Value)
    }

    /// The place of the range that holds the value among the function's ranges; none if it is over
    /// them all. A change of it is a change of range that a display takes a moment for.
    #[must_use]
    pub fn range(&self, function: Function, true_value: f64) -> Option<usize> {
        self.ranges
            .iter()
            .filter(|r| r.function == function)
            .position(|range| range.counts(true_value, 0.0).is_some())
    }
}

impl Range {
    /// The counts shown; none if they are over this range.
    fn counts(&self, value: f64, flicker: f64) -> Option<Decimal> {
        let one = Decimal::new(1, self.last_digit).value();
        let counts = (value * (1.0 + self.gain) / one + self.offset + flicker).round();
        let top = (self.full_scale / one).round();
        let floor = if signed(self.function) { -top } else { 0.0 };
        // Also false for infinity.
        if counts.abs() > top || !counts.is_finite() {
            return None;
        }
        #[expect(
            clippy::cast_possible_truncation,
            reason = "bounded by the display's counts"
        )]
        Some(Decimal::new(counts.max(floor) as i32, self.last_digit))
    }
}

/// Whether the function shows values below zero.
fn signed(function: Function) -> bool {
    matches!(
        function,
        Function::VoltsDc | Function::AmpsDc | Function::Celsius | Function::Diode
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use ohmtrail_core::accuracy::AccuracyTable;

    /// The statement that the meter's profile makes is kept for every value, seed and function.
    #[test]
    fn what_is_shown_keeps_the_stated_accuracy() {
        for frame in ["lcd14", "count14"] {
            let profile = Profile::simulated(frame).unwrap();
            let mut shown_values = 0;
            for seed in 0..200 {
                let display = DisplayModel::new(&profile, seed);
                let mut noise = Noise::new(seed);
                for function in Function::ALL {
                    let Some(top) = profile.top_of_range(function) else {
                        continue;
                    };
                    for _ in 0..20 {
                        let value = top * 10_f64.powf(-5.0 * noise.unit());
                        let Shown::Value(shown) = display.show(function, value, &mut noise) else {
                            continue;
                        };
                        shown_values += 1;
                        let accuracy = profile.accuracy_shown(function, shown).unwrap();
                        let error = (shown.value() - value).abs();
                        assert!(
                            error <= accuracy.half_width(shown) * (1.0 + 1e-9),
                            "{frame} {function:?} {value} shown {shown:?}: off by {error}"
                        );
                    }
                }
            }
            assert!(shown_values > 20_000, "{shown_values}");
        }
    }

    #[test]
    fn the_error_lasts_and_the_seed_chooses_it() {
        let profile = Profile::simulated("count14").unwrap();
        let mean = |seed: u64| {
            let display = DisplayModel::new(&profile, seed);
            let mut noise = Noise::new(99);
            let sum: f64 = (0..400)
                .map(
                    |_| match display.show(Function::VoltsAc, 120.0, &mut noise) {
                        Shown::Value(d) => d.value(),
                        other => panic!("{other:?}"),
                    },
                )
                .sum();
            sum / 400.0
        };
        assert_eq!(mean(1), mean(1));
        let means: Vec<f64> = (0..20).map(mean).collect();
        let spread = means.iter().copied().fold(f64::MIN, f64::max)
            - means.iter().copied().fold(f64::MAX, f64::min);
        // 0.5 % of 120 V is 0.6 V either way.
        assert!(spread > 0.2 && spread < 1.6, "{spread}");
    }

    #[test]
    fn ranges_step_up_and_the_last_one_overloads() {
        let profile = Profile::simulated("lcd14").unwrap();
        let display = DisplayModel::new(&profile, 7);
        let mut noise = Noise::new(7);
        let mut exponent = |ohms: f64| match display.show(Function::Ohms, ohms, &mut noise) {
            Shown::Value(d) => Some(d.exponent),
            _ => None,
        };
        assert_eq!(exponent(2.2), Some(-1));
        assert_eq!(exponent(2200.0), Some(0));
        assert_eq!(exponent(22e3), Some(1));
        assert_eq!(exponent(61e6), None);
        assert_eq!(exponent(f64::INFINITY), None);
        let mut noise = Noise::new(7);
        assert_eq!(
            display.show(Function::Ohms, f64::INFINITY, &mut noise),
            Shown::Overload
        );
        assert_eq!(
            display.show(Function::Ohms, f64::NAN, &mut noise),
            Shown::Blank
        );
        assert_eq!(
            display.show(Function::Megohms, 1e6, &mut noise),
            Shown::Blank
        );
        // A resistance is never shown below zero.
        for seed in 0..50 {
            let display = DisplayModel::new(&profile, seed);
            let Shown::Value(d) = display.show(Function::Ohms, 0.0, &mut noise) else {
                panic!("no value")
            };
            assert!(d.mantissa >= 0);
        }
    }
}
