//! The task that keeps one meter: reads it as long as the daemon runs, whatever fails.

use std::sync::Arc;

use ohmtrail_meters::link::{self, Backoff};
use ohmtrail_meters::session::{Gone, Session, SessionEvent};
use tokio::sync::broadcast;
use tokio::task::JoinSet;

use super::news::Once;
use super::{Meter, News, Source, Standing, State, What, lock, replay};
use crate::clock::Clocks;
use crate::metrics::{Metrics, Name};

/// Reads the meter, and starts again what should not have ended.
pub(super) async fn keep(
    meter: Arc<Meter>,
    clocks: Clocks,
    channel: broadcast::Sender<Arc<News>>,
    metrics: Arc<Metrics>,
) {
    let mut backoff = Backoff::default();
    loop {
        let mut reader = Reader {
            meter: Arc::clone(&meter),
            clocks: clocks.clone(),
            channel: channel.clone(),
            metrics: Arc::clone(&metrics),
        };
        // In a set, so that it ends with this task.
        let mut run = JoinSet::new();
        run.spawn(async move { reader.read().await });
        match run.join_next().await {
            Some(Ok(Over::ForGood)) => return,
            Some(Ok(Over::Again)) | None => {}
            Some(Err(error)) if error.is_cancelled() => return,
            Some(Err(error)) => {
                tracing::error!(meter = meter.name, %error, "the meter's task failed");
            }
        }
        metrics
            .restarts
            .get_or_create(&Name::meter(&meter.name))
            .inc();
        tokio::time::sleep(backoff.pause()).await;
    }
}

/// How reading ended.
enum Over {
    /// There is nothing more to be had.
    ForGood,
    /// It should be begun again.
    Again,
}

struct Reader {
    meter: Arc<Meter>,
    clocks: Clocks,
    channel: broadcast::Sender<Arc<News>>,
    metrics: Arc<Metrics>,
}

impl Reader {
    async fn read(&mut self) -> Over {
        let mut session = match self.open() {
            Ok(session) => session,
            Err(why) => {
                self.down(Standing::Failed, why).await;
                return Over::ForGood;
            }
        };
        let mut wanted = self.meter.wanted.subscribe();
        loop {
            let event = tokio::select! {
                event = session.recv() => event,
                Ok(()) = wanted.changed() => {
                    if let Some(function) = *wanted.borrow_and_update() {
                        session.measure(function);
                    }
                    continue;
                }
            };
            let Some(event) = event else {
                let why = "its task failed (a defect of this program) and is started again";
                self.down(Standing::Away, why.to_owned()).await;
                return Over::Again;
            };
            *lock(&self.meter.tally) = session.tally();
            if let Some(over) = self.heard(event).await {
                return over;
            }
        }
    }

    fn open(&self) -> Result<Session, String> {
        match &self.meter.source {
            Source::Port(spec) => {
                let clock = self.clocks.steady;
                link::keep_trying(spec, self.meter.number, spec.manner(), clock)
                    .map_err(|e| e.to_string())
            }
            Source::Replay { file, pace, driver } => {
                replay(file, *pace, driver.as_ref()).map_err(|e| e.to_string())
            }
        }
    }

    async fn heard(&mut self, event: SessionEvent) -> Option<Over> {
        match event {
            SessionEvent::Reading(mut reading) => {
                if self.meter.is_replay() {
                    // It comes now, whenever it was measured, and of this meter.
                    reading.at = self.clocks.steady.now();
                    reading.meter = self.meter.number;
                }
                *lock(&self.meter.latest) = Some(reading);
                let name = Name::meter(&self.meter.name);
                self.metrics.readings.get_or_create(&name).inc();
                self.tell(What::Reading(reading)).await;
            }
            SessionEvent::Up { gap_us, .. } => {
                self.stand(Standing::Up, String::new());
                self.tell(What::Back(gap_us)).await;
            }
            SessionEvent::Silent { .. } => {
                let why = "silent: is it on, and does it send?".to_owned();
                self.down(Standing::Silent, why).await;
            }
            SessionEvent::Garbage { likely, .. } => {
                self.down(Standing::Garbage, likely.words()).await;
            }
            SessionEvent::Away { why, .. } => {
                if matches!(why, Gone::Driver(_)) {
                    let name = Name::meter(&self.meter.name);
                    self.metrics.restarts.get_or_create(&name).inc();
                }
                self.down(Standing::Away, why.words()).await;
            }
            SessionEvent::Gone { why: Gone::End, .. } => {
                let why = "everything that was kept has been replayed".to_owned();
                self.down(Standing::Ended, why).await;
                return Some(Over::ForGood);
            }
            SessionEvent::Gone { why, .. } => {
                self.down(Standing::Failed, why.words()).await;
                return Some(Over::ForGood);
            }
            SessionEvent::Rejected { .. } => {
                let name = Name::meter(&self.meter.name);
                self.metrics.refused.get_or_create(&name).inc();
            }
            SessionEvent::Told { told, .. } => self.tell(What::Told(told.words())).await,
            _ => {}
        }
        None
    }

    /// The meter is not read any more.
    async fn down(&mut self, standing: Standing, why: String) {
        let was_up = lock(&self.meter.state).standing == Standing::Up;
        self.stand(standing, why.clone());
        if was_up {
            let name = Name::meter(&self.meter.name);
            self.metrics.gaps.get_or_create(&name).inc();
            self.tell(What::Lost(why)).await;
        }
    }

    fn stand(&mut self, standing: Standing, why: String) {
        let state = State {
            standing,
            since: self.clocks.steady.now(),
            why,
        };
        tracing::info!(meter = self.meter.name, ?standing, why = state.why, "meter");
        *lock(&self.meter.state) = state.clone();
        let up = self
            .metrics
            .up
            .get_or_create(&Name::meter(&self.meter.name))
            .clone();
        up.set(i64::from(standing == Standing::Up));
        self.pass(self.news(What::State(state)));
    }

    fn news(&self, what: What) -> News {
        News {
            meter: self.meter.number,
            name: self.meter.name.clone(),
            what,
            frame: Once::default(),
        }
    }

    /// Tells whoever watches, and waits until every visit has room for it.
    async fn tell(&mut self, what: What) {
        let news = self.news(what);
        for visit in self.meter.queues() {
            // A visit that ended has left its queue.
            if visit.send(news.clone()).await.is_err() {
                self.meter.leave(&visit);
            }
        }
        self.pass(news);
    }

    fn pass(&self, news: News) {
        // Nobody may be watching.
        let _ = self.channel.send(Arc::new(news));
    }
}
