//! A session with one meter: what its transport says happened, in order, through a bounded
//! channel. One task owns the port; whoever holds the session only receives.
//!
//! [`Watch`] is the sans-IO part: it decides from times alone when a meter is up, silent, or
//! sends bytes that are no frames.

use std::sync::{Arc, Mutex, PoisonError};

use ohmtrail_core::reading::Reading;
use ohmtrail_core::units::Micros;
use tokio::sync::mpsc;
use tokio::task::JoinHandle;
use tokio::time::Instant;

use crate::showing::Reason;

/// The steady clock that a program's sessions share.
#[derive(Debug, Clone, Copy)]
pub struct Clock {
    origin: Instant,
}

impl Clock {
    /// A clock that starts now, at zero.
    #[must_use]
    pub fn start() -> Self {
        Clock {
            origin: Instant::now(),
        }
    }

    /// The time since the start.
    #[must_use]
    pub fn now(&self) -> Micros {
        Micros(u64::try_from(self.origin.elapsed().as_micros()).unwrap_or(u64::MAX))
    }

    /// The runtime's instant at a time of this clock.
    pub(crate) fn instant(&self, at: Micros) -> Instant {
        self.origin + std::time::Duration::from_micros(at.0)
    }
}

/// What happened in a session.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum SessionEvent {
    /// Frames are read: for the first time, or again after silence or garbage.
    Up {
        /// When.
        at: Micros,
        /// How long there was no frame, since the last one or since the port was opened, in
        /// microseconds.
        gap_us: u64,
    },
    /// One reading.
    Reading(Reading),
    /// A frame was refused.
    Rejected {
        /// When.
        at: Micros,
        /// Why.
        reason: Reason,
    },
    /// No byte came for the session's deadline.
    Silent {
        /// When it was noticed.
        at: Micros,
        /// When the last byte came, or the port was opened.
        since: Micros,
    },
    /// Bytes come, and no frame among them is understood.
    Garbage {
        /// When it was noticed.
        at: Micros,
        /// When the first of these bytes came.
        since: Micros,
        /// How many bytes.
        bytes: u64,
        /// What is likely wrong.
        likely: Likely,
    },
    /// The session ended. Nothing comes after.
    Gone {
        /// When.
        at: Micros,
        /// Why.
        why: Gone,
    },
}

/// What is likely wrong when bytes come and nothing is understood.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Likely {
    /// No whole frame at all.
    SpeedOrFrameType,
    /// Whole frames that are all refused, the last one for this reason.
    Refused(Reason),
}

impl Likely {
    /// In words, with what to do.
    #[must_use]
    pub fn words(self) -> String {
        match self {
            Likely::SpeedOrFrameType => {
                "bytes but no frame: wrong speed or wrong frame type; check frame= and baud=".into()
            }
            Likely::Refused(reason) => format!("whole frames, all refused: {}", reason.words()),
        }
    }
}

/// Why a session ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Gone {
    /// The port hung up: the lead or the meter was unplugged.
    Unplugged,
    /// The port failed with this kind of error.
    Failed(std::io::ErrorKind),
    /// There is nothing more to come: a replay's end, or the keys were put away.
    End,
}

impl Gone {
    /// In words.
    #[must_use]
    pub fn words(self) -> String {
        match self {
            Gone::Unplugged => "unplugged: the port hung up".into(),
            Gone::Failed(kind) => format!("the port failed: {kind}"),
            Gone::End => "ended".into(),
        }
    }
}

/// What has been counted in a session so far. `bytes` is the bytes of accepted frames, plus
/// `skipped`, plus less than two frames not decided yet.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Tally {
    /// Bytes received.
    pub bytes: u64,
    /// Bytes that belong to no accepted frame.
    pub skipped: u64,
    /// Readings.
    pub readings: u64,
    rejected: [u64; Reason::ALL.len()],
}

impl Tally {
    /// How many frames were refused for a reason.
    #[must_use]
    pub fn rejected(&self, reason: Reason) -> u64 {
        self.rejected.get(reason as usize).copied().unwrap_or(0)
    }

    /// How many frames were refused in all.
    #[must_use]
    pub fn all_rejected(&self) -> u64 {
        self.rejected.iter().sum()
    }

    pub(crate) fn reject(&mut self, reason: Reason) {
        if let Some(count) = self.rejected.get_mut(reason as usize) {
            *count += 1;
        }
    }
}

/// Events waiting for the receiver; the port is not read while they are this many.
const CHANNEL: usize = 256;

/// The receiving end of a meter. Dropping it closes the port.
#[derive(Debug)]
pub struct Session {
    events: mpsc::Receiver<SessionEvent>,
    tally: Arc<Mutex<Tally>>,
    task: Option<JoinHandle<()>>,
}

impl Session {
    /// The next event; none after the session ended. Safe to cancel.
    pub async fn recv(&mut self) -> Option<SessionEvent> {
        self.events.recv().await
    }

    /// What has been counted so far.
    #[must_use]
    pub fn tally(&self) -> Tally {
        *self.tally.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// A session and the end that feeds it.
    pub(crate) fn fed() -> (Feed, Session) {
        let (sender, events) = mpsc::channel(CHANNEL);
        let tally = Arc::new(Mutex::new(Tally::default()));
        let feed = Feed {
            sender,
            tally: Arc::clone(&tally),
        };
        (
            feed,
            Session {
                events,
                tally,
                task: None,
            },
        )
    }

    /// A session fed by a task of its own, which ends with it.
    pub(crate) fn spawn<F>(task: impl FnOnce(Feed) -> F) -> Session
    where
        F: Future<Output = ()> + Send + 'static,
    {
        let (feed, mut session) = Session::fed();
        session.task = Some(tokio::spawn(task(feed)));
        session
    }
}

impl Drop for Session {
    fn drop(&mut self) {
        if let Some(task) = &self.task {
            task.abort();
        }
    }
}

/// The feeding end of a session.
#[derive(Debug)]
pub(crate) struct Feed {
    sender: mpsc::Sender<SessionEvent>,
    tally: Arc<Mutex<Tally>>,
}

impl Feed {
    /// Sends an event; false if nobody receives any more.
    pub(crate) async fn send(&self, event: SessionEvent) -> bool {
        self.sender.send(event).await.is_ok()
    }

    pub(crate) async fn reading(&self, reading: Reading) -> bool {
        self.count(|tally| tally.readings += 1);
        self.send(SessionEvent::Reading(reading)).await
    }

    pub(crate) async fn closed(&self) {
        self.sender.closed().await;
    }

    pub(crate) fn count(&self, change: impl FnOnce(&mut Tally)) {
        change(&mut self.tally.lock().unwrap_or_else(PoisonError::into_inner));
    }
}

/// How long a session waits before it says that something is wrong.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Patience {
    /// Without a byte: silent. Microseconds.
    pub silence_us: u64,
    /// With bytes but no frame: garbage. Microseconds.
    pub garbage_us: u64,
}

impl Default for Patience {
    /// 2 s of silence, 3 s of garbage: display-chip meters send two to five frames a second
    /// (common practice, no published source).
    fn default() -> Self {
        Patience {
            silence_us: 2_000_000,
            garbage_us: 3_000_000,
        }
    }
}

/// Fewer bytes than this without a frame are not called garbage: a frame may have been cut.
const GARBAGE_BYTES: u64 = 2 * crate::driver::FRAME as u64;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Link {
    Opened,
    Up,
    Silent,
    Garbage,
}

/// Decides when a meter is up, silent or sends garbage. Sans-IO: times are arguments.
#[derive(Debug)]
pub struct Watch {
    patience: Patience,
    link: Link,
    last_byte: Micros,
    last_frame: Micros,
    undecoded: u64,
    undecoded_since: Option<Micros>,
    refused: Option<Reason>,
}

impl Watch {
    /// A watch over a port opened at this time.
    #[must_use]
    pub fn new(patience: Patience, opened: Micros) -> Self {
        Watch {
            patience,
            link: Link::Opened,
            last_byte: opened,
            last_frame: opened,
            undecoded: 0,
            undecoded_since: None,
            refused: None,
        }
    }

    /// Bytes came.
    pub fn bytes(&mut self, count: usize, at: Micros) {
        if self.link == Link::Silent && at.since(self.last_byte) >= self.patience.silence_us {
            // What was left undecoded before the silence says nothing about what comes now.
            self.understood();
        }
        self.last_byte = at;
        self.undecoded += count as u64;
        self.undecoded_since.get_or_insert(at);
    }

    /// A frame gave a reading: says whether the meter came up by it.
    pub fn frame(&mut self, at: Micros) -> Option<SessionEvent> {
        self.understood();
        let gap_us = at.since(self.last_frame);
        self.last_frame = at;
        if self.link == Link::Up {
            return None;
        }
        self.link = Link::Up;
        Some(SessionEvent::Up { at, gap_us })
    }

    /// A frame was refused.
    pub fn refused(&mut self, reason: Reason) {
        if reason.frame_was_whole() {
            self.refused = Some(reason);
        }
    }

    fn understood(&mut self) {
        self.undecoded = 0;
        self.undecoded_since = None;
        self.refused = None;
    }

    /// What has to be said at this time; at most once per change.
    pub fn tick(&mut self, now: Micros) -> Option<SessionEvent> {
        if self.link != Link::Silent && now.since(self.last_byte) >= self.patience.silence_us {
            self.link = Link::Silent;
            return Some(SessionEvent::Silent {
                at: now,
                since: self.last_byte,
            });
        }
        let since = self.undecoded_since?;
        if self.link != Link::Garbage
            && self.undecoded >= GARBAGE_BYTES
            && now.since(since) >= self.patience.garbage_us
        {
            self.link = Link::Garbage;
            return Some(SessionEvent::Garbage {
                at: now,
                since,
                bytes: self.undecoded,
                likely: match self.refused {
                    Some(reason) => Likely::Refused(reason),
                    None => Likely::SpeedOrFrameType,
                },
            });
        }
        None
    }

    /// When [`tick`](Watch::tick) may next have something to say if no byte comes.
    #[must_use]
    pub fn deadline(&self) -> Option<Micros> {
        let silence = (self.link != Link::Silent)
            .then(|| Micros(self.last_byte.0.saturating_add(self.patience.silence_us)));
        let garbage = (self.link != Link::Garbage && self.undecoded >= GARBAGE_BYTES)
            .then_some(self.undecoded_since)
            .flatten()
            .map(|since| Micros(since.0.saturating_add(self.patience.garbage_us)));
        silence.into_iter().chain(garbage).min()
    }
}
