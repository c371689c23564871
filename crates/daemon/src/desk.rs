//! A visit and its trail together: what the visit says is on disk before anyone is told of it.

use std::path::Path;

use ohmtrail_trail::event::{Entry, Event, Opened, Stamp};
use ohmtrail_trail::{Body, Hash, Record, Trail};
use ohmtrail_visit::{Book, Input, Refusal, Visit};

/// Why something said at the desk came to nothing.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum DeskError {
    /// The visit refuses it; nothing has changed.
    #[error(transparent)]
    Refused(#[from] Refusal),
    /// The trail cannot be written: the visit cannot go on.
    #[error(transparent)]
    Trail(#[from] ohmtrail_trail::Error),
}

/// An event as it was kept.
#[derive(Debug, Clone, PartialEq)]
pub struct Kept {
    /// The number of its record, counted from 0.
    pub record: u32,
    /// The record's chain hash.
    pub hash: Hash,
    /// The event, and when.
    pub entry: Entry,
}

/// A visit with its trail, or without one where nothing is to be kept.
#[derive(Debug)]
pub struct Desk<'b> {
    /// The visit.
    pub visit: Visit<'b>,
    trail: Option<Trail>,
    /// The number of the next record, where there is no trail to count them.
    next: u32,
}

impl<'b> Desk<'b> {
    /// Opens a new visit, in a new trail if there is a path for one. Gives its first events, too.
    ///
    /// # Errors
    /// [`DeskError`]; no file is left then.
    pub fn open(
        book: &'b Book<'b>,
        opened: Opened,
        path: Option<&Path>,
        at: Stamp,
    ) -> Result<(Self, Vec<Kept>), DeskError> {
        let mut visit = Visit::new(book);
        let mut events = visit.handle(Input::Open(opened), at)?.into_iter();
        let first = events.next().map(|event| Entry { at, event });
        let first = first.ok_or(Refusal::NotOpened)?;
        let trail = match path {
            Some(path) => Some(Trail::create(path, &first)?),
            None => None,
        };
        visit.apply(&first);
        let hash = trail.as_ref().map_or(Hash([0; 32]), Trail::head);
        let mut desk = Desk {
            visit,
            trail,
            next: 1,
        };
        let mut kept = vec![Kept {
            record: 0,
            hash,
            entry: first,
        }];
        kept.extend(desk.keep(events.collect(), at)?);
        Ok((desk, kept))
    }

    /// Goes on with the visit of an opened trail and its records. Every gate is shut.
    ///
    /// # Errors
    /// [`Refusal`] if the book is not that of the trail.
    pub fn resume(book: &'b Book<'b>, trail: Trail, records: &[Record]) -> Result<Self, Refusal> {
        let entries = records.iter().filter_map(|r| match &r.body {
            Body::Entry(entry) => Some(entry),
            _ => None,
        });
        Ok(Desk {
            visit: Visit::replay(book, entries)?,
            trail: Some(trail),
            next: 0,
        })
    }

    /// Says something to the visit; returns what came of it, on disk already.
    ///
    /// # Errors
    /// [`DeskError`].
    pub fn say(&mut self, input: Input, at: Stamp) -> Result<Vec<Kept>, DeskError> {
        let events = self.visit.handle(input, at)?;
        self.keep(events, at)
    }

    /// Lets the visit go on by itself, until it asks for something or has no more to say.
    ///
    /// # Errors
    /// [`DeskError::Trail`].
    pub fn go_on(&mut self, at: Stamp) -> Result<Vec<Kept>, DeskError> {
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
    #[must_use]
    pub fn head(&self) -> Option<Hash> {
        self.trail.as_ref().map(Trail::head)
    }

    /// Puts what is buffered on disk.
    ///
    /// # Errors
    /// [`DeskError::Trail`].
    pub fn commit(&mut self) -> Result<(), DeskError> {
        if let Some(trail) = &mut self.trail {
            trail.commit()?;
        }
        Ok(())
    }

    /// Lets go of the trail, with everything on disk.
    ///
    /// # Errors
    /// [`DeskError::Trail`].
    pub fn close(self) -> Result<(), DeskError> {
        if let Some(trail) = self.trail {
            trail.close()?;
        }
        Ok(())
    }

    /// Streamed readings are committed in groups; everything else at once, what came of one input
    /// together, before it is told.
    fn keep(&mut self, events: Vec<Event>, at: Stamp) -> Result<Vec<Kept>, DeskError> {
        let at_once = events.iter().any(|e| !matches!(e, Event::Readings { .. }));
        let mut kept = Vec::with_capacity(events.len());
        for event in events {
            let entry = Entry { at, event };
            let (record, hash) = match &mut self.trail {
                Some(trail) => {
                    let receipt = trail.append(&entry)?;
                    (receipt.record, receipt.hash)
                }
                None => {
                    self.next += 1;
                    (self.next - 1, Hash([0; 32]))
                }
            };
            kept.push(Kept {
                record,
                hash,
                entry,
            });
        }
        if let Some(trail) = &mut self.trail
            && (at_once || trail.commit_due(at.steady))
        {
            trail.commit()?;
        }
        for Kept { entry, .. } in &kept {
            self.visit.apply(entry);
        }
        Ok(kept)
    }
}
