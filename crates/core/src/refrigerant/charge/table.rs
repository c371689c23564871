//! The drawn units as a table that the isolation reads: see [`crate::isolate::table`].

use super::{ASKS, FEATURES, Feature, HYPOTHESES, LOOKS, Look, samples};
use crate::class::{CLASSES, Class};
use crate::isolate::ask::{ASK_BYTES, LOOK_LIVE, NO_POINT};
use crate::isolate::table::{NO_FAULT, Table, VERSION, to_byte};
use crate::isolate::{AskRecord, Cooled, Kind, PowerNeed};
use crate::reading::Function;
use crate::refrigerant::Metering;
use crate::verdict::Bands;

/// Units of each kind.
pub(super) const SAMPLES: usize = 32;
/// Kinds that were drawn: *no fault*, and each fault.
const DRAWN: usize = HYPOTHESES - 1;
/// The step of the samples, kelvins, and how many of them there are on each side of nought.
const STEP: f64 = 0.5;
const FURTHEST: i8 = 24;
/// Rows of a quantity: one for each step, and the last for *none of these*, which says nothing.
const GRID: usize = 2 * FURTHEST as usize + 1;
const QUANTITY_ROWS: usize = GRID + 1;
/// Rows of a look: where its fault is, where it is not, and *none of these*.
const LOOK_ROWS: usize = 3;
const ROWS: usize = FEATURES * QUANTITY_ROWS + LOOKS * LOOK_ROWS;
const WIDTH: usize = HYPOTHESES * SAMPLES;
/// Very low, low, within, high, very high: [`Class::Absent`] to [`Class::Open`].
const LIVE: u8 = 0b1_1111;

/// Weights that a belief over such a table needs.
pub const WEIGHTS: usize = WIDTH;
/// Rows that a belief over such a table needs room for.
pub const MOST_ROWS: usize = QUANTITY_ROWS;

/// How probable each is beforehand, *no fault* first and *none of these* last, on a call for poor cooling.
pub(super) const PRIORS: [f32; HYPOTHESES] =
    [0.20, 0.24, 0.08, 0.05, 0.03, 0.20, 0.13, 0.03, 0.02, 0.02];
/// What naming a fault where it is not costs, and one that was missed, in minutes of work.
const WRONG: [u16; HYPOTHESES - 2] = [60, 60, 240, 180, 30, 40, 180, 480];
const CALLBACK: u16 = 180;

/// What was drawn for one kind of metering.
#[derive(Debug)]
pub(super) struct Samples {
    /// What is expected of each quantity: a constant, and slopes by outdoor air from 25 degrees Celsius, wet
    /// bulb from 17, indoor air from 25, and the air's pressure from that at the sea, as a share.
    pub expected: [[f64; 5]; FEATURES],
    /// Standard deviation of units that run well about that, kelvins.
    pub spread: [f64; FEATURES],
    /// How far each unit is from what is expected, in half kelvins: its quantities side by side.
    pub units: [[i8; SAMPLES * FEATURES]; DRAWN],
}

impl Samples {
    pub(super) const fn of(metering: Metering) -> &'static Samples {
        match metering {
            Metering::FixedOrifice => &samples::FIXED_ORIFICE,
            Metering::ExpansionValve => &samples::EXPANSION_VALVE,
        }
    }
}

/// Room to make a table in.
#[derive(Debug, Clone)]
pub struct Room {
    priors: [u8; HYPOTHESES * 4],
    sets: [u8; HYPOTHESES * 4],
    groups: [u8; HYPOTHESES * 2],
    wrong: [u8; (HYPOTHESES - 2) * 2],
    asks: [u8; ASKS * ASK_BYTES],
    rows: [u8; ROWS * CLASSES],
    cells: [u8; ASKS * WIDTH],
}

impl Default for Room {
    fn default() -> Self {
        Room::new()
    }
}

impl Room {
    /// Empty room.
    #[must_use]
    pub const fn new() -> Self {
        Room {
            priors: [0; HYPOTHESES * 4],
            sets: [0; HYPOTHESES * 4],
            groups: [0; HYPOTHESES * 2],
            wrong: [0; (HYPOTHESES - 2) * 2],
            asks: [0; ASKS * ASK_BYTES],
            rows: [u8::MAX; ROWS * CLASSES],
            cells: [0; ASKS * WIDTH],
        }
    }

    /// The table for this kind of metering: its first asks are the [`Feature`]s, the others the [`Look`]s.
    pub fn table(&mut self, metering: Metering) -> Table<'_> {
        self.hypotheses();
        self.rows(metering);
        self.cells(Samples::of(metering));
        Table {
            version: VERSION,
            sheet_hash: [0; 32],
            hypotheses: HYPOTHESES as u16,
            samples: SAMPLES as u8,
            faults: (HYPOTHESES - 2) as u16,
            power_off_tenths: 20,
            power_on_tenths: 20,
            cool_tenths: 0,
            callback_minutes: CALLBACK,
            priors: &self.priors,
            sets: &self.sets,
            groups: &self.groups,
            wrong: &self.wrong,
            asks: &self.asks,
            lifts: &[0, 0],
            rows: &self.rows,
            cells: &self.cells,
        }
    }

    fn hypotheses(&mut self) {
        fill(
            &mut self.priors,
            PRIORS.into_iter().flat_map(f32::to_le_bytes),
        );
        fill(
            &mut self.wrong,
            WRONG.into_iter().flat_map(u16::to_le_bytes),
        );
        let last = HYPOTHESES as u16 - 1;
        let first = |h: u16| if h == last { None } else { h.checked_sub(1) };
        let sets = (0..=last).flat_map(|h| [first(h).unwrap_or(NO_FAULT), NO_FAULT]);
        fill(&mut self.sets, sets.flat_map(u16::to_le_bytes));
        fill(&mut self.groups, (0..=last).flat_map(u16::to_le_bytes));
    }

    /// What each ask shows, and the rows that its units choose from.
    fn rows(&mut self, metering: Metering) {
        let mut records = self.asks.as_chunks_mut::<ASK_BYTES>().0.iter_mut();
        let mut rows = self.rows.as_chunks_mut::<CLASSES>().0.iter_mut();
        let mut first_row = 0;
        for feature in Feature::ALL {
            let bands = feature.bands(metering);
            if let Some(record) = records.next() {
                *record = measurement(feature, &bands, first_row).encode();
            }
            first_row += QUANTITY_ROWS as u32;
            for half in -FURTHEST..=FURTHEST {
                let likely = bands.judge(f64::from(half) * STEP, feature.blur());
                fill_row(&mut rows, likely.0);
            }
            fill_row(&mut rows, [1.0; CLASSES]);
        }
        for look in Look::ALL {
            if let Some(record) = records.next() {
                *record = question(look, first_row).encode();
            }
            first_row += LOOK_ROWS as u32;
            let [there, elsewhere] = look.yes();
            for yes in [there, elsewhere, 0.5 * (there + elsewhere)] {
                fill_row(&mut rows, [1.0 - yes, yes, 0.0, 0.0, 0.0, 0.0]);
            }
        }
    }

    /// Which row each unit of each hypothesis has.
    fn cells(&mut self, drawn: &Samples) {
        let mut asks = self.cells.as_chunks_mut::<WIDTH>().0.iter_mut();
        for (feature, ask) in Feature::ALL.into_iter().zip(asks.by_ref()) {
            let units = drawn.units.iter().flat_map(|units| {
                let quantities = units.as_chunks::<FEATURES>().0.iter();
                quantities.map(|q| q.get(feature as usize).copied().unwrap_or(0))
            });
            let rows = units.map(|half| half.saturating_add(FURTHEST).unsigned_abs());
            let none_of_these = core::iter::repeat_n(GRID as u8, SAMPLES);
            fill(ask, rows.chain(none_of_these));
        }
        for (look, ask) in Look::ALL.into_iter().zip(asks) {
            let last = HYPOTHESES - 1;
            let row = |h: usize| match h.checked_sub(1) {
                _ if h == last => 2,
                Some(fault) if fault == look.about() as usize => 0,
                _ => 1,
            };
            let rows = (0..HYPOTHESES).flat_map(|h| core::iter::repeat_n(row(h), SAMPLES));
            fill(ask, rows);
        }
    }
}

fn measurement(feature: Feature, bands: &Bands, first_row: u32) -> AskRecord {
    AskRecord {
        kind: Kind::Measure(Function::Celsius),
        power: PowerNeed::On,
        lifted: 0,
        cooled: Cooled::Any,
        point_a: feature as u16,
        point_b: NO_POINT,
        tenths: feature.tenths(),
        live: LIVE,
        bottom: bands.bottom,
        top: bands.top,
        edges: bands.edges,
        first_row,
        rows: QUANTITY_ROWS as u16,
    }
}

fn question(look: Look, first_row: u32) -> AskRecord {
    AskRecord {
        kind: Kind::Look,
        power: look.power(),
        lifted: 0,
        cooled: Cooled::Any,
        point_a: look as u16,
        point_b: NO_POINT,
        tenths: look.tenths(),
        live: LOOK_LIVE,
        bottom: Class::Absent,
        top: Class::Open,
        edges: [0.0; 4],
        first_row,
        rows: LOOK_ROWS as u16,
    }
}

fn fill(out: &mut [u8], bytes: impl Iterator<Item = u8>) {
    for (slot, byte) in out.iter_mut().zip(bytes) {
        *slot = byte;
    }
}

fn fill_row<'r>(rows: &mut impl Iterator<Item = &'r mut [u8; CLASSES]>, p: [f32; CLASSES]) {
    if let Some(row) = rows.next() {
        *row = p.map(to_byte);
    }
}
