//! How the values of a series are written: with a prefix that suits them, and two digits of their
//! uncertainty (JCGM 100:2008, 7.2.6: at most two).

use super::series::Series;

/// A prefix that suits a series, and its unit.
#[derive(Debug, Clone, PartialEq)]
pub struct Scale {
    factor: f64,
    unit: String,
}

impl Scale {
    /// That of a series: by its largest value, or its uncertainty where that is larger.
    #[must_use]
    pub fn of(series: &Series) -> Scale {
        let sizes = series.values.iter().map(|v| v.value.abs().max(v.u));
        let size = sizes.reduce(f64::max).unwrap_or(1.0);
        let prefixes = [
            (1e9, "G"),
            (1e6, "M"),
            (1e3, "k"),
            (1.0, ""),
            (1e-3, "m"),
            (1e-6, "u"),
        ];
        let prefix = prefixes.iter().find(|(factor, _)| size >= *factor);
        let (factor, prefix) = prefix.unwrap_or(&(1e-9, "n"));
        Scale {
            factor: *factor,
            unit: format!("{prefix}{}", series.quantity.function().ucum()),
        }
    }

    /// A value in base units, with two digits of its uncertainty `u`.
    #[must_use]
    pub fn number(&self, value: f64, u: f64) -> String {
        let step = (u / self.factor).abs().log10().floor();
        let decimals = (1.0 - step).clamp(0.0, 9.0) as usize;
        format!("{:.decimals$}", value / self.factor)
    }

    /// The same with its unit, a UCUM code.
    #[must_use]
    pub fn with_unit(&self, value: f64, u: f64) -> String {
        format!("{} {}", self.number(value, u), self.unit)
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use super::*;
    use crate::trend::series::{Limits, Point, Quantity};

    #[test]
    fn amperes_of_nothing_are_no_nanoamperes() {
        let of = |values: &[(f64, f64)]| Series {
            part: "an invented motor".to_owned(),
            kind: String::new(),
            quantity: Quantity::Current,
            between: [String::new(), String::new()],
            values: values
                .iter()
                .map(|&(value, u)| Point {
                    visit: 1,
                    at_us: 1,
                    value,
                    u,
                })
                .collect(),
            limits: Limits::default(),
            left_out: BTreeMap::new(),
            since_us: None,
            other_sheet: 0,
            of_former: false,
        };
        let nothing = Scale::of(&of(&[(0.0, 0.058)]));
        assert_eq!(nothing.with_unit(0.0, 0.058), "0 mA");
        let fallen = Scale::of(&of(&[(4.9, 0.1), (0.0, 0.058)]));
        assert_eq!(fallen.with_unit(4.9, 0.1), "4.90 A");
        assert_eq!(fallen.with_unit(0.0, 0.058), "0.000 A");
        assert_eq!(Scale::of(&of(&[])).with_unit(1.0, 0.1), "1.00 A");
    }
}
