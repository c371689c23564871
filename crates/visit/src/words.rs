//! The visit's own words: amounts, and why something is asked. No sentence says that anything is
//! safe.

use ohmtrail_circuit::sheet::Sheet;
use ohmtrail_core::reading::{Function, Shown};
use ohmtrail_trail::Displayed;
use ohmtrail_words::Said;

use crate::prove::point_words;

/// Why gates were shut by a live value, in the trail.
pub(crate) use ohmtrail_trail::event::LIVE;
/// What is said of volts that may be a floating conductor's.
pub(crate) const GHOST: &str = "a floating conductor beside a live one reads so too on a meter of \
     megohms: in the meter's low-impedance mode its volts fall to next to nothing, and those of a \
     source stay";
/// Why a unit counts as proved dead.
pub(crate) const DEAD: &str = "every pair read no voltage, the meter proved before and after";
/// The same where some of it was read into a low impedance.
pub(crate) const DEAD_IN_LOW_IMPEDANCE: &str = "every pair read no voltage, the meter proved before \
     and after; read into a low impedance: what a live neighbour couples into a conductor comes back \
     once the probes are off";
/// Why nothing more is asked of a dead unit where it does not become dead.
pub(crate) const STAYS_LIVE: &str = "it stays live with its breaker open: another source feeds it, \
     or a path that is not in the sheet; that comes first, by a licensed person and local rules";
/// Why a step is given up that was asked for again and again.
pub(crate) const TOO_OFTEN: &str = "asked for too often, to no effect";
/// Why gates were shut by a charge, in the trail.
pub(crate) const CHARGED: &str =
    "charge or direct voltage where there should be none: hands off, drain it and read again";
/// Why gates are shut after a restart, in the trail.
pub(crate) const RESTARTED: &str = "the program was started again: gates are never read back";
/// What stands among suspects for a fault that the sheet has no name for. No fault is called so:
/// their names have a part and a dot.
pub const NONE_OF_THESE: &str = "none-of-these";

/// How a note begins that says that the checks were ended.
pub(crate) const LEAVING: &str = "checks ended: ";

/// What a display showed, with its unit as people write it.
#[must_use]
pub fn displayed(function: Function, shown: Shown) -> String {
    said_shown(function, shown).to_string()
}

/// The same before it is put into a language.
#[must_use]
pub fn said_shown(function: Function, shown: Shown) -> Said {
    let text = Displayed::of(function, shown);
    match shown {
        Shown::Blank => "nothing".into(),
        Shown::Overload => Said::own("OL"),
        Shown::Value(_) => Said::own(format!("{} {}", text.digits, unit(&text.unit))),
    }
}

/// A fault before it is put into a language; its name where the sheet has none for it.
#[must_use]
pub fn fault_said(sheet: &Sheet, name: &str) -> Said {
    let Some(fault) = sheet.faults.iter().find(|f| f.name == name) else {
        return Said::own(name);
    };
    let wire = fault.owner.checked_sub(sheet.parts.len());
    match wire.and_then(|w| sheet.wires.get(w)) {
        Some(wire) => {
            let [from, to] = wire.terminals.map(|t| sheet.point_name(t).to_owned());
            Said::message("wire-open").with("from", from).with("to", to)
        }
        None => sheet.said(&fault.words),
    }
}

/// What a point is, before it is put into a language, those of a charge among them; nothing of another name that
/// the sheet does not have.
#[must_use]
pub fn point_said(sheet: &Sheet, name: &str) -> Said {
    let Some(point) = sheet.point(name) else {
        return point_words(name).map_or_else(Said::default, Said::from);
    };
    let Some(wire) = sheet.wire_of_end(point) else {
        let words = sheet.points.get(point).map(|(_, words)| words);
        return words.map_or_else(Said::default, |words| sheet.said(words));
    };
    let end = usize::from(wire.ends[1] == point);
    let terminal = sheet.point_name(wire.terminals[end]).to_owned();
    let said = if wire.mark.is_empty() {
        Said::message("wire-end")
    } else {
        Said::message("wire-end-marked").with("mark", sheet.said(&wire.mark))
    };
    said.with("terminal", terminal)
}

/// A note before it is put into a language: somebody's words, but for how one begins that ended the checks.
#[must_use]
pub fn note_said(note: &str) -> Said {
    match note.strip_prefix(LEAVING) {
        Some(why) => Said::phrase("checks ended").then(": ", Said::told(why)),
        None => Said::own(note),
    }
}

/// A UCUM code as people write it.
fn unit(ucum: &str) -> String {
    ucum.replace("Ohm", "ohm").replace("Cel", "°C")
}

/// A value in the function's base unit, with a prefix that fits, to four digits.
#[must_use]
pub fn amount(function: Function, value: f64) -> String {
    if !value.is_finite() {
        return "OL".to_owned();
    }
    let steps: &[(f64, &str)] = match function {
        Function::Farads => &[(1e-6, "u")],
        Function::Ohms | Function::Continuity | Function::Megohms => {
            &[(1e6, "M"), (1e3, "k"), (1.0, "")]
        }
        _ => &[(1.0, "")],
    };
    let size = value.abs();
    let (step, prefix) = steps
        .iter()
        .find(|(step, _)| size >= *step)
        .or(steps.last())
        .copied()
        .unwrap_or((1.0, ""));
    let scaled = value / step;
    let places = match scaled.abs() {
        x if x >= 1000.0 => 0,
        x if x >= 100.0 => 1,
        x if x >= 1.0 => 2,
        _ => 3,
    };
    let digits = format!("{scaled:.places$}");
    let digits = if digits.contains('.') {
        digits.trim_end_matches('0').trim_end_matches('.')
    } else {
        &digits
    };
    format!("{digits} {prefix}{}", unit(function.ucum()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use ohmtrail_core::reading::Decimal;

    #[test]
    fn amounts_carry_a_prefix_that_fits() {
        for (function, value, text) in [
            (Function::Farads, 32.9e-6, "32.9 uF"),
            (Function::Farads, 0.0, "0 uF"),
            (Function::Ohms, 0.87, "0.87 ohm"),
            (Function::Ohms, 2e6, "2 Mohm"),
            (Function::Ohms, 1200.0, "1.2 kohm"),
            (Function::VoltsAc, 238.44, "238.4 V"),
            (Function::VoltsAc, f64::INFINITY, "OL"),
        ] {
            assert_eq!(amount(function, value), text);
        }
        let shown = Shown::Value(Decimal::new(70, -2));
        assert_eq!(displayed(Function::Ohms, shown), "0.70 ohm");
        assert_eq!(displayed(Function::Ohms, Shown::Overload), "OL");
    }
}
