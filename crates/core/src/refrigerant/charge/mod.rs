//! What superheat, subcooling, temperature split and the two saturation temperatures mean together.
//!
//! Units are drawn within what is usual, put into weather, given a fault and solved by a steady-state model
//! of the cycle (tests/fits/cycle.py): [`MODEL`]. What they show becomes a table for the isolation
//! ([`crate::isolate`]): the same rule of Bayes, the same choice of the next check, the same *none of
//! these*. The weather is taken out first: each quantity is held against what units that run well show in
//! the same air. The compression ratio is made of the two pressures and would count them twice, so it is
//! judged by itself and is no evidence here.
//!
//! Two faults at once are not in the table, nor are heating, variable speed, and units other than split
//! and packaged air conditioners of one speed. Whoever opens the circuit is certified for it; local codes
//! come first.

mod ask;
mod fault;
mod samples;
mod table;

use serde::Serialize;

use super::weather::modelled;
use super::{HUMIDITY, Metering, Unprovable, provable};
use crate::accuracy::{Measured, Quantity};
use crate::isolate::plan::{Active, Prospect};
use crate::isolate::{Belief, Evidence, Planner, Standing, State};
use crate::math::root_sum_square;
use crate::psychrometrics::Air;
use crate::rules::RuleError;
use crate::source::{Source, Status};
use crate::units::{Celsius, Kelvins, Pascals};

pub use ask::{Check, Feature, Look};
pub use fault::{Fault, Suspect};
pub use table::{MOST_ROWS, Room, WEIGHTS};

use table::Samples;

/// Where the expected values, and what each fault does to them, come from.
pub const MODEL: Source = Source::new(
    "steady-state cycle model over drawn units, properties by CoolProp 8.0.0 (tests/fits/cycle.py)",
    Status::Computed,
);
/// What the model is of.
pub const MODELLED: &str = "the model is of air conditioners of one speed in cooling, one fault at a time; measure after a quarter of an hour of steady running, airflow first";
/// Where the priors, and how often a look tells the truth, come from.
pub const HABITS: Source = Source::new(
    "how often each fault is met and seen: estimates of this program",
    Status::CommonPractice,
);

/// Quantities that are held against what is expected.
pub const FEATURES: usize = 5;
/// Things to look at.
pub const LOOKS: usize = 6;
/// What can be asked: the quantities, then the looks.
pub const ASKS: usize = FEATURES + LOOKS;
/// *No fault*, the faults, *none of these*.
pub const HYPOTHESES: usize = Fault::ALL.len() + 2;

/// The air that the unit works in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Weather {
    /// Dry bulb of the air that enters the outdoor coil.
    pub outdoor: Quantity<Celsius>,
    /// Dry bulb of the return air.
    pub indoor: Quantity<Celsius>,
    /// Wet bulb of the return air.
    pub wet_bulb: Quantity<Celsius>,
    /// The air's pressure.
    pub air: Quantity<Pascals>,
    /// Kelvins of the wet bulb for each kelvin of the return air, where it was worked out from a humidity
    /// and the return air's thermometer ([`crate::psychrometrics::WetBulb::by_dry_bulb`]): that error is in
    /// both. Zero where it was read by a wick of its own.
    pub wet_by_indoor: f64,
}

/// What was measured; what was not is left out.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Shown {
    /// Superheat of the suction line.
    pub superheat: Option<Quantity<Kelvins>>,
    /// Subcooling of the liquid line.
    pub subcooling: Option<Quantity<Kelvins>>,
    /// The subcooling on the plate of a unit with an expansion valve.
    pub plate_subcooling: Option<Kelvins>,
    /// Supply air.
    pub supply: Option<Quantity<Celsius>>,
    /// Saturation at the liquid pressure, bubble point.
    pub condensing: Option<Quantity<Celsius>>,
    /// Saturation at the suction pressure, dew point.
    pub evaporating: Option<Quantity<Celsius>>,
    /// Which of [`Feature::ALL`] were measured twice, with the instruments taken off in between, and agreed.
    pub confirmed: [bool; FEATURES],
}

/// Where the slopes begin, degrees Celsius and pascals.
const OUTDOOR: f64 = 25.0;
const WET_BULB: f64 = 17.0;
const INDOOR: f64 = 25.0;
const AT_SEA: f64 = 101_325.0;
/// Subcooling that is assumed where no plate says: [`USUAL`].
pub const USUAL_SUBCOOLING: Quantity<Kelvins> = Quantity {
    value: Kelvins(10.0 / 1.8),
    u: 0.75,
    assumed: true,
};
/// Where [`USUAL_SUBCOOLING`] comes from.
pub const USUAL: Source = Source::new(
    "the middle of 8 to 12 degrees Fahrenheit, usual plates of units with an expansion valve",
    Status::CommonPractice,
);

impl Weather {
    /// Whether a charge can be proven in this weather, and the model was drawn in the like.
    ///
    /// # Errors
    /// [`Unprovable`]: why not, and what to do.
    pub fn allows(&self, metering: Metering) -> Result<(), Unprovable> {
        provable(self.outdoor.value, self.wet_bulb.value, metering)?;
        modelled(self.indoor.value, self.air.value)
    }

    /// What units that run well show in this air, and their spread with the air's own uncertainty: for
    /// subcooling behind an expansion valve, over the plate's.
    #[must_use]
    pub fn expected(&self, feature: Feature, metering: Metering) -> Quantity<Kelvins> {
        let slopes = feature.expected(metering);
        let spread = Samples::of(metering).spread.get(feature as usize);
        let spread = spread.copied().unwrap_or_default();
        Quantity {
            value: Kelvins(self.along(slopes)),
            u: root_sum_square([spread, self.doubt(slopes)]),
            assumed: self.assumed(),
        }
    }

    /// Whether the return air is as humid as some that the model was drawn in: [`HUMIDITY`].
    #[must_use]
    pub fn drawn_humidity(&self) -> bool {
        let air = Air::by_wet_bulb(self.indoor.value, self.wet_bulb.value, self.air.value);
        let limit = HUMIDITY.limit();
        air.is_ok_and(|air| (limit.low()..=limit.high()).contains(&air.relative_humidity().get()))
    }

    fn assumed(&self) -> bool {
        self.outdoor.assumed || self.indoor.assumed || self.wet_bulb.assumed || self.air.assumed
    }

    fn along(&self, [c, out, wet, indoor, air]: [f64; 5]) -> f64 {
        c + out * (self.outdoor.value.get() - OUTDOOR)
            + wet * (self.wet_bulb.value.get() - WET_BULB)
            + indoor * (self.indoor.value.get() - INDOOR)
            + air * (self.air.value.get() / AT_SEA - 1.0)
    }

    fn doubt(&self, [_, out, wet, indoor, air]: [f64; 5]) -> f64 {
        // What the wet bulb has of its own, and what it shares with the return air's thermometer.
        let shared = self.wet_by_indoor * self.indoor.u;
        let own = (self.wet_bulb.u * self.wet_bulb.u - shared * shared).max(0.0);
        root_sum_square([
            out * self.outdoor.u,
            wet * libm::sqrt(own),
            indoor * self.indoor.u + wet * shared,
            air * self.air.u / AT_SEA,
        ])
    }

    /// How far a quantity is over what is expected of it, negative under; none if it was not measured.
    #[must_use]
    pub fn over(&self, feature: Feature, metering: Metering, shown: &Shown) -> Option<Measured> {
        let mut slopes = feature.expected(metering);
        let [c, out, _, indoor, _] = &mut slopes;
        let mut plate = Measured::new(0.0, 0.0);
        let read = match feature {
            Feature::Superheat => shown.superheat?.measured(),
            Feature::Subcooling => {
                if metering == Metering::ExpansionValve {
                    plate = match shown.plate_subcooling {
                        Some(plate) => Measured::new(plate.get(), 0.0),
                        None => USUAL_SUBCOOLING.measured(),
                    };
                }
                shown.subcooling?.measured()
            }
            // The air is on both sides, and its uncertainty counts once: by the slope that is left.
            Feature::Split => {
                (*c, *indoor) = (*c - INDOOR, *indoor - 1.0);
                negative(shown.supply?.measured())
            }
            Feature::Condensing => {
                (*c, *out) = (*c + OUTDOOR, *out + 1.0);
                shown.condensing?.measured()
            }
            // Drawn as kelvins under the wet bulb; named as the temperature that it is.
            Feature::Evaporating => {
                slopes = slopes.map(|slope| -slope);
                let [c, _, wet, ..] = &mut slopes;
                (*c, *wet) = (*c + WET_BULB, *wet + 1.0);
                shown.evaporating?.measured()
            }
        };
        Some(Measured {
            value: read.value - plate.value - self.along(slopes),
            u: root_sum_square([read.u, plate.u, self.doubt(slopes)]),
            assumed: read.assumed || plate.assumed || self.assumed(),
        })
    }
}

fn negative(m: Measured) -> Measured {
    Measured {
        value: -m.value,
        ..m
    }
}

/// Why nothing can be said.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum ChargeError {
    /// The weather does not allow it.
    Weather(Unprovable),
    /// A value cannot be used.
    Rule(RuleError),
}

impl ChargeError {
    /// Why, and what to do.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            ChargeError::Weather(why) => why.words(),
            ChargeError::Rule(why) => why.words(),
        }
    }
}

/// Where it stands.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Advice {
    /// One suspect leads by enough, explains what was measured, and no check is worth its time.
    Found(Suspect),
    /// This tells most per minute.
    Next(Check),
    /// To measure this again tells most per minute, or it fits nothing well.
    Again(Check),
    /// What was measured fits no fault here.
    Unnamed,
    /// Too near to tell.
    Undecided,
}

/// What the measurements mean together.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Diagnosis {
    /// Every suspect with its probability, most probable first.
    pub suspects: [(Suspect, f32); HYPOTHESES],
    /// Where it stands.
    pub advice: Advice,
}

/// Weighs what was measured and looked at.
///
/// # Errors
/// [`ChargeError`] where the weather does not allow it, or a value is no number.
pub fn diagnose(
    metering: Metering,
    weather: &Weather,
    shown: &Shown,
    looks: &[(Look, bool)],
) -> Result<Diagnosis, ChargeError> {
    weather.allows(metering).map_err(ChargeError::Weather)?;
    let takes = takes(metering, weather, shown, looks)?;
    let broken = ChargeError::Rule(RuleError::NotFinite);
    let mut room = Room::new();
    let table = room.table(metering);
    let mut weights = [0.0; WEIGHTS];
    let mut belief: Belief<'_, '_, MOST_ROWS> =
        Belief::with_rows(&table, &mut weights).map_err(|_| broken)?;
    for (ask, evidence) in &takes {
        belief.update(*ask, evidence).map_err(|_| broken)?;
    }
    let mut suspects = [(Suspect::NoFault, 0.0); HYPOTHESES];
    for (slot, (h, p)) in suspects.iter_mut().zip(belief.top::<HYPOTHESES>()) {
        *slot = (Suspect::at(h), p);
    }
    let (mut prospects, mut active) = ([Prospect::NONE; ASKS], [Active::NONE; HYPOTHESES]);
    let mut planner = Planner::new(&table, &mut prospects, &mut active).map_err(|_| broken)?;
    let running = State {
        on: true,
        lifted: 0,
        cooled: false,
    };
    let mut open = |ask: u16| takes.iter().all(|(answered, _)| *answered != ask);
    let standing = planner
        .standing(&belief, &takes, running, &mut open)
        .map_err(|_| broken)?;
    Ok(Diagnosis {
        suspects,
        advice: advice(standing),
    })
}

fn advice(standing: Standing) -> Advice {
    let or_undecided = |check: Option<Advice>| check.unwrap_or(Advice::Undecided);
    match standing {
        Standing::Found { hypothesis, .. } => Advice::Found(Suspect::at(hypothesis)),
        Standing::Ask(choice) => or_undecided(Check::at(choice.ask).map(Advice::Next)),
        Standing::Again(choice) => or_undecided(Check::at(choice.ask).map(Advice::Again)),
        Standing::Unnamed { .. } => Advice::Unnamed,
        Standing::Undecided => Advice::Undecided,
    }
}

/// What was answered, as evidence. A look that is given twice counts once: its last answer.
fn takes(
    metering: Metering,
    weather: &Weather,
    shown: &Shown,
    looks: &[(Look, bool)],
) -> Result<heapless::Vec<(u16, Evidence), ASKS>, ChargeError> {
    let mut takes = heapless::Vec::new();
    for feature in Feature::ALL {
        let Some(over) = weather.over(feature, metering, shown) else {
            continue;
        };
        if !over.is_sound() {
            return Err(ChargeError::Rule(RuleError::NotFinite));
        }
        let drawn = feature.as_drawn(over.value);
        let likely = feature.bands(metering).judge(drawn, over.u);
        let twice = shown.confirmed.get(feature as usize) == Some(&true);
        let evidence = if twice {
            Evidence::Confirmed(likely)
        } else {
            Evidence::Measured(likely)
        };
        // There is room for every ask.
        let _ = takes.push((feature as u16, evidence));
    }
    for look in Look::ALL {
        let said = looks.iter().rev().find(|(asked, _)| *asked == look);
        if let Some((_, yes)) = said {
            let ask = FEATURES as u16 + look as u16;
            let _ = takes.push((ask, Evidence::Looked(*yes)));
        }
    }
    Ok(takes)
}
