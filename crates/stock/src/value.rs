//! What is stamped on parts, as text: quantities with their units, ranges, tolerances, fractions
//! of a horsepower.

use ohmtrail_circuit::parts::Unit;
use ohmtrail_circuit::sheet::read_quantity;
use ohmtrail_core::fit::{Mains, Span};
use ohmtrail_core::rules::capacitor::Tolerance;
use ohmtrail_core::units::{Celsius, Farads, Metres, PerMinute, Ratio, VoltAmps, Volts, Watts};

/// Mechanical horsepower, 550 foot-pounds a second, in watts (NIST SP 811, appendix B.8).
const HORSEPOWER: f64 = 745.699_87;
/// An inch, in metres, exactly (NIST SP 811, appendix B.8).
const INCH: f64 = 0.0254;

/// A quantity over zero, in the base unit.
pub fn quantity(text: &str, unit: Unit) -> Result<f64, String> {
    // Microfarads as cans are marked.
    let text = match unit {
        Unit::Farad => ["MFD", "mfd", "\u{b5}F", "\u{3bc}F"]
            .into_iter()
            .fold(text.to_owned(), |text, mark| text.replace(mark, "uF")),
        _ => text.to_owned(),
    };
    over_zero(&text, read_quantity(&text, unit)?)
}

fn over_zero(text: &str, value: f64) -> Result<f64, String> {
    if value.is_finite() && value > 0.0 {
        Ok(value)
    } else {
        Err(format!("\"{text}\" is not over zero"))
    }
}

/// Text as it stands.
pub fn text(text: &str) -> Result<String, String> {
    Ok(text.to_owned())
}

/// Capacitance, and the tolerance that a range stands for: a start capacitor marked `88-108 uF` is
/// one of 88 uF, -0/+22.7 %.
pub fn farads(text: &str) -> Result<(Farads, Option<Tolerance>), String> {
    let Some((low, high)) = range(text, '-') else {
        return Ok((Farads(quantity(text, Unit::Farad)?), None));
    };
    let (low, high) = (quantity(&low, Unit::Farad)?, quantity(&high, Unit::Farad)?);
    if high <= low {
        return Err(format!("\"{text}\": the range ends before it begins"));
    }
    let tolerance = Tolerance {
        minus: Ratio(0.0),
        plus: Ratio(high / low - 1.0),
    };
    Ok((Farads(low), Some(tolerance)))
}

/// The two ends of `A-B UNIT`, each with the unit.
fn range(text: &str, between: char) -> Option<(String, String)> {
    let (low, rest) = text.trim().split_once(between)?;
    let low = low.trim();
    let unit = rest.trim_start_matches(|c: char| c.is_ascii_digit() || matches!(c, '.' | ' '));
    let plain = !low.is_empty() && low.chars().all(|c| c.is_ascii_digit() || c == '.');
    plain.then(|| (format!("{low} {unit}"), rest.trim().to_owned()))
}

/// `24 V`, `208-230 V` or `208/240 V`.
pub fn span(text: &str) -> Result<Span, String> {
    let ends = range(text, '-').or_else(|| range(text, '/'));
    let Some((low, high)) = ends else {
        return Ok(Span::at(Volts(quantity(text, Unit::Volt)?)));
    };
    let (low, high) = (quantity(&low, Unit::Volt)?, quantity(&high, Unit::Volt)?);
    if high < low {
        return Err(format!("\"{text}\": the range ends before it begins"));
    }
    Ok(Span {
        low: Volts(low),
        high: Volts(high),
    })
}

/// The taps of a primary: `120/208/240 V`.
pub fn taps<const N: usize>(text: &str) -> Result<heapless::Vec<Volts, N>, String> {
    let (numbers, unit) = text.trim().split_at(
        text.trim()
            .find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | '/' | ' ')))
            .unwrap_or(text.trim().len()),
    );
    let mut taps = heapless::Vec::new();
    for number in numbers.split('/') {
        let volts = quantity(&format!("{} {unit}", number.trim()), Unit::Volt)?;
        taps.push(Volts(volts))
            .map_err(|_| format!("\"{text}\" has more than {N} taps"))?;
    }
    Ok(taps)
}

/// `50 Hz`, `60 Hz` or `50/60 Hz`.
pub fn mains(text: &str) -> Result<Mains, String> {
    match text.replace(' ', "").as_str() {
        "50Hz" => Ok(Mains::FIFTY),
        "60Hz" => Ok(Mains::SIXTY),
        "50/60Hz" | "60/50Hz" => Ok(Mains::BOTH),
        _ => Err(format!("\"{text}\" is none of 50 Hz, 60 Hz, 50/60 Hz")),
    }
}

/// `6 %`, with a plus-minus sign or without, or `-5/+10 %`.
pub fn tolerance(text: &str) -> Result<Tolerance, String> {
    let wrong =
        || format!("\"{text}\" is no tolerance: write it as marked, such as 6 % or -5/+10 %");
    let plain = text.trim().strip_suffix('%').ok_or_else(wrong)?.trim();
    let share = |text: &str| {
        let percent = text.trim().trim_end_matches('%').trim().parse::<f64>().ok();
        percent
            .filter(|x| x.is_finite() && *x >= 0.0 && *x < 100.0)
            .map(|x| Ratio(x / 100.0))
            .ok_or_else(wrong)
    };
    let Some((minus, plus)) = plain.split_once('/') else {
        let both = plain.trim_start_matches(['\u{b1}', '+']);
        return Ok(Tolerance::symmetric(share(both)?));
    };
    let minus = minus.trim().strip_prefix(['-', '\u{2212}']);
    let plus = plus.trim().strip_prefix('+');
    Ok(Tolerance {
        minus: share(minus.ok_or_else(wrong)?)?,
        plus: share(plus.ok_or_else(wrong)?)?,
    })
}

/// A number or a fraction: `0.25`, `1/4`, `1 1/2`.
fn fraction(text: &str) -> Option<f64> {
    let text = text.trim();
    let number = |text: &str| text.trim().parse::<f64>().ok().filter(|x| x.is_finite());
    let Some((over, under)) = text.split_once('/') else {
        return number(text);
    };
    let (whole, over) = match over.trim().split_once(' ') {
        Some((whole, over)) => (number(whole)?, number(over)?),
        None => (0.0, number(over)?),
    };
    Some(whole + over / number(under)?)
}

/// What is before a unit, if the text ends with it.
fn before<'t>(text: &'t str, units: &[&str]) -> Option<&'t str> {
    units.iter().find_map(|unit| text.trim().strip_suffix(unit))
}

fn scaled(text: &str, units: &[(&[&str], f64)], wanted: &str) -> Result<f64, String> {
    let of = |(names, factor): &(&[&str], f64)| Some(fraction(before(text, names)?)? * factor);
    let value = units.iter().find_map(of);
    let value =
        value.ok_or_else(|| format!("\"{text}\" is not understood; it is wanted in {wanted}"))?;
    over_zero(text, value)
}

/// `1/4 hp`, `186 W`, `0.19 kW`.
pub fn power(text: &str) -> Result<Watts, String> {
    let units: [(&[&str], f64); 3] = [(&["hp", "HP"], HORSEPOWER), (&["kW"], 1e3), (&["W"], 1.0)];
    scaled(text, &units, "W, kW or hp").map(Watts)
}

/// `12.7 mm`, `1/2 in`.
pub fn length(text: &str) -> Result<Metres, String> {
    let units: [(&[&str], f64); 3] = [(&["mm"], 1e-3), (&["in"], INCH), (&["m"], 1.0)];
    scaled(text, &units, "mm, m or in").map(Metres)
}

/// `40 VA`.
pub fn volt_amps(text: &str) -> Result<VoltAmps, String> {
    let units: [(&[&str], f64); 2] = [(&["kVA", "kV.A"], 1e3), (&["VA", "V.A"], 1.0)];
    scaled(text, &units, "VA").map(VoltAmps)
}

/// `1075 /min` or `1075 rpm`.
pub fn speed(text: &str) -> Result<PerMinute, String> {
    let units: [(&[&str], f64); 2] = [(&["rpm", "RPM"], 1.0), (&["1/min", "/min"], 1.0)];
    scaled(text, &units, "/min or rpm").map(PerMinute)
}

/// `70 Cel`; below zero too.
pub fn celsius(text: &str) -> Result<Celsius, String> {
    if !text.trim().ends_with("Cel") {
        return Err(format!("\"{text}\" is not understood; it is wanted in Cel"));
    }
    let kelvins = read_quantity(text, Unit::Kelvin)?;
    // A thousandth of a degree is more than any plate says.
    Ok(Celsius(((kelvins - 273.15) * 1e3).round() / 1e3))
}

/// A thermal class by its letter or its temperature (IEC 60085, from memory).
pub fn thermal_class(text: &str) -> Result<Celsius, String> {
    Ok(Celsius(match text.trim() {
        "Y" => 90.0,
        "A" => 105.0,
        "E" => 120.0,
        "B" => 130.0,
        "F" => 155.0,
        "H" => 180.0,
        other => {
            return celsius(other).map_err(|_| {
                format!("\"{text}\" is none of Y, A, E, B, F, H, and no temperature in Cel")
            });
        }
    }))
}

/// A count from one.
pub fn count(text: &str) -> Result<u8, String> {
    let count = text.trim().parse::<u8>().ok().filter(|n| *n > 0);
    count.ok_or_else(|| format!("\"{text}\" is no count from 1 to 255"))
}

/// One of some words.
pub fn word<T: Copy>(text: &str, words: &[(&str, T)]) -> Result<T, String> {
    let found = words
        .iter()
        .find(|(word, _)| word.eq_ignore_ascii_case(text.trim()));
    found.map(|(_, value)| *value).ok_or_else(|| {
        let known: Vec<&str> = words.iter().map(|(word, _)| *word).collect();
        format!("\"{text}\" is none of {}", known.join(", "))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(a: f64, b: f64) -> bool {
        (a - b).abs() <= 1e-9 * b.abs()
    }

    #[test]
    fn capacitors_as_marked() {
        assert!(near(farads("45 MFD").unwrap().0.get(), 45e-6));
        let (start, tolerance) = farads("88-108 uF").unwrap();
        assert!(near(start.get(), 88e-6));
        assert!(near(tolerance.unwrap().plus.get(), 20.0 / 88.0));
        for bad in ["45", "45 V", "-45 uF", "0 uF", "108-88 uF", "", "uF"] {
            assert!(farads(bad).is_err(), "{bad}");
        }
        let both = |t: &str| tolerance_of(t).map(|t| (t.minus.get(), t.plus.get()));
        assert_eq!(both("\u{b1}6%"), Some((0.06, 0.06)));
        assert_eq!(both("-5/+10 %"), Some((0.05, 0.1)));
        for bad in ["6", "five %", "+5/-10 %", "100 %", "-6 %"] {
            assert_eq!(both(bad), None, "{bad}");
        }
    }

    fn tolerance_of(text: &str) -> Option<Tolerance> {
        tolerance(text).ok()
    }

    #[test]
    fn ranges_and_taps() {
        let ends = |text: &str| span(text).map(|s| (s.low.get(), s.high.get())).ok();
        assert_eq!(ends("24 V"), Some((24.0, 24.0)));
        assert_eq!(ends("208-230 V"), Some((208.0, 230.0)));
        assert_eq!(ends("208/240V"), Some((208.0, 240.0)));
        assert_eq!(ends("240-208 V"), None);
        assert_eq!(ends("208-230"), None);
        let volts: heapless::Vec<Volts, 6> = taps("120/208/240 V").unwrap();
        assert_eq!(volts, [Volts(120.0), Volts(208.0), Volts(240.0)]);
        assert!(taps::<1>("120/240 V").unwrap_err().contains("more than 1"));
        assert_eq!(mains("50/60 Hz"), Ok(Mains::BOTH));
        assert!(mains("400 Hz").is_err());
    }

    /// NIST SP 811, appendix B.8: a horsepower (550 ft.lbf/s) is 745.6999 W, an inch 25.4 mm.
    #[test]
    fn fractions_of_a_horsepower_and_of_an_inch() {
        assert!((power("1/4 hp").unwrap().get() - 745.6999 / 4.0).abs() < 1e-4);
        assert!((power("1 1/2 hp").unwrap().get() - 745.6999 * 1.5).abs() < 1e-3);
        assert!(near(power("186 W").unwrap().get(), 186.0));
        assert!(near(power("0.25 kW").unwrap().get(), 250.0));
        assert!(near(length("1/2 in").unwrap().get(), 0.0127));
        assert!(near(length("12.7 mm").unwrap().get(), 0.0127));
        for bad in ["1/0 hp", "0 hp", "hp", "1/4", "1//4 hp"] {
            assert!(power(bad).is_err(), "{bad}");
        }
        assert!(near(volt_amps("40 VA").unwrap().get(), 40.0));
        assert!(near(speed("1075 rpm").unwrap().get(), 1075.0));
        assert_eq!(celsius("-25 Cel"), Ok(Celsius(-25.0)));
        assert_eq!(thermal_class("B"), Ok(Celsius(130.0)));
        assert!(celsius("300 K").is_err());
    }
}
