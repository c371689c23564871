//! Moist air, and the air that a cooling unit works in.

use ohmtrail_core::accuracy::Quantity;
use ohmtrail_core::psychrometrics::{self as moist, Air, MOIST_AIR, PRESSURES, WetBulb};
use ohmtrail_core::reading::Function;
use ohmtrail_core::refrigerant::charge::Weather;
use ohmtrail_core::units::{Celsius, Pascals, Ratio};

use super::Stop;
use super::answer::Answer;
use super::input::Bench;
use super::number::show;
use super::refrigerant::Altitude;
use crate::fail::Fail;

/// How humid it is.
#[derive(Debug, clap::Args)]
#[group(required = true, multiple = false)]
struct Humid {
    /// Wet bulb, such as 19.4Cel
    #[arg(long, value_name = "CELSIUS", allow_hyphen_values = true)]
    wet_bulb: Option<String>,
    /// Relative humidity, such as 51%
    #[arg(long, value_name = "PERCENT")]
    humidity: Option<String>,
}

/// A humidity as a share of one.
fn humidity(bench: &mut Bench, text: &str) -> Result<Quantity<Ratio>, Stop> {
    bench.reading("humidity", text, Function::Percent)?;
    let read = bench.seen.last().and_then(|s| s.measured);
    let m = read.ok_or_else(|| Fail::input("humidity: not a number: measure again".to_owned()))?;
    Ok(Quantity {
        value: Ratio(m.value / 100.0),
        u: m.u / 100.0,
        assumed: m.assumed,
    })
}

impl Humid {
    /// The wet bulb, read or worked out.
    fn wet_bulb(
        &self,
        bench: &mut Bench,
        dry: Quantity<Celsius>,
        pressure: Pascals,
    ) -> Result<WetBulb, Stop> {
        let [thinnest, thickest] = PRESSURES;
        if !(thinnest..=thickest).contains(&pressure.get()) {
            return Err(Fail::input(
                "--altitude: moist air is worked out up to 5570 metres above the sea".to_owned(),
            )
            .into());
        }
        match (&self.wet_bulb, &self.humidity) {
            (Some(text), _) => {
                let wet: Quantity<Celsius> = bench.read("wet-bulb", text, Function::Celsius)?;
                Air::by_wet_bulb(dry.value, wet.value, pressure).map_err(|_| {
                    Fail::input("--wet-bulb: over the dry bulb, or under what dry air would have; see that they are not swapped; -40 to 60 Cel".to_owned())
                })?;
                Ok(WetBulb {
                    at: wet,
                    by_dry_bulb: 0.0,
                })
            }
            (None, Some(text)) => {
                let share = humidity(bench, text)?;
                Ok(moist::wet_bulb(dry, share, pressure).map_err(|_| {
                    Fail::input("--humidity: 0 to 100 %, in air of -40 to 60 Cel".to_owned())
                })?)
            }
            (None, None) => Err(Fail::usage("give --wet-bulb or --humidity").into()),
        }
    }
}

/// `check air`.
#[derive(Debug, clap::Args)]
pub struct Moist {
    /// Dry bulb, such as 26.7Cel
    #[arg(long, value_name = "CELSIUS", allow_hyphen_values = true)]
    dry_bulb: String,
    #[command(flatten)]
    humid: Humid,
    #[command(flatten)]
    altitude: Altitude,
}

impl Moist {
    /// Computes; nothing is judged.
    pub fn judge(&self, bench: &mut Bench) -> Result<Answer, Stop> {
        let pressure = self.altitude.air()?.value;
        let dry: Quantity<Celsius> = bench.read("dry-bulb", &self.dry_bulb, Function::Celsius)?;
        let wet = self.humid.wet_bulb(bench, dry, pressure)?.at;
        let found = Air::by_wet_bulb(dry.value, wet.value, pressure)?;
        let share = found.relative_humidity().get();
        let mut answer = Answer::new(format!(
            "Air of {} with a wet bulb of {} is {} saturated.",
            show(dry.value.get(), "Cel"),
            show(wet.value.get(), "Cel"),
            show(share, "1")
        ))
        .number(
            "wet-bulb",
            "thermodynamic wet bulb",
            wet.value.get(),
            wet.u,
            "Cel",
            MOIST_AIR,
        )
        .derived("humidity", "of saturation", share, "1", MOIST_AIR);
        if let Some(dew) = found.dew_point() {
            answer = answer.derived(
                "dew-point",
                "where dew or frost forms",
                dew.get(),
                "Cel",
                MOIST_AIR,
            );
        }
        let grams = 1000.0 * found.humidity_ratio().get();
        Ok(answer
            .derived("water", "in a kilogram of dry air", grams, "g", MOIST_AIR)
            .derived(
                "enthalpy",
                "of a kilogram of dry air and its water",
                found.enthalpy() / 1000.0,
                "kJ",
                MOIST_AIR,
            )
            .derived(
                "volume",
                "of a kilogram of dry air",
                found.volume(),
                "m3",
                MOIST_AIR,
            ))
    }
}

/// The air outdoors and indoors.
#[derive(Debug, clap::Args)]
pub(super) struct Around {
    /// Dry bulb of the air that enters the outdoor coil, such as 35.0Cel
    #[arg(long, value_name = "CELSIUS", allow_hyphen_values = true)]
    outdoor: String,
    /// Dry bulb of the return air, such as 26.7Cel
    #[arg(long = "return", value_name = "CELSIUS", allow_hyphen_values = true)]
    indoor: String,
    #[command(flatten)]
    humid: Humid,
    #[command(flatten)]
    altitude: Altitude,
}

impl Around {
    pub(super) fn read(&self, bench: &mut Bench) -> Result<Weather, Stop> {
        let air = self.altitude.air()?;
        let outdoor = bench.read("outdoor", &self.outdoor, Function::Celsius)?;
        let indoor = bench.read("return", &self.indoor, Function::Celsius)?;
        let wet = self.humid.wet_bulb(bench, indoor, air.value)?;
        Ok(Weather {
            outdoor,
            indoor,
            wet_bulb: wet.at,
            air,
            wet_by_indoor: wet.by_dry_bulb,
        })
    }
}
