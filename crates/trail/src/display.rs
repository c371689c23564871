//! A decimal as a display shows it: digits and a UCUM unit with its prefix.

use ohmtrail_core::reading::{Decimal, Function, Shown};

/// What a display showed, as text: exactly the digits that carried information, so that `0.7` and
/// `0.70` stay apart.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Displayed {
    /// The digits, `OL` for an overload, empty for a blank display.
    pub digits: String,
    /// The UCUM code of the unit, prefix included, such as `uF` or `kOhm`.
    pub unit: String,
}

impl Displayed {
    /// The text for what was shown under this function.
    ///
    /// A reading keeps its digits and the weight of the last one, not the prefix of the unit that
    /// stood beside them: of the prefixes in use for the function, this takes the largest that
    /// leaves a digit other than zero before the point.
    #[must_use]
    pub fn of(function: Function, shown: Shown) -> Self {
        let base = function.ucum();
        let bare = |digits: &str| Displayed {
            digits: digits.to_owned(),
            unit: base.to_owned(),
        };
        match shown {
            Shown::Overload => bare("OL"),
            Shown::Blank => bare(""),
            Shown::Value(decimal) => match prefix(function, decimal) {
                Some((power, prefix)) => Displayed {
                    digits: digits(decimal, power),
                    unit: format!("{prefix}{base}"),
                },
                None => bare(&format!("{}e{}", decimal.mantissa, decimal.exponent)),
            },
        }
    }
}

/// Powers of ten and UCUM prefixes that displays of this function use, smallest first.
fn prefixes(function: Function) -> &'static [(i8, &'static str)] {
    match function {
        Function::VoltsAc | Function::VoltsDc | Function::Diode => &[(-3, "m"), (0, "")],
        Function::AmpsAc | Function::AmpsDc => &[(-6, "u"), (-3, "m"), (0, "")],
        Function::Ohms | Function::Continuity | Function::Megohms => {
            &[(0, ""), (3, "k"), (6, "M"), (9, "G")]
        }
        Function::Farads => &[(-9, "n"), (-6, "u"), (-3, "m")],
        Function::Hertz => &[(0, ""), (3, "k"), (6, "M")],
        Function::Pascals => &[(0, ""), (3, "k"), (6, "M")],
        _ => &[(0, "")],
    }
}

/// The prefix to show a decimal with; none if each would add digits that were not there.
fn prefix(function: Function, decimal: Decimal) -> Option<(i8, &'static str)> {
    let fits = |p: &&(i8, &str)| p.0 >= decimal.exponent;
    let places = digit_count(decimal);
    let whole = |p: &&(i8, &str)| i32::from(decimal.exponent) + places > i32::from(p.0);
    let all = prefixes(function);
    all.iter()
        .filter(fits)
        .rfind(whole)
        .or_else(|| all.iter().find(fits))
        .copied()
}

/// Digits of the mantissa without leading zeros; none for zero.
fn digit_count(decimal: Decimal) -> i32 {
    decimal
        .mantissa
        .unsigned_abs()
        .checked_ilog10()
        .map_or(0, |log| log as i32 + 1)
}

/// The digits of a decimal in units of `10^power`, which is at least that of its last digit.
fn digits(decimal: Decimal, power: i8) -> String {
    let decimals = usize::from((i16::from(power) - i16::from(decimal.exponent)).unsigned_abs());
    let sign = if decimal.mantissa < 0 { "-" } else { "" };
    let all = format!(
        "{:0width$}",
        decimal.mantissa.unsigned_abs(),
        width = decimals + 1
    );
    let (whole, fraction) = all.split_at(all.len() - decimals);
    if fraction.is_empty() {
        format!("{sign}{whole}")
    } else {
        format!("{sign}{whole}.{fraction}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(function: Function, mantissa: i32, exponent: i8) -> String {
        let displayed = Displayed::of(function, Shown::Value(Decimal::new(mantissa, exponent)));
        format!("{} {}", displayed.digits, displayed.unit)
    }

    #[test]
    fn digits_are_those_that_were_shown() {
        use Function as F;
        for (function, mantissa, exponent, text) in [
            (F::VoltsAc, 2384, -1, "238.4 V"),
            (F::VoltsAc, -2384, -1, "-238.4 V"),
            (F::VoltsAc, 2384, -4, "238.4 mV"),
            (F::Ohms, 7, -1, "0.7 Ohm"),
            (F::Ohms, 70, -2, "0.70 Ohm"),
            (F::Ohms, 0, -1, "0.0 Ohm"),
            (F::Ohms, 1234, 1, "12.34 kOhm"),
            (F::Megohms, 550, 6, "550 MOhm"),
            (F::Farads, 551, -7, "55.1 uF"),
            (F::Farads, 31, -8, "0.31 uF"),
            (F::Farads, 3100, -10, "310.0 nF"),
            (F::Celsius, -5, -1, "-0.5 Cel"),
            (F::Percent, 5, 1, "5e1 %"),
            (F::Hertz, 600, -1, "60.0 Hz"),
            (F::VoltsAc, i32::MIN, i8::MIN, ""),
        ] {
            if text.is_empty() {
                shown(function, mantissa, exponent);
            } else {
                assert_eq!(shown(function, mantissa, exponent), text);
            }
        }
    }
}
