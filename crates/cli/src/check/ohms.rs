//! Winding resistance and temperature.

use clap::ValueEnum;
use ohmtrail_core::accuracy::Quantity;
use ohmtrail_core::reading::Function;
use ohmtrail_core::rules::temperature::{self as rule, LAW, Metal};
use ohmtrail_core::units::{Celsius, Ohms};

use super::Stop;
use super::answer::{Answer, Level};
use super::input::{Bench, LeadsArgs, rating};
use super::number::show;
use super::winding::DEAD;
use crate::fail::Fail;

#[derive(Debug, Clone, Copy, ValueEnum)]
enum MetalArg {
    /// Copper
    Copper,
    /// Aluminium of electrical grade
    Aluminium,
}

/// `check temperature`.
#[derive(Debug, clap::Args)]
pub struct Temperature {
    /// The resistance now
    ohms: String,
    /// The winding's temperature now, such as 24.0Cel
    #[arg(long, value_name = "CELSIUS", allow_hyphen_values = true)]
    at: Option<String>,
    /// The temperature wanted
    #[arg(
        long,
        value_name = "CELSIUS",
        allow_hyphen_values = true,
        conflicts_with = "reference"
    )]
    to: Option<String>,
    /// A known resistance of the same winding
    #[arg(long, value_name = "OHMS", requires = "reference_at")]
    reference: Option<String>,
    /// The winding's temperature at that reference
    #[arg(
        long,
        value_name = "CELSIUS",
        allow_hyphen_values = true,
        requires = "reference"
    )]
    reference_at: Option<String>,
    /// What the winding is made of
    #[arg(long, value_enum)]
    metal: MetalArg,
    #[command(flatten)]
    leads: LeadsArgs,
}

impl Temperature {
    /// Computes; nothing is judged, as no published limit is known.
    pub fn judge(&self, bench: &mut Bench) -> Result<Answer, Stop> {
        let metal = match self.metal {
            MetalArg::Copper => Metal::Copper,
            MetalArg::Aluminium => Metal::Aluminium,
        };
        let read: Quantity<Ohms> = bench.read("ohms", &self.ohms, Function::Ohms)?;
        let at: Option<Quantity<Celsius>> = match &self.at {
            Some(text) => Some(bench.read("at", text, Function::Celsius)?),
            None => None,
        };
        let reference: Option<(Quantity<Ohms>, Quantity<Celsius>)> =
            match (&self.reference, &self.reference_at) {
                (Some(ohms), Some(celsius)) => Some((
                    bench.read("reference", ohms, Function::Ohms)?,
                    bench.read("reference-at", celsius, Function::Celsius)?,
                )),
                _ => None,
            };
        let (leads, words) = self.leads.leads(bench)?;
        let now = leads
            .take_off(read)
            .map_err(|why| Stop::Void("leads", why))?;
        let answer = match (at, &self.to, reference) {
            (Some(at), Some(to), None) => {
                let to = Celsius(rating("to", to, Function::Celsius)?);
                let r = rule::resistance_at(now, at, to, metal)?;
                Answer::new(format!(
                    "At {} the winding has {}.",
                    show(to.get(), "Cel"),
                    show(r.value.get(), "Ohm")
                ))
                .number(
                    "resistance",
                    "at the temperature wanted",
                    r.value.get(),
                    r.u,
                    "Ohm",
                    LAW,
                )
            }
            (None, None, Some((r1, t1))) => {
                let t = rule::temperature(now, r1, t1, metal)?;
                Answer::new(format!("The winding is at {}.", show(t.value.get(), "Cel"))).number(
                    "temperature",
                    "of the winding",
                    t.value.get(),
                    t.u,
                    "Cel",
                    LAW,
                )
            }
            (Some(at), None, Some((r1, t1))) => {
                let share = rule::share_of_reference(now, at, r1, t1, metal)?;
                Answer::new(format!(
                    "At one temperature the winding has {} of its reference; no published limit is known.",
                    show(share.value.get(), "1")
                ))
                .number("share", "under one means shorted turns", share.value.get(), share.u, "1", LAW)
                .found(
                    "judgement",
                    "none",
                    "no published limit: compare with the uncertainty",
                    Level::Open,
                    None,
                    serde_json::Value::Null,
                )
            }
            _ => {
                return Err(Fail::usage(
                    "check temperature: give --at and --to, or --reference and --reference-at \
                     (with --at for the share of the reference)",
                )
                .into());
            }
        };
        Ok(answer.leads(words).caution(DEAD))
    }
}
