//! How many minutes the planner takes to be sure, against better policies on the same compiled
//! table: exact dynamic programming where the table is small, a two-step look-ahead elsewhere.
//!
//! Every policy stops by the same rule: the leading group has [`SURE`], or no ask tells anything
//! any more. Answers are certain, and come as the belief itself predicts them, the chance of a
//! mistaken take included: so the figures are expectations under the model. Nothing is made again.

use std::collections::HashMap;

use ohmtrail_core::class::{Class, Likely};
use ohmtrail_core::isolate::plan::{GAIN_FLOOR, information};
use ohmtrail_core::isolate::{Active, Belief, Evidence, Kind, Planner, Prospect, State, Table};
use ohmtrail_meters::sim::noise::Noise;

/// The probability of the leading group at which every policy stops.
pub const SURE: f32 = 0.95;

/// How many asks the two-step look-ahead compares, the best by one step.
const WIDTH: usize = 8;

/// A unit as it is found: under power, nothing lifted.
const START: State = State {
    on: true,
    lifted: 0,
    cooled: false,
};

/// A table with room to think.
pub struct Mind<'t> {
    table: Table<'t>,
    weights: Vec<f32>,
    prospects: Vec<Prospect>,
    active: Vec<Active>,
    /// Asks that may be asked; the table's own, without those for a customer's word.
    asks: Vec<u16>,
    exact: HashMap<Key, f64>,
}

/// Answers in order of their asks, and the state of the unit.
type Key = (Vec<(u16, u8)>, (bool, u8, bool));

/// What is done next.
#[derive(Debug, Clone, Copy)]
struct Move {
    ask: u16,
    state: State,
    minutes: f64,
}

/// Chooses.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Policy {
    /// The product's planner.
    Planner,
    /// Two steps ahead.
    TwoSteps,
}

impl<'t> Mind<'t> {
    /// Thinks about this table.
    #[must_use]
    pub fn new(table: Table<'t>) -> Self {
        Mind {
            table,
            weights: vec![0.0; table.weight_count()],
            prospects: vec![Prospect::default(); usize::from(table.ask_count())],
            active: vec![Active::default(); usize::from(table.hypotheses)],
            asks: (0..table.ask_count()).collect(),
            exact: HashMap::new(),
        }
    }

    fn with<R>(
        &mut self,
        takes: &[(u16, u8)],
        work: impl FnOnce(&mut Belief<'_, '_>, &mut [Prospect], &mut [Active]) -> R,
    ) -> R {
        let mut belief = Belief::new(&self.table, &mut self.weights).expect("room");
        for (ask, outcome) in takes {
            let evidence = evidence(&self.table, *ask, *outcome);
            belief.update(*ask, &evidence).expect("it fits");
        }
        work(&mut belief, &mut self.prospects, &mut self.active)
    }

    /// Whether the leading group is probable enough.
    fn is_sure(&mut self, takes: &[(u16, u8)]) -> bool {
        self.with(takes, |belief, _, _| belief.leading().p >= SURE)
    }

    /// Each outcome of an ask with its probability.
    fn outcomes(&mut self, takes: &[(u16, u8)], ask: u16) -> Vec<(u8, f64)> {
        let live = self.table.ask(ask).map_or(0, |a| a.live);
        let all: Vec<u8> = (0..8).filter(|c| live & (1 << c) != 0).collect();
        let table = self.table;
        let mut outcomes: Vec<(u8, f64)> = all
            .into_iter()
            .map(|c| {
                let p = self.with(takes, |belief, _, _| {
                    belief
                        .update(ask, &evidence(&table, ask, c))
                        .expect("it fits")
                });
                (c, f64::from(p))
            })
            .collect();
        let sum: f64 = outcomes.iter().map(|(_, p)| p).sum();
        outcomes.iter_mut().for_each(|(_, p)| *p /= sum);
        outcomes
    }

    /// The moves there are, with what each is expected to tell, in bits.
    fn moves(&mut self, takes: &[(u16, u8)], now: State) -> Vec<(Move, f64)> {
        let table = self.table;
        let asks: Vec<u16> = self
            .asks
            .iter()
            .copied()
            .filter(|a| takes.iter().all(|(t, _)| t != a))
            .collect();
        self.with(takes, |belief, _, active| {
            asks.iter()
                .filter_map(|&ask| {
                    let record = table.ask(ask)?;
                    let state = table.reach(now, &record)?;
                    let bits = information(belief, ask, active)?;
                    let minutes = table.change_minutes(now, state) + record.minutes().max(0.1);
                    let minutes = f64::from(minutes);
                    (bits >= GAIN_FLOOR).then_some((
                        Move {
                            ask,
                            state,
                            minutes,
                        },
                        f64::from(bits),
                    ))
                })
                .collect()
        })
    }

    fn planned(&mut self, takes: &[(u16, u8)], now: State) -> Option<(Move, f64)> {
        let asks = self.asks.clone();
        let table = self.table;
        self.with(takes, |belief, prospects, active| {
            let mut planner = Planner::new(&table, prospects, active).expect("room");
            let mut allowed = |a: u16| asks.contains(&a) && takes.iter().all(|(t, _)| *t != a);
            let choice = planner.next(belief, now, &mut allowed)?;
            let of = Move {
                ask: choice.ask,
                state: choice.state,
                minutes: f64::from(choice.minutes),
            };
            Some((of, f64::from(choice.bits)))
        })
    }

    /// The move of two that tell most per minute together.
    fn two_steps(&mut self, takes: &[(u16, u8)], now: State) -> Option<Move> {
        let mut moves = self.moves(takes, now);
        moves.sort_by(|a, b| (b.1 / b.0.minutes).total_cmp(&(a.1 / a.0.minutes)));
        // What the planner would do is among them.
        let planned = self.planned(takes, now)?;
        moves.truncate(WIDTH);
        if moves.iter().all(|(m, _)| m.ask != planned.0.ask) {
            moves.push(planned);
        }
        let mut best: Option<(Move, f64)> = None;
        for (first, bits) in moves {
            let (mut told, mut minutes) = (bits, first.minutes);
            for (outcome, p) in self.outcomes(takes, first.ask) {
                if p < 1e-3 {
                    continue;
                }
                let after = with(takes, first.ask, outcome);
                if self.is_sure(&after) {
                    continue;
                }
                if let Some((second, more)) = self.planned(&after, first.state) {
                    told += p * more;
                    minutes += p * second.minutes;
                }
            }
            let rate = told / minutes;
            if best.is_none_or(|(_, least)| rate > least) {
                best = Some((first, rate));
            }
        }
        best.map(|(first, _)| first)
    }

    fn choose(&mut self, policy: Policy, takes: &[(u16, u8)], now: State) -> Option<Move> {
        if self.is_sure(takes) {
            return None;
        }
        match policy {
            Policy::Planner => self.planned(takes, now).map(|(m, _)| m),
            Policy::TwoSteps => self.two_steps(takes, now),
        }
    }

    /// Plays a policy once; returns the minutes, and whether it ended sure.
    pub fn play(&mut self, policy: Policy, noise: &mut Noise) -> (f64, bool) {
        let (mut takes, mut now, mut minutes) = (Vec::new(), START, 0.0);
        while let Some(next) = self.choose(policy, &takes, now) {
            minutes += next.minutes;
            now = next.state;
            let mut left = noise.unit();
            let outcomes = self.outcomes(&takes, next.ask);
            let drawn = outcomes.iter().find(|(_, p)| {
                left -= p;
                left < 0.0
            });
            let outcome = drawn.or(outcomes.last()).map_or(0, |(c, _)| *c);
            takes = with(&takes, next.ask, outcome);
        }
        (minutes, self.is_sure(&takes))
    }

    /// The expected minutes of the planner, exactly: every path of answers, weighed.
    pub fn planner_exactly(&mut self, takes: &[(u16, u8)], now: State) -> f64 {
        let Some(next) = self.choose(Policy::Planner, takes, now) else {
            return 0.0;
        };
        let mut minutes = next.minutes;
        for (outcome, p) in self.outcomes(takes, next.ask) {
            minutes += p * self.planner_exactly(&with(takes, next.ask, outcome), next.state);
        }
        minutes
    }

    /// The least expected minutes of any policy, exactly: expectimax over every set of answers
    /// and every state of the unit.
    pub fn best_exactly(&mut self, takes: &[(u16, u8)], now: State) -> f64 {
        let key = (takes.to_vec(), (now.on, now.lifted, now.cooled));
        if let Some(known) = self.exact.get(&key) {
            return *known;
        }
        let mut best = f64::INFINITY;
        if self.is_sure(takes) {
            best = 0.0;
        } else {
            let moves = self.moves(takes, now);
            if moves.is_empty() {
                best = 0.0;
            }
            for (next, _) in moves {
                let mut minutes = next.minutes;
                for (outcome, p) in self.outcomes(takes, next.ask) {
                    minutes += p * self.best_exactly(&with(takes, next.ask, outcome), next.state);
                    if minutes >= best {
                        break;
                    }
                }
                best = best.min(minutes);
            }
        }
        self.exact.insert(key, best);
        best
    }

    /// The planner and the best policy on the `few` asks that tell most at the start: expected
    /// minutes of each.
    pub fn against_the_best(&mut self, few: usize) -> (f64, f64) {
        let mut moves = self.moves(&[], START);
        moves.sort_by(|a, b| b.1.total_cmp(&a.1));
        self.asks = moves.iter().take(few).map(|(m, _)| m.ask).collect();
        self.exact.clear();
        let pair = (
            self.planner_exactly(&[], START),
            self.best_exactly(&[], START),
        );
        self.asks = (0..self.table.ask_count()).collect();
        pair
    }
}

fn evidence(table: &Table<'_>, ask: u16, outcome: u8) -> Evidence {
    match table.ask(ask).map(|a| a.kind) {
        Some(Kind::Measure(_)) => {
            Evidence::Measured(Likely::certain(Class::ALL[usize::from(outcome)]))
        }
        _ => Evidence::Looked(outcome == 1),
    }
}

/// The answers with one more, in order.
fn with(takes: &[(u16, u8)], ask: u16, outcome: u8) -> Vec<(u16, u8)> {
    let mut all = takes.to_vec();
    let at = all.partition_point(|(a, _)| *a < ask);
    all.insert(at, (ask, outcome));
    all
}
