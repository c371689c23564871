//! The desk of the daemon, for a face that wants events alone and ends with an exit code.

use std::path::Path;

use ohmtrail_core::units::Micros;
use ohmtrail_daemon::clock::wall_us;
use ohmtrail_daemon::desk::{Desk as Inner, DeskError, Kept};
use ohmtrail_trail::event::{Event, Opened, Stamp};
use ohmtrail_trail::{Hash, Recovery, Trail};
use ohmtrail_visit::{Book, Input, Visit};

use crate::beforehand::Beforehand;
use crate::fail::Fail;
use crate::known::KnownArgs;

impl From<DeskError> for Fail {
    fn from(error: DeskError) -> Self {
        match error {
            DeskError::Trail(error) => error.into(),
            other => Fail::input(other),
        }
    }
}

/// A visit with its trail, or without one where nothing is to be kept.
pub struct Desk<'b>(Inner<'b>);

fn events(kept: Vec<Kept>) -> Vec<Event> {
    kept.into_iter().map(|k| k.entry.event).collect()
}

impl<'b> Desk<'b> {
    /// Opens a new visit, in a new trail if there is a path for one.
    pub fn open(
        book: &'b Book<'b>,
        opened: Opened,
        path: Option<&Path>,
        at: Stamp,
    ) -> Result<Self, Fail> {
        Ok(Desk(Inner::open(book, opened, path, at)?.0))
    }

    /// Goes on with the visit of a trail.
    pub fn resume(book: &'b Book<'b>, path: &Path) -> Result<(Self, Recovery), Fail> {
        let (trail, records, recovery) = Trail::open_records(path)?;
        let desk = Inner::resume(book, trail, &records).map_err(Fail::input)?;
        Ok((Desk(desk), recovery))
    }

    /// The visit.
    pub fn visit(&mut self) -> &mut Visit<'b> {
        &mut self.0.visit
    }

    /// Says something to the visit; returns what came of it, on disk already.
    pub fn say(&mut self, input: Input, at: Stamp) -> Result<Vec<Event>, DeskError> {
        self.0.say(input, at).map(events)
    }

    /// Keeps what was held probable beforehand.
    pub fn beforehand(
        &mut self,
        beforehand: &Beforehand,
        known: &KnownArgs,
        at: Stamp,
    ) -> Result<(), Fail> {
        for note in [beforehand.note(), known.note()].into_iter().flatten() {
            self.say(Input::Note(note), at)?;
        }
        Ok(())
    }

    /// Lets the visit go on by itself, until it asks for something or has no more to say.
    pub fn go_on(&mut self, at: Stamp) -> Result<Vec<Event>, Fail> {
        Ok(events(self.0.go_on(at)?))
    }

    /// The head hash of the trail as it is on disk.
    pub fn head(&self) -> Option<Hash> {
        self.0.head()
    }

    /// Puts what is buffered on disk.
    pub fn commit(&mut self) -> Result<(), Fail> {
        Ok(self.0.commit()?)
    }
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
