//! Connections: how many, how long a client may take for each step of one, and how they end.

use std::collections::HashMap;
use std::future::poll_fn;
use std::io;
use std::net::{IpAddr, SocketAddr};
use std::pin::{Pin, pin};
use std::sync::{Arc, Mutex, PoisonError};
use std::task::{Context, Poll};
use std::time::Duration;

use axum::Router;
use axum::body::Body;
use axum::extract::Request;
use hyper::body::Incoming;
use hyper::server::conn::http1;
use hyper::service::service_fn;
use hyper_util::rt::{TokioIo, TokioTimer};
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::watch;
use tokio::task::JoinSet;
use tokio::time::{Sleep, sleep, timeout};
use tower::ServiceExt;

use crate::config::Limits;

/// The longest head of a request, bytes.
const HEAD: usize = 16 * 1024;
/// How long connections may take to end when the daemon stops.
const GRACE: Duration = Duration::from_secs(2);
/// The wait after the system had no socket to give.
const BREATH: Duration = Duration::from_millis(100);

/// The two ends of the connection that a request came by.
#[derive(Debug, Clone, Copy)]
pub(super) struct Ends {
    pub peer: SocketAddr,
    pub local: SocketAddr,
}

/// Answers what comes in at the listeners until `stop`, then ends in order: requests that are being
/// answered are answered, and what has not ended after two seconds is cut.
pub async fn serve(
    listeners: Vec<TcpListener>,
    router: Router,
    limits: Limits,
    stop: impl Future<Output = ()>,
) {
    let (stopping, stopped) = watch::channel(());
    let server = Server {
        router,
        limits,
        open: Arc::default(),
        stopped,
    };
    let mut connections = JoinSet::new();
    let mut stop = pin!(stop);
    loop {
        tokio::select! {
            () = &mut stop => break,
            (stream, peer) = accept(&listeners) => server.admit(stream, peer, &mut connections),
            Some(_) = connections.join_next() => {}
        }
    }
    drop(listeners);
    drop(stopping);
    let ended = async { while connections.join_next().await.is_some() {} };
    if timeout(GRACE, ended).await.is_err() {
        tracing::info!("connections that did not end in time are cut");
    }
}

/// The next connection at any of them.
async fn accept(listeners: &[TcpListener]) -> (TcpStream, SocketAddr) {
    loop {
        let next = poll_fn(|context| {
            let polled = listeners.iter().map(|l| l.poll_accept(context));
            // All are polled, so that each wakes this task; the others' next ones wait.
            let mut first = Poll::Pending;
            for accepted in polled {
                if accepted.is_ready() {
                    first = accepted;
                    break;
                }
            }
            first
        });
        match next.await {
            Ok(accepted) => return accepted,
            Err(e) => {
                tracing::warn!("no connection is accepted: {e}");
                sleep(BREATH).await;
            }
        }
    }
}

/// What every connection shares.
struct Server {
    router: Router,
    limits: Limits,
    open: Arc<Mutex<HashMap<IpAddr, usize>>>,
    stopped: watch::Receiver<()>,
}

impl Server {
    /// Serves a connection in a task of its own, or closes it at once if there are too many.
    fn admit(&self, stream: TcpStream, peer: SocketAddr, to: &mut JoinSet<()>) {
        let Some(place) = Place::take(&self.open, peer.ip(), &self.limits) else {
            tracing::warn!(peer = %peer.ip(), "too many connections: one is closed");
            return;
        };
        let Ok(local) = stream.local_addr() else {
            return;
        };
        // Events are small and wanted at once. A socket that refuses is slower, and works.
        let _ = stream.set_nodelay(true);
        let ends = Ends { peer, local };
        let router = self.router.clone();
        let service = service_fn(move |request: Request<Incoming>| {
            let mut request = request.map(Body::new);
            request.extensions_mut().insert(ends);
            router.clone().oneshot(request)
        });
        let io = TokioIo::new(Unstalled {
            stream,
            patience: self.limits.stall,
            stalled: None,
        });
        let connection = http1::Builder::new()
            .timer(TokioTimer::new())
            .header_read_timeout(self.limits.head_time)
            .max_header_size(HEAD)
            .serve_connection(io, service);
        let mut stopped = self.stopped.clone();
        to.spawn(async move {
            let _place = place;
            let mut connection = pin!(connection);
            let ended = tokio::select! {
                ended = connection.as_mut() => ended,
                _ = stopped.changed() => {
                    connection.as_mut().graceful_shutdown();
                    connection.await
                }
            };
            if let Err(e) = ended {
                tracing::debug!(peer = %peer, "a connection ends: {e}");
            }
        });
    }
}

/// One of the connections that may be open; given back when dropped.
struct Place {
    open: Arc<Mutex<HashMap<IpAddr, usize>>>,
    of: IpAddr,
}

impl Place {
    fn take(
        open: &Arc<Mutex<HashMap<IpAddr, usize>>>,
        of: IpAddr,
        limits: &Limits,
    ) -> Option<Self> {
        let mut counts = open.lock().unwrap_or_else(PoisonError::into_inner);
        let all: usize = counts.values().sum();
        let each = counts.get(&of).copied().unwrap_or(0);
        if all >= limits.connections || each >= limits.connections_each {
            return None;
        }
        counts.insert(of, each + 1);
        Some(Place {
            open: Arc::clone(open),
            of,
        })
    }
}

impl Drop for Place {
    fn drop(&mut self) {
        let mut counts = self.open.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(count) = counts.get_mut(&self.of) {
            *count -= 1;
            if *count == 0 {
                counts.remove(&self.of);
            }
        }
    }
}

/// A stream whose writes fail once the other end has taken nothing for too long.
struct Unstalled {
    stream: TcpStream,
    patience: Duration,
    stalled: Option<Pin<Box<Sleep>>>,
}

impl Unstalled {
    /// A write's outcome, with the patience that a pending one has.
    fn heed(
        &mut self,
        context: &mut Context<'_>,
        wrote: Poll<io::Result<usize>>,
    ) -> Poll<io::Result<usize>> {
        if wrote.is_ready() {
            self.stalled = None;
            return wrote;
        }
        let patience = self.patience;
        let stalled = self
            .stalled
            .get_or_insert_with(|| Box::pin(sleep(patience)));
        match stalled.as_mut().poll(context) {
            Poll::Ready(()) => Poll::Ready(Err(io::ErrorKind::TimedOut.into())),
            Poll::Pending => Poll::Pending,
        }
    }
}

impl AsyncRead for Unstalled {
    fn poll_read(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        buffer: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_read(context, buffer)
    }
}

impl AsyncWrite for Unstalled {
    fn poll_write(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        bytes: &[u8],
    ) -> Poll<io::Result<usize>> {
        let wrote = Pin::new(&mut self.stream).poll_write(context, bytes);
        self.heed(context, wrote)
    }

    fn poll_write_vectored(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        slices: &[io::IoSlice<'_>],
    ) -> Poll<io::Result<usize>> {
        let wrote = Pin::new(&mut self.stream).poll_write_vectored(context, slices);
        self.heed(context, wrote)
    }

    fn is_write_vectored(&self) -> bool {
        self.stream.is_write_vectored()
    }

    fn poll_flush(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_flush(context)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_shutdown(context)
    }
}
