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
    /// That of a series: by its latest value.
    #[must_use]
    pub fn of(series: &Series) -> Scale {
        let size = series.values.last().map_or(1.0, |v| v.value.abs());
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
