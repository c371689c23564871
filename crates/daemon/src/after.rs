//! What comes into a trail after its visit has ended: a quote, and what was decided on it.

use std::fmt;
use std::path::Path;

use ohmtrail_trail::event::{Event, Stamp};
use ohmtrail_trail::{Body, Hash, Record, Trail};
use ohmtrail_visit::{Book, Input, Refusal};
use ohmtrail_words::Said;

use crate::desk::{Desk, DeskError, Kept};

/// Why it did not come into the trail; nothing has changed.
#[derive(Debug)]
#[non_exhaustive]
pub enum AfterError {
    /// The visit refuses it.
    Refused(Refusal),
    /// The trail cannot be read or written.
    Trail(ohmtrail_trail::Error),
    /// The paper was made from another trail.
    OtherTrail(Hash),
    /// Something came into the trail after the paper was made.
    Older(usize),
}

impl AfterError {
    /// Why, before it is put into a language.
    #[must_use]
    pub fn said(&self) -> Said {
        match self {
            AfterError::Refused(refusal) => refusal.said(),
            AfterError::Trail(error) => Said::own(error.to_string()),
            AfterError::OtherTrail(hash) => {
                Said::message("refused-other-trail").with("hash", hash.to_string())
            }
            AfterError::Older(entries) => {
                Said::message("refused-older").with("entries", entries.to_string())
            }
        }
    }
}

impl fmt::Display for AfterError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.said().fmt(f)
    }
}

impl std::error::Error for AfterError {}

impl From<Refusal> for AfterError {
    fn from(refusal: Refusal) -> Self {
        AfterError::Refused(refusal)
    }
}

impl From<ohmtrail_trail::Error> for AfterError {
    fn from(error: ohmtrail_trail::Error) -> Self {
        AfterError::Trail(error)
    }
}

impl From<DeskError> for AfterError {
    fn from(error: DeskError) -> Self {
        match error {
            DeskError::Refused(refusal) => refusal.into(),
            DeskError::Trail(error) => error.into(),
        }
    }
}

/// Says it to a visit that has ended, whose trail is at that path.
///
/// # Errors
/// [`AfterError`].
pub fn say(book: &Book<'_>, path: &Path, input: Input, at: Stamp) -> Result<Vec<Kept>, AfterError> {
    let (trail, records, _) = Trail::open_records(path)?;
    if let Input::Decide { paper, .. } = &input {
        is_of_now(&records, Hash(*paper))?;
    }
    let mut desk = Desk::resume(book, trail, &records)?;
    let kept = desk.say(input, at)?;
    desk.close()?;
    Ok(kept)
}

/// A decision is on what the paper said. What was decided before changes none of that.
fn is_of_now(records: &[Record], paper: Hash) -> Result<(), AfterError> {
    let at = records.iter().position(|r| r.hash == paper);
    let at = at.ok_or(AfterError::OtherTrail(paper))?;
    let since = records.iter().skip(at + 1).filter(|r| match &r.body {
        Body::Entry(entry) => !matches!(entry.event, Event::Decided(_)),
        _ => true,
    });
    match since.count() {
        0 => Ok(()),
        more => Err(AfterError::Older(more)),
    }
}
