//! Runs a driver over a byte stream, and opens the stream again when it went away.

use std::io::ErrorKind;
use std::path::PathBuf;
use std::time::Duration;

use ohmtrail_core::reading::{Function, MeterId};
use ohmtrail_core::units::Micros;
use tokio::io::{AsyncRead, AsyncReadExt, AsyncWrite, AsyncWriteExt};
use tokio::sync::watch;

use crate::driver::{CannotStart, Driver, Outcome};
use crate::host::{Given, Host, Turn};
use crate::radio::{Lost, RadioError};
use crate::session::{Clock, Fault, Feed, Gone, Patience, Piece, Session, SessionEvent, Watch};
use crate::spec::StreamSpec;

/// How a session is to be held.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Manner {
    /// How long the meter may be silent.
    pub patience: Patience,
    /// Whether the bytes themselves are wanted, as [`SessionEvent::Heard`].
    pub raw: bool,
}

/// Why a port was not opened.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum OpenError {
    /// There is no such file.
    #[error("{}: no such port; plug the lead in, and look for its name under /dev/serial/by-id", .0.display())]
    Missing(PathBuf),
    /// Another program holds the port.
    #[error("{}: busy, another program holds the port; close it", .0.display())]
    Busy(PathBuf),
    /// The user may not open the port.
    #[error("{}: permission denied; serial ports belong to a group (often `dialout`): add the user to it and log in again", .0.display())]
    Permission(PathBuf),
    /// The file is there, and is no serial port.
    #[error("{}: not a serial port", .0.display())]
    NotAPort(PathBuf),
    /// The port was opened and refused its settings, or failed otherwise.
    #[error("{}: cannot be opened at {baud} bit/s: {detail}", path.display())]
    Failed {
        /// The port.
        path: PathBuf,
        /// The speed asked for.
        baud: u32,
        /// What the system said.
        detail: String,
    },
    /// Nobody answers at that address.
    #[error(
        "{host}:{port}: no connection: {detail}; check that the meter is on and its network port enabled"
    )]
    NoAnswer {
        /// The host as named.
        host: String,
        /// The port.
        port: u16,
        /// What the system said.
        detail: String,
    },
    /// There is no link to a Bluetooth Low Energy meter.
    #[error(transparent)]
    Radio(#[from] RadioError),
    /// The driver cannot be started so.
    #[error(transparent)]
    Driver(#[from] CannotStart),
}

impl OpenError {
    /// In which way.
    #[must_use]
    pub const fn fault(&self) -> Fault {
        match self {
            OpenError::Radio(e) => e.fault(),
            OpenError::Missing(_) => Fault::Missing,
            OpenError::Busy(_) => Fault::Busy,
            OpenError::Permission(_) => Fault::Permission,
            OpenError::NotAPort(_) => Fault::NotAPort,
            OpenError::NoAnswer { .. } => Fault::NoAnswer,
            OpenError::Failed { .. } | OpenError::Driver(_) => Fault::Refused,
        }
    }
}

/// A byte stream to a meter.
pub trait Stream: AsyncRead + AsyncWrite + Send + Unpin {}
impl<S: AsyncRead + AsyncWrite + Send + Unpin> Stream for S {}

/// Opens the meter of a spec, and starts a session that ends when the port goes away. To be called
/// within a tokio runtime with I/O and time enabled.
///
/// # Errors
/// [`OpenError`] says in which way it cannot be opened. A wrong speed shows only later, as
/// [`SessionEvent::Garbage`].
pub async fn open(
    spec: &StreamSpec,
    meter: MeterId,
    manner: Manner,
    clock: Clock,
) -> Result<Session, OpenError> {
    let driver = spec.driver.start(meter, None)?;
    let port = spec.connect().await?;
    Ok(Session::spawn(move |feed| {
        once(port, driver, manner, clock, feed)
    }))
}

/// Opens the meter of a spec, and starts a session that opens it again whenever it went away.
///
/// # Errors
/// As [`open`], for the first time.
pub async fn keep(
    spec: &StreamSpec,
    meter: MeterId,
    manner: Manner,
    clock: Clock,
) -> Result<Session, OpenError> {
    spec.driver.start(meter, None)?;
    let port = spec.connect().await?;
    let spec = spec.clone();
    Ok(Session::spawn(move |feed| {
        again(spec, Some(port), meter, manner, clock, feed)
    }))
}

/// As [`keep`], for a meter that need not be there yet.
///
/// # Errors
/// [`CannotStart`] if the driver does not start.
pub fn keep_trying(
    spec: &StreamSpec,
    meter: MeterId,
    manner: Manner,
    clock: Clock,
) -> Result<Session, CannotStart> {
    spec.driver.start(meter, None)?;
    let spec = spec.clone();
    Ok(Session::spawn(move |feed| {
        again(spec, None, meter, manner, clock, feed)
    }))
}

/// Runs a driver over any byte stream, such as one side of an in-memory pipe.
pub fn over<P: Stream + 'static>(
    port: P,
    driver: Box<dyn Driver>,
    manner: Manner,
    clock: Clock,
) -> Session {
    Session::spawn(move |feed| once(port, driver, manner, clock, feed))
}

/// Between tries to open a port: short at first, doubled up to 2 s, so that a meter that is back
/// is found soon and one that stays away costs nothing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Backoff {
    next: Duration,
}

impl Backoff {
    const FIRST: Duration = Duration::from_millis(100);
    const LAST: Duration = Duration::from_secs(2);

    /// The next pause.
    pub fn pause(&mut self) -> Duration {
        let pause = self.next;
        self.next = pause.saturating_mul(2).min(Backoff::LAST);
        pause
    }
}

impl Default for Backoff {
    fn default() -> Self {
        Backoff {
            next: Backoff::FIRST,
        }
    }
}

async fn once<P: Stream>(
    mut port: P,
    driver: Box<dyn Driver>,
    manner: Manner,
    clock: Clock,
    feed: Feed,
) {
    let watch = Watch::new(manner.patience, clock.now());
    let mut talk = Talk::new(watch, manner, clock, &feed);
    let why = tokio::select! {
        () = feed.closed() => return,
        why = talk.converse(&mut port, driver) => why,
    };
    if let Some(why) = why {
        tracing::debug!(why = why.words(), "meter session ended");
        feed.send(SessionEvent::Gone {
            at: clock.now(),
            why,
        })
        .await;
    }
}

async fn again(
    spec: StreamSpec,
    port: Option<Box<dyn Stream>>,
    meter: MeterId,
    manner: Manner,
    clock: Clock,
    feed: Feed,
) {
    tokio::select! {
        () = feed.closed() => {}
        _ = try_for_ever(spec, port, meter, manner, clock, &feed) => {}
    }
}

/// A driver that failed so often in one session is not started again: each one that hangs keeps a
/// thread of its own busy until the program ends.
const MOST_FAULTS: u32 = 4;

/// Returns only when nobody receives any more, or the driver failed too often.
async fn try_for_ever(
    spec: StreamSpec,
    mut port: Option<Box<dyn Stream>>,
    meter: MeterId,
    manner: Manner,
    clock: Clock,
    feed: &Feed,
) -> Option<()> {
    let mut talk = Talk::new(
        Watch::new(manner.patience, clock.now()),
        manner,
        clock,
        feed,
    );
    let mut backoff = Backoff::default();
    let mut told = None;
    let mut faults = 0_u32;
    loop {
        let connected = match port.take() {
            Some(port) => Ok(port),
            None => spec.connect().await,
        };
        let why = match connected {
            Err(e) => {
                tracing::debug!("{e}");
                Gone::CannotOpen(e.fault())
            }
            Ok(mut port) => {
                talk.watch.reopened(clock.now());
                let driver = match spec.driver.start(meter, talk.wanted()) {
                    Ok(driver) => driver,
                    // It started before; only the wanted function can be new.
                    Err(_) => spec.driver.start(meter, None).ok()?,
                };
                let before = talk.readings;
                let why = talk.converse(&mut port, driver).await?;
                if talk.readings > before && !matches!(why, Gone::Driver(_)) {
                    backoff = Backoff::default();
                    told = None;
                }
                why
            }
        };
        if let Gone::Driver(fault) = why {
            faults += 1;
            tracing::error!(
                meter = meter.0,
                fault = fault.words(),
                "the driver is started again"
            );
            if faults >= MOST_FAULTS {
                let at = clock.now();
                feed.send(SessionEvent::Gone { at, why }).await;
                return None;
            }
        }
        if told.replace(why) != Some(why) {
            let at = clock.now();
            tracing::debug!(why = why.words(), "meter away");
            if !feed.send(SessionEvent::Away { at, why }).await {
                return None;
            }
        }
        tokio::time::sleep(backoff.pause()).await;
    }
}

/// What outlasts one connection.
struct Talk<'f> {
    watch: Watch,
    raw: bool,
    clock: Clock,
    feed: &'f Feed,
    wants: watch::Receiver<Option<Function>>,
    readings: u64,
}

/// A meter that does not take a few bytes within this time is stuck.
const WRITE: Duration = Duration::from_secs(2);

impl<'f> Talk<'f> {
    fn new(watch: Watch, manner: Manner, clock: Clock, feed: &'f Feed) -> Self {
        Talk {
            watch,
            raw: manner.raw,
            clock,
            feed,
            wants: feed.wants(),
            readings: 0,
        }
    }

    fn wanted(&self) -> Option<Function> {
        *self.wants.borrow()
    }

    /// Reads until the port is gone; none if nobody receives any more.
    async fn converse<P: Stream>(&mut self, port: &mut P, driver: Box<dyn Driver>) -> Option<Gone> {
        let mut host = Host::new(driver);
        let mut buffer = [0_u8; 256];
        let mut given = Given::Nothing;
        loop {
            let now = self.clock.now();
            let turn = match host.turn(given, now).await {
                Ok(turn) => turn,
                Err(fault) => return Some(Gone::Driver(fault)),
            };
            self.pass_on(&turn, now).await?;
            if let Some(event) = self.watch.tick(now) {
                self.send(event).await?;
            }
            if let Some(ask) = turn.ask {
                if let Err(gone) = write(port, &ask).await {
                    return Some(gone);
                }
                if self.raw {
                    self.heard(now, true, ask).await?;
                }
            }
            let wake = self.watch.deadline().into_iter().chain(turn.wake).min();
            given = Given::Nothing;
            let count = tokio::select! {
                read = port.read(&mut buffer) => match read {
                    Ok(0) => return Some(Gone::Unplugged),
                    Ok(count) => count,
                    Err(e) if e.kind() == ErrorKind::Interrupted => continue,
                    Err(e) => return Some(gone(&e)),
                },
                () = until(wake, self.clock) => continue,
                Ok(()) = self.wants.changed() => {
                    given = self.wanted().map_or(Given::Nothing, Given::Wanted);
                    continue;
                }
            };
            let bytes = buffer.get(..count)?.to_vec();
            let at = self.clock.now();
            self.watch.bytes(count, at);
            self.feed.count(|tally| tally.bytes += count as u64);
            if self.raw {
                self.heard(at, false, bytes.clone()).await?;
            }
            given = Given::Bytes(bytes, at);
        }
    }

    /// Passes on what came of a turn.
    async fn pass_on(&mut self, turn: &Turn, now: Micros) -> Option<()> {
        for step in &turn.steps {
            self.feed.count(|tally| {
                tally.used += step.used as u64;
                tally.skipped += step.skipped as u64;
            });
            if step.used > 0 {
                self.watch.understood();
            }
            match step.outcome {
                Outcome::Hungry => {}
                Outcome::Got(reading) => {
                    if let Some(up) = self.watch.frame(turn.at) {
                        self.send(up).await?;
                    }
                    self.readings += 1;
                    self.feed.reading(reading).await.then_some(())?;
                }
                Outcome::Rejected(reason) => {
                    self.watch.refused(reason);
                    self.feed.count(|tally| tally.reject(reason));
                    let at = turn.at;
                    self.send(SessionEvent::Rejected { at, reason }).await?;
                }
            }
        }
        for told in &turn.told {
            let told = told.clone();
            self.send(SessionEvent::Told { at: now, told }).await?;
        }
        Some(())
    }

    async fn heard(&self, at: Micros, sent: bool, bytes: Vec<u8>) -> Option<()> {
        self.send(SessionEvent::Heard(Piece { at, sent, bytes }))
            .await
    }

    async fn send(&self, event: SessionEvent) -> Option<()> {
        self.feed.send(event).await.then_some(())
    }
}

async fn write<P: Stream>(port: &mut P, bytes: &[u8]) -> Result<(), Gone> {
    match tokio::time::timeout(WRITE, port.write_all(bytes)).await {
        Ok(Ok(())) => Ok(()),
        Ok(Err(e)) => Err(gone(&e)),
        Err(_) => Err(Gone::Failed(ErrorKind::TimedOut)),
    }
}

async fn until(wake: Option<Micros>, clock: Clock) {
    match wake {
        Some(at) => tokio::time::sleep_until(clock.instant(at)).await,
        None => std::future::pending().await,
    }
}

/// A hung-up terminal fails with EIO; a removed device with ENXIO or ENODEV; a radio link says why.
fn gone(e: &std::io::Error) -> Gone {
    use rustix::io::Errno;
    if let Some(Lost(why)) = e.get_ref().and_then(|e| e.downcast_ref()) {
        return *why;
    }
    match Errno::from_io_error(e) {
        Some(Errno::IO | Errno::NXIO | Errno::NODEV) => Gone::Unplugged,
        _ => Gone::Failed(e.kind()),
    }
}
