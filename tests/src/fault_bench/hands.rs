//! Hands, eyes and a meter before one unit: what is shown comes from ngspice, with the errors of a
//! meter and of the hand that holds its probes.

use ohmtrail_circuit::bench::{Bench, BenchError};
use ohmtrail_circuit::meter::{CAPACITANCE_HERTZ, Ideal, OVERLOAD_OHMS};
use ohmtrail_circuit::netlist::{Analysis, Deck, Leads};
use ohmtrail_circuit::network::Element;
use ohmtrail_circuit::sheet::{PointId, Sheet};
use ohmtrail_core::reading::{Function, Shown};
use ohmtrail_meters::profile::Profile;
use ohmtrail_meters::sim::display::DisplayModel;
use ohmtrail_meters::sim::noise::Noise;
use ohmtrail_spice::Ngspice;

use super::case::{Case, noise};
use crate::technician::{Eyes, act, complaint};

/// Of a hundred measurements, so often one probe is on a neighbouring terminal.
pub const MISPROBED: f64 = 0.02;

/// Of a thousand measurements, so often the dial is on another function.
const WRONG_FUNCTION: f64 = 0.005;

/// Line volts wander between two readings, part of the value (common practice, no published
/// source).
const WANDER: f64 = 0.002;

/// Mean contact resistance of two probes held by hand, ohms (common practice, no published
/// source).
const CONTACT_OHMS: f64 = 0.02;

/// What stands for no load at all, ohms.
const CLAMP_OHMS: f64 = 1e15;

/// What the meter showed, and how it came about.
#[derive(Debug)]
pub struct Shot {
    /// What is shown.
    pub shown: Shown,
    /// The function that the dial was on.
    pub dial: Function,
    /// The dial's function is told with the display.
    pub told: bool,
    /// What went wrong, in words.
    pub slip: Option<String>,
}

/// How ngspice and our solver compare, over many values.
#[derive(Debug, Default, Clone)]
pub struct Agreement {
    /// Values compared.
    pub values: u64,
    /// The worst deviation, as a share of 1e-6 of the value + 1 microvolt (or microohm).
    pub worst: f64,
    /// Where that was.
    pub at: String,
}

impl Agreement {
    /// Takes another in.
    pub fn join(&mut self, other: &Agreement) {
        self.values += other.values;
        if other.worst > self.worst {
            self.worst = other.worst;
            self.at.clone_from(&other.at);
        }
    }

    fn compare(&mut self, ours: f64, theirs: f64, at: impl Fn() -> String) {
        let share = (ours - theirs).abs() / (1e-6 * theirs.abs() + 1e-6);
        self.values += 1;
        if share > self.worst {
            self.worst = share;
            self.at = format!("{}: {ours:e} against {theirs:e}", at());
        }
    }
}

/// Before one unit.
pub struct Hands<'c, 'n> {
    /// The unit.
    pub bench: Bench<'c>,
    eyes: Eyes,
    display: DisplayModel,
    noise: Noise,
    ngspice: &'n mut Ngspice,
    loaded: Option<(Analysis, Vec<Element>, [f64; 2], Leads)>,
    lead_ohms: f64,
    zeroed: bool,
    wrong_breaker: bool,
    /// How the solvers compare.
    pub agreement: Agreement,
    /// Operating points that ngspice solved.
    pub solved: u64,
}

impl<'c, 'n> Hands<'c, 'n> {
    /// Before this unit, with a meter of that profile.
    pub fn new(bench: Bench<'c>, case: &Case, profile: &Profile, ngspice: &'n mut Ngspice) -> Self {
        Hands {
            bench,
            eyes: Eyes::default(),
            display: DisplayModel::new(profile, case.seed),
            noise: noise(case.seed, 2),
            ngspice,
            loaded: None,
            lead_ohms: case.lead_ohms,
            zeroed: case.zeroed,
            wrong_breaker: case.wrong_breaker,
            agreement: Agreement::default(),
            solved: 0,
        }
    }

    fn sheet(&self) -> &'c Sheet {
        self.bench.sheet()
    }

    /// Whether the leads are zeroed on the meter.
    #[must_use]
    pub fn zeroed(&self) -> bool {
        self.zeroed
    }

    /// What the customer reports.
    #[must_use]
    pub fn complaint(&self) -> String {
        complaint(&self.bench)
    }

    /// Looks; none if there is nothing of that name.
    pub fn look(&mut self, what: &str) -> Option<bool> {
        self.eyes.look(&self.bench, &mut self.noise, what)
    }

    /// Does an act. Returns what went wrong, in words.
    pub fn act(&mut self, what: &str, ends: &[String]) -> Option<String> {
        if what == "open-breaker" && self.wrong_breaker {
            self.wrong_breaker = false;
            return Some("another unit's breaker is opened".to_owned());
        }
        act(&mut self.bench, what, ends);
        None
    }

    /// What the meter shows of its own leads, held together.
    pub fn leads(&mut self) -> Shown {
        let ohms = self.lead_ohms + self.contact();
        self.display.show(Function::Ohms, ohms, &mut self.noise)
    }

    /// Contact resistance, exponential (by the inverse of its distribution).
    fn contact(&mut self) -> f64 {
        -CONTACT_OHMS * (1.0 - self.noise.unit()).ln()
    }

    /// What the meter shows between two points; volts, on that input resistance.
    ///
    /// # Errors
    /// What would have hurt somebody or the meter.
    ///
    /// # Panics
    /// If a point is no point of the sheet, or ngspice fails.
    pub fn measure(
        &mut self,
        function: Function,
        points: &[String; 2],
        input_ohms: f64,
    ) -> Result<Shot, BenchError> {
        let sheet = self.sheet();
        let mut pair = points
            .each_ref()
            .map(|p| sheet.point(p).expect("a point of the sheet"));
        // What was asked for must not hurt; where the hand slips is not the asker's doing.
        let asked = self.bench.measure(function, pair);
        if let Err(error @ (BenchError::OnLive(_) | BenchError::Charged(_) | BenchError::Lifted)) =
            asked
        {
            return Err(error);
        }
        let mut slip = None;
        if self.noise.unit() < MISPROBED
            && let Some(other) = self.neighbour(function, pair)
        {
            let [a, b] = other.map(|p| sheet.point_name(p));
            slip = Some(format!("probes on {a} and {b}"));
            pair = other;
        }
        let mut dial = function;
        let mut told = false;
        if self.noise.unit() < WRONG_FUNCTION {
            dial = match function {
                Function::VoltsAc => Function::VoltsDc,
                f if f.injects() => Function::VoltsAc,
                f => f,
            };
            told = self.noise.unit() < 0.5;
            if dial != function {
                slip = Some(format!("the dial is on {}", dial.name()));
            }
        }
        let value = self.value(dial, pair, input_ohms);
        let shown = self.display.show(dial, value, &mut self.noise);
        Ok(Shot {
            shown,
            dial,
            told,
            slip,
        })
    }

    /// A pair with one probe on a neighbouring terminal; for amperes, a neighbouring wire.
    fn neighbour(&mut self, function: Function, pair: [PointId; 2]) -> Option<[PointId; 2]> {
        let sheet = self.sheet();
        let part_of = |terminal: PointId| {
            sheet.parts.iter().position(|part| {
                let own = part.first_point..part.first_point + part.kind.terminals.len();
                own.contains(&terminal)
            })
        };
        let terminal_of = |point: PointId| {
            sheet.wires.iter().find_map(|wire| {
                let at = wire.ends.iter().position(|&end| end == point)?;
                Some(wire.terminals[at])
            })
        };
        let which = usize::from(self.noise.unit() < 0.5);
        let pick = self.noise.unit();
        if function == Function::AmpsAc {
            let wire = sheet.wires.iter().find(|w| w.ends == pair)?;
            let part = part_of(wire.terminals[which])?;
            let others: Vec<[PointId; 2]> = sheet
                .wires
                .iter()
                .filter(|w| w.ends != pair && w.terminals.iter().any(|&t| part_of(t) == Some(part)))
                .map(|w| w.ends)
                .collect();
            return others.get((pick * others.len() as f64) as usize).copied();
        }
        let terminal = terminal_of(pair[which]).unwrap_or(pair[which]);
        let part = &sheet.parts[part_of(terminal)?];
        let others: Vec<PointId> = (part.first_point..part.first_point + part.kind.terminals.len())
            .filter(|&t| t != terminal && t != pair[which])
            .collect();
        let other = *others.get((pick * others.len() as f64) as usize)?;
        let mut slipped = pair;
        slipped[which] = other;
        Some(slipped)
    }

    /// The value between two points in the function's base unit, before the display; infinite over
    /// every range.
    fn value(&mut self, function: Function, pair: [PointId; 2], input_ohms: f64) -> f64 {
        let Some((analysis, elements, held)) = self.bench.network(function) else {
            // No current of its own and nothing to measure: a dial on a function of no use here.
            return 0.0;
        };
        let amps_of = (function == Function::AmpsAc).then(|| wire_ohms(&elements, pair));
        // A clamp does not load the wire that it is around.
        let input = if function == Function::AmpsAc {
            CLAMP_OHMS
        } else {
            input_ohms
        };
        let leads = self.load(analysis, elements, [held, input]);
        let answer = self
            .ngspice
            .run(&leads.touch(pair), 1)
            .expect("ngspice solves");
        self.solved += 1;
        let (re, im) = answer[0];
        let volts = re.hypot(im);
        // The leads lie before the meter: next to a low impedance they count.
        let loaded = input_ohms + self.lead_ohms;
        let ours = match self.bench.measure_through(function, pair, loaded) {
            Ok(Ideal::Value(value)) if function != Function::VoltsDc => Some(value),
            _ => None,
        };
        let name = |p: PointId| self.bench.sheet().point_name(p);
        let at = || format!("{} {} {}", function.name(), name(pair[0]), name(pair[1]));
        match function {
            Function::VoltsAc => {
                if let Some(ours) = ours {
                    let shown = ours * input_ohms / loaded;
                    self.agreement.compare(shown, volts, at);
                }
                volts * (1.0 + WANDER * self.noise.signed())
            }
            Function::VoltsDc => re,
            Function::AmpsAc => match amps_of.flatten() {
                Some(ohms) => {
                    // Along a whole wire; what leaks along a broken one no clamp shows.
                    if let Some(ours) = ours.filter(|_| ohms < OVERLOAD_OHMS) {
                        self.agreement.compare(ours * ohms, volts, at);
                    }
                    volts / ohms * (1.0 + WANDER * self.noise.signed())
                }
                None => 0.0,
            },
            Function::Farads => {
                let omega = std::f64::consts::TAU * CAPACITANCE_HERTZ;
                let farads = -1.0 / (omega * im);
                if im >= 0.0 {
                    return f64::INFINITY;
                }
                if let Some(ours) = ours {
                    // As ohms of reactance, which is what both solve for.
                    let reactance = 1.0 / (omega * ours);
                    if reactance < OVERLOAD_OHMS {
                        self.agreement.compare(reactance, -im, at);
                    }
                }
                farads
            }
            _ => {
                if let Some(ours) = ours {
                    self.agreement.compare(ours + self.lead_ohms, re, at);
                }
                let shown = re + self.contact() - if self.zeroed { self.lead_ohms } else { 0.0 };
                shown.max(0.0)
            }
        }
    }

    /// Loads the network, unless it is loaded already.
    fn load(
        &mut self,
        analysis: Analysis,
        elements: Vec<Element>,
        [held, input]: [f64; 2],
    ) -> Leads {
        if let Some((a, e, meter, leads)) = &self.loaded
            && *a == analysis
            && *meter == [held, input]
            && *e == elements
        {
            return *leads;
        }
        let sheet = self.sheet();
        let mut deck = Deck::new(sheet, analysis, &elements);
        if analysis == Analysis::Held && held > 0.0 {
            for pair in &sheet.dead.capacitors {
                deck.hold(*pair, held);
            }
        }
        let (network, leads) = deck.leads(sheet, self.lead_ohms, input);
        self.ngspice
            .load(&network)
            .expect("ngspice takes the network");
        self.loaded = Some((analysis, elements, [held, input], leads));
        leads
    }
}

/// The ohms of the wire between two points.
fn wire_ohms(elements: &[Element], pair: [PointId; 2]) -> Option<f64> {
    let ends = pair.map(Some);
    elements.iter().find_map(|e| match e {
        Element::Resistor { ends: own, ohms } if *own == ends => Some(*ohms),
        _ => None,
    })
}
