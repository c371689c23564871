//! Who may do what to an index at the same time. SQLite's own locks hold within one file; an index that
//! is made anew is another file in its place, and what the old one has beside it must not be read with
//! the new one.
//!
//! * `<index>.lock`: shared while an index is open, exclusive while another takes its place.
//! * `<index>.writing`: exclusive while one is made anew, updated or proven.
//!
//! The system lets go of a lock when its program ends, however it ends; the files stay, and are empty.

use std::fs::{File, OpenOptions, TryLockError};
use std::path::Path;
use std::thread;
use std::time::{Duration, Instant};

use crate::error::Error;
use crate::files::{beside, remove};

/// How long another writer is waited for.
const PATIENCE: Duration = Duration::from_secs(5);
/// How long those that read an index are waited for before another takes its place.
const READERS: Duration = Duration::from_secs(30);
/// How often it is tried.
const EVERY: Duration = Duration::from_millis(20);

/// A lock that is held.
#[derive(Debug)]
pub(crate) struct Lock {
    _file: File,
}

impl Lock {
    /// While an index is open.
    pub(crate) fn to_read(index: &Path) -> Result<Lock, Error> {
        Lock::take(index, "lock", File::try_lock_shared, PATIENCE)
    }

    /// While another takes its place.
    pub(crate) fn to_replace(index: &Path) -> Result<Lock, Error> {
        Lock::take(index, "lock", File::try_lock, READERS)
    }

    /// While it is written to, made anew or proven.
    pub(crate) fn to_write(index: &Path) -> Result<Lock, Error> {
        Lock::take(index, "writing", File::try_lock, PATIENCE)
    }

    /// Leaves nothing beside a file that is no index.
    pub(crate) fn forget(index: &Path) -> Result<(), Error> {
        remove(&beside(index, "lock"))?;
        remove(&beside(index, "writing"))
    }

    fn take(
        index: &Path,
        end: &str,
        lock: fn(&File) -> Result<(), TryLockError>,
        patience: Duration,
    ) -> Result<Lock, Error> {
        let path = beside(index, end);
        let mut options = OpenOptions::new();
        options.read(true).write(true).create(true).truncate(false);
        let file = options
            .open(&path)
            .map_err(Error::io(&path, "making its lock"))?;
        let began = Instant::now();
        loop {
            match lock(&file) {
                Ok(()) => return Ok(Lock { _file: file }),
                Err(TryLockError::WouldBlock) if began.elapsed() < patience => {
                    thread::sleep(EVERY);
                }
                Err(TryLockError::WouldBlock) => {
                    return Err(Error::Held {
                        name: index.display().to_string(),
                    });
                }
                Err(TryLockError::Error(error)) => {
                    return Err(Error::io(&path, "locking it")(error));
                }
            }
        }
    }
}
