//! What a host loads into a box: tests of parts, the safety plan of a unit, and the compiled table
//! of its sheet.
//!
//! A load is the postcard encoding of [`Head`], and then the table, if there is one, to the end.

use heapless::Vec;
use ohmtrail_core::gates::{GatePlan, OtherSource, Pair, PlanError, PointId, Protector};
use serde::{Deserialize, Serialize};

/// The version of the format.
pub const VERSION: u16 = 1;
/// The most bytes of a load: its table has 128 KiB, and the rest 2 KiB.
pub const MOST: u32 = 130 * 1024;
/// The most tests of parts.
pub const TESTS: usize = 8;
/// The most poles on the line side, or at a source.
pub const POLES: usize = 8;
/// The most poles on the load side: of every switch, on both of its sides.
pub const LOADS: usize = 12;
/// The most points that the proof of a dead unit covers.
pub const COVERS: usize = 256;
/// The most sets of wire ends.
pub const LIFTS: usize = 16;
/// The most wire ends in a set.
pub const ENDS: usize = 8;
/// The most capacitor pairs.
pub const CAPACITORS: usize = 12;
/// The most other sources.
pub const SOURCES: usize = 4;
/// The most points that no probe is held on.
pub const KEEP_OFF: usize = 16;

/// A test of a loose part.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub enum Test {
    /// One section of a capacitor: farads from 1 to 2.
    Capacitor {
        /// The marked value, farads.
        farads: f32,
        /// How far it may be below, as a share.
        minus: f32,
        /// How far above.
        plus: f32,
    },
    /// A single-phase winding set: ohms common to run, common to start, start to run.
    Windings,
    /// A contactor: ohms of the coil, then across each pole as it lies, then pushed in.
    Contactor {
        /// The coil's ohms, lowest.
        coil_low: f32,
        /// Highest.
        coil_high: f32,
        /// Poles, 1 to 4.
        poles: u8,
    },
    /// A thermistor: degrees beside it, then ohms.
    Thermistor {
        /// Ohms at 25 degrees Celsius.
        ohms_25: f32,
        /// The beta value, kelvins.
        beta: f32,
        /// How far the ohms may be off, as a share.
        share: f32,
    },
}

impl Test {
    /// Whether its numbers are limits.
    #[must_use]
    pub fn is_sound(&self) -> bool {
        let positive = |x: f32| x.is_finite() && x > 0.0;
        let share = |x: f32| (0.0..1.0).contains(&x);
        match *self {
            Test::Capacitor {
                farads,
                minus,
                plus,
            } => positive(farads) && share(minus) && share(plus),
            Test::Windings => true,
            Test::Contactor {
                coil_low,
                coil_high,
                poles,
            } => {
                positive(coil_low)
                    && coil_high.is_finite()
                    && coil_low <= coil_high
                    && (1..=4).contains(&poles)
            }
            Test::Thermistor {
                ohms_25,
                beta,
                share: off,
            } => positive(ohms_25) && positive(beta) && share(off),
        }
    }
}

/// The points of a unit that its gates need: see [`GatePlan`].
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Plan {
    /// Poles on the line side.
    pub line: Vec<PointId, POLES>,
    /// Poles on the load side.
    pub load: Vec<PointId, LOADS>,
    /// Which side of which switch each of them is on; empty if all are one side.
    pub load_sides: Vec<u8, LOADS>,
    /// Equipment ground.
    pub ground: u16,
    /// Every other source's poles.
    pub sources: Vec<Vec<PointId, POLES>, SOURCES>,
    /// Capacitor pairs.
    pub capacitors: Vec<Pair, CAPACITORS>,
    /// Points that are dead when the poles are.
    pub covers: Vec<PointId, COVERS>,
    /// Points that no probe is held on.
    pub keep_off: Vec<PointId, KEEP_OFF>,
    /// The wire ends of each set, the first set being 1.
    pub lifts: Vec<Vec<PointId, ENDS>, LIFTS>,
}

/// What borrows a [`Plan`] the way the gates want it.
pub type Sources<'p> = Vec<OtherSource<'p>, SOURCES>;

impl Plan {
    /// The sources, borrowed.
    #[must_use]
    pub fn sources(&self) -> Sources<'_> {
        let mut sources = Sources::new();
        for poles in &self.sources {
            // There is room for as many as a plan has.
            let _ = sources.push(OtherSource { poles });
        }
        sources
    }

    /// The plan for the gates. A box restores no breaker that tripped and no fuse that blew.
    ///
    /// # Errors
    /// The plan cannot be carried out.
    pub fn gates<'p>(&'p self, sources: &'p Sources<'p>) -> Result<GatePlan<'p>, PlanError> {
        const NO_PROTECTORS: &[Protector<'static>] = &[];
        let plan = GatePlan {
            line: &self.line,
            load: &self.load,
            load_sides: &self.load_sides,
            ground: PointId(self.ground),
            sources,
            capacitors: &self.capacitors,
            covers: &self.covers,
            keep_off: &self.keep_off,
            protectors: NO_PROTECTORS,
        };
        plan.check()?;
        Ok(plan)
    }
}

/// What comes before the table.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Head {
    /// [`VERSION`].
    pub version: u16,
    /// The tests of parts.
    pub tests: Vec<Test, TESTS>,
    /// The plan of the unit that the table is of.
    pub plan: Option<Plan>,
}

impl Head {
    /// The head of a load, and the table behind it.
    #[must_use]
    pub fn read(load: &[u8]) -> Option<(Head, &[u8])> {
        let (head, table) = postcard::take_from_bytes::<Head>(load).ok()?;
        (head.version == VERSION).then_some((head, table))
    }
}
