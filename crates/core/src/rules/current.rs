//! Running current against the plate: FLA of a motor; RLA, MCC, LRA and the maker's curve of a
//! compressor.
//!
//! The rated-load amps of a compressor are a number computed for wire and contactor, not the
//! current to expect: above RLA is a warning and no more. Above the maximum continuous current
//! (MCC), just before the protector trips, is a failure.

use serde::Serialize;

use super::{Rule, RuleError, judge, not_negative, plate, practice, second_hand};
use crate::accuracy::Quantity;
use crate::class::Class;
use crate::source::{Source, Status};
use crate::units::{Amps, Ratio};
use crate::verdict::{Limit, Verdict};

/// Above MCC a compressor has failed its rating.
pub const MCC: Rule = Rule::at_most(
    "current.mcc",
    "share of the maximum continuous current",
    "1",
    1.0,
    second_hand("MCC: maximum continuous current, just before the protector trips"),
);
/// Above RLA is a warning.
pub const RLA: Rule = Rule::at_most(
    "current.rla",
    "share of the rated-load amps; above is a warning and no more",
    "1",
    1.0,
    practice("RLA is computed for wire and contactor, not a limit of the running current"),
);
/// Above FLA a motor is overloaded; volts at the low end of their window raise it too.
pub const FLA: Rule = Rule::at_most(
    "current.fla",
    "share of a motor's full-load amps",
    "1",
    1.0,
    practice("running above the marked FLA"),
);
/// From this share of LRA on, a rotor counts as locked.
pub const LOCKED: Rule = Rule::at_least(
    "current.locked",
    "share of the locked-rotor amps from which a rotor counts as locked",
    "1",
    0.7,
    practice("locked rotor: near LRA, which is 4 to 6 times RLA"),
);
/// Under this share of the rated current nothing runs.
pub const IDLE: Rule = Rule::at_least(
    "current.idle",
    "share of the rated current under which nothing runs",
    "1",
    0.05,
    practice("no current"),
);

/// The rows of this subject.
pub const RULES: &[Rule] = &[MCC, RLA, FLA, LOCKED, IDLE];

/// Where a limit by a maker's curve comes from.
pub const CURVE: Source = Source::new(
    "maker's curve at this suction and condensing state",
    Status::Plate,
);

/// What the maker's curve gives at the state of the run, and its tolerance.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Curve {
    /// Amperes expected.
    pub amps: Amps,
    /// The curve's tolerance as a share, such as 0.10.
    pub tolerance: Ratio,
}

/// What the compressor's plate and papers say.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
pub struct Ratings {
    /// Rated-load amps.
    pub rla: Option<Amps>,
    /// Maximum continuous current. Not computed from RLA: the factor differs by maker.
    pub mcc: Option<Amps>,
    /// Locked-rotor amps.
    pub lra: Option<Amps>,
    /// The maker's curve.
    pub curve: Option<Curve>,
}

/// The current of a compressor, judged.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct CurrentVerdict {
    /// Against MCC. Above it fails.
    pub mcc: Option<Verdict>,
    /// Against the maker's curve.
    pub curve: Option<Verdict>,
    /// Against RLA. Above it is [`crate::verdict::Decision::Check`]: a warning and no more.
    pub rla: Option<Verdict>,
    /// Against [`LOCKED`]: "within" means that the rotor counts as locked.
    pub locked: Option<Verdict>,
}

/// The running current of a compressor against all that is known of it.
///
/// # Errors
/// [`RuleError`] on a current or a rating that is none; [`RuleError::NotPositive`] if nothing is
/// known to hold it against.
pub fn compressor(amps: Quantity<Amps>, ratings: &Ratings) -> Result<CurrentVerdict, RuleError> {
    let m = not_negative(amps)?;
    let against = |rule: Rule, rating: Option<Amps>| -> Result<Option<Verdict>, RuleError> {
        let Some(rating) = rating else {
            return Ok(None);
        };
        Ok(Some(judge(m, rule.limit_of(plate(rating)?))))
    };
    let running = |rule: Rule, rating: Option<Amps>| -> Result<Option<Verdict>, RuleError> {
        let Some(rating) = rating else {
            return Ok(None);
        };
        running_against(amps, rule, rating).map(Some)
    };
    let curve = match ratings.curve {
        None => None,
        Some(curve) => Some(judge(m, curve_limit(curve)?)),
    };
    let verdict = CurrentVerdict {
        mcc: running(MCC, ratings.mcc)?,
        curve,
        rla: running(RLA, ratings.rla)?,
        locked: against(LOCKED, ratings.lra)?,
    };
    match verdict {
        CurrentVerdict {
            mcc: None,
            curve: None,
            rla: None,
            locked: None,
        } => Err(RuleError::NotPositive),
        some => Ok(some),
    }
}

/// The running current of a fan or pump motor against its marked full-load amps.
///
/// # Errors
/// [`RuleError`] on a current or a rating that is none.
pub fn motor(amps: Quantity<Amps>, fla: Amps) -> Result<Verdict, RuleError> {
    running_against(amps, FLA, fla)
}

/// An upper limit, with next to no current as a class of its own.
fn running_against(amps: Quantity<Amps>, rule: Rule, rating: Amps) -> Result<Verdict, RuleError> {
    let m = not_negative(amps)?;
    let rating = plate(rating)?;
    let limit = rule.limit_of(rating);
    let idle = IDLE.limit_of(rating).low();
    let bands = limit.bands().with_bottom(Class::Absent, idle);
    Ok(Verdict::of(m, limit, &bands))
}

fn curve_limit(curve: Curve) -> Result<Limit, RuleError> {
    let expected = plate(curve.amps)?;
    let tolerance = curve.tolerance.get();
    if !tolerance.is_finite() {
        return Err(RuleError::NotFinite);
    }
    if tolerance < 0.0 {
        return Err(RuleError::Negative);
    }
    Ok(Limit::new(
        Some(expected * (1.0 - tolerance).max(0.0)),
        Some(expected * (1.0 + tolerance)),
        CURVE,
    ))
}
