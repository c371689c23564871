//! What the readings of a charge come to, by the core: worked out, held against their limits, and weighed together.

use ohmtrail_core::accuracy::{AccuracyTable, Cautious, Measured, Quantity, standard_uncertainty};
use ohmtrail_core::class::Class;
use ohmtrail_core::isolate::ENOUGH;
use ohmtrail_core::psychrometrics::{Air, PRESSURES, WetBulb, wet_bulb};
use ohmtrail_core::refrigerant::charge::{
    Diagnosis, MODELLED, Shown, Suspect, USUAL_SUBCOOLING, Weather, diagnose,
};
use ohmtrail_core::refrigerant::{
    DRY_OR_DAMP, Liquid, Metering, Point, TARGET, Unprovable, absolute, allowed_so_far,
    compression_ratio, judge_ratio, judge_subcooling, judge_superheat, judge_superheat_about,
    liquid_in_suction, provable, split, standard_air, subcooling, superheat, target_superheat,
    temperature,
};
use ohmtrail_core::units::{Celsius, Kelvins, Pascals, Ratio};
use ohmtrail_core::verdict::{Decision, Verdict};
use ohmtrail_trail::event::Take;
use ohmtrail_words::Said;

use super::Reading;
use super::known::{Known, Target};
use super::words::{self, sign};
use crate::record::Record;

/// A reading, in the base unit of its function.
pub(super) type Value = Measured;

const NO_NUMBER: &str = "a value is no number";
const NOT_OVER_ZERO: &str =
    "a pressure is not over zero: see that the gauge and its unit are right";
const SWAPPED: &str = "the liquid pressure is under the suction pressure: see that the hoses are not \
     swapped, and that the compressor runs";
const OUT_OF_RANGE: &str = "a pressure is none that this refrigerant has between -60 and 67 Cel: see that \
     refrigerant, gauge and unit are right";
const NO_WET_BULB: &str = "the wet bulb is over the dry bulb, or under what dry air would have: see that \
     they are not swapped";
const NO_HUMIDITY: &str = "a humidity is 0 to 100 %, in air of -40 to 60 Cel";

/// A take as a quantity. That an accuracy was assumed is known by its meter, or by the uncertainty that the
/// cautious default gives: a meter that joined with accuracies of its own may state none for this.
pub(super) fn value(record: &Record, take: &Take) -> Value {
    let joined = record.meters.iter().find(|m| m.meter == take.meter);
    let cautious = Cautious.accuracy(take.function, take.value);
    let by_default = take
        .shown
        .decimal()
        .zip(cautious)
        .is_some_and(|(shown, by)| {
            standard_uncertainty(shown, &by).to_bits() == take.uncertainty.to_bits()
        });
    Measured {
        value: take.value,
        u: take.uncertainty,
        assumed: by_default || joined.is_none_or(|m| m.accuracy_assumed),
    }
}

/// What is worked out of readings that do not contradict one another.
#[derive(Debug, Clone, Default)]
pub(super) struct Worked {
    /// The air; where the altitude is not known, as at the sea.
    weather: Option<Weather>,
    /// Why what was read of the air allows no judgement, whatever the rest of it is.
    barred: Option<Unprovable>,
    shown: Shown,
    /// By the gauge, and absolute.
    suction: Option<[Quantity<Pascals>; 2]>,
    liquid: Option<[Quantity<Pascals>; 2]>,
    assumed: bool,
}

/// Works it out.
///
/// # Errors
/// How they contradict one another.
pub(super) fn work(
    known: &Known,
    read: impl Fn(Reading) -> Option<Value>,
) -> Result<Worked, &'static str> {
    let all = Reading::ALL.map(&read);
    if all.iter().flatten().any(|m| !m.is_sound()) {
        return Err(NO_NUMBER);
    }
    let celsius = |reading| read(reading).map(Quantity::<Celsius>::from_measured);
    let mut worked = Worked {
        assumed: all.iter().flatten().any(|m| m.assumed),
        weather: weather(known, &read)?,
        ..Worked::default()
    };
    let of = |reading| celsius(reading).map(|q| q.value);
    let [outdoor, indoor, wet] = [Reading::Outdoor, Reading::Return, Reading::WetBulb].map(of);
    worked.barred = allowed_so_far(outdoor, indoor, wet).err();
    worked.shown.supply = celsius(Reading::Supply);
    if let Some(Target::Subcooling(target)) = known.target {
        worked.shown.plate_subcooling = Some(target);
    }
    let Some((air, _)) = known.air else {
        return Ok(worked);
    };
    let pascals = |reading| {
        let gauge = read(reading).map(Quantity::<Pascals>::from_measured);
        let both = gauge.map(|gauge| {
            let absolute = absolute(gauge, air).map_err(|_| NOT_OVER_ZERO)?;
            Ok::<_, &'static str>([gauge, absolute])
        });
        both.transpose()
    };
    worked.suction = pascals(Reading::Suction)?;
    worked.liquid = pascals(Reading::Liquid)?;
    if let (Some([low, _]), Some([high, _])) = (worked.suction, worked.liquid)
        && high.value.get() < low.value.get()
    {
        return Err(SWAPPED);
    }
    let Some(name) = known.refrigerant else {
        return Ok(worked);
    };
    let range = |_| OUT_OF_RANGE;
    if let Some([_, p]) = worked.suction {
        worked.shown.evaporating = Some(temperature(name, Point::Dew, p).map_err(range)?);
        let line = celsius(Reading::SuctionLine);
        let line = line.map(|line| superheat(name, p, line).map_err(range));
        worked.shown.superheat = line.transpose()?;
    }
    if let Some([_, p]) = worked.liquid {
        worked.shown.condensing = Some(temperature(name, Point::Bubble, p).map_err(range)?);
        let line = celsius(Reading::LiquidLine);
        let line = line.map(|line| subcooling(name, p, line).map_err(range));
        worked.shown.subcooling = line.transpose()?;
    }
    Ok(worked)
}

fn weather(
    known: &Known,
    read: &impl Fn(Reading) -> Option<Value>,
) -> Result<Option<Weather>, &'static str> {
    let celsius = |reading| read(reading).map(Quantity::<Celsius>::from_measured);
    let (Some(outdoor), Some(indoor)) = (celsius(Reading::Outdoor), celsius(Reading::Return))
    else {
        return Ok(None);
    };
    let at_sea = || standard_air(0.0).ok();
    let Some(air) = known.air.map(|(air, _)| air).or_else(at_sea) else {
        return Ok(None);
    };
    // Over 5570 m moist air is not worked out, and no charge is judged.
    let [thinnest, thickest] = PRESSURES;
    let moist = (thinnest..=thickest).contains(&air.value.get());
    let wet = match (celsius(Reading::WetBulb), read(Reading::Humidity)) {
        (Some(wet), _) => {
            if moist {
                Air::by_wet_bulb(indoor.value, wet.value, air.value).map_err(|_| NO_WET_BULB)?;
            }
            WetBulb {
                at: wet,
                by_dry_bulb: 0.0,
            }
        }
        (None, Some(percent)) if moist => {
            let share = Quantity {
                value: Ratio(percent.value / 100.0),
                u: percent.u / 100.0,
                assumed: percent.assumed,
            };
            wet_bulb(indoor, share, air.value).map_err(|_| NO_HUMIDITY)?
        }
        _ => return Ok(None),
    };
    Ok(Some(Weather {
        outdoor,
        indoor,
        wet_bulb: wet.at,
        air,
        wet_by_indoor: wet.by_dry_bulb,
    }))
}

/// What it comes to.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Found {
    /// What was worked out, held against what.
    pub said: Vec<Said>,
    /// What speaks against the charge.
    pub against: Vec<Said>,
    /// What else keeps it from being proven.
    pub open: Vec<Said>,
    /// The weather allows no judgement: nothing more is read.
    pub barred: bool,
    /// What was read harms the compressor.
    pub harms: bool,
}

impl Found {
    /// A value against its limit.
    fn sign(&mut self, what: &'static str, unit: &'static str, about: f64, verdict: &Verdict) {
        self.said.push(sign(what, unit, about, verdict));
        if verdict.class != Class::Within {
            let off = Said::message("charge-off").with("what", what);
            self.against.push(off);
        }
    }

    /// The one that decides: within by as much as the core's decision rule asks.
    fn decides(&mut self, what: &'static str, unit: &'static str, about: f64, verdict: &Verdict) {
        self.sign(what, unit, about, verdict);
        if verdict.class == Class::Within && verdict.decision != Decision::Pass {
            self.open
                .push(Said::message("charge-close").with("what", what));
        }
    }
}

/// Holds it against its limits, and weighs it together.
pub(super) fn judge(known: &Known, worked: &Worked) -> Found {
    let mut found = Found::default();
    found
        .said
        .extend(worked.weather.as_ref().map(words::weather));
    let whole = worked.weather.as_ref();
    let barred = whole.and_then(|weather| allowed(known, weather).err());
    if let Some(why) = barred.or(worked.barred) {
        found.open.push(why.words().into());
        found.barred = true;
        return found;
    }
    let known_air = whole.filter(|_| known.air.is_some());
    if known_air.is_some_and(|weather| !weather.drawn_humidity()) {
        found.said.push(DRY_OR_DAMP.into());
    }
    if let (Some((_, metres)), true) = (known.air, worked.suction.or(worked.liquid).is_some()) {
        let each = [
            (Reading::Suction, worked.suction),
            (Reading::Liquid, worked.liquid),
        ];
        let each = each.into_iter().filter_map(|(r, p)| Some((r, p?)));
        found
            .said
            .extend(each.map(|(r, p)| words::pressure(r, p, metres)));
    }
    if let Some(liquid) = worked.shown.superheat.and_then(liquid_in_suction) {
        found.harms = liquid == Liquid::Seen;
        found.against.push(liquid.words().into());
    }
    superheats(&mut found, known, worked);
    subcoolings(&mut found, known, worked);
    if let (Some(weather), Some(_), Some(supply)) =
        (&worked.weather, known.air, worked.shown.supply)
        && let Ok(split) = split(weather, metering(known), supply)
    {
        let about = split.expected.value.get();
        found.sign("temperature split", "K", about, &split.verdict);
    }
    if let (Some([_, low]), Some([_, high])) = (worked.suction, worked.liquid)
        && let Ok(ratio) = compression_ratio(high, low)
    {
        found.sign("compression ratio", "", 0.0, &judge_ratio(ratio));
    }
    if let Some(diagnosis) = together(known, worked) {
        if known.target.is_none() && known.metering == Some(Metering::ExpansionValve) {
            found.said.push(words::usual(USUAL_SUBCOOLING.value));
        }
        found.said.push(words::suspects(&diagnosis.suspects));
        found.said.push(MODELLED.into());
        let [(first, share), ..] = diagnosis.suspects;
        if first != Suspect::NoFault {
            let against = "what was read speaks for a fault more than for none";
            found.against.push(against.into());
        } else if share < ENOUGH {
            found
                .open
                .push("what was read does not yet speak clearly for no fault".into());
        }
    }
    if worked.assumed {
        found.said.push("meter accuracy assumed".into());
    }
    found
}

/// What feeds the coil; where that is not known, what asks least of the weather.
fn metering(known: &Known) -> Metering {
    known.metering.unwrap_or(Metering::ExpansionValve)
}

fn allowed(known: &Known, weather: &Weather) -> Result<(), Unprovable> {
    let metering = metering(known);
    if known.air.is_none() {
        return provable(weather.outdoor.value, weather.wet_bulb.value, metering);
    }
    weather.allows(metering)
}

fn superheats(found: &mut Found, known: &Known, worked: &Worked) {
    const WHAT: &str = "superheat";
    let Some(superheat) = worked.shown.superheat else {
        return;
    };
    let target = match (known.metering, known.target, &worked.weather) {
        (Some(Metering::ExpansionValve), _, Some(weather)) => {
            // The valve holds it, within limits that the weather does not move.
            let verdict = judge_superheat(superheat, Metering::ExpansionValve, weather);
            if let Some(verdict) = verdict {
                found.sign(WHAT, "K", 0.0, &verdict);
            }
            return;
        }
        (_, Some(Target::Superheat(target)), Some(weather)) => {
            let verdict = judge_superheat_about(superheat, target, weather);
            found.decides(WHAT, "K", target.get(), &verdict);
            Some((target, "the maker's chart, as it was entered"))
        }
        (_, Some(Target::OfWeather), Some(weather)) => {
            let of = |q: Quantity<Celsius>| q.value;
            let target =
                target_superheat(of(weather.wet_bulb), of(weather.outdoor), weather.air.value);
            let verdict = judge_superheat(superheat, Metering::FixedOrifice, weather);
            match (target, verdict) {
                (Ok(target), Some(verdict)) => {
                    found.decides(WHAT, "K", target.get(), &verdict);
                    Some((target, TARGET.what))
                }
                (Err(why), _) => {
                    found.open.push(why.words().into());
                    None
                }
                (Ok(_), None) => None,
            }
        }
        _ => None,
    };
    match target {
        Some((target, by)) => found.said.push(words::target(target, by)),
        None => found.said.push(words::number(WHAT, superheat)),
    }
}

fn subcoolings(found: &mut Found, known: &Known, worked: &Worked) {
    const WHAT: &str = "subcooling";
    let Some(subcooling) = worked.shown.subcooling else {
        return;
    };
    let Some(Target::Subcooling(target)) = known.target else {
        found.said.push(words::number(WHAT, subcooling));
        return;
    };
    let verdict = judge_subcooling(subcooling, target);
    found.decides(WHAT, "K", target.get(), &verdict);
    found
        .said
        .push(words::target(target, "the plate of the unit"));
}

/// The suspects, once something of the circuit was read.
fn together(known: &Known, worked: &Worked) -> Option<Diagnosis> {
    let (weather, metering) = (worked.weather.as_ref()?, known.metering?);
    let of_circuit: Option<Quantity<Kelvins>> = worked.shown.superheat.or(worked.shown.subcooling);
    of_circuit?;
    diagnose(metering, weather, &worked.shown, &[]).ok()
}
