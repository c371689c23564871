//! What is to be expected of an open protector, in words. None says that it has closed.

use ohmtrail_core::cooldown::{Advice, COVERAGE, Outlook, Window};
use ohmtrail_core::units::Micros;
use ohmtrail_words::Said;

/// An outlook in a sentence, at the moment that it was worked out for, before it is put into a language.
#[must_use]
pub fn cooling(outlook: &Outlook, now: Micros) -> Said {
    let said = match (outlook.advice, outlook.window) {
        (Advice::StaysOpen, _) => Said::message("cooling-stays-open").with("why", why(outlook)),
        (Advice::DoesNotFit, _) => Said::message("cooling-does-not-fit"),
        (Advice::MeasureAgain, _) => Said::message("cooling-over"),
        (Advice::WaitUntil, Some(window)) => {
            Said::message("cooling-wait").with("expected", expected(&window, now))
        }
        (Advice::Wait | Advice::WaitUntil, _) => {
            let missing = outlook.missing.words().map(Said::from);
            let together = |one: Said, other| {
                Said::message("and-also")
                    .with("one", one)
                    .with("other", other)
            };
            let missing = missing.reduce(together).unwrap_or_default();
            Said::message("cooling-without-time").with("missing", missing)
        }
    };
    said.then("", winding(outlook))
}

/// Why an open counts as evidence.
fn why(outlook: &Outlook) -> Said {
    match outlook.still_open {
        Some(_) if outlook.at_ambient => {
            "with its winding at ambient within the uncertainty".into()
        }
        Some(p) => Said::message("cooling-still-open").with("share", under(p)),
        None => "longer after switching off than the slowest usual compressor needs".into(),
    }
}

/// A probability, none smaller than a tenth of a percent.
fn under(p: f64) -> Said {
    if p < 0.001 {
        "under 0.1 %".into()
    } else {
        Said::own(format!("{:.1} %", p * 100.0))
    }
}

fn expected(window: &Window, now: Micros) -> Said {
    let minutes = |at: Micros| {
        let left = at.since(now) as f64 / 60e6;
        format!("{left:.0}")
    };
    let share = format!("{:.0}", COVERAGE * 100.0);
    let middle = window
        .middle
        .map(|m| Said::message("cooling-middle").with("minutes", minutes(m)));
    match (window.early, window.late) {
        (Some(early), Some(late)) => Said::message("cooling-between")
            .with("early", minutes(early))
            .with("late", minutes(late))
            .with("share", share)
            .then_if(", ", middle),
        (Some(early), None) => Said::message("cooling-not-before")
            .with("early", minutes(early))
            .with("share", share)
            .then_if(", ", middle),
        (None, _) => "is not expected to close in this ambient within a day".into(),
    }
}

/// What the readings say of the winding, behind what was said before.
fn winding(outlook: &Outlook) -> Said {
    let mut said = Said::default();
    if let Some(w) = outlook.winding {
        let warm = Said::message("cooling-winding")
            .with("value", format!("{:.0}", w.value.get()))
            .with("u", format!("{:.0}", 2.0 * w.u));
        said = said.then("; ", warm);
        if outlook.assumed {
            said = said.then(", ", "meter accuracy assumed".into());
        }
    }
    let worth = outlook.kelvins_per_ohm.map(|k| {
        let kelvins = format!("{:.1}", k / 10.0);
        Said::message("cooling-worth").with("kelvins", kelvins)
    });
    said.then_if("; ", worth)
}
