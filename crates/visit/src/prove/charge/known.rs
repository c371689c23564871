//! What is known of a charge before anything is read: plate values of the unit.

use ohmtrail_core::accuracy::Quantity;
use ohmtrail_core::refrigerant::{
    Metering, Refrigerant, TARGET_AIR, TARGETS, Unprovable, standard_air,
};
use ohmtrail_core::units::{Kelvins, Pascals};
use ohmtrail_trail::event::PlateEntry;
use ohmtrail_words::Said;

use crate::prove::mended::Mended;
use crate::record::Record;

const REFRIGERANT: &str = "refrigerant";
const METERING: &str = "metering";
const SUBCOOLING: &str = "subcooling";
/// A target superheat is of the weather of its day: no other visit takes it over.
pub(crate) const SUPERHEAT_KEY: &str = "superheat";
const ALTITUDE: &str = "altitude";
/// Refrigerant that was put in or taken out, by weight. It is another charge from then on.
pub(crate) const CHANGES: [&str; 2] = ["charge-added", "charge-recovered"];

/// The keys of the unit's plate that a charge rests on.
pub(crate) const KEYS: [&str; 7] = [
    REFRIGERANT,
    METERING,
    SUBCOOLING,
    SUPERHEAT_KEY,
    ALTITUDE,
    CHANGES[0],
    CHANGES[1],
];

/// A foot in metres, exactly (NIST SP 811, appendix B.8).
const FOOT: f64 = 0.3048;
/// A degree Fahrenheit as a difference, in kelvins, exactly (NIST SP 811, appendix B.8).
const FAHRENHEIT: f64 = 1.0 / 1.8;

/// What the reading that decides is held against.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Target {
    /// The maker's subcooling.
    Subcooling(Kelvins),
    /// The superheat that the maker's chart has for this weather.
    Superheat(Kelvins),
    /// The superheat that the core has for this weather.
    OfWeather,
}

/// What is known, and what is not.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Known {
    pub refrigerant: Option<Refrigerant>,
    pub metering: Option<Metering>,
    pub target: Option<Target>,
    /// The air's pressure at the altitude, and that in metres.
    pub air: Option<(Quantity<Pascals>, f64)>,
    /// What is to be entered before anything can be proven.
    pub lacking: Vec<Said>,
}

impl Known {
    pub(super) fn of(record: &Record) -> Self {
        let mut known = Known::default();
        let read = |key| record.plate("unit", key);
        known.refrigerant(read(REFRIGERANT));
        known.metering(read(METERING));
        known.altitude(read(ALTITUDE));
        match known.metering {
            Some(Metering::ExpansionValve) => known.valve(read(SUBCOOLING)),
            Some(Metering::FixedOrifice) => {
                let of_today = record.mended.as_deref().is_some_and(Mended::has_target);
                known.orifice(read(SUPERHEAT_KEY), of_today);
            }
            None => {}
        }
        known
    }

    fn refrigerant(&mut self, read: Option<&PlateEntry>) {
        let Some(plate) = read else {
            return self.lacks_word(REFRIGERANT, "R-410A");
        };
        let name: String = plate.value.split_whitespace().collect();
        self.refrigerant = Refrigerant::by_name(&name);
        if self.refrigerant.is_none() {
            let known = Refrigerant::ALL.map(Refrigerant::name).join(", ");
            self.lacking.push(
                Said::message("charge-unknown-refrigerant")
                    .with("name", plate.value.clone())
                    .with("known", known),
            );
        }
    }

    fn metering(&mut self, read: Option<&PlateEntry>) {
        let both = [Metering::FixedOrifice, Metering::ExpansionValve];
        let names = both.map(Metering::name).join(" / ");
        let Some(plate) = read else {
            return self.lacks_word(METERING, names);
        };
        self.metering = match plate.value.trim().to_ascii_lowercase().as_str() {
            "orifice" | "piston" | "capillary" => Some(Metering::FixedOrifice),
            "valve" | "txv" | "eev" => Some(Metering::ExpansionValve),
            name => both.into_iter().find(|m| m.name() == name),
        };
        if self.metering.is_none() {
            self.unfit(plate, names);
        }
    }

    fn altitude(&mut self, read: Option<&PlateEntry>) {
        let such = "300\u{a0}m";
        let Some(plate) = read else {
            return self.lacks(ALTITUDE, such);
        };
        match metres(plate) {
            Ok(metres) => match standard_air(metres) {
                Ok(air) => self.air = Some((air, metres)),
                Err(_) => self.unfit(plate, "-500\u{2013}11000 m"),
            },
            Err(wrong) => self.wrong(plate, wrong, such),
        }
    }

    fn valve(&mut self, read: Option<&PlateEntry>) {
        let such = "5.6\u{a0}K";
        let Some(plate) = read else {
            return self.lacks(SUBCOOLING, such);
        };
        self.target = self.kelvins(plate, such).map(Target::Subcooling);
    }

    /// The maker's chart first, if it was looked up for the weather of this run; else the trade's formula,
    /// which is of air near the sea.
    fn orifice(&mut self, read: Option<&PlateEntry>, of_today: bool) {
        if let Some(plate) = read {
            let target = self.kelvins(plate, "7.2\u{a0}K").map(Target::Superheat);
            if of_today {
                self.target = target;
            } else if target.is_some() {
                let stale = Said::message("charge-stale").with("key", plate.key.clone());
                let value = format!("{} {}", plate.value, plate.unit);
                self.lacking
                    .push(stale.with("value", value.trim().to_owned()));
            }
            return;
        }
        let thin = self
            .air
            .is_some_and(|(air, _)| air.value.get() < TARGET_AIR.limit().low());
        if thin {
            let why = Unprovable::ThinForTarget.words();
            self.lacking.push(why.into());
            self.lacks(SUPERHEAT_KEY, "7.2\u{a0}K");
        } else {
            self.target = Some(Target::OfWeather);
        }
    }

    /// A target, if it is one.
    fn kelvins(&mut self, plate: &PlateEntry, such: &'static str) -> Option<Kelvins> {
        let limit = TARGETS.limit();
        match kelvins(plate) {
            Ok(kelvins) if (limit.low()..=limit.high()).contains(&kelvins) => {
                return Some(Kelvins(kelvins));
            }
            Ok(_) => self.unfit(plate, format!("{}\u{2013}{} K", limit.low(), limit.high())),
            Err(wrong) => self.wrong(plate, wrong, such),
        }
        None
    }

    fn lacks_word(&mut self, key: &'static str, such: impl Into<String>) {
        let lacks = Said::message("charge-lacks-word").with("key", Said::own(key));
        self.lacking.push(lacks.with("such", such.into()));
    }

    fn lacks(&mut self, key: &'static str, such: impl Into<String>) {
        let lacks = Said::message("charge-lacks").with("key", Said::own(key));
        self.lacking.push(lacks.with("such", such.into()));
    }

    fn wrong(&mut self, plate: &PlateEntry, wrong: Wrong, such: &'static str) {
        match wrong {
            Wrong::NoUnit => {
                let lacks = Said::message("charge-no-unit").with("key", plate.key.clone());
                let lacks = lacks.with("value", plate.value.clone());
                self.lacking.push(lacks.with("such", Said::own(such)));
            }
            Wrong::Unfit => self.unfit(plate, such),
        }
    }

    fn unfit(&mut self, plate: &PlateEntry, such: impl Into<String>) {
        let value = format!("{} {}", plate.value, plate.unit);
        self.lacking.push(
            Said::message("charge-unfit")
                .with("key", plate.key.clone())
                .with("value", value.trim().to_owned())
                .with("such", such.into()),
        );
    }
}

/// Why a plate value is no quantity.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Wrong {
    NoUnit,
    Unfit,
}

/// A number and its unit, which stand in one field or in two.
fn quantity(plate: &PlateEntry, factor: impl Fn(&str) -> Option<f64>) -> Result<f64, Wrong> {
    let text = format!("{} {}", plate.value, plate.unit).replace('\u{2212}', "-");
    let text = text.trim();
    let end = text.find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | '-' | '+')));
    let (digits, unit) = text.split_at(end.unwrap_or(text.len()));
    let number: f64 = digits.parse().map_err(|_| Wrong::Unfit)?;
    let unit = unit.trim();
    if unit.is_empty() {
        return Err(Wrong::NoUnit);
    }
    let value = number * factor(unit).ok_or(Wrong::Unfit)?;
    value.is_finite().then_some(value).ok_or(Wrong::Unfit)
}

fn kelvins(plate: &PlateEntry) -> Result<f64, Wrong> {
    quantity(plate, |unit| match unit {
        "K" | "Cel" | "\u{b0}C" | "C" => Some(1.0),
        "[degF]" | "degF" | "\u{b0}F" | "F" => Some(FAHRENHEIT),
        _ => None,
    })
}

fn metres(plate: &PlateEntry) -> Result<f64, Wrong> {
    quantity(plate, |unit| match unit {
        "m" => Some(1.0),
        "km" => Some(1000.0),
        "ft" | "[ft_i]" => Some(FOOT),
        _ => None,
    })
}
