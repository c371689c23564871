//! Frames worked by hand from the maps in docs/meters.md, kept as files in `tests/frames/`: hex
//! text, and what must come of it. The maps are the display chips' public datasheets, from memory.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

use ohmtrail_core::reading::{Decimal, Flags, Function, MeterId, Shown};
use ohmtrail_core::units::Micros;
use ohmtrail_meters::driver::{Outcome, driver, drivers};
use ohmtrail_meters::showing::{Reason, Showing};

#[derive(Debug, PartialEq)]
enum Expect {
    Showing(Showing),
    Rejected(Reason),
}

struct FrameFile {
    driver: String,
    bytes: Vec<u8>,
    expect: Vec<Expect>,
    skipped: Option<usize>,
}

fn parse(text: &str) -> FrameFile {
    let mut file = FrameFile {
        driver: String::new(),
        bytes: Vec::new(),
        expect: Vec::new(),
        skipped: None,
    };
    for line in text.lines().filter(|l| !l.starts_with('#')) {
        let (key, value) = line.split_once(": ").expect(line);
        match key {
            "frame" => file.driver = value.to_string(),
            "hex" => file.bytes.extend(
                value
                    .split(' ')
                    .map(|byte| u8::from_str_radix(byte, 16).expect(line)),
            ),
            "expect" => file.expect.push(expect(value)),
            "skipped" => file.skipped = Some(value.parse().expect(line)),
            _ => panic!("{line}"),
        }
    }
    file
}

fn expect(text: &str) -> Expect {
    let mut words = text.split(' ');
    let first = words.next().expect(text);
    let second = words.next().expect(text);
    if first == "rejected" {
        let reason = Reason::ALL.into_iter().find(|r| r.name() == second);
        return Expect::Rejected(reason.expect(text));
    }
    let shown = match second {
        "overload" => Shown::Overload,
        "blank" => Shown::Blank,
        number => {
            let (mantissa, exponent) = number.split_once('e').expect(text);
            Shown::Value(Decimal::new(
                mantissa.parse().expect(text),
                exponent.parse().expect(text),
            ))
        }
    };
    Expect::Showing(Showing {
        function: Function::by_name(first).expect(text),
        shown,
        flags: words.fold(Flags::NONE, |flags, name| {
            flags.with(Flags::by_name(name).expect(text))
        }),
    })
}

fn files() -> Vec<(String, FrameFile)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/frames");
    let mut files: Vec<(String, FrameFile)> = fs::read_dir(folder)
        .unwrap()
        .map(|entry| {
            let path = entry.unwrap().path();
            let name = path.file_stem().unwrap().to_string_lossy().into_owned();
            (name, parse(&fs::read_to_string(&path).unwrap()))
        })
        .collect();
    files.sort_by(|a, b| a.0.cmp(&b.0));
    files
}

#[test]
fn every_frame_file_gives_what_it_says() {
    for (name, file) in files() {
        let meter = MeterId(7);
        let at = Micros(1_000);
        let mut driver = (driver(&file.driver).expect(&name).start)(meter);
        let (mut got, mut skipped) = (Vec::new(), 0);
        let mut rest = file.bytes.as_slice();
        loop {
            let pushed = driver.push(rest, at);
            rest = pushed.rest;
            skipped += pushed.skipped;
            match pushed.outcome {
                Outcome::Hungry => break,
                Outcome::Got(reading) => {
                    assert_eq!((reading.meter, reading.at), (meter, at), "{name}");
                    got.push(Expect::Showing(Showing {
                        function: reading.function,
                        shown: reading.shown,
                        flags: reading.flags,
                    }));
                }
                Outcome::Rejected(reason) => got.push(Expect::Rejected(reason)),
            }
        }
        assert!(rest.is_empty(), "{name}: bytes left");
        assert_eq!(got, file.expect, "{name}");
        if let Some(expected) = file.skipped {
            assert_eq!(skipped, expected, "{name}: bytes skipped");
        }
    }
}

/// The same bytes one at a time, as a slow port gives them, come to the same.
#[test]
fn frames_may_come_byte_by_byte() {
    for (name, file) in files() {
        let mut driver = (driver(&file.driver).expect(&name).start)(MeterId(0));
        let mut outcomes = Vec::new();
        for byte in &file.bytes {
            let pushed = driver.push(std::slice::from_ref(byte), Micros(0));
            match pushed.outcome {
                Outcome::Hungry => {}
                Outcome::Got(r) => outcomes.push(Expect::Showing(Showing {
                    function: r.function,
                    shown: r.shown,
                    flags: r.flags,
                })),
                Outcome::Rejected(reason) => outcomes.push(Expect::Rejected(reason)),
            }
        }
        assert_eq!(outcomes, file.expect, "{name}");
    }
}

/// No reason exists that no file shows, and every driver has good and bad frames on file.
#[test]
fn the_files_cover_every_reason_and_driver() {
    let files = files();
    let shown: BTreeSet<&str> = files
        .iter()
        .flat_map(|(_, file)| &file.expect)
        .filter_map(|expect| match expect {
            Expect::Rejected(reason) => Some(reason.name()),
            Expect::Showing(_) => None,
        })
        .collect();
    let all: BTreeSet<&str> = Reason::ALL.iter().map(|r| r.name()).collect();
    assert_eq!(shown, all);
    for entry in drivers() {
        let of = |good: bool| {
            files
                .iter()
                .filter(|(_, file)| file.driver == entry.name)
                .flat_map(|(_, file)| &file.expect)
                .filter(|expect| matches!(expect, Expect::Showing(_)) == good)
                .count()
        };
        assert!(of(true) >= 5 && of(false) >= 5, "{}", entry.name);
    }
}
