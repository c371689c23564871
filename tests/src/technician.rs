//! A technician for the whole-system tests: has hands, eyes and a meter on a simulated unit. The
//! meter has its own errors within its statement, the eyes mislead as often as the sheet's looks
//! say that they do.

use std::collections::BTreeMap;

use ohmtrail_circuit::bench::{Bench, BenchError, Told};
use ohmtrail_circuit::meter::Ideal;
use ohmtrail_circuit::sheet::{Question, Sheet};
use ohmtrail_circuit::unit::Circuit;
use ohmtrail_core::reading::{Function, Shown};
use ohmtrail_meters::profile::Profile;
use ohmtrail_meters::sim::display::DisplayModel;
use ohmtrail_meters::sim::noise::Noise;

/// The simulated meters' profiles, by their frames: one with fine ohms, and a clamp that holds a
/// locked rotor's amperes. Their numbers in a visit are one and two.
pub const FRAMES: [&str; 2] = ["count14", "lcd14"];

/// Which of the two reads that function.
#[must_use]
pub fn which(function: Function) -> usize {
    usize::from(function == Function::AmpsAc)
}

/// The profile of one of the two.
///
/// # Panics
/// If it is not built in.
#[must_use]
pub fn profile(which: usize) -> Profile {
    Profile::simulated(FRAMES[which]).expect("the profile is built in")
}

/// What the customer would report of this unit.
#[must_use]
pub fn complaint(bench: &Bench<'_>) -> String {
    let sheet = bench.sheet();
    let fits = |says: &[(usize, bool)]| {
        says.iter()
            .all(|(check, yes)| match &sheet.checks[*check].question {
                Question::Look { part, look } => bench.look(*part, look) == *yes,
                Question::Measure { .. } => false,
            })
    };
    let fitting = sheet.complaints.iter().find(|c| fits(&c.says));
    fitting
        .or(sheet.complaints.first())
        .map_or_else(String::new, |c| c.name.clone())
}

/// Eyes, ears and hands, which mislead as often as the sheet's looks say that they do.
#[derive(Debug, Default)]
pub struct Eyes {
    /// What was seen once is seen the same way again.
    seen: BTreeMap<String, bool>,
}

impl Eyes {
    /// Looks; none if there is nothing of that name.
    pub fn look(&mut self, bench: &Bench<'_>, noise: &mut Noise, what: &str) -> Option<bool> {
        let sheet = bench.sheet();
        let Question::Look { part, look } = &sheet.checks[sheet.look(what)?].question else {
            return None;
        };
        let truth = bench.look(*part, look);
        let key = format!("{what} {truth}");
        let chance = noise.unit();
        let says = *self
            .seen
            .entry(key)
            .or_insert_with(|| chance < sheet.priors.yes(look, truth));
        Some(says)
    }
}

/// Does on the bench what an act of that name says, with these wire ends.
///
/// # Panics
/// If a wire end is unknown.
pub fn act(bench: &mut Bench<'_>, act: &str, ends: &[String]) {
    let sheet = bench.sheet();
    let points = ends
        .iter()
        .map(|end| sheet.point(end).expect("a wire end of the sheet"));
    match act {
        "open-breaker" | "lock-disconnect" => bench.open_breaker(),
        "open-other-sources" => bench.open_other_sources(),
        "discharge" => bench.discharge(),
        "wait-cool" => bench.wait_cool(),
        "close-breaker" => bench.close_breaker(),
        "lift" => points.for_each(|end| bench.lift(end)),
        "put-back" => points.for_each(|end| bench.put_back(end)),
        "call-on" => bench.tell(Told::Call),
        "call-off" => bench.tell(Told::Nothing),
        "call-heating" => bench.tell(Told::Heating),
        "start-defrost" => bench.tell(Told::Defrost),
        _ => {}
    }
}

/// A technician before one unit.
pub struct Technician<'c> {
    bench: Bench<'c>,
    displays: [DisplayModel; 2],
    noise: Noise,
    eyes: Eyes,
}

impl<'c> Technician<'c> {
    /// Before a unit with these faults; the seed draws the unit, the meter and the mistakes.
    #[must_use]
    pub fn new(circuit: &'c Circuit<'c>, seed: u64, faults: &[usize]) -> Self {
        Technician {
            bench: Bench::new(circuit, seed, faults),
            displays: [0, 1].map(|w| DisplayModel::new(&profile(w), seed)),
            noise: Noise::of(seed, 7),
            eyes: Eyes::default(),
        }
    }

    /// The sheet.
    #[must_use]
    pub fn sheet(&self) -> &'c Sheet {
        self.bench.sheet()
    }

    /// The unit.
    #[must_use]
    pub fn bench(&self) -> &Bench<'c> {
        &self.bench
    }

    /// What the meter shows of a value.
    pub fn shows(&mut self, function: Function, value: f64) -> Shown {
        self.displays[which(function)].show(function, value, &mut self.noise)
    }

    /// What the customer would report of this unit.
    #[must_use]
    pub fn complaint(&self) -> String {
        complaint(&self.bench)
    }

    /// Looks; none if there is nothing of that name.
    pub fn look(&mut self, what: &str) -> Option<bool> {
        self.eyes.look(&self.bench, &mut self.noise, what)
    }

    /// What is there between two points, in base units; infinity for an overload.
    ///
    /// # Panics
    /// As [`measure`](Technician::measure).
    pub fn value(&mut self, function: Function, points: &[String; 2]) -> f64 {
        let sheet = self.sheet();
        let pair = [&points[0], &points[1]].map(|p| sheet.point(p).expect("a point of the sheet"));
        match self.bench.measure(function, pair) {
            Ok(Ideal::Value(value)) => value,
            Ok(Ideal::Overload) => f64::INFINITY,
            // A clamp around a wire of a dead unit.
            Err(BenchError::NotModelled { .. }) => 0.0,
            Err(error) => panic!("asked for {points:?}: {error}"),
        }
    }

    /// What the meter shows between two points.
    ///
    /// # Panics
    /// If a point is unknown, or the measurement would have hurt somebody.
    pub fn measure(&mut self, function: Function, points: &[String; 2]) -> Shown {
        let value = self.value(function, points);
        self.shows(function, value)
    }

    /// What the meter held of the start between two points: the lowest volts, the highest amperes.
    ///
    /// # Panics
    /// If a point is unknown, or the unit has no power.
    pub fn held(&mut self, function: Function, points: &[String; 2]) -> Shown {
        let sheet = self.sheet();
        let pair = [&points[0], &points[1]].map(|p| sheet.point(p).expect("a point of the sheet"));
        let held = self.bench.at_start(function, pair).expect("under power");
        let value = match held {
            Ideal::Value(value) => value,
            Ideal::Overload => f64::INFINITY,
        };
        self.shows(function, value)
    }

    /// Does what an act of that name says, with these wire ends.
    ///
    /// # Panics
    /// If a wire end is unknown.
    pub fn act(&mut self, what: &str, ends: &[String]) {
        act(&mut self.bench, what, ends);
    }
}
