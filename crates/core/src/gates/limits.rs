//! The numbers the gates hold to, each with its source and how far that was checked.

use crate::source::{Source, Status};
use crate::units::{Amps, Ohms, Volts};

/// A test for absence of voltage passes at or under this value, the meter's uncertainty
/// included. It must lie well under the lowest source in a unit, the 24 V control circuit, or a
/// live control circuit would pass as dead; the 34 V and 50 V of [`TOUCH`] are too coarse here.
pub const DEAD: Volts = Volts(5.0);
/// Where [`DEAD`] comes from.
pub const DEAD_SOURCE: Source = Source::new(
    "absence of voltage: 5 V, a fifth of the lowest source in a unit (24 V control)",
    Status::CommonPractice,
);

/// A single display value from here on, not yet settled, counts as live: about half of a sagging
/// 24 V control circuit. Under it, probes on their way to a point may pick up a little.
pub const LIVE: Volts = Volts(10.0);
/// Where [`LIVE`] comes from.
pub const LIVE_SOURCE: Source = Source::new(
    "live at sight: 10 V, about half of a sagging 24 V control circuit",
    Status::CommonPractice,
);

/// A clamp that shows this much in a circuit said to be dead shows a live circuit. Clamps show a
/// tenth or two from stray fields.
pub const LIVE_AMPS: Amps = Amps(0.5);
/// Where [`LIVE_AMPS`] comes from.
pub const LIVE_AMPS_SOURCE: Source = Source::new(
    "live at sight: 0.5 A, above a clamp's stray-field reading",
    Status::CommonPractice,
);

/// The most that may stand on a capacitor's terminals before anyone touches, uncertainty
/// included. (45 microfarad at 34 V hold 0.026 J.)
pub const TOUCH: Volts = Volts(34.0);
/// Where [`TOUCH`] comes from.
pub const TOUCH_SOURCE: Source = Source::new(
    "IEC 60335-1 clause 22.5, voltage at plug pins: 34 V",
    Status::SecondHand,
);

/// The most that may stand on a capacitor's terminals before ohms or farads are read at a node
/// that touches it, uncertainty included: more makes the reading worthless and may harm the meter.
pub const MEASURE: Volts = Volts(1.0);
/// Where [`MEASURE`] comes from.
pub const MEASURE_SOURCE: Source = Source::new(
    "about 1 V at a capacitor before ohms or farads",
    Status::CommonPractice,
);

/// From the first proof of the meter on a known source to the second, microseconds: 30 minutes.
/// A longer test is begun anew.
pub const PROOF_LASTS: u64 = 30 * 60 * 1_000_000;
/// A capacitor's terminals are read again before anyone touches when the last reading is older,
/// microseconds: 5 minutes. Dielectric absorption lets a drained capacitor recover some volts.
pub const TOUCH_LASTS: u64 = 5 * 60 * 1_000_000;
/// A capacitor's terminals are read again before ohms or farads when the last reading is older,
/// microseconds: 30 minutes.
pub const MEASURE_LASTS: u64 = 30 * 60 * 1_000_000;
/// Covers on and people clear hold this long, microseconds: 5 minutes.
pub const READY_LASTS: u64 = 5 * 60 * 1_000_000;
/// A compressor rests this long after it stopped before it is started again, microseconds:
/// 5 minutes, so that its pressures can equalise.
pub const COMPRESSOR_REST: u64 = 5 * 60 * 1_000_000;
/// A motor that is fed and does not turn is switched off within this time, microseconds: 5 s.
pub const STALL_HELD: u64 = 5 * 1_000_000;
/// Where the times of this file come from.
pub const TIMES_SOURCE: Source = Source::new(
    "times between proofs, reads, rests and stalls",
    Status::CommonPractice,
);

/// What hangs on a tripped breaker or a blown fuse reads at least this to ground before it is
/// restored, uncertainty taken off.
pub const GROUND_CLEAR: Ohms = Ohms(2e6);
/// Where [`GROUND_CLEAR`] comes from.
pub const GROUND_CLEAR_SOURCE: Source = Source::new(
    "compressor service handbook: under 2 megohm pin to shell is a ground fault, never energise",
    Status::Verified,
);

/// The highest voltage at which CAT III 600 V is enough; above it CAT III 1000 V is asked for.
pub const CATEGORY_600: Volts = Volts(600.0);
/// Where the category comes from: a run capacitor stands at about 440 V.
pub const CATEGORY_SOURCE: Source = Source::new(
    "IEC 61010-2-033 measurement categories; CAT III 600 V at least in this work",
    Status::Memory,
);
