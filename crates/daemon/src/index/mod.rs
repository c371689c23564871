//! The shop index that the daemon keeps beside its visits, and what it is asked.
//!
//! One thread reads the trails that changed: when the daemon starts, when a visit has ended, and every few
//! minutes, for other programs add trails, too. Who asks opens the file for that question, so that the
//! command line can put a new index in its place at any time. What goes wrong with the index holds up no
//! visit.

pub mod forms;
pub mod trends;

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use ohmtrail_index::{Door, Error, Gathered, Index, Problem, rebuild_told};
use ohmtrail_trail::rfc3339;
use serde::Serialize;
use utoipa::ToSchema;

use crate::clock::Clocks;

/// Its file in the data folder, which the command line reads, too.
const FILE: &str = "index.sqlite";
/// How often trails are looked for that nobody told of, and how soon after a failure again.
const EVERY: Duration = Duration::from_secs(300);
/// The same while another program holds it.
const HELD: Duration = Duration::from_secs(10);
/// How long a visit's page waits for what is said at its door.
const AT_THE_DOOR: Duration = Duration::from_millis(500);
/// How many units' doors are remembered: more than are visited in a day.
const DOORS: usize = 64;

/// The shop index.
#[derive(Debug)]
pub struct Shop {
    path: PathBuf,
    visits: PathBuf,
    sheets: PathBuf,
    clocks: Clocks,
    state: Mutex<State>,
    turns: Mutex<Option<Sender<()>>>,
}

/// How it stands.
#[derive(Debug, Default)]
struct State {
    /// When it was last brought up to date, microseconds since 1970; none since the daemon started.
    updated_us: Option<i64>,
    trails: u64,
    problems: Vec<Problem>,
    trouble: Option<String>,
    /// Counts the updates: an answer of before one is not remembered after it.
    update: u64,
    doors: BTreeMap<(String, bool), Arc<Door>>,
}

/// How the index stands.
#[derive(Debug, Clone, Serialize, ToSchema)]
#[schema(as = IndexStanding)]
pub struct Standing {
    /// When it was last brought up to date; none if it was not since the daemon started.
    updated: Option<String>,
    /// Trails that lie in its folders.
    trails: u64,
    /// Why it could not be brought up to date the last time; what it says may be old then.
    trouble: Option<String>,
    /// What is wrong with which trails or folders.
    problems: Vec<Wrong>,
}

/// Something that is wrong with a trail, or with a folder of them.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Wrong {
    /// Its file.
    trail: String,
    /// What.
    what: String,
}

impl Standing {
    /// Whether what the index says may be older than the trails.
    #[must_use]
    pub fn is_behind(&self) -> bool {
        self.updated.is_none() || self.trouble.is_some()
    }

    /// When it was last brought up to date.
    #[must_use]
    pub fn updated(&self) -> Option<&str> {
        self.updated.as_deref()
    }

    /// Why it could not be brought up to date the last time.
    #[must_use]
    pub fn trouble(&self) -> Option<&str> {
        self.trouble.as_deref()
    }
}

/// Why a question has no answer.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum AskError {
    /// It was not made yet.
    #[error("the index is being made of the trails")]
    NotMade,
    /// It could not be made.
    #[error("the index could not be made: {0}")]
    Trouble(String),
    /// The index says so.
    #[error(transparent)]
    Index(#[from] Error),
    /// Asking it failed.
    #[error("the question was not put: {0}")]
    Failed(String),
}

/// What is said at the door of a unit.
#[derive(Debug, Clone, Default)]
pub struct AtTheDoor {
    /// What failed before, and how it was repaired.
    pub known: Door,
    /// Whether more may be known than is said.
    pub behind: bool,
}

impl Shop {
    /// The index in this data folder, kept up to date until it is told to stop.
    ///
    /// # Errors
    /// What the system refuses.
    pub fn open(data: &Path, clocks: Clocks) -> std::io::Result<Arc<Shop>> {
        // Whole paths, as the index has them.
        let visits = data.join("visits");
        fs::create_dir_all(&visits)?;
        let data = fs::canonicalize(data)?;
        let (turns, turn) = channel();
        let shop = Arc::new(Shop {
            path: data.join(FILE),
            visits: data.join("visits"),
            sheets: data.join("sheets"),
            clocks,
            state: Mutex::default(),
            turns: Mutex::new(Some(turns)),
        });
        let keeper = Arc::clone(&shop);
        let thread = std::thread::Builder::new().name("index".to_owned());
        thread.spawn(move || keeper.keep(&turn))?;
        Ok(shop)
    }

    /// Has it look for what changed, soon.
    pub fn look_soon(&self) {
        let turns = self.turns.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(turns) = turns.as_ref() {
            // One that has stopped looks no more.
            let _ = turns.send(());
        }
    }

    /// Has it look for nothing any more.
    pub fn stop(&self) {
        let mut turns = self.turns.lock().unwrap_or_else(PoisonError::into_inner);
        *turns = None;
    }

    /// How it stands.
    #[must_use]
    pub fn standing(&self) -> Standing {
        let state = self.state();
        let wrong = state.problems.iter().map(|p| Wrong {
            trail: p.path.display().to_string(),
            what: p.what.clone(),
        });
        Standing {
            updated: state.updated_us.and_then(rfc3339),
            trails: state.trails,
            trouble: state.trouble.clone(),
            problems: wrong.collect(),
        }
    }

    /// The name of a visit of this daemon whose trail lies there.
    #[must_use]
    pub fn visit_at(&self, trail: &str) -> Option<String> {
        let path = Path::new(trail);
        let name = path.file_stem()?.to_str()?;
        (path.parent()? == self.visits).then(|| name.to_owned())
    }

    /// Puts a question to it, where waiting for the disk harms nobody.
    ///
    /// # Errors
    /// [`AskError`].
    pub async fn ask<R: Send + 'static>(
        &self,
        question: impl FnOnce(&mut Index) -> Result<R, Error> + Send + 'static,
    ) -> Result<R, AskError> {
        let path = self.path.clone();
        let asked = tokio::task::spawn_blocking(move || {
            let mut index = Index::open(&path)?;
            question(&mut index)
        });
        match asked.await {
            Ok(Err(Error::Missing { .. })) => Err(match self.standing().trouble {
                Some(trouble) => AskError::Trouble(trouble),
                None => AskError::NotMade,
            }),
            Ok(answer) => Ok(answer?),
            Err(failed) => Err(AskError::Failed(failed.to_string())),
        }
    }

    /// What is said at the door of a unit in a visit that was opened then: what was known before. It is not
    /// waited for long.
    pub async fn at_the_door(
        &self,
        unit: &str,
        simulated: bool,
        opened_us: Option<i64>,
    ) -> AtTheDoor {
        if unit.is_empty() {
            return AtTheDoor::default();
        }
        let known = tokio::time::timeout(AT_THE_DOOR, self.door(unit, simulated)).await;
        let known = known.ok().and_then(Result::ok);
        let behind = known.is_none() || self.standing().is_behind();
        let mut known = known.map(|door| Door::clone(&door)).unwrap_or_default();
        let before = |at_us: i64| opened_us.is_none_or(|opened| at_us < opened);
        known.repairs.retain(|r| before(r.at_us));
        for part in &mut known.parts {
            part.failures.retain(|f| before(f.at_us));
            for failure in &mut part.failures {
                failure.fitted_us = failure.fitted_us.filter(|at| before(*at));
            }
        }
        known.parts.retain(|part| !part.failures.is_empty());
        AtTheDoor { known, behind }
    }

    /// What failed of a unit before, as it was remembered or is asked now.
    async fn door(&self, unit: &str, simulated: bool) -> Result<Arc<Door>, AskError> {
        let which = (unit.to_owned(), simulated);
        let update = {
            let state = self.state();
            if let Some(door) = state.doors.get(&which) {
                return Ok(Arc::clone(door));
            }
            state.update
        };
        let name = unit.to_owned();
        let asked = self.ask(move |index| index.door(&name, simulated)).await;
        let door: Arc<Door> = match asked {
            Ok(door) => Arc::new(door),
            Err(AskError::Index(Error::NoUnit { .. })) => Arc::default(),
            Err(error) => return Err(error),
        };
        let mut state = self.state();
        if state.update == update {
            if state.doors.len() >= DOORS {
                state.doors.clear();
            }
            state.doors.insert(which, Arc::clone(&door));
        }
        Ok(door)
    }

    fn state(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Keeps it up to date until nobody can tell it to look any more.
    fn keep(&self, turn: &Receiver<()>) {
        loop {
            let held = self.look();
            let pause = if held { HELD } else { EVERY };
            if turn.recv_timeout(pause) == Err(RecvTimeoutError::Disconnected) {
                return;
            }
            // Several that were told of meanwhile are one look.
            while turn.try_recv().is_ok() {}
        }
    }

    /// Reads what changed; gives whether another program holds it.
    fn look(&self) -> bool {
        let looked = self.gather();
        let mut state = self.state();
        state.update += 1;
        state.doors.clear();
        match looked {
            Ok(gathered) => {
                if gathered.problems != state.problems {
                    for problem in &gathered.problems {
                        let trail = problem.path.display();
                        tracing::warn!(%trail, what = problem.what, "the index names");
                    }
                }
                state.updated_us = Some(self.clocks.now().wall_us);
                state.trails = gathered.trails;
                state.problems = gathered.problems;
                state.trouble = None;
                false
            }
            Err(error) => {
                let held = matches!(error, Error::Held { .. });
                let trouble = error.to_string();
                if state.trouble.as_ref() != Some(&trouble) {
                    tracing::error!(%error, "the index is not up to date");
                }
                state.trouble = Some(trouble);
                held
            }
        }
    }

    fn gather(&self) -> Result<Gathered, Error> {
        let updated = Index::open(&self.path)
            .and_then(|mut index| index.update(std::slice::from_ref(&self.visits)));
        let told = match updated {
            Err(Error::Missing { .. }) => (Vec::new(), None),
            Err(error @ (Error::OtherVersion { .. } | Error::Damaged { .. })) => {
                tracing::warn!(%error, "the index is made anew");
                match Index::told_at(&self.path) {
                    Ok(told) => told,
                    Err(held @ Error::Held { .. }) => return Err(held),
                    // What is damaged so far does not say where else trails lie.
                    Err(_) => (Vec::new(), None),
                }
            }
            other => return other,
        };
        let (mut folders, sheets) = told;
        if !folders.iter().any(|known| self.visits.starts_with(known)) {
            folders.push(self.visits.clone());
        }
        let sheets = sheets.as_ref().unwrap_or(&self.sheets);
        rebuild_told(&self.path, &folders, Some(sheets))
    }
}
