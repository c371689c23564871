//! A session with one meter: what its transport says happened, in order, through a bounded
//! channel. One task owns the port; whoever holds the session only receives, and may say what is to
//! be measured.

use std::sync::{Arc, Mutex, PoisonError};
use std::task::{Context, Poll};

use ohmtrail_core::reading::{Function, Reading};
use ohmtrail_core::units::Micros;
use tokio::sync::{mpsc, watch};
use tokio::task::JoinHandle;
use tokio::time::Instant;

use crate::driver::Told;
use crate::showing::Reason;
pub use crate::watch::{Likely, Patience, Watch};

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
#[derive(Debug, Clone, PartialEq, Eq)]
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
    /// The meter said something that is no value.
    Told {
        /// When.
        at: Micros,
        /// What.
        told: Told,
    },
    /// Bytes on the line, before they are decoded; only from a session that was asked for them.
    Heard(Piece),
    /// The port is away and is tried again and again: it went just now, or is away for another
    /// reason than before. The next [`Up`](SessionEvent::Up) tells the gap.
    Away {
        /// When.
        at: Micros,
        /// Why.
        why: Gone,
    },
    /// The session ended. Nothing comes after.
    Gone {
        /// When.
        at: Micros,
        /// Why.
        why: Gone,
    },
}

/// Bytes as they were on the line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Piece {
    /// When they came or went.
    pub at: Micros,
    /// Whether they were sent to the meter; else they came from it.
    pub sent: bool,
    /// The bytes.
    pub bytes: Vec<u8>,
}

/// Why a port is away, or a session ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Gone {
    /// The port hung up: the lead or the meter was unplugged.
    Unplugged,
    /// The radio link dropped.
    LinkLost,
    /// The port cannot be opened.
    CannotOpen(Fault),
    /// The port failed with this kind of error.
    Failed(std::io::ErrorKind),
    /// The driver failed, by a defect of its own.
    Driver(DriverFault),
    /// There is nothing more to come: a replay's end, or the keys were put away.
    End,
}

/// In which way a driver failed. It is started again, and nothing else is touched by it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum DriverFault {
    /// It panicked.
    Panicked,
    /// It did not return.
    Hung,
}

impl DriverFault {
    /// In words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            DriverFault::Panicked => {
                "the driver failed (a defect of this program) and is started again"
            }
            DriverFault::Hung => "the driver hung (a defect of this program) and is started again",
        }
    }
}

/// Why a port cannot be opened.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Fault {
    /// It is not there.
    Missing,
    /// Another program holds it.
    Busy,
    /// The user may not.
    Permission,
    /// It is no serial port.
    NotAPort,
    /// Nobody answers at that address.
    NoAnswer,
    /// No Bluetooth service answers.
    NoBluetooth,
    /// The Bluetooth service has no adapter.
    NoAdapter,
    /// The Bluetooth adapter is off.
    RadioOff,
    /// The meter does not advertise.
    NotSeen,
    /// The meter wants to be paired.
    Unpaired,
    /// The radio link dropped while it was being made.
    LinkDropped,
    /// It is there, and refuses.
    Refused,
}

impl Fault {
    const fn words(self) -> &'static str {
        match self {
            Fault::Missing => "unplugged: the port is not there",
            Fault::Busy => "another program holds it",
            Fault::Permission => "permission denied",
            Fault::NotAPort => "not a serial port",
            Fault::NoAnswer => "nobody answers at that address",
            Fault::NoBluetooth => "no Bluetooth service answers on this machine",
            Fault::NoAdapter => "this machine has no Bluetooth adapter",
            Fault::RadioOff => "Bluetooth is switched off on this machine",
            Fault::NotSeen => {
                "not seen by radio: off, out of reach, or linked to another phone or program"
            }
            Fault::Unpaired => "the meter wants to be paired first",
            Fault::LinkDropped => "the radio link drops as soon as it is made",
            Fault::Refused => "the port cannot be opened",
        }
    }
}

/// The usual kinds of failure of a port in words.
const fn failure(kind: std::io::ErrorKind) -> Option<&'static str> {
    use std::io::ErrorKind as Kind;
    match kind {
        Kind::TimedOut => Some("the port failed: it does not answer in time"),
        Kind::BrokenPipe
        | Kind::ConnectionReset
        | Kind::ConnectionAborted
        | Kind::UnexpectedEof => Some("the port failed: its other end closed it"),
        Kind::PermissionDenied => Some("the port failed: permission denied"),
        _ => None,
    }
}

impl Gone {
    /// In words.
    #[must_use]
    pub fn words(self) -> String {
        match self {
            Gone::Unplugged => "unplugged: the port hung up".into(),
            Gone::LinkLost => "the radio link dropped: out of reach, or the meter is off".into(),
            Gone::CannotOpen(fault) => fault.words().into(),
            Gone::Failed(kind) => match failure(kind) {
                Some(words) => words.into(),
                None => format!("the port failed: {kind}"),
            },
            Gone::Driver(fault) => fault.words().into(),
            Gone::End => "ended".into(),
        }
    }
}

/// What has been counted in a session so far. `bytes` is `used` plus `skipped`, plus what is not
/// decided yet: at most [`HELD`](crate::driver::HELD), and what was held when the port went.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Tally {
    /// Bytes received.
    pub bytes: u64,
    /// Bytes that were understood.
    pub used: u64,
    /// Bytes that belong to nothing that was understood.
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
    wanted: watch::Sender<Option<Function>>,
    task: Option<JoinHandle<()>>,
}

impl Session {
    /// The next event; none after the session ended. Safe to cancel.
    pub async fn recv(&mut self) -> Option<SessionEvent> {
        self.events.recv().await
    }

    /// The next event, as [`recv`](Session::recv), for whoever waits for several sessions.
    pub fn poll_recv(&mut self, context: &mut Context<'_>) -> Poll<Option<SessionEvent>> {
        self.events.poll_recv(context)
    }

    /// Sets what the meter is to measure from now on, where it can be told; a meter that cannot
    /// says so in a [`Told::CannotSet`]. Whoever calls this answers for the circuit: on ohms and
    /// farads a meter drives its own current.
    pub fn measure(&self, function: Function) {
        self.wanted.send_replace(Some(function));
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
        let (wanted, wants) = watch::channel(None);
        let feed = Feed {
            sender,
            tally: Arc::clone(&tally),
            wants,
        };
        (
            feed,
            Session {
                events,
                tally,
                wanted,
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
    wants: watch::Receiver<Option<Function>>,
}

impl Feed {
    /// What the meter is to measure, to be watched for changes.
    pub(crate) fn wants(&self) -> watch::Receiver<Option<Function>> {
        self.wants.clone()
    }

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
