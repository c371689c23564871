//! The gates, checked by another reader: from the list of events alone, no dead measurement is
//! asked for and none counts unless the whole sequence stands before it.

use std::collections::BTreeSet;

use ohmtrail_core::reading::{Function, Shown};
use ohmtrail_trail::event::{Act, Entry, Event, Power, Request, Take};

use crate::bench::sheet;

/// What this reader knows. It shares no code with the gates.
#[derive(Default)]
struct Reader {
    off: bool,
    locked: bool,
    others: usize,
    proofs: usize,
    ac: BTreeSet<[usize; 2]>,
    dc: BTreeSet<[usize; 2]>,
    /// AC volts read since at points that the proof does not read.
    at_work: BTreeSet<[usize; 2]>,
    dead: bool,
    drained: bool,
    charges: BTreeSet<[usize; 2]>,
}

fn pairs() -> BTreeSet<[usize; 2]> {
    let dead = &sheet().dead;
    let mut all = BTreeSet::new();
    let sides = std::iter::once(&dead.line)
        .chain(&dead.load)
        .chain(&dead.others);
    for poles in sides {
        for (i, &a) in poles.iter().enumerate() {
            all.insert(ordered([a, dead.ground]));
            for &b in &poles[i + 1..] {
                all.insert(ordered([a, b]));
            }
        }
    }
    all
}

fn ordered([a, b]: [usize; 2]) -> [usize; 2] {
    [a.min(b), a.max(b)]
}

fn points(take: &Take) -> Option<[usize; 2]> {
    let [a, b] = &take.points;
    Some(ordered([sheet().point(a)?, sheet().point(b)?]))
}

impl Reader {
    fn shut(&mut self) {
        *self = Reader {
            off: self.off,
            locked: self.locked,
            others: self.others,
            ..Reader::default()
        };
    }

    fn may_measure(&self) -> bool {
        let capacitors: BTreeSet<_> = sheet()
            .dead
            .capacitors
            .iter()
            .map(|p| ordered(*p))
            .collect();
        self.dead && self.drained && self.charges.is_superset(&capacitors)
    }

    /// Whether the proof read both points, or AC volts were read since between them and from one of
    /// them to ground.
    fn shown(&self, pair: [usize; 2]) -> bool {
        let poles: BTreeSet<usize> = pairs().into_iter().flatten().collect();
        let read = |pair| self.at_work.contains(&ordered(pair));
        let grounded = |p: &usize| poles.contains(p) || read([*p, sheet().dead.ground]);
        pair.iter().all(|p| poles.contains(p)) || (pair.iter().any(grounded) && read(pair))
    }

    fn took(&mut self, take: &Take) {
        let pair = points(take);
        if take.function.injects() && take.verdict.is_some() {
            assert!(
                self.may_measure() && pair.is_none_or(|p| self.shown(p)),
                "a dead take counts with a gate shut: {take:?}"
            );
        }
        let Some(pair) = pair else { return };
        let value = match take.shown {
            Shown::Value(d) => d.value().abs(),
            _ => f64::INFINITY,
        };
        let volts = matches!(take.function, Function::VoltsAc | Function::VoltsDc);
        if !volts || take.state.power == Power::On {
            return;
        }
        if self.dead && take.function == Function::VoltsDc {
            if value <= 1.0 {
                self.charges.insert(pair);
            } else {
                self.charges.remove(&pair);
            }
        }
        if self.dead && take.function == Function::VoltsAc && value < 5.0 {
            self.at_work.insert(pair);
        }
        if value < 5.0 && self.proofs > 0 {
            let set = if take.function == Function::VoltsAc {
                &mut self.ac
            } else {
                &mut self.dc
            };
            set.insert(pair);
        }
    }

    fn acted(&mut self, act: &Act) {
        match act {
            Act::OpenBreaker | Act::CloseBreaker | Act::CallOn | Act::CallOff => {
                self.shut();
                self.off = *act == Act::OpenBreaker;
                if *act == Act::CloseBreaker {
                    self.locked = false;
                    self.others = 0;
                }
            }
            Act::LockDisconnect => {
                if !self.off {
                    self.shut();
                }
                self.off = true;
            }
            Act::LockAndTag => self.locked = true,
            Act::OpenOtherSources => self.others += 1,
            Act::ProveMeter => {
                self.proofs += 1;
                let all = pairs();
                let ready = self.off
                    && self.locked
                    && self.others >= sheet().dead.others.len()
                    && self.ac.is_superset(&all)
                    && self.dc.is_superset(&all);
                if self.proofs > 1 && ready {
                    self.dead = true;
                }
            }
            Act::Discharge => self.drained = true,
            _ => {}
        }
    }
}

/// Fails on any dead ask, lift or counting dead take before the sequence is whole.
pub fn no_dead_ask_with_a_gate_shut(entries: &[Entry]) {
    let mut reader = Reader::default();
    let mut last = 0;
    for entry in entries {
        // The steady clock steps back only where another run began.
        if entry.at.steady.0 < last {
            reader = Reader::default();
        }
        last = entry.at.steady.0;
        match &entry.event {
            Event::Asked(asked) => match &asked.request {
                Request::Measure {
                    function, points, ..
                } if function.injects() => {
                    assert!(reader.may_measure(), "asked with a gate shut: {asked:?}");
                    let pair = [0, 1].map(|n| sheet().point(&points[n]).expect("a point"));
                    assert!(reader.shown(pair), "asked before volts: {asked:?}");
                }
                Request::Act {
                    act: Act::Lift(ends) | Act::PutBack(ends),
                } => {
                    assert!(reader.dead && reader.drained, "lifted live: {asked:?}");
                    for end in ends {
                        let pair = [sheet().point(end).expect("a point"), sheet().dead.ground];
                        assert!(reader.shown(pair), "lifted before volts: {asked:?}");
                    }
                }
                // A hand on a fan's blade.
                Request::Look { what } => {
                    let check = sheet().look(what).expect("a look of the sheet");
                    if sheet().checks[check].power == Some(false) {
                        assert!(reader.dead && reader.drained, "touched live: {asked:?}");
                    }
                }
                _ => {}
            },
            Event::Took(take) => reader.took(take),
            Event::Acted(acted) => reader.acted(&acted.act),
            Event::Gate(gate) if !gate.open && gate.gate == "proved-dead" => {
                reader.shut();
                if gate.why.contains("live value") || gate.why.contains("started again") {
                    reader = Reader::default();
                }
            }
            _ => {}
        }
    }
}
