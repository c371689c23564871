//! Sets the daemon up, serves, and stops in order: nobody is answered any more, every trail is on
//! disk and let go of, every port is let go of.

use std::io;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use tokio::net::TcpListener;
use tokio::runtime::Handle;
use tokio::signal::unix::{SignalKind, signal};
use tokio::sync::watch;

use crate::api::{self, Judge};
use crate::auth::{Guard, accept, protect};
use crate::clock::Clocks;
use crate::config::Config;
use crate::data::{self, DataError};
use crate::index::Shop;
use crate::meters::{AddError, Kept, KeptError, Meters};
use crate::metrics::Metrics;
use crate::notify::Notify;
use crate::sheets::{Beforehand, Sheets};
use crate::visits::{Context, Visits};

/// What the daemon is started with.
#[derive(Debug, Clone)]
pub struct Options {
    /// How it is set up.
    pub config: Config,
    /// What every sheet is told.
    pub beforehand: Beforehand,
    /// What judges typed values against a rule.
    pub judge: Judge,
    /// The clocks.
    pub clocks: Clocks,
}

/// Why the daemon did not start, or ended early.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ServeError {
    /// The address cannot be listened on.
    #[error(
        "{address}: cannot listen there: {source}; choose another with --listen, or end the program that holds it"
    )]
    Listen {
        /// The address.
        address: SocketAddr,
        /// What the system said.
        source: io::Error,
    },
    /// The data folder cannot be used.
    #[error(transparent)]
    Data(#[from] DataError),
    /// The list of meters that were added before cannot be used.
    #[error(transparent)]
    Kept(#[from] KeptError),
    /// A meter of the configuration cannot be read.
    #[error(transparent)]
    Meter(#[from] AddError),
    /// The system refuses something else.
    #[error("the system refuses: {0}")]
    System(#[from] io::Error),
}

/// After being told to stop, the visits have so long to have everything on disk.
const LAST_WRITES: Duration = Duration::from_secs(20);

/// Serves until it is told to stop by SIGTERM or SIGINT. `ready` is called once, with the addresses
/// that are served, when requests are answered.
///
/// # Errors
/// [`ServeError`] says what is wrong and what to do.
pub async fn serve(options: Options, ready: impl FnOnce(&[SocketAddr])) -> Result<(), ServeError> {
    let notify = Notify::of_this_process();
    let stop = told_to_stop(notify.clone())?;
    let watched = tokio::spawn(keep_telling(notify.clone()));
    let served = serve_until(options, stop, |bound| {
        ready(bound);
        notify.ready();
    });
    let served = served.await;
    watched.abort();
    served
}

/// As [`serve`], until something else ends.
///
/// # Errors
/// As [`serve`].
pub async fn serve_until(
    options: Options,
    stop: impl Future<Output = ()>,
    ready: impl FnOnce(&[SocketAddr]),
) -> Result<(), ServeError> {
    let config = &options.config;
    data::hold(&config.data)?;
    let kept = Kept::open(&config.data)?;
    let mut listeners = Vec::new();
    let mut bound = Vec::new();
    for address in &config.listen.addresses {
        let listener = listen(*address).await?;
        bound.push(listener.local_addr()?);
        listeners.push(listener);
    }
    let (stopping, stopped) = watch::channel(false);
    let metrics = Arc::new(Metrics::default());
    let meters = Arc::new(Meters::new(options.clocks.clone(), Arc::clone(&metrics)));
    for meter in &config.meters {
        let name = Some(meter.name.clone());
        meters.add(name, meter.role.clone(), meter.spec.clone())?;
    }
    kept.restore(&meters, &config.data);
    let index = Shop::open(&config.data, options.clocks.clone());
    let index = index.map_err(|source| DataError::System {
        path: config.data.join("visits"),
        source,
    })?;
    let context = Arc::new(Context {
        index: Arc::clone(&index),
        clocks: options.clocks,
        meters: Arc::clone(&meters),
        sheets: Sheets::new(&config.data.join("sheets"), options.beforehand),
        metrics,
        stop: stopped.clone(),
        runtime: Handle::current(),
    });
    let visits = Visits::open_folder(&config.data.join("visits"), context);
    let visits = visits.map_err(|source| DataError::System {
        path: config.data.join("visits"),
        source,
    })?;
    let data = config.data.clone();
    let (router, app) = api::router(visits, data, kept, options.judge, stopped);
    let router = protect(router, Arc::new(Guard::new(config)));
    ready(&bound);
    let stop = async {
        stop.await;
        tracing::info!("stopping");
        // Streams end by it, too: they would hold their connections for ever.
        stopping.send_replace(true);
    };
    accept::serve(listeners, router, config.limits, stop).await;
    if tokio::time::timeout(LAST_WRITES, app.visits().stopped())
        .await
        .is_err()
    {
        tracing::error!("a visit is not on disk yet: its disk does not answer");
    }
    meters.stop();
    index.stop();
    tracing::info!("stopped");
    Ok(())
}

async fn listen(address: SocketAddr) -> Result<TcpListener, ServeError> {
    let listener = TcpListener::bind(address).await;
    listener.map_err(|source| ServeError::Listen { address, source })
}

/// Tells the service manager, twice as often as it asks for, that the runtime still runs.
async fn keep_telling(notify: Notify) {
    let Some(every) = notify.watchdog else {
        return;
    };
    let mut turns = tokio::time::interval(every / 2);
    loop {
        turns.tick().await;
        notify.alive();
    }
}

/// Ends when the process is asked to terminate, or interrupted.
fn told_to_stop(notify: Notify) -> io::Result<impl Future<Output = ()>> {
    let mut terminate = signal(SignalKind::terminate())?;
    let mut interrupt = signal(SignalKind::interrupt())?;
    Ok(async move {
        tokio::select! {
            _ = terminate.recv() => {}
            _ = interrupt.recv() => {}
        }
        notify.stopping();
    })
}
