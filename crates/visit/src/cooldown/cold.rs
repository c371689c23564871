//! A cold reference as it is written: `2.90Ohm@25Cel+-0.05`.

use ohmtrail_circuit::known::digits_u;
use ohmtrail_core::accuracy::Quantity;
use ohmtrail_core::cooldown::{COLD_AT, Reference};
use ohmtrail_core::rules::temperature::Metal;
use ohmtrail_core::units::{Celsius, Ohms};

/// The key of a plate entry that is a cold reference of a motor's start to run.
pub const COLD_KEY: &str = "cold-S-R";

/// What a winding had when it was cold, and where that comes from.
#[derive(Debug, Clone, PartialEq)]
pub struct Cold {
    /// The reference.
    pub reference: Reference,
    /// As it was written.
    pub text: String,
    /// Where it comes from; empty if not said.
    pub from: String,
}

impl Cold {
    /// Reads `OHMS@TEMPERATURE[+-OHMS][+-KELVINS K][,METAL] [where it comes from]`, such as
    /// `2.90Ohm@25Cel+-0.05` or `2.90Ohm@25Cel+-0.05Ohm+-1K,copper last year's visit`.
    ///
    /// Uncertainties are expanded ones (U = 2u). Without the one of the ohms, the cautious default
    /// accuracy is taken for the digits; without the one of the temperature, [`COLD_AT`]; without
    /// the metal, copper.
    ///
    /// # Errors
    /// What is wrong with the text, in words.
    pub fn read(text: &str) -> Result<Cold, String> {
        let text = text.trim();
        let (value, from) = text.split_once(char::is_whitespace).unwrap_or((text, ""));
        let wrong = || {
            format!(
                "\"{value}\": write a cold reference as 2.90Ohm@25Cel+-0.05, U of the ohms last"
            )
        };
        let (value_, metal) = match value.split_once(',') {
            None => (value, Metal::Copper),
            Some((value, "copper")) => (value, Metal::Copper),
            Some((value, "aluminium")) => (value, Metal::Aluminium),
            Some((_, other)) => {
                return Err(format!("\"{other}\" is neither copper nor aluminium"));
            }
        };
        let plain = value_.replace('\u{b1}', "+-").replace('\u{2212}', "-");
        let (ohms, rest) = plain.split_once('@').ok_or_else(wrong)?;
        let mut rest = rest.split("+-");
        let (r1, unit) = number(ohms).ok_or_else(wrong)?;
        let factor = ohms_factor(unit).ok_or_else(|| format!("\"{unit}\" is no unit of ohms"))?;
        let (t1, unit) = rest.next().and_then(number).ok_or_else(wrong)?;
        if !matches!(unit, "Cel" | "\u{b0}C" | "C") {
            return Err(format!("\"{unit}\": the temperature is wanted in Cel"));
        }
        let assumed = Quantity {
            assumed: true,
            ..Quantity::new(Ohms(r1 * factor), digits_u(ohms, r1 * factor))
        };
        let mut reference = Reference {
            ohms: assumed,
            at: Quantity::new(Celsius(t1), COLD_AT.upper.unwrap_or(0.0) / 2.0),
            metal,
        };
        for part in rest {
            let (expanded, unit) = number(part).ok_or_else(wrong)?;
            if expanded < 0.0 {
                return Err(wrong());
            }
            match (unit, ohms_factor(unit)) {
                ("", _) => reference.ohms = Quantity::new(assumed.value, expanded * factor / 2.0),
                (_, Some(own)) => {
                    reference.ohms = Quantity::new(assumed.value, expanded * own / 2.0);
                }
                ("K" | "Cel" | "\u{b0}C", _) => {
                    reference.at = Quantity::new(Celsius(t1), expanded / 2.0);
                }
                (other, _) => return Err(format!("\"{other}\" is neither ohms nor kelvins")),
            }
        }
        reference
            .kelvins_per_ohm()
            .map_err(|e| format!("\"{value}\": {}", e.words()))?;
        Ok(Cold {
            reference,
            text: value.to_owned(),
            from: from.trim().to_owned(),
        })
    }
}

/// A number, and the unit behind it.
fn number(text: &str) -> Option<(f64, &str)> {
    let text = text.trim();
    let end = text
        .find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | '-')))
        .unwrap_or(text.len());
    let (digits, unit) = text.split_at_checked(end)?;
    let value: f64 = digits.parse().ok()?;
    value.is_finite().then_some((value, unit))
}

fn ohms_factor(unit: &str) -> Option<f64> {
    match unit {
        "mOhm" => Some(1e-3),
        "Ohm" | "ohm" => Some(1.0),
        "kOhm" => Some(1e3),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cold_reference_is_read_with_its_uncertainties() {
        let cold = Cold::read("2.90Ohm@25Cel+-0.05 the visit of May").expect("well written");
        let r = cold.reference;
        assert_eq!((r.ohms.value, r.at.value), (Ohms(2.9), Celsius(25.0)));
        assert!((r.ohms.u - 0.025).abs() < 1e-12 && !r.ohms.assumed);
        assert_eq!(r.at.u, 1.0);
        assert_eq!(
            (cold.from.as_str(), r.metal),
            ("the visit of May", Metal::Copper)
        );
        let full = Cold::read("2900mOhm@-5.5Cel+-0.05Ohm+-3K,aluminium").expect("well written");
        let r = full.reference;
        assert!((r.ohms.value.get() - 2.9).abs() < 1e-12);
        assert!((r.ohms.u - 0.025).abs() < 1e-12 && r.at.u == 1.5);
        assert_eq!((r.at.value, r.metal), (Celsius(-5.5), Metal::Aluminium));
    }

    /// 1.5 % of 2.9 and 5 counts of 0.1 (the cautious default), against 0.01: digits are evidence.
    #[test]
    fn without_an_uncertainty_the_digits_speak() {
        let u =
            |text: &str| Cold::read(text).map(|c| (c.reference.ohms.u, c.reference.ohms.assumed));
        let by_hand = |step: f64| ((0.0435 + 5.0 * step) / 3f64.sqrt()).hypot(step / 12f64.sqrt());
        for (text, step) in [("2.9Ohm@25Cel", 0.1), ("2.90Ohm@25Cel", 0.01)] {
            let (u, assumed) = u(text).expect("well written");
            assert!(assumed && (u - by_hand(step)).abs() < 1e-12, "{text}: {u}");
        }
    }

    #[test]
    fn what_is_no_reference_is_refused() {
        for bad in [
            "",
            "2.9",
            "2.9Ohm",
            "2.9Ohm@",
            "@25Cel",
            "2.9V@25Cel",
            "2.9Ohm@25",
            "0Ohm@25Cel",
            "2.9Ohm@-240Cel",
            "2.9Ohm@25Cel+-x",
            "2.9Ohm@25Cel+--1",
            "2.9Ohm@25Cel+-1V",
            "2.9Ohm@25Cel,gold",
        ] {
            assert!(Cold::read(bad).is_err(), "{bad}");
        }
    }
}
