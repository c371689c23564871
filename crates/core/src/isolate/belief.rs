//! What the takes so far say about every hypothesis.
//!
//! Bayes' rule over (hypothesis, sample): a weight starts at prior / S and is multiplied by the
//! probability of each take under that hypothesis *and that sample*. Takes multiply within a
//! sample, never across: three windings read on one compressor share its unknown values. The
//! posterior of a hypothesis is the sum over its samples.
//!
//! A take is soft evidence: it has a probability for each class, and its likelihood is the sum
//! over classes of P(class | hypothesis, sample) times that probability. With probability
//! [`MISTAKEN`](super::MISTAKEN) it says nothing at all.
//!
//! A repeat of an ask is no new evidence of this kind: the caller fuses repeats into one and calls
//! [`Belief::update`] once for each ask, after a [`Belief::reset`] where anything was struck.

use heapless::Vec;

use super::rows::{
    Evidence, EvidenceError, MOST_ROWS, flat, likelihoods, of_row, plain_likelihoods, x_log2_x,
};
use super::table::{Table, parts};
use crate::class::Likely;

/// A hypothesis explains a take if it gives it at least this share of the probability that a
/// hypothesis certain of the most probable class would give it.
pub const EXPLAINS: f32 = 0.05;

/// The posterior over the hypotheses of a table.
///
/// `ROWS` is for how many rows of an ask there is room on the stack: as many as any ask can have,
/// or fewer on a small machine ([`Belief::with_rows`]).
#[derive(Debug)]
pub struct Belief<'t, 'w, const ROWS: usize = MOST_ROWS> {
    pub(super) table: Table<'t>,
    /// One weight for each sample of each hypothesis; they sum to one.
    pub(super) weights: &'w mut [f32],
}

/// The workspace is shorter than [`Table::weight_count`], or there is room for fewer rows than
/// [`Table::most_rows`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TooSmall;

impl core::fmt::Display for TooSmall {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str("the workspace is too small for this table")
    }
}

impl core::error::Error for TooSmall {}

/// The most probable equivalence group.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Leading {
    /// Its number.
    pub group: u16,
    /// The most probable hypothesis in it.
    pub hypothesis: u16,
    /// The posterior probability of the group.
    pub p: f32,
}

impl Table<'_> {
    /// How many weights a [`Belief`] over this table needs: H·S.
    #[must_use]
    pub fn weight_count(&self) -> usize {
        usize::from(self.hypotheses).saturating_mul(usize::from(self.samples))
    }

    /// How many rows the ask with most of them has.
    #[must_use]
    pub fn most_rows(&self) -> usize {
        let asks = (0..self.ask_count()).filter_map(|a| self.ask(a));
        asks.fold(0, |most, ask| most.max(usize::from(ask.rows)))
    }

    /// What this answer to this ask says by itself about a fault: log2 of P(answer | fault) over
    /// P(answer | no such fault), under the priors. In bits: positive speaks for the fault,
    /// negative against it, 3.3 is ten to one.
    ///
    /// # Errors
    /// The ask is not in the table, or the evidence cannot be used.
    pub fn weigh(&self, fault: u16, ask: u16, evidence: &Evidence) -> Result<f32, EvidenceError> {
        let record = self.ask(ask).ok_or(EvidenceError::NoSuchAsk)?;
        let rows = likelihoods::<MOST_ROWS>(self, &record, evidence)?;
        let (mut with, mut without) = ([0.0_f32; 2], [0.0_f32; 2]);
        for (h, cells) in (0..self.hypotheses).zip(parts(self.ask_cells(ask), self.samples)) {
            let prior = self.prior(h);
            let likelihood: f32 = cells.iter().map(|row| of_row(&rows, *row)).sum();
            let [p, joint] = if self.set(h).contains(&fault) {
                &mut with
            } else {
                &mut without
            };
            *p += prior;
            *joint += prior * likelihood;
        }
        let ratio = (with[1] * without[0]) / (with[0] * without[1]);
        Ok(if ratio > 0.0 && ratio.is_finite() {
            libm::log2f(ratio)
        } else {
            0.0
        })
    }
}

impl<'t, 'w> Belief<'t, 'w> {
    /// The priors of a table, in a workspace of at least [`Table::weight_count`] numbers.
    ///
    /// # Errors
    /// [`TooSmall`].
    pub fn new(table: &Table<'t>, workspace: &'w mut [f32]) -> Result<Self, TooSmall> {
        Belief::with_rows(table, workspace)
    }
}

impl<'t, 'w, const ROWS: usize> Belief<'t, 'w, ROWS> {
    /// The same with room for `ROWS` rows of an ask and no more, on the stack of every call.
    ///
    /// # Errors
    /// [`TooSmall`].
    pub fn with_rows(table: &Table<'t>, workspace: &'w mut [f32]) -> Result<Self, TooSmall> {
        if table.most_rows() > ROWS {
            return Err(TooSmall);
        }
        let weights = workspace.get_mut(..table.weight_count()).ok_or(TooSmall)?;
        let mut belief = Belief {
            table: *table,
            weights,
        };
        belief.reset();
        Ok(belief)
    }

    /// The table.
    #[must_use]
    pub fn table(&self) -> &Table<'t> {
        &self.table
    }

    /// Forgets every take: back to the priors.
    pub fn reset(&mut self) {
        let table = self.table;
        let samples = usize::from(table.samples).max(1);
        let sum: f32 = (0..table.hypotheses).map(|h| table.prior(h)).sum();
        let share = 1.0 / (sum * samples as f32);
        let mut weights = self.weights.iter_mut();
        for h in 0..table.hypotheses {
            let weight = table.prior(h) * share;
            for slot in weights.by_ref().take(samples) {
                *slot = weight;
            }
        }
    }

    /// Takes the answer to an ask into account, and returns how probable it was before: a small
    /// number is a surprise.
    ///
    /// # Errors
    /// The ask is not in the table, or the evidence cannot be used. The belief is as before.
    pub fn update(&mut self, ask: u16, evidence: &Evidence) -> Result<f32, EvidenceError> {
        let record = self.table.ask(ask).ok_or(EvidenceError::NoSuchAsk)?;
        let mut rows = likelihoods::<ROWS>(&self.table, &record, evidence)?;
        let cells = self.table.ask_cells(ask);
        let p = sum(self
            .weights
            .iter()
            .zip(cells)
            .map(|(w, row)| w * of_row(&rows, *row)));
        if p > 0.0 {
            for l in &mut rows {
                *l /= p;
            }
            for (w, row) in self.weights.iter_mut().zip(cells) {
                *w *= of_row(&rows, *row);
            }
        }
        Ok(p)
    }

    /// The posterior probability of every hypothesis, in order.
    pub fn posteriors(&self) -> impl Iterator<Item = f32> + '_ {
        parts(self.weights, self.table.samples).map(|weights| weights.iter().sum())
    }

    /// The posterior probability of one hypothesis; zero if there is no such hypothesis.
    #[must_use]
    pub fn posterior(&self, h: u16) -> f32 {
        self.posteriors().nth(usize::from(h)).unwrap_or(0.0)
    }

    /// The probability that the unit has this fault, alone or with another.
    #[must_use]
    pub fn marginal(&self, fault: u16) -> f32 {
        sum((0..self.table.hypotheses)
            .zip(self.posteriors())
            .filter(|(h, _)| self.table.set(*h).contains(&fault))
            .map(|(_, p)| p))
    }

    /// The posterior probability of an equivalence group.
    #[must_use]
    pub fn group_posterior(&self, group: u16) -> f32 {
        sum((0..self.table.hypotheses)
            .zip(self.posteriors())
            .filter(|(h, _)| self.table.group(*h) == group)
            .map(|(_, p)| p))
    }

    /// The most probable equivalence group; the first of equals.
    #[must_use]
    pub fn leading(&self) -> Leading {
        let none = Leading {
            group: 0,
            hypothesis: 0,
            p: 0.0,
        };
        let (mut best, mut this) = (none, none);
        let mut highest = 0.0;
        for (h, p) in (0..self.table.hypotheses).zip(self.posteriors()) {
            let group = self.table.group(h);
            if h == 0 || group != this.group {
                this = Leading {
                    group,
                    hypothesis: h,
                    p: 0.0,
                };
                highest = 0.0;
            }
            if p > highest {
                highest = p;
                this.hypothesis = h;
            }
            this.p += p;
            if this.p > best.p {
                best = this;
            }
        }
        best
    }

    /// The probability that the leading group is not what the unit has.
    #[must_use]
    pub fn risk(&self) -> f32 {
        (1.0 - self.leading().p).max(0.0)
    }

    /// The `N` most probable hypotheses and their probabilities, most probable first.
    #[must_use]
    pub fn top<const N: usize>(&self) -> Vec<(u16, f32), N> {
        let mut ranked: Vec<(u16, f32), N> = Vec::new();
        for mut item in (0..self.table.hypotheses).zip(self.posteriors()) {
            for slot in &mut ranked {
                if item.1 > slot.1 {
                    core::mem::swap(slot, &mut item);
                }
            }
            // A full list drops its least.
            let _ = ranked.push(item);
        }
        ranked
    }

    /// How much is unknown of the equivalence group, in bits.
    #[must_use]
    pub fn entropy(&self) -> f32 {
        let mut bits = 0.0;
        let mut group = 0;
        let mut mass = 0.0;
        for (h, p) in (0..self.table.hypotheses).zip(self.posteriors()) {
            let next = self.table.group(h);
            if next != group {
                bits -= x_log2_x(mass);
                mass = 0.0;
                group = next;
            }
            mass += p;
        }
        (bits - x_log2_x(mass)).max(0.0)
    }

    /// How much would be unknown of the equivalence group, in bits, if a take that is already
    /// part of the belief were made again and agreed.
    ///
    /// # Errors
    /// The ask is not in the table, or the evidence cannot be used.
    pub fn entropy_if_confirmed(&self, ask: u16, likely: &Likely) -> Result<f32, EvidenceError> {
        let record = self.table.ask(ask).ok_or(EvidenceError::NoSuchAsk)?;
        let once = likelihoods::<ROWS>(&self.table, &record, &Evidence::Measured(*likely))?;
        let mut change = likelihoods::<ROWS>(&self.table, &record, &Evidence::Confirmed(*likely))?;
        for (slot, before) in change.iter_mut().zip(once) {
            *slot /= before.max(f32::MIN_POSITIVE);
        }
        let samples = self.table.samples;
        let cells = parts(self.table.ask_cells(ask), samples);
        let (mut bits, mut all, mut mass, mut group) = (0.0, 0.0, 0.0, 0);
        for ((h, weights), cells) in (0..).zip(parts(self.weights, samples)).zip(cells) {
            let next = self.table.group(h);
            if next != group {
                bits -= x_log2_x(mass);
                mass = 0.0;
                group = next;
            }
            let p: f32 = weights
                .iter()
                .zip(cells)
                .map(|(w, row)| w * of_row(&change, *row))
                .sum();
            mass += p;
            all += p;
        }
        bits -= x_log2_x(mass);
        // The masses sum to `all`, not to one.
        let all = all.max(f32::MIN_POSITIVE);
        Ok(((bits + x_log2_x(all)) / all).max(0.0))
    }

    /// The probability that a take which is part of the belief says nothing about what it was meant
    /// to tell, in the light of all the others.
    ///
    /// # Errors
    /// The ask is not in the table, or the evidence cannot be used.
    pub fn doubt(&self, ask: u16, evidence: &Evidence) -> Result<f32, EvidenceError> {
        let record = self.table.ask(ask).ok_or(EvidenceError::NoSuchAsk)?;
        let rows = likelihoods::<ROWS>(&self.table, &record, evidence)?;
        let nothing = evidence.mistaken() * flat(record.live);
        Ok(sum(self.weights.iter().zip(self.table.ask_cells(ask)).map(
            |(w, row)| w * nothing / of_row(&rows, *row).max(f32::MIN_POSITIVE),
        )))
    }

    /// Whether these faults explain the answer to an ask, no mistake assumed: under the samples of
    /// every hypothesis that holds them, by themselves or with another fault, weighted by all takes
    /// so far, the answer has at least [`EXPLAINS`] of the probability that certainty of its most
    /// probable class would give it. Without a fault it is *no fault* that must explain it.
    ///
    /// # Errors
    /// The ask is not in the table, or the evidence cannot be used.
    pub fn explains(
        &self,
        faults: [u16; 2],
        ask: u16,
        evidence: &Evidence,
    ) -> Result<bool, EvidenceError> {
        let record = self.table.ask(ask).ok_or(EvidenceError::NoSuchAsk)?;
        let outcomes = evidence.outcomes(&record)?;
        let rows = plain_likelihoods::<ROWS>(&self.table, &record, &outcomes);
        let samples = self.table.samples;
        let cells = parts(self.table.ask_cells(ask), samples);
        let (mut mass, mut joint) = (0.0_f32, 0.0_f32);
        for ((h, weights), cells) in (0..).zip(parts(self.weights, samples)).zip(cells) {
            if !self.table.holds(h, faults) {
                continue;
            }
            for (w, row) in weights.iter().zip(cells) {
                mass += w;
                joint += w * of_row(&rows, *row);
            }
        }
        let most = outcomes.iter().fold(0.0_f32, |most, p| most.max(*p));
        Ok(mass > 0.0 && joint >= EXPLAINS * most * mass)
    }
}

/// A sum over four running parts, which halves the rounding twice over.
fn sum(numbers: impl Iterator<Item = f32>) -> f32 {
    let mut parts = [0.0_f32; 4];
    for x in numbers {
        let [a, b, c, d] = parts;
        parts = [b, c, d, a + x];
    }
    let [a, b, c, d] = parts;
    (a + b) + (c + d)
}
