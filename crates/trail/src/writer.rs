//! Puts records at the end of a trail. Knows no path names and no locks, only a [`Storage`].
//!
//! The file is grown ahead of the records by a block of zeros at a time. A record then goes into
//! space that the file already has, and `fdatasync` needs no update of the file's size: that is
//! most of what a plain append waits for. Zeros are no record, so a reader stops at them.

use std::io;
use std::path::{Path, PathBuf};

use ohmtrail_core::units::Micros;

use crate::error::Error;
use crate::event::{Entry, Event};
use crate::format::{
    CUT_VERSION, KIND_CUT, KIND_ENTRY, MAX_BODY, RecordHeader, chain_start, file_header, seal,
};
use crate::hash::Hash;
use crate::reader::CutNote;
use crate::storage::Storage;

/// A group that waited this long is due, in microseconds. Who asks [`commit_due`] at least every
/// half second commits at least once a second.
///
/// [`commit_due`]: crate::Trail::commit_due
pub const COMMIT_AFTER_US: u64 = 500_000;

/// The file grows by this many bytes at a time.
const GROWTH: u64 = 64 << 10;

/// What an append returns: the record's place in the trail.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Receipt {
    /// The record's number, counted from 0.
    pub record: u32,
    /// Its chain hash: the head hash of the trail once it is on disk.
    pub hash: Hash,
}

/// The bytes of a whole trail with these entries, as closing it would leave them: for who has all of a
/// visit at once, such as a test. Nothing is put on a disk.
///
/// # Errors
/// [`Error::NotOpened`] if the first entry does not open the visit; [`Error::TooLong`] and
/// [`Error::Encode`] for one of the entries.
pub fn bytes_of(entries: &[Entry]) -> Result<Vec<u8>, Error> {
    if !matches!(entries.first().map(|e| &e.event), Some(Event::Opened(_))) {
        return Err(Error::NotOpened);
    }
    let header = file_header();
    let (mut bytes, mut tip) = (header.to_vec(), chain_start(&header));
    for (number, entry) in (0..).zip(entries) {
        let body = postcard::to_allocvec(entry).map_err(Error::Encode)?;
        let header = RecordHeader {
            len: body_length(&body)?,
            kind: KIND_ENTRY,
            version: entry.event.version(),
            number,
        };
        tip = seal(&mut bytes, header, &body, &tip);
    }
    Ok(bytes)
}

fn body_length(body: &[u8]) -> Result<u32, Error> {
    u32::try_from(body.len())
        .ok()
        .filter(|_| body.len() <= MAX_BODY)
        .ok_or(Error::TooLong { bytes: body.len() })
}

/// Appends records to a storage.
#[derive(Debug)]
pub(crate) struct Writer<S> {
    storage: S,
    path: PathBuf,
    /// End of the last record on disk.
    end: u64,
    /// Length of the file, its padding included.
    len: u64,
    /// Number of the next record.
    next: u32,
    /// Hash of the last record on disk.
    head: Hash,
    /// Hash of the last record appended.
    tip: Hash,
    pending: Vec<u8>,
    pending_since: Option<Micros>,
    closed: Option<String>,
}

impl<S: Storage> Writer<S> {
    /// A writer on an empty storage. The file header goes to disk with the first commit.
    pub(crate) fn begin(storage: S, path: &Path) -> Self {
        let header = file_header();
        let start = chain_start(&header);
        let mut writer = Writer::resume(storage, path, 0, 0, 0, start);
        writer.pending.extend(header);
        writer
    }

    /// A writer on a trail of `len` bytes whose last record ends at `end`.
    pub(crate) fn resume(
        storage: S,
        path: &Path,
        end: u64,
        len: u64,
        next: u32,
        head: Hash,
    ) -> Self {
        Writer {
            storage,
            path: path.to_path_buf(),
            end,
            len,
            next,
            head,
            tip: head,
            pending: Vec::new(),
            pending_since: None,
            closed: None,
        }
    }

    pub(crate) fn path(&self) -> &Path {
        &self.path
    }

    pub(crate) fn head(&self) -> Hash {
        self.head
    }

    pub(crate) fn append(&mut self, entry: &Entry) -> Result<Receipt, Error> {
        let body = postcard::to_allocvec(entry).map_err(Error::Encode)?;
        let receipt = self.push(KIND_ENTRY, entry.event.version(), &body)?;
        self.pending_since.get_or_insert(entry.at.steady);
        Ok(receipt)
    }

    pub(crate) fn append_cut(&mut self, note: &CutNote) -> Result<Receipt, Error> {
        let body = postcard::to_allocvec(note).map_err(Error::Encode)?;
        self.push(KIND_CUT, CUT_VERSION, &body)
    }

    fn push(&mut self, kind: u16, version: u16, body: &[u8]) -> Result<Receipt, Error> {
        self.check_open()?;
        let len = body_length(body)?;
        let record = self.next;
        let header = RecordHeader {
            len,
            kind,
            version,
            number: record,
        };
        self.tip = seal(&mut self.pending, header, body, &self.tip);
        self.next += 1;
        Ok(Receipt {
            record,
            hash: self.tip,
        })
    }

    pub(crate) fn commit_due(&self, now: Micros) -> bool {
        self.pending_since
            .is_some_and(|since| now.since(since) >= COMMIT_AFTER_US)
    }

    pub(crate) fn commit(&mut self) -> Result<Hash, Error> {
        self.check_open()?;
        if !self.pending.is_empty() {
            self.write_pending()
                .map_err(|e| self.close_for("writing", e))?;
            self.storage
                .sync()
                .map_err(|e| self.close_for("waiting for the disk", e))?;
            self.end += self.pending.len() as u64;
            self.pending.clear();
            self.pending_since = None;
            self.head = self.tip;
        }
        Ok(self.head)
    }

    fn write_pending(&mut self) -> io::Result<()> {
        self.storage.write_all_at(&self.pending, self.end)?;
        let end = self.end + self.pending.len() as u64;
        if end > self.len {
            self.len = end;
            let padding = vec![0; usize::try_from(GROWTH - end % GROWTH).unwrap_or(0)];
            // The records are written. If there is no room for padding, the next ones say so.
            if let Ok(n) = self.storage.write_at(&padding, end) {
                self.len += n as u64;
            }
        }
        Ok(())
    }

    /// Takes the padding off the end, if nothing failed before.
    pub(crate) fn trim(&mut self) -> Result<(), Error> {
        self.check_open()?;
        if self.len > self.end {
            self.cut_to(self.end)?;
        }
        Ok(())
    }

    /// Cuts the file to `end` bytes, at or behind its last record.
    pub(crate) fn cut_to(&mut self, end: u64) -> Result<(), Error> {
        self.storage
            .set_len(end)
            .map_err(|e| self.close_for("cutting the end off", e))?;
        self.storage
            .sync()
            .map_err(|e| self.close_for("waiting for the disk", e))?;
        self.len = end;
        Ok(())
    }

    fn check_open(&self) -> Result<(), Error> {
        match &self.closed {
            None => Ok(()),
            Some(because) => Err(Error::Closed {
                path: self.path.clone(),
                because: because.clone(),
            }),
        }
    }

    /// After a failed write or sync nobody knows what of it is on disk, and a second `fdatasync`
    /// may succeed without it. So this writer does no more.
    fn close_for(&mut self, doing: &'static str, error: io::Error) -> Error {
        self.closed = Some(format!("{doing}: {error}"));
        Error::io(&self.path, doing)(error)
    }
}
