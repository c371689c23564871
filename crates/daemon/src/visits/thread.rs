//! The thread of a visit's keeper: holds the visit, and takes it up again from its trail when it
//! fails. A thread and not a task, because it waits for the disk.

use std::collections::BTreeMap;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::time::{Duration, Instant};

use ohmtrail_core::reading::MeterId;
use ohmtrail_trail::event::{Event, Opened, Repair, Streamed};
use ohmtrail_trail::{Body, Record as TrailRecord, Trail};
use ohmtrail_visit::{Book, Input};
use ohmtrail_words::Said;
use tokio::sync::{mpsc, oneshot, watch};

use super::keeper::{Ended, Keeper};
use super::say::SayError;
use super::tell::TrailLine;
use super::{Context, Visit, Work};
use crate::desk::Desk;
use crate::meters::News;
use crate::trouble;

/// What comes in to a keeper. It outlasts a failure of the keeper.
pub(super) struct Inbox {
    /// What is said.
    pub work: mpsc::Receiver<Work>,
    /// What the meters have read.
    pub news: mpsc::Receiver<News>,
    /// Becomes true when the keeper has let go of the trail.
    pub finished: watch::Sender<bool>,
}

impl Inbox {
    /// What has come from the meters and was not taken in, behind what is in `news`.
    pub(super) fn waiting<'n>(&mut self, news: &'n mut Vec<News>) -> &'n mut Vec<News> {
        while let Ok(one) = self.news.try_recv() {
            news.push(one);
        }
        news
    }
}

/// How a keeper begins.
pub(super) enum First {
    /// With a new trail.
    New(Box<Beginning>),
    /// With the trail that is there.
    Again,
}

/// A new visit.
pub(super) struct Beginning {
    pub opened: Opened,
    pub complaint: Option<(String, String)>,
    pub repair: Option<Repair>,
    /// Told when the first events are on disk, or why they are not.
    pub answer: oneshot::Sender<Result<(), SayError>>,
}

/// Readings that are not in the trail yet. They outlast a failure of the keeper.
pub(super) type Groups = BTreeMap<MeterId, Vec<Streamed>>;

/// Why a keeper failed.
enum Failure {
    /// It will fail again: somebody has to do something.
    ForGood(Said),
    /// It may be tried again.
    ForNow(Said),
}

/// The first pause before a visit that failed is taken up again; doubled up to the last.
const FIRST_PAUSE: Duration = Duration::from_millis(100);
const LAST_PAUSE: Duration = Duration::from_secs(10);
/// A visit that was held for so long had recovered.
const RECOVERED: Duration = Duration::from_secs(60);

/// Starts the thread.
pub(super) fn start(visit: Arc<Visit>, context: Arc<Context>, mut inbox: Inbox, first: First) {
    let name = format!("visit {}", visit.id);
    let failed = Arc::clone(&visit);
    let spawned = std::thread::Builder::new().name(name).spawn(move || {
        context.metrics.visits.inc();
        hold_on(&visit, &context, &mut inbox, first);
        context.metrics.visits.dec();
        context.index.look_soon();
        inbox.work.close();
        inbox.finished.send_replace(true);
    });
    if let Err(error) = spawned {
        tracing::error!(visit = failed.id, %error, "no thread for the visit");
        failed.tell(|told| told.summary.problem = Some(trouble::other(&error)));
    }
}

/// Holds the visit until it has ended or the daemon stops, whatever fails meanwhile.
fn hold_on(visit: &Arc<Visit>, context: &Arc<Context>, inbox: &mut Inbox, first: First) {
    let mut first = first;
    let mut groups = Groups::new();
    let mut pause = FIRST_PAUSE;
    loop {
        let now = std::mem::replace(&mut first, First::Again);
        let is_new = matches!(now, First::New(_));
        let began = Instant::now();
        let held = catch_unwind(AssertUnwindSafe(|| {
            hold(visit, context, inbox, &mut groups, now)
        }));
        let problem = match held {
            Ok(Ok(Ended::Closed | Ended::Stopped)) => return,
            Ok(Err(Failure::ForGood(problem))) => {
                tracing::error!(visit = visit.id, %problem, "the visit cannot be opened");
                visit.tell(|told| told.summary.problem = Some(problem));
                return;
            }
            Ok(Err(Failure::ForNow(problem))) => problem,
            Err(_) => "it failed (a defect of this program)".into(),
        };
        if began.elapsed() > RECOVERED {
            pause = FIRST_PAUSE;
        }
        if is_new && !visit.path.exists() {
            return;
        }
        tracing::error!(
            visit = visit.id,
            %problem,
            "the visit is opened anew from its trail"
        );
        context.metrics.visit_restarts.inc();
        visit.tell(|told| told.summary.problem = Some(problem));
        let mut stop = context.stop.clone();
        let stopped = context
            .runtime
            .block_on(async { tokio::time::timeout(pause, stop.wait_for(|stop| *stop)).await });
        if stopped.is_ok() {
            return;
        }
        pause = (pause * 2).min(LAST_PAUSE);
    }
}

/// Opens the visit and keeps it.
fn hold(
    visit: &Arc<Visit>,
    context: &Arc<Context>,
    inbox: &mut Inbox,
    groups: &mut Groups,
    first: First,
) -> Result<Ended, Failure> {
    match first {
        First::New(beginning) => begin(visit, context, inbox, groups, *beginning),
        First::Again => again(visit, context, inbox, groups),
    }
}

fn begin(
    visit: &Arc<Visit>,
    context: &Arc<Context>,
    inbox: &mut Inbox,
    groups: &mut Groups,
    beginning: Beginning,
) -> Result<Ended, Failure> {
    let Beginning {
        opened,
        complaint,
        repair,
        answer,
    } = beginning;
    let bundle = context.sheets.of_trail(&opened.sheet, opened.sheet_hash);
    let bundle = bundle.map_err(|e| Failure::ForGood(trouble::of_sheet(&e)))?;
    let book = Book::new(&bundle).map_err(|e| Failure::ForGood(trouble::other(&e)))?;
    let at = context.clocks.now();
    let (desk, kept) = match Desk::open(&book, opened, Some(&visit.path), at) {
        Ok(opened) => opened,
        Err(error) => {
            let words = trouble::other(&error);
            // Who asked may have gone.
            let _ = answer.send(Err(error.into()));
            return Err(Failure::ForGood(words));
        }
    };
    let mut keeper = Keeper::new(visit, context, &book, desk, groups);
    keeper.told(&kept);
    let begin = || {
        if let Some(repair) = repair {
            keeper.say(Input::Repair(repair))?;
        }
        if let Some(note) = context.sheets.note() {
            keeper.say(Input::Note(note))?;
        }
        if let Some((what, words)) = complaint {
            keeper.say(Input::Complaint { what, words })?;
        }
        keeper.go_on()
    };
    let begun = begin();
    let failed = begun.as_ref().err().map(SayError::said);
    let _ = answer.send(begun);
    match failed {
        None => keeper
            .run(inbox)
            .map_err(|e| Failure::ForNow(Said::phrase(e))),
        Some(words) => Err(Failure::ForNow(words)),
    }
}

fn again(
    visit: &Arc<Visit>,
    context: &Arc<Context>,
    inbox: &mut Inbox,
    groups: &mut Groups,
) -> Result<Ended, Failure> {
    use ohmtrail_trail::Error;
    let opened = Trail::open_records(&visit.path);
    let (trail, records, recovery) = opened.map_err(|e| match e {
        Error::NotATrail { .. } | Error::NewerFormat { .. } | Error::NeverBegun { .. } => {
            Failure::ForGood(trouble::of_trail(&e))
        }
        other => Failure::ForNow(trouble::of_trail(&other)),
    })?;
    for damage in &recovery.damage {
        tracing::warn!(visit = visit.id, %damage, "the trail is damaged");
    }
    let opened = opened_of(&records)
        .ok_or_else(|| Failure::ForGood("its trail does not begin with a visit".into()))?;
    let bundle = context.sheets.of_trail(&opened.sheet, opened.sheet_hash);
    let bundle = bundle.map_err(|e| Failure::ForGood(trouble::of_sheet(&e)))?;
    let book = Book::new(&bundle).map_err(|e| Failure::ForGood(trouble::other(&e)))?;
    let desk = Desk::resume(&book, trail, &records);
    let desk = desk.map_err(|e| Failure::ForGood(trouble::other(&e)))?;
    for record in &records {
        if let Body::Entry(entry) = &record.body
            && !matches!(entry.event, Event::Readings { .. })
        {
            visit
                .log
                .keep(TrailLine::of(record.number, &record.hash, entry).frame());
        }
    }
    let mut keeper = Keeper::new(visit, context, &book, desk, groups);
    keeper.rejoin().map_err(|e| Failure::ForNow(e.said()))?;
    keeper
        .run(inbox)
        .map_err(|e| Failure::ForNow(Said::phrase(e)))
}

fn opened_of(records: &[TrailRecord]) -> Option<&Opened> {
    match &records.first()?.body {
        Body::Entry(entry) => match &entry.event {
            Event::Opened(opened) => Some(opened),
            _ => None,
        },
        _ => None,
    }
}
