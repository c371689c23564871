//! Where the isolation stands: the belief from the answers that count, and the next check.

use std::collections::BTreeSet;

use ohmtrail_circuit::compile::UNNAMED;
use ohmtrail_circuit::sheet::Heat;
use ohmtrail_core::class::{Class, Likely};
use ohmtrail_core::isolate::table::NO_FAULT;
use ohmtrail_core::isolate::{Belief, Cooled, Evidence, Kind, Planner, PowerNeed, Standing, State};
use ohmtrail_core::units::Micros;
use ohmtrail_trail::event::{Power, Suspect};
use ohmtrail_words::Said;

use crate::book::WindingPair;
use crate::cooldown::ColdOpen;
use crate::record::Answer;
use crate::visit::Visit;
use crate::words;

/// How many suspects are told.
const TOLD: usize = 8;
/// Bits from which a check of a part by itself would prove its fault: ten to one.
const PROVES: f32 = 3.3;
/// From this probability on, a second fault that is linked with the one found is read for before it
/// is found.
const PARTNER: f32 = 0.002;
/// How often a take is made again for its sake.
const REPEATS: usize = 2;

/// What comes next.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Stand {
    /// Found: the most probable hypothesis of the leading group, and the group's probability.
    Found { hypothesis: u16, p: f32 },
    /// This check, with the unit in that state.
    Ask(usize, State),
    /// What was measured fits no fault of the sheet, with the probability of that.
    Unnamed { p: f32 },
    /// The same, but not before this moment of the record's clock: a motor may still be hot.
    Rest(usize, State, Micros),
    /// Nothing is found, and nothing more can be asked that would tell enough.
    Undecided,
}

impl Visit<'_> {
    /// The unit's state as the planner knows it.
    pub(crate) fn planner_state(&self) -> State {
        State {
            on: self.record.power == Power::On,
            lifted: self.book.lift_number(&self.record.lifted).unwrap_or(0),
            cooled: self.record.cooled,
        }
    }

    /// Works with the belief that the answers give.
    pub(crate) fn with_belief<R>(
        &mut self,
        answers: &[Answer],
        work: impl FnOnce(&Belief<'_, '_>, &mut Planner<'_>) -> R,
    ) -> Option<R> {
        let table = self.book.table;
        let room = &mut self.room;
        let mut belief = Belief::new(&table, &mut room.weights).ok()?;
        for answer in answers {
            // What the table cannot use tells nothing; the take is in the trail all the same.
            let _ = belief.update(answer.number, &answer.evidence);
        }
        let mut planner = Planner::new(&table, &mut room.prospects, &mut room.active).ok()?;
        Some(work(&belief, &mut planner))
    }

    /// The suspects, most probable first.
    pub(crate) fn suspects(&mut self) -> Vec<Suspect> {
        let answers = self.record.answers(self.book);
        let book = self.book;
        self.with_belief(&answers, |belief, _| {
            let table = belief.table();
            // What stands for a fault without a name is one suspect, however many units it has.
            let unnamed = Suspect {
                faults: vec![words::NONE_OF_THESE.to_owned()],
                p: belief.group_posterior(table.group_count().saturating_sub(1)),
            };
            let top = belief.top::<{ TOLD + UNNAMED }>();
            let named = top.iter().filter(|(h, _)| !table.is_none_of_these(*h));
            let mut all: Vec<Suspect> = named
                .map(|(h, p)| Suspect {
                    faults: fault_names(book, *h),
                    p: *p,
                })
                .chain([unnamed])
                .filter(|s| s.p >= 0.0005)
                .collect();
            all.sort_by(|a, b| b.p.total_cmp(&a.p));
            all.truncate(TOLD);
            all
        })
        .unwrap_or_default()
    }

    /// Where the isolation stands.
    pub(crate) fn stand(&mut self) -> Stand {
        let live = &self.live;
        let key = (
            self.record.version,
            live.no_dead.is_some(),
            live.no_power.is_some(),
            live.impossible.len(),
        );
        if let Some((of, stand)) = self.live.standing
            && of == key
        {
            return stand;
        }
        let stand = self.stand_anew();
        self.live.standing = Some((key, stand));
        stand
    }

    fn stand_anew(&mut self) -> Stand {
        let answers = self.record.answers(self.book);
        let closed = self.closed_checks(&answers);
        let now = self.planner_state();
        let ended = self.record.leave.is_some();
        // A take that cannot be made again need not be explained.
        let takes: Vec<(u16, Evidence)> = answers
            .iter()
            .filter(|a| a.repeats <= REPEATS && self.may_repeat(usize::from(a.number)))
            .filter(|_| !ended)
            .map(|a| (a.number, a.evidence))
            .collect();
        let stand = self.with_belief(&answers, |belief, planner| {
            let mut allowed = |ask: u16| !ended && !closed.contains(&usize::from(ask));
            match planner.standing(belief, &takes, now, &mut allowed) {
                Ok(Standing::Found { hypothesis, p, .. }) => Stand::Found { hypothesis, p },
                Ok(Standing::Ask(choice) | Standing::Again(choice)) => {
                    Stand::Ask(usize::from(choice.ask), choice.state)
                }
                Ok(Standing::Unnamed { p }) => Stand::Unnamed { p },
                Ok(Standing::Undecided) | Err(_) => Stand::Undecided,
            }
        });
        let stand = stand.unwrap_or(Stand::Undecided);
        match stand {
            Stand::Found { hypothesis, .. } => match self.must_be_cold(hypothesis) {
                Some(Some(ask)) => ask,
                Some(None) => Stand::Undecided,
                None => {
                    let proof = self.proof(hypothesis, &answers);
                    proof
                        .or_else(|| self.partner(hypothesis, &answers))
                        .unwrap_or(stand)
                }
            },
            other => other,
        }
    }

    /// Why a check that was answered is asked again: none if it was not.
    pub(crate) fn why_again(&mut self, check: usize) -> Option<Said> {
        let answers = self.record.answers(self.book);
        let answer = answers.iter().find(|a| usize::from(a.number) == check)?;
        let (number, evidence) = (answer.number, answer.evidence);
        let doubt = self.with_belief(&answers, |belief, _| belief.doubt(number, &evidence).ok());
        let percent = format!("{:.0}", doubt.flatten()? * 100.0);
        Some(Said::message("once-more").with("percent", percent))
    }

    /// The check that would tell most, were the isolation to go on: its minutes with what it needs.
    pub(crate) fn minutes_to_go_on(&mut self, answers: &[Answer]) -> Option<f32> {
        let closed = self.closed_checks(answers);
        let now = self.planner_state();
        let next = self.with_belief(answers, |belief, planner| {
            planner.next(belief, now, &mut |ask| !closed.contains(&usize::from(ask)))
        });
        next.flatten().map(|choice| choice.minutes)
    }

    /// Whether a check that was answered may be asked once more.
    fn may_repeat(&self, check: usize) -> bool {
        !self.record.skipped_checks.contains(&check)
            && !self.live.impossible.contains(&check)
            && !self.is_barred(check)
    }

    /// Checks that are not asked: answered, passed over, impossible, or behind a gate that cannot
    /// be opened. The asks that stand for the customer's word are never asked.
    fn closed_checks(&self, answers: &[Answer]) -> BTreeSet<usize> {
        let all = usize::from(self.book.table.ask_count());
        let answered: BTreeSet<usize> = answers.iter().map(|a| usize::from(a.number)).collect();
        let (always_low, can_be_low) = self.low_impedance();
        (0..all)
            .filter(|&c| {
                c >= self.book.checks()
                    || answered.contains(&c)
                    || self.is_for_another_input(c, &answered, always_low, can_be_low)
                    || self.record.skipped_checks.contains(&c)
                    || self.live.impossible.contains(&c)
                    || self.is_barred(c)
            })
            .collect()
    }

    /// Whether a check of volts is not for the meters at hand: in a mode that none has, or in one
    /// that tells less than the low-impedance mode did, or than each of them always reads in.
    fn is_for_another_input(
        &self,
        check: usize,
        answered: &BTreeSet<usize>,
        always_low: bool,
        can_be_low: bool,
    ) -> bool {
        if self.book.sheet.checks[check].is_low_impedance() {
            return !can_be_low;
        }
        let low = self.book.in_low_impedance(check);
        low.is_some_and(|low| always_low || answered.contains(&low))
    }

    fn is_barred(&self, check: usize) -> bool {
        let record = u16::try_from(check)
            .ok()
            .and_then(|c| self.book.table.ask(c));
        record.is_none_or(|ask| {
            let needs_off = ask.power == PowerNeed::Off
                || (ask.cooled == Cooled::Cooled && !self.record.cooled);
            let needs_on = ask.power == PowerNeed::On;
            let is_off = self.record.power == Power::Off;
            // A start from cold is no state as found, and the next power-off ends it.
            let warm_again = ask.cooled == Cooled::AsFound && self.record.cooled;
            // Live where nothing should be, and it cannot be made dead: whether the unit has its
            // power is not known, so that nothing that is read says anything of it.
            let unknown = self.record.alarmed && self.live.no_dead.is_some();
            (unknown && (matches!(ask.kind, Kind::Measure(_)) || needs_on || needs_off))
                || warm_again
                || (needs_off && self.live.no_dead.is_some())
                || (needs_on && is_off && self.live.no_power.is_some())
        })
    }

    /// A check that is made before this is found, if there is one: that of a fault's own part, which
    /// would show it, and that of each neighbour whose fault would look like it, which would show
    /// that. A part is not condemned by what its neighbours read alone while it can be measured,
    /// nor before its neighbours are proven. Nor is nothing found wrong before each source was read.
    fn proof(&self, hypothesis: u16, answers: &[Answer]) -> Option<Stand> {
        let (sheet, table) = (self.book.sheet, &self.book.table);
        if table.faults_of(hypothesis).next().is_none() {
            let of_a_source = |fault: &u16| {
                let fault = sheet.faults.get(usize::from(*fault));
                let part = fault.and_then(|f| sheet.parts.get(f.owner));
                part.is_some_and(|p| p.kind.source)
            };
            return (0..table.faults)
                .filter(of_a_source)
                .find_map(|fault| self.proof_of(fault, self.alone(fault)?, false, answers));
        }
        for fault in table.faults_of(hypothesis) {
            if let Some(stand) = self.proof_of(fault, hypothesis, true, answers) {
                return Some(stand);
            }
            let masks = sheet.masked.iter().filter(|m| {
                m.fault == usize::from(fault)
                    && table.faults_of(hypothesis).all(|f| usize::from(f) != m.by)
            });
            for mask in masks {
                let by = u16::try_from(mask.by).ok()?;
                if let Some(stand) = self.proof_of(by, self.alone(by)?, false, answers) {
                    return Some(stand);
                }
            }
        }
        None
    }

    /// A check that is made before this is found, if there is one: that of a part which could have
    /// brought about what is named, or could have been harmed by it, where both together are still
    /// as probable as [`PARTNER`]. By its cost alone such a check is seldom worth its time; but a
    /// part that killed the one before it kills the new one too.
    fn partner(&mut self, hypothesis: u16, answers: &[Answer]) -> Option<Stand> {
        let (sheet, table) = (self.book.sheet, self.book.table);
        let named: Vec<usize> = table.faults_of(hypothesis).map(usize::from).collect();
        let linked = |f: usize| {
            sheet
                .caused
                .iter()
                .filter_map(move |c| match (c.by, c.fault) {
                    (by, fault) if fault == f => Some(by),
                    (by, fault) if by == f => Some(fault),
                    _ => None,
                })
        };
        let pairs: Vec<[u16; 2]> = named
            .iter()
            .flat_map(|&f| linked(f).map(move |g| [f, g]))
            .filter(|[_, g]| !named.contains(g))
            .filter_map(|[f, g]| Some([u16::try_from(f).ok()?, u16::try_from(g).ok()?]))
            .collect();
        let likely: Vec<u16> = self.with_belief(answers, |belief, _| {
            let both = |[f, g]: &[u16; 2]| -> f32 {
                (0..table.hypotheses)
                    .zip(belief.posteriors())
                    .filter(|(h, _)| [*f, *g].iter().all(|x| table.set(*h).contains(x)))
                    .map(|(_, p)| p)
                    .sum()
            };
            let likely = pairs.iter().filter(|pair| both(pair) >= PARTNER);
            likely.map(|[_, g]| *g).collect()
        })?;
        likely.into_iter().find_map(|g| {
            let stand = self.proof_of(g, self.alone(g)?, false, answers)?;
            // A wait of the better part of an hour is not worth so little: it stays unproven.
            let waits = matches!(stand, Stand::Ask(_, s) if s.cooled && !self.record.cooled);
            (!waits).then_some(stand)
        })
    }

    /// The hypothesis of this fault and no other.
    fn alone(&self, fault: u16) -> Option<u16> {
        let table = &self.book.table;
        (0..table.hypotheses).find(|&h| table.set(h) == [fault, NO_FAULT])
    }

    /// The check of this fault's own part that would show it best, if none was made that speaks
    /// for the fault (or, where it is not named, against it).
    fn proof_of(
        &self,
        fault: u16,
        hypothesis: u16,
        named: bool,
        answers: &[Answer],
    ) -> Option<Stand> {
        let (sheet, table) = (self.book.sheet, &self.book.table);
        let now = self.planner_state();
        let part = sheet.faults.get(usize::from(fault)).map(|f| f.owner)?;
        let weigh = |check: usize, evidence: &Evidence| {
            let ask = u16::try_from(check).ok()?;
            table.weigh(fault, ask, evidence).ok()
        };
        let own: Vec<usize> = (0..self.book.checks())
            .filter(|&c| {
                self.book.reads_by_itself(c, part)
                    || sheet.checks[c].proves.contains(&usize::from(fault))
            })
            .collect();
        let proven = answers.iter().any(|a| {
            let check = usize::from(a.number);
            let bits = weigh(check, &a.evidence);
            own.contains(&check) && bits.is_some_and(|b| if named { b >= 1.0 } else { b <= -1.0 })
        });
        if proven {
            return None;
        }
        own.into_iter()
            .filter(|&c| answers.iter().all(|a| usize::from(a.number) != c))
            .filter(|&c| self.may_repeat(c))
            .filter_map(|c| {
                let expected = self.book.predicted(c, hypothesis)?;
                let evidence = Evidence::Measured(Likely::certain(expected));
                let state = table.reach(now, &table.ask(u16::try_from(c).ok()?)?)?;
                Some((c, state, weigh(c, &evidence)?))
            })
            .filter(|(.., bits)| *bits >= PROVES)
            .max_by(|a, b| a.2.total_cmp(&b.2))
            .map(|(check, state, _)| Stand::Ask(check, state))
    }

    /// Whether a finding that names a hermetic compressor must wait for takes with its motor
    /// cold: none if it may stand; else the check to make, or none if it cannot be made.
    ///
    /// The rule stands beside the probabilities: common open to both windings as found, with
    /// start to run not open, or every lead of a three-phase motor open to the others, is what a
    /// hot overload looks like, and no winding or protector is condemned on it. A protector is never
    /// condemned without a cold take, made twice, nor while what was measured of its cooling has it
    /// hot ([`ColdOpen`]).
    fn must_be_cold(&self, hypothesis: u16) -> Option<Option<Stand>> {
        let sheet = self.book.sheet;
        for motor in self.book.windings().iter().filter(|m| m.hermetic) {
            let named: Vec<&str> = self
                .book
                .table
                .faults_of(hypothesis)
                .filter_map(|f| sheet.faults.get(usize::from(f)))
                .filter(|f| f.owner == motor.part)
                .map(|f| f.kind_name)
                .filter(|name| {
                    !matches!(*name, "overheated" | "seized" | "reversed")
                        && !name.ends_with("grounded")
                })
                .collect();
            if named.is_empty() {
                continue;
            }
            let class = |pair, heat| {
                let took = self.record.latest(motor.check(pair, heat)?)?;
                took.take.verdict.as_ref().map(|v| v.class)
            };
            let hot = |pair| class(pair, Heat::AsFound);
            let pairs = || {
                let all = WindingPair::ALL.into_iter();
                all.filter(|p| p.through_overload())
            };
            let read: Vec<Class> = pairs().filter_map(hot).collect();
            let all_open = !read.is_empty() && read.iter().all(|c| *c == Class::Open);
            let looks_tripped = all_open && hot(WindingPair::StartRun) != Some(Class::Open);
            if !looks_tripped && !named.contains(&"protector-failed") {
                continue;
            }
            let read = pairs().any(|p| class(p, Heat::Cold).is_some());
            let open = self.record.cold_open(self.book, motor);
            if read && open == ColdOpen::Proves {
                continue;
            }
            if read && open == ColdOpen::NotNow {
                return Some(None);
            }
            let now = self.planner_state();
            let next = pairs().find_map(|pair| {
                let check = motor.check(pair, Heat::Cold)?;
                let ask = self.book.table.ask(u16::try_from(check).ok()?)?;
                let state = self.book.table.reach(now, &ask)?;
                self.may_repeat(check).then_some(match open {
                    ColdOpen::NotBefore(moment) if read => Stand::Rest(check, state, moment),
                    _ => Stand::Ask(check, state),
                })
            });
            return Some(next);
        }
        None
    }
}

/// The names of a hypothesis' faults.
pub(crate) fn fault_names(book: &crate::book::Book<'_>, hypothesis: u16) -> Vec<String> {
    book.table
        .faults_of(hypothesis)
        .filter_map(|f| book.sheet.faults.get(usize::from(f)))
        .map(|f| f.name.clone())
        .collect()
}
