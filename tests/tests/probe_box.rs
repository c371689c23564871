//! The probe box end to end: its firmware under QEMU, its link on a pseudo-terminal that the
//! ordinary serial driver and the command line read.

use std::path::Path;

use ohmtrail_circuit::bench::Bench;
use ohmtrail_circuit::meter::Ideal;
use ohmtrail_circuit::sheet::read_builtin;
use ohmtrail_circuit::unit::Circuit;
use ohmtrail_core::reading::Function;
use ohmtrail_link::message::Light;
use ohmtrail_tests::cli::{Ran, ohmtrail};
use ohmtrail_tests::probe_box::{QemuBox, isolate};
use ohmtrail_visit::{Book, SheetBundle};
use serde_json::Value;

const SHEET: &str = "split-cooling-1ph";

fn run(args: &[&str]) -> Ran {
    ohmtrail().args(args).output().expect("it starts").into()
}

fn on(running: &QemuBox) -> String {
    running.pty().display().to_string()
}

fn load(running: &QemuBox, more: &[&str]) -> Value {
    let port = on(running);
    let mut args = vec!["--json", "box", "load", "--port", &port];
    args.extend(more);
    let ran = run(&args);
    assert_eq!(ran.code, 0, "{}", ran.err);
    serde_json::from_str(&ran.out).expect("a document")
}

fn collect(running: &QemuBox, log: &Path) -> Vec<Value> {
    let port = on(running);
    let into = log.display().to_string();
    let ran = run(&["--json", "box", "log", "--port", &port, "--into", &into]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    let lines = ran.out.lines().map(serde_json::from_str);
    lines.collect::<Result<_, _>>().expect("lines of JSON")
}

fn numbers(log: &Path) -> Vec<u64> {
    let text = std::fs::read_to_string(log).expect("the log");
    text.lines()
        .map(|line| {
            let value: Value = serde_json::from_str(line).expect("a line of JSON");
            value["number"].as_u64().expect("a number")
        })
        .collect()
}

/// The box by itself and a host each isolate the same units, and name the same faults.
#[test]
fn the_box_alone_and_the_host_name_the_same_fault() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut running = QemuBox::start(folder.path());
    let told = load(&running, &["--sheet", SHEET]);
    let sheet = read_builtin(SHEET)
        .expect("a built-in sheet")
        .expect("it is sound");
    let bundle = SheetBundle::new(sheet).expect("it compiles");
    let book = Book::new(&bundle).expect("it opens");
    let circuit = Circuit::new(&bundle.sheet);
    let log = folder.path().join("log");
    for name in [
        "run-cap.herm-open",
        "contactor.coil-open",
        "run-cap.fan-open",
    ] {
        let fault = bundle
            .sheet
            .fault(name)
            .unwrap_or_else(|| panic!("no fault {name}"));
        let mut bench = Bench::new(&circuit, 1, &[fault]);
        running.press(5);
        let walked = isolate(&mut running, &mut bench, &book.plan());
        let found = usize::from(walked.number)
            .checked_sub(1)
            .and_then(|n| bundle.sheet.faults.get(n))
            .map(|f| f.name.as_str());
        assert_eq!(
            (walked.light, found),
            (Light::Found, Some(name)),
            "{walked:?}"
        );
        let host = run(&["--json", "demo", "--sheet", SHEET, "--fault", name]);
        assert_eq!(host.code, 0, "{}", host.err);
        assert!(host.out.contains(name), "{name}: {}", host.out);
        // The lights told it; the log says the same.
        let items = collect(&running, &log);
        let kept = items
            .iter()
            .rev()
            .find_map(|i| i["item"]["what"]["Found"]["faults"].as_array());
        let kept = kept.expect("the finding is kept");
        assert_eq!(kept.first().and_then(Value::as_u64), Some(fault as u64));
        let on_card = told["card"].as_array().expect("a card").iter().any(|line| {
            line["fault"] == true
                && line["number"] == u64::from(walked.number)
                && line["words"].as_str().is_some_and(|w| w.contains(name))
        });
        assert!(on_card, "the card names fault {}", walked.number);
    }
    let kept = numbers(&log);
    assert_eq!(kept, (1..=kept.len() as u64).collect::<Vec<_>>());
}

/// The ordinary serial driver reads the box as a meter.
#[test]
fn the_box_is_a_meter_for_the_serial_driver() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut running = QemuBox::start(folder.path());
    let meter = format!("serial:{},frame=probe-box,function=ohms", on(&running));
    let watch = std::thread::spawn(move || {
        run(&[
            "--json", "meters", "watch", "--meter", &meter, "--count", "5",
        ])
    });
    while !watch.is_finished() {
        running.hold(Ideal::Value(0.7), 1);
        std::thread::sleep(std::time::Duration::from_millis(20));
    }
    let ran = watch.join().expect("it ran");
    assert_eq!(ran.code, 0, "{}", ran.err);
    assert_eq!(running.function, Function::Ohms);
    assert!(ran.out.contains("0.70"), "digits as scaled: {}", ran.out);
}

/// A part's test, walked by hand: a capacitor within and below its marking.
#[test]
fn a_capacitor_is_tested_without_a_host() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut running = QemuBox::start(folder.path());
    load(&running, &["--test", "capacitor:45:6"]);
    for (farads, expected) in [
        (44.8e-6, Light::Pass),
        (31.0e-6, Light::Fail),
        (42.4e-6, Light::Unsure),
    ] {
        running.press(5);
        for _ in 0..200 {
            let value = match running.light {
                (Light::Step, 1 | 3) => None,
                (Light::Step, 2) => Some(Ideal::Value(120.0)),
                (Light::Step, 40) => Some(Ideal::Value(0.02)),
                (Light::Step, 60) => Some(Ideal::Value(farads)),
                (Light::Step, other) => panic!("step {other}"),
                _ => {
                    running.hold(Ideal::Value(0.0), 30);
                    continue;
                }
            };
            let measures = running.light.1 == 60;
            running.press(0);
            if let Some(ideal) = value {
                running.hold(ideal, 14);
            }
            if measures {
                break;
            }
        }
        // The verdict stands until something else is begun.
        running.hold(Ideal::Value(0.0), 40);
        assert_eq!(running.light.0, expected, "{farads}");
    }
}

/// The emulator is killed at random moments while it keeps things, and the log is collected in
/// between: nothing that was collected comes twice, and nothing is missing.
#[test]
fn killed_in_the_middle_it_loses_and_doubles_nothing() {
    let folder = tempfile::tempdir().expect("a folder");
    let log = folder.path().join("log");
    let mut running = QemuBox::start(folder.path());
    load(&running, &["--test", "capacitor:45:6"]);
    let mut kept = 0;
    for round in 0..12_u64 {
        for _ in 0..5 {
            running.press(5);
            running.press(0);
            running.press(3);
        }
        kept += 15;
        // Cut somewhere in the next items.
        running.hold_on(Ideal::Value(0.0), 3 + (round as usize * 7) % 11);
        running.cut();
        running = QemuBox::start(folder.path());
        if round % 3 == 2 {
            collect(&running, &log);
            assert_eq!(numbers(&log), (1..=kept).collect::<Vec<_>>());
        }
    }
    let ran = run(&["--json", "box", "selftest", "--port", &on(&running)]);
    assert_eq!(ran.code, 0, "{}{}", ran.out, ran.err);
}

/// A box with nothing loaded begins nothing, and says so.
#[test]
fn a_box_without_a_load_says_so() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut running = QemuBox::start(folder.path());
    running.press(5);
    assert_eq!(running.light, (Light::Wait, 0));
    let ran = run(&["--json", "box", "status", "--port", &on(&running)]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    let status: Value = serde_json::from_str(&ran.out).expect("a document");
    assert_eq!(status["status"]["load"], Value::Null);
}
