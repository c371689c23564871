//! Exports and photographs: what comes out is what went in, and a broken one says so.

mod common;

use std::fs;
use std::path::PathBuf;

use common::{pieces, visit};
use ohmtrail_trail::photos::{self, PhotoError};
use ohmtrail_trail::{Error, Hash, export_csv, export_jsonl};
use serde_json::Value;
use tempfile::TempDir;

fn trail(bytes: &[u8]) -> (TempDir, PathBuf) {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("visit.trail");
    fs::write(&path, bytes).expect("a trail");
    (folder, path)
}

fn rows(csv: &[u8]) -> Vec<Vec<(String, String)>> {
    let mut reader = csv::Reader::from_reader(csv);
    let header = reader.headers().expect("a header").clone();
    let pair = |(name, cell): (&str, &str)| (name.to_owned(), cell.to_owned());
    let row = |row: csv::Result<csv::StringRecord>| {
        header
            .iter()
            .zip(row.expect("a row").iter())
            .map(pair)
            .collect()
    };
    reader.records().map(row).collect()
}

#[test]
fn csv_has_a_row_for_each_take_with_its_digits_unit_and_verdict() {
    let (_folder, path) = trail(&pieces(&visit()).concat());
    let mut csv = Vec::new();
    export_csv(&path, &mut csv).expect("exports");
    let rows = rows(&csv);
    assert_eq!(rows.len(), 7);
    let cell = |row: usize, name: &str| {
        let cell = rows[row].iter().find(|(n, _)| n == name);
        cell.expect("a column").1.clone()
    };
    assert_eq!(cell(1, "display"), "4.88");
    assert_eq!(cell(1, "display_unit"), "uF");
    assert_eq!(cell(1, "value"), "4.88e-6");
    assert_eq!(cell(1, "unit"), "F");
    assert_eq!(cell(1, "uncertainty"), "4.2e-8");
    assert_eq!(cell(1, "class"), "low");
    assert_eq!(cell(1, "probability"), "1.0");
    assert_eq!(cell(1, "source"), "marking on the part");
    assert_eq!(cell(1, "flags"), "relative auto-range");
    assert_eq!(cell(1, "lifted"), "cap-fan.1 cap-herm.1");
    assert_eq!(
        cell(1, "struck"),
        "wrong point, \"C\" not \"H\"",
        "quoted, and read back"
    );
    assert_eq!(cell(2, "struck"), "");
    assert_eq!(
        (cell(4, "display"), cell(4, "value")),
        ("OL".into(), String::new())
    );
    assert_eq!(cell(6, "display"), "238.4");
    assert_eq!(cell(6, "class"), "");
    let at = cell(0, "at");
    assert!(
        at.starts_with("2026-09-21T") && at.ends_with(".250000Z"),
        "{at}"
    );
}

#[test]
fn a_trail_without_takes_has_the_same_columns() {
    let header = |entries: &[_]| {
        let (_folder, path) = trail(&pieces(entries).concat());
        let mut csv = Vec::new();
        export_csv(&path, &mut csv).expect("exports");
        String::from_utf8(csv)
            .expect("text")
            .lines()
            .next()
            .map(str::to_owned)
    };
    assert_eq!(header(&visit()[..1]), header(&visit()));
}

#[test]
fn json_lines_have_every_record_and_every_damage() {
    let entries = visit();
    let mut bytes = pieces(&entries).concat();
    let second = pieces(&entries)[..2].concat().len();
    bytes[second + 20] ^= 1;
    let (_folder, path) = trail(&bytes);
    let mut out = Vec::new();
    let damage = export_jsonl(&path, &mut out).expect("exports");
    assert_eq!(damage.len(), 1);
    let lines: Vec<Value> = std::str::from_utf8(&out)
        .expect("text")
        .lines()
        .map(|line| serde_json::from_str(line).expect("JSON"))
        .collect();
    assert_eq!(lines.len(), entries.len());
    assert_eq!(lines[1]["damage"]["record"], 1);
    assert_eq!(lines[0]["event"], "opened");
    assert_eq!(lines[0]["data"]["previous"], "c3".repeat(32));
    assert_eq!(lines[0]["data"]["sheet_hash"], "5a".repeat(32));
    assert_eq!(lines[0]["at"], "2026-09-21T14:13:20.250000Z");
    assert_eq!(lines[0]["steady_us"], 5_000_000);
    let of = |event: &str| -> Vec<&Value> {
        lines
            .iter()
            .filter(|l| l["event"] == event)
            .map(|l| &l["data"])
            .collect()
    };
    let take = of("took")[1];
    assert_eq!(
        (&take["display"], &take["unit"]),
        (&"4.88".into(), &"uF".into())
    );
    assert_eq!(take["flags"], serde_json::json!(["relative", "auto-range"]));
    assert_eq!(take["verdict"]["class"], "low");
    assert_eq!(
        of("took")[4]["value"],
        Value::Null,
        "an overload has no value"
    );
    let streamed = &of("readings")[1]["readings"][0];
    assert_eq!(
        (&streamed["display"], &streamed["function"]),
        (&"OL".into(), &"volts-ac".into())
    );
    assert_eq!(of("suspects")[0]["ranked"][1]["p"].to_string(), "0.003");
    assert_eq!(of("note")[0]["text"], "µ, Ω, °C; comma, \"quote\"");
}

#[test]
fn an_export_to_a_full_disk_is_an_error() {
    let (_folder, path) = trail(&pieces(&visit()).concat());
    // The kernel's own full disk.
    let full = || {
        fs::OpenOptions::new()
            .write(true)
            .open("/dev/full")
            .expect("/dev/full")
    };
    assert!(matches!(export_csv(&path, full()), Err(Error::Export(_))));
    assert!(matches!(export_jsonl(&path, full()), Err(Error::Export(_))));
}

#[test]
fn a_photograph_is_kept_once_under_its_hash_and_checked_when_read() {
    let (folder, _) = trail(b"");
    let photos = folder.path().join("photos");
    let picture = b"an invented picture";
    let hash = photos::store(&photos, picture, "image/jpeg").expect("stores");
    assert_eq!(hash, Hash::of(picture));
    assert_eq!(
        photos::store(&photos, picture, "image/png").expect("stores"),
        hash
    );
    let names: Vec<_> = fs::read_dir(&photos)
        .expect("a folder")
        .map(|entry| entry.expect("a file").file_name())
        .collect();
    assert_eq!(names, [format!("{hash}.jpg").as_str()]);
    assert_eq!(photos::load(&photos, &hash).expect("loads"), picture);

    fs::write(photos.join(format!("{hash}.jpg")), b"another picture").expect("changed");
    assert!(matches!(
        photos::load(&photos, &hash),
        Err(PhotoError::Changed { .. })
    ));
    photos::store(&photos, picture, "image/jpeg").expect("mends it");
    assert_eq!(photos::load(&photos, &hash).expect("loads"), picture);

    let other = Hash::of(b"never stored");
    assert!(matches!(
        photos::load(&photos, &other),
        Err(PhotoError::Missing { .. })
    ));
    let text = photos::store(&photos, b"x", "text/plain");
    assert!(matches!(text, Err(PhotoError::MediaType { .. })));
}
