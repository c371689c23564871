//! What it is expected to cost to act on a hypothesis now.
//!
//! Every cost is in minutes of work, so that it stands beside the minutes of a check: the table's
//! `wrong` for a part that is replaced and was good, its `callback_minutes` for a fault that is
//! there and was not named.

use super::ask::AskRecord;
use super::belief::Belief;
use super::plan::Active;
use super::rows::{LANES, Outcomes, PerRow, of_row, predict};
use super::table::{NO_FAULT, Table, parts};

/// What it costs to name the faults of hypothesis `h` where it is `other`, in minutes of work.
fn cost(table: &Table<'_>, h: u16, other: u16) -> f32 {
    if table.group(other) == table.group(h) {
        return 0.0;
    }
    let (named, there) = (table.set(h), table.set(other));
    let lacks = |set: [u16; 2], fault: u16| fault != NO_FAULT && !set.contains(&fault);
    let wrong: f32 = named
        .iter()
        .filter(|f| lacks(there, **f))
        .map(|f| f32::from(table.wrong_minutes(*f)))
        .sum();
    let missed = table.is_none_of_these(other) || there.iter().any(|f| lacks(named, *f));
    let callback = if missed {
        f32::from(table.callback_minutes)
    } else {
        0.0
    };
    wrong + callback
}

impl<const ROWS: usize> Belief<'_, '_, ROWS> {
    /// The expected cost, in minutes of work, of naming the faults of this hypothesis now: for
    /// every other one, by its probability, each fault that is named and not there, and once if
    /// there is one that is not named. What no ask tells from it costs nothing: no ask could
    /// save it. Under *none of these* whatever is named is wrong.
    #[must_use]
    pub fn loss(&self, h: u16) -> f32 {
        let all = (0..self.table.hypotheses).zip(self.posteriors());
        all.map(|(other, p)| p * cost(&self.table, h, other)).sum()
    }

    /// The expected cost, in minutes of work, of what would be named after this ask: under each of
    /// its outcomes the leading group, or the faults of `h` where that costs less.
    ///
    /// `room` is working memory, a slot for each hypothesis.
    pub(super) fn loss_after(
        &self,
        h: u16,
        ask: u16,
        record: &AskRecord,
        room: &mut [Active],
    ) -> f32 {
        let mut rows: PerRow<Outcomes, ROWS> = [[0.0; LANES]; ROWS];
        predict(&self.table, record, &mut rows);
        let samples = self.table.samples;
        let mut expected = 0.0;
        for outcome in 0..LANES {
            let cells = parts(self.table.ask_cells(ask), samples);
            let weights = parts(self.weights, samples);
            for ((slot, weights), cells) in room.iter_mut().zip(weights).zip(cells) {
                let of = |row: &u8| of_row(&rows, *row).get(outcome).copied().unwrap_or(0.0);
                slot.mass = weights.iter().zip(cells).map(|(w, row)| w * of(row)).sum();
            }
            let Some(lead) = leading(&self.table, room) else {
                continue;
            };
            let loss = |h: u16| -> f32 {
                let all = (0..self.table.hypotheses).zip(room.iter());
                all.map(|(other, slot)| slot.mass * cost(&self.table, h, other))
                    .sum()
            };
            expected += loss(lead).min(loss(h));
        }
        expected
    }
}

/// The most probable hypothesis of the group that holds most; none if nothing holds anything.
fn leading(table: &Table<'_>, room: &[Active]) -> Option<u16> {
    let (mut best, mut most) = (None, 0.0);
    let (mut group, mut sum, mut highest, mut first) = (0, 0.0, 0.0, 0);
    for (h, slot) in (0..table.hypotheses).zip(room) {
        if h == 0 || table.group(h) != group {
            (group, sum, highest, first) = (table.group(h), 0.0, 0.0, h);
        }
        sum += slot.mass;
        if slot.mass > highest {
            (highest, first) = (slot.mass, h);
        }
        if sum > most {
            (most, best) = (sum, Some(first));
        }
    }
    best
}
