//! Sets the daemon up, serves, and stops in order.

use std::io;
use std::net::SocketAddr;
use std::sync::Arc;

use tokio::net::TcpListener;
use tokio::signal::unix::{SignalKind, signal};

use crate::api;
use crate::auth::{Guard, accept, protect};
use crate::config::Config;
use crate::notify::Notify;

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
    /// The system refuses something else.
    #[error("the system refuses: {0}")]
    System(#[from] io::Error),
}

/// Serves until it is told to stop by SIGTERM or SIGINT. `ready` is called once, with the addresses
/// that are served, when requests are answered.
///
/// # Errors
/// [`ServeError`] says what is wrong and what to do.
pub async fn serve(config: Config, ready: impl FnOnce(&[SocketAddr])) -> Result<(), ServeError> {
    let mut listeners = Vec::new();
    let mut bound = Vec::new();
    for address in &config.listen.addresses {
        let listener = listen(*address).await?;
        bound.push(listener.local_addr()?);
        listeners.push(listener);
    }
    let notify = Notify::of_this_process();
    let stop = told_to_stop(notify.clone())?;
    let router = protect(api::router(), Arc::new(Guard::new(&config)));
    ready(&bound);
    notify.ready();
    let watched = tokio::spawn(keep_telling(notify));
    accept::serve(listeners, router, config.limits, stop).await;
    watched.abort();
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
        tracing::info!("told to stop");
        notify.stopping();
    })
}
