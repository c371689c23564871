//! What a technician does to a unit. Append only, as [`crate::event`] is.

use serde::{Deserialize, Serialize};

/// What a technician does to a unit. Each is asked for and confirmed by itself.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Act {
    /// Open the breaker that feeds the unit.
    OpenBreaker,
    /// Lock the open breaker or disconnect and hang the lock's tag.
    LockAndTag,
    /// Open and lock a disconnect in sight of the unit.
    LockDisconnect,
    /// Open every other source that the sheet names.
    OpenOtherSources,
    /// Prove the meter on a known live source.
    ProveMeter,
    /// Discharge the capacitors through a resistor.
    Discharge,
    /// Lift these wire ends.
    Lift(Vec<String>),
    /// Put these wire ends back where they were.
    PutBack(Vec<String>),
    /// Insulate the lifted ends.
    InsulateEnds,
    /// Fit covers and keep people clear.
    CoversOnPeopleClear,
    /// Take the lock off and close the breaker.
    CloseBreaker,
    /// Leave the unit until its motors are cold.
    WaitCool,
    /// Turn the thermostat to a call.
    CallOn,
    /// Turn the call off.
    CallOff,
    /// Fit this part in place of the one that failed.
    Fit(String),
    /// Hold this wire end, which is back, against the photograph of it in place and the drawing.
    CheckWire(String),
    /// Find which of these wire ends changed places, and put each where the wire map has it.
    PutRight(Vec<String>),
    /// Turn the thermostat to a call for heating.
    CallHeating,
    /// Start a defrost, by the board's own means.
    StartDefrost,
    /// Prove the refrigerant charge.
    ProveCharge,
}

impl Act {
    /// Whether entries know it from version 6 on.
    pub(crate) const fn is_of_repairs(&self) -> bool {
        matches!(
            self,
            Act::Fit(_)
                | Act::CheckWire(_)
                | Act::PutRight(_)
                | Act::CallHeating
                | Act::StartDefrost
                | Act::ProveCharge
        )
    }
}
