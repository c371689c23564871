//! Where there is no way to a meter: what is said, and what to do.

use ohmtrail_bluez_stand_in::{Bus, Characteristic, Meter, Refusal, StandIn};

use super::{ADDRESS, NAME, OHMS, SERVICE, bench, bench_with, by_address, ohmmeter};
use ohmtrail_tests::ble::watching::Watching;

/// What is said of a meter that cannot be opened.
fn refused(bus: &str) -> String {
    let (code, errors) = Watching::meter(bus, &by_address()).end();
    assert_eq!(code, 4, "{errors}");
    assert!(!errors.contains("panicked"), "{errors}");
    errors
}

#[test]
fn no_bus_no_service_no_adapter_and_no_permission_are_told_apart() {
    let gone = refused("unix:path=/nonexistent/bus");
    assert!(gone.contains("systemctl start bluetooth"), "{gone}");
    let bus = Bus::start();
    let empty = refused(&bus.address());
    assert!(empty.contains("systemctl start bluetooth"), "{empty}");
    let service = StandIn::without_adapter(&bus.address());
    let bare = refused(&bus.address());
    assert!(
        bare.contains("no adapter") && bare.contains("rfkill"),
        "{bare}"
    );
    drop(service);
    let service = StandIn::powered_off(&bus.address(), vec![ohmmeter()]);
    let off = refused(&bus.address());
    assert!(
        off.contains("hci0 is off") && off.contains("power on"),
        "{off}"
    );
    assert_eq!(service.look(|now| now.count("Properties.Set")), 0);
    let strict = Bus::forbidding();
    let _service = StandIn::start(&strict.address(), vec![ohmmeter()]);
    let denied = refused(&strict.address());
    assert!(denied.contains("permission denied"), "{denied}");
}

/// A meter that is off: the service may remember it, and still it is not there. The scan is ended.
#[test]
fn a_meter_that_is_not_there_is_not_made_up_from_memory() {
    let (bus, service) = bench();
    service.remember(ADDRESS);
    service.reach(ADDRESS, false);
    let errors = refused(&bus.address());
    assert!(
        errors.contains("not seen") && errors.contains(ADDRESS),
        "{errors}"
    );
    service.look(|now| {
        assert!(now.scanning.is_empty());
        assert_eq!(now.count("Adapter1.StopDiscovery"), 1);
        assert_eq!(now.count("Device1.Connect"), 0);
    });
}

/// The library passes an object over in silence if one of its properties is missing.
#[test]
fn a_meter_that_the_service_knows_in_part_is_not_seen() {
    let (bus, service) = bench();
    service.remember(ADDRESS);
    service.forget(ADDRESS, "LegacyPairing");
    let errors = refused(&bus.address());
    assert!(errors.contains("not seen"), "{errors}");
}

#[test]
fn a_meter_that_wants_to_be_paired_says_so() {
    for (method, name, words) in [
        (
            "Connect",
            "AuthenticationRejected",
            "Authentication Rejected",
        ),
        (
            "StartNotify",
            "Failed",
            "Operation failed with ATT error: 0x05",
        ),
        ("StartNotify", "NotPermitted", "Notify not permitted"),
    ] {
        let (bus, service) = bench();
        service.refuse(method, Refusal::bluez(name, words));
        let errors = refused(&bus.address());
        assert!(
            errors.contains("wants to be paired"),
            "{method} {name}: {errors}"
        );
        assert!(errors.contains("bluetoothctl"), "{errors}");
        service.wait("the link to end", |now| now.linked.is_empty());
    }
}

#[test]
fn a_meter_that_another_program_holds_is_said_to_be_held() {
    let (bus, service) = bench();
    service.refuse(
        "StartNotify",
        Refusal::bluez("NotPermitted", "Notify acquired"),
    );
    let errors = refused(&bus.address());
    assert!(errors.contains("another program holds"), "{errors}");
}

/// Nothing describes itself: the link is ended, and it is said what to do.
#[test]
fn a_meter_that_does_not_describe_itself_says_what_is_missing() {
    let dumb = Characteristic::new(OHMS, &["notify"]);
    let (bus, service) = bench_with(vec![Meter::new(ADDRESS, NAME, SERVICE, vec![dumb])]);
    let errors = refused(&bus.address());
    assert!(
        errors.contains("no characteristic describes itself"),
        "{errors}"
    );
    service.wait("the link to end", |now| now.linked.is_empty());
}

/// Services that never come: it gives up by itself, long before the library would.
#[test]
fn services_that_never_come_are_not_waited_for_for_ever() {
    let (bus, service) = bench();
    service.hold_services(true);
    let errors = refused(&bus.address());
    assert!(
        errors.contains("no answer in time while connecting"),
        "{errors}"
    );
    service.wait("the link to end", |now| now.linked.is_empty());
}
