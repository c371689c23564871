//! A meter on a serial port: opens it exclusively with the frame's line settings, and runs the one
//! task that owns it.

use std::io::ErrorKind;
use std::os::unix::fs::FileTypeExt;
use std::path::{Path, PathBuf};

use ohmtrail_core::reading::MeterId;
use tokio::io::{AsyncRead, AsyncReadExt, AsyncWrite, AsyncWriteExt};
use tokio_serial::{ClearBuffer, SerialPort, SerialStream};

use crate::driver::{Carrier, Driver, Line, Outcome, Parity};
use crate::session::{Clock, Feed, Gone, Patience, Session, SessionEvent, Watch};
use crate::spec::SerialSpec;

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
}

/// Opens the port of a spec and starts its session. To be called within a tokio runtime with I/O
/// and time enabled.
///
/// # Errors
/// [`OpenError`] says which of missing, busy, forbidden, no port or refused it is. A wrong speed
/// shows only later, as [`SessionEvent::Garbage`].
pub fn open(spec: &SerialSpec, meter: MeterId, clock: Clock) -> Result<Session, OpenError> {
    let Carrier::Serial(mut line) = spec.entry.carrier;
    if let Some(baud) = spec.baud() {
        line.baud = baud;
    }
    let driver = (spec.entry.start)(meter);
    open_with(&spec.path, line, driver, Patience::default(), clock)
}

/// Opens a port for a driver of the caller's own, with the caller's patience.
///
/// # Errors
/// As [`open`].
pub fn open_with(
    path: &Path,
    line: Line,
    driver: Box<dyn Driver>,
    patience: Patience,
    clock: Clock,
) -> Result<Session, OpenError> {
    let port = open_port(path, line)?;
    Ok(Session::spawn(move |feed| {
        run(port, driver, patience, clock, feed)
    }))
}

/// Runs a driver over any byte stream, such as one side of an in-memory pipe.
pub fn over<P>(port: P, driver: Box<dyn Driver>, patience: Patience, clock: Clock) -> Session
where
    P: AsyncRead + AsyncWrite + Send + Unpin + 'static,
{
    Session::spawn(move |feed| run(port, driver, patience, clock, feed))
}

fn open_port(path: &Path, line: Line) -> Result<SerialStream, OpenError> {
    let failed = |detail: String| OpenError::Failed {
        path: path.to_path_buf(),
        baud: line.baud,
        detail,
    };
    match std::fs::metadata(path) {
        Ok(meta) if meta.file_type().is_char_device() => {}
        Ok(_) => return Err(OpenError::NotAPort(path.to_path_buf())),
        Err(e) if e.kind() == ErrorKind::NotFound => {
            return Err(OpenError::Missing(path.to_path_buf()));
        }
        Err(e) if e.kind() == ErrorKind::PermissionDenied => {
            return Err(OpenError::Permission(path.to_path_buf()));
        }
        Err(e) => return Err(failed(e.to_string())),
    }
    let name = path
        .to_str()
        .ok_or_else(|| failed("the path is not UTF-8".into()))?;
    let builder = tokio_serial::new(name, line.baud)
        .data_bits(if line.data_bits == 7 {
            tokio_serial::DataBits::Seven
        } else {
            tokio_serial::DataBits::Eight
        })
        .parity(match line.parity {
            Parity::None => tokio_serial::Parity::None,
            Parity::Odd => tokio_serial::Parity::Odd,
        })
        .stop_bits(tokio_serial::StopBits::One)
        .flow_control(tokio_serial::FlowControl::None);
    let mut port = SerialStream::open(&builder).map_err(|e| {
        use tokio_serial::ErrorKind as Kind;
        match e.kind {
            // The library's word for a held port: opened exclusively, or locked.
            Kind::NoDevice => OpenError::Busy(path.to_path_buf()),
            Kind::Io(ErrorKind::NotFound) => OpenError::Missing(path.to_path_buf()),
            Kind::Io(ErrorKind::PermissionDenied) => OpenError::Permission(path.to_path_buf()),
            _ if e.description.contains("typewriter")
                || e.description.contains("ioctl for device") =>
            {
                OpenError::NotAPort(path.to_path_buf())
            }
            _ => failed(e.description),
        }
    })?;
    // The control lines feed an optical lead; a pseudo-terminal has none, and that is no error.
    let _ = port.write_data_terminal_ready(true);
    let _ = port.write_request_to_send(false);
    // What came before the settings were in force is not to be read.
    port.clear(ClearBuffer::Input)
        .map_err(|e| failed(e.description))?;
    Ok(port)
}

async fn run<P>(
    mut port: P,
    mut driver: Box<dyn Driver>,
    patience: Patience,
    clock: Clock,
    feed: Feed,
) where
    P: AsyncRead + AsyncWrite + Send + Unpin,
{
    let why = tokio::select! {
        () = feed.closed() => return,
        why = converse(&mut port, driver.as_mut(), patience, clock, &feed) => why,
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

/// Reads until the port is gone; none if nobody receives any more.
async fn converse<P>(
    port: &mut P,
    driver: &mut dyn Driver,
    patience: Patience,
    clock: Clock,
    feed: &Feed,
) -> Option<Gone>
where
    P: AsyncRead + AsyncWrite + Send + Unpin,
{
    let mut watch = Watch::new(patience, clock.now());
    let mut buffer = [0_u8; 256];
    loop {
        if let Some(event) = watch.tick(clock.now())
            && !feed.send(event).await
        {
            return None;
        }
        if let Some(ask) = driver.poll(clock.now())
            && let Err(e) = port.write_all(ask).await
        {
            return Some(gone(&e));
        }
        let wake = watch.deadline().into_iter().chain(driver.wake()).min();
        let count = tokio::select! {
            read = port.read(&mut buffer) => match read {
                Ok(0) => return Some(Gone::Unplugged),
                Ok(count) => count,
                Err(e) if e.kind() == ErrorKind::Interrupted => continue,
                Err(e) => return Some(gone(&e)),
            },
            () = until(wake, clock) => continue,
        };
        let at = clock.now();
        watch.bytes(count, at);
        feed.count(|tally| tally.bytes += count as u64);
        let mut rest = buffer.get(..count)?;
        loop {
            let pushed = driver.push(rest, at);
            rest = pushed.rest;
            feed.count(|tally| tally.skipped += pushed.skipped as u64);
            let open = match pushed.outcome {
                Outcome::Hungry => break,
                Outcome::Got(reading) => {
                    if let Some(up) = watch.frame(at)
                        && !feed.send(up).await
                    {
                        return None;
                    }
                    feed.reading(reading).await
                }
                Outcome::Rejected(reason) => {
                    watch.refused(reason);
                    feed.count(|tally| tally.reject(reason));
                    feed.send(SessionEvent::Rejected { at, reason }).await
                }
            };
            if !open {
                return None;
            }
        }
    }
}

async fn until(wake: Option<ohmtrail_core::units::Micros>, clock: Clock) {
    match wake {
        Some(at) => tokio::time::sleep_until(clock.instant(at)).await,
        None => std::future::pending().await,
    }
}

/// A hung-up terminal fails with EIO; a removed device with ENXIO or ENODEV.
fn gone(e: &std::io::Error) -> Gone {
    use rustix::io::Errno;
    match Errno::from_io_error(e) {
        Some(Errno::IO | Errno::NXIO | Errno::NODEV) => Gone::Unplugged,
        _ => Gone::Failed(e.kind()),
    }
}
