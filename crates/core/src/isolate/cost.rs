//! What it is expected to cost to act on a hypothesis now.
//!
//! Every cost is in minutes of work, so that it stands beside the minutes of a check: the table's
//! `wrong` for a part that is replaced and was good, its `callback_minutes` for a fault that is
//! there and was not named.

use super::belief::Belief;
use super::table::NO_FAULT;

impl<const ROWS: usize> Belief<'_, '_, ROWS> {
    /// The expected cost, in minutes of work, of naming the faults of this hypothesis now: for
    /// every other one, by its probability, each fault that is named and not there, and once if
    /// there is one that is not named. What no ask tells from it costs nothing: no ask could
    /// save it. Under *none of these* whatever is named is wrong.
    #[must_use]
    pub fn loss(&self, h: u16) -> f32 {
        let table = &self.table;
        let named = table.set(h);
        let group = table.group(h);
        let mut minutes = 0.0;
        for (other, p) in (0..table.hypotheses).zip(self.posteriors()) {
            if table.group(other) == group {
                continue;
            }
            let there = table.set(other);
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
            minutes += p * (wrong + callback);
        }
        minutes
    }
}
