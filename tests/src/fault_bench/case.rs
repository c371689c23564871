//! One case: which unit, what is wrong with it, which meter. Everything follows from the seed, the
//! sheet and the case's number.

use ohmtrail_circuit::compile::{Options, compile};
use ohmtrail_circuit::sheet::{FaultId, Sheet};
use ohmtrail_circuit::unit::{Circuit, Drawn, Flaw};
use ohmtrail_core::isolate::Table;
use ohmtrail_meters::sim::noise::Noise;

/// Of a hundred times that the breaker is opened, so often it is another unit's at first.
const WRONG_BREAKER: f64 = 0.02;

/// A sheet, and the hypotheses of its table with their priors; *none of these* is not among them.
pub struct SheetData {
    /// The sheet.
    pub sheet: Sheet,
    /// The fault sets of the table.
    pub sets: Vec<(Vec<FaultId>, f64)>,
}

impl SheetData {
    /// Compiles the sheet for its hypotheses.
    ///
    /// # Panics
    /// If it does not compile.
    #[must_use]
    pub fn new(sheet: Sheet) -> Self {
        let compiled = compile(&sheet, Options::default()).expect("the sheet compiles");
        let table = Table::parse(&compiled.bytes).expect("the table is sound");
        let sets = (0..table.hypotheses)
            .zip(&compiled.sets)
            .filter(|(h, _)| !table.is_none_of_these(*h))
            .map(|(h, set)| {
                let mut set = set.clone();
                set.sort_unstable();
                (set, f64::from(table.prior(h)))
            })
            .collect();
        SheetData { sheet, sets }
    }

    fn is_caused(&self, set: &[FaultId]) -> bool {
        let [a, b] = *set else { return false };
        let link = |by, fault| {
            let mut all = self.sheet.caused.iter();
            all.any(|c| c.by == by && c.fault == fault)
        };
        link(a, b) || link(b, a)
    }
}

/// Where a case comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Stratum {
    /// A fault set by the table's own priors.
    Prior,
    /// Every fault as often as every other; a part of them doubles, caused pairs, healthy units.
    Uniform,
    /// A fault by the priors, in a unit some of whose values lie outside the stated spread.
    Values,
    /// Something wrong that the sheet does not know.
    Unknown,
}

/// What is wrong.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    /// Nothing.
    Healthy,
    /// One fault of the sheet.
    Single,
    /// Two faults that nothing links.
    Double,
    /// Two faults of which one brings about the other.
    Caused,
    /// Two faults of the sheet whose pair its table does not hold.
    Unlisted,
    /// Something that is no fault of the sheet.
    Flaw,
}

/// One case.
#[derive(Debug, Clone)]
pub struct Case {
    /// Its number.
    pub number: usize,
    /// What its random numbers come from.
    pub seed: u64,
    /// Where it comes from.
    pub stratum: Stratum,
    /// What is wrong.
    pub kind: Kind,
    /// The faults of the sheet that it has, in order.
    pub faults: Vec<FaultId>,
    /// What it has besides that no sheet knows.
    pub flaws: Vec<Flaw>,
    /// What of it is outside the sheet, in words.
    pub outside: String,
    /// The unit's values.
    pub drawn: Drawn,
    /// Which of the meters is used.
    pub meter: usize,
    /// Resistance of the two leads together, ohms.
    pub lead_ohms: f64,
    /// Whether the leads are zeroed on the meter; else their resistance is told.
    pub zeroed: bool,
    /// Whether the breaker first opened is another unit's.
    pub wrong_breaker: bool,
}

/// Numbers for one use, from the seed, the sheet and the case.
#[must_use]
pub fn noise(seed: u64, usage: u64) -> Noise {
    Noise::of(seed, 0x00fa_0000 + usage)
}

fn below(noise: &mut Noise, n: usize) -> usize {
    ((noise.unit() * n as f64) as usize).min(n.saturating_sub(1))
}

/// Log-uniform between two values.
fn log_uniform(noise: &mut Noise, low: f64, high: f64) -> f64 {
    low * (high / low).powf(noise.unit())
}

impl Case {
    /// Draws a case.
    #[must_use]
    pub fn draw(data: &SheetData, seed: u64, number: usize) -> Self {
        let sheet = &data.sheet;
        let seed = Noise::of(seed ^ hash(&sheet.name), number as u64 + 1).bits();
        let mut noise = noise(seed, 1);
        // Two of five by the priors, two of five uniform, one of five from outside.
        let stratum = match number % 5 {
            0 | 2 => Stratum::Prior,
            1 | 3 => Stratum::Uniform,
            _ if (number / 5).is_multiple_of(2) => Stratum::Values,
            _ => Stratum::Unknown,
        };
        let mut case = Case {
            number,
            seed,
            stratum,
            kind: Kind::Healthy,
            faults: Vec::new(),
            flaws: Vec::new(),
            outside: String::new(),
            drawn: Drawn::draw(sheet, seed),
            meter: below(&mut noise, super::METERS.len()),
            lead_ohms: 0.1 + 0.4 * noise.unit(),
            zeroed: noise.unit() < 0.6,
            wrong_breaker: noise.unit() < WRONG_BREAKER,
        };
        match stratum {
            Stratum::Prior | Stratum::Values => case.faults = by_priors(data, &mut noise),
            Stratum::Uniform => case.faults = uniform(data, &mut noise),
            Stratum::Unknown => case.unknown(data, &mut noise),
        }
        if stratum == Stratum::Values {
            case.stretch(sheet, &mut noise);
        }
        case.kind = match case.faults.len() {
            _ if !case.flaws.is_empty() => Kind::Flaw,
            0 => Kind::Healthy,
            1 => Kind::Single,
            _ if data.is_caused(&case.faults) => Kind::Caused,
            _ if data.sets.iter().all(|(set, _)| *set != case.faults) => Kind::Unlisted,
            _ => Kind::Double,
        };
        case
    }

    /// The names of its faults.
    #[must_use]
    pub fn fault_names(&self, sheet: &Sheet) -> Vec<String> {
        let names = self.faults.iter().map(|&f| sheet.faults[f].name.clone());
        names.collect()
    }

    /// What is wrong, in words.
    #[must_use]
    pub fn words(&self, sheet: &Sheet) -> String {
        let mut words = self.fault_names(sheet).join(" + ");
        if words.is_empty() && self.flaws.is_empty() {
            words.push_str("healthy");
        }
        if !self.outside.is_empty() {
            if !words.is_empty() {
                words.push_str("; ");
            }
            words.push_str(&self.outside);
        }
        words
    }

    /// Moves one to three values three to six of their standard deviations away from the plate.
    fn stretch(&mut self, sheet: &Sheet, noise: &mut Noise) {
        let spreads: Vec<(usize, usize)> = sheet
            .parts
            .iter()
            .enumerate()
            .flat_map(|(p, part)| {
                let params = part.kind.params.iter().enumerate();
                params
                    .filter(|(_, param)| param.spread > 0.0)
                    .map(move |(v, _)| (p, v))
            })
            .collect();
        let mut words = Vec::new();
        for _ in 0..=below(noise, 3) {
            let (p, v) = spreads[below(noise, spreads.len())];
            let part = &sheet.parts[p];
            let param = &part.kind.params[v];
            let side = if noise.unit() < 0.5 { -1.0 } else { 1.0 };
            let factor = 1.0 + side * (3.0 + 3.0 * noise.unit()) * param.spread;
            let factor = factor.clamp(0.3, 1.7);
            self.drawn.values[p][v] = part.values[v] * factor;
            words.push(format!("{}.{} times {factor:.2}", part.name, param.name));
        }
        self.outside = words.join(", ");
    }

    /// Something that the sheet does not know.
    fn unknown(&mut self, data: &SheetData, noise: &mut Noise) {
        let sheet = &data.sheet;
        let point = |p: usize| sheet.point_name(p).to_owned();
        match below(noise, 4) {
            0 => {
                let wire = below(noise, sheet.wires.len());
                let ohms = log_uniform(noise, 5.0, 500.0);
                self.flaws = vec![Flaw::Wire { wire, ohms }];
                self.outside = format!("{ohms:.1} ohm in wire {}", sheet.wires[wire].name);
            }
            1 => {
                let nets = nets(sheet);
                let points = loop {
                    let points = [0, 1].map(|_| below(noise, sheet.points.len()));
                    if nets[points[0]] != nets[points[1]] {
                        break points;
                    }
                };
                let ohms = log_uniform(noise, 0.5, 1e5);
                self.flaws = vec![Flaw::Path { points, ohms }];
                let [a, b] = points.map(point);
                self.outside = format!("{ohms:.1} ohm between {a} and {b}");
            }
            2 => {
                // A part that has something to be at another value.
                let circuit = Circuit::new(sheet);
                let assembly = circuit.assemble(&self.drawn, &[]);
                let owners: Vec<usize> = assembly
                    .elements
                    .iter()
                    .zip(&assembly.owners)
                    .filter(|(e, owner)| {
                        let contact =
                            matches!(e, ohmtrail_circuit::network::Element::Resistor { .. });
                        !contact && **owner < sheet.parts.len()
                    })
                    .map(|(_, owner)| *owner)
                    .collect();
                let part = owners[below(noise, owners.len())];
                let factor = if noise.unit() < 0.5 {
                    0.3 + 0.4 * noise.unit()
                } else {
                    1.5 + 1.5 * noise.unit()
                };
                self.flaws = vec![Flaw::Value { part, factor }];
                self.outside = format!("{} times {factor:.2}", sheet.parts[part].name);
            }
            _ => {
                // A pair that the table does not hold; of two places.
                for _ in 0..1000 {
                    let (a, b) = (
                        below(noise, sheet.faults.len()),
                        below(noise, sheet.faults.len()),
                    );
                    let set = vec![a.min(b), a.max(b)];
                    if sheet.faults[a].owner != sheet.faults[b].owner
                        && data.sets.iter().all(|(known, _)| *known != set)
                    {
                        self.faults = set;
                        self.outside = "a pair that the table does not hold".to_owned();
                        return;
                    }
                }
                self.faults = by_priors(data, noise);
            }
        }
    }
}

/// Only to tell sheets apart: FNV-1a (from memory).
fn hash(name: &str) -> u64 {
    name.bytes().fold(0xcbf2_9ce4_8422_2325, |hash, byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3)
    })
}

fn by_priors(data: &SheetData, noise: &mut Noise) -> Vec<FaultId> {
    let total: f64 = data.sets.iter().map(|(_, p)| p).sum();
    let mut left = noise.unit() * total;
    for (set, p) in &data.sets {
        left -= p;
        if left < 0.0 {
            return set.clone();
        }
    }
    Vec::new()
}

fn uniform(data: &SheetData, noise: &mut Noise) -> Vec<FaultId> {
    let share = noise.unit();
    let of = |caused: bool, noise: &mut Noise| {
        let pairs: Vec<&Vec<FaultId>> = data
            .sets
            .iter()
            .map(|(set, _)| set)
            .filter(|set| set.len() == 2 && data.is_caused(set) == caused)
            .collect();
        (!pairs.is_empty()).then(|| pairs[below(noise, pairs.len())].clone())
    };
    let pair = if share < 0.6 {
        None
    } else if share < 0.8 {
        of(false, noise)
    } else if share < 0.95 {
        of(true, noise)
    } else {
        Some(Vec::new())
    };
    pair.unwrap_or_else(|| vec![below(noise, data.sheet.faults.len())])
}

/// Which points the wires hold together.
fn nets(sheet: &Sheet) -> Vec<usize> {
    let mut net: Vec<usize> = (0..sheet.points.len()).collect();
    loop {
        let before = net.clone();
        for wire in &sheet.wires {
            let [a, b] = wire.terminals;
            let all = [a, b, wire.ends[0], wire.ends[1]];
            let least = all.iter().map(|&p| net[p]).min().unwrap_or(0);
            for p in all {
                net[p] = least;
            }
        }
        if net == before {
            return net;
        }
    }
}
