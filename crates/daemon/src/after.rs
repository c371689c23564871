//! What comes into a trail after its visit has ended: a quote, and what was decided on it.

use std::path::Path;

use ohmtrail_trail::event::{Event, Stamp};
use ohmtrail_trail::{Body, Hash, Record, Trail};
use ohmtrail_visit::{Book, Input, Refusal};

use crate::desk::{Desk, DeskError, Kept};

/// Why it did not come into the trail; nothing has changed.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum AfterError {
    /// The visit refuses it.
    #[error(transparent)]
    Refused(#[from] Refusal),
    /// The trail cannot be read or written.
    #[error(transparent)]
    Trail(#[from] ohmtrail_trail::Error),
    /// The paper was made from another trail.
    #[error(
        "the trail does not hold {0}, the hash on the paper: look at its digits, or for the trail that the paper was made from"
    )]
    OtherTrail(Hash),
    /// Something came into the trail after the paper was made.
    #[error(
        "more came into the trail since that write-up was made (entries: {0}): make it anew, and have that one decided on"
    )]
    Older(usize),
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
