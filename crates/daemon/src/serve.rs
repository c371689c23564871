//! Sets the daemon up, serves, and stops in order.

use std::io;
use std::net::SocketAddr;

use tokio::net::TcpListener;
use tokio::signal::unix::{SignalKind, signal};

use crate::api;

/// What the daemon is started with.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Options {
    /// Where it listens; port 0 lets the system choose one.
    pub listen: SocketAddr,
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
    /// The system refuses something else.
    #[error("the system refuses: {0}")]
    System(#[from] io::Error),
}

/// Serves until it is told to stop by SIGTERM or SIGINT. `ready` is called once, with the address
/// that is served, when requests are answered.
///
/// # Errors
/// [`ServeError`] says what is wrong and what to do.
pub async fn serve(options: Options, ready: impl FnOnce(SocketAddr)) -> Result<(), ServeError> {
    let address = options.listen;
    let listener = TcpListener::bind(address)
        .await
        .map_err(|source| ServeError::Listen { address, source })?;
    let stop = told_to_stop()?;
    ready(listener.local_addr()?);
    axum::serve(listener, api::router())
        .with_graceful_shutdown(stop)
        .await?;
    Ok(())
}

/// Ends when the process is asked to terminate, or interrupted.
fn told_to_stop() -> io::Result<impl Future<Output = ()>> {
    let mut terminate = signal(SignalKind::terminate())?;
    let mut interrupt = signal(SignalKind::interrupt())?;
    Ok(async move {
        tokio::select! {
            _ = terminate.recv() => {}
            _ = interrupt.recv() => {}
        }
        tracing::info!("told to stop");
    })
}
