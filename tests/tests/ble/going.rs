//! Coming and going: what is told, how soon, and that the meter is back by itself.

use ohmtrail_bluez_stand_in::{Bus, Refusal, StandIn};
use serde_json::Value;

use super::{ADDRESS, OHMS, bench, by_address, ohmmeter, raw, subscribed};
use ohmtrail_tests::ble::watching::Watching;

fn at(line: &Value) -> f64 {
    line["steady_us"].as_f64().unwrap() / 1e6
}

/// A meter that reads 1.00 ohm.
fn watched(bus: &Bus, service: &StandIn) -> (Watching, f64) {
    let mut watching = Watching::meter(&bus.address(), &by_address());
    subscribed(service);
    service.notify(ADDRESS, OHMS, &raw(100));
    let reading = watching.next("reading", |l| l["display"] == "1.00");
    (watching, at(&reading))
}

/// It reads again, after a gap that is told.
fn back(watching: &mut Watching, service: &StandIn) {
    subscribed(service);
    service.notify(ADDRESS, OHMS, &raw(200));
    let up = watching.link("up");
    assert!(up["words"].as_str().unwrap().contains("after"), "{up}");
    assert_eq!(watching.reading().1, "2.00");
}

#[test]
fn a_link_that_drops_is_told_at_once_and_made_again() {
    let (bus, service) = bench();
    let (mut watching, _) = watched(&bus, &service);
    for _ in 0..3 {
        service.drop_link(ADDRESS);
        let away = watching.link("away");
        assert!(
            away["words"].as_str().unwrap().contains("dropped"),
            "{away}"
        );
        back(&mut watching, &service);
    }
    let (code, errors) = watching.interrupt();
    assert_eq!(code, 0);
    assert!(!errors.contains("panicked"), "{errors}");
}

/// The technician walks to the breaker panel and back. The service remembers the meter meanwhile, and
/// what it remembers is not taken for the meter.
#[test]
fn out_of_reach_and_back() {
    let (bus, service) = bench();
    let (mut watching, last) = watched(&bus, &service);
    service.reach(ADDRESS, false);
    let away = watching.link("away");
    assert!(at(&away) - last < 2.0, "{away}");
    service.wait("a scan", |now| !now.scanning.is_empty());
    let connects = service.look(|now| now.count("Device1.Connect"));
    assert_eq!(connects, 1);
    service.reach(ADDRESS, true);
    back(&mut watching, &service);
}

/// A meter that says nothing is told of, and its link is left alone while it is up.
#[test]
fn a_silent_meter_is_told_of_and_kept() {
    let (bus, service) = bench();
    let (mut watching, last) = watched(&bus, &service);
    let silent = watching.link("silent");
    assert!(
        (1.7..4.0).contains(&(at(&silent) - last)),
        "{silent} after {last}"
    );
    service.notify(ADDRESS, OHMS, &raw(200));
    watching.link("up");
    assert_eq!(watching.reading().1, "2.00");
    assert_eq!(service.look(|now| now.count("Device1.Connect")), 1);
}

/// A service that is restarted says nothing of it: no link drops, nothing comes any more.
#[test]
fn a_service_that_restarts_without_a_word_is_noticed() {
    let (bus, service) = bench();
    let (mut watching, last) = watched(&bus, &service);
    drop(service);
    let service = StandIn::start(&bus.address(), vec![ohmmeter()]);
    let away = watching.link("away");
    assert!(at(&away) - last < 4.0, "{away}");
    back(&mut watching, &service);
}

/// A bus that dies: its streams never end, and the next call on it would hang for half a minute.
#[test]
fn a_bus_that_dies_is_noticed_and_a_new_one_used() {
    let (mut bus, service) = bench();
    let (mut watching, last) = watched(&bus, &service);
    bus.die();
    drop(service);
    let silent = watching.link("silent");
    assert!(at(&silent) - last < 4.0, "{silent}");
    let away = watching.link("away");
    assert!(at(&away) - last < 10.0, "{away}");
    assert!(
        away["words"]
            .as_str()
            .unwrap()
            .contains("no Bluetooth service"),
        "{away}"
    );
    bus.revive();
    let service = StandIn::start(&bus.address(), vec![ohmmeter()]);
    back(&mut watching, &service);
    let (_, errors) = watching.interrupt();
    assert!(!errors.contains("panicked"), "{errors}");
}

/// A bus on which nothing moves any more, though its connections are up.
#[test]
fn a_bus_that_hangs_is_noticed() {
    let (bus, service) = bench();
    let (mut watching, last) = watched(&bus, &service);
    bus.freeze();
    watching.link("silent");
    let away = watching.link("away");
    assert!(at(&away) - last < 10.0, "{away}");
    bus.thaw();
    // The subscription from before the bus hung is still known to the service.
    service.wait("a new subscription", |now| {
        now.count("GattCharacteristic1.StartNotify") >= 2
    });
    back(&mut watching, &service);
}

#[test]
fn an_adapter_that_is_switched_off_is_told_of() {
    let (bus, service) = bench();
    let (mut watching, _) = watched(&bus, &service);
    service.power(false);
    watching.next("away", |l| {
        l["link"] == "away"
            && l["words"]
                .as_str()
                .is_some_and(|w| w.contains("switched off"))
    });
    // It is not switched on behind the user's back.
    assert!(!service.look(|now| {
        now.calls
            .iter()
            .any(|c| c.method == "Properties.Set" && now.count("Device1.Connect") > 1)
    }));
    service.power(true);
    back(&mut watching, &service);
}

/// A link that is refused or drops before its services are known is tried again.
#[test]
fn a_link_that_does_not_come_up_is_tried_again() {
    let (bus, service) = bench();
    let (mut watching, _) = watched(&bus, &service);
    for _ in 0..2 {
        let words = "le-connection-abort-by-local";
        service.refuse("Connect", Refusal::bluez("Failed", words));
    }
    service.drop_link(ADDRESS);
    watching.link("away");
    back(&mut watching, &service);
    assert_eq!(service.look(|now| now.count("Device1.Connect")), 4);
    // The services are kept back, and the link drops meanwhile: it is not waited for in vain.
    service.hold_services(true);
    service.drop_link(ADDRESS);
    service.wait("a link", |now| now.linked.contains(ADDRESS));
    service.drop_link(ADDRESS);
    service.wait("another", |now| now.count("Device1.Connect") >= 6);
    service.hold_services(false);
    back(&mut watching, &service);
}

/// A program that is killed leaves the meter linked; the next one finds it, though it does not
/// advertise.
#[test]
fn a_meter_that_a_killed_program_left_linked_is_found() {
    let (bus, service) = bench();
    let (mut watching, _) = watched(&bus, &service);
    watching.kill();
    service.wait("nobody to listen", |now| !now.is_subscribed());
    assert!(service.look(|now| now.linked.contains(ADDRESS)));
    watched(&bus, &service);
}

/// A link that another program made is shared, and left to it.
#[test]
fn a_link_of_another_program_is_not_ended() {
    let (bus, service) = bench();
    service.link_from_elsewhere(ADDRESS);
    let (mut watching, _) = watched(&bus, &service);
    watching.interrupt();
    service.wait("nobody to listen", |now| !now.is_subscribed());
    service.look(|now| {
        assert_eq!(now.count("Device1.Disconnect"), 0);
        assert!(now.linked.contains(ADDRESS));
    });
}
