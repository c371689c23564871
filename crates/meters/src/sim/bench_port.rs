//! Serves a simulated bench meter on a real TCP port or a pseudo-terminal.

use std::io::{self, ErrorKind, Read, Write};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use super::bench::{Bench, Reply};
use super::pty::Pty;

/// A served bench meter. Dropping it switches it off.
#[derive(Debug)]
pub struct BenchPort {
    bench: Arc<Mutex<Bench>>,
    off: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
    address: Option<SocketAddr>,
    path: Option<PathBuf>,
}

/// How long one look for bytes takes.
const LOOK: Duration = Duration::from_millis(2);

impl BenchPort {
    /// Serves on this address of the machine itself, one host at a time; port 0 is any free one.
    ///
    /// # Errors
    /// What the system says.
    pub fn tcp(address: SocketAddr) -> io::Result<BenchPort> {
        let listener = TcpListener::bind(address)?;
        listener.set_nonblocking(true)?;
        let address = listener.local_addr()?;
        let mut port = BenchPort::serve(move |bench, off| {
            while !off.load(Ordering::Relaxed) {
                match listener.accept() {
                    Ok((stream, _)) => {
                        let end = stream
                            .set_nonblocking(true)
                            .and_then(|()| converse(&mut Wire(stream), bench, off));
                        if let Err(e) = end {
                            tracing::debug!(error = %e, "the bench meter's host went away");
                        }
                    }
                    Err(_) => std::thread::sleep(LOOK),
                }
            }
        })?;
        port.address = Some(address);
        Ok(port)
    }

    /// Serves on a pseudo-terminal.
    ///
    /// # Errors
    /// What the system says.
    pub fn pty() -> io::Result<BenchPort> {
        let pty = Pty::open()?;
        let path = pty.path().to_path_buf();
        let mut port = BenchPort::serve(move |bench, off| {
            if let Err(e) = converse(&mut Wire(pty), bench, off) {
                tracing::debug!(error = %e, "the bench meter's line failed");
            }
        })?;
        port.path = Some(path);
        Ok(port)
    }

    fn serve(
        run: impl FnOnce(&Mutex<Bench>, &AtomicBool) + Send + 'static,
    ) -> io::Result<BenchPort> {
        let bench = Arc::new(Mutex::new(Bench::default()));
        let off = Arc::new(AtomicBool::new(false));
        let thread = std::thread::Builder::new()
            .name("sim-bench".into())
            .spawn({
                let (bench, off) = (Arc::clone(&bench), Arc::clone(&off));
                move || run(&bench, &off)
            })?;
        Ok(BenchPort {
            bench,
            off,
            thread: Some(thread),
            address: None,
            path: None,
        })
    }

    /// The meter itself.
    pub fn bench(&self) -> MutexGuard<'_, Bench> {
        lock(&self.bench)
    }

    /// Where it listens, if on a network port.
    #[must_use]
    pub fn address(&self) -> Option<SocketAddr> {
        self.address
    }

    /// The path that the host opens, if on a pseudo-terminal.
    #[must_use]
    pub fn path(&self) -> Option<&Path> {
        self.path.as_deref()
    }
}

impl Drop for BenchPort {
    fn drop(&mut self) {
        self.off.store(true, Ordering::Relaxed);
        if let Some(thread) = self.thread.take() {
            // A panic in the thread has been reported by the thread.
            let _ = thread.join();
        }
    }
}

fn lock(bench: &Mutex<Bench>) -> MutexGuard<'_, Bench> {
    bench.lock().unwrap_or_else(PoisonError::into_inner)
}

/// What a host is at the end of.
struct Wire<T>(T);

trait Ends {
    /// Bytes that came: none if the host is gone, zero if there are none yet.
    fn look(&mut self, buffer: &mut [u8]) -> io::Result<Option<usize>>;
    fn send(&mut self, bytes: &[u8]) -> io::Result<()>;
}

impl Ends for Wire<TcpStream> {
    fn look(&mut self, buffer: &mut [u8]) -> io::Result<Option<usize>> {
        match self.0.read(buffer) {
            Ok(0) => Ok(None),
            Ok(count) => Ok(Some(count)),
            Err(e) if e.kind() == ErrorKind::WouldBlock => Ok(Some(0)),
            Err(e) => Err(e),
        }
    }

    fn send(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.0.write_all(bytes)
    }
}

impl Ends for Wire<Pty> {
    fn look(&mut self, buffer: &mut [u8]) -> io::Result<Option<usize>> {
        self.0.read(buffer).map(Some)
    }

    fn send(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.0.write(bytes).map(|_| ())
    }
}

fn converse(wire: &mut dyn Ends, bench: &Mutex<Bench>, off: &AtomicBool) -> io::Result<()> {
    let mut buffer = [0; 256];
    let mut due: Vec<(Instant, Reply)> = Vec::new();
    while !off.load(Ordering::Relaxed) {
        let Some(count) = wire.look(&mut buffer)? else {
            return Ok(());
        };
        let now = Instant::now();
        let taken = lock(bench).take(buffer.get(..count).unwrap_or_default());
        // Answers keep their order: a slow one holds up those behind it.
        for reply in taken {
            let free = due.last().map_or(now, |(at, _)| *at).max(now);
            due.push((free + reply.after, reply));
        }
        while due.first().is_some_and(|(at, _)| *at <= now) {
            let (_, reply) = due.remove(0);
            wire.send(&reply.bytes)?;
            if reply.close {
                return Ok(());
            }
        }
        if count == 0 {
            std::thread::sleep(LOOK);
        }
    }
    Ok(())
}
