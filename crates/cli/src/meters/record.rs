//! Keeps what a watched meter showed in a trail of its own, committed at least once a second.

use std::path::Path;
use std::time::{SystemTime, UNIX_EPOCH};

use ohmtrail_core::reading::MeterId;
use ohmtrail_core::units::Micros;
use ohmtrail_meters::session::{Gone, SessionEvent};
use ohmtrail_trail::event::{Entry, Event, MeterJoined, Opened, Stamp, Streamed};
use ohmtrail_trail::{COMMIT_AFTER_US, Hash, Trail};

use crate::fail::Fail;

/// The meter as it joined.
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

/// A trail that is being written.
pub struct Recorder {
    trail: Trail,
    meter: MeterId,
    group: Vec<Streamed>,
    lost: bool,
    now: Micros,
}

impl Recorder {
    /// Begins the trail; an existing file is never written over.
    pub fn begin(file: &Path, joined: Joined) -> Result<Recorder, Fail> {
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
            meter: joined.meter,
            group: Vec::new(),
            lost: false,
            now: Micros(0),
        };
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
        Ok(recorder)
    }

    /// Keeps what a session said.
    pub fn heed(&mut self, event: &SessionEvent) -> Result<(), Fail> {
        let meter = self.meter;
        match event {
            SessionEvent::Reading(r) => {
                self.now = self.now.max(r.at);
                self.group.push(Streamed {
                    at: r.at,
                    function: r.function,
                    shown: r.shown,
                    flags: r.flags,
                });
                let oldest = self.group.first().map_or(r.at, |s| s.at);
                if r.at.since(oldest) >= COMMIT_AFTER_US / 2 || self.trail.commit_due(r.at) {
                    self.write(r.at)?;
                }
                Ok(())
            }
            SessionEvent::Up { at, gap_us } if self.lost => {
                self.lost = false;
                let gap_us = *gap_us;
                self.append(*at, Event::MeterBack { meter, gap_us })
            }
            SessionEvent::Silent { at, .. } => self.lose(*at, "silent".to_owned()),
            SessionEvent::Garbage { at, likely, .. } => self.lose(*at, likely.words()),
            SessionEvent::Gone { why: Gone::End, .. } => Ok(()),
            SessionEvent::Away { at, why } | SessionEvent::Gone { at, why } => {
                self.lose(*at, why.words())
            }
            _ => Ok(()),
        }
    }

    fn lose(&mut self, at: Micros, why: String) -> Result<(), Fail> {
        self.lost = true;
        self.write(at)?;
        let meter = self.meter;
        self.append(at, Event::MeterLost { meter, why })?;
        self.trail.commit()?;
        Ok(())
    }

    /// Puts pending readings on disk though nothing more came.
    pub fn flush(&mut self, now: Micros) -> Result<(), Fail> {
        if self.group.is_empty() {
            Ok(())
        } else {
            self.write(now)
        }
    }

    /// Puts the pending readings on disk.
    fn write(&mut self, at: Micros) -> Result<(), Fail> {
        if !self.group.is_empty() {
            let readings = std::mem::take(&mut self.group);
            let meter = self.meter;
            self.append(at, Event::Readings { meter, readings })?;
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
