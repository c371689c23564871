//! A pseudo-terminal pair: the simulated meter writes to one side, the host opens the other as it
//! would a serial port.

use std::ffi::OsString;
use std::io;
use std::os::fd::OwnedFd;
use std::os::unix::ffi::OsStringExt;
use std::path::{Path, PathBuf};

use rustix::fs::{OFlags, fcntl_getfl, fcntl_setfl};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{OptionalActions, tcgetattr, tcsetattr};

/// The meter's side of a pseudo-terminal pair. Dropping it hangs up the host's side.
#[derive(Debug)]
pub struct Pty {
    master: OwnedFd,
    /// Held open, so that the raw settings outlast a host that comes and goes.
    slave: OwnedFd,
    path: PathBuf,
}

impl Pty {
    /// Opens a pair, with the host's side raw: no echo, no line editing.
    ///
    /// # Errors
    /// What the system says, with no pair left open.
    pub fn open() -> io::Result<Pty> {
        let master = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC)?;
        grantpt(&master)?;
        unlockpt(&master)?;
        let path = PathBuf::from(OsString::from_vec(
            ptsname(&master, Vec::new())?.into_bytes(),
        ));
        let slave = rustix::fs::open(
            &path,
            OFlags::RDWR | OFlags::NOCTTY | OFlags::CLOEXEC,
            rustix::fs::Mode::empty(),
        )?;
        let mut settings = tcgetattr(&slave)?;
        settings.make_raw();
        tcsetattr(&slave, OptionalActions::Now, &settings)?;
        fcntl_setfl(&master, fcntl_getfl(&master)? | OFlags::NONBLOCK)?;
        Ok(Pty {
            master,
            slave,
            path,
        })
    }

    /// The path that the host opens.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Reads what the host wrote, if it wrote anything.
    ///
    /// # Errors
    /// What the system says, other than that there is nothing.
    pub fn read(&self, buffer: &mut [u8]) -> io::Result<usize> {
        match rustix::io::read(&self.master, buffer) {
            Ok(count) => Ok(count),
            Err(rustix::io::Errno::AGAIN | rustix::io::Errno::INTR) => Ok(0),
            Err(e) => Err(e.into()),
        }
    }

    /// The speed that the host's side is set to, bits a second.
    ///
    /// # Errors
    /// What the system says.
    pub fn speed(&self) -> io::Result<u32> {
        Ok(tcgetattr(&self.slave)?.output_speed())
    }

    /// Writes what there is room for and says how much: a meter does not wait for a host.
    ///
    /// # Errors
    /// What the system says, other than that there is no room.
    pub fn write(&self, bytes: &[u8]) -> io::Result<usize> {
        match rustix::io::write(&self.master, bytes) {
            Ok(count) => Ok(count),
            Err(rustix::io::Errno::AGAIN | rustix::io::Errno::INTR) => Ok(0),
            Err(e) => Err(e.into()),
        }
    }
}
