//! What is measured and what is looked at, and what each can say.

use serde::Serialize;

use super::table::Samples;
use super::{FEATURES, Fault, LOOKS, OUTDOOR, WET_BULB};
use crate::class::Class;
use crate::isolate::PowerNeed;
use crate::refrigerant::{Metering, target};
use crate::units::Celsius;
use crate::verdict::Bands;

/// A quantity that is held against what units that run well show in the same air.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Feature {
    /// Superheat of the suction line.
    Superheat = 0,
    /// Subcooling of the liquid line.
    Subcooling = 1,
    /// Return air less supply air.
    Split = 2,
    /// Condensing temperature, by the bubble point.
    Condensing = 3,
    /// Evaporating temperature, by the dew point.
    Evaporating = 4,
}

impl Feature {
    /// Every one, in the order of the table.
    pub const ALL: [Feature; FEATURES] = [
        Feature::Superheat,
        Feature::Subcooling,
        Feature::Split,
        Feature::Condensing,
        Feature::Evaporating,
    ];

    /// A name that does not change.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Feature::Superheat => "superheat",
            Feature::Subcooling => "subcooling",
            Feature::Split => "split",
            Feature::Condensing => "condensing",
            Feature::Evaporating => "evaporating",
        }
    }

    /// What to measure for it.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Feature::Superheat => "suction pressure and suction line temperature",
            Feature::Subcooling => "liquid pressure and liquid line temperature",
            Feature::Split => "return and supply air temperature at the indoor coil",
            Feature::Condensing => "liquid pressure and outdoor air temperature",
            Feature::Evaporating => "suction pressure and the return air's wet bulb",
        }
    }

    /// Where very low, low, within, high and very high part, kelvins from what is expected: near one
    /// standard deviation of units that run well, and where only faults are.
    pub(super) fn bands(self, metering: Metering) -> Bands {
        let (near, far) = match (self, metering) {
            (Feature::Superheat, Metering::FixedOrifice) => (2.8, 6.0),
            (Feature::Superheat, Metering::ExpansionValve) => (1.7, 4.0),
            (Feature::Subcooling | Feature::Split, _) => (1.7, 4.0),
            (Feature::Condensing, _) => (3.0, 6.0),
            (Feature::Evaporating, _) => (2.0, 5.0),
        };
        Bands::about(Some(-near), Some(near))
            .with_bottom(Class::Absent, -far)
            .with_top(Class::Open, far)
    }

    /// By its name.
    #[must_use]
    pub fn by_name(name: &str) -> Option<Self> {
        Feature::ALL.into_iter().find(|f| f.name() == name)
    }

    /// How far over what is expected, as the table has it: the evaporating temperature is drawn as kelvins
    /// under the wet bulb, the condensing one as kelvins over the outdoor air.
    pub(super) fn as_drawn(self, over: f64) -> f64 {
        match self {
            Feature::Evaporating => -over,
            _ => over,
        }
    }

    /// What the model does not know of a unit, kelvins: standard uncertainty, [`super::HABITS`].
    #[must_use]
    pub const fn blur(self) -> f64 {
        match self {
            Feature::Superheat => 1.0,
            Feature::Condensing => 0.8,
            Feature::Subcooling => 0.7,
            Feature::Split | Feature::Evaporating => 0.6,
        }
    }

    /// Tenths of a minute to measure it.
    pub(super) const fn tenths(self) -> u16 {
        match self {
            Feature::Superheat | Feature::Subcooling => 50,
            Feature::Condensing | Feature::Evaporating => 30,
            Feature::Split => 20,
        }
    }

    /// A constant and four slopes, as in [`Samples::expected`], of the quantity itself.
    pub(super) fn expected(self, metering: Metering) -> [f64; 5] {
        let [c, out, wet, indoor, air] = Samples::of(metering)
            .expected
            .get(self as usize)
            .copied()
            .unwrap_or_default();
        if self == Feature::Superheat && metering == Metering::FixedOrifice {
            // The trade's target goes before, and is straight too.
            let at = target(Celsius(WET_BULB), Celsius(OUTDOOR)).get();
            [c + at, out - 0.5, wet + 1.5, indoor, air]
        } else {
            [c, out, wet, indoor, air]
        }
    }
}

/// Something to look at, yes or no.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Look {
    /// The filter or the indoor coil is dirty, or the blower weak.
    IndoorDirty = 0,
    /// The outdoor coil is dirty, or its fan weak.
    OutdoorDirty = 1,
    /// Oil at a joint, or a detector that found a leak.
    Oil = 2,
    /// The liquid line is colder behind a point, or the drier at its outlet.
    ColdDrier = 3,
    /// Off, with the outdoor coil at the air's temperature, the pressure is over saturation there.
    StandingPressure = 4,
    /// The compressor draws well under its maker's curve at these pressures.
    LowAmps = 5,
}

impl Look {
    /// Every one, in the order of the table.
    pub const ALL: [Look; LOOKS] = [
        Look::IndoorDirty,
        Look::OutdoorDirty,
        Look::Oil,
        Look::ColdDrier,
        Look::StandingPressure,
        Look::LowAmps,
    ];

    /// A name that does not change.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Look::IndoorDirty => "indoor-dirty",
            Look::OutdoorDirty => "outdoor-dirty",
            Look::Oil => "oil",
            Look::ColdDrier => "cold-drier",
            Look::StandingPressure => "standing-pressure",
            Look::LowAmps => "low-amps",
        }
    }

    /// By its name.
    #[must_use]
    pub fn by_name(name: &str) -> Option<Self> {
        Look::ALL.into_iter().find(|l| l.name() == name)
    }

    /// The question.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Look::IndoorDirty => "is the filter or the indoor coil dirty, or the blower weak?",
            Look::OutdoorDirty => "is the outdoor coil dirty, or its fan weak?",
            Look::Oil => "is there oil at a joint, or does a detector find a leak?",
            Look::ColdDrier => {
                "is the liquid line colder behind one point, or the drier at its outlet, by 2 K or more?"
            }
            Look::StandingPressure => {
                "switched off and with the outdoor coil at the air's temperature, is the pressure over saturation at that temperature by 1 K or more?"
            }
            Look::LowAmps => {
                "does the compressor draw well under its maker's curve at these pressures?"
            }
        }
    }

    /// What it is about.
    #[must_use]
    pub const fn about(self) -> Fault {
        match self {
            Look::IndoorDirty => Fault::LowIndoorAir,
            Look::OutdoorDirty => Fault::LowOutdoorAir,
            Look::Oil => Fault::LowCharge,
            Look::ColdDrier => Fault::Restriction,
            Look::StandingPressure => Fault::NonCondensables,
            Look::LowAmps => Fault::ValveLeak,
        }
    }

    /// How often the answer is yes where that fault is, and where it is not: [`super::HABITS`].
    #[must_use]
    pub const fn yes(self) -> [f32; 2] {
        match self {
            Look::IndoorDirty => [0.75, 0.12],
            Look::OutdoorDirty => [0.80, 0.10],
            Look::Oil => [0.35, 0.04],
            Look::ColdDrier => [0.60, 0.03],
            Look::StandingPressure => [0.90, 0.04],
            Look::LowAmps => [0.75, 0.06],
        }
    }

    pub(super) const fn tenths(self) -> u16 {
        match self {
            Look::IndoorDirty | Look::OutdoorDirty | Look::ColdDrier => 20,
            Look::LowAmps => 40,
            Look::Oil => 60,
            Look::StandingPressure => 400,
        }
    }

    pub(super) const fn power(self) -> PowerNeed {
        match self {
            Look::IndoorDirty | Look::OutdoorDirty | Look::Oil => PowerNeed::Any,
            Look::ColdDrier | Look::LowAmps => PowerNeed::On,
            Look::StandingPressure => PowerNeed::Off,
        }
    }
}

/// What to measure or look at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Check {
    /// A quantity.
    Feature(Feature),
    /// A look.
    Look(Look),
}

impl Check {
    pub(super) fn at(ask: u16) -> Option<Self> {
        let ask = usize::from(ask);
        match ask.checked_sub(FEATURES) {
            None => Feature::ALL.get(ask).copied().map(Check::Feature),
            Some(look) => Look::ALL.get(look).copied().map(Check::Look),
        }
    }

    /// A name that does not change.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Check::Feature(feature) => feature.name(),
            Check::Look(look) => look.name(),
        }
    }

    /// What to measure, or the question.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Check::Feature(feature) => feature.words(),
            Check::Look(look) => look.words(),
        }
    }
}
