//! When to stop: what is found, what is asked, what is made again.

use super::belief::Belief;
use super::plan::{Active, Choice, GAIN_FLOOR, LEAST_MINUTES, Planner, State, information};
use super::rows::{Evidence, EvidenceError};
use super::table::NO_FAULT;

/// No set of faults is found under this probability, whatever a check costs.
pub const ENOUGH: f32 = 0.9;

/// Where the isolation stands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Standing {
    /// The leading group explains every take, and no check is worth its time.
    Found {
        /// The group.
        group: u16,
        /// Its most probable hypothesis.
        hypothesis: u16,
        /// The group's posterior probability.
        p: f32,
    },
    /// There is a check worth making.
    Ask(Choice),
    /// A take is worth making again, with the probes taken off in between.
    Again(Choice),
    /// What was measured fits no fault of the table, and no check is worth its time.
    Unnamed {
        /// The probability of *none of these*.
        p: f32,
    },
    /// Nothing is found, and no check that is allowed would tell enough.
    Undecided,
}

impl Planner<'_> {
    /// Where the isolation stands after these takes: the next ask, or a take to be made again,
    /// whichever tells more per minute, for as long as that is worth its time.
    ///
    /// **When it stops.** To settle what is still unknown takes about H / r minutes, with H the
    /// entropy of the groups in bits and r the best rate in bits a minute. To act on the leading
    /// set now is expected to cost [`Belief::loss`] minutes. While that is more, it asks; and where
    /// it is less, for as long as the best few asks of one state are expected to save more than they
    /// take. Else the
    /// leading group is found, if it has at least the probability [`ENOUGH`]; or its faults, if
    /// they are there with that probability, alone or with another; or the one of them that is.
    /// What may be there besides stays unproven: a compressor that does not start on a weak
    /// capacitor can be judged only once the capacitor is replaced.
    ///
    /// A measurement that a leading group of at least [`ENOUGH`] does not explain is made again
    /// first, and nothing is found that leaves one unexplained.
    ///
    /// Looks need not be explained: how often they mislead is part of the table.
    /// Where *none of these* leads, no fault is named.
    ///
    /// # Errors
    /// A take cannot be used with this table.
    pub fn standing<const ROWS: usize>(
        &mut self,
        belief: &Belief<'_, '_, ROWS>,
        takes: &[(u16, Evidence)],
        now: State,
        allowed: &mut dyn FnMut(u16) -> bool,
    ) -> Result<Standing, EvidenceError> {
        let lead = belief.leading();
        let named = !belief.table.is_none_of_these(lead.hypothesis);
        // What would be found: a fault beside it that is not may be what explains a take.
        let found = found(belief);
        let faults = match found {
            Some(Standing::Found { hypothesis, .. }) => belief.table.set(hypothesis),
            _ => belief.table.set(lead.hypothesis),
        };
        let mut explained = true;
        for (ask, evidence) in takes {
            let look = matches!(evidence, Evidence::Looked(_));
            if look || belief.explains(faults, *ask, evidence)? {
                continue;
            }
            explained = false;
            if named
                && lead.p >= ENOUGH
                && matches!(evidence, Evidence::Measured(_))
                && let Some(choice) = again(belief, *ask, 0.0, now)
            {
                return Ok(Standing::Again(choice));
            }
        }
        let next = self.next(belief, now, allowed);
        let again = repeat(belief, takes, now, self.active)?;
        let rate = |choice: Option<Choice>| choice.map_or(0.0, |c| c.bits_per_minute);
        let to_settle = belief.entropy() / rate(next).max(rate(again)).max(f32::MIN_POSITIVE);
        let stop = belief.loss(lead.hypothesis) <= to_settle;
        if stop
            && named
            && explained
            && let Some(found @ Standing::Found { hypothesis, .. }) = found
        {
            let worth = self.worth_its_time(belief, hypothesis, now);
            return Ok(worth.map_or(found, Standing::Ask));
        }
        if stop && !named && lead.p >= ENOUGH {
            return Ok(Standing::Unnamed { p: lead.p });
        }
        Ok(match (next, again) {
            (_, Some(again)) if again.bits_per_minute > rate(next) => Standing::Again(again),
            (Some(next), _) => Standing::Ask(next),
            _ => Standing::Undecided,
        })
    }
}

/// The leading group if it has at least the probability [`ENOUGH`]; else the faults of its most
/// probable hypothesis, or one of them, if they are there with that probability, alone or with
/// another. *No fault* must be so by itself.
fn found<const ROWS: usize>(belief: &Belief<'_, '_, ROWS>) -> Option<Standing> {
    let table = &belief.table;
    let lead = belief.leading();
    if lead.p >= ENOUGH {
        return Some(Standing::Found {
            group: lead.group,
            hypothesis: lead.hypothesis,
            p: lead.p,
        });
    }
    let [first, second] = table.set(lead.hypothesis);
    let fewer = [[first, NO_FAULT], [second, NO_FAULT]];
    let fewer = if second == NO_FAULT {
        [].as_slice()
    } else {
        fewer.as_slice()
    };
    for wanted in core::iter::once(&[first, second]).chain(fewer) {
        let mut p = 0.0;
        let mut hypothesis = None;
        for (h, mass) in (0..table.hypotheses).zip(belief.posteriors()) {
            let set = table.set(h);
            let same = set == *wanted;
            let holds = wanted.iter().all(|f| *f == NO_FAULT || set.contains(f));
            if same && hypothesis.is_none() {
                hypothesis = Some(h);
            }
            if same || (holds && first != NO_FAULT) {
                p += mass;
            }
        }
        if let Some(hypothesis) = hypothesis
            && !table.is_none_of_these(hypothesis)
            && p >= ENOUGH
        {
            let group = table.group(hypothesis);
            let p = p.max(belief.group_posterior(group));
            return Some(Standing::Found {
                group,
                hypothesis,
                p,
            });
        }
    }
    None
}

/// The take that is most worth making again, if one tells at least [`GAIN_FLOOR`]. With the chance
/// that the take was mistaken the repeat tells what the ask would, were it not answered yet; else it
/// agrees, and what is left unknown then is held against now.
fn repeat<const ROWS: usize>(
    belief: &Belief<'_, '_, ROWS>,
    takes: &[(u16, Evidence)],
    now: State,
    active: &mut [Active],
) -> Result<Option<Choice>, EvidenceError> {
    let entropy = belief.entropy();
    let mut best: Option<Choice> = None;
    for (ask, evidence) in takes {
        let Evidence::Measured(likely) = evidence else {
            continue;
        };
        let agrees = (entropy - belief.entropy_if_confirmed(*ask, likely)?).max(0.0);
        let anew = information(belief, *ask, active).unwrap_or(0.0);
        let doubt = belief.doubt(*ask, evidence)?.clamp(0.0, 1.0);
        let bits = (1.0 - doubt) * agrees + doubt * anew;
        if bits < GAIN_FLOOR {
            continue;
        }
        let choice = again(belief, *ask, bits, now);
        if let Some(choice) = choice
            && best.is_none_or(|b| choice.bits_per_minute > b.bits_per_minute)
        {
            best = Some(choice);
        }
    }
    Ok(best)
}

/// An ask that was answered, as one to make again.
fn again<const ROWS: usize>(
    belief: &Belief<'_, '_, ROWS>,
    ask: u16,
    bits: f32,
    now: State,
) -> Option<Choice> {
    let record = belief.table.ask(ask)?;
    let state = belief.table.reach(now, &record)?;
    let minutes = belief.table.change_minutes(now, state) + record.minutes();
    Some(Choice {
        ask,
        state,
        bits,
        minutes,
        bits_per_minute: bits / minutes.max(LEAST_MINUTES),
    })
}
