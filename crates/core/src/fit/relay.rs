//! Potential relays, which take a start capacitor out of circuit as the motor comes up to speed.
//! The capacitor itself is judged by [`super::capacitor`], as one for intermittent duty.

use serde::Serialize;

use super::{Aspect, Mains, Outcome, Reason, Report, Span, always, frequencies, if_marked, rules};
use crate::units::{Amps, Volts};

/// A potential relay, by its marking.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
pub struct Relay {
    /// Coil volts between which it opens its contact.
    pub pick_up: Option<Span>,
    /// The most coil volts at which it closes it again.
    pub drop_out: Option<Volts>,
    /// Volts that its coil bears for good.
    pub continuous: Option<Volts>,
    /// Amps of its contact.
    pub contact: Option<Amps>,
    /// Frequencies of its coil; of the failed one, those it works at.
    pub mains: Option<Mains>,
}

/// A potential relay in place of another.
#[must_use]
pub fn relay(original: &Relay, candidate: &Relay) -> Report {
    let mut report = Report::default();
    pick_up(&mut report, original.pick_up, candidate.pick_up);
    always(Aspect::DropOut, Volts::UCUM, &rules::DROP_OUT).share(
        &mut report,
        original.drop_out.map(Volts::get),
        candidate.drop_out.map(Volts::get),
    );
    always(Aspect::ContinuousVolts, Volts::UCUM, &rules::CONTINUOUS).share(
        &mut report,
        original.continuous.map(Volts::get),
        candidate.continuous.map(Volts::get),
    );
    if_marked(Aspect::FullLoadAmps, Amps::UCUM, &rules::FULL_LOAD).share(
        &mut report,
        original.contact.map(Amps::get),
        candidate.contact.map(Amps::get),
    );
    let by = if_marked(Aspect::CoilFrequency, "Hz", &rules::COIL_FREQUENCY);
    frequencies(by, &mut report, original.mains, candidate.mains);
    report
}

/// The whole of its range within that of the failed one.
fn pick_up(report: &mut Report, was: Option<Span>, is: Option<Span>) {
    let by = always(Aspect::PickUp, Volts::UCUM, &rules::PICK_UP);
    by.judge(
        report,
        was,
        is,
        |s| Some(s.low.get()),
        |was, is| {
            if !was.is_sound() || !is.is_sound() {
                (Outcome::Unknown, Reason::NotARating)
            } else if was == is {
                (Outcome::Fits, Reason::Same)
            } else if was.holds(is) {
                (Outcome::Fits, Reason::Within)
            } else if is.low.get() < was.low.get() {
                (Outcome::Refused, Reason::Below)
            } else {
                (Outcome::Refused, Reason::Above)
            }
        },
    );
}
