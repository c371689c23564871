//! The bytes of a trail: file header, record frame, checksum and chain. `docs/trail.md` has the
//! same in words. Nothing here touches a file.
#![cfg_attr(not(test), deny(clippy::indexing_slicing, clippy::unwrap_used))]

use crate::hash::Hash;

/// First bytes of every trail.
pub(crate) const MAGIC: [u8; 8] = *b"OHMTRAIL";
/// Version of the file format: of everything but the bodies of records, which have their own.
pub const FORMAT: u16 = 1;
/// Length of the file header.
pub(crate) const FILE_HEADER: usize = 16;
/// Length of a record's header.
pub(crate) const RECORD_HEADER: usize = 16;
/// Length of what follows a record's body: chain hash and checksum.
pub(crate) const TRAILER: usize = CHAIN + CRC;
pub(crate) const CRC: usize = 4;
pub(crate) const CHAIN: usize = 32;
/// A body is at most this long. Photographs are stored beside the trail, so entries are short.
pub(crate) const MAX_BODY: usize = 16 << 20;

/// Kind of a record that holds an [`Entry`](crate::event::Entry).
pub(crate) const KIND_ENTRY: u16 = 1;
/// Kind of a record that says that a torn tail was cut off here.
pub(crate) const KIND_CUT: u16 = 2;
/// Version of the entries that this program writes. A record is written under the lowest version
/// that can read it, so that old programs read what they can.
pub const ENTRY_VERSION: u16 = 6;
/// Version of the cut note.
pub(crate) const CUT_VERSION: u16 = 1;

/// The file header of this format.
pub(crate) fn file_header() -> [u8; FILE_HEADER] {
    let mut header = [0; FILE_HEADER];
    let fields = MAGIC.into_iter().chain(FORMAT.to_le_bytes()).chain([0, 0]);
    fill(&mut header, fields);
    header
}

/// What a file's first bytes are.
#[derive(Debug, PartialEq, Eq)]
pub(crate) enum FileHeader {
    /// Sound, of this version.
    Sound { version: u16 },
    /// Not sound.
    Damaged,
}

pub(crate) fn parse_file_header(bytes: &[u8]) -> FileHeader {
    let mut from = Fields(bytes);
    match (from.take::<8>(), from.u16(), from.u16(), from.u32()) {
        (Some(MAGIC), Some(version), Some(_), Some(crc))
            if bytes.get(..12).map(crc32fast::hash) == Some(crc) =>
        {
            FileHeader::Sound { version }
        }
        _ => FileHeader::Damaged,
    }
}

/// The hash that the first record chains to.
pub(crate) fn chain_start(header: &[u8]) -> Hash {
    Hash::of(header)
}

/// The hash of a record: over the hash before it, then the record's header and body.
pub(crate) fn chain(previous: &Hash, covered: &[u8]) -> Hash {
    let mut hasher = blake3::Hasher::new();
    hasher.update(&previous.0);
    hasher.update(covered);
    Hash(*hasher.finalize().as_bytes())
}

/// The header of a record. Its own checksum makes the length trustworthy by itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct RecordHeader {
    /// Bytes of the body.
    pub len: u32,
    /// What the body is.
    pub kind: u16,
    /// Version of that kind.
    pub version: u16,
    /// The record's number, counted from 0.
    pub number: u32,
}

impl RecordHeader {
    pub(crate) fn encode(self) -> [u8; RECORD_HEADER] {
        let mut header = [0; RECORD_HEADER];
        let fields = (self.len.to_le_bytes().into_iter())
            .chain(self.kind.to_le_bytes())
            .chain(self.version.to_le_bytes())
            .chain(self.number.to_le_bytes());
        fill(&mut header, fields);
        header
    }

    fn parse(bytes: &[u8]) -> Option<Self> {
        let mut from = Fields(bytes);
        let header = RecordHeader {
            len: from.u32()?,
            kind: from.u16()?,
            version: from.u16()?,
            number: from.u32()?,
        };
        let crc = from.u32()?;
        let sound = header.body_len() <= MAX_BODY && crc32fast::hash(bytes.get(..12)?) == crc;
        sound.then_some(header)
    }

    fn body_len(self) -> usize {
        usize::try_from(self.len).unwrap_or(usize::MAX)
    }
}

/// Writes a record behind `out`; returns its hash. The checksum comes last and covers the hash too,
/// so that an append cut off anywhere fails it.
pub(crate) fn seal(out: &mut Vec<u8>, header: RecordHeader, body: &[u8], previous: &Hash) -> Hash {
    let mut record = Vec::with_capacity(RECORD_HEADER + body.len() + TRAILER);
    record.extend(header.encode());
    record.extend(body);
    let hash = chain(previous, &record);
    record.extend(hash.0);
    record.extend(crc32fast::hash(&record).to_le_bytes());
    out.extend(record);
    hash
}

/// What stands at a place in the file.
#[derive(Debug)]
pub(crate) enum Found<'a> {
    /// A record whose header and contents fit their checksums.
    Whole(Frame<'a>),
    /// A sound header; what follows does not fit its checksum.
    Damaged(Frame<'a>),
    /// No record, or not all of one.
    Nothing,
}

/// A record in place.
#[derive(Debug)]
pub(crate) struct Frame<'a> {
    pub header: RecordHeader,
    pub body: &'a [u8],
    /// What the chain hash covers besides the hash before.
    pub covered: &'a [u8],
    /// The chain hash as stored.
    pub stored: Hash,
    /// Where the next record begins.
    pub end: usize,
}

/// Looks for a record at `at`.
pub(crate) fn look(bytes: &[u8], at: usize) -> Found<'_> {
    find(bytes, at).unwrap_or(Found::Nothing)
}

fn find(bytes: &[u8], at: usize) -> Option<Found<'_>> {
    let rest = bytes.get(at..)?;
    let header = RecordHeader::parse(rest)?;
    let body_end = RECORD_HEADER + header.body_len();
    let (checked, rest) = rest.split_at_checked(body_end + CHAIN)?;
    let crc: [u8; CRC] = *rest.first_chunk()?;
    let (covered, stored) = checked.split_at_checked(body_end)?;
    let frame = Frame {
        header,
        body: covered.get(RECORD_HEADER..)?,
        covered,
        stored: Hash(*stored.first_chunk()?),
        end: at + body_end + TRAILER,
    };
    Some(if crc32fast::hash(checked).to_le_bytes() == crc {
        Found::Whole(frame)
    } else {
        Found::Damaged(frame)
    })
}

/// Fills a header from its fields and puts the CRC-32 of the first 12 bytes behind them.
fn fill(header: &mut [u8; 16], fields: impl Iterator<Item = u8>) {
    let (first, last) = header.split_at_mut(12);
    first
        .iter_mut()
        .zip(fields)
        .for_each(|(to, from)| *to = from);
    last.copy_from_slice(&crc32fast::hash(first).to_le_bytes());
}

/// Little-endian fields off the front of a slice.
struct Fields<'a>(&'a [u8]);

impl Fields<'_> {
    fn take<const N: usize>(&mut self) -> Option<[u8; N]> {
        let (first, rest) = self.0.split_first_chunk()?;
        self.0 = rest;
        Some(*first)
    }

    fn u16(&mut self) -> Option<u16> {
        self.take().map(u16::from_le_bytes)
    }

    fn u32(&mut self) -> Option<u32> {
        self.take().map(u32::from_le_bytes)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_checksum_is_the_crc_32_of_itu_t_v_42() {
        // The check value of CRC-32/ISO-HDLC over "123456789", as catalogues of CRCs list it.
        assert_eq!(crc32fast::hash(b"123456789"), 0xCBF4_3926);
    }

    #[test]
    fn zeros_are_no_record_and_no_header() {
        assert!(matches!(look(&[0; 200], 0), Found::Nothing));
        assert_eq!(parse_file_header(&[0; 16]), FileHeader::Damaged);
    }

    #[test]
    fn a_record_reads_back_and_any_short_end_is_nothing() {
        let start = chain_start(&file_header());
        let header = RecordHeader {
            len: 3,
            kind: 1,
            version: 1,
            number: 0,
        };
        let mut bytes = Vec::new();
        let hash = seal(&mut bytes, header, b"abc", &start);
        let Found::Whole(whole) = look(&bytes, 0) else {
            panic!("the record should be whole");
        };
        assert_eq!(
            (whole.header, whole.body, whole.stored),
            (header, &b"abc"[..], hash)
        );
        assert_eq!(whole.end, bytes.len());
        assert_eq!(chain(&start, whole.covered), hash);
        for n in 0..bytes.len() {
            assert!(matches!(look(&bytes[..n], 0), Found::Nothing), "{n}");
        }
    }
}
