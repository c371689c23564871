//! Rows of a table as probabilities, evidence against them, and the logarithm both need.

use super::ask::{AskRecord, Kind};
use super::table::{Table, from_byte};
use crate::class::{CLASSES, Likely};

/// The probability that a take says nothing about what it was meant to measure: the probe was on
/// the wrong terminal, or did not touch. Two in a hundred is an assumption, with no published
/// source: large enough that one such take does not exclude the truth, small enough that two
/// takes that agree settle a matter.
pub const MISTAKEN: f32 = 0.02;

/// As many lanes as a row has outcomes, filled up to whole vectors of four.
pub(super) const LANES: usize = 8;

/// A probability for each outcome; unused lanes are zero.
pub(super) type Outcomes = [f32; LANES];

/// The most rows that an ask can have.
pub const MOST_ROWS: usize = 256;

/// One value for each row that an ask of the table can have.
pub(super) type PerRow<T, const ROWS: usize> = [T; ROWS];

/// What answers an ask.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Evidence {
    /// A take: the probability of each class, as the verdict gave it.
    Measured(Likely),
    /// A take that was made again with the probes taken off in between, and agreed: both must have
    /// been mistaken for it to say nothing.
    Confirmed(Likely),
    /// A look: yes or no.
    Looked(bool),
}

/// Why evidence cannot be used.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum EvidenceError {
    /// The table has no ask of that number.
    NoSuchAsk,
    /// A look was answered with a take, or a measurement with yes or no.
    Kind,
    /// The probabilities of the classes are negative, no numbers, or do not sum to one.
    NotProbabilities,
}

impl core::fmt::Display for EvidenceError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            EvidenceError::NoSuchAsk => "the table has no ask of that number",
            EvidenceError::Kind => "a look is answered by yes or no, a measurement by a take",
            EvidenceError::NotProbabilities => "the probabilities of the classes do not sum to one",
        })
    }
}

impl core::error::Error for EvidenceError {}

impl Evidence {
    /// The probability that it says nothing about what it was meant to tell.
    pub(super) fn mistaken(&self) -> f32 {
        match self {
            Evidence::Measured(_) | Evidence::Looked(_) => MISTAKEN,
            Evidence::Confirmed(_) => MISTAKEN * MISTAKEN,
        }
    }

    /// The evidence as a probability for each live outcome of the ask. What it gives to outcomes
    /// that are not live is left out: such evidence is the weaker for it.
    pub(super) fn outcomes(&self, ask: &AskRecord) -> Result<Outcomes, EvidenceError> {
        let mut out = [0.0; LANES];
        match (self, ask.kind) {
            (Evidence::Measured(likely) | Evidence::Confirmed(likely), Kind::Measure(_)) => {
                let sum: f32 = likely.0.iter().sum();
                let each = likely.0.iter().all(|p| (0.0..=1.001).contains(p));
                if !each || !(0.999..=1.001).contains(&sum) {
                    return Err(EvidenceError::NotProbabilities);
                }
                for ((slot, p), c) in out.iter_mut().zip(likely.0).zip(0..) {
                    *slot = if is_live(ask.live, c) { p / sum } else { 0.0 };
                }
            }
            (Evidence::Looked(yes), Kind::Look) => {
                for (slot, answer) in out.iter_mut().zip([false, true]) {
                    *slot = if *yes == answer { 1.0 } else { 0.0 };
                }
            }
            _ => return Err(EvidenceError::Kind),
        }
        Ok(out)
    }
}

fn is_live(live: u8, outcome: u32) -> bool {
    live.checked_shr(outcome).is_some_and(|bits| bits & 1 == 1)
}

/// The share of each live outcome if a take says nothing.
pub(super) fn flat(live: u8) -> f32 {
    1.0 / (live.count_ones().max(1) as f32)
}

/// The probability of each outcome in a row, as the table has it: sums to one over live outcomes.
fn decode(codes: &[u8], live: u8) -> Outcomes {
    let mut row = [0.0; LANES];
    let mut sum = 0.0;
    for ((slot, code), c) in row.iter_mut().zip(codes).zip(0..) {
        if is_live(live, c) {
            *slot = from_byte(*code);
            sum += *slot;
        }
    }
    if sum > 0.0 {
        for slot in &mut row {
            *slot /= sum;
        }
    }
    row
}

/// The rows of an ask, decoded one by one.
fn decoded(table: &Table<'_>, ask: &AskRecord) -> impl Iterator<Item = Outcomes> {
    let live = ask.live;
    table
        .ask_rows(ask)
        .unwrap_or_default()
        .as_chunks::<CLASSES>()
        .0
        .iter()
        .map(move |codes| decode(codes, live))
}

/// The probability of each outcome of each row, the chance of a mistaken take included. Returns
/// how many rows there are.
pub(super) fn predict<const ROWS: usize>(
    table: &Table<'_>,
    ask: &AskRecord,
    out: &mut PerRow<Outcomes, ROWS>,
) {
    let flat = flat(ask.live);
    for (slot, row) in out.iter_mut().zip(decoded(table, ask)) {
        *slot = row;
        for (p, c) in slot.iter_mut().zip(0..) {
            if is_live(ask.live, c) {
                *p = (1.0 - MISTAKEN) * *p + MISTAKEN * flat;
            }
        }
    }
}

/// The probability of the evidence under each row if no take were mistaken.
pub(super) fn plain_likelihoods<const ROWS: usize>(
    table: &Table<'_>,
    ask: &AskRecord,
    evidence: &Outcomes,
) -> PerRow<f32, ROWS> {
    let mut out = [0.0; ROWS];
    for (slot, row) in out.iter_mut().zip(decoded(table, ask)) {
        *slot = row.iter().zip(evidence).map(|(p, e)| p * e).sum();
    }
    out
}

/// The probability of the evidence under each row, the chance of a mistaken take included: at
/// least that chance over the number of live outcomes.
///
/// # Errors
/// The evidence is not one that this ask can have.
pub(super) fn likelihoods<const ROWS: usize>(
    table: &Table<'_>,
    ask: &AskRecord,
    evidence: &Evidence,
) -> Result<PerRow<f32, ROWS>, EvidenceError> {
    let mistaken = evidence.mistaken();
    let floor = mistaken * flat(ask.live);
    let outcomes = evidence.outcomes(ask)?;
    let mut rows = plain_likelihoods(table, ask, &outcomes);
    for l in &mut rows {
        *l = (1.0 - mistaken) * *l + floor;
    }
    Ok(rows)
}

/// The value of a row.
pub(super) fn of_row<T: Copy + Default, const ROWS: usize>(values: &PerRow<T, ROWS>, row: u8) -> T {
    // Every cell names a row that its ask has: the table was checked, and the rows counted.
    values.get(usize::from(row)).copied().unwrap_or_default()
}

/// Base-2 logarithm of a positive normal number, within 2e-7 of max(1, |result|); about -127 for
/// zero, so that `x * log2(x)` is zero there as it should be.
///
/// The number is split into 2^e and m between sqrt(1/2) and sqrt(2); ln m = 2 artanh(s) with
/// s = (m - 1) / (m + 1), |s| < 0.172, as a series up to s^7 / 7. No branch, so that a loop over
/// lanes becomes vector code.
pub(super) fn log2(x: f32) -> f32 {
    const SQRT_HALF: u32 = 0x3f35_04f3;
    const TWO_OVER_LN_2: f32 = 2.0 * core::f32::consts::LOG2_E;
    let bits = x.to_bits();
    let e = (bits.wrapping_sub(SQRT_HALF) as i32) >> 23;
    let m = f32::from_bits(bits.wrapping_sub((e as u32) << 23));
    let s = (m - 1.0) / (m + 1.0);
    let z = s * s;
    let series = s * (1.0 + z * (1.0 / 3.0 + z * (1.0 / 5.0 + z * (1.0 / 7.0))));
    e as f32 + TWO_OVER_LN_2 * series
}

/// `x log2 x`, zero at zero.
pub(super) fn x_log2_x(x: f32) -> f32 {
    x * log2(x)
}

/// The sum of `x log2 x` over the lanes.
pub(super) fn sum_x_log2_x(lanes: &Outcomes) -> f32 {
    let mut terms = *lanes;
    for term in &mut terms {
        *term = x_log2_x(*term);
    }
    total(&terms)
}

/// The sum of the lanes, pair by pair.
pub(super) fn total(lanes: &Outcomes) -> f32 {
    let [a, b, c, d, e, f, g, h] = *lanes;
    ((a + e) + (c + g)) + ((b + f) + (d + h))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_logarithm_agrees_with_libm() {
        let mut x = 1e-37_f32;
        while x < 1e6 {
            let want = libm::log2(f64::from(x));
            let error = (f64::from(log2(x)) - want).abs() / want.abs().max(1.0);
            assert!(error < 2e-7, "log2({x}) is off by {error}");
            x *= 1.0173;
        }
        assert_eq!(x_log2_x(0.0), 0.0);
        assert_eq!(log2(1.0), 0.0);
    }
}
