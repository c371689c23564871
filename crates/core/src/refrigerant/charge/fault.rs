//! The faults, and what a unit may be held to have.

use serde::Serialize;

use super::HYPOTHESES;
use super::table::PRIORS;

/// A fault of the charge, of the air over a coil, or of a part that refrigerant flows through.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Fault {
    /// Too little refrigerant.
    LowCharge,
    /// Too much refrigerant.
    HighCharge,
    /// A liquid line, a drier or a metering device that lets too little through.
    Restriction,
    /// A metering device that lets too much through.
    Overfeeding,
    /// Too little air over the indoor coil.
    LowIndoorAir,
    /// Too little air over the outdoor coil, or a dirty one.
    LowOutdoorAir,
    /// Air or nitrogen in the circuit.
    NonCondensables,
    /// Compressor valves, or a seal inside, that leak back.
    ValveLeak,
}

impl Fault {
    /// Every one, in the order of the table.
    pub const ALL: [Fault; 8] = [
        Fault::LowCharge,
        Fault::HighCharge,
        Fault::Restriction,
        Fault::Overfeeding,
        Fault::LowIndoorAir,
        Fault::LowOutdoorAir,
        Fault::NonCondensables,
        Fault::ValveLeak,
    ];

    /// A name that does not change.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Fault::LowCharge => "low-charge",
            Fault::HighCharge => "high-charge",
            Fault::Restriction => "restriction",
            Fault::Overfeeding => "overfeeding",
            Fault::LowIndoorAir => "low-indoor-air",
            Fault::LowOutdoorAir => "low-outdoor-air",
            Fault::NonCondensables => "non-condensables",
            Fault::ValveLeak => "valve-leak",
        }
    }

    /// In words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Fault::LowCharge => "too little refrigerant: find the leak before any is added",
            Fault::HighCharge => "too much refrigerant: recover, never vent",
            Fault::Restriction => {
                "a restriction: liquid line, drier, or a metering device that feeds too little"
            }
            Fault::Overfeeding => "a metering device that feeds too much",
            Fault::LowIndoorAir => {
                "too little air over the indoor coil: filter, coil, blower, ducts"
            }
            Fault::LowOutdoorAir => "too little air over the outdoor coil, or a dirty one",
            Fault::NonCondensables => "air or nitrogen in the circuit",
            Fault::ValveLeak => "a compressor that leaks back inside",
        }
    }
}

/// What a unit may have.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Suspect {
    /// No fault of these.
    NoFault,
    /// One of them.
    Fault(Fault),
    /// Something that the table has no name for, two faults at once among it.
    NoneOfThese,
}

impl Suspect {
    /// A name that does not change.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Suspect::NoFault => "no-fault",
            Suspect::Fault(fault) => fault.name(),
            Suspect::NoneOfThese => "none-of-these",
        }
    }

    /// In words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Suspect::NoFault => "nothing measured speaks for a fault of these",
            Suspect::Fault(fault) => fault.words(),
            Suspect::NoneOfThese => "something else, or two of these at once",
        }
    }

    /// How probable it is held to be before anything is measured, on a call for poor cooling:
    /// [`super::HABITS`].
    #[must_use]
    pub fn prior(self) -> f32 {
        let at = match self {
            Suspect::NoFault => 0,
            Suspect::Fault(fault) => 1 + fault as usize,
            Suspect::NoneOfThese => HYPOTHESES - 1,
        };
        PRIORS.get(at).copied().unwrap_or_default()
    }

    pub(super) fn at(hypothesis: u16) -> Self {
        let last = HYPOTHESES as u16 - 1;
        match hypothesis.checked_sub(1) {
            None => Suspect::NoFault,
            Some(_) if hypothesis >= last => Suspect::NoneOfThese,
            Some(number) => Fault::ALL
                .get(usize::from(number))
                .copied()
                .map_or(Suspect::NoneOfThese, Suspect::Fault),
        }
    }
}
