//! The one owner of an open visit: its trail, its state, and the meters that have joined it.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;

use ohmtrail_core::reading::{MeterId, Reading};
use ohmtrail_core::units::Micros;
use ohmtrail_trail::Hash;
use ohmtrail_trail::event::{Event, MeterJoined, Streamed};
use ohmtrail_visit::{Book, Input, Inputs, Stage};
use ohmtrail_words::Said;
use tokio::time::sleep;

use super::say::SayError;
use super::tell::{Now, TrailLine, Waiting, WatchingNow, stage_word};
use super::thread::{Groups, Inbox};
use super::watching::Watching;
use super::{Context, Seen, Visit, Work, view};
use crate::desk::{Desk, DeskError, Kept};
use crate::forms::{Ask, Cooldown, request_words};
use crate::meters::{Meter, News, Standing, What};
use crate::stream::Frame;

/// How often streamed readings are put on disk, and the visit is asked whether time has changed
/// anything.
const TICK: Duration = Duration::from_millis(500);
/// The driver that the trail names for typed values.
const KEYED: &str = "keyed";

/// How a keeper ended.
pub(super) enum Ended {
    /// The visit has ended.
    Closed,
    /// The daemon stops.
    Stopped,
}

/// A meter that has joined the visit.
pub(super) struct Joined {
    /// Its number in the visit.
    pub id: MeterId,
    pub meter: Arc<Meter>,
    /// Whether the visit was told that it is away.
    pub lost: bool,
    /// What it showed last.
    pub latest: Option<Reading>,
}

/// Keeps a visit.
pub struct Keeper<'b> {
    pub(super) visit: Arc<Visit>,
    pub(super) context: Arc<Context>,
    pub(super) book: &'b Book<'b>,
    pub(super) desk: Desk<'b>,
    /// By their numbers in the daemon.
    pub(super) meters: BTreeMap<MeterId, Joined>,
    pub(super) watching: Option<Watching>,
    keyed: Option<MeterId>,
    /// Streamed readings by the meter's number in the visit.
    groups: &'b mut Groups,
    flushed: Micros,
    /// What was called out by the last thing said or read.
    alarm: Option<&'static str>,
    /// Why a take that was waited for did not come about, since something was last said.
    pub(super) refused: Option<Said>,
    shown: Option<Arc<Now>>,
    /// The trail has failed: the visit must be opened anew.
    broken: Option<String>,
}

/// What a keeper waits for.
enum Next {
    Work(Option<Work>),
    News,
    Tick,
    Stop,
}

impl<'b> Keeper<'b> {
    pub(super) fn new(
        visit: &Arc<Visit>,
        context: &Arc<Context>,
        book: &'b Book<'b>,
        desk: Desk<'b>,
        groups: &'b mut Groups,
    ) -> Self {
        Keeper {
            visit: Arc::clone(visit),
            context: Arc::clone(context),
            book,
            desk,
            meters: BTreeMap::new(),
            watching: None,
            keyed: None,
            groups,
            flushed: context.clocks.now().steady,
            alarm: None,
            refused: None,
            shown: None,
            broken: None,
        }
    }

    /// Keeps the visit until it has ended or the daemon stops.
    ///
    /// # Errors
    /// Why it must be opened anew.
    pub(super) fn run(mut self, inbox: &mut Inbox) -> Result<Ended, String> {
        let mut stop = self.context.stop.clone();
        let runtime = self.context.runtime.clone();
        let mut news = Vec::new();
        loop {
            let turned = self.turn();
            self.only_the_disk(turned)?;
            if self.desk.visit.stage() == Stage::Closed {
                return self.end(Ended::Closed);
            }
            let pause = self.pause();
            let next = runtime.block_on(async {
                tokio::select! {
                    biased;
                    _ = stop.wait_for(|stop| *stop) => Next::Stop,
                    work = inbox.work.recv() => Next::Work(work),
                    _ = inbox.news.recv_many(&mut news, 256) => Next::News,
                    () = sleep(pause) => Next::Tick,
                }
            });
            match next {
                Next::Work(Some(work)) => {
                    // Whoever says something has seen what was read before: that comes first.
                    let heard = self.hear(inbox.waiting(&mut news));
                    self.only_the_disk(heard)?;
                    work(&mut self);
                }
                Next::News => {}
                Next::Tick => {
                    let ticked = self.tick();
                    self.only_the_disk(ticked)?;
                }
                Next::Work(None) | Next::Stop => {
                    let heard = self.hear(inbox.waiting(&mut news));
                    self.only_the_disk(heard)?;
                    return self.end(Ended::Stopped);
                }
            }
            let heard = self.hear(&mut news);
            self.only_the_disk(heard)?;
        }
    }

    /// A refusal of what a meter said is noted; a trail that cannot be written ends this keeper.
    fn only_the_disk(&mut self, done: Result<(), SayError>) -> Result<(), String> {
        if let Some(broken) = self.broken.take() {
            return Err(broken);
        }
        if let Err(error) = done {
            tracing::warn!(visit = self.visit.id, %error, "refused");
        }
        Ok(())
    }

    /// How long nothing need be done, if nothing comes in.
    fn pause(&self) -> Duration {
        let now = self.context.clocks.now().steady;
        let until = self.desk.visit.waiting().map(|w| w.until.since(now));
        until.map_or(TICK, |us| Duration::from_micros(us).min(TICK))
    }

    /// Lets go of everything, with everything on disk.
    fn end(mut self, ended: Ended) -> Result<Ended, String> {
        self.flush().map_err(|e| e.to_string())?;
        for joined in self.meters.values() {
            joined.meter.leave(&self.visit.news);
        }
        self.show();
        self.desk.close().map_err(|e| e.to_string())?;
        Ok(ended)
    }

    /// Lets the visit go on by itself, and tells how it stands.
    fn turn(&mut self) -> Result<(), SayError> {
        self.go_on()?;
        self.show();
        Ok(())
    }

    fn tick(&mut self) -> Result<(), SayError> {
        self.give_up_watching();
        self.cooling();
        self.flush()
    }

    /// Takes in what the meters have read.
    fn hear(&mut self, news: &mut Vec<News>) -> Result<(), SayError> {
        for one in news.drain(..) {
            let Some(joined) = self.meters.get_mut(&one.meter) else {
                continue;
            };
            let meter = joined.id;
            match one.what {
                What::Reading(reading) => {
                    let reading = Reading { meter, ..reading };
                    joined.latest = Some(reading);
                    self.reading(one.meter, reading)?;
                }
                What::Lost(why) => self.lost(one.meter, why)?,
                What::Back(gap_us) => {
                    if std::mem::take(&mut joined.lost) {
                        self.say(Input::MeterBack { meter, gap_us })?;
                    }
                }
                What::State(_) | What::Told(_) => {}
            }
        }
        let due = self.context.clocks.now().steady.since(self.flushed);
        if due >= TICK.as_micros() as u64 {
            self.flush()?;
        }
        Ok(())
    }

    fn reading(&mut self, number: MeterId, reading: Reading) -> Result<(), SayError> {
        self.groups
            .entry(reading.meter)
            .or_default()
            .push(Streamed {
                at: reading.at,
                function: reading.function,
                shown: reading.shown,
                flags: reading.flags,
            });
        let came = self.say(Input::Live(reading))?;
        if !came.is_empty() {
            self.flush()?;
        }
        self.settle(number, &reading)
    }

    /// A meter of the visit is not read any more.
    fn lost(&mut self, number: MeterId, why: String) -> Result<(), SayError> {
        self.flush()?;
        let Some(joined) = self.meters.get_mut(&number) else {
            return Ok(());
        };
        if std::mem::replace(&mut joined.lost, true) {
            return Ok(());
        }
        joined.latest = None;
        let meter = joined.id;
        self.void_watching(number, &why)?;
        self.say(Input::MeterLost { meter, why })?;
        Ok(())
    }

    /// Hands the streamed readings to the trail, and puts them on disk.
    pub(super) fn flush(&mut self) -> Result<(), SayError> {
        self.flushed = self.context.clocks.now().steady;
        let numbers: Vec<MeterId> = self.groups.keys().copied().collect();
        for meter in numbers {
            let Some(readings) = self.groups.get(&meter).filter(|g| !g.is_empty()).cloned() else {
                continue;
            };
            match self.say(Input::Readings { meter, readings }) {
                Ok(_) => {}
                // Of a meter that has not joined again after a failure: nothing can hold them.
                Err(SayError::Refused(why)) => {
                    tracing::warn!(visit = self.visit.id, %why, "readings are left out");
                }
                Err(other) => return Err(other),
            }
            self.groups.remove(&meter);
        }
        let committed = self.desk.commit();
        committed.map_err(|e| self.failed(e))
    }

    /// Puts the streamed readings on disk now.
    ///
    /// # Errors
    /// [`SayError`].
    pub fn flush_now(&mut self) -> Result<(), SayError> {
        self.flush()
    }

    /// Says something to the visit. What came of it is on disk and told when this returns.
    ///
    /// # Errors
    /// [`SayError`].
    pub(super) fn say(&mut self, input: Input) -> Result<Vec<TrailLine>, SayError> {
        let began = std::time::Instant::now();
        let at = self.context.clocks.now();
        let said = self.desk.say(input, at);
        let kept = said.map_err(|e| self.failed(e))?;
        if let Some(alarm) = self.desk.visit.alarm() {
            tracing::warn!(visit = self.visit.id, alarm, "alarm");
            self.alarm = Some(alarm);
            self.visit.log.pass(Frame::new("alarm", None, &alarm));
        }
        if !kept.is_empty() {
            let waited = began.elapsed().as_secs_f64();
            self.context.metrics.kept.observe(waited);
        }
        Ok(self.told(&kept))
    }

    /// Lets the visit go on by itself.
    ///
    /// # Errors
    /// [`SayError::Trail`].
    pub(super) fn go_on(&mut self) -> Result<(), SayError> {
        let gone = self.desk.go_on(self.context.clocks.now());
        let kept = gone.map_err(|e| self.failed(e))?;
        if !kept.is_empty() {
            self.told(&kept);
            self.cooling();
        }
        Ok(())
    }

    fn failed(&mut self, error: DeskError) -> SayError {
        if let DeskError::Trail(error) = &error {
            self.broken = Some(error.to_string());
        }
        error.into()
    }

    /// Tells those who watch; gives the lines.
    pub(super) fn told(&mut self, kept: &[Kept]) -> Vec<TrailLine> {
        let mut lines = Vec::new();
        for Kept {
            record,
            hash,
            entry,
        } in kept
        {
            match &entry.event {
                // Those who watch see each reading as it comes.
                Event::Readings { .. } => continue,
                Event::Took(_) => {
                    self.context.metrics.takes.inc();
                }
                _ => {}
            }
            let line = TrailLine::of(*record, hash, entry);
            self.visit.log.keep(line.frame());
            lines.push(line);
        }
        lines
    }

    /// What there is to tell of compressors that cool.
    fn cooling(&mut self) {
        let at = self.context.clocks.now();
        for cooling in self.desk.visit.cooling_news(at) {
            let frame = Frame::new("cooldown", None, &Cooldown::of(&cooling));
            self.visit.log.pass(frame);
        }
    }

    /// A person said something: what was called out before has been heard.
    pub(super) fn heard_alarm(&mut self) {
        self.alarm = None;
        self.refused = None;
    }

    /// How the visit stands.
    #[must_use]
    pub fn standing(&mut self) -> Now {
        self.now()
    }

    pub(super) fn now(&self) -> Now {
        let visit = &self.desk.visit;
        let open = visit.record().open_ask();
        let at = self.context.clocks.now().steady;
        Now {
            stage: stage_word(visit.stage()),
            ask: open.map(Ask::of),
            words: open.map(request_words),
            waiting: visit.waiting().map(|w| Waiting {
                seconds: w.until.since(at).div_ceil(1_000_000),
                why: w.why,
            }),
            alarm: self.alarm,
            watching: self.watching.as_ref().map(|w| WatchingNow {
                ask: w.of.ask(),
                meter: w.name.clone(),
            }),
            why: visit.why(),
            for_a_gate: visit.asks_for_a_gate(),
            refused: self.refused.clone(),
        }
    }

    /// Tells how the visit stands, if that is new.
    pub(super) fn show(&mut self) {
        let now = self.now();
        let same = |a: &Now, b: &Now| {
            let why = |n: &Now| n.waiting.as_ref().map(|w| w.why);
            (a.stage, &a.ask, a.alarm, &a.watching, why(a))
                == (b.stage, &b.ask, b.alarm, &b.watching, why(b))
        };
        if self.shown.as_ref().is_some_and(|shown| same(shown, &now)) {
            return;
        }
        let frame = Frame::new("now", None, &now);
        let now = Arc::new(now);
        self.shown = Some(Arc::clone(&now));
        let record = self.desk.visit.record();
        self.visit.tell(|told| {
            let summary = &mut told.summary;
            summary.stage = now.stage.to_owned();
            summary.open_ask = record.open;
            summary.found = record.finding.as_ref().map(|f| f.faults.clone());
            summary.problem = None;
            told.now = Some(now);
        });
        self.visit.log.pass(frame);
    }

    /// What can be seen of the visit.
    #[must_use]
    pub fn seen(&self) -> Seen<'_> {
        Seen {
            book: self.book,
            record: self.desk.visit.record(),
            head: self.desk.head().unwrap_or(Hash([0; 32])),
            live: Some(view::Live {
                now: self.now(),
                meters: self
                    .meters
                    .values()
                    .map(|j| (j.id, (j.meter.name.clone(), j.meter.state())))
                    .collect(),
            }),
        }
    }

    /// Takes a meter of the daemon into the visit, or says anew what it is for.
    ///
    /// # Errors
    /// [`SayError`].
    pub fn join(&mut self, meter: &Arc<Meter>, role: &str) -> Result<(), SayError> {
        self.joins(meter)?;
        let role = if role.is_empty() { &meter.role } else { role };
        if let Some(joined) = self.meters.get(&meter.number) {
            let (meter, role) = (joined.id, role.to_owned());
            self.say(Input::MeterRole { meter, role })?;
        }
        let mut joined = self.visit.joined.write();
        if let Ok(joined) = &mut joined {
            joined.insert(meter.number, role.to_owned());
        }
        Ok(())
    }

    fn joins(&mut self, meter: &Arc<Meter>) -> Result<(), SayError> {
        if self.meters.contains_key(&meter.number) {
            return Ok(());
        }
        let opened = self.desk.visit.record().opened.as_ref();
        if meter.is_replay() && !opened.is_some_and(|o| o.simulated) {
            return Err(SayError::Replayed(meter.name.clone()));
        }
        let (driver, place) = (meter.driver(), meter.source.place());
        let id = self.number_of(driver, &place);
        self.say(Input::MeterJoined {
            joined: MeterJoined {
                meter: id,
                driver: driver.to_owned(),
                place,
                profile: meter.profile.name.clone(),
                accuracy_assumed: meter.profile.ranges.is_empty(),
            },
            accuracy: meter.profile.specs(),
            inputs: Inputs {
                ohms: meter.profile.input_ohm,
                low_impedance_ohms: meter.profile.low_impedance_ohm,
            },
        })?;
        meter.join(self.visit.news.clone());
        let state = meter.state();
        let lost = state.standing != Standing::Up;
        self.meters.insert(
            meter.number,
            Joined {
                id,
                meter: Arc::clone(meter),
                lost,
                latest: None,
            },
        );
        if lost {
            let why = state.why;
            self.say(Input::MeterLost { meter: id, why })?;
        }
        Ok(())
    }

    /// A meter keeps its number over restarts; a new one gets the next.
    fn number_of(&self, driver: &str, place: &str) -> MeterId {
        let meters = &self.desk.visit.record().meters;
        let known = meters
            .iter()
            .find(|m| m.driver == driver && m.place == place);
        let last = meters.iter().map(|m| m.meter.0).max().unwrap_or(0);
        known.map_or(MeterId(last.saturating_add(1)), |m| m.meter)
    }

    /// Takes the meters that the trail names into the visit again, those that the daemon has.
    pub(super) fn rejoin(&mut self) -> Result<(), SayError> {
        let record = self.desk.visit.record();
        let named: Vec<(Arc<Meter>, String)> = record
            .meters
            .iter()
            .filter_map(|m| {
                let meter = self.context.meters.at(&m.driver, &m.place)?;
                Some((
                    meter,
                    record.roles.get(&m.meter).cloned().unwrap_or_default(),
                ))
            })
            .collect();
        for (meter, role) in named {
            self.joins(&meter)?;
            if let Ok(mut joined) = self.visit.joined.write() {
                joined.insert(meter.number, role);
            }
        }
        Ok(())
    }

    /// Takes the meter of that name out of the visit; false if it was not in it.
    ///
    /// # Errors
    /// [`SayError`].
    pub fn leave_named(&mut self, name: &str) -> Result<bool, SayError> {
        let mut meters = self.meters.iter();
        let Some(meter) = meters.find(|(_, j)| j.meter.name == name).map(|(n, _)| *n) else {
            return Ok(false);
        };
        self.lost(meter, "taken off the visit".to_owned())?;
        if let Some(joined) = self.meters.remove(&meter) {
            joined.meter.leave(&self.visit.news);
        }
        if let Ok(mut joined) = self.visit.joined.write() {
            joined.remove(&meter);
        }
        Ok(true)
    }

    /// The meter that typed values are of.
    pub(super) fn keyed(&mut self) -> Result<MeterId, SayError> {
        if let Some(meter) = self.keyed {
            return Ok(meter);
        }
        let meter = self.number_of(KEYED, KEYED);
        let profile = ohmtrail_meters::profile::Profile::cautious();
        self.say(Input::MeterJoined {
            joined: MeterJoined {
                meter,
                driver: KEYED.to_owned(),
                place: KEYED.to_owned(),
                profile: profile.name.clone(),
                accuracy_assumed: true,
            },
            accuracy: profile.specs(),
            inputs: Inputs {
                ohms: profile.input_ohm,
                low_impedance_ohms: profile.low_impedance_ohm,
            },
        })?;
        self.keyed = Some(meter);
        Ok(meter)
    }
}
