//! Checks of volts: supply, drop, unbalance, control circuit, what is left on a capacitor.

use clap::ValueEnum;
use ohmtrail_core::accuracy::Quantity;
use ohmtrail_core::class::Class;
use ohmtrail_core::reading::Function;
use ohmtrail_core::rules::control::{self, Load};
use ohmtrail_core::rules::supply::{self, Compressor, Place};
use ohmtrail_core::rules::unbalance as unbalances;
use ohmtrail_core::rules::{discharge, drop as drops};
use ohmtrail_core::source::{Source, Status};
use ohmtrail_core::units::{Amps, Volts};
use ohmtrail_core::verdict::Decision;
use serde_json::json;

use super::Stop;
use super::answer::{Answer, Level};
use super::input::{Bench, rating, rating_if};
use super::number::show;
use crate::fail::Fail;

/// Said with every check under power.
pub const LIVE: &str = "under power: a qualified person, a meter of CAT III 600 V at least, \
                        and the protection that local codes ask for";

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Kind {
    /// Single-phase welded hermetic
    Welded,
    /// Single-phase semi-hermetic or scroll
    Scroll,
    /// Three-phase
    ThreePhase,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum At {
    /// At the utility's meter
    Service,
    /// At the equipment's terminals
    Equipment,
}

/// `check supply`.
#[derive(Debug, clap::Args)]
pub struct Supply {
    /// The volts read, such as 211V
    volts: String,
    /// Rated volts as printed on the plate, such as 208/230
    #[arg(long, value_name = "VOLTS", required_unless_present = "nominal")]
    plate: Option<String>,
    /// The compressor, whose own window may be narrower
    #[arg(long, value_enum, requires = "plate")]
    compressor: Option<Kind>,
    /// The reading is the lowest while a motor starts
    #[arg(long, requires = "plate", conflicts_with = "compressor")]
    starting: bool,
    /// Nominal volts of the system, to judge by ANSI C84.1
    #[arg(long, value_name = "VOLTS")]
    nominal: Option<String>,
    /// Where it was read, for ANSI C84.1
    #[arg(long, value_enum, default_value = "equipment")]
    at: At,
}

impl Supply {
    /// Judges.
    pub fn judge(&self, bench: &mut Bench) -> Result<Answer, Stop> {
        let volts: Quantity<Volts> = bench.read("volts", &self.volts, Function::VoltsAc)?;
        let mut answer = Answer::new(format!(
            "{} against the supply's limits: within the plate's window a unit may operate.",
            show(volts.value.get(), "V")
        ))
        .caution(LIVE);
        if let Some(plate) = &self.plate {
            let rated = printed(plate)?;
            answer = match supply::window(plate.trim().trim_end_matches([' ', 'V'])) {
                _ if self.starting => {
                    answer.verdict("starting", "V", supply::starting(volts, rated.0)?)
                }
                Some(window) => {
                    let kind = self.compressor.map(|kind| match kind {
                        Kind::Welded => Compressor::WeldedSinglePhase,
                        Kind::Scroll => Compressor::ScrollSinglePhase,
                        Kind::ThreePhase => Compressor::ThreePhase,
                    });
                    let v = supply::against_plate(volts, window, kind)?;
                    answer
                        .verdict("operate", "V", v.operate)
                        .verdict("rated", "V", v.rated)
                        .verdict_if("compressor", "V", v.compressor)
                }
                None => answer.verdict(
                    "generic",
                    "V",
                    supply::against_rated(volts, rated.0, rated.1)?,
                ),
            };
        }
        if let Some(nominal) = rating_if("nominal", self.nominal.as_ref(), Function::VoltsAc)? {
            let place = match self.at {
                At::Service => Place::Service,
                At::Equipment => Place::Utilization,
            };
            let v = supply::against_ansi(volts, nominal, place)?;
            // Outside range A and inside B is tolerated for a limited time.
            answer = answer
                .verdict("range-a", "V", v.a.as_warning())
                .verdict("range-b", "V", v.b);
        }
        Ok(answer)
    }
}

/// The lower and the higher rated volts as printed: `208/230`, `230`, `230-50Hz`.
fn printed(plate: &str) -> Result<(Volts, Volts), Fail> {
    let wrong = || {
        Fail::input(format!(
            "--plate {plate}: give the rated volts as printed, such as 208/230"
        ))
    };
    let plain = plate
        .trim()
        .trim_end_matches("-50Hz")
        .trim_end_matches([' ', 'V']);
    let number = |text: &str| text.trim().parse::<f64>().map(Volts).map_err(|_| wrong());
    match plain.split_once(['/', '-']) {
        Some((low, high)) => Ok((number(low)?, number(high)?)),
        None => number(plain).map(|v| (v, v)),
    }
}

/// `check drop`.
#[derive(Debug, clap::Args)]
pub struct Drop {
    /// Volts across one closed pole
    volts: String,
    /// Amps through it
    #[arg(long, value_name = "AMPS")]
    amps: String,
    /// Volts of the source, such as 240V
    #[arg(long, value_name = "VOLTS")]
    source: String,
    /// Volts across the other pole under the same load
    #[arg(long, value_name = "VOLTS")]
    other_pole: Option<String>,
}

impl Drop {
    /// Judges.
    pub fn judge(&self, bench: &mut Bench) -> Result<Answer, Stop> {
        let drop: Quantity<Volts> = bench.read("drop", &self.volts, Function::VoltsAc)?;
        let load: Quantity<Amps> = bench.read("amps", &self.amps, Function::AmpsAc)?;
        let source = Volts(rating("source", &self.source, Function::VoltsAc)?);
        let other = match &self.other_pole {
            Some(text) => Some(bench.read("other pole", text, Function::VoltsAc)?),
            None => None,
        };
        let v = drops::across_pole(drop, load, source)?;
        let words = if v.worn.class == Class::Open {
            "The source stands across the pole: it is open."
        } else if v.good.decision == Decision::Pass {
            "The pole drops as little as a good one does."
        } else {
            "The pole may drop more than a good one does: look at it, and compare the other pole."
        };
        let mut answer = Answer::new(words)
            .verdict("good", "V", v.good)
            .verdict("worn", "V", v.worn)
            .found(
                "resistance",
                show(v.resistance.get(), "Ohm"),
                "drop over current",
                Level::Note,
                None,
                json!({"value": v.resistance.get(), "unit": "Ohm"}),
            );
        if let Some(other) = other {
            answer = answer.verdict("poles-apart", "V", drops::poles_apart(drop, other)?);
        }
        Ok(answer.caution(LIVE))
    }
}

/// `check unbalance`.
#[derive(Debug, clap::Args)]
pub struct Unbalance {
    /// The three readings, such as 230V 232V 228V
    #[arg(num_args = 3, required = true, value_names = ["A", "B", "C"])]
    values: Vec<String>,
    /// They are amps of a motor
    #[arg(long)]
    amps: bool,
    /// They were read at the service without load
    #[arg(long, conflicts_with = "amps")]
    service: bool,
}

const NAMES: [&str; 3] = ["first", "second", "third"];

impl Unbalance {
    /// Judges.
    pub fn judge(&self, bench: &mut Bench) -> Result<Answer, Stop> {
        if self.amps {
            let amps = self.three::<Amps>(bench, Function::AmpsAc)?;
            let share = unbalances::of_three(amps)?;
            let m = share.share.measured();
            return Ok(self
                .sentence(share)
                .verdict("current", "1", unbalances::CURRENT.judge(m)));
        }
        let volts = self.three::<Volts>(bench, Function::VoltsAc)?;
        if self.service {
            let share = unbalances::of_three(volts)?;
            let m = share.share.measured();
            return Ok(self
                .sentence(share)
                .verdict("service", "1", unbalances::SERVICE.judge(m)));
        }
        let v = unbalances::of_voltages(volts)?;
        let answer = self
            .sentence(v.unbalance)
            .verdict("run", "1", v.run)
            .verdict("rated", "1", v.rated)
            .verdict("equipment", "1", v.equipment);
        Ok(match v.derate {
            Some(share) => answer.found(
                "derate",
                show(share.get(), "1"),
                "the share of its rated load that a motor may carry",
                Level::Note,
                Some(Source::new(
                    "NEMA MG-1 figure 14-1, read off",
                    Status::SecondHand,
                )),
                json!({"value": share.get(), "unit": "1"}),
            ),
            None => answer,
        })
    }

    fn three<Q: ohmtrail_core::accuracy::Unit>(
        &self,
        bench: &mut Bench,
        function: Function,
    ) -> Result<[Quantity<Q>; 3], Stop> {
        let mut read = |i: usize| {
            let text = self.values.get(i).map_or("", String::as_str);
            bench.read_side_by_side(NAMES[i], text, function)
        };
        Ok([read(0)?, read(1)?, read(2)?])
    }

    fn sentence(&self, unbalance: unbalances::Unbalance) -> Answer {
        let unit = if self.amps { "A" } else { "V" };
        let share = unbalance.share;
        Answer::new(format!(
            "The {} reading is {} off the mean of {}.",
            NAMES[unbalance.odd],
            show(share.value.get(), "1"),
            show(unbalance.mean, unit)
        ))
        .found(
            "unbalance",
            show(share.value.get(), "1"),
            "largest deviation from the mean, over the mean",
            Level::Note,
            Some(Source::new("NEMA MG-1 14.36", Status::SecondHand)),
            json!({"value": share.value.get(), "uncertainty": share.u, "unit": "1", "odd": unbalance.odd + 1}),
        )
        .caution(LIVE)
    }
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Secondary {
    /// A coil or a board is on
    Loaded,
    /// Nothing draws current
    Unloaded,
}

/// `check control`.
#[derive(Debug, clap::Args)]
pub struct Control {
    /// The volts read
    volts: String,
    /// At a coil that is called for, of these rated volts
    #[arg(long, value_name = "VOLTS", required_unless_present = "secondary")]
    coil: Option<String>,
    /// At the secondary of a transformer of 24 V
    #[arg(long, value_enum, conflicts_with = "coil")]
    secondary: Option<Secondary>,
}

impl Control {
    /// Judges.
    pub fn judge(&self, bench: &mut Bench) -> Result<Answer, Stop> {
        let volts = bench.read("volts", &self.volts, Function::VoltsAc)?;
        let coil: Option<Volts> = rating_if("coil", self.coil.as_ref(), Function::VoltsAc)?;
        let (name, verdict) = match coil {
            Some(rated) => ("coil", control::at_coil(volts, rated)?),
            None => {
                let load = match self.secondary {
                    Some(Secondary::Unloaded) => Load::Off,
                    _ => Load::On,
                };
                ("secondary", control::at_secondary(volts, load)?)
            }
        };
        let words = match verdict.class {
            Class::Within => "The control volts are where they should be.",
            Class::Absent => "There is next to no control voltage: find where it is lost.",
            Class::Low => "The control volts are low: transformer, its load, or its primary.",
            _ => "The control volts are high: look at the primary's tap.",
        };
        Ok(Answer::new(words)
            .verdict(name, "V", verdict)
            .caution("the rest of the unit may be live while its control circuit is on"))
    }
}

/// `check discharge`.
#[derive(Debug, clap::Args)]
pub struct Discharge {
    /// The volts left on a pair of its terminals, such as 0.3V
    #[arg(allow_hyphen_values = true)]
    volts: String,
    /// The meter was on alternating volts
    #[arg(long)]
    ac: bool,
}

impl Discharge {
    /// Judges.
    pub fn judge(&self, bench: &mut Bench) -> Result<Answer, Stop> {
        let function = if self.ac {
            Function::VoltsAc
        } else {
            Function::VoltsDc
        };
        let v = discharge::left(bench.read("volts", &self.volts, function)?)?;
        let words = match (v.under_touch(), v.under_measure()) {
            (true, true) => "Under both limits on this pair, as measured just now.",
            (true, false) => {
                "Under the limit for touching on this pair; discharge further before ohms or farads."
            }
            _ => "Charge is left: discharge through a resistor, then measure again.",
        };
        Ok(Answer::new(words)
            .verdict("touch", "V", v.touch)
            .aside("before-ohms-or-farads", "V", v.measure)
            .caution("never discharge by a short; some charge comes back: read again just before touching")
            .caution("this is what was measured on one pair, not that the unit is safe"))
    }
}
