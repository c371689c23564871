//! What the machine makes of values: the alarm, the test for absence of voltage, charge on
//! capacitors, checks to ground, and the meter's proof.

use super::event::{Alarm, Known, NotCounted, Outcome, Seen, Why};
use super::limits;
use super::machine::{Charge, Gates, Line, OnSource, Power, Proof, mask, mask32};
use super::plan::{Pair, same};
use super::token::{AtWork, ProvedDead};
use crate::reading::{Flags, Function, MeterId};
use crate::units::Micros;

/// How much a known source may change while the probes are lifted from it, as a share: the line wanders
/// by some hundredths, and another source seldom has the same volts. Common practice, no published
/// source.
const SAME_SOURCE: f64 = 0.1;

/// The most the true value may be, sign aside: value and two standard uncertainties. Not finite
/// if either is not.
fn up_to(value: f64, uncertainty: f64) -> f64 {
    value.abs() + 2.0 * uncertainty.abs()
}

/// The least the true value may be, sign aside.
fn at_least(value: f64, uncertainty: f64) -> f64 {
    value.abs() - 2.0 * uncertainty.abs()
}

/// Whether the display stood for a plain present value with stated accuracy.
fn is_plain(flags: Flags) -> bool {
    flags.is_live() && !flags.has(Flags::RELATIVE) && !flags.has(Flags::LOW_BATTERY)
}

fn is_volts(function: Function) -> bool {
    matches!(function, Function::VoltsAc | Function::VoltsDc)
}

impl Gates<'_> {
    /// Whether a voltage between these points would be one where there should be none.
    fn should_be_dead(&self, points: Option<Pair>) -> bool {
        if self.plan.is_loose() {
            return self.on_bench;
        }
        if self.dead.is_some() || self.isolated().is_ok() {
            return true;
        }
        let Some(points) = points else { return false };
        self.power == Power::Off
            && points.iter().any(|p| self.plan.is_breakers_own(*p))
            && points
                .iter()
                .all(|p| *p == self.plan.ground || self.plan.is_breakers_own(*p))
    }

    fn is_capacitor(&self, points: Option<Pair>) -> bool {
        points.is_some_and(|p| {
            self.plan.capacitors.iter().any(|c| same(*c, p))
                || self.recheck.is_some_and(|c| same(c, p))
        })
    }

    /// Sounds the alarm if this value should not be there. `from` is the AC voltage from which
    /// a value counts as live.
    pub(super) fn watch(&mut self, seen: &Seen, from: f64, out: &mut Outcome) {
        if !self.should_be_dead(seen.points) {
            return;
        }
        let size = seen.value.abs();
        // An overload on volts is not finite, and above every limit.
        let over = |limit: f64| !size.is_finite() || size > limit;
        let was_discharged = self.touch.is_some() || self.measure.is_some();
        let alarm = match seen.function {
            Function::VoltsAc => over(from).then_some(Alarm::Live { seen: *seen }),
            Function::AmpsAc | Function::AmpsDc => {
                over(limits::LIVE_AMPS.0).then_some(Alarm::Live { seen: *seen })
            }
            // Charge on a capacitor that was not read discharged yet is what the next step is
            // there for.
            Function::VoltsDc if self.is_capacitor(seen.points) => {
                (was_discharged && over(limits::TOUCH.0)).then_some(Alarm::Charged { seen: *seen })
            }
            Function::VoltsDc if self.dead.is_some() || self.loose.is_some() => {
                over(from).then_some(Alarm::Charged { seen: *seen })
            }
            // In the test itself, a winding that is open leaves a capacitor's charge at the poles.
            Function::VoltsDc => over(limits::TOUCH.0).then_some(Alarm::Charged { seen: *seen }),
            _ => None,
        };
        match alarm {
            Some(Alarm::Live { .. }) => self.revoke_for(Why::LiveValue, seen.at, out),
            Some(_) => {
                self.revoke_for(Why::Charged, seen.at, out);
                self.must_drain = true;
            }
            None => {}
        }
        out.alarm = alarm;
    }

    /// Whether a value on its way is still that of the known source: the same meter shows the same
    /// within a tenth, and has shown nothing else since it was proved. A take is none of it.
    pub(super) fn still_on_source(&mut self, seen: &Seen) -> bool {
        let Some(source) = self.source.filter(|s| s.meter == seen.meter) else {
            return false;
        };
        let same = match source.known {
            Some((function, value)) => {
                seen.function == function
                    && (seen.value.abs() - value.abs()).abs() <= SAME_SOURCE * value.abs()
            }
            // Proved by word: what it showed is not known.
            None => is_volts(seen.function) && seen.value.abs() > limits::LIVE.0,
        };
        if !same {
            self.source = None;
        }
        same
    }

    pub(super) fn take(&mut self, seen: &Seen, out: &mut Outcome) {
        self.watch(seen, limits::DEAD.0, out);
        if out.alarm.is_some() {
            self.note_line(seen);
            out.not_counted = Some(NotCounted::TooHigh);
            return;
        }
        if self.meter != Some(seen.meter) {
            if self.meter.is_some() {
                self.revoke_for(Why::MeterChanged, seen.at, out);
                out.void = seen.function.injects();
            }
            self.meter = Some(seen.meter);
        }
        if self.power != Power::Off {
            self.note_line(seen);
        }
        let counted = if seen.function.injects() {
            self.take_injecting(seen, out)
        } else if is_volts(seen.function) {
            self.take_volts(seen, out)
        } else {
            Ok(())
        };
        if let Err(why) = counted {
            out.not_counted = Some(why);
            if matches!(why, NotCounted::NoGate | NotCounted::VoltsFirst) {
                out.void = true;
            }
        }
    }

    fn note_line(&mut self, seen: &Seen) {
        let Some(points) = seen.points else { return };
        if seen.function == Function::VoltsAc && self.plan.is_line(points) {
            let live = !seen.value.is_finite()
                || at_least(seen.value, seen.uncertainty) >= limits::TOUCH.0;
            self.line = if live { Line::Live } else { Line::NotSeenLive };
        }
    }

    fn take_volts(&mut self, seen: &Seen, out: &mut Outcome) -> Result<(), NotCounted> {
        let Some(points) = seen.points else {
            return Err(NotCounted::NotAsked);
        };
        let proved = self.dead.is_some() || self.loose.is_some();
        if proved && seen.function == Function::VoltsDc && self.is_capacitor(seen.points) {
            return self.take_charge(seen, points, out);
        }
        if self.plan.is_loose() || self.power != Power::Off {
            return Ok(());
        }
        if self.dead.is_some() {
            return self.take_at_work(seen, points);
        }
        let mut which = 0u128;
        for (i, pair) in self.plan.pairs().enumerate() {
            if same(pair, points) {
                which |= mask(i);
            }
        }
        if which == 0 {
            return Err(NotCounted::NotAsked);
        }
        self.isolated()?;
        if !self.meter_is_proved(seen.at) {
            return Err(NotCounted::MeterNotProved);
        }
        if !is_plain(seen.flags) {
            return Err(NotCounted::NotLive);
        }
        let up_to = up_to(seen.value, seen.uncertainty);
        if !up_to.is_finite() || up_to > limits::DEAD.0 {
            self.dc &= !which;
            if seen.function == Function::VoltsAc {
                self.ac &= !which;
            }
            // What stands at the poles as direct volts is a capacitor's charge, also where the meter
            // cannot tell whether it is over the threshold.
            self.must_drain |= seen.function == Function::VoltsDc;
            return Err(if seen.value.abs() > limits::DEAD.0 {
                NotCounted::TooHigh
            } else {
                NotCounted::TooCoarse
            });
        }
        if seen.function == Function::VoltsAc {
            self.ac |= which;
        } else if which & !self.ac != 0 {
            return Err(NotCounted::AcFirst);
        } else {
            self.dc |= which;
        }
        self.highest = self.highest.max(up_to);
        Ok(())
    }

    /// AC volts at points that the proof itself did not read: no voltage there shows them dead too.
    fn take_at_work(&mut self, seen: &Seen, points: Pair) -> Result<(), NotCounted> {
        let Some(dead) = &mut self.dead else {
            return Err(NotCounted::NoGate);
        };
        if seen.function != Function::VoltsAc || dead.shows(points) {
            return Ok(());
        }
        if !is_plain(seen.flags) {
            return Err(NotCounted::NotLive);
        }
        let up_to = up_to(seen.value, seen.uncertainty);
        if !up_to.is_finite() || up_to > limits::DEAD.0 {
            return Err(NotCounted::TooCoarse);
        }
        dead.at_work.read(points);
        Ok(())
    }

    fn take_charge(
        &mut self,
        seen: &Seen,
        points: Pair,
        out: &mut Outcome,
    ) -> Result<(), NotCounted> {
        if !is_plain(seen.flags) {
            return Err(NotCounted::NotLive);
        }
        let up_to = up_to(seen.value, seen.uncertainty);
        let charge = Charge { up_to, at: seen.at };
        for (pair, slot) in self.plan.capacitors.iter().zip(&mut self.charges) {
            if same(*pair, points) {
                *slot = Some(charge);
            }
        }
        let low = up_to <= limits::MEASURE.0;
        if low && self.recheck.is_some_and(|pair| same(pair, points)) {
            self.recheck = None;
        }
        if (up_to.is_nan() || up_to > limits::TOUCH.0) && self.touch.take().is_some() {
            out.why = Some(Why::Charged);
        }
        if low {
            return Ok(());
        }
        if self.measure.take().is_some() {
            out.why = Some(Why::Charged);
            self.epoch = self.epoch.wrapping_add(1);
        }
        if seen.value.abs() <= limits::MEASURE.0 {
            return Err(NotCounted::TooCoarse);
        }
        self.drained = false;
        Err(NotCounted::TooHigh)
    }

    fn take_injecting(&mut self, seen: &Seen, out: &mut Outcome) -> Result<(), NotCounted> {
        let proved = self.dead.is_some() || self.loose.is_some();
        let megohms = seen.function == Function::Megohms;
        if !proved || self.measure.is_none() || (megohms && self.insulation.is_none()) {
            return Err(NotCounted::NoGate);
        }
        let shown = |points| self.dead.as_ref().is_none_or(|dead| dead.shows(points));
        if !seen.points.is_none_or(shown) {
            return Err(NotCounted::VoltsFirst);
        }
        if megohms {
            self.forget_charges();
            self.recheck = seen.points;
            self.epoch = self.epoch.wrapping_add(1);
            out.why = Some(Why::InsulationTest);
        }
        let Some([a, b]) = seen.points else {
            return Ok(());
        };
        let point = match (a == self.plan.ground, b == self.plan.ground) {
            (true, false) => b,
            (false, true) => a,
            _ => return Ok(()),
        };
        if !matches!(seen.function, Function::Ohms | Function::Megohms) {
            return Ok(());
        }
        let is_clear = !seen.value.is_finite()
            || at_least(seen.value, seen.uncertainty) >= limits::GROUND_CLEAR.0;
        for (protector, clear) in self.plan.protectors.iter().zip(&mut self.clear) {
            for (k, hanging) in protector.hanging.iter().enumerate() {
                if *hanging == point {
                    if is_clear {
                        *clear |= mask32(k);
                    } else {
                        *clear &= !mask32(k);
                    }
                }
            }
        }
        if !is_clear {
            self.ready = None;
        }
        Ok(())
    }

    pub(super) fn prove(
        &mut self,
        meter: MeterId,
        seen: Option<&Known>,
        at: Micros,
        out: &mut Outcome,
    ) {
        if self.meter != Some(meter) {
            if self.meter.is_some() {
                self.revoke_for(Why::MeterChanged, at, out);
            }
            self.meter = Some(meter);
        }
        let live = seen.is_none_or(|k| {
            is_volts(k.function)
                && is_plain(k.flags)
                && (k.value.is_infinite() || at_least(k.value, k.uncertainty) >= limits::LIVE.0)
        });
        if !live {
            self.revoke_for(Why::MeterFailed, at, out);
            out.not_counted = Some(NotCounted::MeterNotProved);
            return;
        }
        self.source = Some(OnSource {
            meter,
            known: seen.map(|k| (k.function, k.value)),
        });
        let read = seen.is_some();
        let first = self.proof.filter(|p| at.since(p.at) <= limits::PROOF_LASTS);
        let Some(first) = first else {
            self.proof = Some(Proof { at, read });
            self.ac = 0;
            self.dc = 0;
            self.highest = 0.0;
            return;
        };
        let all = self
            .plan
            .pairs()
            .enumerate()
            .fold((0u128, 0u16), |(bits, n), (i, _)| {
                (bits | mask(i), n.saturating_add(1))
            });
        let (every, pairs) = all;
        let done = every != 0 && self.ac & every == every && self.dc & every == every;
        if done && self.dead.is_none() && self.isolated().is_ok() {
            self.dead = Some(ProvedDead {
                plan: self.plan,
                meter,
                from: first.at,
                until: at,
                highest: self.highest,
                pairs,
                meter_read: first.read && read,
                at_work: AtWork::NONE,
            });
        }
    }
}
