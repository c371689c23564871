//! The visits of the daemon. Each open visit has one keeper: a thread that holds its trail and its
//! state, takes what is said to it in turn, and goes on from the trail if it fails. A visit that has
//! ended is read from its trail when somebody asks.

mod keeper;
mod repairs;
mod say;
mod tell;
mod thread;
pub mod view;
mod watching;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError, RwLock};
use std::time::Duration;

use ohmtrail_core::reading::MeterId;
use ohmtrail_trail::event::{Event, Opened, Repair};
use ohmtrail_trail::{Body, Hash, read, rfc3339};
use ohmtrail_visit::{Book, Input, Record};
use ohmtrail_words::Said as Sentence;
use tokio::runtime::Handle;
use tokio::sync::{mpsc, oneshot, watch};

pub use self::keeper::Keeper;
pub(crate) use self::repairs::of as repair_of;
pub use self::repairs::{RepairError, Repairer};
pub use self::say::{Place, Said, SayError, Typed};
pub use self::tell::{Now, Summary, TrailLine};
use crate::after::AfterError;
use crate::clock::Clocks;
use crate::index::Shop;
use crate::meters::{Meters, News};
use crate::metrics::Metrics;
use crate::sheets::{Sheets, SheetsError, is_name};
use crate::stream::Log;
use crate::trouble;

/// What is said to a visit: done on its keeper's thread, in turn.
pub(crate) type Work = Box<dyn for<'k, 'b> FnOnce(&'k mut Keeper<'b>) + Send>;

/// What may wait for a keeper before the API says that it is busy.
const WORK: usize = 64;
/// Readings that may wait for a keeper; while they are this many, its meters wait.
const NEWS: usize = 4096;
/// How long somebody waits for a keeper before they are told that it is busy.
const PATIENCE: Duration = Duration::from_secs(10);

/// What every visit needs of the daemon.
#[derive(Debug)]
pub struct Context {
    /// Both clocks.
    pub clocks: Clocks,
    /// The meters.
    pub meters: Arc<Meters>,
    /// The sheets.
    pub sheets: Sheets,
    /// The shop index.
    pub index: Arc<Shop>,
    /// The counters.
    pub metrics: Arc<Metrics>,
    /// True when the daemon stops.
    pub stop: watch::Receiver<bool>,
    /// The runtime, for its timers.
    pub runtime: Handle,
}

/// Why nothing can be had of a visit.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum Away {
    /// It has ended.
    #[error("the visit has ended: a return visit is a trail of its own")]
    Closed,
    /// It cannot be read.
    #[error("the visit cannot be opened: {0}")]
    Broken(Sentence),
    /// It failed just now, and goes on from its trail.
    #[error(
        "the visit is being opened anew from its trail; what was said last may not have been kept: look, then say it again"
    )]
    Restarted,
    /// Its keeper does not answer in time.
    #[error(
        "the visit does not answer: its disk may be slow or full; what was kept is safe, try again"
    )]
    Busy,
}

/// A visit of the daemon.
#[derive(Debug)]
pub struct Visit {
    /// Its name, that of its file.
    pub id: String,
    /// Its trail.
    pub path: PathBuf,
    /// What was told of it.
    pub log: Log,
    work: mpsc::Sender<Work>,
    news: mpsc::Sender<News>,
    told: RwLock<Told>,
    joined: RwLock<BTreeMap<MeterId, String>>,
    done: watch::Receiver<bool>,
}

/// What can be told of a visit at any moment.
#[derive(Debug, Clone)]
struct Told {
    summary: Summary,
    now: Option<Arc<Now>>,
}

impl Visit {
    /// Its line in the list.
    #[must_use]
    pub fn summary(&self) -> Summary {
        let told = self.told.read().unwrap_or_else(PoisonError::into_inner);
        told.summary.clone()
    }

    /// How it stands; none until it was opened.
    #[must_use]
    pub fn now(&self) -> Option<Arc<Now>> {
        let told = self.told.read().unwrap_or_else(PoisonError::into_inner);
        told.now.clone()
    }

    fn tell(&self, change: impl FnOnce(&mut Told)) {
        change(&mut self.told.write().unwrap_or_else(PoisonError::into_inner));
    }

    /// What a meter of the daemon is for in this visit; none if it has not joined.
    #[must_use]
    pub fn role(&self, meter: MeterId) -> Option<String> {
        let joined = self.joined.read().unwrap_or_else(PoisonError::into_inner);
        joined.get(&meter).cloned()
    }

    /// The folder of its photographs.
    #[must_use]
    pub fn photos(&self) -> PathBuf {
        self.path.with_extension("photos")
    }

    /// Says something to the keeper, and waits for what it answers.
    ///
    /// # Errors
    /// [`Away`].
    pub async fn with<R: Send + 'static>(
        &self,
        work: impl for<'k, 'b> FnOnce(&'k mut Keeper<'b>) -> R + Send + 'static,
    ) -> Result<R, Away> {
        let (answer, answered) = oneshot::channel();
        let work: Work = Box::new(move |keeper| {
            // Who asked may have gone.
            let _ = answer.send(work(keeper));
        });
        match self.work.send_timeout(work, PATIENCE).await {
            Ok(()) => {}
            Err(mpsc::error::SendTimeoutError::Timeout(_)) => return Err(Away::Busy),
            Err(mpsc::error::SendTimeoutError::Closed(_)) => return Err(self.ended()),
        }
        match tokio::time::timeout(PATIENCE, answered).await {
            Ok(Ok(answer)) => Ok(answer),
            Ok(Err(_)) if *self.done.borrow() => Err(self.ended()),
            Ok(Err(_)) => Err(Away::Restarted),
            Err(_) => Err(Away::Busy),
        }
    }

    fn ended(&self) -> Away {
        match self.summary().problem {
            Some(problem) => Away::Broken(problem),
            None => Away::Closed,
        }
    }

    /// Reads something of the visit: by its keeper while it is open, else from its trail.
    ///
    /// # Errors
    /// [`Away`].
    pub async fn look<R: Send + 'static>(
        self: &Arc<Self>,
        context: &Arc<Context>,
        look: impl FnOnce(&Seen<'_>) -> R + Send + Clone + 'static,
    ) -> Result<R, Away> {
        let again = look.clone();
        match self.with(move |keeper| look(&keeper.seen())).await {
            Err(Away::Closed) => {
                let (visit, context) = (Arc::clone(self), Arc::clone(context));
                let read = tokio::task::spawn_blocking(move || visit.read(&context, again));
                let failed = |e: tokio::task::JoinError| Away::Broken(trouble::other(&e));
                read.await.map_err(failed)?
            }
            other => other,
        }
    }

    /// Says something to a visit that has ended: see [`crate::after`].
    ///
    /// # Errors
    /// [`Away`], or what it refuses.
    pub async fn say_after(
        self: &Arc<Self>,
        context: &Arc<Context>,
        input: Input,
    ) -> Result<Result<Vec<crate::desk::Kept>, AfterError>, Away> {
        let (visit, context) = (Arc::clone(self), Arc::clone(context));
        let at = context.clocks.now();
        let index = Arc::clone(&context.index);
        let said = move || {
            visit.read(&context, |seen| {
                crate::after::say(seen.book, &visit.path, input, at)
            })
        };
        let said = tokio::task::spawn_blocking(said).await;
        index.look_soon();
        said.map_err(|e| Away::Broken(trouble::other(&e)))?
    }

    /// Reads the trail of a visit that has ended.
    fn read<R>(&self, context: &Context, look: impl FnOnce(&Seen<'_>) -> R) -> Result<R, Away> {
        let mut entries = Vec::new();
        let mut head = Hash([0; 32]);
        for record in read(&self.path).map_err(|e| Away::Broken(trouble::of_trail(&e)))? {
            // What is damaged is named by the trail's own check.
            let Ok(record) = record else { continue };
            head = record.hash;
            if let Body::Entry(entry) = record.body {
                entries.push(entry);
            }
        }
        let Some(Event::Opened(opened)) = entries.first().map(|e| &e.event) else {
            return Err(Away::Broken("its trail does not begin with a visit".into()));
        };
        let bundle = context.sheets.of_trail(&opened.sheet, opened.sheet_hash);
        let bundle = bundle.map_err(|e| Away::Broken(trouble::of_sheet(&e)))?;
        let book = Book::new(&bundle).map_err(|e| Away::Broken(trouble::other(&e)))?;
        let record = Record::of(&book, &entries);
        Ok(look(&Seen {
            book: &book,
            record: &record,
            head,
            live: None,
        }))
    }
}

/// What can be seen of a visit.
#[derive(Debug)]
pub struct Seen<'s> {
    /// Its sheet.
    pub book: &'s Book<'s>,
    /// What its trail says.
    pub record: &'s Record,
    /// The head hash of the trail.
    pub head: Hash,
    /// How it stands, while it is open.
    pub live: Option<view::Live>,
}

/// Why a visit was not opened.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum OpenError {
    /// Its sheet cannot be had.
    #[error(transparent)]
    Sheet(#[from] SheetsError),
    /// Something of it was refused.
    #[error(transparent)]
    Say(#[from] SayError),
    /// The system refuses.
    #[error("{path}: {source}")]
    Io {
        /// What.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// Its keeper failed at once.
    #[error(transparent)]
    Away(#[from] Away),
}

/// What a visit is opened with.
#[derive(Debug, Clone, Default)]
pub struct New {
    /// The work order.
    pub work_order: String,
    /// Who does it.
    pub technician: String,
    /// The unit, as the shop names it.
    pub unit: String,
    /// The sheet's name.
    pub sheet: String,
    /// The head hash of the trail before this one of the same unit.
    pub previous: Option<[u8; 32]>,
    /// Whether the unit is simulated.
    pub simulated: bool,
    /// What the customer reports.
    pub complaint: Option<(String, String)>,
    /// What it is to repair.
    pub repair: Option<Repair>,
}

/// All visits.
#[derive(Debug)]
pub struct Visits {
    folder: PathBuf,
    context: Arc<Context>,
    all: Mutex<BTreeMap<String, Arc<Visit>>>,
}

impl Visits {
    /// The visits of a folder, which is made if need be. Every one that has not ended goes on.
    ///
    /// # Errors
    /// What the system refuses.
    pub fn open_folder(folder: &Path, context: Arc<Context>) -> std::io::Result<Self> {
        std::fs::create_dir_all(folder)?;
        let visits = Visits {
            folder: folder.to_path_buf(),
            context,
            all: Mutex::default(),
        };
        let mut all = BTreeMap::new();
        for entry in std::fs::read_dir(folder)? {
            let path = entry?.path();
            let id = path
                .file_stem()
                .and_then(|s| s.to_str())
                .unwrap_or_default();
            if path.extension().is_some_and(|e| e == "trail") && is_name(id) {
                let id = id.to_owned();
                all.insert(id.clone(), visits.found(id, path));
            }
        }
        *visits.all.lock().unwrap_or_else(PoisonError::into_inner) = all;
        Ok(visits)
    }

    /// A visit that is there already.
    fn found(&self, id: String, path: PathBuf) -> Arc<Visit> {
        match tell::summary_of(&id, &path) {
            Ok((summary, false)) => self.begin(id, path, summary, thread::First::Again),
            Ok((summary, true)) => Arc::new(Visit::ended_before(id, path, summary)),
            Err(problem) => {
                tracing::error!(visit = id, %problem, "the visit cannot be read");
                let summary = Summary::broken(&id, problem);
                Arc::new(Visit::ended_before(id, path, summary))
            }
        }
    }

    fn begin(
        &self,
        id: String,
        path: PathBuf,
        summary: Summary,
        first: thread::First,
    ) -> Arc<Visit> {
        let (work, work_from) = mpsc::channel(WORK);
        let (news, news_from) = mpsc::channel(NEWS);
        let (finished, done) = watch::channel(false);
        let visit = Arc::new(Visit {
            id,
            path,
            log: Log::default(),
            work,
            news,
            told: RwLock::new(Told { summary, now: None }),
            joined: RwLock::default(),
            done,
        });
        let inbox = thread::Inbox {
            work: work_from,
            news: news_from,
            finished,
        };
        thread::start(Arc::clone(&visit), Arc::clone(&self.context), inbox, first);
        visit
    }

    /// Opens a new visit; its first events are on disk when this returns.
    ///
    /// # Errors
    /// [`OpenError`]; there is no visit then.
    pub async fn open(&self, new: New) -> Result<Arc<Visit>, OpenError> {
        let name = new.sheet.clone();
        let context = Arc::clone(&self.context);
        let bundle = tokio::task::spawn_blocking(move || context.sheets.bundle(&name)).await;
        let bundle = bundle.map_err(|e| Away::Broken(trouble::other(&e)))??;
        if let Some((what, _)) = &new.complaint {
            let known = &bundle.sheet.complaints;
            if known.iter().all(|c| c.name != *what) {
                return Err(OpenError::Say(SayError::Unknown {
                    kind: "complaint",
                    name: what.clone(),
                    known: known.iter().map(|c| c.name.clone()).collect(),
                }));
            }
        }
        let opened = Opened {
            tool: concat!("ohmtrail ", env!("CARGO_PKG_VERSION")).to_owned(),
            work_order: new.work_order,
            technician: new.technician,
            unit: new.unit,
            sheet: bundle.sheet.name.clone(),
            sheet_hash: bundle.sheet.hash,
            previous: new.previous,
            simulated: new.simulated,
        };
        let (answer, begun) = oneshot::channel();
        let visit = {
            let mut all = self.all.lock().unwrap_or_else(PoisonError::into_inner);
            let (id, path) = self.free_name(&all);
            let summary = Summary::new(&id, &opened, self.context.clocks.now());
            let first = thread::First::New(Box::new(thread::Beginning {
                opened,
                complaint: new.complaint,
                repair: new.repair,
                answer,
            }));
            let visit = self.begin(id.clone(), path, summary, first);
            all.insert(id, Arc::clone(&visit));
            visit
        };
        let failed = match begun.await {
            Ok(Ok(())) => return Ok(visit),
            Ok(Err(error)) => OpenError::Say(error),
            Err(_) => OpenError::Away(visit.ended()),
        };
        let mut all = self.all.lock().unwrap_or_else(PoisonError::into_inner);
        all.remove(&visit.id);
        Err(failed)
    }

    /// The first name that is free: the day by the wall clock, and a number. A clock that stepped
    /// back finds the next number.
    fn free_name(&self, all: &BTreeMap<String, Arc<Visit>>) -> (String, PathBuf) {
        let now = rfc3339(self.context.clocks.now().wall_us).unwrap_or_default();
        let day = now.get(..10).unwrap_or("visit");
        let mut number = 1_u32;
        loop {
            let id = format!("{day}-{number:03}");
            let path = self.folder.join(format!("{id}.trail"));
            if !all.contains_key(&id) && !path.exists() {
                return (id, path);
            }
            number += 1;
        }
    }

    /// The visit of that name.
    #[must_use]
    pub fn find(&self, id: &str) -> Option<Arc<Visit>> {
        let all = self.all.lock().unwrap_or_else(PoisonError::into_inner);
        all.get(id).cloned()
    }

    /// Every visit, the latest first.
    #[must_use]
    pub fn list(&self) -> Vec<Arc<Visit>> {
        let all = self.all.lock().unwrap_or_else(PoisonError::into_inner);
        all.values().rev().cloned().collect()
    }

    /// What the visits need of the daemon.
    #[must_use]
    pub fn context(&self) -> &Arc<Context> {
        &self.context
    }

    /// Waits until every keeper has put everything on disk and let go of its trail.
    pub async fn stopped(&self) {
        for visit in self.list() {
            let mut done = visit.done.clone();
            // An error says that the keeper is gone, too.
            let _ = done.wait_for(|done| *done).await;
        }
    }
}

impl Visit {
    /// A visit that had ended before the daemon was started, or that cannot be read.
    fn ended_before(id: String, path: PathBuf, summary: Summary) -> Self {
        let (work, _) = mpsc::channel(1);
        let (news, _) = mpsc::channel(1);
        let (_, done) = watch::channel(true);
        Visit {
            id,
            path,
            log: Log::default(),
            work,
            news,
            told: RwLock::new(Told { summary, now: None }),
            joined: RwLock::default(),
            done,
        }
    }

    /// Fills the log of a visit that had ended before.
    pub fn fill_log(&self) {
        if !self.log.is_empty() {
            return;
        }
        let Ok(records) = read(&self.path) else {
            return;
        };
        for record in records.flatten() {
            if let Body::Entry(entry) = &record.body {
                let line = TrailLine::of(record.number, &record.hash, entry);
                self.log.keep(line.frame());
            }
        }
    }
}
