//! What is known of a unit beforehand, through the binary: `--known`, `--ambient` and `--earlier`.

use std::io::Write;
use std::path::Path;
use std::process::Stdio;

use ohmtrail_tests::cli::{Ran, ohmtrail, run};

/// A dialogue that is ended at once, with these options.
fn ended(options: &[&str]) -> Ran {
    let mut process = ohmtrail()
        .args(["isolate", "--stdio", "--clock", "asked"])
        .args(options)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the binary starts");
    let mut to = process.stdin.take().expect("standard input");
    let lines = "{\"complaint\":\"fan-only\"}\n{\"leave\":\"enough\"}\n";
    // One that refuses its options reads no line.
    let _ = to.write_all(lines.as_bytes());
    drop(to);
    process.wait_with_output().expect("it ends").into()
}

fn plain(path: &Path) -> &str {
    path.to_str().expect("a plain path")
}

/// An entry of a verified trail's report.
fn verified(trail: &Path, key: &str) -> String {
    let ran = run(["--json", "trail", "verify", plain(trail)]);
    assert_eq!(ran.code, 0, "{ran:?}");
    let start = format!("\"{key}\": \"");
    let line = ran
        .out
        .lines()
        .find_map(|l| l.trim().strip_prefix(start.as_str()));
    let value = line.unwrap_or_else(|| panic!("no {key} in {ran:?}"));
    value.trim_end_matches(',').trim_end_matches('"').to_owned()
}

/// A file of one known value of the compressor's run winding.
fn known(file: &Path, value: &str, more: &str) {
    let text = format!(
        "[[known]]\npart = \"compressor\"\nquantity = \"run-ohms\"\nvalue = \"{value}\"\n\
         uncertainty = \"0.012 Ohm\"\nat = \"18 Cel\"\ndate = \"2025-05-14\"\n\
         source = \"invented\"\n{more}"
    );
    std::fs::write(file, text).expect("written");
}

/// The sheet then has the fault of degree that only such a value shows; the trail keeps what was told.
#[test]
fn a_known_value_brings_its_fault_and_is_noted() {
    let folder = tempfile::tempdir().expect("a folder");
    let [file, trail] = ["known.toml", "now.trail"].map(|name| folder.path().join(name));
    known(&file, "0.852 Ohm", "");
    let turns = "\"compressor.run-turns-shorted\"";
    assert!(!ended(&[]).out.contains(turns));
    let air = ["--ambient", "31.0Cel", "--trail", plain(&trail)];
    let mut options = vec!["--known", plain(&file)];
    options.extend(air);
    let ran = ended(&options);
    assert!(ran.out.contains(turns), "{ran:?}");
    let exported = run(["trail", "export", "--format", "jsonl", plain(&trail)]);
    assert!(
        exported.out.contains("known.toml; ambient: 31.0Cel"),
        "{exported:?}"
    );
}

/// What is wrong with a value or a temperature is said, with its file and line.
#[test]
fn a_wrong_value_is_refused_by_its_line() {
    let folder = tempfile::tempdir().expect("a folder");
    for (value, more, says) in [
        ("1.9 Ohm", "", "known.toml:1: compressor.run-ohms"),
        ("0.85 V", "", "known.toml:4: \"V\" is not a unit"),
        ("0.85 Ohm", "colour = \"red\"\n", "`colour` is not a key"),
    ] {
        let file = folder.path().join("known.toml");
        known(&file, value, more);
        let ran = ended(&["--known", plain(&file)]);
        assert_eq!(ran.code, 3, "{ran:?}");
        assert!(ran.err.contains(says), "{says}: {ran:?}");
    }
    let ran = ended(&["--ambient", "31"]);
    assert_eq!(ran.code, 2, "{ran:?}");
    assert!(ran.err.contains("31.5Cel"), "{ran:?}");
}

/// An earlier trail of the unit is told as history and linked by its head; one of another sheet is
/// refused.
#[test]
fn an_earlier_trail_is_told_and_linked() {
    let folder = tempfile::tempdir().expect("a folder");
    let [then, now] = ["then.trail", "now.trail"].map(|name| folder.path().join(name));
    let demo = run(["demo", "--trail", plain(&then)]);
    assert_eq!(demo.code, 0, "{demo:?}");
    let ran = ended(&["--earlier", plain(&then), "--trail", plain(&now)]);
    assert!(ran.out.contains("\"earlier\":\"the visit of"), "{ran:?}");
    assert_eq!(verified(&now, "previous"), verified(&then, "head"));
    let exported = run(["trail", "export", "--format", "jsonl", plain(&now)]);
    assert!(
        exported.out.contains("history: run-cap.C to run-cap.HERM"),
        "{exported:?}"
    );
    let other = ["--sheet", "control-loop-24v", "--earlier", plain(&then)];
    let ran = ended(&other);
    assert_eq!(ran.code, 3, "{ran:?}");
    let says = "the earlier trail is of the sheet \"split-heat-pump-1ph\"";
    assert!(ran.err.contains(says), "{ran:?}");
}
