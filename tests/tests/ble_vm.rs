//! The real Bluetooth service in an emulated machine, with a virtual controller and a virtual meter:
//! whether it does what the stand-in does, and the binary's own Bluetooth transport against it.
//!
//! `OHMTRAIL_BLESS=1` keeps what the real service was seen to do, for the stand-in to be held against.

use std::cell::RefCell;
use std::time::{Duration, Instant};

use ohmtrail_tests::ble::facts::{drift, facts, file};
use ohmtrail_tests::ble::machine::{Machine, in_a_machine};
use ohmtrail_tests::ble::served::a_visit;
use ohmtrail_tests::ble::stand_in::Stand;
use ohmtrail_tests::ble::watching::Watching;
use ohmtrail_tests::ble::{ADDRESS, Hands, NAME, TEMPERATURE, VOLTS};
use ohmtrail_tests::cli::binary;
use serde_json::Value;

/// What comes of a step comes within this time, in a machine that is emulated.
const REST: Duration = Duration::from_millis(700);
/// And from the stand-in.
const REST_HERE: Duration = Duration::from_millis(150);

fn shown(words: &str) {
    println!("shown: {words}");
}

/// How long something took, in words.
fn since(began: Instant) -> String {
    format!("{:.1} s", began.elapsed().as_secs_f64())
}

#[test]
#[ignore = "starts an emulated machine: cargo xtask test ble-vm"]
fn the_stand_in_has_not_drifted_from_the_real_service() {
    let seen = RefCell::new(Vec::new());
    in_a_machine(|machine| *seen.borrow_mut() = facts(machine, REST));
    let real = seen.into_inner();
    let file = file();
    if std::env::var_os("OHMTRAIL_BLESS").is_some() {
        std::fs::write(&file, real.join("\n").trim_start().to_owned() + "\n").expect("written");
    }
    let text = std::fs::read_to_string(&file).expect("the facts that are kept");
    let kept: Vec<String> = text.lines().map(str::to_owned).collect();
    let ours = facts(&mut Stand::default(), REST_HERE);
    let stale = drift(("the real service", &real), ("as it is kept", &kept));
    let drifted = drift(("the real service", &real), ("the stand-in", &ours));
    assert!(
        stale.is_empty() && drifted.is_empty(),
        "{} is not what the real service does (OHMTRAIL_BLESS=1 keeps what it does):\n{stale}\n\
         the stand-in does not what the real service does:\n{drifted}",
        file.display()
    );
    let lines = real.iter().filter(|line| !line.is_empty());
    let (steps, seen): (Vec<_>, Vec<_>) = lines.partition(|line| line.starts_with(['#', '>']));
    shown(&format!(
        "{} facts in {} steps are the same of the real service and of the stand-in",
        seen.len(),
        steps.len()
    ));
}

#[test]
#[ignore = "starts an emulated machine: cargo xtask test ble-vm"]
fn the_binary_reads_a_meter_through_the_real_service() {
    // Built before anything is timed.
    let _built = binary();
    in_a_machine(|machine| {
        watched_by_address(machine);
        watched_by_name(machine);
        polled(machine);
        a_visit(machine, &mut shown);
        machine.until_unlinked();
        shown("the daemon's end ends the link");
    });
}

fn at(line: &Value) -> f64 {
    line["steady_us"].as_f64().expect("a time") / 1e6
}

/// When the last value came of those that were seen.
fn last_reading(watching: &Watching) -> f64 {
    let mut all = watching.seen.iter().rev();
    all.find(|l| l["display"].is_string()).map_or(0.0, at)
}

/// `meters watch`: found, read; a link that drops; a service that is restarted as the system does.
fn watched_by_address(machine: &mut Machine) {
    machine.stream(&[2384]);
    let bus = machine.bus();
    let spec = format!("ble:{ADDRESS},characteristic={VOLTS},function=volts-ac");
    let began = Instant::now();
    let mut watching = Watching::meter(&bus, &spec);
    let reading = ("volts-ac".to_owned(), "238.4".to_owned(), "V".to_owned());
    assert_eq!(watching.reading(), reading);
    shown(&format!(
        "meters watch: the first value after {}",
        since(began)
    ));

    let began = Instant::now();
    machine.drop_link();
    let away = watching.link("away");
    let words = away["words"].as_str().unwrap_or_default();
    assert!(words.contains("dropped"), "{away}");
    let after = at(&away) - last_reading(&watching);
    assert!(after < 2.0, "{after} s: {away}");
    watching.link("up");
    assert_eq!(watching.reading(), reading);
    shown(&format!(
        "meters watch: a link that drops is told of {after:.2} s after the last value, and made \
         again after {}",
        since(began)
    ));

    let began = Instant::now();
    machine.stop();
    let is_down = |l: &Value| l["link"] == "away" || l["link"] == "silent";
    let down = watching.next("end of the link", is_down);
    let after = at(&down) - last_reading(&watching);
    assert!(after < 4.0, "{after} s: {down}");
    machine.start();
    watching.link("up");
    assert_eq!(watching.reading(), reading);
    shown(&format!(
        "meters watch: a service that is stopped is told of {after:.2} s after the last value, and \
         the meter read again {} later, when it was started",
        since(began)
    ));
    let (code, errors) = watching.interrupt();
    assert_eq!(code, 0, "{errors}");
    assert!(!errors.contains("panicked"), "{errors}");
    machine.until_unlinked();
}

fn watched_by_name(machine: &mut Machine) {
    let spec = format!("ble:{NAME},characteristic={VOLTS},function=volts-ac");
    let mut watching = Watching::meter(&machine.bus(), &spec);
    assert_eq!(watching.reading().1, "238.4");
    watching.interrupt();
    shown("meters watch: the meter is found by its name, too");
}

/// What the service tells of a read is not taken for a value of its own.
fn polled(machine: &mut Machine) {
    let spec = format!("ble:{ADDRESS},characteristic={TEMPERATURE}");
    let args = [
        "meters", "watch", "--json", "--count", "4", "--meter", &spec,
    ];
    let mut watching = Watching::run(&machine.bus(), &args);
    let mut times = Vec::new();
    for _ in 0..4 {
        let line = watching.next("reading", |l| l["display"].is_string());
        assert_eq!(line["display"], "21.50");
        times.push(line["steady_us"].as_u64().expect("a time"));
    }
    assert_eq!(watching.end().0, 0);
    // Twice a value would be two at one time.
    let gaps: Vec<u64> = times.windows(2).map(|pair| pair[1] - pair[0]).collect();
    assert!(gaps.iter().all(|gap| *gap > 100_000), "{gaps:?}");
    shown("meters watch: a value that is read counts once");
}
