//! The refrigerant side together: split, compression ratio, and what all of it means.

use clap::ValueEnum;
use ohmtrail_core::accuracy::Quantity;
use ohmtrail_core::reading::Function;
use ohmtrail_core::refrigerant::charge::{
    self as rule, ChargeError, FEATURES, Feature, HABITS, Look, MODEL, MODELLED, Shown, USUAL,
    USUAL_SUBCOOLING, Weather,
};
use ohmtrail_core::refrigerant::{
    ATMOSPHERE, DRY_OR_DAMP, Metering, Point, Refrigerant, SATURATION, absolute, compression_ratio,
    judge_ratio, judge_subcooling, judge_superheat, liquid_in_suction, split, subcooling,
    superheat, temperature,
};
use ohmtrail_core::units::{Celsius, Kelvins, Pascals};
use serde_json::json;

use super::Stop;
use super::air::Around;
use super::answer::{Answer, Level};
use super::input::Bench;
use super::meaning::{advice_json, advice_name, quantity, stands};
use super::number::show;
use super::refrigerant::{ALONE, Altitude, CERTIFIED, refrigerant};
use crate::fail::Fail;

/// The cautions of whatever is held against the model.
fn modelled(answer: Answer, weather: &Weather) -> Answer {
    let answer = answer.caution(MODELLED);
    if weather.drawn_humidity() {
        answer
    } else {
        answer.caution(DRY_OR_DAMP)
    }
}

/// What feeds the indoor coil.
#[derive(Debug, Clone, Copy, ValueEnum)]
enum Feed {
    /// A piston or a capillary
    FixedOrifice,
    /// An expansion valve, thermostatic or electronic
    ExpansionValve,
}

impl From<Feed> for Metering {
    fn from(feed: Feed) -> Self {
        match feed {
            Feed::FixedOrifice => Metering::FixedOrifice,
            Feed::ExpansionValve => Metering::ExpansionValve,
        }
    }
}

/// What pressures are counted from.
#[derive(Debug, Clone, Copy, PartialEq, ValueEnum)]
enum Origin {
    /// The air outside, as a gauge has it
    Gauge,
    /// Nothing
    Absolute,
}

/// `check split`.
#[derive(Debug, clap::Args)]
pub struct Split {
    #[command(flatten)]
    around: Around,
    /// Supply air near the indoor coil, such as 15.2Cel
    #[arg(long, value_name = "CELSIUS", allow_hyphen_values = true)]
    supply: String,
    /// What feeds the indoor coil; next to no matter here
    #[arg(long, value_enum, default_value = "expansion-valve")]
    metering: Feed,
}

impl Split {
    /// Judges the split.
    pub fn judge(&self, bench: &mut Bench) -> Result<Answer, Stop> {
        let weather = self.around.read(bench)?;
        let supply = bench.read("supply", &self.supply, Function::Celsius)?;
        let metering = self.metering.into();
        // The target superheat of an orifice is of no matter here.
        if let Err(why) = weather.allows(Metering::ExpansionValve) {
            return Ok(Answer::void(why.words().to_owned()));
        }
        let found = split(&weather, metering, supply)?;
        let (at, expected) = (found.split.get(), found.expected);
        let answer = Answer::new(format!(
            "The air cools by {}; {} is expected in this air: {}.",
            show(at, "K"),
            show(expected.value.get(), "K"),
            found.hint()
        ))
        .number(
            "expected",
            "what units that run well show in this air",
            expected.value.get(),
            expected.u,
            "K",
            MODEL,
        )
        .verdict("over expected", "K", found.verdict)
        .unproven(&["the airflow itself, which is measured by other means"]);
        Ok(modelled(answer, &weather))
    }
}

/// `check compression`.
#[derive(Debug, clap::Args)]
pub struct Compression {
    /// Which refrigerant, such as R-410A
    #[arg(long, value_name = "NAME", value_parser = refrigerant)]
    refrigerant: Refrigerant,
    /// The suction pressure, such as 820kPa
    #[arg(long, value_name = "PASCALS", allow_hyphen_values = true)]
    suction: String,
    /// The discharge pressure, such as 2.6MPa
    #[arg(long, value_name = "PASCALS", allow_hyphen_values = true)]
    discharge: String,
    /// What both are counted from
    #[arg(long, value_enum, default_value = "gauge")]
    pressures: Origin,
    #[command(flatten)]
    altitude: Altitude,
}

impl Compression {
    /// Judges the ratio.
    pub fn judge(&self, bench: &mut Bench) -> Result<Answer, Stop> {
        let air = self.altitude.air()?;
        let read = |bench: &mut Bench, name, text: &str| {
            let read = bench.read(name, text, Function::Pascals)?;
            counted(self.pressures, read, air)
        };
        let suction = read(bench, "suction", &self.suction)?;
        let discharge = read(bench, "discharge", &self.discharge)?;
        if discharge.value.get() < suction.value.get() {
            return Err(Fail::input(
                "--discharge is under --suction: see that they are not swapped, and that the compressor runs"
                    .to_owned(),
            )
            .into());
        }
        let ratio = compression_ratio(discharge, suction)?;
        let condensing = saturation("discharge", self.refrigerant, Point::Bubble, discharge)?;
        let evaporating = saturation("suction", self.refrigerant, Point::Dew, suction)?;
        let answer = Answer::new(format!(
            "The compressor lifts {} from {} to {} absolute, {}.",
            self.refrigerant.name(),
            show(suction.value.get(), "Pa"),
            show(discharge.value.get(), "Pa"),
            show(ratio.value.get(), "{ratio}")
        ));
        let answer = pressures(
            answer,
            self.pressures,
            &[
                ("suction-absolute", suction),
                ("discharge-absolute", discharge),
            ],
        );
        Ok(answer
            .number(
                "condensing",
                "bubble point at the discharge pressure",
                condensing.value.get(),
                condensing.u,
                "Cel",
                SATURATION,
            )
            .number(
                "evaporating",
                "dew point at the suction pressure",
                evaporating.value.get(),
                evaporating.u,
                "Cel",
                SATURATION,
            )
            .verdict("compression ratio", "{ratio}", judge_ratio(ratio))
            .caution(ALONE)
            .caution(CERTIFIED)
            .caution(self.refrigerant.safety_class().words()))
    }
}

/// The saturation temperature, or which pressure has none.
fn saturation(
    name: &str,
    refrigerant: Refrigerant,
    point: Point,
    p: Quantity<Pascals>,
) -> Result<Quantity<Celsius>, Fail> {
    temperature(refrigerant, point, p).map_err(|_| {
        Fail::input(format!(
            "--{name}: {} absolute is outside the range of {}, -60 Cel to 67 or more: see that the refrigerant, the unit and --pressures are right",
            show(p.value.get(), "Pa"),
            refrigerant.name()
        ))
    })
}

/// A reading as an absolute pressure.
fn counted(
    from: Origin,
    read: Quantity<Pascals>,
    air: Quantity<Pascals>,
) -> Result<Quantity<Pascals>, Stop> {
    match from {
        Origin::Gauge => Ok(absolute(read, air)?),
        Origin::Absolute => Ok(read),
    }
}

/// Absolute pressures, where a gauge was read.
fn pressures(
    mut answer: Answer,
    from: Origin,
    all: &[(&'static str, Quantity<Pascals>)],
) -> Answer {
    for (name, p) in all {
        if from == Origin::Gauge {
            let words = "with the air at that altitude";
            answer = answer.number(name, words, p.value.get(), p.u, "Pa", ATMOSPHERE);
        }
    }
    answer
}

/// `check charge`.
#[derive(Debug, clap::Args)]
pub struct Charge {
    /// Which refrigerant, such as R-410A
    #[arg(long, value_name = "NAME", value_parser = refrigerant)]
    refrigerant: Refrigerant,
    /// What feeds the indoor coil
    #[arg(long, value_enum)]
    metering: Feed,
    #[command(flatten)]
    around: Around,
    /// What both pressures are counted from
    #[arg(long, value_enum, default_value = "gauge")]
    pressures: Origin,
    /// The suction pressure, such as 820kPa
    #[arg(long, value_name = "PASCALS", allow_hyphen_values = true)]
    suction: Option<String>,
    /// The suction line's temperature, such as 12.3Cel
    #[arg(
        long,
        value_name = "CELSIUS",
        allow_hyphen_values = true,
        requires = "suction"
    )]
    suction_line: Option<String>,
    /// The pressure of the liquid line, such as 2.6MPa
    #[arg(long, value_name = "PASCALS", allow_hyphen_values = true)]
    liquid: Option<String>,
    /// The liquid line's temperature, such as 38.0Cel
    #[arg(
        long,
        value_name = "CELSIUS",
        allow_hyphen_values = true,
        requires = "liquid"
    )]
    liquid_line: Option<String>,
    /// Supply air near the indoor coil, such as 15.2Cel
    #[arg(long, value_name = "CELSIUS", allow_hyphen_values = true)]
    supply: Option<String>,
    /// Subcooling on the plate of a unit with an expansion valve, kelvins
    #[arg(long, value_name = "KELVINS")]
    plate_subcooling: Option<f64>,
    /// What was looked at: indoor-dirty, outdoor-dirty, oil, cold-drier, standing-pressure or low-amps, and
    /// =yes or =no
    #[arg(long = "look", value_name = "NAME=yes|no", value_parser = look)]
    looks: Vec<(Look, bool)>,
    /// What was measured again, with the instruments taken off in between, and agreed: superheat, subcooling,
    /// split, condensing or evaporating
    #[arg(long = "again", value_name = "NAME", value_parser = feature)]
    again: Vec<Feature>,
}

fn feature(text: &str) -> Result<Feature, String> {
    Feature::by_name(text).ok_or_else(|| {
        let names = Feature::ALL.map(Feature::name);
        format!("not one of {}", names.join(", "))
    })
}

fn look(text: &str) -> Result<(Look, bool), String> {
    let known = || {
        let names = Look::ALL.map(Look::name);
        format!(
            "write NAME=yes or NAME=no, NAME one of {}",
            names.join(", ")
        )
    };
    let (name, answer) = text.split_once('=').ok_or_else(known)?;
    let look = Look::by_name(name).ok_or_else(known)?;
    match answer {
        "yes" => Ok((look, true)),
        "no" => Ok((look, false)),
        _ => Err(known()),
    }
}

/// What was measured, and the pressures in it.
struct Read {
    shown: Shown,
    suction: Option<Quantity<Pascals>>,
    liquid: Option<Quantity<Pascals>>,
}

impl Charge {
    /// Weighs everything.
    pub fn judge(&self, bench: &mut Bench) -> Result<Answer, Stop> {
        let metering = self.metering.into();
        let weather = self.around.read(bench)?;
        let read = self.read(bench, &weather)?;
        for feature in &self.again {
            if weather.over(*feature, metering, &read.shown).is_none() {
                let (name, needs) = (feature.name(), feature.words());
                let why = format!("--again {name}: it was not measured: give {needs}");
                return Err(Fail::usage(why).into());
            }
        }
        let found = match rule::diagnose(metering, &weather, &read.shown, &self.looks) {
            Ok(found) => found,
            Err(ChargeError::Weather(why)) => {
                let void = Answer::void(why.words().to_owned());
                return Ok(self.cautions(void, &weather, &read.shown));
            }
            Err(ChargeError::Rule(why)) => return Err(why.into()),
        };
        let known = [
            ("suction-absolute", read.suction),
            ("liquid-absolute", read.liquid),
        ];
        let known: Vec<_> = known
            .into_iter()
            .filter_map(|(name, p)| Some((name, p?)))
            .collect();
        let mut answer = pressures(Answer::default(), self.pressures, &known);
        let assumed = metering == Metering::ExpansionValve
            && read.shown.subcooling.is_some()
            && read.shown.plate_subcooling.is_none();
        if assumed {
            answer = answer.number(
                "plate-subcooling",
                "assumed: --plate-subcooling was not given",
                USUAL_SUBCOOLING.value.get(),
                USUAL_SUBCOOLING.u,
                "K",
                USUAL,
            );
        }
        for feature in Feature::ALL {
            answer = quantity(answer, feature, metering, &weather, &read.shown);
        }
        answer = self.asides(answer, metering, &weather, &read);
        let (mut sentence, level) = stands(found.advice, &answer.asides_outside());
        if assumed {
            sentence.push_str(" The plate's subcooling is assumed here: read it off the plate.");
        }
        answer = answer.sentence(sentence);
        for (suspect, p) in found.suspects.iter().take_while(|(_, p)| *p >= 0.01) {
            answer = answer.found(
                "suspect",
                format!("{} {p:.3}", suspect.name()),
                suspect.words(),
                Level::Note,
                None,
                json!({"suspect": suspect.name(), "p": p}),
            );
        }
        answer = answer.found(
            "stands",
            advice_name(found.advice),
            "by the rule of Bayes over drawn units",
            level,
            Some(HABITS),
            advice_json(found.advice),
        );
        answer = answer.unproven(&["two faults at once"]);
        Ok(self.cautions(answer, &weather, &read.shown))
    }

    fn cautions(&self, mut answer: Answer, weather: &Weather, shown: &Shown) -> Answer {
        if let Some(liquid) = shown.superheat.and_then(liquid_in_suction) {
            answer = answer.caution(liquid.words());
        }
        modelled(answer, weather)
            .caution(CERTIFIED)
            .caution(self.refrigerant.safety_class().words())
    }

    fn read(&self, bench: &mut Bench, weather: &Weather) -> Result<Read, Stop> {
        let mut pressure = |name, text: &Option<String>| -> Result<_, Stop> {
            let Some(text) = text else { return Ok(None) };
            let read = bench.read(name, text, Function::Pascals)?;
            counted(self.pressures, read, weather.air).map(Some)
        };
        let suction = pressure("suction", &self.suction)?;
        let liquid = pressure("liquid", &self.liquid)?;
        if let (Some(low), Some(high)) = (suction, liquid)
            && high.value.get() < low.value.get()
        {
            return Err(Fail::input(
                "--liquid is under --suction: see that they are not swapped, and that the compressor runs"
                    .to_owned(),
            )
            .into());
        }
        let mut line = |name, text: &Option<String>| -> Result<Option<Quantity<Celsius>>, Stop> {
            let Some(text) = text else { return Ok(None) };
            bench.read(name, text, Function::Celsius).map(Some)
        };
        let suction_line = line("suction-line", &self.suction_line)?;
        let liquid_line = line("liquid-line", &self.liquid_line)?;
        let supply = line("supply", &self.supply)?;
        let name = self.refrigerant;
        let plate = self.plate_subcooling;
        if plate.is_some_and(|k| !(0.0..=20.0).contains(&k)) {
            return Err(Fail::input("--plate-subcooling: 0 to 20 kelvins".to_owned()).into());
        }
        if plate.is_some() && Metering::from(self.metering) == Metering::FixedOrifice {
            return Err(Fail::usage(
                "--plate-subcooling: a fixed orifice is charged by superheat, not by subcooling: leave it out, or see that --metering is right",
            )
            .into());
        }
        let condensing = liquid
            .map(|p| saturation("liquid", name, Point::Bubble, p))
            .transpose()?;
        let evaporating = suction
            .map(|p| saturation("suction", name, Point::Dew, p))
            .transpose()?;
        let with = |p: Option<Quantity<Pascals>>, line: Option<Quantity<Celsius>>| p.zip(line);
        let shown = Shown {
            superheat: with(suction, suction_line)
                .map(|(p, t)| superheat(name, p, t))
                .transpose()?,
            subcooling: with(liquid, liquid_line)
                .map(|(p, t)| subcooling(name, p, t))
                .transpose()?,
            plate_subcooling: plate.map(Kelvins),
            supply,
            condensing,
            evaporating,
            confirmed: self.confirmed(),
        };
        Ok(Read {
            shown,
            suction,
            liquid,
        })
    }

    fn confirmed(&self) -> [bool; FEATURES] {
        Feature::ALL.map(|feature| self.again.contains(&feature))
    }

    /// One number at a time, as the published procedures have it: they inform.
    fn asides(
        &self,
        mut answer: Answer,
        metering: Metering,
        weather: &Weather,
        read: &Read,
    ) -> Answer {
        let shown = &read.shown;
        if let Some(verdict) = shown
            .superheat
            .and_then(|k| judge_superheat(k, metering, weather))
        {
            let name = match metering {
                Metering::FixedOrifice => "superheat less target",
                Metering::ExpansionValve => "superheat behind the valve",
            };
            answer = answer.aside(name, "K", verdict);
        }
        if let (Some(k), Some(plate), Metering::ExpansionValve) =
            (shown.subcooling, shown.plate_subcooling, metering)
        {
            answer = answer.aside("subcooling less plate", "K", judge_subcooling(k, plate));
        }
        if let Some(found) = shown.supply.and_then(|t| split(weather, metering, t).ok()) {
            answer = answer.aside("split about expected", "K", found.verdict);
        }
        if let (Some(low), Some(high)) = (read.suction, read.liquid)
            && let Ok(ratio) = compression_ratio(high, low)
        {
            answer = answer.aside("compression ratio", "{ratio}", judge_ratio(ratio));
        }
        answer
    }
}
