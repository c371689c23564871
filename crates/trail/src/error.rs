//! What can go wrong with a trail, sorted by whom it concerns: [`Error`] stops the caller,
//! [`Damage`] is a finding about the file that reading goes on after.

use std::fmt;
use std::io;
use std::path::PathBuf;

/// Why a trail could not be made, opened, written or exported.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    /// The system refused an operation.
    #[error("{path}: {doing}: {source}")]
    Io {
        /// The file or folder.
        path: PathBuf,
        /// What was being done.
        doing: &'static str,
        /// The system's answer.
        source: io::Error,
    },
    /// There is a file of that name already; a trail is never written over.
    #[error("{path}: exists already; open it, or choose another name")]
    Exists {
        /// The file.
        path: PathBuf,
    },
    /// Another program writes to this trail.
    #[error("{path}: held by another program that writes to it; close that one first")]
    Held {
        /// The file.
        path: PathBuf,
    },
    /// The file is no trail, or nothing of one is left.
    #[error("{path}: not a trail")]
    NotATrail {
        /// The file.
        path: PathBuf,
    },
    /// The file holds no whole record: it ends within its first one, or none is left.
    #[error(
        "{path}: no whole record in it; if its visit was just being begun, nothing was taken yet: \
         move it away and begin again"
    )]
    NeverBegun {
        /// The file.
        path: PathBuf,
    },
    /// The file's format is newer than this program.
    #[error(
        "{path}: trail format {version}, and this program reads up to {}; use a newer one",
        crate::FORMAT
    )]
    NewerFormat {
        /// The file.
        path: PathBuf,
        /// The format's version as the file states it.
        version: u16,
    },
    /// The first entry of a trail must be `Opened`.
    #[error("a trail begins with its `opened` event")]
    NotOpened,
    /// An entry is too long for a record.
    #[error(
        "an entry of {bytes} bytes is over the limit of {} bytes",
        crate::format::MAX_BODY
    )]
    TooLong {
        /// Bytes of the encoded entry.
        bytes: usize,
    },
    /// An entry could not be encoded.
    #[error("an entry could not be encoded: {0}")]
    Encode(postcard::Error),
    /// An earlier write failed, and this trail takes no more until it is opened anew.
    #[error(
        "{path}: closed after an error ({because}); what was taken before is kept; open it anew"
    )]
    Closed {
        /// The file.
        path: PathBuf,
        /// The error that closed it.
        because: String,
    },
    /// An export could not be written.
    #[error("the export could not be written: {0}")]
    Export(io::Error),
}

impl Error {
    pub(crate) fn io(
        path: impl Into<PathBuf>,
        doing: &'static str,
    ) -> impl FnOnce(io::Error) -> Self {
        let path = path.into();
        move |source| Error::Io {
            path,
            doing,
            source,
        }
    }
}

/// Something in a trail that is not as it was written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Damage {
    /// The record it concerns, counted from 0; for lost bytes, the first record lost.
    pub record: u32,
    /// Where it begins: bytes from the start of the file.
    pub offset: u64,
    /// How many bytes it covers.
    pub bytes: u64,
    /// What it is.
    pub what: What,
}

/// The kinds of damage.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum What {
    /// The file header; the records after it are read all the same.
    FileHeader,
    /// A record's contents do not fit its checksum: it is not read. Its length is sound, so the
    /// next record is.
    Contents,
    /// Bytes that are no record, up to the next whole one.
    Lost {
        /// How many records they held, by the numbers before and after.
        records: u32,
    },
    /// A record is whole, but does not link to the one before it: one of the two was changed
    /// after it was written, or records between them were taken out, put in or moved. It is read.
    Unlinked,
    /// A record is whole and linked, but says nothing that this program can decode.
    Undecodable,
    /// Bytes after the last whole record: an append that was cut off, or a damaged last record.
    Tail,
}

impl fmt::Display for Damage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Damage {
            record,
            offset,
            bytes,
            what,
        } = self;
        match what {
            What::FileHeader => write!(f, "file header, byte {offset}, {bytes} bytes: damaged"),
            What::Contents => write!(
                f,
                "record {record}, byte {offset}, {bytes} bytes: contents damaged, not read"
            ),
            What::Lost { records } => write!(
                f,
                "record {record}, byte {offset}: {bytes} bytes are no record; {records} records lost"
            ),
            What::Unlinked => write!(
                f,
                "record {record}, byte {offset}, {bytes} bytes: does not link to the record before \
                 it; one of them was changed, or records were taken out, put in or moved"
            ),
            What::Undecodable => write!(
                f,
                "record {record}, byte {offset}, {bytes} bytes: whole, but cannot be decoded"
            ),
            What::Tail => write!(
                f,
                "record {record}, byte {offset}: {bytes} bytes after the last whole record; an \
                 append that was cut off, or a damaged last record"
            ),
        }
    }
}
