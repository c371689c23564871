//! A visit and its trail together: what the visit says is on disk before anyone is told of it.

use std::path::Path;
use std::time::{SystemTime, UNIX_EPOCH};

use ohmtrail_core::units::Micros;
use ohmtrail_trail::event::{Entry, Event, Opened, Stamp};
use ohmtrail_trail::{Hash, Recovery, Trail};
use ohmtrail_visit::{Book, Input, Refusal, Visit};

use crate::beforehand::Beforehand;
use crate::exit::Exit;
use crate::fail::Fail;

/// Why something said at the desk came to nothing.
#[derive(Debug)]
pub enum DeskError {
    /// The visit refuses it; nothing has changed.
    Refused(Refusal),
    /// The trail cannot be written: the visit cannot go on.
    Trail(Fail),
}

impl From<DeskError> for Fail {
    fn from(error: DeskError) -> Self {
        match error {
            DeskError::Refused(refusal) => Fail::input(refusal),
            DeskError::Trail(fail) => fail,
        }
    }
}

/// A visit with its trail, or without one where nothing is to be kept.
pub struct Desk<'b> {
    pub visit: Visit<'b>,
    trail: Option<Trail>,
}

impl<'b> Desk<'b> {
    /// Opens a new visit, in a new trail if there is a path for one.
    pub fn open(
        book: &'b Book<'b>,
        opened: Opened,
        path: Option<&Path>,
        at: Stamp,
    ) -> Result<Self, Fail> {
        let mut visit = Visit::new(book);
        let events = visit.handle(Input::Open(opened), at).map_err(Fail::input)?;
        let mut entries = events.into_iter().map(|event| Entry { at, event });
        let Some(first) = entries.next() else {
            return Err(Fail::new(Exit::System, "a visit opens with an event"));
        };
        let trail = match path {
            Some(path) => Some(Trail::create(path, &first)?),
            None => None,
        };
        visit.apply(&first);
        let mut desk = Desk { visit, trail };
        desk.keep(entries.map(|e| e.event).collect(), at)?;
        Ok(desk)
    }

    /// Goes on with the visit of a trail.
    pub fn resume(book: &'b Book<'b>, path: &Path) -> Result<(Self, Recovery), Fail> {
        let (trail, entries, recovery) = Trail::open(path)?;
        let visit = Visit::replay(book, &entries).map_err(Fail::input)?;
        let desk = Desk {
            visit,
            trail: Some(trail),
        };
        Ok((desk, recovery))
    }

    /// Says something to the visit; returns what came of it, on disk already.
    pub fn say(&mut self, input: Input, at: Stamp) -> Result<Vec<Event>, DeskError> {
        let events = self.visit.handle(input, at).map_err(DeskError::Refused)?;
        self.keep(events, at).map_err(DeskError::Trail)
    }

    /// Keeps what was held probable beforehand.
    pub fn beforehand(&mut self, beforehand: &Beforehand, at: Stamp) -> Result<(), Fail> {
        if let Some(note) = beforehand.note() {
            self.say(Input::Note(note), at)?;
        }
        Ok(())
    }

    /// Lets the visit go on by itself, until it asks for something or has no more to say.
    pub fn go_on(&mut self, at: Stamp) -> Result<Vec<Event>, Fail> {
        let mut all = Vec::new();
        loop {
            let events = self.visit.next(at);
            if events.is_empty() {
                return Ok(all);
            }
            all.extend(self.keep(events, at)?);
        }
    }

    /// The head hash of the trail as it is on disk.
    pub fn head(&self) -> Option<Hash> {
        self.trail.as_ref().map(Trail::head)
    }

    /// Puts what is buffered on disk.
    pub fn commit(&mut self) -> Result<(), Fail> {
        if let Some(trail) = &mut self.trail {
            trail.commit()?;
        }
        Ok(())
    }

    /// Streamed readings are committed in groups, everything else before it is told.
    fn keep(&mut self, events: Vec<Event>, at: Stamp) -> Result<Vec<Event>, Fail> {
        let mut kept = Vec::with_capacity(events.len());
        for event in events {
            let entry = Entry { at, event };
            if let Some(trail) = &mut self.trail {
                if matches!(entry.event, Event::Readings { .. }) {
                    trail.append(&entry)?;
                    if trail.commit_due(at.steady) {
                        trail.commit()?;
                    }
                } else {
                    trail.take(&entry)?;
                }
            }
            self.visit.apply(&entry);
            kept.push(entry.event);
        }
        Ok(kept)
    }
}

/// The wall clock, microseconds since 1970.
pub fn wall_us() -> i64 {
    SystemTime::now()
        .duration_since(UNIX_EPOCH)
        .ok()
        .and_then(|d| i64::try_from(d.as_micros()).ok())
        .unwrap_or(0)
}

/// A clock whose time passes by hand, besides the time that really passes.
#[derive(Debug)]
pub struct Passing {
    wall_start: i64,
    passed: u64,
}

impl Passing {
    /// Begins now.
    pub fn start() -> Self {
        Passing {
            wall_start: wall_us(),
            passed: 0,
        }
    }

    /// Lets so many minutes pass.
    pub fn minutes(&mut self, minutes: f32) {
        self.to(Micros(self.passed + (f64::from(minutes) * 60e6) as u64));
    }

    /// Lets time pass up to that moment, if it has not.
    pub fn to(&mut self, moment: Micros) {
        self.passed = self.passed.max(moment.0);
    }

    /// The moment.
    pub fn now(&self) -> Stamp {
        Stamp {
            steady: Micros(self.passed),
            wall_us: self.wall_start.saturating_add_unsigned(self.passed),
        }
    }
}
