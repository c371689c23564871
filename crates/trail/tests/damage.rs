//! A trail cut, flipped, edited, shuffled or written by a newer program: what is left is read, and
//! what is wrong is named.

mod common;

use std::fs;
use std::path::{Path, PathBuf};

use common::{chain_hash, damages, entries, items, opened, pieces, record, take};
use ohmtrail_trail::event::{Entry, Event};
use ohmtrail_trail::{Body, Damage, Error, Hash, Trail, What, locate, read, verify};
use proptest::prelude::*;
use tempfile::TempDir;

fn visit(takes: u32) -> Vec<Entry> {
    std::iter::once(opened())
        .chain((1..=takes).map(take))
        .collect()
}

fn temp() -> (TempDir, PathBuf) {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("visit.trail");
    (folder, path)
}

/// A trail by the crate's own writer; its bytes and where each record begins.
fn written(path: &Path, entries: &[Entry]) -> (Vec<u8>, Vec<usize>) {
    let mut trail = Trail::create(path, &entries[0]).expect("a new trail");
    for entry in &entries[1..] {
        trail.append(entry).expect("an append");
    }
    trail.close().expect("all on disk");
    let records = read(path).expect("a trail");
    let begins = records.map(|r| r.expect("sound").offset as usize).collect();
    (fs::read(path).expect("its bytes"), begins)
}

#[test]
fn the_writer_does_what_the_format_says() {
    let (_folder, path) = temp();
    let entries = common::visit();
    assert_eq!(written(&path, &entries).0, pieces(&entries).concat());
}

/// Found by fuzzing: a damaged record of a number that is too high, and behind it what was to come before.
/// Either the damaged record is one in the middle, or it is where the tail begins; it was both.
#[test]
fn a_record_that_comes_too_early_and_is_damaged_is_told_of_once() {
    let (_folder, path) = temp();
    let (bytes, begins) = written(&path, &visit(3));
    let record = |n: usize| {
        let end = begins.get(n + 1).copied().unwrap_or(bytes.len());
        bytes[begins[n]..end].to_vec()
    };
    let mut early = record(3);
    *early.last_mut().expect("bytes") ^= 1;
    let file = [bytes[..begins[2]].to_vec(), early, vec![7], record(2)].concat();
    fs::write(&path, &file).expect("written");
    let before = verify(&path).expect("read");
    let (trail, entries, recovery) = Trail::open(&path).expect("opens");
    trail.close().expect("on disk");
    assert_eq!(entries, visit(1));
    let cut = recovery.cut.expect("all behind is the tail");
    let kept = fs::read(&cut.kept).expect("kept aside");
    assert_eq!(kept, file[begins[2]..]);
    assert_eq!((recovery.damage, before.damage), (vec![], vec![]));
    assert!(verify(&path).expect("read").is_sound());
}

#[test]
fn cut_at_any_byte_every_record_before_is_read_and_the_next_one_appended() {
    let (_folder, path) = temp();
    let all = visit(5);
    let (bytes, mut begins) = written(&path, &all);
    begins.push(bytes.len());
    let kept = path.with_file_name("visit.trail.cut-1");
    for cut in 0..bytes.len() {
        fs::write(&path, &bytes[..cut]).expect("a cut trail");
        let whole = begins[1..].iter().filter(|end| **end <= cut).count();
        if whole == 0 {
            assert!(
                matches!(Trail::open(&path), Err(Error::NeverBegun { .. })),
                "cut at {cut}"
            );
            assert_eq!(fs::read(&path).expect("untouched"), &bytes[..cut]);
            continue;
        }
        let torn = &bytes[begins[whole]..cut];
        let torn = &torn[..torn
            .iter()
            .rposition(|b| *b != 0)
            .map_or(0, |last| last + 1)];
        assert_eq!(
            verify(&path).expect("readable").torn_tail,
            torn.len() as u64
        );

        let (mut trail, read, recovery) = Trail::open(&path).expect("opens");
        assert_eq!(read, all[..whole], "cut at {cut}");
        assert_eq!(recovery.damage, []);
        if torn.is_empty() {
            assert_eq!(recovery.cut, None);
        } else {
            let cut = recovery.cut.expect("a torn tail was cut");
            assert_eq!(
                (cut.offset, cut.bytes),
                (begins[whole] as u64, torn.len() as u64)
            );
            assert_eq!(cut.kept, kept);
            assert_eq!(fs::read(&kept).expect("kept aside"), torn);
            fs::remove_file(&kept).expect("room for the next");
        }
        let head = trail.take(&take(99)).expect("goes on").hash;
        drop(trail);

        let report = verify(&path).expect("readable");
        assert!(report.is_sound(), "cut at {cut}: {report:?}");
        assert_eq!(report.head, head);
        assert_eq!(report.cuts.len(), usize::from(!torn.is_empty()));
        assert!(report.cuts.iter().all(|note| note.hash == Hash::of(torn).0));
        let items: Vec<_> = ohmtrail_trail::read(&path).expect("readable").collect();
        let expected: Vec<_> = all[..whole].iter().cloned().chain([take(99)]).collect();
        assert_eq!(entries(&items), expected);
    }
}

/// Flips a bit and checks that the byte lies in a damage that is named, and that every record but
/// the one hit is read.
fn flip(path: &Path, all: &[Entry], bytes: &[u8], begins: &[usize], (at, bit): (usize, u8)) {
    let mut flipped = bytes.to_vec();
    flipped[at] ^= 1 << bit;
    let items = items(path, &flipped);
    let named = damages(&items);
    assert!(
        named
            .iter()
            .any(|d| (d.offset..d.offset + d.bytes).contains(&(at as u64))),
        "byte {at} bit {bit}: {named:?}"
    );
    let hit = begins.iter().rposition(|begin| *begin <= at);
    let mut rest = all.to_vec();
    let found = entries(&items);
    if let Some(hit) = hit
        && found.len() < all.len()
    {
        rest.remove(hit);
    }
    // As text, for an overload's value is NaN and equals nothing.
    let (found, rest) = (format!("{found:?}"), format!("{rest:?}"));
    assert!(found == rest, "byte {at} bit {bit}: {found}");
}

#[test]
fn any_bit_flipped_is_named_and_every_other_record_read() {
    let (_folder, path) = temp();
    let all = visit(4);
    let (bytes, begins) = written(&path, &all);
    for at in 0..bytes.len() {
        for bit in 0..8 {
            flip(&path, &all, &bytes, &begins, (at, bit));
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_bit_flipped_in_a_long_visit_is_named(place in 0.0..1.0f64, bit in 0..8u8) {
        let (_folder, path) = temp();
        let all = common::visit();
        let bytes = pieces(&all).concat();
        fs::write(&path, &bytes).expect("a trail");
        let begins: Vec<_> = read(&path).expect("a trail")
            .map(|r| r.expect("sound").offset as usize).collect();
        let at = (place * bytes.len() as f64) as usize;
        flip(&path, &all, &bytes, &begins, (at, bit));
    }

    /// Whatever is overwritten, reading ends, names it, and reads each record before it.
    #[test]
    fn a_stretch_of_garbage_is_named(
        place in 0.0..1.0f64,
        garbage in proptest::collection::vec(any::<u8>(), 1..400),
    ) {
        let (_folder, path) = temp();
        let all = visit(12);
        let pieces = pieces(&all);
        let mut bytes = pieces.concat();
        let at = 16 + (place * (bytes.len() - 16) as f64) as usize;
        let end = bytes.len().min(at + garbage.len());
        let garbage = &garbage[..end - at];
        let changed = bytes[at..end] != *garbage;
        bytes[at..end].copy_from_slice(garbage);
        let items = items(&path, &bytes);
        prop_assert_eq!(!damages(&items).is_empty(), changed);
        let mut ends = pieces.iter().scan(0, |end, piece| { *end += piece.len(); Some(*end) });
        let before = ends.by_ref().skip(1).take_while(|record_end| *record_end <= at).count();
        prop_assert_eq!(&entries(&items)[..before], &all[..before]);
    }
}

#[test]
fn damage_in_the_middle_is_named_left_alone_and_outlived() {
    let (_folder, path) = temp();
    let all = visit(6);
    let (mut bytes, begins) = written(&path, &all);
    bytes[begins[2] + 20] ^= 0x40; // contents of record 2
    bytes[begins[4]] ^= 0x01; // length of record 4
    fs::write(&path, &bytes).expect("a damaged trail");
    let damage = |record: usize, what| Damage {
        record: record as u32,
        offset: begins[record] as u64,
        bytes: (begins[record + 1] - begins[record]) as u64,
        what,
    };
    let expected = vec![
        damage(2, What::Contents),
        damage(4, What::Lost { records: 1 }),
    ];

    let (mut trail, read, recovery) = Trail::open(&path).expect("opens");
    let left = [0, 1, 3, 5, 6].map(|n: usize| all[n].clone());
    assert_eq!(read, left);
    assert_eq!((recovery.damage, recovery.cut), (expected.clone(), None));
    trail.take(&take(7)).expect("goes on");
    trail.close().expect("closes");

    assert_eq!(
        fs::read(&path).expect("its bytes")[..bytes.len()],
        bytes,
        "left as it was"
    );
    let report = verify(&path).expect("readable");
    assert_eq!(
        (report.damage, report.torn_tail, report.records),
        (expected.clone(), 0, 6)
    );
    assert_eq!(
        expected[0].to_string(),
        format!(
            "record 2, byte {}, {} bytes: contents damaged, not read",
            begins[2],
            begins[3] - begins[2]
        )
    );
}

#[test]
fn two_records_damaged_in_a_row_are_both_named() {
    let (_folder, path) = temp();
    let all = visit(5);
    let (bytes, begins) = written(&path, &all);
    let mut contents = bytes.clone();
    contents[begins[2] + 20] ^= 1;
    contents[begins[3] + 20] ^= 1;
    let found = items(&path, &contents);
    let named: Vec<_> = damages(&found).iter().map(|d| (d.record, d.what)).collect();
    assert_eq!(named, [(2, What::Contents), (3, What::Contents)]);
    assert_eq!(entries(&found), [0, 1, 4, 5].map(|n: usize| all[n].clone()));

    let mut lengths = bytes;
    lengths[begins[2]] ^= 1;
    lengths[begins[3]] ^= 1;
    let found = items(&path, &lengths);
    let named: Vec<_> = damages(&found).iter().map(|d| (d.record, d.what)).collect();
    assert_eq!(named, [(2, What::Lost { records: 2 })]);
    assert_eq!(entries(&found), [0, 1, 4, 5].map(|n: usize| all[n].clone()));
}

/// The trail's pieces with record `n` replaced by one of another body, its checksums right.
fn edited(all: &[Entry], n: usize, chain_too: bool) -> Vec<u8> {
    let mut pieces = pieces(all);
    let before = &pieces[n];
    let previous: [u8; 32] = match n {
        0 => *blake3::hash(before).as_bytes(),
        _ => chain_hash(before),
    };
    let body = postcard::to_allocvec(&take(1_000)).expect("encodes");
    let (mut bytes, _) = record(previous, (1, 1, n as u32), &body);
    if !chain_too {
        let end = bytes.len();
        bytes[end - 36..end - 4].copy_from_slice(&chain_hash(&pieces[n + 1]));
        let crc = crc32fast::hash(&bytes[..end - 4]).to_le_bytes();
        bytes[end - 4..].copy_from_slice(&crc);
    }
    pieces[n + 1] = bytes;
    pieces.concat()
}

#[test]
fn an_edited_record_is_found_even_with_its_checksums_put_right() {
    let (_folder, path) = temp();
    let all = visit(5);
    for n in 0..5 {
        let named = |chain_too| -> Vec<_> {
            let items = items(&path, &edited(&all, n, chain_too));
            assert_eq!(entries(&items).len(), all.len(), "all are read");
            damages(&items)
                .iter()
                .map(|d| (d.record as usize, d.what))
                .collect()
        };
        assert_eq!(named(false), [(n, What::Unlinked)]);
        assert_eq!(named(true), [(n + 1, What::Unlinked)]);
    }
}

#[test]
fn rewriting_the_whole_chain_is_found_by_the_head_hash_kept_elsewhere() {
    let (_folder, path) = temp();
    let mut all = visit(5);
    written(&path, &all);
    let head = verify(&path).expect("readable").head;
    assert_eq!(locate(&path, &head).expect("readable"), Some(5));
    // The visit goes on: the paper's hash is still found, and vouches for what was before.
    let (mut trail, ..) = Trail::open(&path).expect("opens");
    trail.take(&take(6)).expect("goes on");
    drop(trail);
    assert_eq!(locate(&path, &head).expect("readable"), Some(5));

    all[3] = take(1_000);
    fs::write(&path, pieces(&all).concat()).expect("a forged trail");
    let report = verify(&path).expect("readable");
    assert!(report.is_sound(), "by itself it can't be told");
    assert_eq!(locate(&path, &head).expect("readable"), None);
}

#[test]
fn records_taken_out_put_in_twice_or_swapped_are_found() {
    let (_folder, path) = temp();
    let all = visit(5);
    let pieces = pieces(&all);
    let of = |order: &[usize]| {
        order
            .iter()
            .flat_map(|n| pieces[*n].clone())
            .collect::<Vec<_>>()
    };
    for (order, first) in [
        (&[0, 1, 2, 4, 5, 6][..], 3),   // record 2 taken out
        (&[0, 1, 2, 3, 3, 4, 5, 6], 2), // record 2 twice
        (&[0, 1, 2, 4, 3, 5, 6], 3),    // records 2 and 3 swapped
        (&[0, 2, 3, 4, 5, 6], 1),       // the first taken out
    ] {
        let named = damages(&items(&path, &of(order)));
        let found = named.first().map(|d| (d.record, d.what));
        assert_eq!(found, Some((first, What::Unlinked)), "{order:?}");
    }
}

#[test]
fn records_of_a_newer_program_are_passed_over_and_named() {
    let (_folder, path) = temp();
    let all = visit(1);
    let mut bytes = pieces(&all).concat();
    let mut hash = chain_hash(&bytes);
    let body = postcard::to_allocvec(&take(2)).expect("encodes");
    for frame in [(1, 9, 2), (77, 1, 3), (1, 1, 4)] {
        let (record, next) = record(hash, frame, &body);
        bytes.extend(record);
        hash = next;
    }
    fs::write(&path, &bytes).expect("a trail");
    let report = verify(&path).expect("readable");
    assert!(report.is_sound());
    let skipped: Vec<_> = report
        .skipped
        .iter()
        .map(|s| (s.record, s.kind, s.version))
        .collect();
    assert_eq!(skipped, [(2, 1, 9), (3, 77, 1)]);
    let (_, read, recovery) = Trail::open(&path).expect("opens");
    assert_eq!(read, [all[0].clone(), all[1].clone(), take(2)]);
    assert_eq!(recovery.skipped, report.skipped);
}

#[test]
fn a_sound_record_that_says_nothing_known_is_named() {
    let (_folder, path) = temp();
    let mut bytes = pieces(&visit(0)).concat();
    let hash = chain_hash(&bytes);
    let mut body = postcard::to_allocvec(&take(1)).expect("encodes");
    body.push(0); // a byte too many
    bytes.extend(record(hash, (1, 1, 1), &body).0);
    let found = items(&path, &bytes);
    assert_eq!(
        damages(&found).iter().map(|d| d.what).collect::<Vec<_>>(),
        [What::Undecodable]
    );
}

#[test]
fn other_files_and_newer_formats_are_refused_by_name() {
    let (_folder, path) = temp();
    let refuse = |bytes: &[u8]| {
        fs::write(&path, bytes).expect("a file");
        let error = Trail::open(&path).expect_err("refused");
        assert_eq!(fs::read(&path).expect("a file"), bytes, "untouched");
        error
    };
    assert!(matches!(
        refuse(b"some other file, long enough"),
        Error::NotATrail { .. }
    ));
    assert!(matches!(refuse(&[0; 4096]), Error::NotATrail { .. }));
    assert!(matches!(refuse(b""), Error::NeverBegun { .. }));
    assert!(matches!(refuse(b"OHMTR"), Error::NeverBegun { .. }));
    assert!(matches!(
        refuse(&common::file_header(1)),
        Error::NeverBegun { .. }
    ));
    let newer = refuse(&common::file_header(2));
    assert!(matches!(newer, Error::NewerFormat { version: 2, .. }));
    let words = newer.to_string();
    assert!(words.ends_with("trail format 2, and this program reads up to 1; use a newer one"));
}

#[test]
fn a_trail_is_never_written_over_and_begins_with_opened() {
    let (_folder, path) = temp();
    assert!(matches!(
        Trail::create(&path, &take(1)),
        Err(Error::NotOpened)
    ));
    assert!(!path.exists());
    drop(Trail::create(&path, &opened()).expect("a new trail"));
    assert!(matches!(
        Trail::create(&path, &opened()),
        Err(Error::Exists { .. })
    ));
}

#[test]
fn a_record_too_long_is_refused_and_the_trail_goes_on() {
    let (_folder, path) = temp();
    let mut trail = Trail::create(&path, &opened()).expect("a new trail");
    let long = common::entry(
        1,
        Event::Note {
            text: "x".repeat(17 << 20),
        },
    );
    assert!(matches!(trail.take(&long), Err(Error::TooLong { .. })));
    trail.take(&take(1)).expect("goes on");
    trail.close().expect("closes");
    let items: Vec<_> = read(&path).expect("readable").collect();
    assert_eq!(entries(&items), [opened(), take(1)]);
}

#[test]
fn a_text_that_looks_like_a_record_is_not_taken_for_one() {
    let (_folder, path) = temp();
    // The first record once more, inside a note whose own record then loses its header.
    let inner = &pieces(&visit(1))[1];
    let mut all = visit(3);
    let text = "x".repeat(inner.len() + 60);
    all[2] = common::entry(2, Event::Note { text });
    let (mut bytes, begins) = written(&path, &all);
    let at = begins[2] + 60;
    bytes[at..at + inner.len()].copy_from_slice(inner);
    bytes[begins[2]] ^= 1;
    let found = items(&path, &bytes);
    assert_eq!(entries(&found), [0, 1, 3].map(|n: usize| all[n].clone()));
    assert!(
        found
            .iter()
            .flatten()
            .all(|r| matches!(r.body, Body::Entry(_)))
    );
}
