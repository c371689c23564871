//! The writer on a storage that fails: after any number of bytes, on a full disk, with short
//! writes, and with the power cut between a write and its sync. Held against the plain model that
//! whatever was reported is there, in order and once.

use std::io;
use std::path::Path;

use ohmtrail_core::units::Micros;

use crate::error::{Error, What};
use crate::event::{Entry, Event, Opened, Stamp};
use crate::format::{FILE_HEADER, RECORD_HEADER, TRAILER};
use crate::reader::{Body, Reader};
use crate::storage::Storage;
use crate::writer::{COMMIT_AFTER_US, Writer};

/// What a storage does at the end of its strength.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Fails {
    /// Any write, once this many bytes were written.
    AfterBytes(usize),
    /// A write that makes the file longer than this.
    AtLength(usize),
    /// The sync of this number, counted from 0.
    AtSync(usize),
}

/// A file in memory that fails, and that knows what of it is on disk.
#[derive(Debug)]
struct Failing {
    bytes: Vec<u8>,
    on_disk: Vec<u8>,
    fails: Fails,
    written: usize,
    syncs: usize,
    /// The longest piece that one write takes.
    piece: usize,
}

impl Failing {
    fn new(fails: Fails, piece: usize) -> Self {
        Failing {
            bytes: Vec::new(),
            on_disk: Vec::new(),
            fails,
            written: 0,
            syncs: 0,
            piece,
        }
    }
}

impl Storage for &mut Failing {
    fn write_at(&mut self, bytes: &[u8], offset: u64) -> io::Result<usize> {
        let offset = offset as usize;
        let room = match self.fails {
            Fails::AfterBytes(limit) => limit - self.written,
            Fails::AtLength(limit) => limit.saturating_sub(offset),
            Fails::AtSync(_) => usize::MAX,
        };
        let n = bytes.len().min(room).min(self.piece);
        if n == 0 {
            return Err(io::ErrorKind::StorageFull.into());
        }
        let end = self.bytes.len().max(offset + n);
        self.bytes.resize(end, 0);
        self.bytes[offset..offset + n].copy_from_slice(&bytes[..n]);
        self.written += n;
        Ok(n)
    }

    fn set_len(&mut self, len: u64) -> io::Result<()> {
        self.bytes.resize(len as usize, 0);
        Ok(())
    }

    fn sync(&mut self) -> io::Result<()> {
        let number = self.syncs;
        self.syncs += 1;
        if self.fails == Fails::AtSync(number) {
            return Err(io::ErrorKind::Other.into());
        }
        self.on_disk = self.bytes.clone();
        Ok(())
    }
}

const TAKES: u64 = 6;

fn entry(n: u64) -> Entry {
    let event = match n {
        0 => Event::Opened(Opened {
            tool: "test".into(),
            work_order: String::new(),
            technician: String::new(),
            unit: "invented".into(),
            sheet: String::new(),
            sheet_hash: [7; 32],
            previous: None,
            simulated: true,
        }),
        n => Event::Note {
            text: "n".repeat(n as usize * 5),
        },
    };
    Entry {
        at: Stamp {
            steady: Micros(n * 1_000),
            wall_us: 0,
        },
        event,
    }
}

/// Commits entries one by one until one fails; returns how many were reported as on disk.
fn write(storage: &mut Failing) -> u64 {
    let mut writer = Writer::begin(storage, Path::new("in memory"));
    let mut reported = 0;
    for n in 0..=TAKES {
        let done = writer.append(&entry(n)).and_then(|_| writer.commit());
        match done {
            Ok(head) => {
                assert_eq!(head, writer.head());
                reported += 1;
            }
            Err(error) => {
                assert!(matches!(error, Error::Io { .. }), "{error}");
                refuses(&mut writer);
                break;
            }
        }
    }
    reported
}

/// A closed writer takes nothing more and says why.
fn refuses<S: Storage>(writer: &mut Writer<S>) {
    for again in [
        writer.append(&entry(1)).map(|_| ()),
        writer.commit().map(|_| ()),
        writer.trim(),
    ] {
        let Err(Error::Closed { because, .. }) = again else {
            panic!("a closed trail did something: {again:?}");
        };
        assert!(because.contains(": "), "{because}");
    }
}

/// The entries in an image: a beginning of what was written, with nothing damaged but the tail.
fn read(image: &[u8], reported: u64) -> (u64, Option<Reader>) {
    let mut reader = match Reader::of(image.to_vec(), Path::new("in memory")) {
        Ok(reader) => reader,
        // The caller checks that nothing was reported then.
        Err(Error::NeverBegun { .. } | Error::NotATrail { .. }) => return (0, None),
        Err(error) => panic!("{error}"),
    };
    let mut n = 0;
    for item in reader.by_ref() {
        match item {
            Ok(record) => {
                assert_eq!(record.body, Body::Entry(entry(n)));
                n += 1;
            }
            // The disk took the first record and not the header, which are one write.
            Err(damage) if reported == 0 && damage.what == What::FileHeader => {}
            Err(damage) => assert_eq!(damage.what, What::Tail, "{damage}"),
        }
    }
    (n, Some(reader))
}

/// Whatever was reported is in the image, at most one more, and a writer goes on behind it.
fn check(image: &[u8], reported: u64, fails: Fails) {
    let (found, reader) = read(image, reported);
    assert!(
        (reported..=reported + 1).contains(&found),
        "{fails:?}: {reported} reported, {found} found"
    );
    let Some(reader) = reader.filter(|_| found > 0) else {
        return;
    };
    let mut storage = Failing::new(Fails::AtSync(usize::MAX), usize::MAX);
    storage.bytes = image.to_vec();
    let (end, len) = (reader.end() as u64, image.len() as u64);
    let mut writer = Writer::resume(
        &mut storage,
        Path::new("in memory"),
        end,
        len,
        reader.next_number(),
        reader.head(),
    );
    writer.cut_to(end).expect("cuts");
    writer.append(&entry(found)).expect("appends");
    writer.commit().expect("commits");
    writer.trim().expect("trims");
    assert_eq!(read(&storage.bytes, reported).0, found + 1, "{fails:?}");
}

/// Every image that a power cut can leave: what was synced, and of what was written since any
/// part, in whichever order the disk took it.
fn power_cuts(storage: &Failing, reported: u64) {
    // Most of the padding is left out: it is the same everywhere, and slow to copy.
    let used = storage.bytes.iter().rposition(|b| *b != 0).unwrap_or(0);
    let bytes = &storage.bytes[..storage.bytes.len().min(used + 100)];
    let mut synced = storage.on_disk.clone();
    check(&synced, reported, storage.fails);
    synced.resize(bytes.len(), 0);
    let differs = |at: &usize| synced[*at] != bytes[*at];
    let places: Vec<usize> = (0..synced.len()).filter(differs).collect();
    for split in &places {
        let mut first = bytes.to_vec();
        first[*split..].copy_from_slice(&synced[*split..]);
        check(&first, reported, storage.fails);
        let mut last = synced.clone();
        last[*split..].copy_from_slice(&bytes[*split..]);
        check(&last, reported, storage.fails);
    }
}

fn run(fails: Fails, piece: usize) -> u64 {
    let mut storage = Failing::new(fails, piece);
    let reported = write(&mut storage);
    check(&storage.bytes, reported, fails);
    power_cuts(&storage, reported);
    reported
}

/// Bytes of the file header and all records.
fn records_len() -> usize {
    let bodies = (0..=TAKES).map(|n| postcard::to_allocvec(&entry(n)).expect("encodes").len());
    FILE_HEADER
        + bodies
            .map(|body| RECORD_HEADER + body + TRAILER)
            .sum::<usize>()
}

#[test]
fn a_storage_that_dies_after_any_number_of_bytes_loses_nothing_reported() {
    let mut storage = Failing::new(Fails::AtSync(usize::MAX), usize::MAX);
    assert_eq!(write(&mut storage), TAKES + 1);
    let total = storage.written;
    let padding = total - records_len();
    assert!(padding > 60_000, "the file is grown ahead");
    let first = total - padding;
    for limit in (0..first)
        .chain((first..padding).step_by(4_099))
        .chain(padding..total)
    {
        let reported = run(Fails::AfterBytes(limit), usize::MAX);
        assert!(reported <= TAKES, "{limit} bytes can't have been enough");
    }
    assert_eq!(run(Fails::AfterBytes(total), usize::MAX), TAKES + 1);
}

#[test]
fn a_full_disk_loses_nothing_reported_and_its_last_byte_is_used() {
    for limit in 0..records_len() {
        assert!(run(Fails::AtLength(limit), usize::MAX) <= TAKES);
    }
    assert_eq!(run(Fails::AtLength(records_len()), usize::MAX), TAKES + 1);
}

#[test]
fn short_writes_are_finished() {
    for piece in [1, 7, 64] {
        assert_eq!(run(Fails::AtSync(usize::MAX), piece), TAKES + 1);
        for limit in (0..records_len()).step_by(13) {
            run(Fails::AtLength(limit), piece);
        }
    }
}

#[test]
fn a_failed_sync_closes_the_trail() {
    for number in 0..=TAKES {
        assert_eq!(run(Fails::AtSync(number as usize), usize::MAX), number);
    }
}

#[test]
fn a_group_is_due_in_time_and_is_one_sync() {
    let mut storage = Failing::new(Fails::AtSync(usize::MAX), usize::MAX);
    let mut writer = Writer::begin(&mut storage, Path::new("in memory"));
    assert!(!writer.commit_due(Micros(u64::MAX)), "nothing is pending");
    for n in 0..=TAKES {
        writer.append(&entry(n)).expect("appends");
    }
    // The oldest entry is of time 0.
    assert!(!writer.commit_due(Micros(COMMIT_AFTER_US - 1)));
    assert!(writer.commit_due(Micros(COMMIT_AFTER_US)));
    writer.commit().expect("commits");
    assert!(!writer.commit_due(Micros(u64::MAX)));
    assert_eq!(storage.syncs, 1);
    assert_eq!(read(&storage.on_disk, TAKES + 1).0, TAKES + 1);
}
