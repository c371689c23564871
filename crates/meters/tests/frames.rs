//! Frames worked by hand from the maps in docs/meters.md, kept as files in `tests/frames/`: hex
//! or plain text, and what must come of it. The maps are the display chips' public datasheets, from memory.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

use ohmtrail_core::reading::{Decimal, Flags, Function, MeterId, Shown};
use ohmtrail_core::units::Micros;
use ohmtrail_meters::ble::Uuid;
use ohmtrail_meters::driver::{Outcome, Setup, driver, drivers};
use ohmtrail_meters::gatt::lines;
use ohmtrail_meters::profile::Profile;
use ohmtrail_meters::showing::{Reason, Showing};

#[derive(Debug, PartialEq)]
enum Expect {
    Showing(Showing),
    Rejected(Reason),
}

/// A characteristic that only its descriptor tells of.
const PRIVATE: Uuid = Uuid(0x7a2b_0001_9c7e_4f1d_8b3a_5d6e_7f80_9a0b);

/// One thing after another.
enum Step {
    /// The meter sends these bytes.
    Sends(Vec<u8>),
    /// The driver asks exactly this, waiting for as long as it wants to.
    Asks(Vec<u8>),
}

struct FrameFile {
    driver: String,
    profile: Option<Profile>,
    /// The characteristic whose values these are, with its descriptor.
    of: Option<(Uuid, Option<Vec<u8>>)>,
    /// What its volts and amperes are.
    volts: Option<Function>,
    steps: Vec<Step>,
    expect: Vec<Expect>,
    skipped: Option<usize>,
}

fn bytes(hex: &str) -> Vec<u8> {
    let bytes = hex.split(' ').map(|byte| u8::from_str_radix(byte, 16));
    bytes.collect::<Result<_, _>>().expect(hex)
}

/// `\r`, `\n` and plain characters.
fn unescape(text: &str) -> Vec<u8> {
    text.replace("\\r", "\r").replace("\\n", "\n").into_bytes()
}

/// The talk with a bench meter up to its first value.
const READY: [(&str, &str); 2] = [
    ("\n*IDN?\n", "an invented maker,bench meter,0,1.0\n"),
    ("SYST:ERR?\n", "+0,\"No error\"\n"),
];

fn parse(text: &str) -> FrameFile {
    let mut file = FrameFile {
        driver: String::new(),
        profile: None,
        of: None,
        volts: None,
        steps: Vec::new(),
        expect: Vec::new(),
        skipped: None,
    };
    for line in text.lines().filter(|l| !l.starts_with('#')) {
        let (key, value) = line.split_once(": ").expect(line);
        match key {
            "frame" => file.driver = value.to_string(),
            "profile" => {
                let name = format!("{}/tests/profiles/{value}.toml", env!("CARGO_MANIFEST_DIR"));
                file.profile = Some(Profile::load(Path::new(&name)).expect(line));
            }
            "uuid" => {
                let (uuid, told) = value.split_once(' ').unwrap_or((value, ""));
                file.of = Some((uuid.parse().expect(line), None));
                file.volts = Function::by_name(told);
            }
            "format" => file.of = Some((PRIVATE, Some(bytes(value)))),
            // What a transport writes of a value.
            "hex" => file.steps.push(Step::Sends(match &file.of {
                Some((uuid, format)) => {
                    lines::value(*uuid, format.as_deref(), &bytes(value)).into_bytes()
                }
                None => bytes(value),
            })),
            "sends" => file.steps.push(Step::Sends(unescape(value))),
            "asks" => file.steps.push(Step::Asks(unescape(value))),
            "talk" if value == "ready" => {
                for (asks, sends) in READY {
                    file.steps.push(Step::Asks(asks.into()));
                    file.steps.push(Step::Sends(sends.into()));
                }
            }
            "expect" => file.expect.push(expect(value)),
            "skipped" => file.skipped = Some(value.parse().expect(line)),
            _ => panic!("{line}"),
        }
    }
    file
}

/// Goes through the steps; gives what came, and how many bytes were skipped.
fn play(name: &str, file: &FrameFile, meter: MeterId, split: usize) -> (Vec<Expect>, usize) {
    let entry = driver(&file.driver).expect(name);
    let setup = Setup {
        profile: file.profile.as_ref(),
        volts: file.volts,
        ..Setup::of(meter)
    };
    let mut driver = (entry.start)(&setup).expect(name);
    let (mut got, mut skipped) = (Vec::new(), 0);
    let mut now = Micros(1_000);
    for step in &file.steps {
        let bytes = match step {
            Step::Sends(bytes) => bytes,
            Step::Asks(wanted) => {
                now = driver.wake().unwrap_or(now).max(now);
                let asked = driver.poll(now).map(String::from_utf8_lossy);
                assert_eq!(
                    asked.as_deref(),
                    Some(&*String::from_utf8_lossy(wanted)),
                    "{name}"
                );
                continue;
            }
        };
        for piece in bytes.chunks(split) {
            let mut rest = piece;
            loop {
                let pushed = driver.push(rest, now);
                rest = pushed.rest;
                skipped += pushed.skipped;
                match pushed.outcome {
                    Outcome::Hungry => break,
                    Outcome::Got(reading) => {
                        assert_eq!(reading.meter, meter, "{name}");
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
        }
    }
    (got, skipped)
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
        let (got, skipped) = play(&name, &file, MeterId(7), usize::MAX);
        assert_eq!(got, file.expect, "{name}");
        if let Some(expected) = file.skipped {
            assert_eq!(skipped, expected, "{name}: bytes skipped");
        }
    }
}

/// The same bytes a few at a time, as a slow port gives them, come to the same.
#[test]
fn frames_may_come_in_any_pieces() {
    for (name, file) in files() {
        for split in [1, 2, 3, 5, 7] {
            let (got, _) = play(&name, &file, MeterId(0), split);
            assert_eq!(got, file.expect, "{name} in pieces of {split}");
        }
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
