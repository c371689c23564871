//! Properties of the driver for lines of text: hostile bytes, bounded memory, and finding its way
//! back.

use std::path::Path;

use ohmtrail_core::reading::{Decimal, Function, MeterId, Reading, Shown};
use ohmtrail_core::units::Micros;
use ohmtrail_meters::driver::{CannotStart, Driver, HELD, Outcome, Setup, driver};
use ohmtrail_meters::profile::Profile;
use proptest::prelude::*;

fn profile(name: &str) -> Profile {
    let path = format!("{}/tests/profiles/{name}.toml", env!("CARGO_MANIFEST_DIR"));
    Profile::load(Path::new(&path)).unwrap()
}

fn start(profile: &Profile) -> Box<dyn Driver> {
    let setup = Setup {
        profile: Some(profile),
        ..Setup::of(MeterId(2))
    };
    (driver("lines").unwrap().start)(&setup).unwrap()
}

/// Pushes bytes in pieces; gives the readings, and how many bytes were used or skipped.
fn push(driver: &mut dyn Driver, bytes: &[u8], split: usize) -> (Vec<Reading>, usize) {
    let (mut readings, mut decided) = (Vec::new(), 0);
    for piece in bytes.chunks(split) {
        let mut rest = piece;
        loop {
            let pushed = driver.push(rest, Micros(0));
            assert!(pushed.rest.len() <= rest.len());
            rest = pushed.rest;
            decided += pushed.used + pushed.skipped;
            match pushed.outcome {
                Outcome::Hungry => break,
                Outcome::Got(reading) => readings.push(reading),
                Outcome::Rejected(_) => {}
            }
        }
        assert!(rest.is_empty());
    }
    (readings, decided)
}

fn noise() -> impl Strategy<Value = Vec<u8>> {
    let pieces = vec![
        "RES ", "VAC", "1.2", "e-5", " kOhm", "\r\n", "\n", "\r", "; H", "OL", "-", "\u{b5}",
    ];
    prop_oneof![
        prop::collection::vec(any::<u8>(), 0..1500),
        prop::collection::vec(prop::sample::select(pieces), 0..300)
            .prop_map(|pieces| pieces.concat().into_bytes()),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(600) })]

    /// Any bytes in any pieces, then two good lines: the second is read, every byte is accounted
    /// for, and what is held is bounded.
    #[test]
    fn after_any_bytes_the_second_line_is_read(
        noise in prop::collection::vec(noise(), 0..5),
        split in 1..70_usize,
        ohms in 0..100_000_i32,
    ) {
        let profile = profile("box");
        let mut driver = start(&profile);
        let (mut sent, mut decided) = (0, 0);
        for bytes in &noise {
            sent += bytes.len();
            decided += push(driver.as_mut(), bytes, split).1;
            prop_assert!(decided <= sent && sent - decided <= HELD);
        }
        let line = format!("RES 1 Ohm\r\nRES {ohms} Ohm\r\n");
        let (readings, last) = push(driver.as_mut(), line.as_bytes(), split);
        prop_assert_eq!(sent + line.len(), decided + last);
        let last = readings.last().map(|r| (r.function, r.shown));
        prop_assert_eq!(last, Some((Function::Ohms, Shown::Value(Decimal::new(ohms, 0)))));
        prop_assert!(readings.len() <= 2);
    }

    /// No pattern that a profile may hold makes reading slow or panic: the library matches in time
    /// linear in the line, and the line is bounded.
    #[test]
    fn any_pattern_is_refused_or_reads(
        inside in "[a-z0-9.*+?()|\\[\\]\\\\^$ -]{0,30}",
        line in "[ -~]{0,100}",
    ) {
        let text = format!(
            "name = \"x\"\ndriver = \"lines\"\n[lines]\npattern = '{inside}(?<value>.*){inside}'\nfunction = \"ohms\"\nunit = \"Ohm\"\n[[range]]\nfunction = \"ohms\"\npercent = 1.0\ncounts = 1\n"
        );
        if let Ok(profile) = Profile::parse("x.toml", &text) {
            let mut driver = start(&profile);
            push(driver.as_mut(), format!("{line}\n").as_bytes(), 9);
        }
    }
}

#[test]
fn a_box_that_is_asked_is_asked_at_its_pace() {
    let profile = profile("asked");
    let mut driver = start(&profile);
    let mut asked = Vec::new();
    for ms in 0..1_000 {
        if driver.poll(Micros(ms * 1_000)).is_some() {
            asked.push(ms);
        }
    }
    assert_eq!(asked, [0, 200, 400, 600, 800]);
    assert_eq!(driver.wake(), Some(Micros(1_000_000)));
}

#[test]
fn without_a_pattern_it_does_not_start() {
    let start = driver("lines").unwrap().start;
    let error = start(&Setup::of(MeterId(0))).err().unwrap();
    assert_eq!(error, CannotStart::NoTable("lines"));
    assert!(error.to_string().contains("profile=FILE"));
}
