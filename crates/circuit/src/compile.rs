//! Compiles a sheet to the table that the core isolates faults with.
//!
//! For every hypothesis (a set of no, one or two faults) and every sampled unit, the network is
//! solved in every state that a check needs, and each check's prediction becomes a row of class
//! probabilities. Hypotheses that no check tells apart share a group.

use std::collections::HashMap;

use ohmtrail_core::class::{CLASSES, Class};
use ohmtrail_core::isolate::ask::{ANY_LIFTED, LOOK_LIVE, NO_POINT};
use ohmtrail_core::isolate::belief::EXPLAINS;
use ohmtrail_core::isolate::table::{NO_FAULT, VERSION, to_byte};
use ohmtrail_core::isolate::{AskRecord, Cooled, Kind, PowerNeed, Table, TableError};
use ohmtrail_core::reading::Function;

use crate::alike::{Mean, group, means};
use crate::bands::{CheckBands, bands};
use crate::meter::{Ideal, Scene, State, input_ohms};
use crate::operate::Unit;
use crate::sample::sampled;
use crate::sheet::{Check, FaultId, Heat, Masked, Question, Sheet};
use crate::unit::{Circuit, Drawn};
use crate::unnamed::Unnamed;

/// How a sheet is compiled.
#[derive(Debug, Clone, Copy)]
pub struct Options {
    /// Sampled units for each hypothesis.
    pub samples: usize,
    /// Only single faults: what a probe box holds.
    pub singles_only: bool,
}

impl Default for Options {
    fn default() -> Self {
        Options {
            samples: 8,
            singles_only: false,
        }
    }
}

/// A class that a prediction rules out still has this share: the model is not the unit.
const MODEL_FLOOR: f32 = 0.004;

/// How many hypotheses *none of these* has, besides the one that knows nothing.
pub const UNNAMED: usize = 12;

/// How many healthy units the bands are drawn from.
const HEALTHY_UNITS: usize = 32;

/// A compiled sheet.
#[derive(Debug, Clone)]
pub struct Compiled {
    /// The table, encoded.
    pub bytes: Vec<u8>,
    /// The fault sets of the hypotheses, in the table's order.
    pub sets: Vec<Vec<FaultId>>,
    /// The bands of each check; none for looks.
    pub bands: Vec<Option<CheckBands>>,
}

/// What compiling may fail on.
#[derive(Debug, thiserror::Error)]
pub enum CompileError {
    /// The sheet has too much of something.
    #[error("the sheet has {what} {count}, at most {most} fit a table; split the sheet")]
    TooMany {
        /// Of what.
        what: &'static str,
        /// How many.
        count: usize,
        /// How many fit.
        most: usize,
    },
    /// The table that came out is not valid: a defect of this program.
    #[error("the compiled table is not valid: {0}")]
    Table(TableError),
}

/// A hypothesis: its faults and prior.
struct Hypothesis {
    faults: Vec<FaultId>,
    prior: f64,
}

/// Compiles.
///
/// # Errors
/// [`CompileError`].
pub fn compile(sheet: &Sheet, options: Options) -> Result<Compiled, CompileError> {
    fits("checks", sheet.checks.len(), 1000)?;
    fits("lifted sets", sheet.lifts.len(), 254)?;
    let circuit = Circuit::new(sheet);
    let hypotheses = hypotheses(sheet, options);
    fits("hypotheses", hypotheses.len(), 4000)?;
    let checks = check_bands(&circuit);
    let mut predicted = predict_all(&circuit, &hypotheses, options.samples, &checks);
    let means = means(&predicted, options.samples);
    // A fault that needs heat to show is repaired as the one that does not.
    let repaired: Vec<Vec<FaultId>> = hypotheses
        .iter()
        .map(|h| {
            let always = |&f: &FaultId| sheet.always(f).unwrap_or(f);
            let mut all: Vec<FaultId> = h.faults.iter().map(always).collect();
            all.sort_unstable();
            all
        })
        .collect();
    let cold: Vec<bool> = sheet
        .checks
        .iter()
        .map(|c| c.heat == Some(Heat::Cold))
        .collect();
    let mut order = group(&means, &repaired, &cold);
    let named = hypotheses.len();
    let unnamed = if options.singles_only {
        Vec::new()
    } else {
        predict_unnamed(sheet, &checks, &means, options.samples)
    };
    let last = order.last().map_or(0, |(_, group)| group + 1);
    // And one that knows nothing at all.
    order.extend((named..=named + unnamed.len()).map(|h| (h, last)));
    let prior_of_each = sheet.priors.none_of_these / (unnamed.len() + 1) as f64;
    predicted.extend(unnamed);

    let mut sets = Vec::new();
    let (mut priors, mut set_bytes, mut groups) = (Vec::new(), Vec::new(), Vec::new());
    for &(h, group) in &order {
        let (faults, prior) = hypotheses
            .get(h)
            .map_or((Vec::new(), prior_of_each), |h| (h.faults.clone(), h.prior));
        priors.extend((prior as f32).to_le_bytes());
        for i in 0..2 {
            let fault = faults.get(i).map_or(NO_FAULT, |&f| f as u16);
            set_bytes.extend(fault.to_le_bytes());
        }
        groups.extend((group as u16).to_le_bytes());
        sets.push(faults);
    }
    let (mut asks, mut rows, mut cells) = (Vec::new(), Vec::new(), Vec::new());
    let mut looks = 0u16;
    for (c, check) in sheet.checks.iter().enumerate() {
        // A probe box's inputs have one resistance.
        if options.singles_only && check.is_low_impedance() {
            continue;
        }
        let live = checks[c].map_or(LOOK_LIVE, |b| b.live);
        let (own_rows, own_cells) = encode_rows(&predicted, &order, c, options.samples, live);
        let record = record(check, checks[c], &mut looks, rows.len(), own_rows.len());
        asks.extend(record.encode());
        rows.extend(own_rows.into_iter().flatten());
        cells.extend(own_cells);
    }
    let mut lifts = vec![0, 0];
    for lift in &sheet.lifts {
        lifts.extend(tenths(lift.minutes).to_le_bytes());
    }
    let wrong: Vec<u8> = (0..sheet.faults.len())
        .flat_map(|f| sheet.costs.wrong_minutes(sheet, f).to_le_bytes())
        .collect();
    let table = Table {
        version: VERSION,
        sheet_hash: sheet.hash,
        hypotheses: order.len() as u16,
        samples: options.samples as u8,
        faults: sheet.faults.len() as u16,
        power_off_tenths: tenths(sheet.minutes.off),
        power_on_tenths: tenths(sheet.minutes.on),
        cool_tenths: tenths(sheet.minutes.cool * sheet.costs.waiting),
        callback_minutes: sheet.costs.callback_minutes(),
        priors: &priors,
        sets: &set_bytes,
        groups: &groups,
        wrong: &wrong,
        asks: &asks,
        lifts: &lifts,
        rows: &rows,
        cells: &cells,
    };
    let mut bytes = vec![0; table.encoded_room()];
    let length = table.encode(&mut bytes).map_err(CompileError::Table)?;
    bytes.truncate(length);
    Ok(Compiled {
        bytes,
        sets,
        bands: checks,
    })
}

fn fits(what: &'static str, count: usize, most: usize) -> Result<(), CompileError> {
    if count > most {
        return Err(CompileError::TooMany { what, count, most });
    }
    Ok(())
}

fn tenths(minutes: f64) -> u16 {
    (minutes * 10.0).round() as u16
}

fn hypotheses(sheet: &Sheet, options: Options) -> Vec<Hypothesis> {
    let total: f64 = sheet.faults.iter().map(|f| f.weight).sum();
    let p = |f: FaultId| {
        sheet.faults[f].weight / total * (1.0 - sheet.priors.no_fault - sheet.priors.none_of_these)
    };
    let mut all = vec![Hypothesis {
        faults: Vec::new(),
        prior: sheet.priors.no_fault,
    }];
    // A probe box waits for nothing to cool: it knows only the fault that is there at all times.
    let known = |f: &FaultId| !options.singles_only || sheet.always(*f).is_none();
    all.extend((0..sheet.faults.len()).filter(known).map(|f| Hypothesis {
        faults: vec![f],
        prior: p(f),
    }));
    if options.singles_only {
        return all;
    }
    let mut pairs: HashMap<(FaultId, FaultId), f64> = HashMap::new();
    for caused in &sheet.caused {
        *pairs
            .entry((caused.by.min(caused.fault), caused.by.max(caused.fault)))
            .or_default() += p(caused.by) * caused.p;
    }
    for a in 0..sheet.faults.len() {
        for b in a + 1..sheet.faults.len() {
            let joint = p(a) * p(b);
            if joint >= sheet.priors.pair_floor && compatible(sheet, a, b) {
                *pairs.entry((a, b)).or_default() += joint;
            }
        }
    }
    let mut pairs: Vec<_> = pairs.into_iter().collect();
    pairs.sort_by_key(|(pair, _)| *pair);
    all.extend(pairs.into_iter().map(|((a, b), prior)| Hypothesis {
        faults: vec![a, b],
        prior,
    }));
    all
}

/// Two faults of one place exclude each other: a section is open or low, not both. What a fault
/// masks is left to be judged once it is repaired.
fn compatible(sheet: &Sheet, a: FaultId, b: FaultId) -> bool {
    let masks = |by, fault| sheet.masked.contains(&Masked { by, fault });
    if masks(a, b) || masks(b, a) {
        return false;
    }
    let (a, b) = (&sheet.faults[a], &sheet.faults[b]);
    // A name without a place is of the whole part.
    let place = |name: &'static str| name.split_once('-').map(|(place, _)| place);
    a.owner != b.owner || place(a.kind_name) != place(b.kind_name)
}

/// The state a check is made in. Without a stated heat the motors are as found.
fn state<'s>(sheet: &'s Sheet, check: &Check) -> State<'s> {
    State {
        power: check.power == Some(true),
        lifted: check.lift.map_or(&[], |l| sheet.lifts[l].ends.as_slice()),
        heat: check.heat.unwrap_or(Heat::AsFound),
    }
}

/// What drives the current of a measurement: one solution serves all of one kind and state.
#[derive(Clone, Copy, PartialEq)]
enum Drive {
    Supply,
    Ohmmeter,
    CapacitanceMeter,
}

impl Drive {
    fn of(function: Function) -> Self {
        match function {
            Function::Farads => Drive::CapacitanceMeter,
            f if f.injects() => Drive::Ohmmeter,
            _ => Drive::Supply,
        }
    }
}

/// What a unit shows at every measuring check, in the order of the checks.
fn ideals(unit: &Unit<'_>, sheet: &Sheet) -> Vec<Option<Ideal>> {
    let mut scenes: Vec<(Drive, State<'_>, Option<Scene<'_, '_>>)> = Vec::new();
    sheet
        .checks
        .iter()
        .map(|check| {
            let Question::Measure {
                function,
                points,
                low_impedance,
                ..
            } = &check.question
            else {
                return None;
            };
            let drive = Drive::of(*function);
            let state = state(sheet, check);
            let at = scenes
                .iter()
                .position(|(d, s, _)| *d == drive && *s == state)
                .unwrap_or_else(|| {
                    scenes.push((drive, state, Scene::new(unit, *function, state)));
                    scenes.len() - 1
                });
            let scene = scenes[at].2.as_ref();
            scene.map(|s| s.shows(*function, *points, input_ohms(*low_impedance)))
        })
        .collect()
}

fn check_bands(circuit: &Circuit<'_>) -> Vec<Option<CheckBands>> {
    let sheet = circuit.sheet;
    let healthy: Vec<Vec<Option<Ideal>>> = (0..HEALTHY_UNITS)
        .map(|i| {
            let unit = Unit::new(circuit, Drawn::draw(sheet, 0x0bad_5ec5 + i as u64), &[]);
            ideals(&unit, sheet)
        })
        .collect();
    sheet
        .checks
        .iter()
        .enumerate()
        .map(|(c, check)| match &check.question {
            Question::Measure {
                function, limits, ..
            } => {
                let shown: Vec<Ideal> = healthy.iter().filter_map(|unit| unit[c]).collect();
                Some(bands(*function, *limits, check.heat, &shown))
            }
            Question::Look { .. } => None,
        })
        .collect()
}

pub(crate) type Row = [u8; CLASSES];

/// The row of every check for every sample of every hypothesis.
fn predict_all(
    circuit: &Circuit<'_>,
    hypotheses: &[Hypothesis],
    samples: usize,
    checks: &[Option<CheckBands>],
) -> Vec<Vec<Row>> {
    let drawn: Vec<Drawn> = (0..samples)
        .map(|s| Drawn::sample(circuit.sheet, s, samples))
        .collect();
    in_parallel(hypotheses, |h| {
        let mut rows = Vec::with_capacity(samples * checks.len());
        for unit in sampled(circuit, &h.faults, &drawn) {
            predict(&unit, circuit.sheet, checks, &mut rows);
        }
        rows
    })
}

/// The rows of units with something unnamed wrong, as many to a hypothesis as it has samples. Units
/// of which a named hypothesis explains all that is measured are left out: nothing would speak
/// against the name.
fn predict_unnamed(
    sheet: &Sheet,
    checks: &[Option<CheckBands>],
    named: &[Vec<Mean>],
    samples: usize,
) -> Vec<Vec<Row>> {
    let units = Unnamed::draw(sheet, UNNAMED * samples * 2);
    let rows: Vec<Vec<Row>> = in_parallel(&units, |unit| {
        let mut rows = Vec::with_capacity(checks.len());
        predict(&unit.unit(), sheet, checks, &mut rows);
        rows
    });
    let mut other = rows;
    other.retain(|rows| {
        let shown = rows.iter().zip(checks).map(|(row, bands)| {
            bands.map(|_| {
                let classes = row.iter().enumerate();
                // The smallest code is the greatest probability.
                classes.min_by_key(|(_, code)| **code).map_or(0, |(c, _)| c)
            })
        });
        let shown: Vec<Option<usize>> = shown.collect();
        !named.iter().any(|means| {
            let checks = means.iter().zip(&shown);
            checks
                .filter_map(|(mean, class)| class.map(|c| mean[c]))
                .all(|p| p >= EXPLAINS)
        })
    });
    let whole = other.chunks_exact(samples).take(UNNAMED);
    whole.map(|units| units.concat()).collect()
}

/// What `work` makes of each of these, in their order, on every core.
fn in_parallel<T: Sync, R: Send>(all: &[T], work: impl Fn(&T) -> R + Sync) -> Vec<R> {
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    let share = all.len().div_ceil(threads).max(1);
    std::thread::scope(|scope| {
        let workers: Vec<_> = all
            .chunks(share)
            .map(|chunk| scope.spawn(|| chunk.iter().map(&work).collect::<Vec<R>>()))
            .collect();
        workers
            .into_iter()
            .flat_map(|w| match w.join() {
                Ok(rows) => rows,
                Err(panic) => std::panic::resume_unwind(panic),
            })
            .collect()
    })
}

fn predict(unit: &Unit<'_>, sheet: &Sheet, checks: &[Option<CheckBands>], rows: &mut Vec<Row>) {
    for ((check, bands), ideal) in sheet.checks.iter().zip(checks).zip(ideals(unit, sheet)) {
        rows.push(match (&check.question, bands, ideal) {
            (Question::Look { part, look }, ..) => {
                let is_so = unit.sees(*part, look.sight, state(sheet, check).heat);
                let yes = sheet.priors.yes(look, is_so) as f32;
                let mut row = [u8::MAX; CLASSES];
                row[0] = to_byte(1.0 - yes);
                row[1] = to_byte(yes);
                row
            }
            (Question::Measure { function, .. }, Some(bands), Some(ideal)) => {
                measured_row(*function, bands, ideal)
            }
            // A measurement that the model does not know tells nothing.
            (Question::Measure { .. }, bands, _) => flat_row(bands.map_or(LOOK_LIVE, |b| b.live)),
        });
    }
}

fn flat_row(live: u8) -> Row {
    let mut row = [u8::MAX; CLASSES];
    for (c, code) in row.iter_mut().enumerate() {
        if live & (1 << c) != 0 {
            *code = 0;
        }
    }
    row
}

/// The classes of a prediction. What differs between the sampled unit and a real one of the same
/// values is a percent or two of the value.
fn measured_row(function: Function, bands: &CheckBands, ideal: Ideal) -> Row {
    let likely = match ideal {
        Ideal::Overload => bands.bands.judge(f64::INFINITY, 0.0),
        Ideal::Value(value) => {
            let spread = match function {
                Function::VoltsAc => 0.2 + 0.008 * value,
                Function::AmpsAc => 0.02 + 0.02 * value,
                Function::Farads => 0.008 * value,
                _ => 0.02 + 0.01 * value,
            };
            bands.bands.judge(value, spread)
        }
    };
    let live = bands.live;
    let share = MODEL_FLOOR / live.count_ones().max(1) as f32;
    let mut row = [u8::MAX; CLASSES];
    for (code, class) in row.iter_mut().zip(Class::ALL) {
        if live & (1 << class as u8) != 0 {
            // In steps of a sixth, so that rows that mean the same are the same.
            let exact = to_byte((1.0 - MODEL_FLOOR) * likely.of(class) + share);
            *code = exact.saturating_add(1) / 3 * 3;
        }
    }
    row
}

/// The distinct rows of a check, and the row of each cell.
fn encode_rows(
    predicted: &[Vec<Row>],
    order: &[(usize, usize)],
    check: usize,
    samples: usize,
    live: u8,
) -> (Vec<Row>, Vec<u8>) {
    let none = predicted.len();
    let row_of = |h: usize, s: usize| {
        if h == none {
            flat_row(live)
        } else {
            predicted[h][s * (predicted[h].len() / samples) + check]
        }
    };
    // Coarser steps, until the rows are few enough for a byte.
    for step in [1u8, 2, 4, 8, 16, 32, 64] {
        let mut rows: Vec<Row> = Vec::new();
        let mut known: HashMap<Row, u8> = HashMap::new();
        let mut cells = Vec::with_capacity(order.len() * samples);
        let mut fits = true;
        'all: for &(h, _) in order {
            for s in 0..samples {
                let row = row_of(h, s).map(|b| if b == u8::MAX { b } else { b / step * step });
                let at = match known.get(&row) {
                    Some(&at) => at,
                    None if rows.len() < 256 => {
                        let at = rows.len() as u8;
                        rows.push(row);
                        known.insert(row, at);
                        at
                    }
                    None => {
                        fits = false;
                        break 'all;
                    }
                };
                cells.push(at);
            }
        }
        if fits {
            return (rows, cells);
        }
    }
    unreachable!("4 steps of 64 in at most 6 classes with one near certain give under 256 rows")
}

fn record(
    check: &Check,
    bands: Option<CheckBands>,
    looks: &mut u16,
    row_bytes_before: usize,
    rows: usize,
) -> AskRecord {
    let cooled = match (check.power, check.heat) {
        (_, Some(Heat::Cold)) => Cooled::Cooled,
        // Motors that cooled would start again under power: other powered checks are as found.
        (Some(true), None) | (_, Some(Heat::AsFound)) => Cooled::AsFound,
        (_, None) => Cooled::Any,
    };
    let power = match check.power {
        Some(true) => PowerNeed::On,
        Some(false) => PowerNeed::Off,
        None => PowerNeed::Any,
    };
    let base = AskRecord {
        kind: Kind::Look,
        power,
        lifted: ANY_LIFTED,
        cooled,
        point_a: 0,
        point_b: NO_POINT,
        tenths: tenths(check.minutes),
        live: LOOK_LIVE,
        bottom: Class::Absent,
        top: Class::High,
        edges: [0.0; 4],
        first_row: (row_bytes_before / CLASSES) as u32,
        rows: rows as u16,
    };
    match (&check.question, bands) {
        (
            Question::Measure {
                function, points, ..
            },
            Some(b),
        ) => AskRecord {
            kind: Kind::Measure(*function),
            lifted: check.lift.map_or(0, |l| l as u8 + 1),
            point_a: points[0] as u16,
            point_b: points[1] as u16,
            live: b.live,
            bottom: b.bands.bottom,
            top: b.bands.top,
            edges: b.bands.edges,
            ..base
        },
        _ => {
            let point_a = *looks;
            *looks += 1;
            AskRecord { point_a, ..base }
        }
    }
}
