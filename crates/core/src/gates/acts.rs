//! What the machine makes of acts, and of a tripped breaker.

use super::event::{Act, NotCounted, Outcome, Why};
use super::machine::{End, Gates, Line, Power, mask32};
use super::plan::PointId;
use crate::units::Micros;

impl Gates<'_> {
    pub(super) fn act(&mut self, act: Act, at: Micros, out: &mut Outcome) {
        if act.is_power() {
            self.revoke_for(Why::PowerAct, at, out);
        }
        match act {
            Act::OpenBreaker => self.switch_off(at),
            Act::LockDisconnect => {
                if self.power != Power::Off {
                    self.revoke_for(Why::PowerAct, at, out);
                    self.switch_off(at);
                }
                self.disconnect = true;
            }
            Act::LockAndTag if self.power == Power::Off => self.locked = true,
            Act::LockAndTag => out.not_counted = Some(NotCounted::NotLocked),
            Act::CannotReadLine => self.line = Line::NotSeenLive,
            Act::OpenSource(source) => {
                if usize::from(source) < self.plan.sources.len() {
                    self.sources_open |= mask32(usize::from(source));
                } else {
                    out.not_counted = Some(NotCounted::Unknown);
                }
            }
            Act::Drain => {
                self.drained = true;
                self.must_drain = false;
            }
            Act::OnBench if self.plan.is_loose() => self.on_bench = true,
            Act::OnBench => out.not_counted = Some(NotCounted::Unknown),
            Act::Lift(point) => self.lift(point, out),
            Act::PutBack(point) => {
                self.lifted.retain(|end| end.point != point);
                self.electronics_apart = false;
                self.insulation = None;
                self.ends_changed(out);
            }
            Act::Insulate(point) => {
                let end = self.lifted.iter_mut().find(|end| end.point == point);
                match end {
                    Some(end) => end.insulated = true,
                    None => out.not_counted = Some(NotCounted::Unknown),
                }
            }
            Act::CoversOn => self.covers_on = true,
            Act::PeopleClear => self.people_clear = Some(at),
            Act::CloseBreaker => {
                self.power = Power::On;
                self.line = Line::NotRead;
                self.identified = false;
                self.disconnect = false;
                self.locked = false;
                self.sources_open = 0;
                self.tripped = 0;
                self.starts = self.starts.saturating_add(1);
                self.stopped = None;
            }
            Act::CallOn => {
                if self.power != Power::Off {
                    self.starts = self.starts.saturating_add(1);
                    self.stopped = None;
                }
            }
            Act::CallOff => {
                if self.power != Power::Off {
                    self.stopped = Some(at);
                }
                self.stalled = None;
            }
            Act::ElectronicsApart => self.electronics_apart = true,
            Act::NoVacuum => self.no_vacuum = true,
        }
    }

    fn switch_off(&mut self, at: Micros) {
        if self.power != Power::Off {
            self.identified = self.line == Line::Live;
            self.stopped = Some(at);
            self.locked = false;
        }
        self.power = Power::Off;
        self.line = Line::NotRead;
        self.stalled = None;
    }

    fn lift(&mut self, point: PointId, out: &mut Outcome) {
        if let Some(end) = self.lifted.iter_mut().find(|end| end.point == point) {
            end.insulated = false;
        } else {
            let end = End {
                point,
                insulated: false,
            };
            if self.lifted.push(end).is_err() {
                self.too_many_lifted = true;
                out.not_counted = Some(NotCounted::TooManyLifted);
            }
        }
        self.ends_changed(out);
    }

    fn ends_changed(&mut self, out: &mut Outcome) {
        self.covers_on = false;
        self.people_clear = None;
        if self.ready.take().is_some() {
            self.epoch = self.epoch.wrapping_add(1);
            out.why = Some(Why::EndsChanged);
        }
    }

    pub(super) fn trip(&mut self, protector: u8, at: Micros, out: &mut Outcome) {
        let i = usize::from(protector);
        if i >= self.plan.protectors.len() {
            out.not_counted = Some(NotCounted::Unknown);
            return;
        }
        if self.power == Power::On {
            self.stopped = Some(at);
        }
        self.tripped |= u8::try_from(mask32(i)).unwrap_or(0);
        if let Some(clear) = self.clear.get_mut(i) {
            *clear = 0;
        }
        if self.ready.take().is_some() {
            self.epoch = self.epoch.wrapping_add(1);
            out.why = Some(Why::Tripped);
        }
    }
}
