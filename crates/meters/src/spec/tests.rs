//! Specs as they are named, and what is said of those that are not understood.

use super::*;

fn error(text: &str) -> String {
    match text.parse::<Spec>() {
        Ok(spec) => panic!("{text} was understood as {spec:?}"),
        Err(e) => e.to_string(),
    }
}

#[test]
fn specs_name_a_port_a_frame_and_a_profile() {
    let spec = "serial:/dev/ttyUSB0,frame=count14,baud=9600,profile=my.toml"
        .parse()
        .unwrap();
    let Spec::Stream(serial) = spec else {
        panic!("not serial: {spec:?}")
    };
    assert_eq!(serial.place.to_string(), "/dev/ttyUSB0");
    assert_eq!(serial.driver.entry.name, "count14");
    // The speed is the spec's, the rest the frame's own.
    assert_eq!(serial.line().to_string(), "9600 7O1");
    assert_eq!(serial.driver.profile, Some(PathBuf::from("my.toml")));
    let spec = "tcp:[2001:db8::7]:5025,frame=scpi,function=ohms"
        .parse()
        .unwrap();
    let Spec::Stream(tcp) = spec else {
        panic!("not tcp: {spec:?}")
    };
    let (host, port) = ("2001:db8::7".to_owned(), 5025);
    assert_eq!(tcp.place, Place::Tcp { host, port });
    assert_eq!(tcp.driver.function, Some(Function::Ohms));
    assert!(matches!(
        "keyed".parse().unwrap(),
        Spec::Keyed { profile: None }
    ));
    let replay = "replay:visit.trail,pace=fast".parse().unwrap();
    let Spec::Replay { file, pace, driver } = replay else {
        panic!("not replay: {replay:?}")
    };
    assert_eq!((file, pace), (PathBuf::from("visit.trail"), Pace::Fast));
    assert!(driver.is_none());
    let again = "replay:visit.trail,frame=lcd14".parse().unwrap();
    let Spec::Replay {
        driver: Some(driver),
        ..
    } = again
    else {
        panic!("no driver: {again:?}")
    };
    assert_eq!(driver.entry.name, "lcd14");
}

#[test]
fn errors_name_the_setting_and_what_there_is() {
    assert!(error("serial:/dev/ttyUSB0").contains("one of lcd14, ascii14, count14"));
    assert!(error("serial:/dev/x,frame=morse").starts_with("frame=morse: no such frame"));
    assert!(error("serial:,frame=lcd14").contains("path is missing"));
    assert!(error("serial").contains("path is missing"));
    assert!(error("serial:/dev/x,frame=lcd14,baud=fast").starts_with("baud=fast"));
    assert!(error("serial:/dev/x,frame=lcd14,frame=lcd14").contains("given twice"));
    assert!(error("serial:/dev/x,frame=lcd14,parity=odd").contains("`parity=odd`"));
    assert!(error("tcp:bench:5025").contains("one of lcd14"));
    assert!(error("tcp:bench,frame=scpi").contains("a host and a port"));
    assert!(error("tcp:bench:99999,frame=scpi").contains("a host and a port"));
    assert!(error("tcp:bench:5025,frame=scpi,baud=9600").contains("not a setting of tcp"));
    assert!(error("tcp:b:1,frame=scpi,function=volts").contains("volts-ac, volts-dc"));
    assert!(error("tcp:b:1,frame=scpi,function=megohms").contains("cannot ask for megohms"));
    assert!(error("serial:/dev/x,frame=lcd14,function=ohms").contains("set by hand"));
    assert!(error("replay:f,function=ohms").contains("frame= is missing"));
    assert!(error("keyed:x").contains("no such kind of meter"));
    assert!(error("replay:f,pace=slow").contains("original or fast"));
    assert!(error("ble:").contains("path is missing"));
    assert!(error("ble:Meter,baud=9600").contains("not a setting of ble"));
    assert!(error("ble:Meter,characteristic=2b1").contains("is no UUID"));
    assert!(error("ble:Meter,function=ohms").contains("volts-ac"));
    assert!(error("ble:Meter,frame=lcd14,function=ohms").contains("set by hand"));
    assert!(error("").contains("no such kind of meter"));
}

#[test]
fn a_profile_of_another_frame_is_refused() {
    let Spec::Stream(serial) = "serial:/dev/x,frame=lcd14".parse().unwrap() else {
        panic!("not serial")
    };
    let count = Profile::simulated("count14").unwrap();
    let refused = serial
        .driver
        .with_profile(&count)
        .map_err(|e| e.to_string());
    assert_eq!(
        refused.err().as_deref(),
        Some("the spec says frame=lcd14, and the profile is of a meter that sends count14")
    );
}

#[test]
fn a_radio_meter_is_named_by_address_or_name_and_may_describe_itself() {
    let read = |text: &str| match text.parse() {
        Ok(Spec::Stream(spec)) => spec,
        other => panic!("{text}: {other:?}"),
    };
    let spec = read("ble:C0:FF:EE:00:00:01,characteristic=2b18,function=volts-dc");
    assert_eq!(
        spec.place,
        Place::Ble {
            which: "C0:FF:EE:00:00:01".into(),
            characteristic: Some(Uuid::short(0x2B18)),
        }
    );
    assert_eq!(spec.place.to_string(), "ble:C0:FF:EE:00:00:01");
    assert_eq!(spec.driver.entry.name, "gatt");
    assert_eq!(spec.driver.function, Some(Function::VoltsDc));
    assert_eq!(
        read("ble:Bench meter,frame=lcd14").driver.entry.name,
        "lcd14"
    );
    // The profile says what reads it, where the spec does not.
    let count = Profile::simulated("count14").unwrap();
    let driver = read("ble:Bench meter").driver.with_profile(&count);
    assert_eq!(driver.unwrap().entry.name, "count14");
    let other = read("ble:Bench meter,frame=lcd14")
        .driver
        .with_profile(&count);
    assert!(matches!(other, Err(SpecError::OtherFrame { .. })));
}
