//! Contactors, against the one that failed and against the load that they switch.

use serde::Serialize;

use super::{Aspect, Mains, Outcome, Reason, Report, Span, always, frequencies, if_marked, rules};
use crate::rules::control::COIL_CLOSES;
use crate::units::{Amps, Celsius, Volts};

/// A contactor, by its marking.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
pub struct Contactor {
    /// Switched poles.
    pub poles: Option<u8>,
    /// Volts that the poles switch.
    pub volts: Option<Volts>,
    /// Full-load (rated-load) amps of a motor at these volts.
    pub full_load: Option<Amps>,
    /// Locked-rotor amps at these volts.
    pub locked_rotor: Option<Amps>,
    /// Amps of heaters.
    pub resistive: Option<Amps>,
    /// Rated volts of the coil.
    pub coil: Option<Span>,
    /// Frequencies of the coil; of the failed one, those it works at.
    pub coil_mains: Option<Mains>,
    /// Ambient temperature that the ratings hold up to.
    pub ambient: Option<Celsius>,
}

/// What the contactor switches, by the plates of the motors or heaters: it is asked for before what
/// was on the failed contactor, which may have been bigger than need be, or too small.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
pub struct Load {
    /// Volts of the load.
    pub volts: Option<Volts>,
    /// The sum of the motors' full-load or rated-load amps.
    pub full_load: Option<Amps>,
    /// The compressor's locked-rotor amps.
    pub locked_rotor: Option<Amps>,
    /// The heaters' amps.
    pub resistive: Option<Amps>,
    /// Whether a compressor is among the motors: its locked-rotor amps are asked for always.
    pub hermetic: bool,
}

/// A contactor in place of another.
#[must_use]
pub fn contactor(original: &Contactor, load: &Load, candidate: &Contactor) -> Report {
    let mut report = Report::default();
    poles(&mut report, original.poles, candidate.poles);
    let volts = load.volts.or(original.volts).map(Volts::get);
    always(Aspect::Volts, Volts::UCUM, &rules::POLE_VOLTS).share(
        &mut report,
        volts,
        candidate.volts.map(Volts::get),
    );
    amps(&mut report, original, load, candidate);
    coil(&mut report, original.coil, candidate.coil);
    let by = always(Aspect::CoilFrequency, "Hz", &rules::COIL_FREQUENCY);
    frequencies(by, &mut report, original.coil_mains, candidate.coil_mains);
    if_marked(Aspect::Hottest, Celsius::UCUM, &rules::AMBIENT).difference(
        &mut report,
        original.ambient.map(Celsius::get),
        candidate.ambient.map(Celsius::get),
    );
    report
}

fn poles(report: &mut Report, was: Option<u8>, is: Option<u8>) {
    let by = always(Aspect::Poles, "1", &rules::POLES);
    let number = |n: u8| Some(f64::from(n));
    by.judge(report, was, is, number, |was, is| {
        if was == 0 || is == 0 {
            (Outcome::Unknown, Reason::NotARating)
        } else if is < was {
            (Outcome::Refused, Reason::LegStaysLive)
        } else if is == was {
            (Outcome::Fits, Reason::Same)
        } else if was == 1 {
            (Outcome::Unknown, Reason::FeedPastThePole)
        } else {
            (Outcome::Fits, Reason::Better)
        }
    });
}

fn amps(report: &mut Report, original: &Contactor, load: &Load, candidate: &Contactor) {
    let motor = load.full_load.is_some() || load.locked_rotor.is_some();
    let heater = load.resistive.is_some() && !motor;
    let number = |a: Option<Amps>| a.map(Amps::get);
    let full = load.full_load.or(original.full_load);
    let by = always(Aspect::FullLoadAmps, Amps::UCUM, &rules::FULL_LOAD);
    let only_resistive = candidate.full_load.is_none() && candidate.resistive.is_some();
    if heater {
        // A load of heaters alone asks for nothing that is stated for motors.
    } else if full.is_some() && only_resistive {
        let said = (Outcome::Unknown, Reason::OnlyResistive);
        report.push(by.row(said, number(full), None));
    } else {
        by.share(report, number(full), number(candidate.full_load));
    }
    if !heater {
        let locked = load.locked_rotor.or(original.locked_rotor);
        let ask = if load.hermetic { always } else { if_marked };
        ask(Aspect::LockedRotorAmps, Amps::UCUM, &rules::LOCKED_ROTOR).share(
            report,
            number(locked),
            number(candidate.locked_rotor),
        );
    }
    let asked = if motor {
        load.resistive
    } else {
        load.resistive.or(original.resistive)
    };
    if_marked(Aspect::ResistiveAmps, Amps::UCUM, &rules::RESISTIVE).share(
        report,
        number(asked),
        number(candidate.resistive),
    );
}

/// The control volts are those on the failed coil. A coil near them still closes, within
/// [`COIL_CLOSES`], but with less room for a low supply: that is for the technician to measure.
pub(super) fn coil(report: &mut Report, was: Option<Span>, is: Option<Span>) {
    let by = always(Aspect::CoilVolts, Volts::UCUM, &rules::COIL_VOLTS);
    by.judge(
        report,
        was,
        is,
        |s| Some(s.high.get()),
        |was, is| {
            let [low, high] = is.ends();
            let limits = COIL_CLOSES.limit();
            let closes = |v: f64| v >= limits.low() * high && v <= limits.high() * low;
            if !was.is_sound() || !is.is_sound() {
                (Outcome::Unknown, Reason::NotARating)
            } else if was == is {
                (Outcome::Fits, Reason::Same)
            } else if is.holds(was) {
                (Outcome::Fits, Reason::Within)
            } else if was.ends().into_iter().all(closes) {
                (Outcome::Unknown, Reason::CoilCloses)
            } else if was.low.get() < low {
                (Outcome::Refused, Reason::Above)
            } else {
                (Outcome::Refused, Reason::Below)
            }
        },
    );
}
