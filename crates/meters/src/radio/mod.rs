//! A Bluetooth Low Energy meter on this machine's radio, as a byte stream like any other: for
//! [`gatt`](crate::gatt) a line for each value, for another driver the bytes of the meter's pipe.
//!
//! Every link has a thread with a runtime of its own. A Bluetooth service that hangs, or a bus that
//! is gone, blocks nothing else; and when the thread ends, its connection to the bus ends with it,
//! and whatever the service still holds for it. The next link begins with a new connection, so
//! that nothing of a bus that died is used again.

mod fault;
mod find;
mod open;
mod pump;

pub use fault::RadioError;
pub use find::{Advertiser, listen};

use std::future::Future;
use std::io;
use std::pin::Pin;
use std::sync::mpsc::RecvTimeoutError;
use std::sync::{Arc, OnceLock};
use std::task::{Context, Poll, ready};
use std::thread;
use std::time::Duration;

use btleplug::api::{CentralEvent, Peripheral as _, ValueNotification};
use btleplug::platform::Peripheral;
use futures_util::{Stream, StreamExt};
use tokio::io::{AsyncRead, AsyncWrite, DuplexStream, ReadBuf};
use tokio::sync::oneshot;
use tokio::time::timeout;

use crate::ble::Pipes;
use crate::driver::Entry;
use crate::session::Gone;

/// A meter that is wanted.
#[derive(Debug, Clone)]
pub(crate) struct Wanted {
    /// Its address, or else its name.
    pub which: String,
    /// Which of its characteristics.
    pub pipes: Pipes,
    /// What reads them.
    pub entry: &'static Entry,
}

/// What is on its way to the session, bytes. More than that waits, and the link is ended if nobody
/// reads.
const PIPE: usize = 4096;
/// All of opening, however the steps of it hang.
const OPEN: Duration = Duration::from_secs(40);
/// The service says that a link has ended about 3 s after it was asked to end it.
const GOODBYE: Duration = Duration::from_secs(4);
/// Whoever drops a link waits this long for its goodbye to be on the bus.
const LEAVE: Duration = Duration::from_millis(200);

/// A link to a meter. Dropping it ends it.
#[derive(Debug)]
pub(crate) struct Link {
    pipe: DuplexStream,
    /// Why the far end is gone, once it is.
    why: Arc<OnceLock<Gone>>,
    _thread: Thread,
}

/// Looks for a meter, connects, and starts what its driver needs.
///
/// # Errors
/// [`RadioError`] says which step failed, and what to do.
pub(crate) async fn connect(wanted: Wanted) -> Result<Link, RadioError> {
    let (near, far) = tokio::io::duplex(PIPE);
    let (ready, is_ready) = oneshot::channel();
    let why = Arc::new(OnceLock::new());
    let reason = Arc::clone(&why);
    let thread = Thread::start(async move |kept: &mut Kept| {
        match open::open(&wanted, kept).await {
            Ok(opened) => {
                if ready.send(Ok(())).is_ok() {
                    pump::pump(opened, kept, far, &reason).await;
                }
            }
            // Whoever does not wait any more does not want to know.
            Err(e) => drop(ready.send(Err(e))),
        }
    })?;
    match timeout(OPEN, is_ready).await {
        Ok(Ok(Ok(()))) => Ok(Link {
            pipe: near,
            why,
            _thread: thread,
        }),
        Ok(Ok(Err(e))) => Err(e),
        Ok(Err(_)) => Err(RadioError::failed("the Bluetooth library broke off")),
        Err(_) => Err(RadioError::Stuck("opening")),
    }
}

/// What a thread holds to its end. The library's streams panic if they are dropped on a bus that is
/// gone while anything still runs: they are dropped last, when nothing runs any more.
#[derive(Default)]
struct Kept {
    /// The meter that a link is made to.
    peripheral: Option<Peripheral>,
    /// Whether the link was there before, and is another program's: such a one is not ended.
    shared: bool,
    /// What the adapter tells.
    events: Option<Events>,
    /// The meter's values.
    values: Option<Values>,
}

/// What an adapter tells.
type Events = Pin<Box<dyn Stream<Item = CentralEvent> + Send>>;
/// What a meter notifies.
type Values = Pin<Box<dyn Stream<Item = ValueNotification> + Send>>;

/// The next item; a stream that was not begun is at its end.
async fn next<T>(stream: &mut Option<Pin<Box<dyn Stream<Item = T> + Send>>>) -> Option<T> {
    stream.as_mut()?.next().await
}

/// A thread with a runtime of its own. Dropping it stops it, once goodbye was said.
#[derive(Debug)]
struct Thread {
    stop: Option<oneshot::Sender<()>>,
    /// Its other end is dropped when the thread ends.
    ended: std::sync::mpsc::Receiver<()>,
}

impl Thread {
    fn start(work: impl AsyncFnOnce(&mut Kept) + Send + 'static) -> Result<Thread, RadioError> {
        let (stop, stopped) = oneshot::channel::<()>();
        let (running, ended) = std::sync::mpsc::channel::<()>();
        let failed = |e: io::Error| RadioError::failed(e.to_string());
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .map_err(failed)?;
        thread::Builder::new()
            .name("bluetooth".into())
            .spawn(move || {
                let _running = running;
                runtime.block_on(async {
                    let mut kept = Kept::default();
                    tokio::select! {
                        // Its sender may only be dropped.
                        _ = stopped => {}
                        () = work(&mut kept) => {}
                    }
                    if let (Some(peripheral), false) = (&kept.peripheral, kept.shared) {
                        let _ = timeout(GOODBYE, peripheral.disconnect()).await;
                    }
                });
            })
            .map_err(failed)?;
        Ok(Thread {
            stop: Some(stop),
            ended,
        })
    }
}

impl Drop for Thread {
    fn drop(&mut self) {
        drop(self.stop.take());
        // A program that ends now would leave the meter linked to nobody.
        match self.ended.recv_timeout(LEAVE) {
            Ok(()) | Err(RecvTimeoutError::Disconnected | RecvTimeoutError::Timeout) => {}
        }
    }
}

/// The end of a link, as an error of its stream.
#[derive(Debug, thiserror::Error)]
#[error("{}", .0.words())]
pub(crate) struct Lost(pub Gone);

impl AsyncRead for Link {
    fn poll_read(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        buffer: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        let before = buffer.filled().len();
        ready!(Pin::new(&mut self.pipe).poll_read(context, buffer))?;
        if buffer.filled().len() == before {
            let gone = self.why.get().copied().unwrap_or(Gone::LinkLost);
            return Poll::Ready(Err(io::Error::other(Lost(gone))));
        }
        Poll::Ready(Ok(()))
    }
}

impl AsyncWrite for Link {
    fn poll_write(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        bytes: &[u8],
    ) -> Poll<io::Result<usize>> {
        Pin::new(&mut self.pipe).poll_write(context, bytes)
    }

    fn poll_flush(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.pipe).poll_flush(context)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.pipe).poll_shutdown(context)
    }
}

/// Waits for a step, but not for ever.
async fn within<T, E>(
    step: &'static str,
    limit: Duration,
    work: impl Future<Output = Result<T, E>>,
) -> Result<T, RadioError>
where
    RadioError: From<E>,
{
    match timeout(limit, work).await {
        Ok(done) => Ok(done?),
        Err(_) => Err(RadioError::Stuck(step)),
    }
}
