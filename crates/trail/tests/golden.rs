//! Trails are readable for ever. `tests/golden/visit-1.trail` holds an invented visit with every
//! event there was at entry version 1, and a torn tail that was cut; `visit-2.trail` the events of
//! version 2, `visit-3.trail` those of version 3, `visit-4.trail` the ask of version 4, `visit-5.trail` the event of version 5,
//! `visit-6.trail` what repairs brought. The files beside them are their exports. They are never edited: a new version gets new
//! files, and the old ones stay.

mod common;

use std::collections::BTreeSet;
use std::fs::{self, OpenOptions};
use std::io::Write;
use std::path::{Path, PathBuf};

use common::{entries, visit};
use ohmtrail_core::reading::{Function, MeterId};
use ohmtrail_trail::event::{
    Act, Acted, Asked, Conclusion, Decision, Entry, Event, Fitted, LineKind, Off, Outcome, Part,
    PlateEntry, Power, Proof, Proved, Quote, QuoteLine, QuoteOption, Repair, RepairEnd, Request,
    Role, Stamped, UnitState,
};
use ohmtrail_trail::{
    Body, CutNote, Error, Hash, Trail, bytes_of, export_csv, export_jsonl, read, verify,
};

/// After this many entries the writer is killed in the middle of the next record.
const TORN_AFTER: usize = 20;

fn golden(end: &str) -> PathBuf {
    golden_of(1, end)
}

/// Writes the visit of the golden file with the present writer.
fn write(path: &Path) {
    let visit = visit();
    let mut trail = Trail::create(path, &visit[0]).expect("begins");
    for entry in &visit[1..TORN_AFTER] {
        trail.append(entry).expect("appends");
    }
    trail.close().expect("closes");
    let mut file = OpenOptions::new()
        .append(true)
        .open(path)
        .expect("the file");
    file.write_all(torn()).expect("a torn tail");
    let (mut trail, ..) = Trail::open(path).expect("opens");
    for entry in &visit[TORN_AFTER..] {
        trail.append(entry).expect("appends");
    }
    trail.close().expect("closes");
}

fn torn() -> &'static [u8] {
    b"half a record"
}

#[test]
fn the_golden_trail_is_read() {
    let path = golden("trail");
    let items: Vec<_> = read(&path).expect("a trail").collect();
    // Compared as text: an overload's value is NaN, which equals nothing.
    assert_eq!(format!("{:?}", entries(&items)), format!("{:?}", visit()));
    let note = CutNote {
        bytes: 13,
        hash: Hash::of(torn()).0,
        number: 1,
    };
    let record = items[TORN_AFTER].as_ref().expect("sound");
    assert_eq!(record.body, Body::Cut(note));
    let report = verify(&path).expect("a trail");
    assert!(report.is_sound());
    assert_eq!(report.skipped, []);
    assert_eq!(report.cuts, [note]);
    assert_eq!(report.previous, Some(Hash([0xC3; 32])));
    assert_eq!(report.records as usize, visit().len() + 1);
    // Computed from the file by a reader after docs/trail.md in Python: zlib's crc32, PyPI's blake3.
    let head = "d1d78e3f6eccdaefe641877edc8682d1aa37a67b26497579a717780cf07b1e40";
    assert_eq!(report.head.to_string(), head);
}

#[test]
fn the_present_writer_writes_the_golden_bytes() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("visit.trail");
    write(&path);
    assert_eq!(
        fs::read(&path).expect("ours"),
        fs::read(golden("trail")).expect("golden")
    );
}

/// A trail that is made in one piece is the one that is written entry by entry.
#[test]
fn the_bytes_of_a_visit_are_those_that_the_writer_leaves() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("visit.trail");
    let visit = visit();
    let mut trail = Trail::create(&path, &visit[0]).expect("begins");
    for entry in &visit[1..] {
        trail.append(entry).expect("appends");
    }
    trail.close().expect("closes");
    let bytes = bytes_of(&visit).expect("whole");
    assert_eq!(bytes, fs::read(&path).expect("ours"));
    assert!(matches!(bytes_of(&visit[1..]), Err(Error::NotOpened)));
}

#[test]
fn the_exports_are_the_golden_ones() {
    let mut csv = Vec::new();
    let mut jsonl = Vec::new();
    assert_eq!(export_csv(golden("trail"), &mut csv).expect("exports"), []);
    assert_eq!(
        export_jsonl(golden("trail"), &mut jsonl).expect("exports"),
        []
    );
    let expected = |end| fs::read_to_string(golden(end)).expect("golden");
    assert_eq!(String::from_utf8(csv).expect("text"), expected("csv"));
    // By value: the order of the keys says nothing.
    let lines = |text: &str| -> Vec<serde_json::Value> {
        text.lines()
            .map(|line| serde_json::from_str(line).expect("JSON"))
            .collect()
    };
    let ours = String::from_utf8(jsonl).expect("text");
    assert_eq!(lines(&ours), lines(&expected("jsonl")));
}

/// An event that the golden visit lacks would not be guarded.
#[test]
fn the_golden_visit_has_every_event() {
    let jsonl = fs::read_to_string(golden("jsonl")).expect("golden");
    let names: BTreeSet<String> = jsonl
        .lines()
        .map(|line| serde_json::from_str::<serde_json::Value>(line).expect("JSON"))
        .filter_map(|line| Some(line.get("event")?.as_str()?.to_owned()))
        .collect();
    let expected = [
        "acted",
        "asked",
        "closed",
        "complaint",
        "found",
        "gate",
        "left",
        "lifted",
        "looked",
        "meter-back",
        "meter-joined",
        "meter-lost",
        "note",
        "opened",
        "photo",
        "plate",
        "put-back",
        "readings",
        "skipped",
        "struck",
        "suspects",
        "tagged",
        "took",
        "voided",
    ];
    assert_eq!(
        names.iter().map(String::as_str).collect::<Vec<_>>(),
        expected
    );
}

/// The events of version 2.
fn second() -> Vec<Entry> {
    let mut entries = vec![visit()[0].clone()];
    let events = [
        Event::MeterRole {
            meter: MeterId(1),
            role: "clamp on the common".into(),
        },
        Event::Concluded(Conclusion {
            outcome: Outcome::Faults,
            p: 0.75,
            roles: vec![Role {
                what: "run-cap.fan-open".into(),
                part: Part::RootCause,
                by: vec![],
            }],
            why: "nothing else explains the takes".into(),
        }),
    ];
    for (after, event) in (1..).zip(events) {
        let mut at = entries[0].at;
        at.steady.0 += after * 1_000_000;
        at.wall_us += 1_000_000 * i64::try_from(after).expect("small");
        entries.push(Entry { at, event });
    }
    entries
}

/// The events of version 3.
fn third() -> Vec<Entry> {
    let mut entries = vec![visit()[0].clone()];
    let events = [
        Event::Closed,
        Event::Quoted(Quote {
            version: 1,
            currency: "USD".into(),
            decimals: 2,
            valid_until: "2026-12-31".into(),
            options: vec![QuoteOption {
                name: "a".into(),
                title: "replace the run capacitor".into(),
                recommended: true,
                lines: vec![QuoteLine {
                    what: "an invented capacitor".into(),
                    kind: LineKind::Part,
                    quantity: 1000,
                    price: 3850,
                    taxed: true,
                }],
                tax: 8250,
            }],
        }),
        Event::Decided(Decision {
            quote: 1,
            option: Some("a".into()),
            by: "an invented owner".into(),
            means: "signed on the paper".into(),
            paper: [0xA5; 32],
        }),
    ];
    for (after, event) in (1..).zip(events) {
        let mut at = entries[0].at;
        at.steady.0 += after * 1_000_000;
        at.wall_us += 1_000_000 * i64::try_from(after).expect("small");
        entries.push(Entry { at, event });
    }
    entries
}

/// The ask of version 4.
fn fourth() -> Vec<Entry> {
    let first = visit()[0].clone();
    let mut at = first.at;
    at.steady.0 += 1_000_000;
    at.wall_us += 1_000_000;
    let event = Event::Asked(Asked {
        ask: 1,
        request: Request::LowImpedance {
            function: Function::VoltsAc,
            points: ["thermostat.W".into(), "transformer.X2".into()],
            state: UnitState {
                power: Power::On,
                lifted: Vec::new(),
                cooled: false,
            },
        },
        why: "does it stay, or is it coupled".into(),
        minutes: 1.0,
    });
    vec![first, Entry { at, event }]
}

/// The event of version 5.
fn fifth() -> Vec<Entry> {
    let first = visit()[0].clone();
    let mut at = first.at;
    at.steady.0 += 1_000_000;
    at.wall_us += 1_000_000;
    let event = Event::WireChecked {
        end: "comp-common.1".into(),
        on: "contactor.T1".into(),
        photo: Some([0x5A; 32]),
    };
    vec![first, Entry { at, event }]
}

/// What repairs brought: version 6.
fn sixth() -> Vec<Entry> {
    let mut entries = vec![visit()[0].clone()];
    let on = UnitState {
        power: Power::On,
        lifted: Vec::new(),
        cooled: false,
    };
    let acts = [
        Act::Fit("run-cap".into()),
        Act::CheckWire("comp-run.1".into()),
        Act::PutRight(vec!["comp-run.1".into(), "comp-start.1".into()]),
        Act::CallHeating,
        Act::StartDefrost,
        Act::ProveCharge,
    ];
    let mut events = vec![Event::Repair(Repair {
        trail: [0xB7; 32],
        day: "2026-07-01".into(),
        faults: vec!["run-cap.herm-open".into()],
        parts: vec!["run-cap".into()],
        option: Some("a".into()),
        quoted: vec!["an invented capacitor".into()],
        plates: vec![PlateEntry {
            part: "run-cap".into(),
            key: "capacitance-herm".into(),
            value: "35".into(),
            unit: "uF".into(),
        }],
        wires: vec![Off {
            end: "comp-run.1".into(),
            from: "run-cap.C".into(),
            mark: "red".into(),
            photo: Some([0x5A; 32]),
            back_on: None,
            checked: false,
        }],
        before: vec!["run-cap.C to run-cap.HERM: 35.49 nF".into()],
    })];
    events.extend(acts.clone().map(|act| {
        Event::Asked(Asked {
            ask: 1,
            request: Request::Act { act },
            why: "a step of the repair".into(),
            minutes: 1.0,
        })
    }));
    events.push(Event::Asked(Asked {
        ask: 2,
        request: Request::AtStart {
            function: Function::VoltsAc,
            points: ["contactor.L1".into(), "contactor.L2".into()],
            state: on,
        },
        why: "how low the line sags".into(),
        minutes: 1.0,
    }));
    events.extend(acts.map(|act| Event::Acted(Acted { ask: Some(1), act })));
    events.push(Event::Fitted(Fitted {
        part: "run-cap".into(),
        stamp: vec![Stamped {
            key: "capacitance-herm".into(),
            value: "35 uF".into(),
        }],
        matches: Some(true),
        words: "the same by every rule".into(),
    }));
    let ends = [Proved::Proven, Proved::Monitor, Proved::LeftOff];
    events.extend(ends.map(|proved| {
        Event::RepairEnded(RepairEnd {
            proved,
            why: vec!["as measured".into()],
            proofs: vec![Proof {
                what: "start sag".into(),
                passed: None,
                words: "211.2 V".into(),
                ask: Some(2),
            }],
        })
    }));
    for (after, event) in (1..).zip(events) {
        let mut at = entries[0].at;
        at.steady.0 += after * 1_000_000;
        at.wall_us += 1_000_000 * i64::try_from(after).expect("small");
        entries.push(Entry { at, event });
    }
    entries
}

fn write_entries(path: &Path, entries: &[Entry]) {
    let mut trail = Trail::create(path, &entries[0]).expect("begins");
    for entry in &entries[1..] {
        trail.append(entry).expect("appends");
    }
    trail.close().expect("closes");
}

fn golden_of(version: u32, end: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("tests/golden/visit-{version}.{end}"))
}

#[test]
fn the_later_golden_trails_are_read_written_and_exported() {
    let all = [second(), third(), fourth(), fifth(), sixth()];
    for (version, events) in (2..).zip(all) {
        later(version, &events);
    }
}

fn later(version: u32, events: &[Entry]) {
    let path = golden_of(version, "trail");
    let items: Vec<_> = read(&path).expect("a trail").collect();
    assert_eq!(entries(&items), events);
    let folder = tempfile::tempdir().expect("a folder");
    let ours = folder.path().join("visit.trail");
    write_entries(&ours, events);
    assert_eq!(
        fs::read(ours).expect("ours"),
        fs::read(&path).expect("golden")
    );
    let mut jsonl = Vec::new();
    export_jsonl(&path, &mut jsonl).expect("exports");
    let golden = fs::read_to_string(golden_of(version, "jsonl")).expect("golden");
    let lines = |text: &str| -> Vec<serde_json::Value> {
        text.lines()
            .map(|line| serde_json::from_str(line).expect("JSON"))
            .collect()
    };
    assert_eq!(
        lines(&String::from_utf8(jsonl).expect("text")),
        lines(&golden)
    );
}

/// Keeps a golden file; one that is there already is not touched.
fn keep(version: u32, end: &str, bytes: &[u8]) {
    let file = golden_of(version, end);
    let new = OpenOptions::new().write(true).create_new(true).open(file);
    new.and_then(|mut file| file.write_all(bytes))
        .expect("a new golden file");
}

#[test]
#[ignore = "writes golden files that are not there yet; refuses to touch one that is"]
fn make_the_latest() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("visit.trail");
    write_entries(&path, &sixth());
    keep(6, "trail", &fs::read(&path).expect("a trail"));
    let mut jsonl = Vec::new();
    export_jsonl(&path, &mut jsonl).expect("exports");
    keep(6, "jsonl", &jsonl);
}

#[test]
#[ignore = "writes golden files that are not there yet; refuses to touch one that is"]
fn make() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("visit.trail");
    write(&path);
    keep(1, "trail", &fs::read(&path).expect("a trail"));
    let (mut csv, mut jsonl) = (Vec::new(), Vec::new());
    export_csv(&path, &mut csv).expect("exports");
    export_jsonl(&path, &mut jsonl).expect("exports");
    keep(1, "csv", &csv);
    keep(1, "jsonl", &jsonl);
}
