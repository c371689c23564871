//! Finding a meter, and reading it.

use ohmtrail_bluez_stand_in::{Characteristic, Meter};
use ohmtrail_tests::cli::ohmtrail;

use super::{
    ADDRESS, FORMAT, HUNDREDTHS_OF_OHMS, NAME, OHMS, SERVICE, TEMPERATURE, bench, bench_with,
    by_address, ohmmeter, raw, subscribed,
};
use ohmtrail_tests::ble::watching::Watching;

#[test]
fn a_meter_that_describes_itself_is_found_by_address_and_read() {
    let (bus, service) = bench();
    let mut watching = Watching::meter(&bus.address(), &by_address());
    subscribed(&service);
    // The scan was stopped before the link was made, and what was read is what was asked for.
    service.look(|now| {
        assert!(now.scanning.is_empty());
        let order = |method| now.calls.iter().position(|c| c.method == method);
        assert!(order("Adapter1.StopDiscovery") < order("Device1.Connect"));
        assert_eq!(now.count("GattDescriptor1.ReadValue"), 2);
    });
    service.notify(ADDRESS, OHMS, &raw(220));
    assert_eq!(
        watching.reading(),
        ("ohms".into(), "2.20".into(), "Ohm".into())
    );
    service.notify(ADDRESS, OHMS, &raw(-5));
    assert_eq!(watching.reading().1, "-0.05");
    let is_told = |l: &&serde_json::Value| l["link"] == "told";
    let told = watching.seen.iter().find(is_told).expect("it is told of");
    let words = told["words"].as_str().unwrap();
    for part in ["ohms", OHMS, "Winding"] {
        assert!(words.contains(part), "{words}");
    }
    let (code, errors) = watching.interrupt();
    assert_eq!(code, 0, "{errors}");
    // Whoever leaves lets the meter go.
    service.wait("the link to end", |now| now.linked.is_empty());
}

#[test]
fn a_meter_is_found_by_its_name() {
    let (bus, service) = bench();
    let mut watching = Watching::meter(&bus.address(), &format!("ble:{NAME}"));
    subscribed(&service);
    service.notify(ADDRESS, OHMS, &raw(1234));
    assert_eq!(watching.reading().1, "12.34");
}

#[test]
fn of_two_meters_with_one_name_none_is_guessed() {
    let mut other = ohmmeter();
    other.address = "C0:FF:EE:00:00:02".into();
    let (bus, service) = bench_with(vec![ohmmeter(), other]);
    let mut watching = Watching::meter(&bus.address(), &format!("ble:{NAME}"));
    let (code, errors) = watching.end();
    assert_eq!(code, 4, "{errors}");
    assert!(
        errors.contains(ADDRESS) && errors.contains("C0:FF:EE:00:00:02"),
        "{errors}"
    );
    service.look(|now| {
        assert_eq!(now.count("Device1.Connect"), 0);
        assert!(now.scanning.is_empty());
    });
}

/// The service tells of a value that is read as if it were notified; each counts once.
#[test]
fn a_value_that_is_read_counts_once() {
    let polled = Characteristic::new(TEMPERATURE, &["read"]).showing(&2150_i16.to_le_bytes());
    let meter = Meter::new(ADDRESS, NAME, SERVICE, vec![polled]);
    let (bus, service) = bench_with(vec![meter]);
    let spec = by_address();
    let args = [
        "meters", "watch", "--json", "--count", "4", "--meter", &spec,
    ];
    let mut watching = Watching::run(&bus.address(), &args);
    for _ in 0..4 {
        assert_eq!(
            watching.reading(),
            ("celsius".into(), "21.50".into(), "Cel".into())
        );
    }
    let (code, errors) = watching.end();
    assert_eq!(code, 0, "{errors}");
    // Four readings are four reads, and perhaps one more on its way.
    let reads = service.look(|now| now.count("GattCharacteristic1.ReadValue"));
    assert!((4..=5).contains(&reads), "{reads}");
}

/// The library keeps the first characteristic of a UUID in a service: the values of a second one are
/// not taken for those of the first.
#[test]
fn of_two_characteristics_with_one_uuid_the_first_is_read() {
    let one = || Characteristic::new(OHMS, &["notify"]).with(FORMAT, &HUNDREDTHS_OF_OHMS);
    let meter = Meter::new(ADDRESS, NAME, SERVICE, vec![one(), one()]);
    let (bus, service) = bench_with(vec![meter]);
    let mut watching = Watching::meter(&bus.address(), &by_address());
    subscribed(&service);
    let paths: Vec<String> = service.look(|now| {
        let all = now.tree.objects().map(|(path, _)| path.to_owned());
        all.filter(|p| p.contains("/char") && !p.contains("/desc"))
            .collect()
    });
    assert_eq!(paths.len(), 2);
    service.notify_at(&paths[1], &raw(999));
    service.notify_at(&paths[0], &raw(111));
    assert_eq!(watching.reading().1, "1.11");
}

/// Values of two functions come side by side; those of one function from two probes would be taken
/// for one another's, and are refused until one is named.
#[test]
fn two_probes_of_one_function_must_be_named() {
    let second = OHMS.replace("7a2b0001", "7a2b0002");
    let of = |uuid: &str| Characteristic::new(uuid, &["notify"]).with(FORMAT, &HUNDREDTHS_OF_OHMS);
    let meter = Meter::new(ADDRESS, NAME, SERVICE, vec![of(OHMS), of(&second)]);
    let (bus, service) = bench_with(vec![meter]);
    let (code, errors) = Watching::meter(&bus.address(), &by_address()).end();
    assert_eq!(code, 4);
    assert!(
        errors.contains("characteristic=UUID") && errors.contains(&second),
        "{errors}"
    );
    // A link that is being ended would drop under the next program.
    service.wait("the link to end", |now| now.linked.is_empty());
    let spec = format!("{},characteristic={second}", by_address());
    let mut watching = Watching::meter(&bus.address(), &spec);
    subscribed(&service);
    service.notify(ADDRESS, OHMS, &raw(1));
    service.notify(ADDRESS, &second, &raw(2));
    assert_eq!(watching.reading().1, "0.02");
}

/// What comes by radio is kept like what comes over a line, and read again.
#[test]
fn values_are_recorded_and_replayed() {
    let (bus, service) = bench();
    let folder = tempfile::tempdir().unwrap();
    let trail = folder.path().join("radio.trail");
    let name = trail.to_str().unwrap();
    let spec = by_address();
    let args = [
        "meters", "watch", "--json", "--count", "2", "--record", name, "--meter", &spec,
    ];
    let mut watching = Watching::run(&bus.address(), &args);
    subscribed(&service);
    service.notify(ADDRESS, OHMS, &raw(220));
    service.notify(ADDRESS, OHMS, &raw(221));
    assert_eq!(watching.end().0, 0);
    let again = ohmtrail()
        .args(["meters", "watch", "--json", "--meter"])
        .arg(format!("replay:{name},frame=gatt,pace=fast"))
        .output()
        .unwrap();
    let text = String::from_utf8(again.stdout).unwrap();
    assert!(
        text.contains("\"2.20\"") && text.contains("\"2.21\""),
        "{text}"
    );
}

/// What advertises is named, with how to watch it; nothing is connected to.
#[test]
fn what_advertises_is_named() {
    let (bus, service) = bench();
    let mut watching = Watching::run(&bus.address(), &["meters", "watch", "--json"]);
    let place = by_address();
    let line = watching.next("advertiser", |l| l["port"] == place.as_str());
    let words = line["words"].as_str().unwrap();
    assert!(
        words.contains(NAME) && words.contains(&format!("--meter {place}")),
        "{words}"
    );
    watching.end();
    service.look(|now| {
        assert!(now.scanning.is_empty());
        assert_eq!(now.count("Device1.Connect"), 0);
    });
}
