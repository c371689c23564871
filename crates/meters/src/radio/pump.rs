//! A link at work: values to the session, questions to the meter, and the end of it seen.

use std::io;
use std::sync::OnceLock;
use std::time::Duration;

use btleplug::api::{
    CentralEvent, CentralState, CharPropFlags, Characteristic, Peripheral as _, ValueNotification,
    WriteType,
};
use btleplug::platform::Peripheral;
use tokio::io::{AsyncReadExt, AsyncWriteExt, DuplexStream, WriteHalf};
use tokio::time::{Instant, sleep_until, timeout};

use super::open::Opened;
use super::{Kept, RadioError, next, within};
use crate::ble::{Found, How};
use crate::gatt::lines;
use crate::session::{Fault, Gone};

/// After this long without a value the service is asked whether the link is up: it does not say
/// when it was restarted, and a bus that is gone says nothing at all. Below the session's patience.
const SILENCE: Duration = Duration::from_millis(1_500);
/// How long it may take to answer.
const ALIVE: Duration = Duration::from_millis(1_500);
/// A meter answers a read or a write within this time.
const MOVE: Duration = Duration::from_secs(2);
/// The payload of a write where the service does not tell how much the link carries.
const LEAST: usize = 20;

/// Runs until the link is gone, and says why; or until nobody reads any more.
pub(super) async fn pump(opened: Opened, kept: &mut Kept, far: DuplexStream, why: &OnceLock<Gone>) {
    let mut pump = Pump::new(opened, far);
    let gone = pump.run(kept).await;
    if let Some(gone) = gone {
        tracing::debug!(why = gone.words(), "link ended");
        // Before the far end is dropped, when this returns: the near end looks for it then.
        let _ = why.set(gone);
        if gone != Gone::Failed(io::ErrorKind::TimedOut) {
            // There is nobody to say goodbye to.
            kept.peripheral = None;
        }
    }
}

struct Pump {
    opened: Opened,
    to_session: WriteHalf<DuplexStream>,
    from_session: tokio::io::ReadHalf<DuplexStream>,
    /// The characteristics that are read again and again, when each is next, and how often.
    reads: Vec<(usize, Instant, Duration)>,
    heard: Instant,
}

/// What happened.
enum Event {
    Value(Option<ValueNotification>),
    Adapter(Option<CentralEvent>),
    Asked(io::Result<usize>),
    ReadNow(usize),
    Silence,
}

impl Pump {
    fn new(opened: Opened, far: DuplexStream) -> Pump {
        let (from_session, to_session) = tokio::io::split(far);
        let now = Instant::now();
        let reads = opened
            .plan
            .wants
            .iter()
            .filter_map(|want| match want.how {
                How::Notify => None,
                How::Read { every_us } => Some((want.index, now, Duration::from_micros(every_us))),
            })
            .collect();
        Pump {
            opened,
            to_session,
            from_session,
            reads,
            heard: now,
        }
    }

    async fn run(&mut self, kept: &mut Kept) -> Option<Gone> {
        if self.opened.described
            && let Err(gone) = self.introduce().await
        {
            return Some(gone);
        }
        let mut buffer = [0_u8; 512];
        loop {
            let event = tokio::select! {
                value = next(&mut kept.values) => Event::Value(value),
                event = next(&mut kept.events) => Event::Adapter(event),
                count = self.from_session.read(&mut buffer) => Event::Asked(count),
                nth = due(&self.reads) => Event::ReadNow(nth),
                () = sleep_until(self.heard + SILENCE) => Event::Silence,
            };
            let done = match event {
                Event::Value(Some(value)) => self.value(&value).await,
                Event::Adapter(Some(event)) => self.adapter(&event),
                Event::Value(None) | Event::Adapter(None) => Err(NO_SERVICE),
                Event::Asked(Ok(0) | Err(_)) => return None,
                Event::Asked(Ok(count)) => self.ask(buffer.get(..count).unwrap_or_default()).await,
                Event::ReadNow(nth) => self.read(nth).await,
                Event::Silence => self.alive().await,
            };
            if let Err(gone) = done {
                return Some(gone);
            }
        }
    }

    /// Says what is read, before its values.
    async fn introduce(&mut self) -> Result<(), Gone> {
        for want in self.opened.plan.wants.clone() {
            if let Some((_, found)) = self.opened.found.get(want.index) {
                let name = found.called.as_deref().unwrap_or_default();
                let line = lines::called(found.uuid, found.format.as_deref(), name);
                self.pass(line.as_bytes()).await?;
            }
        }
        Ok(())
    }

    /// A notification. The service tells what is read in the same way, so those of characteristics
    /// that are read, and not subscribed to, are passed over: each value once.
    async fn value(&mut self, value: &ValueNotification) -> Result<(), Gone> {
        let index = self
            .opened
            .found
            .iter()
            .position(|(c, _)| (c.service_uuid, c.uuid) == (value.service_uuid, value.uuid));
        let wants = &self.opened.plan.wants;
        let wanted = wants
            .iter()
            .find(|w| Some(w.index) == index && w.how == How::Notify);
        match wanted.map(|w| w.index) {
            Some(index) => self.got(index, &value.value).await,
            None => Ok(()),
        }
    }

    fn adapter(&self, event: &CentralEvent) -> Result<(), Gone> {
        match event {
            CentralEvent::DeviceDisconnected(id) if *id == self.opened.peripheral.id() => {
                Err(Gone::LinkLost)
            }
            CentralEvent::StateUpdate(CentralState::PoweredOff) => {
                Err(Gone::CannotOpen(Fault::RadioOff))
            }
            _ => Ok(()),
        }
    }

    /// Reads a characteristic that does not notify.
    async fn read(&mut self, nth: usize) -> Result<(), Gone> {
        let Some((index, at, every)) = self.reads.get_mut(nth) else {
            return Ok(());
        };
        *at = Instant::now() + *every;
        let index = *index;
        let Some((characteristic, _)) = self.opened.found.get(index) else {
            return Ok(());
        };
        let read = self.opened.peripheral.read(characteristic);
        match within("reading", MOVE, read).await {
            Ok(value) => self.got(index, &value).await,
            Err(e) => {
                tracing::debug!("a read failed: {e}");
                self.alive().await
            }
        }
    }

    /// A value on its way to the session.
    async fn got(&mut self, index: usize, value: &[u8]) -> Result<(), Gone> {
        self.heard = Instant::now();
        if !self.opened.described {
            return self.pass(value).await;
        }
        let Some((_, Found { uuid, format, .. })) = self.opened.found.get(index) else {
            return Ok(());
        };
        let line = lines::value(*uuid, format.as_deref(), value);
        self.pass(line.as_bytes()).await
    }

    async fn pass(&mut self, bytes: &[u8]) -> Result<(), Gone> {
        match timeout(MOVE, self.to_session.write_all(bytes)).await {
            Ok(Ok(())) => Ok(()),
            Ok(Err(e)) => Err(Gone::Failed(e.kind())),
            Err(_) => Err(Gone::Failed(io::ErrorKind::TimedOut)),
        }
    }

    /// A question of the driver's, in pieces that the link carries.
    async fn ask(&mut self, bytes: &[u8]) -> Result<(), Gone> {
        let write = self.opened.plan.write;
        let Some((to, _)) = write.and_then(|index| self.opened.found.get(index)) else {
            return Ok(());
        };
        let how = if to.properties.contains(CharPropFlags::WRITE) {
            WriteType::WithResponse
        } else {
            WriteType::WithoutResponse
        };
        for piece in bytes.chunks(room(&self.opened.peripheral)) {
            let written = write_one(&self.opened.peripheral, to, piece, how);
            if let Err(e) = within("writing", MOVE, written).await {
                tracing::debug!("a write failed: {e}");
                return self
                    .alive()
                    .await
                    .and(Err(Gone::Failed(io::ErrorKind::TimedOut)));
            }
        }
        Ok(())
    }

    /// Asks the service whether the link is up, where nothing came for a while.
    async fn alive(&mut self) -> Result<(), Gone> {
        self.heard = Instant::now();
        let asked = self.opened.peripheral.is_connected();
        match within("asking whether the link is up", ALIVE, asked).await {
            Ok(true) => Ok(()),
            // Forgotten is as good as gone: the service was restarted.
            Ok(false) | Err(RadioError::Dropped) => Err(Gone::LinkLost),
            Err(e) => {
                tracing::debug!("{e}");
                Err(NO_SERVICE)
            }
        }
    }
}

const NO_SERVICE: Gone = Gone::CannotOpen(Fault::NoBluetooth);

async fn write_one(
    peripheral: &Peripheral,
    to: &Characteristic,
    piece: &[u8],
    how: WriteType,
) -> Result<(), btleplug::Error> {
    peripheral.write(to, piece, how).await
}

/// What one write carries: the link's, less three bytes of header.
fn room(peripheral: &Peripheral) -> usize {
    usize::from(peripheral.mtu()).saturating_sub(3).max(LEAST)
}

/// Waits until one of these is to be read, and says which.
async fn due(reads: &[(usize, Instant, Duration)]) -> usize {
    match reads.iter().enumerate().min_by_key(|(_, r)| r.1) {
        Some((nth, (_, at, _))) => {
            sleep_until(*at).await;
            nth
        }
        None => std::future::pending().await,
    }
}
