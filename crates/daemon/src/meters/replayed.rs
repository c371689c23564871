//! A trail as a meter: its readings again, or the bytes that were kept beside it through a driver.

use std::fs::File;
use std::io::{self, BufReader};
use std::path::{Path, PathBuf};

use ohmtrail_core::reading::{MeterId, Reading};
use ohmtrail_core::units::Micros;
use ohmtrail_meters::capture;
use ohmtrail_meters::driver::CannotStart;
use ohmtrail_meters::replay::{self, Pace};
use ohmtrail_meters::session::Session;
use ohmtrail_meters::spec::DriverSpec;
use ohmtrail_trail::event::Event;
use ohmtrail_trail::{Body, read};

/// Why there is nothing to replay.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ReplayError {
    /// The trail cannot be read.
    #[error(transparent)]
    Trail(#[from] ohmtrail_trail::Error),
    /// The file of bytes cannot be opened.
    #[error("{}: {source}", path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// There is nothing in it that can be played.
    #[error("{}: {why}", path.display())]
    Nothing {
        /// The file.
        path: PathBuf,
        /// What is missing or wrong.
        why: String,
    },
    /// The driver does not start so.
    #[error(transparent)]
    Driver(#[from] CannotStart),
}

/// The file of bytes beside a trail.
#[must_use]
pub fn bytes_beside(trail: &Path) -> PathBuf {
    let mut name = trail.as_os_str().to_owned();
    name.push(".bytes");
    PathBuf::from(name)
}

/// A session of what is kept: of the bytes if there is a driver to read them, else of the readings.
/// To be called within the runtime.
///
/// # Errors
/// [`ReplayError`].
pub fn session(
    trail: &Path,
    pace: Pace,
    driver: Option<&DriverSpec>,
) -> Result<Session, ReplayError> {
    match driver {
        Some(driver) => bytes(trail, driver, pace),
        None => Ok(replay::session(readings(trail)?, pace)),
    }
}

/// The bytes that were kept beside a trail, through a driver again.
fn bytes(trail: &Path, driver: &DriverSpec, pace: Pace) -> Result<Session, ReplayError> {
    let is_capture = trail.extension().is_some_and(|e| e == "bytes");
    let path = if is_capture {
        trail.to_path_buf()
    } else {
        bytes_beside(trail)
    };
    let nothing = |why: String| ReplayError::Nothing {
        path: path.clone(),
        why,
    };
    let file = File::open(&path).map_err(|source| ReplayError::File {
        path: path.clone(),
        source,
    })?;
    let kept = capture::read(BufReader::new(file)).map_err(|e| nothing(e.to_string()))?;
    // Of several meters the first: one driver reads one meter.
    let first = kept.first().map(|(meter, _)| *meter);
    let Some(meter) = first else {
        return Err(nothing("no bytes were kept".to_owned()));
    };
    let pieces = kept.into_iter().filter(|(m, _)| *m == meter);
    let pieces = pieces.map(|(_, piece)| piece).collect();
    driver.start(meter, None)?;
    let driver = driver.clone();
    let start = move || {
        driver
            .start(meter, None)
            .expect("it started a moment ago, from the same settings")
    };
    Ok(replay::bytes(pieces, start, pace))
}

/// The readings that a trail keeps. What is damaged is named in the log and left out.
fn readings(trail: &Path) -> Result<Vec<(Micros, Reading)>, ReplayError> {
    let mut readings = Vec::new();
    for item in read(trail)? {
        match item {
            Ok(record) => {
                if let Body::Entry(entry) = record.body
                    && let Event::Readings { meter, readings: r } = entry.event
                {
                    readings.extend(r.into_iter().map(|s| (s.at, reading(meter, &s))));
                }
            }
            Err(damage) => tracing::warn!("{}: {damage}", trail.display()),
        }
    }
    if readings.is_empty() {
        return Err(ReplayError::Nothing {
            path: trail.to_path_buf(),
            why: "the trail holds no streamed readings".to_owned(),
        });
    }
    Ok(readings)
}

fn reading(meter: MeterId, streamed: &ohmtrail_trail::event::Streamed) -> Reading {
    Reading {
        function: streamed.function,
        shown: streamed.shown,
        flags: streamed.flags,
        meter,
        at: streamed.at,
    }
}
