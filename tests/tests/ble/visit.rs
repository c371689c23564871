//! A visit with a meter that goes out of reach in the middle of a take.

use std::time::Duration;

use ohmtrail_bluez_stand_in::{Characteristic, Meter, StandIn};
use ohmtrail_core::reading::{Decimal, Shown};
use ohmtrail_trail::event::Event;
use ohmtrail_trail::{Body, read};
use serde_json::Value;

use super::{ADDRESS, FORMAT, NAME, SERVICE, bench_with, by_address, subscribed};
use ohmtrail_tests::ble::watching::Watching;

const VOLTS: &str = "7a2b0003-9c7e-4f1d-8b3a-5d6e7f809a0b";
/// sint32, 10^-1 V.
const TENTHS_OF_VOLTS: [u8; 7] = [0x10, 0xFF, 0x28, 0x27, 0x01, 0x00, 0x00];

/// What the display shows for 2384 tenths.
const SHOWN: Shown = Shown::Value(Decimal::new(2384, -1));

fn volts(service: &StandIn, tenths: i32) {
    service.notify(ADDRESS, VOLTS, &tenths.to_le_bytes());
}

/// The pace of the meter.
const BETWEEN: Duration = Duration::from_millis(100);

/// Says that the probes are on the points, and waits until that was heard.
fn on_the_points(watching: &mut Watching) {
    watching.say("");
    let waits = |l: &Value| l.as_str().is_some_and(|l| l.contains("stand still"));
    watching.next("wait for the display", waits);
}

/// The take that was waited for is void, the gap is in the trail, and what comes after is no take
/// until the probes are said to be on the points again.
#[test]
fn a_link_that_drops_in_a_take_voids_it_and_leaves_a_gap_in_the_trail() {
    let meter = Meter::new(
        ADDRESS,
        NAME,
        SERVICE,
        vec![Characteristic::new(VOLTS, &["notify"]).with(FORMAT, &TENTHS_OF_VOLTS)],
    );
    let (bus, service) = bench_with(vec![meter]);
    let folder = tempfile::tempdir().unwrap();
    let trail = folder.path().join("visit.trail");
    let spec = format!("{},function=volts-ac", by_address());
    let args = [
        "visit",
        "--json",
        "--complaint",
        "nothing-runs",
        "--meter",
        &spec,
        "--trail",
        trail.to_str().unwrap(),
    ];
    let mut watching = Watching::run(&bus.address(), &args);
    loop {
        let ask = watching.next("ask", |l| l["ask"].is_object())["ask"].clone();
        match ask["do"].as_str() {
            Some("measure") => break,
            Some("look") => watching.say("no"),
            other => panic!("{other:?} before anything is measured: {ask}"),
        }
    }
    subscribed(&service);
    on_the_points(&mut watching);
    volts(&service, 2384);
    service.drop_link(ADDRESS);
    subscribed(&service);
    // Nobody waits any more: these would make a take.
    for _ in 0..25 {
        volts(&service, 2384);
        std::thread::sleep(BETWEEN);
    }
    on_the_points(&mut watching);
    let judged = |l: &Value| l["verdict"].is_object() || l["void"].is_object();
    for _ in 0..300 {
        volts(&service, 2385);
        std::thread::sleep(BETWEEN);
        if watching.so_far().iter().any(judged) {
            break;
        }
    }
    watching.say("quit");
    watching.end();
    let events: Vec<Event> = read(&trail)
        .unwrap()
        .filter_map(|item| match item.unwrap().body {
            Body::Entry(entry) => Some(entry.event),
            _ => None,
        })
        .collect();
    let place = |is: fn(&Event) -> bool| events.iter().position(is);
    let lost =
        place(|e| matches!(e, Event::MeterLost { why, .. } if why.contains("radio link dropped")));
    // The last: the meter's first reading came after a gap, too.
    let back = events
        .iter()
        .rposition(|e| matches!(e, Event::MeterBack { gap_us, .. } if *gap_us > 0));
    let is_take = |e: &Event| matches!(e, Event::Took(_) | Event::Voided { .. });
    let take = place(is_take);
    assert!(lost.is_some() && lost < back && back < take, "{events:#?}");
    assert_eq!(
        events.iter().filter(|e| is_take(e)).count(),
        1,
        "{events:#?}"
    );
    // Readings that stood still came between.
    let between = &events[back.unwrap()..take.unwrap()];
    let streamed = between.iter().map(|e| match e {
        Event::Readings { readings, .. } => readings.iter().filter(|r| r.shown == SHOWN).count(),
        _ => 0,
    });
    assert!(streamed.sum::<usize>() >= 12, "{events:#?}");
    let joined = events.iter().find_map(|e| match e {
        Event::MeterJoined(joined) => Some((joined.driver.as_str(), joined.place.as_str())),
        _ => None,
    });
    assert_eq!(joined, Some(("gatt", spec.split(',').next().unwrap())));
}
