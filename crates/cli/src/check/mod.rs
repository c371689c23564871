//! `ohmtrail check RULE …`: one rule of the trade on values as typed, for the shop bench.

mod air;
mod answer;
mod capacitor;
mod charge;
mod cooldown;
mod current;
mod input;
mod insulation;
mod list;
mod meaning;
pub mod number;
mod ohms;
mod refrigerant;
mod volts;
mod winding;

use clap::{ColorChoice, Parser, Subcommand};
use ohmtrail_core::accuracy::Void;
use ohmtrail_core::rules::RuleError;
use serde_json::Value;

use self::answer::{Answer, Level};
use self::input::{Bench, Meter};
pub use self::input::{rating, tolerance};
use crate::exit::Exit;
use crate::fail::Fail;
use crate::out::Out;

/// Which rule, and how accurate the meter is.
#[derive(Debug, clap::Args)]
pub struct Args {
    #[command(flatten)]
    meter: Meter,
    /// Which rule.
    #[command(subcommand)]
    rule: Rule,
}

#[derive(Debug, Subcommand)]
enum Rule {
    /// List every limit with its source
    List,
    /// Supply volts against the plate, and ANSI C84.1
    Supply(volts::Supply),
    /// Volts across a closed contact under load
    Drop(volts::Drop),
    /// Unbalance of three line voltages, or of three currents
    Unbalance(volts::Unbalance),
    /// Volts of the 24 V circuit, or at a coil
    Control(volts::Control),
    /// Volts left on a capacitor before anyone touches it
    Discharge(volts::Discharge),
    /// One section of a run capacitor, off circuit
    Capacitor(capacitor::Section),
    /// A run capacitor in the running unit, from its amps and volts
    UnderLoad(capacitor::UnderLoad),
    /// Compressor or fan motor windings: open pairs and the sum rule
    Winding(winding::Winding),
    /// Which of three unnamed terminals is common, start and run
    Terminals(winding::Terminals),
    /// Spread of the three windings of a three-phase motor
    Spread(winding::Spread),
    /// Winding resistance at another temperature, or the winding's temperature
    ///
    /// OHMS --at T --to T gives the resistance at another temperature; OHMS --reference OHMS
    /// --reference-at T gives the winding's temperature; with --at too, the share of the reference.
    Temperature(ohms::Temperature),
    /// How long until the open overload of a hot compressor is expected to close
    Cooldown(cooldown::Cooldown),
    /// Insulation to ground of a hermetic compressor
    Hermetic(insulation::HermeticArgs),
    /// Insulation to ground of an open motor, corrected to 40 Cel
    OpenMotor(insulation::OpenMotor),
    /// Insulation of a large hermetic machine at 10 s and 60 s
    LargeHermetic(insulation::LargeHermetic),
    /// Running amps of a motor against its full-load amps
    MotorCurrent(current::MotorCurrent),
    /// Running amps of a compressor against MCC, curve, RLA, LRA
    CompressorCurrent(current::CompressorCurrent),
    /// Boiling temperatures of a refrigerant at a pressure
    Saturation(refrigerant::Saturation),
    /// Superheat: the suction line above the dew point
    Superheat(refrigerant::Line),
    /// Subcooling: the liquid line below the bubble point
    Subcooling(refrigerant::Line),
    /// What superheat a fixed orifice is charged to in this weather
    TargetSuperheat(refrigerant::Target),
    /// Moist air: humidity, wet bulb, dew point, enthalpy
    Air(air::Moist),
    /// Return air less supply air, against what is expected in that air
    Split(charge::Split),
    /// The compression ratio, of absolute pressures
    Compression(charge::Compression),
    /// What the refrigerant side means together, and what to measure next
    Charge(charge::Charge),
}

/// Why a rule gave no verdict.
#[derive(Debug)]
enum Stop {
    /// The value or the command line is wrong.
    Fail(Fail),
    /// The reading of this name proves nothing.
    Void(&'static str, Void),
    /// The rule does not apply.
    Rule(RuleError),
}

impl From<Fail> for Stop {
    fn from(fail: Fail) -> Self {
        Stop::Fail(fail)
    }
}

impl From<RuleError> for Stop {
    fn from(error: RuleError) -> Self {
        Stop::Rule(error)
    }
}

/// Judges, prints, and says by the exit code how it came out.
pub fn run(args: &Args, out: &mut Out) -> Result<Exit, Fail> {
    if let Rule::List = args.rule {
        return list::run(out);
    }
    let mut bench = Bench::new(&args.meter)?;
    let (check, answer) = answer(&args.rule, &mut bench)?;
    answer.print(check, &bench, out)?;
    Ok(match answer.level() {
        Level::Good | Level::Note => Exit::Done,
        Level::Fails => Exit::Fails,
        Level::Open | Level::Check => Exit::Open,
    })
}

/// What is typed after `ohmtrail check`.
#[derive(Debug, Parser)]
#[command(name = "check", color = ColorChoice::Never, disable_help_flag = true)]
struct Alone {
    #[command(flatten)]
    args: Args,
}

/// The JSON document for what would be typed after `ohmtrail check`, for the daemon.
///
/// # Errors
/// What is wrong with it, in words.
pub fn document(words: &[String]) -> Result<Value, String> {
    let typed = std::iter::once("check").chain(words.iter().map(String::as_str));
    let alone = Alone::try_parse_from(typed).map_err(|e| e.to_string())?;
    let mut bench = Bench::new(&alone.args.meter).map_err(|e| e.to_string())?;
    let (check, answer) = answer(&alone.args.rule, &mut bench).map_err(|e| e.to_string())?;
    Ok(answer.json(check, &bench))
}

/// Judges; a reading that proves nothing is an answer, too.
fn answer(rule: &Rule, bench: &mut Bench) -> Result<(&'static str, Answer), Fail> {
    let (check, judged) = judge(rule, bench);
    let answer = match judged {
        Ok(answer) => answer,
        Err(Stop::Fail(fail)) => return Err(fail),
        Err(Stop::Void(name, why)) => Answer::void(format!("{name}: {}", why.words())),
        Err(Stop::Rule(why @ (RuleError::NoLoad | RuleError::Negative | RuleError::Void(_)))) => {
            Answer::void(why.words().to_owned())
        }
        Err(Stop::Rule(why)) => return Err(Fail::input(format!("check {check}: {}", why.words()))),
    };
    Ok((check, answer))
}

fn judge(rule: &Rule, bench: &mut Bench) -> (&'static str, Result<Answer, Stop>) {
    match rule {
        Rule::List => ("list", Err(Fail::usage("list judges nothing").into())),
        Rule::Supply(args) => ("supply", args.judge(bench)),
        Rule::Drop(args) => ("drop", args.judge(bench)),
        Rule::Unbalance(args) => ("unbalance", args.judge(bench)),
        Rule::Control(args) => ("control", args.judge(bench)),
        Rule::Discharge(args) => ("discharge", args.judge(bench)),
        Rule::Capacitor(args) => ("capacitor", args.judge(bench)),
        Rule::UnderLoad(args) => ("under-load", args.judge(bench)),
        Rule::Winding(args) => ("winding", args.judge(bench)),
        Rule::Terminals(args) => ("terminals", args.judge(bench)),
        Rule::Spread(args) => ("spread", args.judge(bench)),
        Rule::Temperature(args) => ("temperature", args.judge(bench)),
        Rule::Cooldown(args) => ("cooldown", args.judge(bench)),
        Rule::Hermetic(args) => ("hermetic", args.judge(bench)),
        Rule::OpenMotor(args) => ("open-motor", args.judge(bench)),
        Rule::LargeHermetic(args) => ("large-hermetic", args.judge(bench)),
        Rule::Saturation(args) => ("saturation", args.judge(bench)),
        Rule::Superheat(args) => ("superheat", args.superheat(bench)),
        Rule::Subcooling(args) => ("subcooling", args.subcooling(bench)),
        Rule::TargetSuperheat(args) => ("target-superheat", args.judge(bench)),
        Rule::Air(args) => ("air", args.judge(bench)),
        Rule::Split(args) => ("split", args.judge(bench)),
        Rule::Compression(args) => ("compression", args.judge(bench)),
        Rule::Charge(args) => ("charge", args.judge(bench)),
        Rule::MotorCurrent(args) => ("motor-current", args.judge(bench)),
        Rule::CompressorCurrent(args) => ("compressor-current", args.judge(bench)),
    }
}
