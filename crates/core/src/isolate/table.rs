//! The compiled table of a sheet, read where it lies.
//!
//! # Model
//! A **hypothesis** is a set of no, one or two faults. Hypothesis 0 is *no fault*; those of the
//! last group are *none of these*: units with something wrong that the sheet has no name for. Each
//! hypothesis carries the same number of **samples**: units drawn from what is unknown of the unit
//! (winding values, line volts…). A **row** gives a probability for each outcome of one ask; the
//! cell of (ask, hypothesis, sample) names one of the ask's rows.
//!
//! # Format, version 2
//! The postcard encoding of [`Table`]: varint integers, then each byte slice as its varint length
//! and its bytes. In the slices, numbers are little-endian and nothing is padded:
//!
//! | slice | entries | each |
//! |---|---|---|
//! | `priors` | H | f32: prior of the hypothesis, finite, not negative; need not sum to one |
//! | `sets` | H | two u16: fault numbers, 65535 where there is none; both none for the first and for those of the last group |
//! | `groups` | H | u16: number of the equivalence group: hypotheses that no ask tells apart. **They lie side by side:** the first is 0, each next one is the same or one more |
//! | `wrong` | F | u16: what it costs to replace what has not this fault, in minutes of work |
//! | `asks` | A | [`ASK_BYTES`] bytes, see [`ask`](super::ask) |
//! | `lifts` | 1 to 255 | u16: minutes, in tenths, to lift the set from nothing lifted, and as many to put it back; the first is *nothing lifted*, 0 |
//! | `rows` | all rows of ask 0, of ask 1… | [`CLASSES`] bytes: for each outcome its [`to_byte`] code. A measurement's outcomes are the classes in their order; a look's are no, yes. Bytes of outcomes that are not live are 255 |
//! | `cells` | A·H·S | u8: row number within the ask; hypothesis by hypothesis, its samples side by side |
//!
//! Rows are made to sum to one over the live outcomes when they are read, so that rounding in the
//! codes does not favour a hypothesis.
//!
//! Whether the bytes arrived whole is the carrier's to check; [`Table::parse`] checks that they
//! are a table.

use serde::{Deserialize, Serialize};

use super::ask::{ANY_LIFTED, ASK_BYTES, AskRecord};
use crate::class::CLASSES;

/// The version of the format that this code writes and reads.
pub const VERSION: u16 = 2;

/// The fault number that stands for no fault.
pub const NO_FAULT: u16 = 0xFFFF;

/// Codes per factor e: code `b` stands for the probability exp(-b / 20), so a code is within
/// 2.5 % of what it stands for, down to 3 in a million.
const CODES_PER_E: f32 = 20.0;

/// The code of a probability: round(-20 ln p), and 255 for everything under exp(-12.725).
#[must_use]
pub fn to_byte(p: f32) -> u8 {
    if !p.is_finite() || p <= 0.0 {
        return u8::MAX;
    }
    let code = libm::roundf(-CODES_PER_E * libm::logf(p));
    // A float cast saturates.
    code as u8
}

/// The probability of every code: powers of exp(-1 / 20), the last zero.
static PROBABILITY: [f32; 256] = {
    // exp(-0.05) by its series; the next term is below 1e-17.
    let x = -1.0 / CODES_PER_E as f64;
    let (mut factor, mut term, mut n) = (1.0, 1.0, 1);
    while n < 10 {
        term *= x / n as f64;
        factor += term;
        n += 1;
    }
    let mut table = [0.0; 256];
    let (mut p, mut code) = (1.0, 0);
    while code < 255 {
        table[code] = p as f32;
        p *= factor;
        code += 1;
    }
    table
};

/// The probability of a code; 255 stands for zero.
#[must_use]
pub fn from_byte(code: u8) -> f32 {
    // A byte always finds one of the 256.
    PROBABILITY
        .get(usize::from(code))
        .copied()
        .unwrap_or_default()
}

/// A compiled table. A host builds it field by field and calls [`Table::encode`]; everyone else
/// gets it from [`Table::parse`].
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Table<'a> {
    /// [`VERSION`].
    pub version: u16,
    /// BLAKE3 hash of the sheet's text.
    pub sheet_hash: [u8; 32],
    /// H, how many hypotheses: at least two.
    pub hypotheses: u16,
    /// S, how many samples each hypothesis has: at least one.
    pub samples: u8,
    /// How many faults the sheet knows.
    pub faults: u16,
    /// Minutes, in tenths, to open the breaker, lock it and prove the unit dead and discharged.
    pub power_off_tenths: u16,
    /// Minutes, in tenths, to make ready, take the lock off and close the breaker.
    pub power_on_tenths: u16,
    /// What it costs, in tenths of a minute of work, to wait until the motors are cold.
    pub cool_tenths: u16,
    /// What a fault costs that is there and was not named, in minutes of work: the second visit.
    pub callback_minutes: u16,
    /// Prior of each hypothesis.
    #[serde(borrow)]
    pub priors: &'a [u8],
    /// The faults of each hypothesis.
    pub sets: &'a [u8],
    /// The equivalence group of each hypothesis.
    pub groups: &'a [u8],
    /// What it costs to name each fault where it is not, in minutes of work.
    pub wrong: &'a [u8],
    /// The asks.
    pub asks: &'a [u8],
    /// Minutes for each set of lifted wire ends.
    pub lifts: &'a [u8],
    /// The rows of every ask.
    pub rows: &'a [u8],
    /// The row of every (ask, hypothesis, sample).
    pub cells: &'a [u8],
}

/// Why bytes are not a table. The table must be compiled or sent again.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum TableError {
    /// The bytes end early or are no postcard encoding of a table.
    Malformed,
    /// Bytes follow the table.
    Trailing,
    /// Written in this other version of the format.
    Version(u16),
    /// Fewer than two hypotheses, or no sample.
    Empty,
    /// This slice has not the length that the header calls for.
    Length(&'static str),
    /// The prior of this hypothesis is negative or no number, or all are zero.
    Prior(u16),
    /// The fault set of this hypothesis is not one the format allows.
    Set(u16),
    /// The group of this hypothesis is neither that of the one before it nor the next.
    Group(u16),
    /// The first lifted set takes time, though nothing is lifted in it.
    Lifts,
    /// The record of this ask holds an unknown code, or names rows or lifted sets that are not there.
    Ask(u16),
    /// A row of this ask gives no live outcome a probability.
    Row(u16),
    /// A cell of this ask names a row that it does not have.
    Cell(u16),
    /// The room given is too small to encode into.
    Room,
}

impl core::fmt::Display for TableError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            TableError::Malformed => f.write_str("the table ends early or is no table"),
            TableError::Trailing => f.write_str("bytes follow the end of the table"),
            TableError::Version(found) => write!(
                f,
                "the table has format version {found}, this program reads {VERSION}: compile the sheet again"
            ),
            TableError::Empty => f.write_str("the table has no hypotheses or no samples"),
            TableError::Length(slice) => {
                write!(
                    f,
                    "the table's {slice} have not the length its header calls for"
                )
            }
            TableError::Prior(h) => write!(f, "the prior of hypothesis {h} cannot be used"),
            TableError::Set(h) => write!(f, "the fault set of hypothesis {h} is not allowed"),
            TableError::Group(h) => write!(f, "the group of hypothesis {h} is out of order"),
            TableError::Lifts => f.write_str("lifting nothing must take no time"),
            TableError::Ask(a) => write!(f, "the record of ask {a} cannot be read"),
            TableError::Row(a) => write!(f, "ask {a} has a row without a live outcome"),
            TableError::Cell(a) => write!(f, "a cell of ask {a} names a row it does not have"),
            TableError::Room => f.write_str("the room to encode the table into is too small"),
        }
    }
}

impl core::error::Error for TableError {}

impl<'a> Table<'a> {
    /// Reads a table in place and checks every length, number and index in it once.
    ///
    /// # Errors
    /// What is wrong first, as a [`TableError`].
    pub fn parse(bytes: &'a [u8]) -> Result<Table<'a>, TableError> {
        let (table, rest) =
            postcard::take_from_bytes::<Table<'a>>(bytes).map_err(|_| TableError::Malformed)?;
        if !rest.is_empty() {
            return Err(TableError::Trailing);
        }
        table.check()?;
        Ok(table)
    }

    /// Writes the table to `out` and returns how many bytes it took, at most
    /// [`Table::encoded_room`].
    ///
    /// # Errors
    /// What is wrong with the table, or [`TableError::Room`].
    pub fn encode(&self, out: &mut [u8]) -> Result<usize, TableError> {
        self.check()?;
        let written = postcard::to_slice(self, out).map_err(|_| TableError::Room)?;
        Ok(written.len())
    }

    /// Room enough to encode this table into, in bytes.
    #[must_use]
    pub fn encoded_room(&self) -> usize {
        // At most 3 bytes for each small number, 32 for the hash, 5 for each length.
        const HEADER: usize = 8 * 3 + 32 + 8 * 5;
        [
            self.priors,
            self.sets,
            self.groups,
            self.wrong,
            self.asks,
            self.lifts,
            self.rows,
            self.cells,
        ]
        .iter()
        .fold(HEADER, |sum, slice| sum.saturating_add(slice.len()))
    }

    /// Checks every length, number and index.
    ///
    /// # Errors
    /// What is wrong first.
    pub fn check(&self) -> Result<(), TableError> {
        if self.version != VERSION {
            return Err(TableError::Version(self.version));
        }
        if self.hypotheses < 2 || self.samples == 0 {
            return Err(TableError::Empty);
        }
        self.check_lengths()?;
        self.check_hypotheses()?;
        if self.lifted_tenths(0) != Some(0) {
            return Err(TableError::Lifts);
        }
        for a in 0..self.ask_count() {
            self.check_ask(a)?;
        }
        Ok(())
    }

    fn check_lengths(&self) -> Result<(), TableError> {
        let h = usize::from(self.hypotheses);
        let exact = |slice: &[u8], entries: usize, each: usize, name| {
            if entries.checked_mul(each) == Some(slice.len()) {
                Ok(())
            } else {
                Err(TableError::Length(name))
            }
        };
        exact(self.priors, h, 4, "priors")?;
        exact(self.sets, h, 4, "sets")?;
        exact(self.groups, h, 2, "groups")?;
        exact(self.wrong, usize::from(self.faults), 2, "wrong")?;
        let asks = self.asks.len() / ASK_BYTES;
        if asks > usize::from(u16::MAX) {
            return Err(TableError::Length("asks"));
        }
        exact(self.asks, asks, ASK_BYTES, "asks")?;
        let lifts = self.lifts.len() / 2;
        if lifts == 0 || lifts > usize::from(ANY_LIFTED) {
            return Err(TableError::Length("lifts"));
        }
        exact(self.lifts, lifts, 2, "lifts")?;
        exact(self.rows, self.rows.len() / CLASSES, CLASSES, "rows")?;
        let width = h
            .checked_mul(usize::from(self.samples))
            .ok_or(TableError::Length("cells"))?;
        exact(self.cells, asks, width, "cells")
    }

    fn check_hypotheses(&self) -> Result<(), TableError> {
        let last = self.hypotheses.saturating_sub(1);
        let mut mass = 0.0_f32;
        let mut group = 0;
        for h in 0..self.hypotheses {
            let prior = self.prior(h);
            if !prior.is_finite() || prior < 0.0 {
                return Err(TableError::Prior(h));
            }
            mass += prior;
            let next = self.group(h);
            let step = next.checked_sub(group);
            if step != Some(0) && (step != Some(1) || h == 0) {
                return Err(TableError::Group(h));
            }
            group = next;
        }
        for h in 0..self.hypotheses {
            let [first, second] = self.set(h);
            let known = |fault| fault == NO_FAULT || fault < self.faults;
            let ordered = first != NO_FAULT || second == NO_FAULT;
            let twice = first == second && first != NO_FAULT;
            let reserved = (h == 0 || self.is_none_of_these(h)) && first != NO_FAULT;
            if !known(first) || !known(second) || !ordered || twice || reserved {
                return Err(TableError::Set(h));
            }
        }
        if mass.is_finite() && mass > f32::MIN_POSITIVE {
            Ok(())
        } else {
            Err(TableError::Prior(last))
        }
    }

    fn check_ask(&self, a: u16) -> Result<(), TableError> {
        let ask = self.ask(a).ok_or(TableError::Ask(a))?;
        let live_classes = (1_u8 << CLASSES) - 1;
        let lifted = ask.lifted == ANY_LIFTED || self.lifted_tenths(ask.lifted).is_some();
        if !lifted || ask.live == 0 || ask.live & !live_classes != 0 || ask.rows > 256 {
            return Err(TableError::Ask(a));
        }
        let rows = self.ask_rows(&ask).ok_or(TableError::Ask(a))?;
        let dead = |row: &[u8; CLASSES]| {
            row.iter()
                .zip(0..)
                .all(|(code, c)| *code == u8::MAX || ask.live & (1 << c) == 0)
        };
        if rows.is_empty() {
            return Err(TableError::Ask(a));
        }
        if rows.as_chunks().0.iter().any(dead) {
            return Err(TableError::Row(a));
        }
        let highest = self
            .ask_cells(a)
            .iter()
            .fold(0, |max: u8, cell| max.max(*cell));
        if u16::from(highest) < ask.rows {
            Ok(())
        } else {
            Err(TableError::Cell(a))
        }
    }

    /// How many asks there are.
    #[must_use]
    pub fn ask_count(&self) -> u16 {
        u16::try_from(self.asks.len() / ASK_BYTES).unwrap_or(u16::MAX)
    }

    /// How many groups there are.
    #[must_use]
    pub fn group_count(&self) -> u16 {
        self.group(self.hypotheses.saturating_sub(1))
            .saturating_add(1)
    }

    /// Whether a hypothesis holds all of these faults, by themselves or with another. Of no faults:
    /// whether it is *no fault*.
    #[must_use]
    pub fn holds(&self, h: u16, faults: [u16; 2]) -> bool {
        let set = self.set(h);
        if faults == [NO_FAULT; 2] {
            return set == faults && !self.is_none_of_these(h);
        }
        faults.iter().all(|f| *f == NO_FAULT || set.contains(f))
    }

    /// Whether a hypothesis stands for *none of these*: whether it is of the last group.
    #[must_use]
    pub fn is_none_of_these(&self, h: u16) -> bool {
        self.group(h) == self.group(self.hypotheses.saturating_sub(1))
    }

    /// What it costs to name this fault where it is not, in minutes of work; zero if there is no
    /// such fault.
    #[must_use]
    pub fn wrong_minutes(&self, fault: u16) -> u16 {
        part(self.wrong, usize::from(fault), 2)
            .and_then(|b| b.first_chunk())
            .map_or(0, |b| u16::from_le_bytes(*b))
    }

    /// The ask of that number.
    #[must_use]
    pub fn ask(&self, a: u16) -> Option<AskRecord> {
        AskRecord::decode(part(self.asks, usize::from(a), ASK_BYTES)?)
    }

    /// The prior of a hypothesis as it is in the table; zero if there is no such hypothesis.
    #[must_use]
    pub fn prior(&self, h: u16) -> f32 {
        let bytes = part(self.priors, usize::from(h), 4).and_then(|b| b.first_chunk());
        bytes.map_or(0.0, |b| f32::from_le_bytes(*b))
    }

    /// The faults of a hypothesis, [`NO_FAULT`] where there is none.
    #[must_use]
    pub fn set(&self, h: u16) -> [u16; 2] {
        match part(self.sets, usize::from(h), 4) {
            Some(&[a, b, c, d]) => [u16::from_le_bytes([a, b]), u16::from_le_bytes([c, d])],
            _ => [NO_FAULT; 2],
        }
    }

    /// The faults of a hypothesis, one by one.
    pub fn faults_of(&self, h: u16) -> impl Iterator<Item = u16> + use<> {
        self.set(h).into_iter().filter(|fault| *fault != NO_FAULT)
    }

    /// The equivalence group of a hypothesis.
    #[must_use]
    pub fn group(&self, h: u16) -> u16 {
        part(self.groups, usize::from(h), 2)
            .and_then(|b| b.first_chunk())
            .map_or(0, |b| u16::from_le_bytes(*b))
    }

    /// Minutes, in tenths, to lift this set from nothing lifted.
    #[must_use]
    pub fn lifted_tenths(&self, set: u8) -> Option<u16> {
        let bytes = part(self.lifts, usize::from(set), 2)?.first_chunk()?;
        Some(u16::from_le_bytes(*bytes))
    }

    /// The codes of an ask's rows, [`CLASSES`] bytes each.
    #[must_use]
    pub fn ask_rows(&self, ask: &AskRecord) -> Option<&'a [u8]> {
        let start = usize::try_from(ask.first_row).ok()?.checked_mul(CLASSES)?;
        let end = start.checked_add(usize::from(ask.rows).checked_mul(CLASSES)?)?;
        self.rows.get(start..end)
    }

    /// The cells of an ask: the row number of every sample of every hypothesis. Empty if there is
    /// no such ask.
    #[must_use]
    pub fn ask_cells(&self, a: u16) -> &'a [u8] {
        let width = usize::from(self.hypotheses).wrapping_mul(usize::from(self.samples));
        part(self.cells, usize::from(a), width).unwrap_or_default()
    }
}

/// The `i`th part of `each` bytes.
fn part(slice: &[u8], i: usize, each: usize) -> Option<&[u8]> {
    let start = i.checked_mul(each)?;
    slice.get(start..start.checked_add(each)?)
}

/// A slice in parts of `each`, the last one left out if it is short. `slice::chunks_exact` would
/// do but for its division, which can panic where the compiler does not see that `each` is not 0.
pub(super) fn parts<T>(slice: &[T], each: u8) -> impl Iterator<Item = &[T]> {
    let each = usize::from(each).max(1);
    let mut rest = slice;
    core::iter::from_fn(move || {
        let (part, after) = rest.split_at_checked(each)?;
        rest = after;
        Some(part)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_stand_for_their_probabilities() {
        for code in 0..255_u8 {
            let want = libm::exp(-f64::from(code) / 20.0);
            assert!(
                (f64::from(from_byte(code)) / want - 1.0).abs() < 1e-6,
                "{code}"
            );
            assert_eq!(to_byte(from_byte(code)), code);
        }
        assert_eq!(from_byte(255), 0.0);
        for (p, code) in [
            (0.0, 255),
            (f32::NAN, 255),
            (-1.0, 255),
            (1e-9, 255),
            (1.0, 0),
            (1.5, 0),
        ] {
            assert_eq!(to_byte(p), code, "{p}");
        }
    }
}
