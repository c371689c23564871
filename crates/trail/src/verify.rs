//! Goes through a whole trail and reports what it holds and what is wrong with it.

use std::path::Path;

use crate::error::{Damage, Error, What};
use crate::event::Event;
use crate::hash::Hash;
use crate::reader::{Body, CutNote, read};

/// A whole record of a newer program, passed over.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Skipped {
    /// The record's number.
    pub record: u32,
    /// Its kind.
    pub kind: u16,
    /// The version of that kind.
    pub version: u16,
}

/// What a trail holds and what is wrong with it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Report {
    /// Whole records.
    pub records: u32,
    /// The hash of the last whole record. Held against the head hash on a paper, it shows that
    /// nothing up to there was changed since; see [`locate`].
    pub head: Hash,
    /// The head hash of the trail before this one of the same unit, as this one states it.
    pub previous: Option<Hash>,
    /// Damage before the last whole record, in the order of the file.
    pub damage: Vec<Damage>,
    /// Bytes after the last whole record, padding not counted.
    pub torn_tail: u64,
    /// Records of a newer program.
    pub skipped: Vec<Skipped>,
    /// Torn tails that were cut off on earlier openings.
    pub cuts: Vec<CutNote>,
}

impl Report {
    /// Whether the trail is as it was written: no damage and no torn tail. Records of a newer
    /// program and cuts that the trail itself notes are no damage.
    #[must_use]
    pub fn is_sound(&self) -> bool {
        self.damage.is_empty() && self.torn_tail == 0
    }
}

/// Reads the whole trail and reports.
///
/// # Errors
/// As [`read`].
pub fn verify(path: impl AsRef<Path>) -> Result<Report, Error> {
    let mut reader = read(path)?;
    let mut report = Report {
        records: 0,
        head: reader.head(),
        previous: None,
        damage: Vec::new(),
        torn_tail: 0,
        skipped: Vec::new(),
        cuts: Vec::new(),
    };
    for item in reader.by_ref() {
        match item {
            Ok(record) => match record.body {
                Body::Entry(entry) => {
                    if let Event::Opened(opened) = entry.event {
                        report.previous = opened.previous.map(Hash);
                    }
                }
                Body::Cut(note) => report.cuts.push(note),
                Body::Unknown { kind, version } => report.skipped.push(Skipped {
                    record: record.number,
                    kind,
                    version,
                }),
            },
            Err(damage) if damage.what == What::Tail => report.torn_tail = damage.bytes,
            Err(damage) => report.damage.push(damage),
        }
    }
    report.records = reader.whole_records();
    report.head = reader.head();
    Ok(report)
}

/// Looks for a head hash from a paper or from the next trail of the unit. If it is found, every
/// record up to the one returned is whole, linked, and as it was when the hash was noted; the
/// trail may have grown since. `None`: not found, or something before it is damaged.
///
/// # Errors
/// As [`read`].
pub fn locate(path: impl AsRef<Path>, head: &Hash) -> Result<Option<u32>, Error> {
    for item in read(path)? {
        match item {
            Ok(record) if record.hash == *head => return Ok(Some(record.number)),
            Ok(_) => {}
            Err(_) => return Ok(None),
        }
    }
    Ok(None)
}
