//! Checks of run capacitors: off circuit, and from volts and amps in the running unit.

use ohmtrail_core::accuracy::Quantity;
use ohmtrail_core::class::Class;
use ohmtrail_core::reading::Function;
use ohmtrail_core::rules::capacitor::{self as rule, Known, Tolerance};
use ohmtrail_core::rules::under_load::{self, Feed};
use ohmtrail_core::units::Farads;
use ohmtrail_core::verdict::Decision;
use serde_json::json;

use super::Stop;
use super::answer::{Answer, Level};
use super::input::{Bench, rating_if, tolerance};
use super::number::show;
use super::volts::LIVE;
use crate::fail::Fail;

/// What is known of the section.
#[derive(Debug, clap::Args)]
struct KnownArgs {
    /// Capacitance marked for this section, such as 55uF
    #[arg(long, value_name = "FARADS")]
    marked: Option<String>,
    /// Tolerance marked on it, such as 6% or -5/+10%
    #[arg(
        long,
        value_name = "PERCENT",
        requires = "marked",
        allow_hyphen_values = true
    )]
    tolerance: Option<String>,
    /// Capacitance that the plate of its motor or compressor asks for, where no marking can be
    /// read
    #[arg(long, value_name = "FARADS")]
    plate: Option<String>,
}

impl KnownArgs {
    fn known(&self) -> Result<Known, Fail> {
        Ok(Known {
            marked: rating_if("marked", self.marked.as_ref(), Function::Farads)?,
            tolerance: match &self.tolerance {
                Some(text) => {
                    let (minus, plus) = tolerance(text)?;
                    Some(Tolerance { minus, plus })
                }
                None => None,
            },
            plate: rating_if("plate", self.plate.as_ref(), Function::Farads)?,
        })
    }

    fn judge(&self, farads: Quantity<Farads>) -> Result<Answer, Stop> {
        let v = rule::section(farads, &self.known()?)?;
        let gone = v.gone.is_some_and(|g| g.decision == Decision::Fail);
        let words = match (v.replace.decision, v.replace.class) {
            (_, Class::Absent) => "The section is open: it has failed.",
            _ if gone => "The section has lost more than half: it has failed.",
            (Decision::Pass | Decision::ConditionalPass, _) => "The section is within its limits.",
            (Decision::Fail | Decision::ConditionalFail, _) => {
                "The section is outside its marking: replace it."
            }
            (Decision::Check, _) => {
                "Outside what is commonly accepted, but no marked limit says so: read the marking."
            }
            (Decision::NotJudged, _) => "Too close to a limit for this meter.",
        };
        let mut answer = Answer::new(words)
            .found(
                "basis",
                v.basis.words(),
                "what it was held against",
                Level::Note,
                None,
                json!(v.basis),
            )
            .verdict("replace", "F", v.replace)
            .verdict_if("warn", "F", v.warn);
        if let Some(gone) = v.gone {
            answer = answer.verdict("gone", "F", gone);
        }
        Ok(answer.unproven(&[
            "a bulged or leaking can, or a loose terminal: reject it whatever it reads",
        ]))
    }
}

/// `check capacitor`.
#[derive(Debug, clap::Args)]
pub struct Section {
    /// The capacitance read, such as 55.1uF
    farads: String,
    #[command(flatten)]
    known: KnownArgs,
}

impl Section {
    /// Judges.
    pub fn judge(&self, bench: &mut Bench) -> Result<Answer, Stop> {
        let farads = bench.read("farads", &self.farads, Function::Farads)?;
        Ok(self.known.judge(farads)?.caution(
            "off circuit, on a unit proved dead; discharged through a resistor and proved first",
        ))
    }
}

/// `check under-load`.
#[derive(Debug, clap::Args)]
pub struct UnderLoad {
    /// Amps in the capacitor's own lead
    #[arg(long, value_name = "AMPS")]
    amps: String,
    /// Volts across the capacitor itself
    #[arg(long, value_name = "VOLTS")]
    volts: String,
    /// Frequency of the supply, such as 60.0Hz
    #[arg(long, value_name = "HERTZ")]
    hertz: String,
    /// The motor is fed by an inverter: the method does not hold
    #[arg(long)]
    inverter: bool,
    #[command(flatten)]
    known: KnownArgs,
}

impl UnderLoad {
    /// Judges.
    pub fn judge(&self, bench: &mut Bench) -> Result<Answer, Stop> {
        let amps = bench.read("amps", &self.amps, Function::AmpsAc)?;
        let volts = bench.read("volts", &self.volts, Function::VoltsAc)?;
        let hertz = bench.read("hertz", &self.hertz, Function::Hertz)?;
        let feed = if self.inverter {
            Feed::Inverter
        } else {
            Feed::Mains
        };
        let farads = under_load::capacitance(amps, volts, hertz, feed)?;
        let answer = self.known.judge(farads)?;
        Ok(answer
            .number(
                "farads",
                &format!("capacitance under load, {}", show(farads.value.get(), "F")),
                farads.value.get(),
                farads.u,
                "F",
                under_load::FORMULA,
            )
            .caution(LIVE)
            .caution("a run capacitor stands at about 440 V: clamp the lead where it is insulated"))
    }
}
