//! Random histories against a model that keeps no state: at every moment it looks back over the
//! whole history and says whether a gate may be open. It shares no code with the machine.

use std::cell::Cell;

use ohmtrail_core::gates::*;
use ohmtrail_core::reading::{Function, MeterId};
use ohmtrail_core::units::Micros;
use proptest::prelude::*;
use proptest::test_runner::{Config, TestRunner};

use super::bench::*;

/// One pole a side, so that a random history gets through the test now and then.
const SMALL: GatePlan<'static> = GatePlan {
    line: &[L1],
    load: &[T1],
    load_sides: &[],
    capacitors: &[[CAP_C, CAP_HERM]],
    ..UNIT
};

const PAIRS: [Pair; 3] = [[L1, GROUND], [T1, GROUND], [R, GROUND]];

/// What a random technician does: mostly what is asked for, and now and then something else.
#[derive(Debug, Clone)]
enum Move {
    Asked(u8),
    AtWork,
    Act(u8),
    Value {
        take: bool,
        ac: bool,
        place: u8,
        value: u8,
        clamp: bool,
    },
    Prove(bool),
    Gap(bool),
    Changed(bool),
    Restart,
    Later(u16),
}

fn moves() -> impl Strategy<Value = Vec<Move>> {
    let one = prop_oneof![
        40 => (0u8..4).prop_map(Move::Asked),
        4 => Just(Move::AtWork),
        2 => (0u8..14).prop_map(Move::Act),
        3 => (any::<bool>(), any::<bool>(), 0u8..5, 0u8..5, prop::bool::weighted(0.1)).prop_map(
            |(take, ac, place, value, clamp)| Move::Value { take, ac, place, value, clamp }
        ),
        2 => prop::bool::weighted(0.8).prop_map(Move::Prove),
        1 => any::<bool>().prop_map(Move::Gap),
        1 => any::<bool>().prop_map(Move::Changed),
        1 => Just(Move::Restart),
        1 => (1u16..2000).prop_map(Move::Later),
    ];
    prop::collection::vec(one, 1..120)
}

const ACTS: [Act; 14] = [
    Act::OpenBreaker,
    Act::LockAndTag,
    Act::LockDisconnect,
    Act::CannotReadLine,
    Act::OpenSource(0),
    Act::Drain,
    Act::Lift(WIRE),
    Act::PutBack(WIRE),
    Act::Insulate(WIRE),
    Act::CoversOn,
    Act::PeopleClear,
    Act::CloseBreaker,
    Act::CallOn,
    Act::CallOff,
];
const PLACES: [Pair; 5] = [
    [L1, GROUND],
    [T1, GROUND],
    [R, GROUND],
    [CAP_C, CAP_HERM],
    [WIRE, GROUND],
];
/// Points of work, which the proof does not read.
const WORK: Pair = [WIRE, GROUND];
const VALUES: [f64; 5] = [0.0, 0.5, 4.0, 20.0, 240.0];

/// Turns a move into an event.
fn event(bench: &mut Bench, a_move: &Move) -> Event {
    let at = bench.tick();
    let goal = |n: u8| match n {
        0 => Gate::ReadyToEnergise,
        1 => Gate::DischargedToTouch,
        2 => Gate::ProvedDead,
        _ => Gate::DischargedToMeasure,
    };
    match *a_move {
        Move::Asked(n) => match bench.next(goal(n)) {
            Step::ReadLine(p) => Event::Take(seen(Function::VoltsAc, 238.0, p, at)),
            Step::OpenBreaker => act(Act::OpenBreaker, at),
            Step::LockDisconnect => act(Act::LockDisconnect, at),
            Step::LockAndTag => act(Act::LockAndTag, at),
            Step::OpenSource(n) => act(Act::OpenSource(n), at),
            Step::ProveMeter => proof(true, at),
            Step::ReadDead {
                function, points, ..
            } => Event::Take(seen(function, 0.2, points, at)),
            Step::Drain => act(Act::Drain, at),
            Step::ReadCharge { points, .. } => {
                Event::Take(seen(Function::VoltsDc, 0.2, points, at))
            }
            Step::Insulate(p) => act(Act::Insulate(p), at),
            Step::FitCovers => act(Act::CoversOn, at),
            Step::ClearPeople => act(Act::PeopleClear, at),
            _ => Event::Tick { at },
        },
        Move::AtWork => Event::Take(seen(Function::VoltsAc, 0.2, WORK, at)),
        Move::Act(n) => act(ACTS[usize::from(n)], at),
        Move::Value {
            take,
            ac,
            place,
            value,
            clamp,
        } => {
            let function = if ac {
                Function::VoltsAc
            } else {
                Function::VoltsDc
            };
            let mut seen = seen(
                function,
                VALUES[usize::from(value)],
                PLACES[usize::from(place)],
                at,
            );
            if clamp {
                seen.meter = CLAMP;
            }
            if take {
                Event::Take(seen)
            } else {
                Event::Reading(seen)
            }
        }
        Move::Prove(live) => proof(live, at),
        Move::Gap(own) => Event::LinkGap {
            meter: if own { METER } else { MeterId(9) },
            at,
        },
        Move::Changed(other) => Event::MeterChanged {
            meter: if other { CLAMP } else { METER },
            at,
        },
        Move::Restart => Event::Restart { at },
        Move::Later(seconds) => {
            bench.now = Micros(at.0 + u64::from(seconds) * SECOND);
            Event::Tick { at: bench.now }
        }
    }
}

fn act(act: Act, at: Micros) -> Event {
    Event::Act { act, at }
}

fn proof(live: bool, at: Micros) -> Event {
    Event::Proof {
        meter: METER,
        seen: Some(Known {
            function: Function::VoltsAc,
            value: if live { 120.0 } else { 0.3 },
            uncertainty: 0.2,
            flags: ohmtrail_core::reading::Flags::NONE,
        }),
        at,
    }
}

/// The model: the history, looked at from its end.
struct Model<'h>(&'h [Event]);

impl Model<'_> {
    fn last(&self, what: impl Fn(&Event) -> bool) -> Option<usize> {
        self.0.iter().rposition(what)
    }

    fn after(&self, from: Option<usize>, what: impl Fn(&Event) -> bool) -> Option<usize> {
        let from = from.map_or(0, |i| i + 1);
        self.0[from..].iter().position(what).map(|i| i + from)
    }

    fn is_act(event: &Event, which: Act) -> bool {
        matches!(event, Event::Act { act, .. } if *act == which)
    }

    /// The last thing after which nothing that was read counts any more, whatever the state.
    fn wiped(&self) -> Option<usize> {
        self.last(|e| match e {
            Event::Act { act, .. } => matches!(
                act,
                Act::OpenBreaker | Act::CloseBreaker | Act::CallOn | Act::CallOff
            ),
            Event::Restart { .. } => true,
            Event::LinkGap { meter, .. } => *meter == METER,
            Event::MeterChanged { meter, .. } => *meter == CLAMP,
            Event::Take(seen) => seen.meter == CLAMP,
            Event::Proof {
                seen: Some(known), ..
            } => known.value < 10.0,
            _ => false,
        })
    }

    /// A test for absence of voltage, whole, after everything that would undo it.
    fn may_be_dead(&self) -> bool {
        let wiped = self.wiped();
        // Off: the last act on the breaker is not "closed", and there was one after a restart.
        let on =
            self.last(|e| Self::is_act(e, Act::CloseBreaker) || matches!(e, Event::Restart { .. }));
        let off =
            |e: &Event| Self::is_act(e, Act::OpenBreaker) || Self::is_act(e, Act::LockDisconnect);
        let by_sight = self
            .after(on, |e| Self::is_act(e, Act::LockDisconnect))
            .is_some();
        let seen_live = |before: usize| {
            self.0[..before].iter().any(|e| {
                matches!(e, Event::Take(s) if s.function == Function::VoltsAc
                    && s.points == Some([L1, GROUND]) && s.value > 34.0)
            })
        };
        // A breaker that turned out to be the wrong one is followed by another: any of the acts
        // since may be the one that the lock was hung after and the line was seen live before.
        let from = on.map_or(0, |i| i + 1);
        let opened_and_locked = (from..self.0.len()).any(|i| {
            off(&self.0[i])
                && (by_sight || seen_live(i))
                && self
                    .after(Some(i), |e| Self::is_act(e, Act::LockAndTag))
                    .is_some()
        });
        if !opened_and_locked
            || self
                .after(on, |e| Self::is_act(e, Act::OpenSource(0)))
                .is_none()
        {
            return false;
        }
        // Proof, every pair AC then DC, proof: with nothing live at these pairs in between.
        let good = |e: &Event| matches!(e, Event::Proof { meter, seen: Some(k), .. } if *meter == METER && k.value > 10.0);
        let start = wiped.map_or(0, |i| i + 1);
        let proofs: Vec<usize> = (start..self.0.len())
            .filter(|&i| good(&self.0[i]))
            .collect();
        proofs.iter().any(|&first| {
            proofs.iter().any(|&second| {
                first < second
                    && self.0[second].at().0 - self.0[first].at().0 <= 30 * 60 * SECOND
                    && PAIRS
                        .iter()
                        .all(|pair| self.read_dead(*pair, first, second))
                    && !self.live_since(first)
            })
        })
    }

    fn read_dead(&self, pair: Pair, first: usize, second: usize) -> bool {
        let read = |i: usize, function| {
            matches!(&self.0[i], Event::Take(s) if s.function == function
                && s.points == Some(pair) && s.value + 0.2 <= 5.0 && s.meter == METER)
        };
        (first..second)
            .filter(|&i| read(i, Function::VoltsAc))
            .any(|ac| (ac..second).any(|dc| read(dc, Function::VoltsDc)))
    }

    /// A value at the poles that cannot be while the breaker is open and locked.
    fn live_since(&self, from: usize) -> bool {
        (from..self.0.len()).any(|i| {
            matches!(&self.0[i], Event::Take(s) | Event::Reading(s)
                if s.function == Function::VoltsAc && s.value >= 20.0
                    && (s.points == Some([L1, GROUND]) || s.points == Some([T1, GROUND])))
                && !self.on_source(i)
        })
    }

    /// A value on its way that is still that of the known source: no take came since the meter was
    /// proved, and it shows the same.
    fn on_source(&self, i: usize) -> bool {
        let Event::Reading(shown) = &self.0[i] else {
            return false;
        };
        let proof = self.0[..i]
            .iter()
            .rposition(|e| matches!(e, Event::Proof { meter, .. } if *meter == shown.meter));
        proof.is_some_and(|p| {
            let known = match &self.0[p] {
                Event::Proof { seen, .. } => seen.as_ref().map(|k| k.value),
                _ => None,
            };
            known.is_none_or(|k| (shown.value - k).abs() <= 0.1 * k)
                && self.0[p..i].iter().all(|e| !matches!(e, Event::Take(_)))
        })
    }

    /// The last DC take at the capacitor is under the level, and nothing wiped it.
    fn may_be_discharged(&self, level: f64, lasts: u64, now: Micros) -> bool {
        let read = self.last(|e| {
            matches!(e, Event::Take(s) if s.function == Function::VoltsDc
                && s.points == Some([CAP_C, CAP_HERM]))
        });
        read > self.wiped()
            && read.is_some_and(|i| {
                matches!(&self.0[i], Event::Take(s) if s.value + 0.2 <= level
                    && now.0 - s.at.0 <= lasts)
            })
    }

    /// No voltage was read at the points of work after a proof of the meter, and nothing wiped it.
    fn may_be_shown(&self) -> bool {
        let wiped = self.wiped();
        let proof = self.after(wiped, |e| matches!(e, Event::Proof { .. }));
        let read = self.last(|e| {
            matches!(e, Event::Take(s) if s.function == Function::VoltsAc
                && s.points == Some(WORK) && s.value + 0.2 <= 5.0)
        });
        proof.is_some() && read > proof
    }

    fn may_be_ready(&self, now: Micros) -> bool {
        let undone = self.last(|e| match e {
            Event::Act { act, .. } => matches!(
                act,
                Act::OpenBreaker
                    | Act::CloseBreaker
                    | Act::CallOn
                    | Act::CallOff
                    | Act::Lift(_)
                    | Act::PutBack(_)
            ),
            Event::Restart { .. } => true,
            _ => false,
        });
        let clear = self.last(|e| Self::is_act(e, Act::PeopleClear));
        let covers = self.last(|e| Self::is_act(e, Act::CoversOn));
        let lifted = self.last(|e| Self::is_act(e, Act::Lift(WIRE)));
        let back = self.last(|e| Self::is_act(e, Act::PutBack(WIRE)));
        let insulated = self.last(|e| Self::is_act(e, Act::Insulate(WIRE)));
        let restart = self.last(|e| matches!(e, Event::Restart { .. }));
        // A unit that was restarted counts its rest from there.
        let rested = restart.is_none_or(|i| {
            self.after(Some(i), |e| {
                Self::is_act(e, Act::CloseBreaker) || Self::is_act(e, Act::CallOn)
            })
            .is_some()
                || now.0 - self.0[i].at().0 >= 300 * SECOND
        });
        clear > undone
            && covers > undone
            && clear.is_some_and(|i| now.0 - self.0[i].at().0 <= 300 * SECOND)
            && (lifted <= back || insulated > lifted.max(restart))
            && rested
    }
}

#[test]
fn no_gate_is_open_unless_all_of_it_happened_since_the_last_revocation() {
    let opened = Cell::new([0u32; 5]);
    let mut runner = TestRunner::new(Config {
        cases: 3000,
        failure_persistence: None,
        ..Config::default()
    });
    runner
        .run(&moves(), |moves| {
            let mut bench = Bench::new(SMALL);
            let mut history = Vec::new();
            for a_move in &moves {
                let event = event(&mut bench, a_move);
                let before = bench.gates.open();
                let out = bench.gates.on(&event);
                history.push(event);
                let (gates, now, model) = (&bench.gates, bench.now, Model(&history));
                let dead = gates.proved_dead().is_some();
                let touch = gates.discharged_to_touch(now).is_some();
                let measure = gates.discharged_to_measure(now).is_some();
                let ready = gates.ready_to_energise(now).is_some();
                prop_assert!(!dead || model.may_be_dead(), "dead: {history:?}");
                prop_assert!(!touch || dead && model.may_be_discharged(34.0, 300 * SECOND, now));
                prop_assert!(!measure || dead && model.may_be_discharged(1.0, 1800 * SECOND, now));
                let shown = gates.proved_dead().is_some_and(|dead| dead.shows(WORK));
                prop_assert!(!shown || model.may_be_shown(), "shown: {history:?}");
                prop_assert!(!ready || model.may_be_ready(now), "ready: {history:?}");
                if matches!(out.alarm, Some(Alarm::Live { .. } | Alarm::Charged { .. })) {
                    prop_assert!(gates.open().is_empty() && out.void);
                    prop_assert_eq!(out.shut, before);
                }
                let mut n = opened.get();
                for (count, open) in n.iter_mut().zip([dead, touch, measure, ready, shown]) {
                    *count += u32::from(open);
                }
                opened.set(n);
            }
            // From wherever this led, an honest walk opens every gate.
            for gate in [Gate::DischargedToTouch, Gate::DischargedToMeasure] {
                bench.open(gate);
                prop_assert!(bench.is_dead());
            }
            bench.open(Gate::ReadyToEnergise);
            Ok(())
        })
        .unwrap();
    // The histories do get there: otherwise this test would say nothing.
    let n = opened.get();
    assert!(n.iter().all(|count| *count > 1000), "{n:?}");
}

#[test]
fn dead_units_never_hide_a_live_value() {
    // Every function, place and size of reading after an honest walk.
    let mut runner = TestRunner::new(Config {
        cases: 2000,
        failure_persistence: None,
        ..Config::default()
    });
    let strategy = (0usize..PLACES.len(), 10.1f64..1000.0, any::<bool>());
    runner
        .run(&strategy, |(place, value, negative)| {
            let mut bench = Bench::new(SMALL);
            bench.open(Gate::DischargedToMeasure);
            let value = if negative { -value } else { value };
            let out = bench.reading(Function::VoltsAc, value, PLACES[place]);
            let is_live = matches!(out.alarm, Some(Alarm::Live { .. }));
            prop_assert!(is_live && bench.gates.open().is_empty());
            Ok(())
        })
        .unwrap();
}
