//! The values that stand for open gates. Their fields are private to this module, they have no
//! public constructor, and they implement nothing that would make a second one.

use core::marker::PhantomData;

use super::limits;
use super::plan::{GatePlan, Pair, same};
use crate::reading::MeterId;
use crate::units::{Micros, Volts};

/// Every pair of poles, and every pole to ground, read no voltage, AC then DC, on the line side,
/// the load side and at every other source of the plan, with the meter proved before and after.
#[derive(Debug)]
pub struct ProvedDead<'a> {
    pub(super) plan: GatePlan<'a>,
    pub(super) meter: MeterId,
    pub(super) from: Micros,
    pub(super) until: Micros,
    pub(super) highest: f64,
    pub(super) pairs: u16,
    pub(super) meter_read: bool,
    pub(super) at_work: AtWork,
}

/// How many pairs beside the poles are kept as read dead; the oldest is read again then.
const AT_WORK: usize = 64;

/// The pairs that were read dead at points of work.
#[derive(Debug)]
pub(super) struct AtWork {
    pairs: [Option<Pair>; AT_WORK],
    next: usize,
}

impl AtWork {
    pub(super) const NONE: AtWork = AtWork {
        pairs: [None; AT_WORK],
        next: 0,
    };

    pub(super) fn read(&mut self, pair: Pair) {
        if let Some(place) = self.pairs.get_mut(self.next) {
            *place = Some(pair);
        }
        self.next = self.next.wrapping_add(1) % AT_WORK;
    }

    fn holds(&self, points: Pair) -> bool {
        self.pairs.iter().flatten().any(|pair| same(*pair, points))
    }
}

impl<'a> ProvedDead<'a> {
    /// The AC volts that are still to be read before work at this pair; none if it was shown dead:
    /// both are poles or ground, which the proof itself read, or no voltage was read since at these
    /// very points, and from one of them to ground. Between two points of one live conductor, or with a
    /// winding between them, there is none; from both to ground there is.
    #[must_use]
    pub fn to_read(&self, points: Pair) -> Option<Pair> {
        let [a, b] = points;
        let read = |point| self.plan.is_read(point);
        if read(a) && read(b) {
            return None;
        }
        let ground = self.plan.ground;
        let grounded = |point| read(point) || self.at_work.holds([point, ground]);
        if !grounded(a) && !grounded(b) {
            return Some([a, ground]);
        }
        (!self.at_work.holds(points)).then_some(points)
    }

    /// Whether this pair was shown dead: [`to_read`](ProvedDead::to_read) has nothing for it.
    #[must_use]
    pub fn shows(&self, points: Pair) -> bool {
        self.to_read(points).is_none()
    }

    /// The plan it was proved for.
    #[must_use]
    pub const fn plan(&self) -> &GatePlan<'a> {
        &self.plan
    }
    /// The meter.
    #[must_use]
    pub const fn meter(&self) -> MeterId {
        self.meter
    }
    /// When the meter was proved before.
    #[must_use]
    pub const fn from(&self) -> Micros {
        self.from
    }
    /// When the meter was proved after.
    #[must_use]
    pub const fn until(&self) -> Micros {
        self.until
    }
    /// The highest voltage that could have stood at any pair: value and two standard
    /// uncertainties.
    #[must_use]
    pub const fn highest(&self) -> Volts {
        Volts(self.highest)
    }
    /// How many pairs were read, each AC and DC.
    #[must_use]
    pub const fn pairs(&self) -> u16 {
        self.pairs
    }
    /// Whether both proofs of the meter were readings; otherwise one is the technician's word.
    #[must_use]
    pub const fn meter_read(&self) -> bool {
        self.meter_read
    }
}

mod sealed {
    pub trait Sealed {}
}

/// How far a capacitor was drained: [`Touch`] or [`Measure`].
pub trait Level: sealed::Sealed {
    /// The most that may stand on it, the meter's uncertainty included.
    const AT_MOST: Volts;
    /// How long a reading counts, microseconds.
    const LASTS: u64;
}

/// At most 34 V: before anyone touches.
#[derive(Debug)]
pub enum Touch {}
/// At most 1 V: before ohms or farads.
#[derive(Debug)]
pub enum Measure {}

impl sealed::Sealed for Touch {}
impl sealed::Sealed for Measure {}
impl Level for Touch {
    const AT_MOST: Volts = limits::TOUCH;
    const LASTS: u64 = limits::TOUCH_LASTS;
}
impl Level for Measure {
    const AT_MOST: Volts = limits::MEASURE;
    const LASTS: u64 = limits::MEASURE_LASTS;
}

/// Every capacitor pair of the plan was read, DC, at or under the level.
#[derive(Debug)]
pub struct Discharged<'a, L: Level> {
    pub(super) plan: GatePlan<'a>,
    pub(super) meter: MeterId,
    pub(super) oldest: Micros,
    pub(super) highest: f64,
    pub(super) epoch: u32,
    pub(super) level: PhantomData<L>,
}

impl<L: Level> Discharged<'_, L> {
    /// The meter.
    #[must_use]
    pub const fn meter(&self) -> MeterId {
        self.meter
    }
    /// When the reading that lies furthest back was taken.
    #[must_use]
    pub const fn oldest(&self) -> Micros {
        self.oldest
    }
    /// The highest voltage that could have stood on any pair: value and two standard
    /// uncertainties; zero where the plan names no capacitor.
    #[must_use]
    pub const fn highest(&self) -> Volts {
        Volts(self.highest)
    }
    /// Whether the oldest reading still counts.
    pub(super) const fn fresh(&self, now: Micros) -> bool {
        now.since(self.oldest) <= L::LASTS
    }
}

/// The part is on a bench with nothing connected, and the meter was proved.
#[derive(Debug)]
pub struct Loose<'a> {
    pub(super) plan: GatePlan<'a>,
    pub(super) meter: MeterId,
    pub(super) at: Micros,
}

impl Loose<'_> {
    /// The meter.
    #[must_use]
    pub const fn meter(&self) -> MeterId {
        self.meter
    }
    /// Since when.
    #[must_use]
    pub const fn at(&self) -> Micros {
        self.at
    }
}

/// Lifted ends are insulated, covers are on, people are clear, the compressor has rested, and
/// nothing that tripped is restored unchecked.
#[derive(Debug)]
pub struct ReadyToEnergise {
    pub(super) at: Micros,
    pub(super) lifted: u8,
    pub(super) starts: u16,
    pub(super) epoch: u32,
}

impl ReadyToEnergise {
    /// When people were last seen clear.
    #[must_use]
    pub const fn at(&self) -> Micros {
        self.at
    }
    /// How many ends are lifted (all of them insulated).
    #[must_use]
    pub const fn lifted(&self) -> u8 {
        self.lifted
    }
    /// How many starts there were before this one.
    #[must_use]
    pub const fn starts(&self) -> u16 {
        self.starts
    }
}

/// Electronics are disconnected from what is to be tested, and the system is in no vacuum.
#[derive(Debug)]
pub struct InsulationReady {
    pub(super) at: Micros,
}

impl InsulationReady {
    /// Since when.
    #[must_use]
    pub const fn at(&self) -> Micros {
        self.at
    }
}
