//! What is known of the very unit: values of its windings, and the air around it.

use std::path::PathBuf;

use ohmtrail_circuit::sheet::Sheet;
use ohmtrail_core::accuracy::{AccuracyTable, Cautious, Quantity, standard_uncertainty};
use ohmtrail_core::reading::{Decimal, Function};
use ohmtrail_core::units::Celsius;

use crate::fail::Fail;

/// What is known of the unit itself.
#[derive(Debug, clap::Args)]
pub struct KnownArgs {
    /// What is known of the unit's own windings (docs/known.md)
    #[arg(long, value_name = "FILE")]
    known: Option<PathBuf>,
    /// The temperature of the air around the unit, measured, such as 31.5Cel or 31.5Cel+-1 (U = 2u)
    #[arg(long, value_name = "CELSIUS", value_parser = air)]
    ambient: Option<Air>,
}

/// A measured temperature of the air, as it was written.
#[derive(Debug, Clone)]
struct Air {
    text: String,
    air: Quantity<Celsius>,
}

/// `31.5Cel+-1`: without an uncertainty the cautious default accuracy for the digits.
fn air(text: &str) -> Result<Air, String> {
    let plain = text.replace('\u{b1}', "+-").replace('\u{2212}', "-");
    let wrong = || format!("\"{text}\": write it as 31.5Cel, or 31.5Cel+-1");
    let (value, u) = plain
        .split_once("+-")
        .map_or((plain.as_str(), None), |(v, u)| (v, Some(u)));
    let digits = value.trim().strip_suffix("Cel").ok_or_else(wrong)?.trim();
    let celsius: f64 = digits.parse().map_err(|_| wrong())?;
    let u = match u {
        Some(u) => {
            let u: f64 = u
                .trim()
                .trim_end_matches('K')
                .trim()
                .parse()
                .map_err(|_| wrong())?;
            u / 2.0
        }
        None => {
            let decimals = digits.split_once('.').map_or(0, |(_, d)| d.len());
            let scale = 10f64.powi(i32::try_from(decimals).unwrap_or(0));
            let exponent = i8::try_from(decimals).map_or(0, i8::saturating_neg);
            let shown = Decimal::new((celsius * scale).round() as i32, exponent);
            let stated = Cautious.accuracy(Function::Celsius, celsius);
            standard_uncertainty(shown, &stated.ok_or_else(wrong)?)
        }
    };
    if u < 0.0 || !(-60.0..=70.0).contains(&celsius) {
        return Err(wrong());
    }
    Ok(Air {
        text: text.to_owned(),
        air: Quantity::new(Celsius(celsius), u),
    })
}

impl KnownArgs {
    /// Tells a sheet.
    ///
    /// # Errors
    /// Everything that is wrong with the file.
    pub fn tell(&self, sheet: &mut Sheet) -> Result<(), Fail> {
        if let Some(path) = &self.known {
            sheet.learn_file(path).map_err(Fail::input)?;
        }
        if let Some(measured) = &self.ambient {
            sheet.measured_air = Some(measured.air);
        }
        Ok(())
    }

    /// What a trail should say of it; none if nothing was told.
    pub fn note(&self) -> Option<String> {
        let known = self.known.iter().map(|p| format!("known: {}", p.display()));
        let air = self.ambient.iter().map(|a| format!("ambient: {}", a.text));
        let notes: Vec<String> = known.chain(air).collect();
        (!notes.is_empty()).then(|| notes.join("; "))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_air_is_read_with_its_uncertainty() {
        let read = |text| air(text).map(|a| (a.air.value.get(), a.air.u));
        assert_eq!(read("31.5Cel+-1"), Ok((31.5, 0.5)));
        assert_eq!(read("-4 Cel+-2K"), Ok((-4.0, 1.0)));
        assert!(read("31.5Cel").is_ok_and(|(_, u)| u > 0.3 && u < 3.0));
        for bad in ["31.5", "Cel", "200Cel", "31.5Cel+-x", "31.5Cel+--1"] {
            assert!(air(bad).is_err(), "{bad}");
        }
    }
}
