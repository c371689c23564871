//! What is to be expected of an open protector, in words. None says that it has closed.

use ohmtrail_core::cooldown::{Advice, COVERAGE, Outlook, Window};
use ohmtrail_core::units::Micros;

/// Measure again, in words.
const AGAIN: &str = "measure common to start and common to run again";

/// An outlook in a sentence, at the moment that it was worked out for.
#[must_use]
pub fn cooling(outlook: &Outlook, now: Micros) -> String {
    let winding = winding(outlook);
    match (outlook.advice, outlook.window) {
        (Advice::StaysOpen, _) => format!(
            "common read open {}: evidence for a protector that has failed, or for an open common \
             lead; look at the common wire and its connector, and {AGAIN} before anything is \
             condemned{winding}",
            why(outlook)
        ),
        (Advice::DoesNotFit, _) => format!(
            "wait, without a time: the readings do not fit one cooling towards this ambient by \
             this cold reference; check leads, ambient and reference, and read start to run \
             again{winding}"
        ),
        (Advice::MeasureAgain, _) => format!(
            "the time in which the overload was expected to close is over: {AGAIN}{winding}"
        ),
        (Advice::WaitUntil, Some(window)) => {
            format!(
                "wait: the overload {}; then {AGAIN}{winding}",
                expected(&window, now)
            )
        }
        (Advice::Wait | Advice::WaitUntil, _) => {
            let missing: Vec<&str> = outlook.missing.words().collect();
            format!(
                "wait, without a time; for one, give {}{winding}",
                missing.join(", and ")
            )
        }
    }
}

/// Why an open counts as evidence.
fn why(outlook: &Outlook) -> String {
    match outlook.still_open {
        Some(_) if outlook.at_ambient => {
            "with its winding at ambient within the uncertainty".to_owned()
        }
        Some(p) => format!(
            "where a good protector still would with a probability of {}",
            if p < 0.001 {
                "under 0.1 %".to_owned()
            } else {
                format!("{:.1} %", p * 100.0)
            }
        ),
        None => "longer after switching off than the slowest usual compressor needs".to_owned(),
    }
}

fn expected(window: &Window, now: Micros) -> String {
    let minutes = |at: Micros| {
        let left = at.since(now) as f64 / 60e6;
        format!("{left:.0}")
    };
    let middle = window.middle.map_or_else(String::new, |m| {
        format!(", as likely as not within {} minutes", minutes(m))
    });
    let share = COVERAGE * 100.0;
    match (window.early, window.late) {
        (Some(early), Some(late)) => format!(
            "is expected to close in {} to {} minutes ({share:.0} %){middle}",
            minutes(early),
            minutes(late)
        ),
        (Some(early), None) => format!(
            "is not expected to close before {} minutes, and in this ambient perhaps not within \
             a day ({share:.0} %){middle}",
            minutes(early)
        ),
        (None, _) => "is not expected to close in this ambient within a day".to_owned(),
    }
}

/// What the readings say of the winding.
fn winding(outlook: &Outlook) -> String {
    let worth = outlook.kelvins_per_ohm.map_or_else(String::new, |k| {
        format!("; 0.1 ohm of start to run is {:.1} K", k / 10.0)
    });
    let warm = outlook.winding.map_or_else(String::new, |w| {
        format!("; winding at {:.0} ± {:.0} °C", w.value.get(), 2.0 * w.u)
    });
    let assumed = if outlook.assumed && !warm.is_empty() {
        ", meter accuracy assumed"
    } else {
        ""
    };
    format!("{warm}{assumed}{worth}")
}
