//! Values as a person types them or the dialogue sends them: the display's digits as text, and
//! the unit. The digits are kept: `238.4 V` is 2384 tenths of a volt, `0.70 Ohm` is not `0.7 Ohm`.
#![deny(clippy::indexing_slicing, clippy::unwrap_used, clippy::expect_used)]

use ohmtrail_core::reading::{Decimal, Flags, Function, MeterId, Reading, Shown};
use ohmtrail_core::units::Micros;

use crate::driver::About;
use crate::session::{Feed, Session};

/// What typed values can tell.
pub const ABOUT: About = About {
    functions: &Function::ALL,
    untold: &[
        "whether the digits and the unit were typed as the display showed them",
        "when the display showed them, and whether it stood still",
    ],
};

/// Why a typed value was not understood.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum KeyedError {
    /// There is no text.
    #[error("no value: type what the display shows, such as `238.4`, or `OL` for overload")]
    Empty,
    /// The text is no number.
    #[error("`{0}` is no number: type the digits as shown, such as `238.4`, or `OL` for overload")]
    NotANumber(String),
    /// A comma stands where a point may be meant.
    #[error("`{0}` has a comma: write the decimal point as `.` and leave out thousands marks")]
    Comma(String),
    /// More digits than a display has.
    #[error("`{0}` has more than 9 digits: type only what the display shows")]
    TooLong(String),
    /// A number without a unit.
    #[error("`{display}` has no unit: for {} add one of {accepted}", function.name())]
    NoUnit {
        /// The number.
        display: String,
        /// What is measured.
        function: Function,
        /// The units that are accepted.
        accepted: String,
    },
    /// The unit belongs to another function, or is not known.
    #[error("unit `{unit}` does not belong to {}: use one of {accepted}", function.name())]
    WrongUnit {
        /// The unit as typed.
        unit: String,
        /// What is measured.
        function: Function,
        /// The units that are accepted.
        accepted: String,
    },
    /// The unit stands behind the number and beside it, and the two differ.
    #[error("two units: `{0}` and `{1}`")]
    TwoUnits(String, String),
}

/// The UCUM prefixes that each function's unit takes.
fn prefixes(function: Function) -> &'static [&'static str] {
    match function {
        Function::VoltsAc | Function::VoltsDc | Function::Diode => &["u", "m", "", "k"],
        Function::AmpsAc | Function::AmpsDc => &["u", "m", ""],
        Function::Ohms | Function::Continuity => &["m", "", "k", "M", "G"],
        Function::Megohms => &["", "k", "M", "G", "T"],
        Function::Farads => &["p", "n", "u", "m"],
        Function::Hertz => &["", "k", "M"],
        Function::Pascals => &["", "h", "k", "M"],
        _ => &[""],
    }
}

fn power(prefix: &str) -> i8 {
    match prefix {
        "p" => -12,
        "n" => -9,
        "u" => -6,
        "m" => -3,
        "h" => 2,
        "k" => 3,
        "M" => 6,
        "G" => 9,
        "T" => 12,
        _ => 0,
    }
}

/// The units that are accepted for a function, as UCUM codes.
#[must_use]
pub fn accepted(function: Function) -> String {
    let mut list: Vec<String> = prefixes(function)
        .iter()
        .map(|prefix| format!("{prefix}{}", function.ucum()))
        .collect();
    if function == Function::Pascals {
        list.extend(["mbar".to_string(), "bar".to_string(), "[psi]".to_string()]);
    }
    if function == Function::Celsius {
        list.push("[degF]".to_string());
    }
    list.join(", ")
}

/// Other spellings of a function's base unit.
fn spellings(function: Function) -> &'static [&'static str] {
    match function {
        Function::VoltsAc => &["V", "VAC", "Vac", "V~"],
        Function::VoltsDc => &["V", "VDC", "Vdc"],
        Function::Diode => &["V"],
        Function::AmpsAc => &["A", "AAC", "Aac", "A~"],
        Function::AmpsDc => &["A", "ADC", "Adc"],
        Function::Ohms | Function::Continuity | Function::Megohms => {
            &["Ohm", "ohm", "Ohms", "ohms", "OHM", "\u{3a9}", "\u{2126}"]
        }
        Function::Farads => &["F"],
        Function::Celsius => &["Cel", "\u{b0}C", "\u{2103}", "C", "degC"],
        Function::Pascals => &["Pa"],
        Function::Hertz => &["Hz", "hz"],
        Function::Percent => &["%"],
        _ => &[],
    }
}

/// The power of ten that the unit stands for, in the function's base unit.
fn unit_power(unit: &str, function: Function) -> Option<i8> {
    match (function, unit) {
        (Function::Farads, "MFD" | "mfd") => return Some(-6),
        (Function::Pascals, "bar") => return Some(5),
        (Function::Pascals, "mbar") => return Some(2),
        _ => {}
    }
    spellings(function).iter().find_map(|base| {
        let prefix = match unit.strip_suffix(base)? {
            "\u{b5}" | "\u{3bc}" => "u",
            "K" => "k",
            other => other,
        };
        prefixes(function).contains(&prefix).then(|| power(prefix))
    })
}

fn refuse_unit(unit: &str, function: Function) -> KeyedError {
    KeyedError::WrongUnit {
        unit: unit.to_string(),
        function,
        accepted: accepted(function),
    }
}

/// A unit that is no power of ten of the base unit: `base = (shown - zero) * unit`.
#[derive(Debug, Clone, Copy)]
struct Converted {
    zero: f64,
    unit: f64,
}

/// Degrees Fahrenheit (NIST SP 811, appendix B.8).
const FAHRENHEIT: Converted = Converted {
    zero: 32.0,
    unit: 1.0 / 1.8,
};
/// Pounds-force to the square inch: the pound 0.453 592 37 kg and the inch 0.0254 m by definition, the standard
/// acceleration 9.806 65 m/s² (NIST SP 811, appendix B.8).
const PSI: Converted = Converted {
    zero: 0.0,
    unit: 0.453_592_37 * 9.806_65 / (0.0254 * 0.0254),
};

fn converted(unit: &str, function: Function) -> Option<Converted> {
    match (function, unit) {
        (Function::Celsius, "[degF]" | "degF" | "\u{b0}F" | "F" | "\u{2109}") => Some(FAHRENHEIT),
        (Function::Pascals, "[psi]" | "psi" | "psig" | "PSI" | "PSIG") => Some(PSI),
        _ => None,
    }
}

/// Whether a value in this unit is no longer what the display showed.
pub(crate) fn is_converted(unit: &str, function: Function) -> bool {
    converted(unit, function).is_some()
}

impl Converted {
    /// What a display in the base unit would show, with a last digit that is no finer than that of the one that
    /// was read: no digit is made that nobody saw. What was typed is not kept beside it.
    fn shown(self, mantissa: i32, behind_point: i8) -> Decimal {
        let read = Decimal::new(mantissa, -behind_point);
        let value = (read.value() - self.zero) * self.unit;
        let mut exponent = -behind_point;
        let step = read.resolution() * self.unit;
        // At most five powers of ten apart.
        while Decimal::new(1, exponent).value() < step {
            exponent = exponent.saturating_add(1);
        }
        while Decimal::new(1, exponent.saturating_sub(1)).value() >= step {
            exponent = exponent.saturating_sub(1);
        }
        let counts = (value / Decimal::new(1, exponent).value()).round();
        // Nine digits of psi are fewer of pascals with such a last digit.
        Decimal::new(counts as i32, exponent)
    }
}

/// What the display shows, from its text and its unit. `display` may carry the unit itself
/// (`0.31 uF`) if `unit` is empty or says the same. Units are UCUM codes (`V`, `kOhm`, `uF`,
/// `Cel`), and the plain forms people write: `ohm`, `Ω`, `µF`, `MFD` (microfarads), `°C`. Degrees Fahrenheit
/// (`[degF]`, `°F`) and `psi` are converted; the last digit kept is no finer than the one shown.
/// `OL`, `0L`, `O.L` is overload, and dashes are a blank display; these need no unit.
///
/// # Errors
/// [`KeyedError`] says what was wrong and what is accepted.
pub fn parse(display: &str, unit: &str, function: Function) -> Result<Shown, KeyedError> {
    let (display, unit) = (display.trim(), unit.trim());
    let (number, behind) = split(display);
    let unit = match (behind, unit) {
        (behind, "") => behind,
        ("", unit) => unit,
        (behind, unit) if behind == unit => unit,
        (behind, unit) => return Err(KeyedError::TwoUnits(behind.into(), unit.into())),
    };
    if number.is_empty() {
        return Err(KeyedError::Empty);
    }
    let converted = converted(unit, function);
    let power = match unit {
        "" => None,
        _ if converted.is_some() => Some(0),
        // No capacitor of this trade is read in whole farads, but an overload has no range.
        unit if is_overload(number) && spellings(function).contains(&unit) => None,
        unit => Some(unit_power(unit, function).ok_or_else(|| refuse_unit(unit, function))?),
    };
    if is_overload(number) {
        return Ok(Shown::Overload);
    }
    if number.chars().filter(|c| *c == '-').count() >= 2
        && number.chars().all(|c| matches!(c, '-' | '.'))
    {
        return Ok(Shown::Blank);
    }
    let (mantissa, behind_point) = digits(number)?;
    let power = power.ok_or_else(|| KeyedError::NoUnit {
        display: number.to_string(),
        function,
        accepted: accepted(function),
    })?;
    Ok(Shown::Value(match converted {
        Some(unit) => unit.shown(mantissa, behind_point),
        None => Decimal::new(mantissa, power.saturating_sub(behind_point)),
    }))
}

/// A whole line, such as `238.4 V` or `OL`.
///
/// # Errors
/// As [`parse`].
pub fn parse_line(line: &str, function: Function) -> Result<Shown, KeyedError> {
    parse(line, "", function)
}

fn is_overload(text: &str) -> bool {
    let plain: String = text
        .trim_start_matches(['-', '\u{2212}'])
        .chars()
        .filter(|c| *c != '.')
        .collect();
    plain.eq_ignore_ascii_case("OL") || plain.eq_ignore_ascii_case("0L")
}

/// The value's text and the unit's text behind it.
fn split(display: &str) -> (&str, &str) {
    if let Some((value, unit)) = display.split_once(char::is_whitespace) {
        return (value, unit.trim());
    }
    if is_overload(display) {
        return (display, "");
    }
    let end = display
        .rfind(|c: char| c.is_ascii_digit() || matches!(c, '.' | ',' | '-' | '\u{2212}'))
        .and_then(|at| Some(at + display.get(at..)?.chars().next()?.len_utf8()));
    match end.and_then(|end| display.split_at_checked(end)) {
        Some((value, unit)) => (value, unit),
        None => (display, ""),
    }
}

/// The mantissa and how many digits stand behind the point.
fn digits(text: &str) -> Result<(i32, i8), KeyedError> {
    let not_a_number = || KeyedError::NotANumber(text.to_string());
    if text.contains(',') {
        return Err(KeyedError::Comma(text.to_string()));
    }
    let (minus, plain) = match text.strip_prefix(['-', '\u{2212}']) {
        Some(plain) => (true, plain),
        None => (false, text.strip_prefix('+').unwrap_or(text)),
    };
    let (whole, fraction) = plain.split_once('.').unwrap_or((plain, ""));
    let all = || whole.chars().chain(fraction.chars());
    if all().next().is_none() || !all().all(|c| c.is_ascii_digit()) {
        return Err(not_a_number());
    }
    if all().count() > 9 {
        return Err(KeyedError::TooLong(text.to_string()));
    }
    let number = all().fold(0_i32, |n, c| {
        n.saturating_mul(10).saturating_add(
            c.to_digit(10)
                .and_then(|d| i32::try_from(d).ok())
                .unwrap_or(0),
        )
    });
    let behind = i8::try_from(fraction.len()).map_err(|_| not_a_number())?;
    Ok((
        if minus {
            number.saturating_neg()
        } else {
            number
        },
        behind,
    ))
}

/// The typing end of a keyed session.
#[derive(Debug)]
pub struct Keys {
    feed: Feed,
    meter: MeterId,
}

impl Keys {
    /// Enters one typed value; its reading comes out of the session.
    ///
    /// # Errors
    /// [`KeyedError`] if the text is not understood; nothing is sent then.
    pub async fn enter(
        &mut self,
        display: &str,
        unit: &str,
        function: Function,
        flags: Flags,
        at: Micros,
    ) -> Result<Reading, KeyedError> {
        let reading = Reading {
            function,
            shown: parse(display, unit, function)?,
            flags,
            meter: self.meter,
            at,
        };
        self.feed.reading(reading).await;
        Ok(reading)
    }
}

/// A session whose readings are typed. It ends when the keys are dropped.
#[must_use]
pub fn session(meter: MeterId) -> (Keys, Session) {
    let (feed, session) = Session::fed();
    (Keys { feed, meter }, session)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn value(mantissa: i32, exponent: i8) -> Result<Shown, KeyedError> {
        Ok(Shown::Value(Decimal::new(mantissa, exponent)))
    }

    #[test]
    fn typed_values_keep_their_digits() {
        use Function::*;
        for (display, unit, function, mantissa, exponent) in [
            ("238.4", "V", VoltsAc, 2384, -1),
            ("0.31", "uF", Farads, 31, -8),
            ("0.31 uF", "", Farads, 31, -8),
            ("0.31uF", "", Farads, 31, -8),
            ("55.1", "\u{b5}F", Farads, 551, -7),
            ("55.1", "\u{3bc}F", Farads, 551, -7),
            ("45.0", "MFD", Farads, 450, -7),
            ("0.70", "Ohm", Ohms, 70, -2),
            ("0.7", "ohm", Ohms, 7, -1),
            ("12.06", "kOhm", Ohms, 1206, 1),
            ("4.7", "KOhm", Ohms, 47, 2),
            ("12.06", "k\u{3a9}", Ohms, 1206, 1),
            ("1.5", "M\u{2126}", Ohms, 15, 5),
            ("550", "MOhm", Megohms, 550, 6),
            ("2.2 GOhm", "GOhm", Megohms, 22, 8),
            ("7.25", "mA", AmpsAc, 725, -5),
            ("12.4A", "", AmpsAc, 124, -1),
            ("-40.0", "Cel", Celsius, -400, -1),
            ("\u{2212}5", "\u{b0}C", Celsius, -5, 0),
            ("27.3", "VAC", VoltsAc, 273, -1),
            ("820", "kPa", Pascals, 820, 3),
            ("8.2", "bar", Pascals, 82, 4),
            ("60.01", "Hz", Hertz, 6001, -2),
            (".5", "V", VoltsDc, 5, -1),
            ("+12.", "V", VoltsDc, 12, 0),
            ("60.01%", "", Percent, 6001, -2),
        ] {
            assert_eq!(
                parse(display, unit, function),
                value(mantissa, exponent),
                "{display} {unit}"
            );
        }
    }

    #[test]
    fn overload_and_blank_are_not_numbers() {
        for text in ["OL", "ol", "O.L", "0L", ".0L", "-OL", " OL "] {
            assert_eq!(
                parse(text, "Ohm", Function::Ohms),
                Ok(Shown::Overload),
                "{text}"
            );
            assert_eq!(
                parse(text, "", Function::Ohms),
                Ok(Shown::Overload),
                "{text}"
            );
        }
        assert_eq!(parse("OL MOhm", "", Function::Ohms), Ok(Shown::Overload));
        assert_eq!(parse("OL", "F", Function::Farads), Ok(Shown::Overload));
        assert!(parse("55.1", "F", Function::Farads).is_err());
        assert_eq!(parse("----", "V", Function::VoltsAc), Ok(Shown::Blank));
        assert_eq!(parse("-.---", "V", Function::VoltsAc), Ok(Shown::Blank));
    }

    #[test]
    fn errors_say_what_was_wrong_and_what_is_accepted() {
        use KeyedError as E;
        let f = Function::Farads;
        assert_eq!(parse("", "", f), Err(E::Empty));
        assert_eq!(parse("  ", "uF", f), Err(E::Empty));
        assert_eq!(parse("0,31", "uF", f), Err(E::Comma("0,31".into())));
        assert_eq!(parse("1.2.3", "uF", f), Err(E::NotANumber("1.2.3".into())));
        assert_eq!(parse("1e3", "uF", f), Err(E::NotANumber("1e3".into())));
        assert_eq!(parse("abc", "uF", f), Err(E::NotANumber("abc".into())));
        assert_eq!(
            parse("1234567890", "uF", f),
            Err(E::TooLong("1234567890".into()))
        );
        assert_eq!(
            parse("5 uF", "nF", f),
            Err(E::TwoUnits("uF".into(), "nF".into()))
        );
        let wrong = parse("238.4", "V", Function::Ohms);
        assert_eq!(
            wrong,
            Err(E::WrongUnit {
                unit: "V".into(),
                function: Function::Ohms,
                accepted: "mOhm, Ohm, kOhm, MOhm, GOhm".into()
            })
        );
        let none = parse("55.1", "", f).map_err(|e| e.to_string());
        assert_eq!(
            none,
            Err("`55.1` has no unit: for farads add one of pF, nF, uF, mF".to_string())
        );
        // A direct voltage is not an alternating one, and a megafarad is no capacitor.
        assert!(matches!(
            parse("24", "VDC", Function::VoltsAc),
            Err(E::WrongUnit { .. })
        ));
        assert!(matches!(parse("55", "MF", f), Err(E::WrongUnit { .. })));
        assert!(matches!(
            parse("OL", "V", Function::Ohms),
            Err(E::WrongUnit { .. })
        ));
        assert!(matches!(
            parse("95", "[degF]", Function::Pascals),
            Err(E::WrongUnit { .. })
        ));
    }
}
