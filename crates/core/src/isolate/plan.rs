//! The check to make next: the one that is expected to tell most per minute.
//!
//! **What an ask tells** is the mutual information, in bits, between the equivalence *group* of
//! the unit's fault and the outcome of the ask. The outcome's distribution under a group is mixed
//! over the group's samples by their weights: learning which sample the unit is like is not
//! counted, only what that says about the group. The chance of a mistaken take is included.
//!
//! **What it costs** is its own minutes and those of bringing the unit into the state it needs.
//! A change of state serves the asks after it too, so a state is rated by the best few asks that
//! it allows, together: the best over k = 1…[`TOGETHER`] of
//!
//! ```text
//! min(H, g1 + D g2 + D² g3 + …) / (change + m1 + m2 + m3 + …)
//! ```
//!
//! with the asks in falling order of g / m (bits per minute by themselves), H the entropy of the
//! groups, and D = [`DISCOUNT`] because asks tell partly the same. The state with the best rate
//! wins, and of its asks the first. Of equals, the state under less power, with less lifted.

use super::ask::{ANY_LIFTED, AskRecord, Cooled, PowerNeed};
use super::belief::{Belief, TooSmall};
use super::rows::{LANES, Outcomes, PerRow, of_row, predict, sum_x_log2_x, total, x_log2_x};
use super::table::Table;

/// An ask that is expected to tell less than this, in bits, is not asked.
pub const GAIN_FLOOR: f32 = 0.001;

/// How many asks share the cost of a change of state.
pub const TOGETHER: usize = 4;

/// What each further ask in a state is worth against the one before.
pub const DISCOUNT: f32 = 0.5;

/// Hypotheses that together hold at most this share of the posterior are left out of account when
/// asks are compared.
const LEFT_OUT: f32 = 1e-4;

/// The least time any ask takes, in minutes: guards the division.
pub(super) const LEAST_MINUTES: f32 = 0.1;

/// The state of the unit, as far as asks depend on it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct State {
    /// Under power.
    pub on: bool,
    /// Which set of wire ends is lifted, a number of the table's lifts; 0 is none.
    pub lifted: u8,
    /// The motors had time to cool since they were last under power. Under power: they were just
    /// started from cold, and what stalls has not yet opened its overload.
    pub cooled: bool,
}

/// The ask to make next.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Choice {
    /// Its number.
    pub ask: u16,
    /// The state to bring the unit into for it.
    pub state: State,
    /// What it is expected to tell, in bits.
    pub bits: f32,
    /// What it takes, in minutes, the change of state included.
    pub minutes: f32,
    /// The rate it was chosen by: that of its state's best asks together.
    pub bits_per_minute: f32,
}

/// What the planner notes of one ask: workspace.
#[derive(Debug, Clone, Copy, Default)]
pub struct Prospect {
    /// What it is expected to tell, bits; before a finding what it is expected to save, minutes.
    worth: f32,
    tenths: u16,
    lifted: u8,
    /// In which states of power and heat it can be made: [`heat_and_power`]. None until noted.
    fits: u8,
}

impl Active {
    /// Nothing noted.
    pub const NONE: Active = Active {
        mass: 0.0,
        hypothesis: 0,
        ends_group: false,
        is_group: false,
    };
}

/// What the planner notes of one hypothesis: workspace.
#[derive(Debug, Clone, Copy, Default)]
pub struct Active {
    pub(super) mass: f32,
    hypothesis: u16,
    ends_group: bool,
    is_group: bool,
}

impl Prospect {
    /// Nothing noted.
    pub const NONE: Prospect = Prospect {
        worth: 0.0,
        tenths: 0,
        lifted: 0,
        fits: 0,
    };

    fn of(worth: f32, ask: &AskRecord) -> Self {
        let power = match ask.power {
            PowerNeed::Off => 0b0101,
            PowerNeed::On => 0b1010,
            PowerNeed::Any => 0b1111,
        };
        let heat = match ask.cooled {
            Cooled::AsFound => 0b0011,
            Cooled::Cooled => 0b1100,
            Cooled::Any => 0b1111,
        };
        Prospect {
            worth,
            tenths: ask.tenths,
            lifted: ask.lifted,
            fits: power & heat,
        }
    }

    fn minutes(&self) -> f32 {
        (f32::from(self.tenths) / 10.0).max(LEAST_MINUTES)
    }

    fn rate(&self) -> f32 {
        self.worth / self.minutes()
    }

    fn fits(&self, state: State) -> bool {
        self.fits & heat_and_power(state) != 0
            && (self.lifted == ANY_LIFTED || self.lifted == state.lifted)
    }
}

/// The bit of a state's power and heat: off, on, off and cooled, on and cooled.
const fn heat_and_power(state: State) -> u8 {
    match (state.cooled, state.on) {
        (false, false) => 1,
        (false, true) => 1 << 1,
        (true, false) => 1 << 2,
        (true, true) => 1 << 3,
    }
}

impl Table<'_> {
    /// The nearest state in which an ask can be made; none if motors that have cooled would have
    /// to be as found again with the power off. A start from cold brings back how they were found.
    #[must_use]
    pub fn reach(&self, now: State, ask: &AskRecord) -> Option<State> {
        let lifted = if ask.lifted == ANY_LIFTED {
            now.lifted
        } else {
            ask.lifted
        };
        let cooled = match ask.cooled {
            Cooled::AsFound if now.cooled && !now.on && ask.power != PowerNeed::On => return None,
            Cooled::AsFound => false,
            Cooled::Cooled => true,
            // Motors that were started do not stay cold when the power goes off.
            Cooled::Any => now.cooled && (!now.on || ask.power != PowerNeed::Off),
        };
        // Wire ends are lifted, and motors cool, with the power off.
        let warms = now.on && now.cooled && !cooled;
        let stays = lifted == now.lifted && (cooled == now.cooled || warms);
        let on = match ask.power {
            PowerNeed::Off => false,
            PowerNeed::On => true,
            PowerNeed::Any => now.on && stays,
        };
        Some(State { on, lifted, cooled })
    }

    /// The minutes from one state to another. Lifting and cooling take the power off first.
    #[must_use]
    pub fn change_minutes(&self, from: State, to: State) -> f32 {
        let lifts = from.lifted != to.lifted;
        let cools = to.cooled && (!from.cooled || (from.on && !to.on));
        let mut tenths = 0.0;
        if from.on && (!to.on || lifts || cools) {
            tenths += f32::from(self.power_off_tenths);
        }
        if lifts {
            for set in [from.lifted, to.lifted] {
                tenths += f32::from(self.lifted_tenths(set).unwrap_or(0));
            }
        }
        if cools {
            tenths += f32::from(self.cool_tenths);
        }
        if to.on && (!from.on || lifts || cools) {
            tenths += f32::from(self.power_on_tenths);
        }
        tenths / 10.0
    }
}

/// Chooses the next ask; owns no memory but its caller's.
#[derive(Debug)]
pub struct Planner<'w> {
    prospects: &'w mut [Prospect],
    pub(super) active: &'w mut [Active],
}

impl<'w> Planner<'w> {
    /// A planner for a table, with room for its asks ([`Table::ask_count`]) and its hypotheses.
    ///
    /// # Errors
    /// [`TooSmall`].
    pub fn new(
        table: &Table<'_>,
        prospects: &'w mut [Prospect],
        active: &'w mut [Active],
    ) -> Result<Self, TooSmall> {
        let asks = usize::from(table.ask_count());
        let hypotheses = usize::from(table.hypotheses);
        Ok(Planner {
            prospects: prospects.get_mut(..asks).ok_or(TooSmall)?,
            active: active.get_mut(..hypotheses).ok_or(TooSmall)?,
        })
    }

    /// The ask that is expected to tell most per minute, of those that `allowed` lets pass; none
    /// if none tells at least [`GAIN_FLOOR`].
    ///
    /// `allowed` keeps back what was answered, what was skipped and what a shut gate forbids.
    pub fn next<const ROWS: usize>(
        &mut self,
        belief: &Belief<'_, '_, ROWS>,
        now: State,
        allowed: &mut dyn FnMut(u16) -> bool,
    ) -> Option<Choice> {
        self.note_prospects(belief, allowed);
        let table = &belief.table;
        let (ask, bits_per_minute) = self.best(table, now, belief.entropy())?;
        let record = table.ask(ask)?;
        let state = table.reach(now, &record)?;
        Some(Choice {
            ask,
            state,
            bits: self.prospects.get(usize::from(ask))?.worth,
            minutes: table.change_minutes(now, state) + record.minutes(),
            bits_per_minute,
        })
    }

    /// The ask to make before the faults of this hypothesis are named, of those that were just
    /// noted: where the best few that a state allows are together expected to save more minutes of
    /// work, [`Belief::loss`], than they take.
    pub(super) fn worth_its_time<const ROWS: usize>(
        &mut self,
        belief: &Belief<'_, '_, ROWS>,
        hypothesis: u16,
        now: State,
    ) -> Option<Choice> {
        let table = &belief.table;
        let loss = belief.loss(hypothesis);
        for (a, prospect) in (0..).zip(self.prospects.iter_mut()) {
            if prospect.worth < GAIN_FLOOR {
                continue;
            }
            prospect.worth = match table.ask(a) {
                Some(ask) if prospect.minutes() < loss => {
                    loss - belief.loss_after(hypothesis, a, &ask, self.active)
                }
                _ => 0.0,
            };
        }
        let (ask, saved_per_minute) = self.best(table, now, loss)?;
        let record = table.ask(ask)?;
        let state = table.reach(now, &record)?;
        let minutes = table.change_minutes(now, state) + record.minutes();
        let bits = information(belief, ask, self.active)?;
        (saved_per_minute > 1.0).then_some(Choice {
            ask,
            state,
            bits,
            minutes,
            bits_per_minute: bits / minutes.max(LEAST_MINUTES),
        })
    }

    /// The state whose best asks have the highest rate together, with all of them worth `most`: the
    /// first of them, and the rate.
    fn best(&self, table: &Table<'_>, now: State, most: f32) -> Option<(u16, f32)> {
        let mut best: Option<(u16, f32)> = None;
        for on in [false, true] {
            for lifted in 0..=u8::MAX {
                if table.lifted_tenths(lifted).is_none() {
                    break;
                }
                for cooled in [false, true] {
                    let state = State { on, lifted, cooled };
                    // Only a start from cold brings back how they were found.
                    if now.cooled && !cooled && !now.on && !on {
                        continue;
                    }
                    let change = table.change_minutes(now, state);
                    let rated = self.rate(state, change, most);
                    if let Some((ask, rate)) = rated
                        && best.is_none_or(|(_, least)| rate > least)
                    {
                        best = Some((ask, rate));
                    }
                }
            }
        }
        best
    }

    /// What every allowed ask is expected to tell. By itself, so that its working memory is given
    /// back before asks are rated.
    #[inline(never)]
    fn note_prospects<const ROWS: usize>(
        &mut self,
        belief: &Belief<'_, '_, ROWS>,
        allowed: &mut dyn FnMut(u16) -> bool,
    ) {
        let active = note_active(belief, self.active);
        let mut scratch = Scratch::<ROWS>::new();
        for (a, prospect) in (0..).zip(self.prospects.iter_mut()) {
            *prospect = Prospect::default();
            if !allowed(a) {
                continue;
            }
            if let Some(ask) = belief.table.ask(a) {
                *prospect = Prospect::of(scratch.gain(belief, active, a, &ask), &ask);
            }
        }
    }

    /// The first ask to make in a state and the rate of its best asks together.
    fn rate(&self, state: State, change: f32, most: f32) -> Option<(u16, f32)> {
        let mut ranked: heapless::Vec<(u16, Prospect), TOGETHER> = heapless::Vec::new();
        for (a, prospect) in (0..).zip(self.prospects.iter()) {
            if prospect.worth < GAIN_FLOOR || !prospect.fits(state) {
                continue;
            }
            let mut item = (a, *prospect);
            for slot in &mut ranked {
                if item.1.rate() > slot.1.rate() {
                    core::mem::swap(slot, &mut item);
                }
            }
            // A full list drops its least.
            let _ = ranked.push(item);
        }
        let (mut sum, mut minutes, mut share, mut best) = (0.0, change, 1.0, 0.0_f32);
        for (_, prospect) in &ranked {
            sum += share * prospect.worth;
            minutes += prospect.minutes();
            share *= DISCOUNT;
            best = best.max(sum.min(most) / minutes);
        }
        ranked.first().map(|(ask, _)| (*ask, best))
    }
}

/// Expected information of one ask, in bits, about the equivalence group.
///
/// Exact up to rounding and to hypotheses that hold next to nothing of the posterior.
#[must_use]
pub fn information<const ROWS: usize>(
    belief: &Belief<'_, '_, ROWS>,
    ask: u16,
    active: &mut [Active],
) -> Option<f32> {
    let record = belief.table.ask(ask)?;
    let active = note_active(belief, active);
    Some(Scratch::<ROWS>::new().gain(belief, active, ask, &record))
}

/// Lists the hypotheses that are worth counting, group by group.
fn note_active<'a, const ROWS: usize>(
    belief: &Belief<'_, '_, ROWS>,
    room: &'a mut [Active],
) -> &'a [Active] {
    let table = &belief.table;
    let floor = LEFT_OUT / f32::from(table.hypotheses);
    let mut listed = 0_usize;
    let mut slots = room.iter_mut();
    let mut last: Option<(&mut Active, u16)> = None;
    for (h, mass) in (0..table.hypotheses).zip(belief.posteriors()) {
        if mass < floor {
            continue;
        }
        let Some(slot) = slots.next() else { break };
        let group = table.group(h);
        let begins = last.as_ref().is_none_or(|(_, before)| *before != group);
        if let Some((before, its_group)) = last {
            before.ends_group = group != its_group;
            before.is_group &= before.ends_group;
        }
        *slot = Active {
            mass,
            hypothesis: h,
            ends_group: true,
            is_group: begins,
        };
        last = Some((slot, group));
        listed = listed.saturating_add(1);
    }
    room.get(..listed).unwrap_or_default()
}

/// Working memory on the stack, 40 bytes a row, filled anew for each ask.
struct Scratch<const ROWS: usize> {
    /// The distribution of the outcome under each row.
    rows: PerRow<Outcomes, ROWS>,
    /// The posterior mass of groups that lie wholly on one row, in two parts: neighbours that
    /// share a row, as most do, need not wait for each other's sum.
    mass: PerRow<[f32; 2], ROWS>,
}

impl<const ROWS: usize> Scratch<ROWS> {
    fn new() -> Self {
        Scratch {
            rows: [[0.0; LANES]; ROWS],
            mass: [[0.0; 2]; ROWS],
        }
    }

    /// I(G; C) = sum over groups of (sum over c of x log x - m log m) less the same for the
    /// whole, with x the joint mass of group and outcome and m that of the group. A group whose
    /// samples all lie on one row needs no logarithm of its own.
    fn gain(
        &mut self,
        belief: &Belief<'_, '_, ROWS>,
        active: &[Active],
        a: u16,
        ask: &AskRecord,
    ) -> f32 {
        predict(&belief.table, ask, &mut self.rows);
        self.mass.fill([0.0; 2]);
        let samples = usize::from(belief.table.samples);
        let cells = belief.table.ask_cells(a);
        let mut whole = [0.0; LANES];
        let mut within = 0.0;
        let mut group = Group::default();
        // The common case first, as short as it can be: a group of one hypothesis whose eight
        // samples lie on one row.
        let eights = if samples == 8 {
            cells.as_chunks::<8>().0
        } else {
            &[]
        };
        for entry in active {
            if entry.is_group
                && let Some(eight) = eights.get(usize::from(entry.hypothesis))
                && let Some(row) = one_row(eight)
            {
                self.add_mass(row, entry.hypothesis, entry.mass);
                continue;
            }
            let start = usize::from(entry.hypothesis).wrapping_mul(samples);
            let range = start..start.wrapping_add(samples);
            let (Some(cells), Some(weights)) =
                (cells.get(range.clone()), belief.weights.get(range))
            else {
                continue;
            };
            let row = one_row(cells);
            self.add(&mut group, entry, row, cells, weights);
            if entry.ends_group {
                if let Some(row) = group.row {
                    self.add_mass(row, entry.hypothesis, group.mass);
                } else {
                    let m = total(&group.joint);
                    within += sum_x_log2_x(&group.joint) - x_log2_x(m);
                    add_scaled(&mut whole, &group.joint, 1.0);
                }
                group = Group::default();
            }
        }
        for (row, [even, odd]) in self.rows.iter().zip(self.mass).take(usize::from(ask.rows)) {
            let mass = even + odd;
            if mass > 0.0 {
                within += mass * sum_x_log2_x(row);
                add_scaled(&mut whole, row, mass);
            }
        }
        let all = total(&whole);
        (within - (sum_x_log2_x(&whole) - x_log2_x(all))).max(0.0)
    }

    /// Adds a hypothesis to its group.
    fn add(
        &self,
        group: &mut Group,
        entry: &Active,
        row: Option<u8>,
        cells: &[u8],
        weights: &[f32],
    ) {
        if let Some(row) = row
            && (group.empty || group.row == Some(row))
        {
            group.row = Some(row);
            group.mass += entry.mass;
            group.empty = false;
            return;
        }
        if let Some(row) = group.row.take() {
            add_scaled(&mut group.joint, &of_row(&self.rows, row), group.mass);
        }
        group.empty = false;
        for (weight, row) in weights.iter().zip(cells) {
            add_scaled(&mut group.joint, &of_row(&self.rows, *row), *weight);
        }
    }

    /// Adds mass to a row, in the part that the hypothesis falls to.
    fn add_mass(&mut self, row: u8, hypothesis: u16, mass: f32) {
        let parts = self.mass.get_mut(usize::from(row));
        if let Some(slot) = parts.and_then(|p| p.get_mut(usize::from(hypothesis & 1))) {
            *slot += mass;
        }
    }
}

/// The row that all samples of a hypothesis lie on, if there is one. Eight samples are compared
/// at once.
fn one_row(cells: &[u8]) -> Option<u8> {
    match cells {
        [row] => Some(*row),
        &[a, b, c, d, e, f, g, h] => {
            let all = u64::from_le_bytes([a, b, c, d, e, f, g, h]);
            (all == u64::from_le_bytes([a; 8])).then_some(a)
        }
        [first, rest @ ..] => rest.iter().all(|row| row == first).then_some(*first),
        [] => None,
    }
}

/// A group as it is gathered: mass on one row for as long as that holds, then lanes.
struct Group {
    empty: bool,
    row: Option<u8>,
    mass: f32,
    joint: Outcomes,
}

impl Default for Group {
    fn default() -> Self {
        Group {
            empty: true,
            row: None,
            mass: 0.0,
            joint: [0.0; LANES],
        }
    }
}

fn add_scaled(sum: &mut Outcomes, row: &Outcomes, weight: f32) {
    for (slot, p) in sum.iter_mut().zip(row) {
        *slot += weight * p;
    }
}
