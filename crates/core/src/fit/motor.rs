//! Fan and blower motors. A hermetic compressor is replaced by its maker's number ([`super::numbered`]), never by this.

use serde::Serialize;

use super::{
    Aspect, Duty, Mains, Outcome, Reason, Report, Span, always, frequencies, if_marked, rules, same,
};
use crate::units::{Amps, Celsius, Metres, PerMinute, Volts, Watts};

/// Which way a motor turns, seen from the end opposite to the shaft's.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Rotation {
    /// Clockwise.
    Clockwise,
    /// Counterclockwise.
    Counterclockwise,
    /// As it is connected.
    Reversible,
}

/// Open or closed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Enclosure {
    /// Air passes through it.
    Open,
    /// Totally enclosed.
    Closed,
}

/// A motor, by its plate.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
pub struct Motor<'a> {
    /// Shaft power.
    pub power: Option<Watts>,
    /// Rated volts; of the failed one, those it works at.
    pub volts: Option<Span>,
    /// Phases.
    pub phases: Option<u8>,
    /// Rated frequencies; of the failed one, those it works at.
    pub mains: Option<Mains>,
    /// Full-load speed.
    pub speed: Option<PerMinute>,
    /// Speeds that can be chosen.
    pub speeds: Option<u8>,
    /// Full-load amps.
    pub amps: Option<Amps>,
    /// Direction.
    pub rotation: Option<Rotation>,
    /// Shaft diameter.
    pub shaft: Option<Metres>,
    /// Shaft length.
    pub shaft_length: Option<Metres>,
    /// Frame.
    pub frame: Option<&'a str>,
    /// Open or closed.
    pub enclosure: Option<Enclosure>,
    /// Duty.
    pub duty: Option<Duty>,
    /// Ambient temperature it is rated up to.
    pub ambient: Option<Celsius>,
    /// The temperature of its insulation's thermal class.
    pub thermal_class: Option<Celsius>,
}

/// A motor in place of another. `circuit` is what its wires and its overload allow, where somebody
/// looked: it is asked for before the failed motor's amps.
#[must_use]
pub fn motor(original: &Motor<'_>, circuit: Option<Amps>, candidate: &Motor<'_>) -> Report {
    let mut report = Report::default();
    power(&mut report, original.power, candidate.power);
    volts(&mut report, original.volts, candidate.volts);
    let count = |n: Option<u8>| n.map(f64::from);
    always(Aspect::Phases, "1", &rules::PHASES).share(
        &mut report,
        count(original.phases),
        count(candidate.phases),
    );
    let by = always(Aspect::Frequency, "Hz", &rules::MOTOR_FREQUENCY);
    frequencies(by, &mut report, original.mains, candidate.mains);
    speed(&mut report, original, candidate);
    if_marked(Aspect::Speeds, "1", &rules::SPEEDS).difference(
        &mut report,
        count(original.speeds),
        count(candidate.speeds),
    );
    amps(&mut report, original.amps, circuit, candidate.amps);
    rotation(&mut report, original.rotation, candidate.rotation);
    if_marked(Aspect::Shaft, Metres::UCUM, &rules::SHAFT).share(
        &mut report,
        original.shaft.map(Metres::get),
        candidate.shaft.map(Metres::get),
    );
    if_marked(Aspect::ShaftLength, Metres::UCUM, &rules::SHAFT_LENGTH).share(
        &mut report,
        original.shaft_length.map(Metres::get),
        candidate.shaft_length.map(Metres::get),
    );
    frame(&mut report, original.frame, candidate.frame);
    let closed = |e: Enclosure| f64::from(u8::from(e == Enclosure::Closed));
    if_marked(Aspect::Enclosure, "1", &rules::ENCLOSURE).difference(
        &mut report,
        original.enclosure.map(closed),
        candidate.enclosure.map(closed),
    );
    let continuous = |d: Duty| f64::from(u8::from(d == Duty::Continuous));
    if_marked(Aspect::Duty, "1", &rules::MOTOR_DUTY).difference(
        &mut report,
        original.duty.map(continuous),
        candidate.duty.map(continuous),
    );
    if_marked(Aspect::Hottest, Celsius::UCUM, &rules::AMBIENT).difference(
        &mut report,
        original.ambient.map(Celsius::get),
        candidate.ambient.map(Celsius::get),
    );
    if_marked(Aspect::ThermalClass, Celsius::UCUM, &rules::THERMAL_CLASS).difference(
        &mut report,
        original.thermal_class.map(Celsius::get),
        candidate.thermal_class.map(Celsius::get),
    );
    report
}

/// Magnetic poles by the full-load speed: the most with which the synchronous speed, 120 f / p, is
/// still at or over it. None outside 2 to 22 poles.
#[must_use]
pub fn magnetic_poles(speed: PerMinute, hertz: f64) -> Option<u8> {
    let reached = |poles: &u8| 120.0 * hertz / f64::from(*poles) >= speed.get();
    (speed.get() > 0.0 && hertz > 0.0)
        .then(|| (1..=12u8).rev().map(|pairs| pairs * 2).find(reached))
        .flatten()
        .filter(|poles| *poles < 24)
}

fn power(report: &mut Report, was: Option<Watts>, is: Option<Watts>) {
    let (a, o) = (was.map(Watts::get), is.map(Watts::get));
    // More than was there is held to a rule of its own.
    let more = a.zip(o).is_some_and(|(a, o)| o > a && !same(a, o));
    let rule = if more {
        &rules::POWER_UP
    } else {
        &rules::POWER
    };
    let by = always(Aspect::Power, Watts::UCUM, rule);
    by.judge(report, a, o, Some, |a, o| {
        let share = o / a;
        if !(a > 0.0 && o > 0.0 && share.is_finite()) {
            (Outcome::Unknown, Reason::NotARating)
        } else if same(a, o) {
            (Outcome::Fits, Reason::Same)
        } else if share < 1.0 {
            (Outcome::Refused, Reason::Below)
        } else if share <= rules::POWER_UP.limit().high() {
            (Outcome::Unknown, Reason::OneSizeUp)
        } else {
            (Outcome::Refused, Reason::Above)
        }
    });
}

/// A motor that worked at 208 and at 230 V is replaced by one that is rated for both.
fn volts(report: &mut Report, was: Option<Span>, is: Option<Span>) {
    let by = always(Aspect::Volts, Volts::UCUM, &rules::MOTOR_VOLTS);
    by.judge(
        report,
        was,
        is,
        |s| Some(s.high.get()),
        |was, is| {
            let [low, high] = is.ends();
            let limits = rules::MOTOR_VOLTS.limit();
            let near = |v: f64| v >= limits.low() * low && v <= limits.high() * high;
            if !was.is_sound() || !is.is_sound() {
                (Outcome::Unknown, Reason::NotARating)
            } else if was == is {
                (Outcome::Fits, Reason::Same)
            } else if is.holds(was) {
                (Outcome::Fits, Reason::Within)
            } else if was.ends().into_iter().all(near) {
                (Outcome::Unknown, Reason::NearTheRating)
            } else {
                (Outcome::Refused, Reason::Different)
            }
        },
    );
}

fn speed(report: &mut Report, original: &Motor<'_>, candidate: &Motor<'_>) {
    let by = always(Aspect::Speed, PerMinute::UCUM, &rules::SPEED);
    let number = |s: PerMinute| Some(s.get());
    by.judge(
        report,
        original.speed,
        candidate.speed,
        number,
        |was, is| {
            // Both at the frequency that the failed one works at.
            let hertz = original.mains.and_then(Mains::highest);
            let poles = |s| hertz.and_then(|hertz| magnetic_poles(s, hertz));
            match (poles(was), poles(is)) {
                _ if same(was.get(), is.get()) && was.get() > 0.0 => (Outcome::Fits, Reason::Same),
                (Some(a), Some(o)) if a == o => (Outcome::Fits, Reason::Within),
                (Some(a), Some(o)) if a < o => (Outcome::Refused, Reason::Below),
                (Some(_), Some(_)) => (Outcome::Refused, Reason::Above),
                _ if hertz.is_none() => (Outcome::Unknown, Reason::OriginalNotKnown),
                _ => (Outcome::Unknown, Reason::NotARating),
            }
        },
    );
}

/// No more than the circuit allows; where nobody looked, no more than the failed motor drew.
fn amps(report: &mut Report, was: Option<Amps>, circuit: Option<Amps>, is: Option<Amps>) {
    let by = always(Aspect::FullLoadAmps, Amps::UCUM, &rules::MOTOR_AMPS);
    by.judge(
        report,
        circuit.or(was),
        is,
        |a| Some(a.get()),
        |asked, is| {
            let (a, o) = (asked.get(), is.get());
            if !(a > 0.0 && o > 0.0) {
                (Outcome::Unknown, Reason::NotARating)
            } else if same(a, o) {
                (Outcome::Fits, Reason::Same)
            } else if o < a {
                (Outcome::Fits, Reason::Within)
            } else if circuit.is_some() {
                (Outcome::Refused, Reason::Above)
            } else {
                (Outcome::Unknown, Reason::CircuitToBeChecked)
            }
        },
    );
}

fn rotation(report: &mut Report, was: Option<Rotation>, is: Option<Rotation>) {
    let by = if_marked(Aspect::Rotation, "1", &rules::ROTATION);
    by.judge(
        report,
        was,
        is,
        |_| None,
        |was, is| {
            if was == is {
                (Outcome::Fits, Reason::Same)
            } else if is == Rotation::Reversible {
                (Outcome::Fits, Reason::Reversible)
            } else {
                (Outcome::Refused, Reason::Different)
            }
        },
    );
}

fn frame(report: &mut Report, was: Option<&str>, is: Option<&str>) {
    let by = if_marked(Aspect::Frame, "1", &rules::FRAME);
    by.judge(
        report,
        was,
        is,
        |_| None,
        |was, is| {
            if was.eq_ignore_ascii_case(is) {
                (Outcome::Fits, Reason::Same)
            } else {
                (Outcome::Refused, Reason::Different)
            }
        },
    );
}
