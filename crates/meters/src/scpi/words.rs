//! The words of SCPI that this driver says and understands: function names, error messages,
//! identifications and numbers. The command tree is TRADE 12: SCPI-99 volume 2 for CONFigure,
//! READ?, MEASure? and SYSTem:ERRor?, and IEEE 488.2 for *IDN? and the number formats, both from
//! memory; the forms of the commands from a published command list of a bench meter (second hand).

use ohmtrail_core::reading::{Function, Shown};

use crate::decimal;

/// One function: how it is asked for, and what `FUNCtion?` may answer.
pub(crate) struct Word {
    pub(crate) function: Function,
    /// Behind `CONFigure:` and `MEASure:`, in its short form.
    pub(crate) command: &'static str,
    /// The sensor functions that mean it: each a path of mnemonics, capitals their short forms.
    pub(crate) sensor: &'static [&'static str],
}

const fn word(function: Function, command: &'static str, sensor: &'static [&'static str]) -> Word {
    Word {
        function,
        command,
        sensor,
    }
}

/// Every function that is carried. A resistance by four wires is a resistance.
pub(crate) const WORDS: [Word; 10] = [
    word(Function::VoltsAc, "VOLT:AC", &["VOLTage:AC"]),
    word(Function::VoltsDc, "VOLT:DC", &["VOLTage", "VOLTage:DC"]),
    word(Function::AmpsAc, "CURR:AC", &["CURRent:AC"]),
    word(Function::AmpsDc, "CURR:DC", &["CURRent", "CURRent:DC"]),
    word(Function::Ohms, "RES", &["RESistance", "FRESistance"]),
    word(Function::Farads, "CAP", &["CAPacitance"]),
    word(
        Function::Hertz,
        "FREQ",
        &["FREQuency", "FREQuency:VOLTage", "FREQuency:CURRent"],
    ),
    word(Function::Celsius, "TEMP", &["TEMPerature"]),
    word(Function::Continuity, "CONT", &["CONTinuity"]),
    word(Function::Diode, "DIOD", &["DIODe"]),
];

/// The functions of [`WORDS`].
pub(super) const FUNCTIONS: [Function; 10] = [
    Function::VoltsAc,
    Function::VoltsDc,
    Function::AmpsAc,
    Function::AmpsDc,
    Function::Ohms,
    Function::Farads,
    Function::Hertz,
    Function::Celsius,
    Function::Continuity,
    Function::Diode,
];

/// The word of a function.
pub(super) fn word_of(function: Function) -> Option<&'static Word> {
    WORDS.iter().find(|word| word.function == function)
}

/// What `FUNCtion?` answers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Sensor {
    /// A function that is carried.
    Known(Function),
    /// A function name that is not.
    Other,
}

/// A sensor function name, in quotes or without. None if the text is no such name.
pub(super) fn sensor(text: &str) -> Option<Sensor> {
    let name = text
        .strip_prefix('"')
        .and_then(|t| t.strip_suffix('"'))
        .unwrap_or(text)
        .trim();
    let is_name = name.starts_with(|c: char| c.is_ascii_alphabetic())
        && name
            .chars()
            .all(|c| c.is_ascii_alphanumeric() || c == ':' || c == '_');
    if !is_name {
        return None;
    }
    let known = WORDS
        .iter()
        .find(|word| word.sensor.iter().any(|path| path_is(path, name)));
    Some(known.map_or(Sensor::Other, |word| Sensor::Known(word.function)))
}

/// Whether a name is this path: each mnemonic in its short or its long form, in any case.
pub(crate) fn path_is(path: &str, name: &str) -> bool {
    let mut nodes = path.split(':');
    let mut given = name.split(':');
    loop {
        match (nodes.next(), given.next()) {
            (None, None) => return true,
            (Some(node), Some(word)) => {
                let short: String = node.chars().filter(|c| !c.is_ascii_lowercase()).collect();
                if !word.eq_ignore_ascii_case(node) && !word.eq_ignore_ascii_case(&short) {
                    return false;
                }
            }
            _ => return false,
        }
    }
}

/// An answer to `SYSTem:ERRor?`: `-113,"Undefined header"`. A quote within the text is doubled.
pub(super) fn error(text: &str) -> Option<(i32, String)> {
    let (number, message) = text.split_once(',')?;
    let number = decimal::whole(number.trim())?;
    let message = message.trim().strip_prefix('"')?.strip_suffix('"')?;
    Some((number, message.replace("\"\"", "\"")))
}

/// An answer to `*IDN?`: four fields.
pub(super) fn identity(text: &str) -> Option<[String; 4]> {
    let mut fields = text.splitn(4, ',').map(|field| field.trim().to_owned());
    let identity = [
        fields.next()?,
        fields.next()?,
        fields.next()?,
        fields.next()?,
    ];
    identity
        .iter()
        .any(|field| field.chars().any(|c| c.is_ascii_alphabetic()))
        .then_some(identity)
}

/// An answer to `READ?`: a number with the digits as sent; 9.9E37 of either sign for an overload,
/// 9.91E37 for no data. None if the text is no number.
pub(super) fn value(text: &str) -> Option<Shown> {
    // Nothing that a meter measures comes near: from here on it is a word in a number's clothes.
    const INFINITE: f64 = 9.9e37;
    const NOT_A_NUMBER: f64 = 9.91e37;
    let shown = decimal::parse(text)?;
    let size = shown.value().abs();
    Some(if (size / NOT_A_NUMBER - 1.0).abs() < 1e-6 {
        Shown::Blank
    } else if size >= INFINITE * (1.0 - 1e-6) {
        Shown::Overload
    } else {
        Shown::Value(shown)
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use ohmtrail_core::reading::Decimal;

    #[test]
    fn the_table_of_functions_has_every_word() {
        let functions: Vec<Function> = WORDS.iter().map(|w| w.function).collect();
        assert_eq!(functions, FUNCTIONS);
    }

    /// Short and long forms, both cases, quoted or not: SCPI-99 volume 1 on mnemonics, from memory.
    #[test]
    fn function_names_in_every_form() {
        use Sensor::{Known, Other};
        for (text, means) in [
            ("\"VOLT\"", Some(Known(Function::VoltsDc))),
            ("\"VOLT:DC\"", Some(Known(Function::VoltsDc))),
            ("\"VOLT:AC\"", Some(Known(Function::VoltsAc))),
            ("volt:ac", Some(Known(Function::VoltsAc))),
            ("VOLTAGE:AC", Some(Known(Function::VoltsAc))),
            ("\"CURRent:AC\"", Some(Known(Function::AmpsAc))),
            ("\"FRES\"", Some(Known(Function::Ohms))),
            ("\"CAP\"", Some(Known(Function::Farads))),
            // Between the short and the long form is no form.
            ("\"VOLTA:AC\"", Some(Other)),
            ("\"PER\"", Some(Other)),
            ("\"VOLT:AC:RAT\"", Some(Other)),
            ("+1.0E0", None),
            ("0,\"No error\"", None),
            ("\"\"", None),
            ("", None),
            ("\"VOLT\" 1", None),
        ] {
            assert_eq!(sensor(text), means, "{text}");
        }
    }

    #[test]
    fn errors_and_identities_have_their_own_shape() {
        assert_eq!(error("+0,\"No error\""), Some((0, "No error".into())));
        assert_eq!(
            error("-113,\"Undefined header; \"\"FUNC\"\"\""),
            Some((-113, "Undefined header; \"FUNC\"".into()))
        );
        for text in [
            "0",
            "+1.2E3",
            "0,No error",
            "\"VOLT\"",
            "a,\"b\"",
            "1.5,\"x\"",
        ] {
            assert_eq!(error(text), None, "{text}");
        }
        let fields = ["a maker", "bench meter", "0", "1.0,beta"].map(String::from);
        assert_eq!(identity("a maker, bench meter ,0,1.0,beta"), Some(fields));
        for text in ["one,two,three", "+1.0,2.0,3.0,4.0", ""] {
            assert_eq!(identity(text), None, "{text}");
        }
    }

    /// 9.9E37 and 9.91E37 as TRADE 12 has them, in the spellings that NR3 allows.
    #[test]
    fn numbers_overloads_and_no_data() {
        for text in ["9.9E37", "+9.90000000E+37", "-9.9E+37", "+99.0E36", "+1E38"] {
            assert_eq!(value(text), Some(Shown::Overload), "{text}");
        }
        for text in ["9.91E37", "+9.91000000E+37"] {
            assert_eq!(value(text), Some(Shown::Blank), "{text}");
        }
        assert_eq!(
            value("+2.38412000E+02"),
            Some(Shown::Value(Decimal::new(238_412_000, -6)))
        );
        for text in ["1.0,2.0", "NAN", "", "\"VOLT\"", "9.9E370"] {
            assert_eq!(value(text), None, "{text}");
        }
    }
}
