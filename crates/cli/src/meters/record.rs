//! Keeps what watched meters showed in a trail of its own, committed at least once a second, and
//! the bytes on their lines beside it.

use std::fs::File;
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};
use std::time::{SystemTime, UNIX_EPOCH};

use ohmtrail_core::reading::MeterId;
use ohmtrail_core::units::Micros;
use ohmtrail_daemon::meters::bytes_beside;
use ohmtrail_meters::capture;
use ohmtrail_meters::session::{Gone, Piece, SessionEvent};
use ohmtrail_trail::event::{Entry, Event, MeterJoined, Opened, Stamp, Streamed};
use ohmtrail_trail::{COMMIT_AFTER_US, Hash, Trail};

use crate::exit::Exit;
use crate::fail::Fail;

/// The meter as it joined.
#[derive(Clone)]
pub struct Joined {
    /// Its number.
    pub meter: MeterId,
    /// Its driver.
    pub driver: String,
    /// Where it is.
    pub place: String,
    /// Its profile.
    pub profile: String,
    /// Whether its accuracy is assumed.
    pub assumed: bool,
}

/// One meter's part.
struct Part {
    meter: MeterId,
    group: Vec<Streamed>,
    lost: bool,
}

/// A trail that is being written.
pub struct Recorder {
    trail: Trail,
    parts: Vec<Part>,
    bytes: Option<Bytes>,
    now: Micros,
}

/// The bytes beside a trail.
struct Bytes {
    path: PathBuf,
    file: BufWriter<File>,
}

impl Bytes {
    fn begin(path: PathBuf) -> Result<Bytes, Fail> {
        let failed = |e| Fail::input(format!("{}: {e}", path.display()));
        let mut file = BufWriter::new(File::create_new(&path).map_err(failed)?);
        capture::begin(&mut file).map_err(failed)?;
        Ok(Bytes { path, file })
    }

    fn heed(&self, done: std::io::Result<()>) -> Result<(), Fail> {
        done.map_err(|e| Fail::new(Exit::System, format!("{}: {e}", self.path.display())))
    }

    fn write(&mut self, meter: MeterId, piece: &Piece) -> Result<(), Fail> {
        let done = capture::write(&mut self.file, meter, piece);
        self.heed(done)
    }

    fn flush(&mut self) -> Result<(), Fail> {
        let done = self.file.flush();
        self.heed(done)
    }
}

impl Recorder {
    /// Begins the trail, and the file of bytes where there are bytes; an existing file is never
    /// written over.
    pub fn begin(file: &Path, joined: Vec<Joined>, bytes: bool) -> Result<Recorder, Fail> {
        let opened = Event::Opened(Opened {
            tool: concat!("ohmtrail ", env!("CARGO_PKG_VERSION")).to_owned(),
            work_order: "bench recording".to_owned(),
            technician: String::new(),
            unit: String::new(),
            sheet: String::new(),
            sheet_hash: [0; 32],
            previous: None,
            simulated: false,
        });
        let mut recorder = Recorder {
            trail: Trail::create(file, &entry(Micros(0), opened))?,
            parts: Vec::new(),
            bytes: None,
            now: Micros(0),
        };
        if bytes {
            recorder.bytes = Some(Bytes::begin(bytes_beside(file))?);
        }
        for joined in joined {
            recorder.parts.push(Part {
                meter: joined.meter,
                group: Vec::new(),
                lost: false,
            });
            recorder.append(
                Micros(0),
                Event::MeterJoined(MeterJoined {
                    meter: joined.meter,
                    driver: joined.driver,
                    place: joined.place,
                    profile: joined.profile,
                    accuracy_assumed: joined.assumed,
                }),
            )?;
        }
        Ok(recorder)
    }

    /// Keeps what a meter's session said.
    pub fn heed(&mut self, meter: MeterId, event: &SessionEvent) -> Result<(), Fail> {
        let Some(part) = self.parts.iter_mut().find(|part| part.meter == meter) else {
            return Ok(());
        };
        match event {
            SessionEvent::Heard(piece) => match &mut self.bytes {
                Some(bytes) => bytes.write(meter, piece),
                None => Ok(()),
            },
            SessionEvent::Reading(r) => {
                self.now = self.now.max(r.at);
                part.group.push(Streamed {
                    at: r.at,
                    function: r.function,
                    shown: r.shown,
                    flags: r.flags,
                });
                let oldest = part.group.first().map_or(r.at, |s| s.at);
                if r.at.since(oldest) >= COMMIT_AFTER_US / 2 || self.trail.commit_due(r.at) {
                    self.write(r.at)?;
                }
                Ok(())
            }
            SessionEvent::Up { at, gap_us } if part.lost => {
                part.lost = false;
                let gap_us = *gap_us;
                self.append(*at, Event::MeterBack { meter, gap_us })
            }
            SessionEvent::Silent { at, .. } => self.lose(meter, *at, "silent".to_owned()),
            SessionEvent::Garbage { at, likely, .. } => self.lose(meter, *at, likely.words()),
            SessionEvent::Gone { why: Gone::End, .. } => Ok(()),
            SessionEvent::Away { at, why } | SessionEvent::Gone { at, why } => {
                self.lose(meter, *at, why.words())
            }
            _ => Ok(()),
        }
    }

    fn lose(&mut self, meter: MeterId, at: Micros, why: String) -> Result<(), Fail> {
        if let Some(part) = self.parts.iter_mut().find(|part| part.meter == meter) {
            part.lost = true;
        }
        self.write(at)?;
        self.append(at, Event::MeterLost { meter, why })?;
        self.trail.commit()?;
        Ok(())
    }

    /// Puts pending readings on disk though nothing more came.
    pub fn flush(&mut self, now: Micros) -> Result<(), Fail> {
        if self.parts.iter().all(|part| part.group.is_empty()) {
            Ok(())
        } else {
            self.write(now)
        }
    }

    /// Puts the pending readings on disk.
    fn write(&mut self, at: Micros) -> Result<(), Fail> {
        let groups: Vec<(MeterId, Vec<Streamed>)> = self
            .parts
            .iter_mut()
            .filter(|part| !part.group.is_empty())
            .map(|part| (part.meter, std::mem::take(&mut part.group)))
            .collect();
        for (meter, readings) in groups {
            self.append(at, Event::Readings { meter, readings })?;
        }
        if let Some(bytes) = &mut self.bytes {
            bytes.flush()?;
        }
        self.trail.commit()?;
        Ok(())
    }

    fn append(&mut self, at: Micros, event: Event) -> Result<(), Fail> {
        self.now = self.now.max(at);
        self.trail.append(&entry(self.now, event))?;
        Ok(())
    }

    /// Ends the trail; returns its head hash.
    pub fn end(mut self) -> Result<Hash, Fail> {
        let now = self.now;
        self.write(now)?;
        self.append(now, Event::Closed)?;
        Ok(self.trail.close()?)
    }
}

fn entry(steady: Micros, event: Event) -> Entry {
    let wall = SystemTime::now().duration_since(UNIX_EPOCH);
    Entry {
        at: Stamp {
            steady,
            wall_us: wall.map_or(0, |d| i64::try_from(d.as_micros()).unwrap_or(i64::MAX)),
        },
        event,
    }
}
