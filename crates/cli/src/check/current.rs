//! Checks of running amps.

use ohmtrail_core::class::Class;
use ohmtrail_core::reading::Function;
use ohmtrail_core::rules::current::{self as rule, Curve, LOCKED, Ratings};
use ohmtrail_core::units::Amps;
use serde_json::json;

use super::Stop;
use super::answer::{Answer, Level};
use super::input::{Bench, rating, rating_if, tolerance};
use super::number::show;
use super::volts::LIVE;

/// `check motor-current`.
#[derive(Debug, clap::Args)]
pub struct MotorCurrent {
    /// The amps read
    amps: String,
    /// Full-load amps marked on the motor
    #[arg(long, value_name = "AMPS")]
    fla: String,
}

impl MotorCurrent {
    /// Judges.
    pub fn judge(&self, bench: &mut Bench) -> Result<Answer, Stop> {
        let amps = bench.read("amps", &self.amps, Function::AmpsAc)?;
        let fla = Amps(rating("fla", &self.fla, Function::AmpsAc)?);
        let v = rule::motor(amps, fla)?;
        let words = match v.class {
            Class::Absent => "Next to no current: nothing runs.",
            Class::High => "Over the marked full-load amps: look for load, bearings and low volts.",
            _ => "Not over the marked full-load amps.",
        };
        Ok(Answer::new(words).verdict("fla", "A", v).caution(LIVE))
    }
}

/// `check compressor-current`.
#[derive(Debug, clap::Args)]
#[command(group = clap::ArgGroup::new("known").required(true).multiple(true))]
pub struct CompressorCurrent {
    /// The amps read
    amps: String,
    /// Rated-load amps: above them is a warning and no more
    #[arg(long, value_name = "AMPS", group = "known")]
    rla: Option<String>,
    /// Maximum continuous current, as the maker states it
    #[arg(long, value_name = "AMPS", group = "known")]
    mcc: Option<String>,
    /// Locked-rotor amps
    #[arg(long, value_name = "AMPS", group = "known")]
    lra: Option<String>,
    /// Amps by the maker's curve at this state of the run
    #[arg(
        long,
        value_name = "AMPS",
        group = "known",
        requires = "curve_tolerance"
    )]
    curve: Option<String>,
    /// The curve's tolerance, such as 10%
    #[arg(long, value_name = "PERCENT", requires = "curve")]
    curve_tolerance: Option<String>,
}

impl CompressorCurrent {
    /// Judges.
    pub fn judge(&self, bench: &mut Bench) -> Result<Answer, Stop> {
        let amps = bench.read("amps", &self.amps, Function::AmpsAc)?;
        let curve = match (&self.curve, &self.curve_tolerance) {
            (Some(curve), Some(share)) => Some(Curve {
                amps: Amps(rating("curve", curve, Function::AmpsAc)?),
                tolerance: tolerance(share)?.1,
            }),
            _ => None,
        };
        let ratings = Ratings {
            rla: rating_if("rla", self.rla.as_ref(), Function::AmpsAc)?,
            mcc: rating_if("mcc", self.mcc.as_ref(), Function::AmpsAc)?,
            lra: rating_if("lra", self.lra.as_ref(), Function::AmpsAc)?,
            curve,
        };
        let v = rule::compressor(amps, &ratings)?;
        let locked = v.locked.map(|l| l.class == Class::Within);
        let words = match locked {
            Some(true) => {
                "The rotor counts as locked: off now, and no second try before it has rested."
            }
            _ => "The running amps, against all that is known of the compressor.",
        };
        let mut answer = Answer::new(words)
            .verdict_if("mcc", "A", v.mcc)
            .verdict_if("curve", "A", v.curve)
            .verdict_if("rla", "A", v.rla);
        if let (Some(locked), Some(lra)) = (locked, ratings.lra) {
            let level = if locked { Level::Check } else { Level::Good };
            answer = answer.found(
                "locked-rotor",
                if locked { "locked" } else { "not locked" },
                format!(
                    "locked from {} on",
                    show(LOCKED.limit_of(lra.get()).low(), "A")
                ),
                level,
                Some(LOCKED.source),
                json!({"locked": locked}),
            );
        }
        Ok(answer.caution(LIVE))
    }
}
