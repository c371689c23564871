//! What is to be expected of a protector that stands open, and what is to be done next.

use serde::Serialize;

use super::fit::{Fit, seconds};
use super::{COVERAGE, Normal, RESET, Reference, START, STILL_OPEN, TAU};
use crate::accuracy::{Measured, Quantity};
use crate::rules::RuleError;
use crate::units::{Celsius, Micros, Ohms};

/// No time is given beyond this: such a wait is one until the next day. Seconds.
const HORIZON: f64 = 86_400.0;
/// Halvings that find a moment within the horizon to some milliseconds.
const HALVINGS: u32 = 24;

/// One S-R reading.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Sample {
    /// When.
    pub at: Micros,
    /// The ohms without the leads; the uncertainty has the meter's accuracy, the display's step and
    /// the leads in it.
    pub ohms: Quantity<Ohms>,
    /// One step of the display.
    pub step: Ohms,
}

impl Sample {
    /// What of the uncertainty all readings of the meter share, ohms: all but the rounding.
    pub(super) fn shared(&self) -> f64 {
        let step = self.step.get();
        libm::sqrt((self.ohms.u * self.ohms.u - step * step / 12.0).max(0.0))
    }
}

/// What is known of a motor whose common leg reads open.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Given<'a> {
    /// S-R when it was cold.
    pub reference: Option<Reference>,
    /// The air around it, measured.
    pub ambient: Option<Quantity<Celsius>>,
    /// The S-R readings since it was switched off.
    pub samples: &'a [Sample],
    /// When it was switched off, or when it was first found with its protector open.
    pub off: Micros,
    /// When C-S or C-R last read open.
    pub open: Micros,
    /// At which winding temperature the protector closes; [`Normal::of`] [`RESET`] unless the maker
    /// states it.
    pub reset: Normal,
}

impl<'a> Given<'a> {
    /// Nothing but the two moments.
    #[must_use]
    pub const fn new(off: Micros, open: Micros) -> Given<'a> {
        Given {
            reference: None,
            ambient: None,
            samples: &[],
            off,
            open,
            reset: Normal::of(&RESET),
        }
    }

    /// What a time cannot be given without.
    #[must_use]
    pub const fn missing(&self) -> Missing {
        Missing {
            reference: self.reference.is_none(),
            ambient: self.ambient.is_none(),
            readings: 2_usize.saturating_sub(self.samples.len()),
        }
    }
}

/// What a time cannot be given without.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Missing {
    /// A cold reference of the winding.
    pub reference: bool,
    /// A measured ambient.
    pub ambient: bool,
    /// So many readings of S-R.
    pub readings: usize,
}

impl Missing {
    /// Whether nothing is missing.
    #[must_use]
    pub const fn nothing(&self) -> bool {
        !self.reference && !self.ambient && self.readings == 0
    }

    /// What is missing, in words.
    pub fn words(&self) -> impl Iterator<Item = &'static str> {
        let all = [
            (
                self.reference,
                "a cold reference of the start-run winding, with its temperature",
            ),
            (self.ambient, "the ambient temperature, measured"),
            (
                self.readings == 1,
                "a second reading of start to run, some minutes later",
            ),
            (
                self.readings >= 2,
                "two readings of start to run, some minutes apart",
            ),
        ];
        all.into_iter()
            .filter(|(is, _)| *is)
            .map(|(_, words)| words)
    }
}

/// When the protector is expected to close: in [`COVERAGE`] of the cases between `early` and
/// `late`, if the priors hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Window {
    /// One in ten has closed by then.
    pub early: Option<Micros>,
    /// Half have.
    pub middle: Option<Micros>,
    /// Nine in ten have; none if that is more than a day away, as in an ambient near the reset
    /// temperature.
    pub late: Option<Micros>,
}

/// What is to be done next.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Advice {
    /// Wait, without a time.
    Wait,
    /// Wait; the window is not over.
    WaitUntil,
    /// The window is over, and C was not read since: measure C-S and C-R again.
    MeasureAgain,
    /// C read open when hardly any good protector still would be: evidence for one that has
    /// failed, or for an open common lead. Measure once more before anything is condemned.
    StaysOpen,
    /// The readings do not fit one cooling towards this ambient by this reference.
    DoesNotFit,
}

/// What is to be expected.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Outlook {
    /// What is to be done next.
    pub advice: Advice,
    /// What is missing for a time.
    pub missing: Missing,
    /// The winding's mean temperature: now by the cooling where there is one, else as last read.
    pub winding: Option<Quantity<Celsius>>,
    /// Kelvins for each ohm of S-R.
    pub kelvins_per_ohm: Option<f64>,
    /// When the protector is expected to close.
    pub window: Option<Window>,
    /// The time constant, seconds, as far as the readings tell it.
    pub tau: Option<Normal>,
    /// The probability that a good protector has closed by now, which C read open before.
    pub closed: Option<f64>,
    /// The probability that a good protector would have been open still when C last read open.
    pub still_open: Option<f64>,
    /// When the slowest compressor of the priors would have closed, where there is no reading.
    pub slowest: Option<Micros>,
    /// Whether the winding was at ambient when C last read open, within the expanded
    /// uncertainty of both, and with all of that under the lowest usual reset temperature.
    pub at_ambient: bool,
    /// Something rests on an accuracy that nobody stated.
    pub assumed: bool,
}

/// What is to be expected at `now` of a motor whose common leg reads open.
///
/// # Errors
/// [`RuleError`] on a number that is none, a resistance that is not positive, or a temperature
/// below that of no resistance.
pub fn outlook(given: &Given<'_>, now: Micros) -> Result<Outlook, RuleError> {
    let missing = given.missing();
    let latest = given.samples.iter().max_by_key(|s| s.at);
    let assumed = [
        given.reference.map(|r| r.ohms.assumed || r.at.assumed),
        given.ambient.map(|a| a.assumed),
        latest.map(|s| s.ohms.assumed),
    ];
    check(given)?;
    let mut out = Outlook {
        advice: Advice::Wait,
        missing,
        winding: None,
        kelvins_per_ohm: None,
        window: None,
        tau: None,
        closed: None,
        still_open: None,
        slowest: None,
        at_ambient: false,
        assumed: assumed.into_iter().flatten().any(|a| a),
    };
    if let Some(reference) = given.reference {
        out.kelvins_per_ohm = Some(reference.kelvins_per_ohm()?);
        if let Some(sample) = latest {
            out.winding = Some(reference.temperature(sample.ohms)?);
        }
    }
    let Some(ambient) = given.ambient else {
        return Ok(out);
    };
    let ambient = ambient.measured();
    let Some(reference) = given.reference.filter(|_| !given.samples.is_empty()) else {
        out.slowest = slowest(given.off, ambient);
        if out.slowest.is_some_and(|slowest| slowest <= given.open) {
            out.advice = Advice::StaysOpen;
        }
        return Ok(out);
    };
    let fit = Fit::new(&reference, ambient, given.samples, given.off)?;
    if fit.misfit > most_misfit(fit.used) {
        out.advice = Advice::DoesNotFit;
        return Ok(out);
    }
    let over = |from: Micros, later: f64| fit.over_reset(from, later, given.reset);
    let at_open = over(given.open, 0.0);
    out.still_open = Some(at_open.clamp(0.0, 1.0));
    let (winding, rise) = (fit.winding(given.open), fit.over_ambient(given.open));
    let lowest = RESET.lower.unwrap_or(f64::NEG_INFINITY);
    out.at_ambient = rise.mean <= 2.0 * libm::hypot(winding.sd, ambient.u)
        && winding.mean + 2.0 * winding.sd < lowest;
    if at_open <= STILL_OPEN.upper.unwrap_or(0.0) {
        out.advice = Advice::StaysOpen;
    }
    if missing.nothing() {
        let winding = fit.winding(now);
        out.winding = Some(Quantity {
            value: Celsius(winding.mean),
            u: winding.sd,
            assumed: out.assumed,
        });
        out.tau = Some(fit.tau());
    }
    if missing.nothing() && out.advice != Advice::StaysOpen {
        let share = |later: f64| over(given.open, later) / at_open;
        let closed = 1.0 - share(seconds(given.open, now).max(0.0));
        if closed.is_finite() {
            out.closed = Some(closed.clamp(0.0, 1.0));
        }
        let tail = (1.0 - COVERAGE) / 2.0;
        let by = |open: f64| moment(given.open, open, share);
        let window = Window {
            early: by(1.0 - tail),
            middle: by(0.5),
            late: by(tail),
        };
        out.advice = if window.late.is_some_and(|late| late <= now) {
            Advice::MeasureAgain
        } else {
            Advice::WaitUntil
        };
        out.window = Some(window);
    }
    Ok(out)
}

/// When the slowest compressor of the priors has closed, without a reading: the hottest start, the
/// longest time constant and the lowest reset temperature of their rows all at once, in an ambient
/// that is higher by its expanded uncertainty. None where that never cools so far.
fn slowest(off: Micros, ambient: Measured) -> Option<Micros> {
    let (hot, tau, reset) = (START.upper?, TAU.upper?, RESET.lower?);
    let ambient = ambient.value + ambient.expanded();
    let (over, under) = (hot - ambient, reset - ambient);
    if under <= 0.0 {
        return None;
    }
    let seconds = 60.0 * tau * libm::log(over / under);
    (seconds < HORIZON).then(|| Micros(off.0.saturating_add((seconds * 1e6) as u64)))
}

/// The first moment after `from` at which no more than `open` of the protectors are open; none
/// within the horizon.
fn moment(from: Micros, open: f64, share: impl Fn(f64) -> f64) -> Option<Micros> {
    let (mut low, mut high) = (0.0, HORIZON);
    let reached = share(high) <= open;
    for _ in 0..HALVINGS {
        let middle = (low + high) / 2.0;
        if share(middle) <= open {
            high = middle;
        } else {
            low = middle;
        }
    }
    reached.then(|| Micros(from.0.saturating_add((high * 1e6) as u64)))
}

/// What the readings may be off in all, at the time constant that fits best: the 99.9th percentile
/// of chi square for so many readings, by Wilson and Hilferty's cube (Abramowitz and Stegun
/// 26.4.17).
fn most_misfit(readings: usize) -> f64 {
    const Z_999: f64 = 3.090_232_306_167_813_5;
    if readings == 0 {
        return f64::INFINITY;
    }
    let n = readings as f64;
    let part = 2.0 / (9.0 * n);
    let root = 1.0 - part + Z_999 * libm::sqrt(part);
    n * root * root * root
}

fn check(given: &Given<'_>) -> Result<(), RuleError> {
    let sound = given.ambient.is_none_or(|a| a.measured().is_sound())
        && given.reset.mean.is_finite()
        && given.reset.sd.is_finite()
        && given.reset.sd >= 0.0
        && given
            .samples
            .iter()
            .all(|s| s.ohms.measured().is_sound() && s.step.get().is_finite());
    if !sound {
        return Err(RuleError::NotFinite);
    }
    if given.samples.iter().any(|s| s.ohms.value.get() <= 0.0) {
        return Err(RuleError::NotPositive);
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Abramowitz and Stegun, table 26.8 (from memory): chi square exceeded one time in a thousand.
    #[test]
    fn the_bound_of_the_misfit_is_chi_squares() {
        for (n, want) in [(2, 13.816), (4, 18.467), (10, 29.588), (30, 59.703)] {
            assert!((most_misfit(n) / want - 1.0).abs() < 0.03, "{n}");
        }
    }

    #[test]
    fn what_is_missing_is_named() {
        let mut given = Given::new(Micros(0), Micros(0));
        assert_eq!(given.missing().words().count(), 3);
        given.ambient = Some(Quantity::new(Celsius(31.0), 1.0));
        assert_eq!(given.missing().words().count(), 2);
        assert!(!given.missing().nothing());
    }
}
