//! The fault bench: units drawn at random, faults put in, readings made by ngspice with a meter's
//! and a hand's errors, and the dialogue of the real binary; scored against the truth.
//!
//! docs/fault-bench.md says what is drawn and what every figure means.

pub mod case;
pub mod dialogue;
pub mod hands;
pub mod play;
pub mod policy;
pub mod report;
pub mod safety;
pub mod score;
pub mod stats;

use std::collections::BTreeMap;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

use ohmtrail_circuit::sheet::read_builtin;
use ohmtrail_meters::profile::Profile;
use ohmtrail_spice::Ngspice;

use crate::cli::workspace;

use self::case::{Case, SheetData};
use self::dialogue::Dialogue;
use self::play::{Played, play};

/// The profiles of the meters that are used, by their place in the workspace.
pub const METERS: [&str; 2] = [
    "crates/meters/profiles/sim-lcd14.toml",
    "tests/meters/fine-with-clamp.toml",
];

/// What is run.
#[derive(Debug, Clone)]
pub struct Options {
    /// Cases for each sheet.
    pub cases: usize,
    /// What all random numbers come from.
    pub seed: u64,
    /// How many run side by side.
    pub jobs: usize,
}

/// A case and how it went.
#[derive(Debug, Clone)]
pub struct Ran {
    /// The case.
    pub case: Case,
    /// How it went.
    pub played: Played,
    /// What its finding is worth.
    pub mark: score::Mark,
}

/// Reads a built-in sheet.
///
/// # Panics
/// If there is none of that name, or it is wrong.
#[must_use]
pub fn sheet(name: &str) -> SheetData {
    let sheet = read_builtin(name).unwrap_or_else(|| panic!("{name} is no built-in sheet"));
    SheetData::new(sheet.unwrap_or_else(|e| panic!("{name}: {e}")))
}

/// The tools of one worker: ngspice, and a process for each meter's dialogues. A broken one is
/// started anew.
struct Worker<'d> {
    data: &'d SheetData,
    profiles: Vec<Profile>,
    ngspice: Ngspice,
    dialogues: BTreeMap<usize, Dialogue>,
}

impl<'d> Worker<'d> {
    fn new(data: &'d SheetData) -> Self {
        let profiles = METERS
            .iter()
            .map(|file| Profile::load(&workspace().join(file)).expect("a meter's profile"));
        Worker {
            data,
            profiles: profiles.collect(),
            ngspice: Ngspice::start(&Ngspice::program()).expect("ngspice starts"),
            dialogues: BTreeMap::new(),
        }
    }

    fn run(&mut self, seed: u64, number: usize, verbose: bool) -> Ran {
        let sheet = &self.data.sheet;
        let case = Case::draw(self.data, seed, number);
        let dialogue = self
            .dialogues
            .entry(case.meter)
            .or_insert_with(|| Dialogue::start(&sheet.name, METERS[case.meter]));
        let profile = &self.profiles[case.meter];
        let played = play(sheet, &case, profile, &mut self.ngspice, dialogue, verbose);
        if played.broken.is_some() {
            self.dialogues.remove(&case.meter);
        }
        let mark = score::mark(sheet, &case, &played);
        Ran { case, played, mark }
    }
}

/// Plays one case by itself, and keeps its dialogue.
#[must_use]
pub fn replay(data: &SheetData, seed: u64, number: usize) -> Ran {
    Worker::new(data).run(seed, number, true)
}

/// Plays the cases of one sheet; returns them in order, and how long it took.
///
/// # Panics
/// If ngspice or the binary cannot be run.
#[must_use]
pub fn run(data: &SheetData, options: &Options) -> (Vec<Ran>, Duration) {
    let start = Instant::now();
    let next = AtomicUsize::new(0);
    let all: Mutex<Vec<Ran>> = Mutex::new(Vec::new());
    std::thread::scope(|scope| {
        for _ in 0..options.jobs.max(1) {
            scope.spawn(|| {
                let mut worker = Worker::new(data);
                loop {
                    let number = next.fetch_add(1, Ordering::Relaxed);
                    if number >= options.cases {
                        break;
                    }
                    let ran = worker.run(options.seed, number, false);
                    all.lock().expect("not poisoned").push(ran);
                }
            });
        }
    });
    let mut all = all.into_inner().expect("not poisoned");
    all.sort_by_key(|ran| ran.case.number);
    (all, start.elapsed())
}
