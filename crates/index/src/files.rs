//! Where trails lie: the files of some folders, and whether one may have changed since it was read.

use std::collections::BTreeMap;
use std::fs::{self, Metadata};
use std::io;
use std::os::unix::fs::MetadataExt;
use std::path::{Path, PathBuf};
use std::thread;
use std::time::{Duration, SystemTime, UNIX_EPOCH};

use crate::error::Error;
use crate::gather::Problem;

/// How a trail's file ends.
const ENDING: &str = "trail";
/// How long a file system may give two changes the same time: twice the slowest tick of a kernel, 10 ms.
const TICK: Duration = Duration::from_millis(20);
/// The same of one that counts whole seconds; the slowest counts every second one.
const SLOW_TICK: Duration = Duration::from_secs(2);
/// The time of change of a file that could change again without a trace: it is read with every update.
const MAY_CHANGE: i64 = -1;

/// A trail's file as it lies there.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Lies {
    pub(crate) bytes: i64,
    /// When its contents or its name last changed, nanoseconds since 1970. Unlike the time of
    /// modification nobody sets it at will, and a copy of an older file does not bring it along.
    pub(crate) changed_ns: i64,
}

impl Lies {
    fn of(about: &Metadata) -> Lies {
        let seconds = about.ctime().saturating_mul(1_000_000_000);
        Lies {
            bytes: i64::try_from(about.len()).unwrap_or(i64::MAX),
            changed_ns: seconds.saturating_add(about.ctime_nsec()),
        }
    }

    /// As it is kept of a file that is read from now on: a change within the clock's tick would leave
    /// no trace.
    pub(crate) fn kept(&self, now_ns: i64) -> Lies {
        let tick = match self.changed_ns % 1_000_000_000 {
            0 => SLOW_TICK,
            _ => TICK,
        };
        let tick = i64::try_from(tick.as_nanos()).unwrap_or(i64::MAX);
        let mut kept = self.clone();
        if self.changed_ns.saturating_add(tick) > now_ns {
            kept.changed_ns = MAY_CHANGE;
        }
        kept
    }
}

/// Nanoseconds since 1970, by the wall clock.
pub(crate) fn now_ns() -> i64 {
    let since = SystemTime::now().duration_since(UNIX_EPOCH);
    since.map_or(0, |since| {
        i64::try_from(since.as_nanos()).unwrap_or(i64::MAX)
    })
}

/// Waits for the clock's next tick if one of these files changed within this one, so that every later
/// change has another time.
pub(crate) fn next_tick<'l>(files: impl IntoIterator<Item = &'l Lies>) {
    let now = now_ns();
    if files
        .into_iter()
        .any(|lies| lies.kept(now).changed_ns == MAY_CHANGE)
    {
        thread::sleep(TICK);
    }
}

/// What lies in some folders.
#[derive(Debug, Default)]
pub(crate) struct Listing {
    /// The trails.
    pub(crate) trails: BTreeMap<PathBuf, Lies>,
    /// What could not be looked through.
    pub(crate) unread: Vec<Problem>,
}

impl Listing {
    /// The trails in these folders, at any depth, and the files that are named themselves.
    pub(crate) fn of(folders: &[PathBuf]) -> Listing {
        let mut listing = Listing::default();
        let mut open: Vec<PathBuf> = folders.to_vec();
        while let Some(path) = open.pop() {
            if let Err(error) = listing.look(&path, &mut open) {
                listing.unread.push(Problem {
                    what: format!(
                        "cannot be looked through: {error}; what an update had of it before stays, and the next one looks again"
                    ),
                    path,
                });
            }
        }
        listing.unread.sort_by(|a, b| a.path.cmp(&b.path));
        listing
    }

    fn look(&mut self, path: &Path, open: &mut Vec<PathBuf>) -> io::Result<()> {
        let about = fs::metadata(path)?;
        if !about.is_dir() {
            self.trails.insert(path.to_path_buf(), Lies::of(&about));
            return Ok(());
        }
        for entry in fs::read_dir(path)? {
            let entry = entry?;
            let kind = entry.file_type()?;
            let inside = entry.path();
            // What a link leads to may be the folder that it is in.
            let is_trail = inside.extension().is_some_and(|e| e == ENDING) && !kind.is_dir();
            if kind.is_dir() || (is_trail && inside.is_file()) {
                open.push(inside);
            }
        }
        Ok(())
    }

    /// Whether a file that was there is there no more; of what could not be looked through nobody knows.
    pub(crate) fn is_gone(&self, path: &Path) -> bool {
        let unknown = |problem: &Problem| path.starts_with(&problem.path);
        !self.trails.contains_key(path) && !self.unread.iter().any(unknown)
    }
}

/// Whole paths, without links.
pub(crate) fn absolute(paths: &[PathBuf]) -> Result<Vec<PathBuf>, Error> {
    paths.iter().map(|path| absolute_path(path)).collect()
}

pub(crate) fn absolute_path(path: &Path) -> Result<PathBuf, Error> {
    fs::canonicalize(path).map_err(Error::io(path, "looking for trails"))
}

/// A file beside an index.
pub(crate) fn beside(path: &Path, end: &str) -> PathBuf {
    with_end(path, &format!(".{end}"))
}

pub(crate) fn with_end(path: &Path, end: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(end);
    PathBuf::from(name)
}

/// Removes an index that is not in use, with what SQLite keeps beside it.
pub(crate) fn remove_index(path: &Path) -> Result<(), Error> {
    for end in ["", "-journal", "-wal", "-shm"] {
        remove(&with_end(path, end))?;
    }
    Ok(())
}

pub(crate) fn remove(path: &Path) -> Result<(), Error> {
    match fs::remove_file(path) {
        Err(error) if error.kind() != io::ErrorKind::NotFound => {
            Err(Error::io(path, "removing it")(error))
        }
        _ => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A change within the tick of the one that was seen has the same time: the file counts as one
    /// that may change until the clock has moved on.
    #[test]
    fn a_file_that_just_changed_is_read_again() {
        let at = |changed_ns: i64| Lies {
            bytes: 100,
            changed_ns,
        };
        let second = 1_700_000_000_000_000_000;
        for (changed, now, may_change) in [
            (second + 5, second + 5, true),
            (second + 5, second + 19_000_000, true),
            (second + 5, second + 20_000_005, false),
            // A clock that was set back.
            (second + 5, second - 3_600_000_000_000, true),
            // A file system that counts seconds.
            (second, second + 1_999_000_000, true),
            (second, second + 2_000_000_000, false),
        ] {
            let kept = at(changed).kept(now);
            assert_eq!(kept.changed_ns == MAY_CHANGE, may_change, "{changed} {now}");
            assert_eq!(kept.bytes, 100);
        }
    }
}
