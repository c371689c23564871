//! From a sample to a take: what is shown on the way, and what is sounded.

use ohmtrail_core::gates::{Event, Pair};
use ohmtrail_core::reading::Reading;
use ohmtrail_core::settle::{Settled, State as Settling};
use ohmtrail_core::units::Micros;
use ohmtrail_link::card::Step;
use ohmtrail_link::message::{Light, Live, Refusal, Took, What};

use super::{App, Doing, STANDS};
use crate::board::Board;
use crate::front::{FrontEnd, Sample};
use crate::isolation::Workspace;
use crate::keeper::Keeper;
use crate::walk::{Outcome, Want, seen, tell_take};

impl App<'_> {
    pub(super) fn sampled<B: Board>(
        &mut self,
        sample: Sample,
        keeper: &mut Keeper,
        board: &mut B,
        work: &mut Workspace,
        now: Micros,
    ) {
        let front = board.front();
        self.clock = Micros(self.clock.0.saturating_add(u64::from(front.period_us)));
        let Some(reading) = front.reading(self.function, sample, self.clock) else {
            return;
        };
        let live = Live {
            function: reading.function,
            shown: reading.shown,
            flags: reading.flags,
            at: reading.at,
        };
        if let Some(bytes) = keeper.end.live(live, now) {
            board.say(bytes);
        }
        self.watch(front, &reading, keeper, board);
        let fresh = match self.settler.push(&reading) {
            Settling::Settled(settled) => Some(settled),
            Settling::Unsettled { .. } | Settling::Broken { .. } => None,
        };
        if matches!(self.want, Want::Wait(_)) {
            // A flash that refuses is met again at the next step.
            let _ = self.next(keeper, board, work);
        }
        if let Some(settled) = fresh
            && self.armed
            && !self.alarm
        {
            // Not taken if it cannot be kept: the lights say why.
            let _ = self.settled(&settled, keeper, board, work);
        }
    }

    /// Where the probes are said to be.
    fn points(&self) -> Option<Pair> {
        match self.want {
            Want::Measure { points, .. } if self.armed => points,
            _ => None,
        }
    }

    /// Whether the value is taken on a known live source, which the gates must not watch.
    fn on_known_source(&self) -> bool {
        matches!(
            self.want,
            Want::Measure {
                step: Step::ProveMeter,
                ..
            }
        )
    }

    fn watch<B: Board>(
        &mut self,
        front: &FrontEnd,
        reading: &Reading,
        keeper: &mut Keeper,
        board: &mut B,
    ) {
        if self.alarm || self.on_known_source() {
            return;
        }
        let seen = seen(front, reading, self.points());
        let alarm = match &mut self.doing {
            Doing::Meter => false,
            Doing::Part(_, part) => part.gates().on(&Event::Reading(seen)).alarm.is_some(),
            Doing::Isolation(isolation) => isolation.watch(&seen),
        };
        if alarm {
            self.sound(reading, keeper, board);
        }
    }

    fn sound<B: Board>(&mut self, reading: &Reading, keeper: &mut Keeper, board: &mut B) {
        self.alarm = true;
        self.armed = false;
        let took = Took {
            step: self.want.step().map_or(0, Step::number),
            function: reading.function,
            shown: reading.shown,
            flags: reading.flags,
            spread: 0,
            count: 1,
            light: Light::Alarm,
            void: None,
        };
        // The alarm sounds whether or not it can be kept.
        let _ = self.keep(What::Alarm { took }, keeper, board);
    }

    fn settled<B: Board>(
        &mut self,
        settled: &Settled,
        keeper: &mut Keeper,
        board: &mut B,
        work: &mut Workspace,
    ) -> Result<(), Refusal> {
        let Want::Measure { step, points, .. } = self.want else {
            return Ok(());
        };
        if keeper.ring.room() == 0 {
            self.full = true;
            return Err(Refusal::Full);
        }
        let front = board.front();
        let reading = Reading {
            function: settled.function,
            shown: settled.shown,
            flags: settled.flags,
            meter: settled.meter,
            at: settled.at,
        };
        let value = seen(front, &reading, points);
        let light = match &mut self.doing {
            Doing::Meter => return Ok(()),
            Doing::Part(_, part) => match tell_take(part.gates(), step, &value) {
                Some(outcome) => gate_light(outcome),
                None => part.take(&reading, &value),
            },
            Doing::Isolation(isolation) => match tell_take(isolation.gates(), step, &value) {
                Some(outcome) => gate_light(outcome),
                None => isolation.take(front, &reading),
            },
        };
        self.armed = false;
        let took = Took {
            step: step.number(),
            function: reading.function,
            shown: reading.shown,
            flags: reading.flags,
            spread: settled.spread,
            count: settled.count,
            light,
            void: None,
        };
        self.keep(What::Took(took), keeper, board)?;
        if light == Light::Alarm {
            self.alarm = true;
        } else {
            let until = Micros(self.clock.0.saturating_add(STANDS));
            self.verdict = (light, 0, until);
        }
        self.next(keeper, board, work)
    }
}

/// What the lights say to a value that a gate asked for.
const fn gate_light(outcome: Outcome) -> Light {
    match (outcome.alarm, outcome.counted) {
        (true, _) => Light::Alarm,
        (false, true) => Light::Pass,
        (false, false) => Light::Void,
    }
}
