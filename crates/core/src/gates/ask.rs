//! The asks. One behind a gate is built from the gate's value only, and borrows it: it cannot be
//! kept past a revocation. What the technician is shown is made from it at once; a take that
//! answers it counts only if [`Gates::epoch`](super::Gates::epoch) is still the ask's.

use core::marker::PhantomData;

use super::limits;
use super::plan::{GatePlan, Pair, PointId};
use super::token::{
    Discharged, InsulationReady, Loose, Measure, ProvedDead, ReadyToEnergise, Touch,
};
use crate::reading::{Function, MeterId};
use crate::units::Volts;

/// Why an ask cannot be built.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AskError {
    /// The proof says nothing about this point.
    OutOfScope(PointId),
    /// No probe is held on this point: read at the wire ends.
    KeepOff(PointId),
    /// The same point twice.
    OnePoint,
    /// The function belongs to another ask: ohms on a live circuit, volts on a dead one.
    WrongFunction(Function),
    /// The gates belong to different units or meters.
    DifferentScope,
    /// The meter's category is lower than this needs.
    Category(Category),
    /// Ends are lifted: power on needs a reason of its own.
    LeadsLifted,
    /// No end is lifted: the reason does not apply.
    NoneLifted,
    /// The proof did not read the points of the ask: AC volts between these come first, at most
    /// [`limits::DEAD`].
    VoltsFirst(Pair),
}

impl AskError {
    /// The error in words, with what to do.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            AskError::OutOfScope(_) => "the gates do not cover this point: prove its sources too",
            AskError::KeepOff(_) => "no probe is held here: read at the wire ends",
            AskError::OnePoint => "two different points are needed",
            AskError::WrongFunction(_) => "this function needs another kind of ask",
            AskError::DifferentScope => "the gates belong to different units or meters",
            AskError::Category(_) => "a meter of a higher measurement category is needed",
            AskError::LeadsLifted => "ends are lifted: give the reason for power on",
            AskError::NoneLifted => "no end is lifted",
            AskError::VoltsFirst(_) => "AC volts are read at these very points first",
        }
    }
}

fn scoped(plan: &GatePlan<'_>, points: Pair) -> Result<(), AskError> {
    reachable(plan, points)?;
    for point in points {
        if !plan.in_scope(point) {
            return Err(AskError::OutOfScope(point));
        }
    }
    Ok(())
}

fn reachable(plan: &GatePlan<'_>, points: Pair) -> Result<(), AskError> {
    let [a, b] = points;
    if a == b {
        return Err(AskError::OnePoint);
    }
    for point in points {
        if plan.keep_off.contains(&point) {
            return Err(AskError::KeepOff(point));
        }
    }
    Ok(())
}

/// What was read dead at the poles may be fed from elsewhere behind them: volts come first.
fn shown_dead(dead: &ProvedDead<'_>, points: Pair) -> Result<(), AskError> {
    match dead.to_read(points) {
        None => Ok(()),
        Some(first) => Err(AskError::VoltsFirst(first)),
    }
}

fn passive(function: Function) -> Result<(), AskError> {
    if function.injects() && function != Function::Megohms {
        Ok(())
    } else {
        Err(AskError::WrongFunction(function))
    }
}

/// Measure ohms, farads, continuity or a diode in a unit that was proved dead and discharged.
#[derive(Debug)]
pub struct DeadAsk<'g> {
    function: Function,
    points: Pair,
    meter: MeterId,
    epoch: u32,
    held: PhantomData<&'g ()>,
}

impl<'g> DeadAsk<'g> {
    /// An ask for `function` between `points`.
    ///
    /// # Errors
    /// The points are out of scope or not shown dead, or the function is not one of these.
    pub fn new(
        function: Function,
        dead: &'g ProvedDead<'_>,
        discharged: &'g Discharged<'_, Measure>,
        points: Pair,
    ) -> Result<Self, AskError> {
        passive(function)?;
        agree(dead, discharged)?;
        scoped(&dead.plan, points)?;
        shown_dead(dead, points)?;
        Ok(DeadAsk {
            function,
            points,
            meter: dead.meter,
            epoch: discharged.epoch,
            held: PhantomData,
        })
    }

    /// Resistance between `points`.
    ///
    /// # Errors
    /// The points are out of scope or not shown dead.
    pub fn ohms(
        dead: &'g ProvedDead<'_>,
        discharged: &'g Discharged<'_, Measure>,
        points: Pair,
    ) -> Result<Self, AskError> {
        DeadAsk::new(Function::Ohms, dead, discharged, points)
    }

    /// Capacitance between `points`.
    ///
    /// # Errors
    /// The points are out of scope or not shown dead.
    pub fn farads(
        dead: &'g ProvedDead<'_>,
        discharged: &'g Discharged<'_, Measure>,
        points: Pair,
    ) -> Result<Self, AskError> {
        DeadAsk::new(Function::Farads, dead, discharged, points)
    }
}

fn agree<L: super::token::Level>(
    dead: &ProvedDead<'_>,
    discharged: &Discharged<'_, L>,
) -> Result<(), AskError> {
    if dead.plan == discharged.plan && dead.meter == discharged.meter {
        Ok(())
    } else {
        Err(AskError::DifferentScope)
    }
}

/// Measure ohms, farads, continuity or a diode on a loose part.
#[derive(Debug)]
pub struct LooseAsk<'g> {
    function: Function,
    points: Pair,
    meter: MeterId,
    epoch: u32,
    held: PhantomData<&'g ()>,
}

impl<'g> LooseAsk<'g> {
    /// An ask for `function` between `points`.
    ///
    /// # Errors
    /// The points are not the part's, or the function is not one of these.
    pub fn new(
        function: Function,
        loose: &'g Loose<'_>,
        discharged: &'g Discharged<'_, Measure>,
        points: Pair,
    ) -> Result<Self, AskError> {
        passive(function)?;
        if loose.plan != discharged.plan || loose.meter != discharged.meter {
            return Err(AskError::DifferentScope);
        }
        scoped(&loose.plan, points)?;
        Ok(LooseAsk {
            function,
            points,
            meter: loose.meter,
            epoch: discharged.epoch,
            held: PhantomData,
        })
    }
}

/// Measure insulation with a test voltage, the electronics disconnected and no vacuum in the
/// system. What was tested is charged afterwards: the machine asks to drain it and to read it.
#[derive(Debug)]
pub struct InsulationAsk<'g> {
    points: Pair,
    meter: MeterId,
    epoch: u32,
    held: PhantomData<&'g ()>,
}

impl<'g> InsulationAsk<'g> {
    /// The test voltage for windings under 1 kV, volts DC (IEEE 43, verified at second hand).
    pub const TEST_VOLTS: Volts = Volts(500.0);

    /// An ask for megohms between `points`.
    ///
    /// # Errors
    /// The points are out of scope or not shown dead.
    pub fn new(
        dead: &'g ProvedDead<'_>,
        discharged: &'g Discharged<'_, Measure>,
        _ready: &'g InsulationReady,
        points: Pair,
    ) -> Result<Self, AskError> {
        agree(dead, discharged)?;
        scoped(&dead.plan, points)?;
        shown_dead(dead, points)?;
        Ok(InsulationAsk {
            points,
            meter: dead.meter,
            epoch: discharged.epoch,
            held: PhantomData,
        })
    }
}

macro_rules! measured {
    ($ask:ident) => {
        impl $ask<'_> {
            /// Where the probes go.
            #[must_use]
            pub const fn points(&self) -> Pair {
                self.points
            }
            /// The meter that the gates were opened with, and no other.
            #[must_use]
            pub const fn meter(&self) -> MeterId {
                self.meter
            }
            /// The epoch that the answer must fall in.
            #[must_use]
            pub const fn epoch(&self) -> u32 {
                self.epoch
            }
        }
    };
}
measured!(DeadAsk);
measured!(LooseAsk);
measured!(InsulationAsk);

impl DeadAsk<'_> {
    /// What to set the meter to.
    #[must_use]
    pub const fn function(&self) -> Function {
        self.function
    }
}
impl LooseAsk<'_> {
    /// What to set the meter to.
    #[must_use]
    pub const fn function(&self) -> Function {
        self.function
    }
}

/// Touch a conductor: set a jumper, look under a lug, take a part out.
#[derive(Debug)]
pub struct TouchAsk<'g> {
    point: PointId,
    epoch: u32,
    held: PhantomData<&'g ()>,
}

impl<'g> TouchAsk<'g> {
    /// An ask to touch `point`.
    ///
    /// # Errors
    /// The point is out of scope.
    pub fn new(
        dead: &'g ProvedDead<'_>,
        discharged: &'g Discharged<'_, Touch>,
        point: PointId,
    ) -> Result<Self, AskError> {
        agree(dead, discharged)?;
        if !dead.plan.in_scope(point) {
            return Err(AskError::OutOfScope(point));
        }
        Ok(TouchAsk {
            point,
            epoch: discharged.epoch,
            held: PhantomData,
        })
    }

    /// An ask to touch a terminal of a loose part.
    ///
    /// # Errors
    /// The point is not the part's.
    pub fn loose(
        loose: &'g Loose<'_>,
        discharged: &'g Discharged<'_, Touch>,
        point: PointId,
    ) -> Result<Self, AskError> {
        if loose.plan != discharged.plan || loose.meter != discharged.meter {
            return Err(AskError::DifferentScope);
        }
        if !loose.plan.in_scope(point) {
            return Err(AskError::OutOfScope(point));
        }
        Ok(TouchAsk {
            point,
            epoch: discharged.epoch,
            held: PhantomData,
        })
    }

    /// Which.
    #[must_use]
    pub const fn point(&self) -> PointId {
        self.point
    }
    /// The epoch that the act must fall in.
    #[must_use]
    pub const fn epoch(&self) -> u32 {
        self.epoch
    }
}

/// Lift a wire end, or put one back.
#[derive(Debug)]
pub struct LiftAsk<'g>(TouchAsk<'g>);

impl<'g> LiftAsk<'g> {
    /// An ask to lift or put back the wire end `end`.
    ///
    /// # Errors
    /// The end is out of scope, or not shown dead to ground.
    pub fn new(
        dead: &'g ProvedDead<'_>,
        discharged: &'g Discharged<'_, Touch>,
        end: PointId,
    ) -> Result<Self, AskError> {
        let touch = TouchAsk::new(dead, discharged, end)?;
        // Where no probe is held, nothing can be read.
        if !dead.plan.keep_off.contains(&end) {
            shown_dead(dead, [end, dead.plan.ground])?;
        }
        Ok(LiftAsk(touch))
    }

    /// Which.
    #[must_use]
    pub const fn end(&self) -> PointId {
        self.0.point
    }
    /// The epoch that the act must fall in.
    #[must_use]
    pub const fn epoch(&self) -> u32 {
        self.0.epoch
    }
}

/// A meter's measurement category and its voltage, lowest first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Category {
    /// CAT III 300 V.
    Iii300,
    /// CAT III 600 V, or CAT IV 300 V.
    Iii600,
    /// CAT III 1000 V, or CAT IV 600 V.
    Iii1000,
}

impl Category {
    /// What an ask needs where up to `highest` may stand: CAT III 600 V at least.
    #[must_use]
    pub fn needed(highest: Volts) -> Category {
        if highest.0.abs() <= limits::CATEGORY_600.0 {
            Category::Iii600
        } else {
            Category::Iii1000
        }
    }

    /// As printed at the meter's sockets.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Category::Iii300 => "CAT III 300 V",
            Category::Iii600 => "CAT III 600 V",
            Category::Iii1000 => "CAT III 1000 V",
        }
    }
}

/// Measure volts, amps or hertz in a circuit that is or may be live; the readings that prove a
/// circuit dead are asked for with it too. It needs no gate, and names the category it needs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LiveAsk {
    function: Function,
    points: Pair,
    needs: Category,
}

impl LiveAsk {
    /// An ask for `function` between `points` (for amps, the conductor in the clamp twice),
    /// where up to `highest` may stand. `meter` is the meter's own category, if it is known.
    ///
    /// # Errors
    /// The function drives a current of its own, a point is never probed, or the meter's
    /// category is too low.
    pub fn new(
        plan: &GatePlan<'_>,
        function: Function,
        points: Pair,
        highest: Volts,
        meter: Option<Category>,
    ) -> Result<Self, AskError> {
        match function {
            Function::AmpsAc | Function::AmpsDc => {}
            Function::VoltsAc | Function::VoltsDc | Function::Hertz => reachable(plan, points)?,
            _ => return Err(AskError::WrongFunction(function)),
        }
        let needs = Category::needed(highest);
        if meter.is_some_and(|category| category < needs) {
            return Err(AskError::Category(needs));
        }
        Ok(LiveAsk {
            function,
            points,
            needs,
        })
    }

    /// What to set the meter to.
    #[must_use]
    pub const fn function(&self) -> Function {
        self.function
    }
    /// Where the probes go.
    #[must_use]
    pub const fn points(&self) -> Pair {
        self.points
    }
    /// The category that meter and leads need at least.
    #[must_use]
    pub const fn needs(&self) -> Category {
        self.needs
    }
}

/// What gives power.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Energise {
    /// Lock off, breaker closed.
    Breaker,
    /// A call at the thermostat with the breaker closed.
    Call,
}

/// Why power is given with ends lifted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LiftedReason {
    /// To see whether the rest runs without the part that is cut off.
    RunTheRest,
    /// To see whether the protector holds without it.
    FindWhatTrips,
    /// To read the supply without its load.
    ReadSupply,
    /// The unit is left running in part, at the customer's wish, with the part cut off.
    LeaveInPart,
}

impl LiftedReason {
    /// The reason in words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            LiftedReason::RunTheRest => "to see whether the rest runs without the part cut off",
            LiftedReason::FindWhatTrips => "to see whether the protector holds without it",
            LiftedReason::ReadSupply => "to read the supply without its load",
            LiftedReason::LeaveInPart => "the unit is left running in part, the part cut off",
        }
    }
}

/// Give the unit power.
#[derive(Debug)]
pub struct PowerOn<'g> {
    how: Energise,
    lifted: Option<LiftedReason>,
    starts: u16,
    epoch: u32,
    held: PhantomData<&'g ()>,
}

impl<'g> PowerOn<'g> {
    /// Power on with every wire end in its place.
    ///
    /// # Errors
    /// Ends are lifted.
    pub fn new(ready: &'g ReadyToEnergise, how: Energise) -> Result<Self, AskError> {
        if ready.lifted > 0 {
            return Err(AskError::LeadsLifted);
        }
        Ok(PowerOn::from(ready, how, None))
    }

    /// Power on with ends lifted and insulated, for a reason.
    ///
    /// # Errors
    /// No end is lifted.
    pub fn with_lifted(
        ready: &'g ReadyToEnergise,
        how: Energise,
        reason: LiftedReason,
    ) -> Result<Self, AskError> {
        if ready.lifted == 0 {
            return Err(AskError::NoneLifted);
        }
        Ok(PowerOn::from(ready, how, Some(reason)))
    }

    fn from(ready: &'g ReadyToEnergise, how: Energise, lifted: Option<LiftedReason>) -> Self {
        PowerOn {
            how,
            lifted,
            starts: ready.starts,
            epoch: ready.epoch,
            held: PhantomData,
        }
    }

    /// What gives power.
    #[must_use]
    pub const fn how(&self) -> Energise {
        self.how
    }
    /// Why, where ends are lifted.
    #[must_use]
    pub const fn lifted(&self) -> Option<LiftedReason> {
        self.lifted
    }
    /// Starts before this one in the visit.
    #[must_use]
    pub const fn starts(&self) -> u16 {
        self.starts
    }
    /// The epoch that the act must fall in.
    #[must_use]
    pub const fn epoch(&self) -> u32 {
        self.epoch
    }
    /// A motor that does not turn is switched off within this time, microseconds.
    pub const STALL_AT_MOST: u64 = limits::STALL_HELD;
}
