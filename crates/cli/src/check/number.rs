//! Numbers for people: a value in the unit that the trade uses, four digits of it.

/// A value of a UCUM base unit with the usual prefix; `1` is shown in percent.
pub fn show(value: f64, unit: &str) -> String {
    let size = value.abs();
    let (scale, unit) = match unit {
        "F" if size > 0.0 && size < 1e-7 => (1e9, "nF"),
        "F" => (1e6, "uF"),
        "Ohm" if size >= 1e9 => (1e-9, "GOhm"),
        "Ohm" if size >= 1e6 => (1e-6, "MOhm"),
        "Ohm" if size >= 1e3 => (1e-3, "kOhm"),
        "V" if size > 0.0 && size < 0.1 => (1e3, "mV"),
        "1" => (100.0, "%"),
        "{ratio}" => (1.0, "to 1"),
        unit => (1.0, unit),
    };
    format!("{} {unit}", digits(value * scale))
}

/// Four significant digits, no zeros at the end of a fraction.
pub fn digits(x: f64) -> String {
    if !x.is_finite() {
        return "none".to_owned();
    }
    if x == 0.0 {
        return "0".to_owned();
    }
    let decimals = (3 - x.abs().log10().floor() as i32).clamp(0, 12) as usize;
    let text = format!("{x:.decimals$}");
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

/// Both sides of a limit.
pub fn limits(lower: Option<f64>, upper: Option<f64>, unit: &str) -> String {
    match (lower, upper) {
        (Some(low), Some(high)) => format!("{} to {}", show(low, unit), show(high, unit)),
        (Some(low), None) => format!("at least {}", show(low, unit)),
        (None, Some(high)) => format!("at most {}", show(high, unit)),
        (None, None) => "none".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_shown_in_the_units_of_the_trade() {
        for (value, unit, text) in [
            (49.5e-6, "F", "49.5 uF"),
            (31e-8, "F", "0.31 uF"),
            (47e-9, "F", "47 nF"),
            (0.0, "F", "0 uF"),
            (2.2e6, "Ohm", "2.2 MOhm"),
            (0.7, "Ohm", "0.7 Ohm"),
            (238.4, "V", "238.4 V"),
            (0.012, "V", "12 mV"),
            (0.0215, "1", "2.15 %"),
            (2.9, "{ratio}", "2.9 to 1"),
            (-40.0, "Cel", "-40 Cel"),
            (12_345.0, "Hz", "12345 Hz"),
        ] {
            assert_eq!(show(value, unit), text);
        }
        assert_eq!(digits(f64::NAN), "none");
        assert_eq!(limits(None, Some(34.0), "V"), "at most 34 V");
    }
}
