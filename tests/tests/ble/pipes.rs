//! A characteristic as a pipe of bytes for the drivers of serial frames.

use std::path::PathBuf;

use ohmtrail_bluez_stand_in::{Characteristic, Meter, StandIn};
use tempfile::TempDir;

use super::{ADDRESS, NAME, bench_with, by_address, subscribed};
use ohmtrail_tests::ble::watching::Watching;

const PIPE: &str = "0000fff1-0000-1000-8000-00805f9b34fb";
const ASK: &str = "0000fff2-0000-1000-8000-00805f9b34fb";
/// 238.4 V AC of an ASCII display chip.
const FRAME: &[u8; 14] = b"+2384 4\x08\0\0\x80\0\r\n";

fn piped() -> Meter {
    let out = Characteristic::new(PIPE, &["notify"]);
    let into = Characteristic::new(ASK, &["write"]);
    let service = "0000fff0-0000-1000-8000-00805f9b34fb";
    Meter::new(ADDRESS, NAME, service, vec![out, into])
}

/// A profile of an invented meter with a pipe.
fn profile(folder: &TempDir, driver: &str) -> PathBuf {
    let file = folder.path().join(format!("{driver}.toml"));
    let text = format!(
        "name = \"invented\"\ndriver = \"{driver}\"\n[ble]\nservice = \"fff0\"\n\
         characteristic = \"fff1\"\nwrite = \"fff2\"\n[[range]]\nfunction = \"volts-ac\"\n\
         percent = 1.0\ncounts = 3\n"
    );
    std::fs::write(&file, text).unwrap();
    file
}

fn watch(bus: &str, folder: &TempDir, driver: &str) -> Watching {
    let profile = profile(folder, driver);
    Watching::meter(
        bus,
        &format!("{},profile={}", by_address(), profile.display()),
    )
}

#[test]
fn notifications_feed_a_serial_decoder_however_they_are_cut() {
    let (bus, service) = bench_with(vec![piped()]);
    let folder = tempfile::tempdir().unwrap();
    let mut watching = watch(&bus.address(), &folder, "ascii14");
    subscribed(&service);
    service.notify(ADDRESS, PIPE, &FRAME[..9]);
    service.notify(ADDRESS, PIPE, &FRAME[9..]);
    let two = [FRAME.as_slice(), FRAME].concat();
    service.notify(ADDRESS, PIPE, &two);
    for _ in 0..3 {
        assert_eq!(watching.reading().1, "238.4");
    }
}

/// The half of a frame that came before the link dropped is not put before what comes after.
#[test]
fn a_link_that_drops_within_a_frame_leaves_no_half_of_it() {
    let (bus, service) = bench_with(vec![piped()]);
    let folder = tempfile::tempdir().unwrap();
    let mut watching = watch(&bus.address(), &folder, "ascii14");
    subscribed(&service);
    service.notify(ADDRESS, PIPE, FRAME);
    assert_eq!(watching.reading().1, "238.4");
    // Its other half would make a frame of what follows: 999.9 V.
    service.notify(ADDRESS, PIPE, b"+9999 4");
    service.drop_link(ADDRESS);
    watching.link("away");
    subscribed(&service);
    service.notify(ADDRESS, PIPE, &FRAME[7..]);
    service.notify(ADDRESS, PIPE, FRAME);
    assert_eq!(watching.reading().1, "238.4");
    let shown = |l: &&serde_json::Value| l["display"] == "999.9";
    assert!(!watching.seen.iter().any(|l| shown(&l)));
}

/// A meter that speaks when asked is asked through its other characteristic.
#[test]
fn questions_are_written() {
    let (bus, service) = bench_with(vec![piped()]);
    let folder = tempfile::tempdir().unwrap();
    let mut watching = watch(&bus.address(), &folder, "scpi");
    subscribed(&service);
    let mut asked = 0;
    let mut answer = |service: &StandIn, question: &str, answer: &str| {
        service.wait(question, |now| now.written.len() > asked);
        let (uuid, bytes) = service.look(|now| now.written[asked].clone());
        asked += 1;
        assert_eq!(uuid, ASK);
        let text = String::from_utf8(bytes).unwrap();
        assert_eq!(text.trim(), question);
        service.notify(ADDRESS, PIPE, answer.as_bytes());
    };
    answer(&service, "*IDN?", "an invented maker,bench meter,0,1.0\n");
    answer(&service, "SYST:ERR?", "+0,\"No error\"\n");
    answer(&service, "FUNC?", "\"VOLT:AC\"\n");
    answer(&service, "READ?", "+2.384E+02\n");
    answer(&service, "FUNC?", "\"VOLT:AC\"\n");
    assert_eq!(watching.reading().0, "volts-ac");
}
