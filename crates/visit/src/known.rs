//! A winding's reading against what is known of that very winding, both at one temperature.

use ohmtrail_circuit::meter::{Ideal, Scene, State, VOLTMETER_OHMS};
use ohmtrail_circuit::operate::Unit;
use ohmtrail_circuit::sheet::{Heat, Part, Question};
use ohmtrail_circuit::unit::Drawn;
use ohmtrail_core::accuracy::Quantity;
use ohmtrail_core::rules::temperature::share_of_reference;
use ohmtrail_core::units::Ohms;
use ohmtrail_words::Said;

use crate::book::{Book, WindingPair};
use crate::judge::Weighed;
use crate::record::Record;

/// The value of a motor that a pair of its terminals reads.
pub(crate) fn value_of(part: &Part, pair: WindingPair) -> Option<usize> {
    let name = match pair {
        WindingPair::CommonRun => "run-ohms",
        WindingPair::CommonStart => "start-ohms",
        _ => return None,
    };
    part.kind.params.iter().position(|p| p.name == name)
}

/// What a take of a cold winding is of its known value, in words; none where nothing is known of it,
/// or the air was not measured.
pub(crate) fn against_known(
    book: &Book<'_>,
    record: &Record,
    check: usize,
    weighed: &Weighed,
) -> Option<Said> {
    if !record.cooled || !weighed.value.is_finite() {
        return None;
    }
    let (motor, pair) = book.windings().iter().find_map(|m| {
        let (pair, ..) = m.checks.iter().find(|(.., c)| *c == check)?;
        Some((m, *pair))
    })?;
    let value = value_of(&book.sheet.parts[motor.part], pair)?;
    let known = book.sheet.known(motor.part, value)?;
    let air = record.ambient().or(book.sheet.measured_air)?;
    let own = weighed.value - beside(book, check, motor.part, value)?;
    let now = Quantity::new(Ohms(own), weighed.u);
    let share = share_of_reference(now, air, known.ohms, known.at, known.metal).ok()?;
    let three_places = |x: f64| format!("{x:.3}");
    let said = Said::message("known-share")
        .with("share", three_places(share.value.get()))
        .with("u", three_places(2.0 * share.u))
        .with("date", known.date.clone())
        .with("source", known.source.clone());
    Some(said)
}

/// Ohms that a check reads besides the winding, by the model: the wires that its leads are on.
pub(crate) fn beside(book: &Book<'_>, check: usize, part: usize, value: usize) -> Option<f64> {
    let sheet = book.sheet;
    let check = &sheet.checks[check];
    let Question::Measure {
        function, points, ..
    } = &check.question
    else {
        return None;
    };
    let drawn = Drawn::stated(sheet);
    let own = drawn.values[part][value];
    let unit = Unit::new(&book.circuit, drawn, &[]);
    let state = State {
        power: false,
        lifted: check.lift.map_or(&[], |l| sheet.lifts[l].ends.as_slice()),
        heat: Heat::Cold,
    };
    match Scene::new(&unit, *function, state)?.shows(*function, *points, VOLTMETER_OHMS) {
        Ideal::Value(ohms) => Some(ohms - own),
        Ideal::Overload => None,
    }
}
