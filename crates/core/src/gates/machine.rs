//! The state machine that opens and shuts the gates.

use core::marker::PhantomData;

use super::event::{Alarm, Event, GateSet, NotCounted, Outcome, Why};
use super::limits;
use super::plan::{GatePlan, MAX_CAPACITORS, MAX_PROTECTORS, Pair, PlanError, PointId};
use super::step::Gate;
use super::token::{
    Discharged, InsulationReady, Loose, Measure, ProvedDead, ReadyToEnergise, Touch,
};
use crate::reading::{Function, MeterId};
use crate::units::Micros;

/// The most wire ends that can be lifted at one time.
pub const MAX_LIFTED: usize = 32;

/// Whether the unit's breaker is known to be open.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Power {
    Unknown,
    On,
    Off,
}

/// How the line side read last, before the breaker was opened.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Line {
    NotRead,
    Live,
    /// Read and not live, or out of reach.
    NotSeenLive,
}

/// A lifted wire end.
#[derive(Debug, Clone, Copy)]
pub(super) struct End {
    pub point: PointId,
    pub insulated: bool,
}

/// What a capacitor pair read.
#[derive(Debug, Clone, Copy)]
pub(super) struct Charge {
    /// Value and two standard uncertainties, volts.
    pub up_to: f64,
    pub at: Micros,
}

/// The meter's proof before the test.
#[derive(Debug, Clone, Copy)]
pub(super) struct Proof {
    pub at: Micros,
    pub read: bool,
}

/// The safety gates of one unit or one loose part.
///
/// Feed it every act, every take, and every display value whose probe points are known. Don't
/// feed it a value that was read on the known source: that is [`Event::Proof`].
///
/// Not `Clone`, and with no way in or out of a file: after a restart it begins anew, and a trail
/// that is folded again must end in [`Event::Restart`].
#[derive(Debug)]
pub struct Gates<'a> {
    pub(super) plan: GatePlan<'a>,
    pub(super) last: Micros,
    pub(super) epoch: u32,
    pub(super) power: Power,
    pub(super) line: Line,
    /// The line side was live before this breaker was opened.
    pub(super) identified: bool,
    pub(super) disconnect: bool,
    pub(super) locked: bool,
    pub(super) sources_open: u32,
    pub(super) meter: Option<MeterId>,
    pub(super) proof: Option<Proof>,
    /// The probes may still be on the source that the meter was proved on.
    pub(super) source: Option<OnSource>,
    pub(super) ac: u128,
    pub(super) dc: u128,
    pub(super) highest: f64,
    pub(super) must_drain: bool,
    pub(super) drained: bool,
    pub(super) charges: [Option<Charge>; MAX_CAPACITORS],
    /// A pair that an insulation test has charged.
    pub(super) recheck: Option<Pair>,
    pub(super) on_bench: bool,
    pub(super) lifted: heapless::Vec<End, MAX_LIFTED>,
    pub(super) too_many_lifted: bool,
    pub(super) covers_on: bool,
    pub(super) people_clear: Option<Micros>,
    pub(super) tripped: u8,
    /// Per protector, which hanging points read clear to ground.
    pub(super) clear: [u32; MAX_PROTECTORS],
    pub(super) electronics_apart: bool,
    pub(super) no_vacuum: bool,
    pub(super) stopped: Option<Micros>,
    pub(super) starts: u16,
    pub(super) stalled: Option<Micros>,
    pub(super) dead: Option<ProvedDead<'a>>,
    pub(super) touch: Option<Discharged<'a, Touch>>,
    pub(super) measure: Option<Discharged<'a, Measure>>,
    pub(super) loose: Option<Loose<'a>>,
    pub(super) ready: Option<ReadyToEnergise>,
    pub(super) insulation: Option<InsulationReady>,
}

/// The probes on the known source, after the meter was proved there.
#[derive(Debug, Clone, Copy)]
pub(super) struct OnSource {
    pub(super) meter: MeterId,
    /// What it showed; none if the proof was by word.
    pub(super) known: Option<(Function, f64)>,
}

/// Whether bit `i` is set.
pub(super) fn bit(bits: u128, i: usize) -> bool {
    mask(i) & bits != 0
}

pub(super) fn mask(i: usize) -> u128 {
    u32::try_from(i)
        .ok()
        .and_then(|i| 1u128.checked_shl(i))
        .unwrap_or(0)
}

pub(super) fn mask32(i: usize) -> u32 {
    u32::try_from(i)
        .ok()
        .and_then(|i| 1u32.checked_shl(i))
        .unwrap_or(0)
}

impl<'a> Gates<'a> {
    /// All gates shut, nothing known.
    ///
    /// # Errors
    /// The plan cannot be carried out.
    pub fn new(plan: GatePlan<'a>) -> Result<Self, PlanError> {
        plan.check()?;
        Ok(Gates {
            plan,
            last: Micros(0),
            epoch: 0,
            power: Power::Unknown,
            line: Line::NotRead,
            identified: false,
            disconnect: false,
            locked: false,
            sources_open: 0,
            meter: None,
            proof: None,
            source: None,
            ac: 0,
            dc: 0,
            highest: 0.0,
            must_drain: false,
            drained: false,
            charges: [None; MAX_CAPACITORS],
            recheck: None,
            on_bench: false,
            lifted: heapless::Vec::new(),
            too_many_lifted: false,
            covers_on: false,
            people_clear: None,
            tripped: 0,
            clear: [0; MAX_PROTECTORS],
            electronics_apart: false,
            no_vacuum: false,
            stopped: None,
            starts: 0,
            stalled: None,
            dead: None,
            touch: None,
            measure: None,
            loose: None,
            ready: None,
            insulation: None,
        })
    }

    /// The plan.
    #[must_use]
    pub const fn plan(&self) -> &GatePlan<'a> {
        &self.plan
    }

    /// Counts the revocations: an ask that was built under an older epoch is void.
    #[must_use]
    pub const fn epoch(&self) -> u32 {
        self.epoch
    }

    /// The proof that the unit is dead, while it holds.
    #[must_use]
    pub const fn proved_dead(&self) -> Option<&ProvedDead<'a>> {
        self.dead.as_ref()
    }

    /// Capacitors read low enough to touch, and not too long ago.
    #[must_use]
    pub fn discharged_to_touch(&self, now: Micros) -> Option<&Discharged<'a, Touch>> {
        self.touch.as_ref().filter(|d| d.fresh(now))
    }

    /// Capacitors read low enough for ohms and farads, and not too long ago.
    #[must_use]
    pub fn discharged_to_measure(&self, now: Micros) -> Option<&Discharged<'a, Measure>> {
        self.measure.as_ref().filter(|d| d.fresh(now))
    }

    /// The part on the bench.
    #[must_use]
    pub const fn loose(&self) -> Option<&Loose<'a>> {
        self.loose.as_ref()
    }

    /// Ready for power, and people seen clear not too long ago.
    #[must_use]
    pub fn ready_to_energise(&self, now: Micros) -> Option<&ReadyToEnergise> {
        self.ready
            .as_ref()
            .filter(|r| now.since(r.at) <= limits::READY_LASTS && self.rests_until(now).is_none())
    }

    /// Electronics apart and no vacuum, for an insulation test.
    #[must_use]
    pub const fn insulation_ready(&self) -> Option<&InsulationReady> {
        self.insulation.as_ref()
    }

    /// How often the unit was started in this visit.
    #[must_use]
    pub const fn starts(&self) -> u16 {
        self.starts
    }

    /// The lifted ends, and whether each is insulated.
    pub fn lifted(&self) -> impl Iterator<Item = (PointId, bool)> + '_ {
        self.lifted.iter().map(|end| (end.point, end.insulated))
    }

    /// The gates that are open (those whose time has run out count as shut from the next event
    /// on).
    #[must_use]
    pub fn open(&self) -> GateSet {
        let mut set = GateSet::default();
        for (gate, open) in [
            (Gate::ProvedDead, self.dead.is_some()),
            (Gate::DischargedToTouch, self.touch.is_some()),
            (Gate::DischargedToMeasure, self.measure.is_some()),
            (Gate::Loose, self.loose.is_some()),
            (Gate::ReadyToEnergise, self.ready.is_some()),
        ] {
            if open {
                set.0 |= gate.bit();
            }
        }
        set
    }

    /// Shuts every gate and forgets what was read, for a reason outside of these events. What is
    /// locked stays locked.
    pub fn revoke(&mut self) -> Outcome {
        let before = self.open();
        self.shut(Why::Asked);
        Outcome {
            shut: before,
            why: Some(Why::Asked),
            void: true,
            ..Outcome::default()
        }
    }

    /// Takes in one event.
    pub fn on(&mut self, event: &Event) -> Outcome {
        let mut out = Outcome::default();
        let before = self.open();
        let at = event.at();
        if at < self.last {
            self.revoke_for(Why::Restart, at, &mut out);
        }
        self.last = at;
        self.expire(at, &mut out);
        match event {
            Event::Act { act, at } => self.act(*act, *at, &mut out),
            Event::Proof { meter, seen, at } => self.prove(*meter, seen.as_ref(), *at, &mut out),
            Event::Take(seen) => {
                self.source = None;
                self.take(seen, &mut out);
            }
            Event::Reading(seen) => {
                if !self.still_on_source(seen) {
                    self.watch(seen, limits::LIVE.0, &mut out);
                }
            }
            Event::MeterChanged { meter, at } => {
                if self.meter != Some(*meter) {
                    self.revoke_for(Why::MeterChanged, *at, &mut out);
                    self.meter = Some(*meter);
                }
            }
            Event::LinkGap { meter, at } => {
                if self.meter.is_none_or(|m| m == *meter) {
                    self.revoke_for(Why::LinkGap, *at, &mut out);
                }
            }
            Event::Restart { at } => self.revoke_for(Why::Restart, *at, &mut out),
            Event::Tripped { protector, at } => self.trip(*protector, *at, &mut out),
            Event::Stalled { at } => {
                self.stalled = Some(self.stalled.unwrap_or(*at));
            }
            Event::StallOver { .. } => self.stalled = None,
            Event::Tick { .. } => {}
        }
        if let Some(since) = self.stalled
            && out.alarm.is_none()
            && at.since(since) > limits::STALL_HELD
        {
            out.alarm = Some(Alarm::StallHeld { since });
        }
        self.refresh(at);
        let after = self.open();
        out.opened = GateSet(after.0 & !before.0);
        out.shut = GateSet(before.0 & !after.0);
        out
    }

    /// Shuts every gate and forgets readings and what follows from them.
    fn shut(&mut self, why: Why) {
        self.epoch = self.epoch.wrapping_add(1);
        self.proof = None;
        self.source = None;
        self.ac = 0;
        self.dc = 0;
        self.highest = 0.0;
        self.must_drain = false;
        self.dead = None;
        self.loose = None;
        self.insulation = None;
        self.forget_charges();
        if !matches!(why, Why::MeterChanged | Why::LinkGap | Why::MeterFailed) {
            self.ready = None;
            self.people_clear = None;
        }
        if matches!(why, Why::LiveValue | Why::Restart | Why::PowerAct) {
            self.covers_on = false;
            self.on_bench = false;
            self.electronics_apart = false;
            self.no_vacuum = false;
            self.clear = [0; MAX_PROTECTORS];
        }
        if matches!(why, Why::LiveValue | Why::Restart) {
            self.power = Power::Unknown;
            self.line = Line::NotRead;
            self.identified = false;
            self.disconnect = false;
            self.locked = false;
            self.sources_open = 0;
            for end in &mut self.lifted {
                end.insulated = false;
            }
        }
    }

    pub(super) fn revoke_for(&mut self, why: Why, at: Micros, out: &mut Outcome) {
        self.shut(why);
        if why == Why::Restart {
            self.meter = None;
            self.stalled = None;
            // What ran before the restart is not known: the rest is counted from here.
            self.stopped = Some(at);
        }
        out.why = Some(why);
        out.void = true;
    }

    pub(super) fn forget_charges(&mut self) {
        self.drained = false;
        self.charges = [None; MAX_CAPACITORS];
        self.touch = None;
        self.measure = None;
    }

    /// Drops what is too old.
    fn expire(&mut self, now: Micros, out: &mut Outcome) {
        if self.touch.as_ref().is_some_and(|d| !d.fresh(now)) {
            self.touch = None;
            out.why = Some(Why::TooOld);
        }
        if self.measure.as_ref().is_some_and(|d| !d.fresh(now)) {
            self.measure = None;
            out.why = Some(Why::TooOld);
        }
        if self
            .people_clear
            .is_some_and(|at| now.since(at) > limits::READY_LASTS)
        {
            self.people_clear = None;
            if self.ready.take().is_some() {
                out.why = Some(Why::TooOld);
            }
        }
    }

    pub(super) fn needs_drain(&self) -> bool {
        !self.drained && (self.recheck.is_some() || !self.plan.capacitors.is_empty())
    }

    pub(super) fn first_closed_source(&self) -> Option<u8> {
        let open = self.sources_open;
        (0..self.plan.sources.len())
            .find(|i| mask32(*i) & open == 0)
            .and_then(|i| u8::try_from(i).ok())
    }

    pub(super) fn meter_is_proved(&self, now: Micros) -> bool {
        self.proof
            .is_some_and(|p| now.since(p.at) <= limits::PROOF_LASTS)
    }

    /// The first point that hangs on something tripped and was not read clear to ground.
    pub(super) fn first_unchecked(&self) -> Option<PointId> {
        let protectors = self.plan.protectors.iter().enumerate();
        for ((i, protector), clear) in protectors.zip(self.clear) {
            if mask32(i) & u32::from(self.tripped) == 0 {
                continue;
            }
            for (k, point) in protector.hanging.iter().enumerate() {
                if mask32(k) & clear == 0 {
                    return Some(*point);
                }
            }
        }
        None
    }

    /// The end of the compressor's rest, if it still rests.
    pub(super) fn rests_until(&self, now: Micros) -> Option<Micros> {
        let stopped = self.stopped?;
        let until = Micros(stopped.0.saturating_add(limits::COMPRESSOR_REST));
        (now < until).then_some(until)
    }

    pub(super) fn isolated(&self) -> Result<(), NotCounted> {
        if self.power != Power::Off {
            return Err(NotCounted::NotLocked);
        }
        if !self.identified && !self.disconnect {
            return Err(NotCounted::NotIdentified);
        }
        if !self.locked || self.first_closed_source().is_some() {
            return Err(NotCounted::NotLocked);
        }
        Ok(())
    }

    /// Opens what the present state allows.
    fn refresh(&mut self, now: Micros) {
        if let Some(meter) = self.meter {
            if self.loose.is_none() && self.on_bench && self.meter_is_proved(now) {
                self.loose = Some(Loose {
                    plan: self.plan,
                    meter,
                    at: now,
                });
            }
            self.refresh_discharged(meter, now);
        }
        if self.electronics_apart && self.no_vacuum && self.insulation.is_none() {
            self.insulation = Some(InsulationReady { at: now });
        }
        if self.ready.is_none()
            && let Some(at) = self.people_clear
            && self.covers_on
            && !self.too_many_lifted
            && self.lifted.iter().all(|end| end.insulated)
            && self.first_unchecked().is_none()
            && self.rests_until(now).is_none()
        {
            self.ready = Some(ReadyToEnergise {
                at,
                lifted: u8::try_from(self.lifted.len()).unwrap_or(u8::MAX),
                starts: self.starts,
                epoch: self.epoch,
            });
        } else if let (Some(ready), Some(at)) = (&mut self.ready, self.people_clear) {
            ready.at = at;
            ready.epoch = self.epoch;
        }
    }

    fn refresh_discharged(&mut self, meter: MeterId, now: Micros) {
        if !(self.dead.is_some() || self.loose.is_some()) || self.needs_drain() {
            return;
        }
        if self.recheck.is_some() {
            return;
        }
        let mut highest = 0.0_f64;
        let mut oldest = now;
        for (_, charge) in self.plan.capacitors.iter().zip(self.charges) {
            let Some(charge) = charge else { return };
            if !charge.up_to.is_finite() {
                return;
            }
            highest = highest.max(charge.up_to);
            oldest = oldest.min(charge.at);
        }
        let (plan, epoch) = (self.plan, self.epoch);
        if highest <= limits::TOUCH.0 && now.since(oldest) <= limits::TOUCH_LASTS {
            self.touch = Some(Discharged {
                plan,
                meter,
                oldest,
                highest,
                epoch,
                level: PhantomData,
            });
        }
        if highest <= limits::MEASURE.0 && now.since(oldest) <= limits::MEASURE_LASTS {
            self.measure = Some(Discharged {
                plan,
                meter,
                oldest,
                highest,
                epoch,
                level: PhantomData,
            });
        }
    }
}
