//! Trails: any file is read, verified and exported without harm; what is opened for writing goes on
//! and is sound from there.

use std::fs;
use std::io::sink;

use ohmtrail_trail::{Error, Trail, export_csv, export_jsonl, verify};

/// A trail's file.
pub fn trail(bytes: &[u8]) {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("fuzzed.trail");
    fs::write(&file, bytes).expect("written");
    let before = verify(&file);
    let _ = export_csv(&file, sink());
    let _ = export_jsonl(&file, sink());
    assert_eq!(
        fs::read(&file).expect("read"),
        bytes,
        "reading changes nothing"
    );
    let opened = Trail::open(&file);
    let opened = opened.and_then(|(trail, entries, recovery)| {
        trail.close()?;
        Ok((entries, recovery))
    });
    match (before, opened) {
        (Ok(before), Ok((entries, recovery))) => {
            let after = verify(&file).expect("an opened trail is read");
            assert_eq!(after.torn_tail, 0, "the tail is cut off");
            assert_eq!(
                after.damage, before.damage,
                "damage stays as it is, and named"
            );
            assert_eq!(recovery.damage, before.damage);
            assert!(after.records >= before.records);
            let whole = before.records as usize;
            assert!(
                entries.len() <= whole,
                "{} entries of {whole} records",
                entries.len()
            );
            if let Some(cut) = recovery.cut {
                let kept = fs::read(&cut.kept).expect("the cut bytes are kept");
                let from = usize::try_from(cut.offset).expect("small");
                assert_eq!(kept, bytes[from..], "as they were");
            }
        }
        (Ok(_), Err(e)) => {
            // Only what was never begun may be read and not gone on with.
            assert!(matches!(e, Error::NeverBegun { .. }), "{e}");
        }
        (Err(_), Ok(_)) => panic!("what cannot be read is gone on with"),
        (Err(_), Err(_)) => {}
    }
}
