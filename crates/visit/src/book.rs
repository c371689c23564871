//! A sheet made ready for visits: compiled, its gates' plan drawn up, the complaints in the table.

use std::collections::{BTreeMap, BTreeSet};

use ohmtrail_circuit::compile::{CompileError, Compiled, Options, compile};
use ohmtrail_circuit::parts::Sight;
use ohmtrail_circuit::sheet::{Heat, PointId as Point, Question, Sheet};
use ohmtrail_circuit::unit::Circuit;
use ohmtrail_core::class::{CLASSES, Class};
use ohmtrail_core::gates::{GatePlan, OtherSource, Pair, PlanError, PointId, Protector};
use ohmtrail_core::isolate::ask::ANY_LIFTED;
use ohmtrail_core::isolate::table::{from_byte, to_byte};
use ohmtrail_core::isolate::{AskRecord, Cooled, PowerNeed, Table, TableError};
use ohmtrail_core::reading::Function;
use ohmtrail_trail::event::{Power, UnitState};

/// Why a sheet cannot be visited with.
#[derive(Debug, thiserror::Error)]
pub enum BookError {
    /// It does not compile.
    #[error(transparent)]
    Compile(#[from] CompileError),
    /// The compiled table cannot be read: a defect of this program.
    #[error("the compiled table is not valid: {0}")]
    Table(TableError),
    /// Its dead section cannot be carried out.
    #[error("the sheet's [dead] section cannot be carried out ({0:?}): correct its points")]
    Plan(PlanError),
    /// It has more points than can be numbered.
    #[error("the sheet has {0} points, at most 65534 can be numbered: split the sheet")]
    Points(usize),
}

/// A sheet, compiled, with the lists that a [`Book`] borrows. Made once, shared by every visit.
#[derive(Debug)]
pub struct SheetBundle {
    /// The sheet.
    pub sheet: Sheet,
    /// Its table and bands.
    pub compiled: Compiled,
    line: Vec<PointId>,
    load: Vec<PointId>,
    load_sides: Vec<u8>,
    others: Vec<Vec<PointId>>,
    capacitors: Vec<Pair>,
    covers: Vec<PointId>,
    keep_off: Vec<PointId>,
    upstream: BTreeSet<Point>,
    protectors: Vec<(usize, Vec<PointId>)>,
    asks: Vec<u8>,
    rows: Vec<u8>,
    cells: Vec<u8>,
    /// For each look that a complaint speaks of, the ask that stands for the customer's word.
    customer: BTreeMap<usize, u16>,
}

fn id(point: Point) -> PointId {
    // `SheetBundle::with` refuses a sheet whose points do not fit.
    PointId(u16::try_from(point).unwrap_or(u16::MAX))
}

impl SheetBundle {
    /// Compiles a sheet and draws up its lists.
    ///
    /// # Errors
    /// [`BookError`].
    pub fn new(sheet: Sheet) -> Result<Self, BookError> {
        let compiled = compile(&sheet, Options::default())?;
        SheetBundle::with(sheet, compiled)
    }

    /// The same for a sheet that is compiled already.
    ///
    /// # Errors
    /// [`BookError`].
    pub fn with(sheet: Sheet, compiled: Compiled) -> Result<Self, BookError> {
        if sheet.points.len() >= usize::from(u16::MAX) {
            return Err(BookError::Points(sheet.points.len()));
        }
        let ids = |points: &[Point]| points.iter().map(|&p| id(p)).collect::<Vec<_>>();
        let upstream = upstream(&sheet);
        let covers = (0..sheet.points.len())
            .filter(|p| !upstream.contains(p))
            .map(id)
            .collect();
        let (asks, rows, cells, customer) = customers_words(&sheet, &compiled.bytes)?;
        Ok(SheetBundle {
            line: ids(&sheet.dead.line),
            load: ids(&sheet.dead.load.concat()),
            load_sides: sides(&sheet.dead.load),
            others: sheet.dead.others.iter().map(|poles| ids(poles)).collect(),
            capacitors: sheet.dead.capacitors.iter().map(|p| p.map(id)).collect(),
            keep_off: keep_off(&sheet),
            protectors: protectors(&sheet),
            covers,
            upstream,
            asks,
            rows,
            cells,
            customer,
            sheet,
            compiled,
        })
    }
}

/// The points that are live with the unit's breakers open: what the supplies' wires reach.
fn upstream(sheet: &Sheet) -> BTreeSet<Point> {
    let mut reached = BTreeSet::new();
    for part in sheet.parts.iter().filter(|p| p.kind.source) {
        reached.extend((0..part.kind.terminals.len()).map(|t| part.first_point + t));
    }
    loop {
        let before = reached.len();
        for wire in &sheet.wires {
            if wire.terminals.iter().any(|t| reached.contains(t)) {
                reached.extend(wire.terminals);
                reached.extend(wire.ends);
            }
        }
        if reached.len() == before {
            return reached;
        }
    }
}

/// A hermetic compressor's own pins: its windings are read at the wire ends.
fn keep_off(sheet: &Sheet) -> Vec<PointId> {
    let compressors = sheet
        .parts
        .iter()
        .filter(|p| p.kind.name.ends_with("compressor"));
    compressors
        .flat_map(|part| {
            let pins = part.kind.terminals.iter().enumerate();
            pins.filter(|(_, t)| !t.bonded)
                .map(|(t, _)| id(part.first_point + t))
        })
        .collect()
}

/// Which side each of the load's poles is on: numbers in the order of the sheet.
fn sides(load: &[Vec<ohmtrail_circuit::sheet::PointId>]) -> Vec<u8> {
    let numbers = (0..=u8::MAX).chain(std::iter::repeat(u8::MAX));
    load.iter()
        .zip(numbers)
        .flat_map(|(side, number)| side.iter().map(move |_| number))
        .collect()
}

/// Every breaker and fuse, and what is checked to ground before it is restored: the unit's load
/// side for a breaker of its line, else what its load terminals reach.
fn protectors(sheet: &Sheet) -> Vec<(usize, Vec<PointId>)> {
    let shuts = |kind: &ohmtrail_circuit::parts::Kind| {
        kind.looks
            .iter()
            .any(|l| matches!(l.sight, Sight::Tripped | Sight::Blown))
    };
    let parts = sheet
        .parts
        .iter()
        .enumerate()
        .filter(|(_, p)| shuts(p.kind));
    parts
        .map(|(at, part)| {
            let own = part.first_point..part.first_point + part.kind.terminals.len();
            let far: Vec<Point> = sheet
                .wires
                .iter()
                .filter_map(|w| match w.terminals.map(|t| own.contains(&t)) {
                    [true, false] => Some(w.terminals[1]),
                    [false, true] => Some(w.terminals[0]),
                    _ => None,
                })
                .collect();
            let feeds_line = far.iter().any(|p| sheet.dead.line.contains(p));
            let other = sheet
                .dead
                .others
                .iter()
                .find(|poles| far.iter().any(|p| poles.contains(p)));
            let hanging = match (feeds_line, other) {
                (true, _) => sheet.dead.load.iter().flatten().map(|&p| id(p)).collect(),
                (false, Some(poles)) => poles.iter().map(|&p| id(p)).collect(),
                // A control fuse: its last terminal is the one behind it.
                (false, None) => vec![id(own.end - 1)],
            };
            (at, hanging)
        })
        .collect()
}

type Extended = (Vec<u8>, Vec<u8>, Vec<u8>, BTreeMap<usize, u16>);

/// The table's asks, rows and cells with one more ask for every look that a complaint speaks of:
/// the same look, seen by the customer, with rows that are nearer to even.
fn customers_words(sheet: &Sheet, bytes: &[u8]) -> Result<Extended, BookError> {
    let table = Table::parse(bytes).map_err(BookError::Table)?;
    let mut asks = table.asks.to_vec();
    let mut rows = table.rows.to_vec();
    let mut cells = table.cells.to_vec();
    let spoken: BTreeSet<usize> = sheet
        .complaints
        .iter()
        .flat_map(|c| c.says.iter().map(|(check, _)| *check))
        .collect();
    let mut customer = BTreeMap::new();
    for (n, check) in spoken.into_iter().enumerate() {
        let number = u16::try_from(check).map_err(|_| BookError::Points(check))?;
        let share = match &sheet.checks[check].question {
            Question::Look { look, .. } => sheet.priors.customer(look) as f32,
            Question::Measure { .. } => continue,
        };
        let record = table
            .ask(number)
            .ok_or(BookError::Table(TableError::Ask(number)))?;
        let own = table
            .ask_rows(&record)
            .ok_or(BookError::Table(TableError::Ask(number)))?;
        let width = own.len() / usize::from(record.rows.max(1));
        let first_row = u32::try_from(rows.len() / width.max(1)).unwrap_or(u32::MAX);
        for row in own.chunks(width.max(1)) {
            let sum: f32 = row.iter().map(|b| from_byte(*b)).sum();
            rows.extend(row.iter().enumerate().map(|(outcome, b)| match outcome {
                0 | 1 => to_byte(share * from_byte(*b) / sum + (1.0 - share) / 2.0),
                _ => *b,
            }));
        }
        asks.extend(
            AskRecord {
                first_row,
                ..record
            }
            .encode(),
        );
        cells.extend(table.ask_cells(number));
        let ask = usize::from(table.ask_count()) + n;
        customer.insert(check, u16::try_from(ask).unwrap_or(u16::MAX));
    }
    Ok((asks, rows, cells, customer))
}

/// The three pairs of one motor's windings, as checks of the sheet.
#[derive(Debug, Clone)]
pub struct Windings {
    /// The part.
    pub part: usize,
    /// A hermetic compressor: never condemned on a hot open overload.
    pub hermetic: bool,
    /// The checks: which pair, in which heat.
    pub(crate) checks: Vec<(WindingPair, Option<Heat>, usize)>,
}

/// A pair of a motor's terminals: of a single-phase motor's common, start and run, or of a
/// three-phase motor's leads.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum WindingPair {
    CommonStart,
    CommonRun,
    StartRun,
    FirstSecond,
    SecondThird,
    ThirdFirst,
}

impl WindingPair {
    /// Every pair.
    pub(crate) const ALL: [WindingPair; 6] = [
        WindingPair::CommonRun,
        WindingPair::CommonStart,
        WindingPair::StartRun,
        WindingPair::FirstSecond,
        WindingPair::SecondThird,
        WindingPair::ThirdFirst,
    ];

    /// Whether it reads open behind a motor's own open overload: in the common of a single-phase
    /// motor, at the star point of a three-phase one.
    pub(crate) const fn through_overload(self) -> bool {
        !matches!(self, WindingPair::StartRun)
    }
}

impl Windings {
    /// The check of that pair in that heat.
    pub(crate) fn check(&self, pair: WindingPair, heat: Heat) -> Option<usize> {
        self.checks
            .iter()
            .find(|(p, h, _)| *p == pair && h.is_none_or(|h| h == heat))
            .map(|(.., c)| *c)
    }
}

/// A bundle, opened for visits.
#[derive(Debug)]
pub struct Book<'b> {
    /// The sheet.
    pub sheet: &'b Sheet,
    /// Its table and bands.
    pub compiled: &'b Compiled,
    /// The sheet's circuit, ready for solving.
    pub circuit: Circuit<'b>,
    /// The table: one ask for each check of the sheet, then those of the customer's words.
    pub(crate) table: Table<'b>,
    bundle: &'b SheetBundle,
    sources: Vec<OtherSource<'b>>,
    protectors: Vec<Protector<'b>>,
    windings: Vec<Windings>,
}

impl<'b> Book<'b> {
    /// Opens a bundle.
    ///
    /// # Errors
    /// [`BookError`].
    pub fn new(bundle: &'b SheetBundle) -> Result<Self, BookError> {
        let parsed = Table::parse(&bundle.compiled.bytes).map_err(BookError::Table)?;
        let table = Table {
            asks: &bundle.asks,
            rows: &bundle.rows,
            cells: &bundle.cells,
            ..parsed
        };
        table.check().map_err(BookError::Table)?;
        let book = Book {
            sheet: &bundle.sheet,
            compiled: &bundle.compiled,
            circuit: Circuit::new(&bundle.sheet),
            table,
            bundle,
            sources: bundle
                .others
                .iter()
                .map(|poles| OtherSource { poles })
                .collect(),
            protectors: bundle
                .protectors
                .iter()
                .map(|(_, hanging)| Protector { hanging })
                .collect(),
            windings: windings(&bundle.sheet),
        };
        book.plan().check().map_err(BookError::Plan)?;
        Ok(book)
    }

    /// What the safety gates must know of the unit.
    #[must_use]
    pub fn plan(&self) -> GatePlan<'_> {
        GatePlan {
            line: &self.bundle.line,
            load: &self.bundle.load,
            load_sides: &self.bundle.load_sides,
            ground: id(self.sheet.dead.ground),
            sources: &self.sources,
            capacitors: &self.bundle.capacitors,
            covers: &self.bundle.covers,
            keep_off: &self.bundle.keep_off,
            protectors: &self.protectors,
        }
    }

    /// The windings of every motor.
    #[must_use]
    pub fn windings(&self) -> &[Windings] {
        &self.windings
    }

    /// How many checks the sheet has.
    pub(crate) fn checks(&self) -> usize {
        self.sheet.checks.len()
    }

    /// The ask that stands for the customer's word on a look.
    pub(crate) fn customer(&self, check: usize) -> Option<u16> {
        self.bundle.customer.get(&check).copied()
    }

    /// Whether these points are live with the unit's breakers open.
    pub(crate) fn upstream(&self, points: [Point; 2]) -> bool {
        points.iter().all(|p| self.bundle.upstream.contains(p))
    }

    /// The number that the gates know a part by, if it is a breaker or a fuse.
    pub(crate) fn protector(&self, part: usize) -> Option<u8> {
        let at = self
            .bundle
            .protectors
            .iter()
            .position(|(p, _)| *p == part)?;
        u8::try_from(at).ok()
    }

    /// A point as the gates number it.
    pub(crate) fn id(point: Point) -> PointId {
        id(point)
    }

    /// The names of gate points.
    pub(crate) fn names(&self, pair: Pair) -> [String; 2] {
        pair.map(|p| self.sheet.point_name(usize::from(p.0)).to_owned())
    }

    /// The table's number of this set of lifted ends; none if no set of the sheet is this one.
    pub(crate) fn lift_number(&self, lifted: &[String]) -> Option<u8> {
        if lifted.is_empty() {
            return Some(0);
        }
        let set: BTreeSet<&str> = lifted.iter().map(String::as_str).collect();
        let at = self.sheet.lifts.iter().position(|lift| {
            let ends: BTreeSet<&str> = lift
                .ends
                .iter()
                .map(|&e| self.sheet.point_name(e))
                .collect();
            ends == set
        })?;
        u8::try_from(at + 1).ok()
    }

    /// The ends of a set of the table.
    pub(crate) fn lift_ends(&self, number: u8) -> Vec<String> {
        let lift = usize::from(number).checked_sub(1);
        lift.and_then(|at| self.sheet.lifts.get(at))
            .map(|lift| {
                let name = |&e: &Point| self.sheet.point_name(e).to_owned();
                lift.ends.iter().map(name).collect()
            })
            .unwrap_or_default()
    }

    /// Whether a check can be made in this state of the unit.
    pub(crate) fn fits(&self, check: usize, state: &UnitState) -> bool {
        let record = u16::try_from(check).ok().and_then(|c| self.table.ask(c));
        record.is_some_and(|ask| {
            let power = match ask.power {
                PowerNeed::Any => true,
                PowerNeed::On => state.power == Power::On,
                PowerNeed::Off => state.power == Power::Off,
            };
            let cooled = match ask.cooled {
                Cooled::Any => true,
                Cooled::AsFound => !state.cooled,
                Cooled::Cooled => state.cooled,
            };
            let lifted =
                ask.lifted == ANY_LIFTED || self.lift_number(&state.lifted) == Some(ask.lifted);
            power && cooled && lifted
        })
    }

    /// Whether a check measures this part with wires lifted for it: both points are its terminals
    /// or lead to them.
    pub(crate) fn reads_by_itself(&self, check: usize, part: usize) -> bool {
        let (Some(check), Some(part)) = (self.sheet.checks.get(check), self.sheet.parts.get(part))
        else {
            return false;
        };
        let own = part.first_point..part.first_point + part.kind.terminals.len();
        let leads = |point: &Point| {
            let wire = self.sheet.wire_of_end(*point);
            own.contains(point) || wire.is_some_and(|w| w.terminals.iter().any(|t| own.contains(t)))
        };
        check.lift.is_some()
            && matches!(&check.question, Question::Measure { points, .. } if points.iter().all(leads))
    }

    /// The class that a measurement most probably falls in under a hypothesis.
    pub(crate) fn predicted(&self, check: usize, hypothesis: u16) -> Option<Class> {
        let number = u16::try_from(check).ok()?;
        let rows = self.table.ask_rows(&self.table.ask(number)?)?;
        let samples = usize::from(self.table.samples);
        let cells = self.table.ask_cells(number);
        let own = cells.chunks(samples.max(1)).nth(usize::from(hypothesis))?;
        let mut sums = [0.0_f32; CLASSES];
        for cell in own {
            let row = rows.chunks(CLASSES).nth(usize::from(*cell))?;
            for (sum, code) in sums.iter_mut().zip(row) {
                *sum += from_byte(*code);
            }
        }
        let best = Class::ALL.into_iter().zip(sums);
        best.max_by(|a, b| a.1.total_cmp(&b.1))
            .map(|(class, _)| class)
    }

    /// The check that measures this between these points, either way round, in this state. Volts in
    /// the low-impedance mode are those of the plain check where the sheet has none for that mode:
    /// there they make no difference.
    pub(crate) fn check_for(
        &self,
        function: Function,
        points: [Point; 2],
        state: &UnitState,
        low_impedance: bool,
    ) -> Option<usize> {
        let [a, b] = points;
        let fits = |c: &usize| {
            matches!(&self.sheet.checks[*c].question,
                Question::Measure { function: f, points: p, .. }
                    if *f == function && (*p == [a, b] || *p == [b, a]))
                && self.fits(*c, state)
        };
        let low = |c: &usize| self.sheet.checks[*c].is_low_impedance();
        let mut all = (0..self.checks()).filter(fits);
        if low_impedance {
            // Those for the low-impedance mode come after all others.
            let all: Vec<usize> = all.collect();
            return all.iter().find(|c| low(c)).or(all.first()).copied();
        }
        all.find(|c| !low(c))
    }

    /// The same check in the meter's low-impedance mode, if the sheet has it.
    pub(crate) fn in_low_impedance(&self, check: usize) -> Option<usize> {
        let of = |c: usize| match &self.sheet.checks.get(c)?.question {
            Question::Measure {
                function, points, ..
            } => Some((*function, *points)),
            Question::Look { .. } => None,
        };
        let own = of(check)?;
        (0..self.checks())
            .find(|&c| c != check && self.sheet.checks[c].is_low_impedance() && of(c) == Some(own))
    }
}

/// Finds the winding checks of every motor: ohms between wire ends that lead to two of its
/// terminals, with those ends lifted.
fn windings(sheet: &Sheet) -> Vec<Windings> {
    let mut all = Vec::new();
    for (at, part) in sheet.parts.iter().enumerate() {
        if !part
            .kind
            .faults
            .iter()
            .any(|f| f.name == "protector-failed")
        {
            continue;
        }
        let role = |point: Point| {
            let wire = sheet.wire_of_end(point)?;
            wire.terminals.iter().find_map(|t| {
                let terminal = part.kind.terminals.get(t.checked_sub(part.first_point)?)?;
                match terminal.name {
                    "T1" => Some('1'),
                    "T2" => Some('2'),
                    "T3" => Some('3'),
                    name => name.chars().next().map(|c| c.to_ascii_lowercase()),
                }
            })
        };
        let checks: Vec<_> = sheet
            .checks
            .iter()
            .enumerate()
            .filter_map(|(c, check)| {
                let Question::Measure {
                    function: Function::Ohms,
                    points,
                    ..
                } = &check.question
                else {
                    return None;
                };
                check.lift?;
                let mut pair = [role(points[0])?, role(points[1])?];
                pair.sort_unstable();
                let pair = match pair {
                    ['c', 's'] => WindingPair::CommonStart,
                    ['c', 'r'] => WindingPair::CommonRun,
                    ['r', 's'] => WindingPair::StartRun,
                    ['1', '2'] => WindingPair::FirstSecond,
                    ['2', '3'] => WindingPair::SecondThird,
                    ['1', '3'] => WindingPair::ThirdFirst,
                    _ => return None,
                };
                Some((pair, check.heat, c))
            })
            .collect();
        all.push(Windings {
            part: at,
            hermetic: part.kind.name.ends_with("compressor"),
            checks,
        });
    }
    all
}
