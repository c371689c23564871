//! Control transformers.

use serde::Serialize;

use super::{Aspect, Mains, Outcome, Reason, Report, always, if_marked, rules, same};
use crate::units::{Celsius, VoltAmps, Volts};

/// The most taps that a primary has here.
pub const MOST_TAPS: usize = 6;

/// A transformer, by its marking.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Transformer {
    /// Rated volt-amperes.
    pub volt_amps: Option<VoltAmps>,
    /// The primary's volts, one for each tap; of the failed one, those it works at.
    pub primary: heapless::Vec<Volts, MOST_TAPS>,
    /// The secondary's volts under load.
    pub secondary: Option<Volts>,
    /// Rated frequencies; of the failed one, those it works at.
    pub mains: Option<Mains>,
    /// Whether it is marked Class 2.
    pub class_two: Option<bool>,
    /// The temperature of its insulation's thermal class.
    pub thermal_class: Option<Celsius>,
}

/// A transformer in place of another.
#[must_use]
pub fn transformer(original: &Transformer, candidate: &Transformer) -> Report {
    let mut report = Report::default();
    always(Aspect::VoltAmps, VoltAmps::UCUM, &rules::VOLT_AMPS).share(
        &mut report,
        original.volt_amps.map(VoltAmps::get),
        candidate.volt_amps.map(VoltAmps::get),
    );
    primary(&mut report, &original.primary, &candidate.primary);
    always(Aspect::SecondaryVolts, Volts::UCUM, &rules::SECONDARY).share(
        &mut report,
        original.secondary.map(Volts::get),
        candidate.secondary.map(Volts::get),
    );
    always(Aspect::Frequency, "Hz", &rules::TRANSFORMER_FREQUENCY).share(
        &mut report,
        original.mains.and_then(Mains::lowest),
        candidate.mains.and_then(Mains::lowest),
    );
    let number = |yes: bool| f64::from(u8::from(yes));
    if_marked(Aspect::ClassTwo, "1", &rules::CLASS_TWO).difference(
        &mut report,
        original.class_two.map(number),
        candidate.class_two.map(number),
    );
    if_marked(Aspect::ThermalClass, Celsius::UCUM, &rules::THERMAL_CLASS).difference(
        &mut report,
        original.thermal_class.map(Celsius::get),
        candidate.thermal_class.map(Celsius::get),
    );
    report
}

/// Every voltage that the failed one's primary works at must be a tap of the other's.
fn primary(report: &mut Report, was: &[Volts], is: &[Volts]) {
    let by = always(Aspect::PrimaryVolts, Volts::UCUM, &rules::PRIMARY);
    let tapped = |v: &Volts| is.iter().any(|tap| same(tap.get(), v.get()));
    let missing = was.iter().find(|v| !tapped(v));
    // The one that is missing is shown, beside the tap that is nearest to it.
    let asked = missing.or(was.first()).map(|v| v.get());
    let far = |tap: f64| (tap - asked.unwrap_or(tap)).abs();
    let nearest = is
        .iter()
        .map(|tap| tap.get())
        .reduce(|best, tap| if far(tap) < far(best) { tap } else { best });
    by.judge(report, asked, nearest, Some, |_, _| {
        let sound = |taps: &[Volts]| taps.iter().all(|v| v.get() > 0.0);
        if !sound(was) || !sound(is) {
            (Outcome::Unknown, Reason::NotARating)
        } else if missing.is_some() {
            (Outcome::Refused, Reason::Different)
        } else if was.len() == is.len() {
            (Outcome::Fits, Reason::Same)
        } else {
            (Outcome::Fits, Reason::Within)
        }
    });
}
