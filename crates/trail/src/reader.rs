//! Reads a trail in whatever state it is: every record that is whole, and every damage by name.
//!
//! A record's header has a checksum of its own. Where the header is sound, its length is, and
//! reading goes on behind the record whatever happened to its contents. Where it is not, reading
//! goes on at the next place where a header and contents both fit their checksums and the number
//! is not one that was already read. What is passed over is named.
#![cfg_attr(not(test), deny(clippy::indexing_slicing, clippy::unwrap_used))]

use std::collections::VecDeque;
use std::fs;
use std::path::Path;

use serde::{Deserialize, Serialize};

use crate::error::{Damage, Error, What};
use crate::event::Entry;
use crate::format::{
    CUT_VERSION, ENTRY_VERSION, FILE_HEADER, FORMAT, FileHeader, Found, Frame, KIND_CUT,
    KIND_ENTRY, MAGIC, TRAILER, chain, chain_start, file_header, look, parse_file_header,
};
use crate::hash::Hash;

/// One record of a trail.
#[derive(Debug, Clone, PartialEq)]
pub struct Record {
    /// Its number, counted from 0.
    pub number: u32,
    /// Where it begins: bytes from the start of the file.
    pub offset: u64,
    /// Its chain hash: the head hash of a trail that ends with it.
    pub hash: Hash,
    /// What it holds.
    pub body: Body,
}

/// What a record holds.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
#[allow(
    clippy::large_enum_variant,
    reason = "nearly every record is an entry; a box around it would only be in the way"
)]
pub enum Body {
    /// An entry of the visit.
    Entry(Entry),
    /// A torn tail was cut off here when the trail was opened.
    Cut(CutNote),
    /// Something of a newer program: whole, linked, and passed over.
    Unknown {
        /// The record's kind.
        kind: u16,
        /// The version of that kind.
        version: u16,
    },
}

/// Left in a trail where a torn tail was cut off.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct CutNote {
    /// Bytes that were cut.
    pub bytes: u64,
    /// Their BLAKE3 hash.
    #[serde(with = "crate::hash::hex")]
    pub hash: [u8; 32],
    /// They were kept in `<file name>.cut-<number>` beside the trail.
    pub number: u32,
}

/// Opens a trail for reading. A trail that is being written to may be read: it then ends with the
/// last record on disk, or with a [`What::Tail`] that is whole a moment later.
///
/// # Errors
/// If the file can't be read, is no trail, or has a newer format. Damage is no error.
pub fn read(path: impl AsRef<Path>) -> Result<Reader, Error> {
    let path = path.as_ref();
    let bytes = fs::read(path).map_err(Error::io(path, "reading"))?;
    Reader::of(bytes, path)
}

/// The same for the bytes of a trail that lies elsewhere; errors call it `name`.
///
/// # Errors
/// If it is no trail, or has a newer format. Damage is no error.
pub fn read_bytes(bytes: Vec<u8>, name: impl AsRef<Path>) -> Result<Reader, Error> {
    Reader::of(bytes, name.as_ref())
}

/// Iterates over the records of a trail and what is damaged in it, in the order of the file.
#[derive(Debug)]
pub struct Reader {
    bytes: Vec<u8>,
    /// End of the last byte that is not zero: no record begins behind it.
    used: usize,
    at: usize,
    /// Number of the next record if none is missing.
    next: u32,
    /// What the next record may link to: the hash of the record before it, computed and stored.
    /// The two differ only behind a damage that was named.
    links: [Hash; 2],
    head: Hash,
    end: usize,
    whole: u32,
    queue: VecDeque<Result<Record, Damage>>,
}

impl Reader {
    pub(crate) fn of(bytes: Vec<u8>, path: &Path) -> Result<Self, Error> {
        let path = path.to_path_buf();
        let header = bytes.get(..FILE_HEADER).unwrap_or(&bytes);
        let mut damage = None;
        let (start, at) = match parse_file_header(header) {
            FileHeader::Sound { version: FORMAT } => (chain_start(header), FILE_HEADER),
            FileHeader::Sound { version } => return Err(Error::NewerFormat { path, version }),
            FileHeader::Damaged => {
                let begins_as_trail = file_header().starts_with(header);
                let Some(first) = first_record(&bytes) else {
                    return Err(if begins_as_trail || header.starts_with(&MAGIC) {
                        Error::NeverBegun { path }
                    } else {
                        Error::NotATrail { path }
                    });
                };
                damage = Some(Damage {
                    record: 0,
                    offset: 0,
                    bytes: first as u64,
                    what: What::FileHeader,
                });
                (chain_start(&file_header()), first)
            }
        };
        Ok(Reader {
            used: bytes
                .iter()
                .rposition(|byte| *byte != 0)
                .map_or(0, |last| last + 1),
            bytes,
            at,
            next: 0,
            links: [start; 2],
            head: start,
            end: at,
            whole: 0,
            queue: damage.map(Err).into_iter().collect(),
        })
    }

    /// The hash of the last whole record read so far; once the iterator has ended, the head hash
    /// of the trail.
    #[must_use]
    pub fn head(&self) -> Hash {
        self.head
    }

    /// How many whole records were read so far, those included that could not be decoded.
    #[must_use]
    pub fn whole_records(&self) -> u32 {
        self.whole
    }

    /// The bytes up to the end of the last whole record read so far: once the iterator has ended, the trail
    /// without padding and without what of a record was not yet written.
    #[must_use]
    pub fn whole_bytes(&self) -> &[u8] {
        self.bytes.get(..self.end).unwrap_or_default()
    }

    /// Where the last whole record ends.
    pub(crate) fn end(&self) -> usize {
        self.end
    }

    /// The number that the next record gets.
    pub(crate) fn next_number(&self) -> u32 {
        self.next
    }

    /// Length of the file.
    pub(crate) fn file_len(&self) -> usize {
        self.bytes.len()
    }

    /// What follows the last whole record, without the zeros at the end.
    pub(crate) fn tail(&self) -> &[u8] {
        self.bytes.get(self.end..self.used).unwrap_or_default()
    }

    /// Reads on at `self.at`; what it finds goes into the queue. Nothing more there: nothing.
    fn step(&mut self) {
        let at = self.at;
        match look(&self.bytes, at) {
            Found::Whole(frame) => {
                let found = check(&frame, at, self.next, &self.links);
                self.links = [chain(&self.links[0], frame.covered), frame.stored];
                self.head = frame.stored;
                self.next = frame.header.number.wrapping_add(1);
                (self.at, self.end) = (frame.end, frame.end);
                self.whole += 1;
                self.queue.extend(found);
            }
            Found::Damaged(frame) if self.seek(frame.end, self.behind(&frame)).is_some() => {
                // Whether its hash was hit or what the hash covers: one of the two is right.
                self.links = [chain(&self.links[0], frame.covered), frame.stored];
                let (number, end, next) = (frame.header.number, frame.end, self.behind(&frame));
                self.damaged(number, at, end, What::Contents);
                (self.at, self.next) = (end, next);
            }
            // Its header is sound, and nothing follows that can follow it.
            Found::Damaged(_) => self.tail_from(at),
            Found::Nothing => match self.seek(at + 1, self.next) {
                Some((to, number)) => {
                    let records = number.saturating_sub(self.next);
                    self.damaged(self.next, at, to, What::Lost { records });
                    // The hash of the last record lost stands right before the one found.
                    let before = to
                        .checked_sub(TRAILER)
                        .and_then(|from| self.bytes.get(from..));
                    if let Some(hash) = before.and_then(<[u8]>::first_chunk) {
                        self.links = [Hash(*hash); 2];
                    }
                    self.next = number;
                    self.at = to;
                }
                None => self.tail_from(at),
            },
        }
    }

    fn tail_from(&mut self, at: usize) {
        self.damaged(self.next, at, self.used, What::Tail);
        self.at = self.used;
    }

    fn damaged(&mut self, record: u32, from: usize, to: usize, what: What) {
        self.queue.push_back(Err(Damage {
            record,
            offset: from as u64,
            bytes: (to - from) as u64,
            what,
        }));
    }

    /// The number of the first record that can follow this one.
    fn behind(&self, frame: &Frame<'_>) -> u32 {
        frame.header.number.saturating_add(1).max(self.next)
    }

    /// The next whole record at or after `from` of this number or a later one, and its number.
    fn seek(&self, from: usize, least: u32) -> Option<(usize, u32)> {
        (from..self.used).find_map(|at| match look(&self.bytes, at) {
            Found::Whole(whole) if whole.header.number >= least => Some((at, whole.header.number)),
            _ => None,
        })
    }
}

impl Iterator for Reader {
    type Item = Result<Record, Damage>;

    fn next(&mut self) -> Option<Self::Item> {
        while self.queue.is_empty() && self.at < self.used {
            self.step();
        }
        self.queue.pop_front()
    }
}

/// Where the first record of a file with a damaged header is.
fn first_record(bytes: &[u8]) -> Option<usize> {
    let whole = |at: &usize| matches!(look(bytes, *at), Found::Whole(_));
    // A record whose contents are damaged counts at its proper place only.
    match look(bytes, FILE_HEADER) {
        Found::Nothing => (0..bytes.len()).find(whole),
        Found::Whole(_) | Found::Damaged(_) => Some(FILE_HEADER),
    }
}

/// What a whole record adds: the damage to its link if there is one, and the record.
fn check(
    whole: &Frame<'_>,
    at: usize,
    next: u32,
    links: &[Hash; 2],
) -> Vec<Result<Record, Damage>> {
    let number = whole.header.number;
    let mut found = Vec::with_capacity(1);
    let damage = |what| Damage {
        record: number,
        offset: at as u64,
        bytes: (whole.end - at) as u64,
        what,
    };
    let linked = links
        .iter()
        .any(|link| chain(link, whole.covered) == whole.stored);
    if !linked || number != next {
        found.push(Err(damage(What::Unlinked)));
    }
    found.push(match decode(whole) {
        Some(body) => Ok(Record {
            number,
            offset: at as u64,
            hash: whole.stored,
            body,
        }),
        None => Err(damage(What::Undecodable)),
    });
    found
}

fn decode(whole: &Frame<'_>) -> Option<Body> {
    let header = whole.header;
    match (header.kind, header.version) {
        (KIND_ENTRY, 1..=ENTRY_VERSION) => exactly(whole.body).map(Body::Entry),
        (KIND_CUT, 1..=CUT_VERSION) => exactly(whole.body).map(Body::Cut),
        (kind, version) => Some(Body::Unknown { kind, version }),
    }
}

/// Decodes all of `body`, with no byte left.
fn exactly<'a, T: Deserialize<'a>>(body: &'a [u8]) -> Option<T> {
    match postcard::take_from_bytes(body) {
        Ok((value, [])) => Some(value),
        _ => None,
    }
}
