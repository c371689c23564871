//! A value with its unit, as a sheet writes it: `"45 uF"`, `"0.87 Ohm"`, `"6 %"`.

use crate::parts::Unit;

/// Reads a quantity in the unit that is wanted, into the base unit.
///
/// # Errors
/// What is wrong with the text, in words.
pub fn read(text: &str, want: Unit) -> Result<f64, String> {
    let text = text.trim();
    let split = text
        .find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | '-' | '+')))
        .unwrap_or(text.len());
    let (number, unit) = text.split_at(split);
    let value: f64 = number
        .parse()
        .map_err(|_| format!("\"{text}\" does not begin with a number"))?;
    let unit = unit.trim();
    let factor = factor(unit, want).ok_or_else(|| {
        if unit.is_empty() {
            format!("\"{text}\" has no unit; it is wanted in {}", words(want))
        } else {
            format!(
                "\"{unit}\" is not a unit of this value; it is wanted in {}",
                words(want)
            )
        }
    })?;
    if !value.is_finite() {
        return Err(format!("\"{text}\" is not a finite number"));
    }
    let zero = if unit == "Cel" { 273.15 } else { 0.0 };
    Ok(value * factor + zero)
}

/// How values of a unit are written, in words.
#[must_use]
pub fn words(unit: Unit) -> &'static str {
    match unit {
        Unit::Ohm => "Ohm (mOhm, kOhm, MOhm)",
        Unit::Farad => "F (uF, nF)",
        Unit::Volt => "V (mV)",
        Unit::Ampere => "A (mA)",
        Unit::Henry => "H (mH)",
        Unit::Watt => "W",
        Unit::Pascal => "Pa (kPa)",
        Unit::Kelvin => "K or Cel",
        Unit::Metre => "m",
        Unit::Ratio => "a bare number or %",
    }
}

fn factor(unit: &str, want: Unit) -> Option<f64> {
    Some(match (want, unit) {
        (Unit::Ohm, "Ohm")
        | (Unit::Farad, "F")
        | (Unit::Volt, "V")
        | (Unit::Ampere, "A")
        | (Unit::Henry, "H")
        | (Unit::Watt, "W")
        | (Unit::Pascal, "Pa")
        | (Unit::Kelvin, "K" | "Cel")
        | (Unit::Metre, "m")
        | (Unit::Ratio, "" | "1") => 1.0,
        (Unit::Ohm, "mOhm") | (Unit::Volt, "mV") | (Unit::Ampere, "mA") | (Unit::Henry, "mH") => {
            1e-3
        }
        (Unit::Ohm, "kOhm") | (Unit::Pascal, "kPa") => 1e3,
        (Unit::Ohm, "MOhm") => 1e6,
        (Unit::Farad, "uF") => 1e-6,
        (Unit::Farad, "nF") => 1e-9,
        (Unit::Ratio, "%") => 1e-2,
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_the_units_of_a_sheet_and_refuses_others() {
        assert!((read("45 uF", Unit::Farad).unwrap() - 45e-6).abs() < 1e-18);
        assert_eq!(read("6 %", Unit::Ratio), Ok(0.06));
        assert_eq!(read("0.87 Ohm", Unit::Ohm), Ok(0.87));
        assert_eq!(read("3950 K", Unit::Kelvin), Ok(3950.0));
        assert!((read("-10 Cel", Unit::Kelvin).unwrap() - 263.15).abs() < 1e-9);
        let wrong = read("45 V", Unit::Farad).unwrap_err();
        assert!(wrong.contains("\"V\"") && wrong.contains("uF"), "{wrong}");
        assert_eq!(read("140 kPa", Unit::Pascal), Ok(140e3));
        assert!(read("45", Unit::Farad).unwrap_err().contains("no unit"));
        assert!(read("much", Unit::Volt).unwrap_err().contains("number"));
    }
}
