//! The meters of the daemon: each is read by a task of its own, which outlives every failure of the
//! meter and of its driver, and hands what it reads to the visits that the meter has joined and to
//! whoever watches.
//!
//! A visit gets every reading: its queue is bounded, and while it is full the meter's task waits, and
//! with it this meter's port. Watchers are never waited for (see [`crate::stream`]).

mod keeper;
mod kept;
mod news;
mod replayed;

use std::collections::BTreeMap;
use std::path::{Component, Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError, RwLock};

use ohmtrail_core::reading::{Function, MeterId, Reading};
use ohmtrail_core::units::Micros;
use ohmtrail_meters::profile::Profile;
use ohmtrail_meters::replay::Pace;
use ohmtrail_meters::session::Tally;
use ohmtrail_meters::spec::{DriverSpec, Place, Spec, SpecError, StreamSpec};
use tokio::sync::{broadcast, mpsc, watch};
use tokio::task::AbortHandle;

pub use self::kept::{Kept, KeptError, Named};
pub use self::news::{MeterNews, News, ReadingNews, What};
pub use self::replayed::{ReplayError, bytes_beside, session as replay};
use crate::clock::Clocks;
use crate::metrics::Metrics;
use crate::sheets::is_name;
use crate::stream;

/// How a meter stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize, utoipa::ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Standing {
    /// Nothing was read of it yet.
    Opening,
    /// Its readings come.
    Up,
    /// No byte comes.
    Silent,
    /// Bytes come, and none are understood.
    Garbage,
    /// Its port is away, and is tried again and again.
    Away,
    /// Its driver failed too often, or there is nothing to replay: take it off and add it again.
    Failed,
    /// It was replayed to its end.
    Ended,
}

impl Standing {
    /// In a word, as its JSON form has it.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Standing::Opening => "opening",
            Standing::Up => "up",
            Standing::Silent => "silent",
            Standing::Garbage => "garbage",
            Standing::Away => "away",
            Standing::Failed => "failed",
            Standing::Ended => "ended",
        }
    }
}

/// How a meter stands, since when, and why.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct State {
    /// How.
    pub standing: Standing,
    /// Since when, on the steady clock.
    pub since: Micros,
    /// Why, as far as known; empty while it is up.
    pub why: String,
}

/// Where a meter's readings come from.
#[derive(Debug, Clone)]
pub enum Source {
    /// A meter that is there, at the end of a byte stream.
    Port(StreamSpec),
    /// A trail that is replayed: nothing is measured now.
    Replay {
        /// The trail.
        file: PathBuf,
        /// How fast.
        pace: Pace,
        /// What reads the bytes that were kept beside it; none for the readings as they were.
        driver: Option<DriverSpec>,
    },
}

impl Source {
    /// The driver's name.
    #[must_use]
    pub fn driver(&self) -> &'static str {
        match self {
            Source::Port(spec) => spec.driver.entry.name,
            Source::Replay { driver, .. } => driver.as_ref().map_or("replay", |d| d.entry.name),
        }
    }

    /// Where it is, in words.
    #[must_use]
    pub fn place(&self) -> String {
        match self {
            Source::Port(spec) => spec.place.to_string(),
            Source::Replay { file, .. } => format!("replay:{}", file.display()),
        }
    }

    fn is_at(&self, other: &Source) -> bool {
        match (self, other) {
            (Source::Port(one), Source::Port(other)) => one.place == other.place,
            (Source::Replay { file: one, .. }, Source::Replay { file: other, .. }) => one == other,
            _ => false,
        }
    }
}

/// A meter.
#[derive(Debug)]
pub struct Meter {
    /// Its number in the daemon.
    pub number: MeterId,
    /// What it is called.
    pub name: String,
    /// What it is for, unless a visit says otherwise.
    pub role: String,
    /// How it is reached and read.
    pub source: Source,
    /// What it is, and how accurate.
    pub profile: Profile,
    state: Mutex<State>,
    latest: Mutex<Option<Reading>>,
    tally: Mutex<Tally>,
    visits: RwLock<Vec<mpsc::Sender<News>>>,
    wanted: watch::Sender<Option<Function>>,
    task: Mutex<Option<AbortHandle>>,
}

fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Meter {
    /// The driver's name.
    #[must_use]
    pub fn driver(&self) -> &'static str {
        self.source.driver()
    }

    /// Whether a trail is replayed: what it shows was measured at another time, and maybe at another
    /// unit.
    #[must_use]
    pub fn is_replay(&self) -> bool {
        matches!(self.source, Source::Replay { .. })
    }

    /// How it stands.
    #[must_use]
    pub fn state(&self) -> State {
        lock(&self.state).clone()
    }

    /// What it showed last.
    #[must_use]
    pub fn latest(&self) -> Option<Reading> {
        *lock(&self.latest)
    }

    /// What was counted since it was opened last.
    #[must_use]
    pub fn tally(&self) -> Tally {
        *lock(&self.tally)
    }

    /// Sets what it is to measure from now on, where it can be told. Whoever calls this answers for
    /// the circuit: on ohms and farads a meter drives its own current.
    pub fn measure(&self, function: Function) {
        self.wanted.send_replace(Some(function));
    }

    /// Hands every reading to a visit's queue, from now on.
    pub fn join(&self, queue: mpsc::Sender<News>) {
        let mut visits = self.visits.write().unwrap_or_else(PoisonError::into_inner);
        visits.push(queue);
    }

    /// Ends that.
    pub fn leave(&self, queue: &mpsc::Sender<News>) {
        let mut visits = self.visits.write().unwrap_or_else(PoisonError::into_inner);
        visits.retain(|q| !q.same_channel(queue) && !q.is_closed());
    }
}

/// Why a meter was not added.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum AddError {
    /// The name cannot be one.
    #[error(
        "\"{0}\" cannot be the name of a meter: use letters, digits, `-`, `_` and `.`, at most 80"
    )]
    Name(String),
    /// There is one of that name.
    #[error("there is a meter \"{0}\" already: take it off first, or choose another name")]
    Taken(String),
    /// There is one at that place.
    #[error("the meter \"{name}\" is at {place} already: take it off first")]
    TakenPlace {
        /// Its name.
        name: String,
        /// The place.
        place: String,
    },
    /// It is no meter on a port.
    #[error(
        "the daemon reads meters on ports, and trails: name a port, or a trail to replay; typed values need no meter"
    )]
    NoPort,
    /// The spec or its profile is wrong.
    #[error(transparent)]
    Spec(#[from] SpecError),
    /// The driver does not start so.
    #[error(transparent)]
    Driver(#[from] ohmtrail_meters::driver::CannotStart),
    /// More than can be numbered.
    #[error("there are too many meters")]
    TooMany,
    /// A path that a client may not name.
    #[error("{path}: {why}")]
    Path {
        /// The path.
        path: String,
        /// Why not.
        why: &'static str,
    },
}

/// All meters.
#[derive(Debug)]
pub struct Meters {
    all: Mutex<BTreeMap<MeterId, Arc<Meter>>>,
    channel: broadcast::Sender<Arc<News>>,
    clocks: Clocks,
    metrics: Arc<Metrics>,
}

impl Meters {
    /// None yet.
    #[must_use]
    pub fn new(clocks: Clocks, metrics: Arc<Metrics>) -> Self {
        Meters {
            all: Mutex::default(),
            channel: broadcast::Sender::new(stream::CHANNEL),
            clocks,
            metrics,
        }
    }

    /// Adds a meter and begins to read it. It need not be there yet. To be called within the
    /// runtime.
    ///
    /// # Errors
    /// [`AddError`].
    pub fn add(
        &self,
        name: Option<String>,
        role: String,
        mut spec: Spec,
    ) -> Result<Arc<Meter>, AddError> {
        let profile = spec.load_profile()?;
        let source = match spec {
            Spec::Stream(spec) => {
                spec.driver.start(MeterId(1), None)?;
                Source::Port(spec)
            }
            Spec::Replay { file, pace, driver } => Source::Replay { file, pace, driver },
            _ => return Err(AddError::NoPort),
        };
        let mut all = lock(&self.all);
        let number = all.keys().last().map_or(Some(1), |m| m.0.checked_add(1));
        let number = MeterId(number.ok_or(AddError::TooMany)?);
        let name = name.unwrap_or_else(|| format!("meter-{}", number.0));
        if !is_name(&name) {
            return Err(AddError::Name(name));
        }
        if all.values().any(|m| m.name == name) {
            return Err(AddError::Taken(name));
        }
        if let Some(other) = all.values().find(|m| m.source.is_at(&source)) {
            return Err(AddError::TakenPlace {
                name: other.name.clone(),
                place: source.place(),
            });
        }
        let meter = Arc::new(Meter {
            number,
            name,
            role,
            source,
            profile,
            state: Mutex::new(State {
                standing: Standing::Opening,
                since: self.clocks.steady.now(),
                why: "nothing was read of it yet".to_owned(),
            }),
            latest: Mutex::default(),
            tally: Mutex::default(),
            visits: RwLock::default(),
            wanted: watch::Sender::new(None),
            task: Mutex::default(),
        });
        let keep = keeper::keep(
            Arc::clone(&meter),
            self.clocks.clone(),
            self.channel.clone(),
            Arc::clone(&self.metrics),
        );
        *lock(&meter.task) = Some(tokio::spawn(keep).abort_handle());
        all.insert(number, Arc::clone(&meter));
        tracing::info!(
            meter = meter.name,
            place = meter.source.place(),
            driver = meter.driver(),
            "meter added"
        );
        Ok(meter)
    }

    /// Takes a meter off, and lets go of its port. Visits are told that it is gone.
    pub async fn remove(&self, name: &str) -> Option<Arc<Meter>> {
        let meter = {
            let mut all = lock(&self.all);
            let number = all.values().find(|m| m.name == name)?.number;
            all.remove(&number)?
        };
        meter.stop();
        let lost = News {
            meter: meter.number,
            name: meter.name.clone(),
            what: What::Lost("taken off the daemon".to_owned()),
            frame: news::Once::default(),
        };
        let visits = meter.queues();
        for visit in visits {
            let _ = visit.send(lost.clone()).await;
        }
        tracing::info!(meter = meter.name, "meter taken off");
        Some(meter)
    }

    /// The meter of that name.
    #[must_use]
    pub fn find(&self, name: &str) -> Option<Arc<Meter>> {
        lock(&self.all).values().find(|m| m.name == name).cloned()
    }

    /// Every meter, by its number.
    #[must_use]
    pub fn list(&self) -> Vec<Arc<Meter>> {
        lock(&self.all).values().cloned().collect()
    }

    /// The meter that a driver of that name reads at that place.
    #[must_use]
    pub fn at(&self, driver: &str, place: &str) -> Option<Arc<Meter>> {
        let all = lock(&self.all);
        let here = |m: &&Arc<Meter>| m.driver() == driver && m.source.place() == place;
        all.values().find(here).cloned()
    }

    /// Watches all of them, from now on.
    #[must_use]
    pub fn watch(&self) -> broadcast::Receiver<Arc<News>> {
        self.channel.subscribe()
    }

    /// Lets go of every port.
    pub fn stop(&self) {
        for meter in lock(&self.all).values() {
            meter.stop();
        }
    }
}

impl Meter {
    fn stop(&self) {
        if let Some(task) = lock(&self.task).take() {
            task.abort();
        }
    }

    fn queues(&self) -> Vec<mpsc::Sender<News>> {
        let visits = self.visits.read().unwrap_or_else(PoisonError::into_inner);
        visits.clone()
    }
}

/// Holds the paths of a spec that came over the network to where they may be: a port under `/dev`, a
/// profile in the folder `profiles` of the data folder, a trail in `visits`.
///
/// # Errors
/// [`AddError::Path`].
pub fn hold_paths(spec: &mut Spec, data: &Path) -> Result<(), AddError> {
    let driver = match spec {
        Spec::Stream(stream) => {
            hold_port(&stream.place)?;
            Some(&mut stream.driver)
        }
        Spec::Replay { file, driver, .. } => {
            let why = "a trail is named by its file in the folder `visits` of the data folder";
            *file = within(file, &data.join("visits"), why)?;
            driver.as_mut()
        }
        _ => None,
    };
    if let Some(driver) = driver
        && let Some(file) = &driver.profile
    {
        let why = "a profile is named by its file in the folder `profiles` of the data folder";
        driver.profile = Some(within(file, &data.join("profiles"), why)?);
    }
    Ok(())
}

/// A file that is named by its name alone, in its folder.
fn within(file: &Path, folder: &Path, why: &'static str) -> Result<PathBuf, AddError> {
    let name = file.to_str().filter(|n| is_name(n));
    let name = name.ok_or_else(|| AddError::Path {
        path: file.display().to_string(),
        why,
    })?;
    Ok(folder.join(name))
}

fn hold_port(place: &Place) -> Result<(), AddError> {
    if let Place::Serial { path, .. } = place {
        let plain = path
            .components()
            .all(|c| matches!(c, Component::RootDir | Component::Normal(_)));
        if !plain || !path.starts_with("/dev") {
            return Err(AddError::Path {
                path: path.display().to_string(),
                why: "a serial port is named by its path under /dev",
            });
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_client_cannot_name_any_file() {
        let held = |text: &str| -> Result<Spec, AddError> {
            let mut spec = text.parse()?;
            hold_paths(&mut spec, Path::new("data")).map(|()| spec)
        };
        assert!(held("serial:/dev/pts/3,frame=count14").is_ok());
        for bad in [
            "serial:/etc/passwd,frame=count14",
            "serial:/dev/../etc/passwd,frame=count14",
            "serial:dev/x,frame=count14",
            "serial:/dev/x,frame=count14,profile=/etc/passwd",
            "tcp:localhost:5025,frame=scpi,profile=../x.toml",
            "replay:/etc/passwd",
            "replay:../x.trail",
        ] {
            assert!(matches!(held(bad), Err(AddError::Path { .. })), "{bad}");
        }
        let Ok(Spec::Stream(spec)) = held("serial:/dev/x,frame=count14,profile=fine.toml") else {
            panic!("a good spec");
        };
        assert_eq!(
            spec.driver.profile.as_deref(),
            Some(Path::new("data/profiles/fine.toml"))
        );
        let Ok(Spec::Replay { file, .. }) = held("replay:2026-11-26-001.trail") else {
            panic!("a good spec");
        };
        assert_eq!(file, Path::new("data/visits/2026-11-26-001.trail"));
    }
}
