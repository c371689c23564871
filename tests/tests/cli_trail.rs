//! `ohmtrail trail`: on the golden trail, whole and damaged.

use std::fs;
use std::path::{Path, PathBuf};

use ohmtrail_tests::cli::{Ran, run, workspace};

fn golden(name: &str) -> PathBuf {
    workspace().join("crates/trail/tests/golden").join(name)
}

fn trail(what: &[&str], file: &Path) -> Ran {
    let mut args = vec!["trail".to_owned()];
    args.extend(what.iter().map(|w| (*w).to_owned()));
    args.push(file.display().to_string());
    run(args)
}

#[test]
fn a_sound_trail_is_verified_and_its_head_found() {
    let file = golden("visit-1.trail");
    let ran = trail(&["verify", "--json"], &file);
    assert_eq!(ran.code, 0, "{ran:?}");
    let json = ran.json();
    assert_eq!(json["sound"], true);
    let head = json["head"].as_str().expect("a hash").to_owned();
    assert_eq!(head.len(), 64);
    let last = json["records"].as_u64().expect("a number") - 1;
    let asked = trail(&["verify", "--json", "--head", &head], &file);
    assert_eq!(asked.code, 0);
    assert_eq!(asked.json()["head_asked"]["record"], last);
    let other = trail(&["verify", "--head", &"0".repeat(64)], &file);
    assert_eq!(other.code, 5, "{other:?}");
    assert!(other.out.contains("not in this trail"), "{}", other.out);
    assert_eq!(trail(&["verify", "--head", "beef"], &file).code, 2);
}

/// The exports are those that the trail's own golden files hold.
#[test]
fn exports_are_the_golden_ones() {
    let file = golden("visit-1.trail");
    for (format, name) in [("csv", "visit-1.csv"), ("jsonl", "visit-1.jsonl")] {
        let wanted = fs::read_to_string(golden(name)).expect("the golden export");
        let ran = trail(&["export", "--format", format], &file);
        assert_eq!(ran.code, 0);
        assert!(ran.out == wanted, "{format} differs");
        let folder = tempfile::tempdir().expect("a folder");
        let to = folder.path().join(name);
        let to_text = to.to_str().expect("text");
        let ran = trail(&["export", "--format", format, "-o", to_text], &file);
        assert!(ran.code == 0 && ran.out.is_empty(), "{ran:?}");
        assert!(fs::read_to_string(&to).expect("written") == wanted);
        // An export is never written over.
        assert_eq!(trail(&["export", "-o", to_text], &file).code, 7);
    }
    let shown = trail(&["show", "--json"], &file);
    assert!(shown.out == fs::read_to_string(golden("visit-1.jsonl")).expect("golden"));
}

#[test]
fn every_record_is_told_in_words() {
    let file = golden("visit-1.trail");
    let records = trail(&["verify", "--json"], &file).json()["records"].as_u64();
    let shown = trail(&["show"], &file);
    assert_eq!(shown.code, 0);
    let numbered = shown
        .out
        .lines()
        .filter(|l| l.get(..5).is_some_and(|n| n.trim().parse::<u32>().is_ok()))
        .count();
    assert_eq!(Some(numbered as u64), records);
    for what in ["opened:", "take 1", "gate ", "found:", "ask ", "closed"] {
        assert!(shown.out.contains(what), "{what} is not in {}", shown.out);
    }
    assert!(!shown.out.contains("newer program"), "{}", shown.out);
}

#[test]
fn damage_is_named_and_has_its_exit_code() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("bad.trail");
    let mut bytes = fs::read(golden("visit-1.trail")).expect("the golden trail");
    let middle = bytes.len() / 2;
    bytes[middle] ^= 0x10;
    fs::write(&file, &bytes).expect("written");
    let ran = trail(&["verify"], &file);
    assert_eq!(ran.code, 5, "{ran:?}");
    assert!(
        ran.out.contains("damaged") && ran.out.contains("byte"),
        "{}",
        ran.out
    );
    for what in [&["show"][..], &["export"], &["export", "--format", "jsonl"]] {
        let ran = trail(what, &file);
        assert_eq!(ran.code, 5, "{what:?}");
        assert!(
            ran.err.contains("record") && !ran.out.is_empty(),
            "{what:?} {}",
            ran.err
        );
    }
    // Cut off within the last record.
    let mut torn = fs::read(golden("visit-1.trail")).expect("the golden trail");
    torn.truncate(torn.len() - 7);
    fs::write(&file, &torn).expect("written");
    let ran = trail(&["verify", "--json"], &file);
    assert_eq!(ran.code, 5);
    assert!(
        ran.json()["torn_tail"].as_u64().is_some_and(|n| n > 0),
        "{ran:?}"
    );
}

#[test]
fn what_is_no_trail_is_bad_input() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("shopping.txt");
    fs::write(&file, "milk, bread and a long enough list of other things").expect("written");
    let to = folder.path().join("out.csv");
    for what in [
        &["verify"][..],
        &["show"],
        &["export", "-o", to.to_str().expect("text")],
    ] {
        let ran = trail(what, &file);
        assert_eq!(ran.code, 3, "{ran:?}");
        assert!(ran.err.contains("not a trail"), "{}", ran.err);
        assert!(ran.err.contains("shopping.txt"), "{}", ran.err);
    }
    assert!(!to.exists(), "an empty export was left behind");
    assert_eq!(trail(&["verify"], Path::new("/nowhere/x.trail")).code, 3);
}
