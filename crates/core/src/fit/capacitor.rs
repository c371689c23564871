//! Capacitors of motors: one section against one capacitor, or against several in parallel.
//!
//! Pieces in parallel stand at the same volts, so each must bear the original's; their capacitance
//! adds. The tolerance of the sum is worked out twice: the worst case, which decides, and the root
//! of the sum of squares, which holds only if the pieces deviate independently of each other (two
//! of one lot do not). Pieces in series are never offered: they share the volts by their
//! capacitance and their leakage, which nobody has measured.

use serde::Serialize;

use super::{
    Aspect, By, Duty, Mains, Outcome, ROUNDING, Reason, Report, always, if_marked, rules, same,
};
use crate::rules::capacitor::{REPLACE, Tolerance, WARN};
use crate::units::{Celsius, Farads, Ratio, Volts};

/// What happens when a capacitor fails, from nothing to a film in segments that fuse one by one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
pub enum Protection {
    /// No protection: S0, formerly P0.
    S0,
    /// S1, formerly P1: fails open or shorted, no fire.
    S1,
    /// S2, formerly P2: fails open.
    S2,
    /// S3: segmented film.
    S3,
}

/// One section, by its marking.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
pub struct Capacitor {
    /// Capacitance.
    pub farads: Option<Farads>,
    /// Tolerance.
    pub tolerance: Option<Tolerance>,
    /// Rated volts, AC.
    pub volts: Option<Volts>,
    /// Rated frequencies; of the failed one, those it works at.
    pub mains: Option<Mains>,
    /// For running or for starting.
    pub duty: Option<Duty>,
    /// Highest temperature it may work at.
    pub hottest: Option<Celsius>,
    /// Lowest temperature it may work at.
    pub coldest: Option<Celsius>,
    /// Protection on failure.
    pub protection: Option<Protection>,
    /// Hours that its class of operation stands for.
    pub hours: Option<f64>,
}

/// Pieces in parallel, taken together.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Bank {
    /// The marking that the whole would have: the sum, its worst-case tolerance, and of every
    /// other rating the weakest; what one piece does not bear, the whole does not.
    pub whole: Capacitor,
    /// The tolerance of the sum if the pieces deviate independently.
    pub statistical: Option<Tolerance>,
    /// Every criterion.
    pub report: Report,
}

/// Pieces that stand in parallel for one section. One piece is a bank of one.
#[must_use]
pub fn bank(original: &Capacitor, pieces: &[Capacitor]) -> Bank {
    let whole = in_parallel(pieces);
    let statistical = tolerance_of(pieces, Together::Independent);
    let mut report = Report::default();
    capacitance(&mut report, original, &whole);
    tolerance(&mut report, original, &whole, statistical);
    always(Aspect::Volts, Volts::UCUM, &rules::CAPACITOR_VOLTS).share(
        &mut report,
        original.volts.map(Volts::get),
        whole.volts.map(Volts::get),
    );
    if_marked(Aspect::Frequency, "Hz", &rules::CAPACITOR_FREQUENCY).share(
        &mut report,
        original.mains.and_then(Mains::highest),
        whole.mains.and_then(Mains::highest),
    );
    duty(&mut report, original.duty, whole.duty);
    if_marked(Aspect::Hottest, Celsius::UCUM, &rules::HOTTEST).difference(
        &mut report,
        original.hottest.map(Celsius::get),
        whole.hottest.map(Celsius::get),
    );
    if_marked(Aspect::Coldest, Celsius::UCUM, &rules::COLDEST).difference(
        &mut report,
        original.coldest.map(Celsius::get),
        whole.coldest.map(Celsius::get),
    );
    if_marked(Aspect::Protection, "1", &rules::PROTECTION).difference(
        &mut report,
        original.protection.map(rank),
        whole.protection.map(rank),
    );
    if_marked(Aspect::Life, "h", &rules::LIFE).share(&mut report, original.hours, whole.hours);
    Bank {
        whole,
        statistical,
        report,
    }
}

/// Whether one can with one common terminal may stand for two capacitors: only where both have a
/// side on the same terminal. `None` where nobody looked.
#[must_use]
pub fn one_can(common: Option<bool>) -> (Outcome, Reason) {
    match common {
        Some(true) => (Outcome::Fits, Reason::OneCommon),
        Some(false) => (Outcome::Refused, Reason::NoCommon),
        None => (Outcome::Unknown, Reason::CommonNotKnown),
    }
}

const fn rank(protection: Protection) -> f64 {
    match protection {
        Protection::S0 => 0.0,
        Protection::S1 => 1.0,
        Protection::S2 => 2.0,
        Protection::S3 => 3.0,
    }
}

/// How the pieces' deviations come together.
#[derive(Clone, Copy)]
enum Together {
    WorstCase,
    Independent,
}

/// The tolerance of a sum: the pieces' own, weighted by what each adds (JCGM 100:2008, 5.1.2 for
/// independent ones). None where a value is missing or is no capacitance.
fn tolerance_of(pieces: &[Capacitor], how: Together) -> Option<Tolerance> {
    let (mut sum, mut minus, mut plus) = (0.0, 0.0, 0.0);
    for piece in pieces {
        let farads = piece.farads.map(Farads::get).filter(|f| *f > 0.0)?;
        let own = piece.tolerance?;
        let (below, above) = (farads * own.minus.get(), farads * own.plus.get());
        let sound = below >= 0.0 && above >= 0.0;
        if !sound {
            return None;
        }
        sum += farads;
        (minus, plus) = match how {
            Together::WorstCase => (minus + below, plus + above),
            Together::Independent => (libm::hypot(minus, below), libm::hypot(plus, above)),
        };
    }
    let shares = (minus / sum, plus / sum);
    (shares.0.is_finite() && shares.1.is_finite()).then_some(Tolerance {
        minus: Ratio(shares.0),
        plus: Ratio(shares.1),
    })
}

/// The marking that pieces in parallel would have together.
fn in_parallel(pieces: &[Capacitor]) -> Capacitor {
    let Some((first, rest)) = pieces.split_first() else {
        return Capacitor::default();
    };
    let mut whole = *first;
    for piece in rest {
        let farads = both(whole.farads, piece.farads, |a, b| Farads(a.get() + b.get()));
        whole = Capacitor {
            farads,
            tolerance: None,
            volts: both(whole.volts, piece.volts, |a, b| Volts(a.get().min(b.get()))),
            mains: both(whole.mains, piece.mains, Mains::common),
            duty: both(whole.duty, piece.duty, Ord::min),
            hottest: both(whole.hottest, piece.hottest, |a, b| {
                Celsius(a.get().min(b.get()))
            }),
            coldest: both(whole.coldest, piece.coldest, |a, b| {
                Celsius(a.get().max(b.get()))
            }),
            protection: both(whole.protection, piece.protection, Ord::min),
            hours: both(whole.hours, piece.hours, f64::min),
        };
    }
    whole.tolerance = tolerance_of(pieces, Together::WorstCase);
    whole
}

fn both<T>(a: Option<T>, b: Option<T>, join: impl Fn(T, T) -> T) -> Option<T> {
    a.zip(b).map(|(a, b)| join(a, b))
}

/// The lowest and the highest value of a marking.
fn band(farads: f64, tolerance: Tolerance) -> Option<(f64, f64)> {
    let (minus, plus) = (tolerance.minus.get(), tolerance.plus.get());
    (minus >= 0.0 && plus >= 0.0 && minus < 1.0)
        .then_some((farads * (1.0 - minus), farads * (1.0 + plus)))
}

/// Whether the one's band lies within the other's.
fn inside(whole: (f64, Tolerance), original: (f64, Tolerance)) -> Option<bool> {
    let (low, high) = band(original.0, original.1)?;
    let (least, most) = band(whole.0, whole.1)?;
    let rounding = ROUNDING * original.0;
    Some(least >= low - rounding && most <= high + rounding)
}

fn capacitance(report: &mut Report, original: &Capacitor, whole: &Capacitor) {
    let by = always(Aspect::Capacitance, Farads::UCUM, &rules::CAPACITANCE);
    let number = |f: Farads| Some(f.get());
    by.judge(
        report,
        original.farads,
        whole.farads,
        number,
        |asked, offered| {
            let (a, o) = (asked.get(), offered.get());
            let bands = original.tolerance.zip(whole.tolerance);
            let within = bands.and_then(|(was, is)| inside((o, is), (a, was)));
            if !(a > 0.0 && o > 0.0 && a.is_finite() && o.is_finite()) {
                (Outcome::Unknown, Reason::NotARating)
            } else if same(a, o) {
                (Outcome::Fits, Reason::Same)
            } else if within == Some(true) {
                (Outcome::Unknown, Reason::InsideTheBand)
            } else if o < a {
                (Outcome::Refused, Reason::Below)
            } else {
                (Outcome::Refused, Reason::Above)
            }
        },
    );
}

/// Whether a tolerance is no wider than another, on each side; none where one is no tolerance.
fn no_wider(is: Tolerance, was: Tolerance) -> Option<bool> {
    let sides = [(is.minus, was.minus), (is.plus, was.plus)];
    let sides = sides.map(|(is, was)| (is.get(), was.get()));
    let sound = sides.iter().all(|(is, was)| *is >= 0.0 && *was >= 0.0);
    sound.then(|| sides.iter().all(|(is, was)| *is <= *was + ROUNDING))
}

/// Whether two tolerances are the same.
fn alike(a: Tolerance, b: Tolerance) -> bool {
    same(a.minus.get(), b.minus.get()) && same(a.plus.get(), b.plus.get())
}

/// The wider side: what is shown of a tolerance.
fn wider(tolerance: Tolerance) -> f64 {
    tolerance.minus.get().max(tolerance.plus.get())
}

fn tolerance(
    report: &mut Report,
    original: &Capacitor,
    whole: &Capacitor,
    statistical: Option<Tolerance>,
) {
    let shown = |t: Option<Tolerance>| t.map(wider);
    let (asked, offered) = (shown(original.tolerance), shown(whole.tolerance));
    let by = always(Aspect::Tolerance, Ratio::UCUM, &rules::TOLERANCE);
    let unmarked = always(Aspect::Tolerance, Ratio::UCUM, &rules::TOLERANCE_UNMARKED);
    let (by, said): (By, _) = match (original.tolerance, whole.tolerance) {
        (_, None) => (by, (Outcome::Unknown, Reason::CandidateNotKnown)),
        (None, Some(is)) => (unmarked, by_practice(is)),
        (Some(was), Some(is)) => {
            let said = match (
                no_wider(is, was),
                statistical.and_then(|t| no_wider(t, was)),
            ) {
                (None, _) => (Outcome::Unknown, Reason::NotARating),
                (Some(true), _) if alike(is, was) => (Outcome::Fits, Reason::Same),
                (Some(true), _) => (Outcome::Fits, Reason::Within),
                (Some(false), Some(true)) => (Outcome::Refused, Reason::OnlyStatistically),
                (Some(false), _) => (Outcome::Refused, Reason::Above),
            };
            (by, said)
        }
    };
    report.push(by.row(said, asked, offered));
}

/// Without a marked tolerance: within the share that common practice warns at, or replaces at.
fn by_practice(tolerance: Tolerance) -> (Outcome, Reason) {
    let over = |share: Option<f64>| wider(tolerance) > share.unwrap_or(1.0) - 1.0 + ROUNDING;
    if over(REPLACE.upper) {
        (Outcome::Refused, Reason::Above)
    } else if over(WARN.upper) {
        (Outcome::Unknown, Reason::UnmarkedWider)
    } else if wider(tolerance) >= 0.0 {
        (Outcome::Fits, Reason::UnmarkedWithin)
    } else {
        (Outcome::Unknown, Reason::NotARating)
    }
}

fn duty(report: &mut Report, original: Option<Duty>, whole: Option<Duty>) {
    let by = always(Aspect::Duty, "1", &rules::DUTY);
    let number = |d: Duty| match d {
        Duty::Continuous => Some(1.0),
        Duty::Intermittent => Some(0.0),
    };
    by.judge(report, original, whole, number, |was, is| match (was, is) {
        (Duty::Continuous, Duty::Intermittent) => (Outcome::Refused, Reason::StartForRun),
        (Duty::Intermittent, Duty::Continuous) => (Outcome::Unknown, Reason::RunForStart),
        _ => (Outcome::Fits, Reason::Same),
    });
}
