//! The probe box end to end: its firmware under QEMU, its link on a pseudo-terminal that the
//! ordinary serial driver and the command line read.

use std::path::Path;
use std::time::{Duration, Instant};

use ohmtrail_circuit::bench::Bench;
use ohmtrail_circuit::meter::Ideal;
use ohmtrail_circuit::sheet::{BUILTIN, read_builtin};
use ohmtrail_circuit::unit::Circuit;
use ohmtrail_core::reading::Function;
use ohmtrail_link::message::Light;
use ohmtrail_tests::cli::{Ran, ohmtrail, workspace};
use ohmtrail_tests::client::{Daemon, Event, Events, PATIENCE};
use ohmtrail_tests::probe_box::{QemuBox, isolate};
use ohmtrail_tests::technician::Technician;
use ohmtrail_visit::{Book, SheetBundle};
use serde_json::{Value, json};

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

/// Holds a value until the daemon says that it is the take; a display shows several values a second.
fn hold_until_taken(running: &mut QemuBox, ideal: Ideal, events: &Events, ask: &Value) {
    let begun = Instant::now();
    let mut seen = Vec::new();
    loop {
        running.hold(ideal, 1);
        std::thread::sleep(Duration::from_millis(50));
        while let Some(event) = events.ready() {
            assert_ne!(event.kind, "refused", "{event:?}");
            let answers = matches!(event.kind.as_str(), "took" | "acted" | "voided");
            if answers && event.data["data"]["ask"] == ask["id"] {
                return;
            }
            seen.push(event);
        }
        assert!(
            begun.elapsed() < PATIENCE,
            "no take for {ask}; last seen: {:?}",
            seen.iter().rev().take(8).collect::<Vec<_>>()
        );
    }
}

/// The daemon reads the box over its port, and a whole visit is made with nothing but it: every
/// proof, every dead reading and every take comes through the box's front end.
#[test]
fn a_visit_of_the_daemon_reads_everything_with_the_box() {
    const FAULT: &str = "run-cap.herm-open";
    let folder = tempfile::tempdir().expect("a folder");
    let mut running = QemuBox::start(folder.path());
    let meter = format!("box=serial:{},frame=probe-box", on(&running));
    let data = tempfile::tempdir().expect("a folder");
    let daemon = Daemon::start(data.path(), &["--meter".to_owned(), meter]);
    let sheet = read_builtin(SHEET).expect("built in").expect("sound");
    let circuit = Circuit::new(&sheet);
    let fault = sheet.fault(FAULT).expect("a fault of the sheet");
    let mut technician = Technician::new(&circuit, 1, &[fault]);
    let meters = json!([{ "meter": "box", "role": "probes" }]);
    let visit = daemon.open(SHEET, &technician.complaint(), &meters);
    let events = daemon.events(&format!("{visit}/events"), None);
    let is_here = |e: Event| e.kind == "reading" && e.data["meter"] == "box";
    while !events.ready().is_some_and(is_here) {
        running.hold(Ideal::Value(0.0), 1);
    }
    let mut now = daemon.get(&format!("{visit}/now")).good();
    let mut takes = 0;
    for answers in 0.. {
        assert!(answers < 200, "it does not end");
        if now["stage"] == "left" {
            break;
        }
        let ask = now["ask"].clone();
        let path = format!("{visit}/asks/{}", ask["id"]);
        let act = ask["act"].as_str();
        let said = match (ask["do"].as_str(), act) {
            (Some("look"), _) => {
                let what = ask["what"].as_str().expect("what");
                let answer = technician.look(what).expect("a look of the sheet");
                daemon.post(&format!("{path}/look"), &json!({ "answer": answer }))
            }
            (Some("act"), Some(act)) if act != "prove-meter" => {
                let ends: Vec<String> =
                    serde_json::from_value(ask["ends"].clone()).unwrap_or_default();
                technician.act(act, &ends);
                daemon.post(&format!("{path}/done"), &Value::Null)
            }
            _ => {
                let (function, value) = match act {
                    Some(_) => (Function::VoltsAc, 120.0),
                    None => {
                        let name = ask["function"].as_str().expect("a function");
                        let function = Function::by_name(name).expect("known");
                        let points: [String; 2] =
                            serde_json::from_value(ask["points"].clone()).expect("points");
                        (function, technician.value(function, &points))
                    }
                };
                let wanted = json!({ "function": function.name() });
                let set = daemon.put("/api/v1/meters/box/function", &wanted);
                assert_eq!(set.status, 202, "{}", set.text());
                let ideal = shown(value);
                // The probes are on the points, and the front end is what is asked for, before the
                // display is waited for.
                while running.function != function {
                    running.hold(Ideal::Value(0.0), 1);
                }
                running.hold(ideal, 1);
                let meter = json!({ "meter": "box" });
                let watched = daemon.post(&format!("{path}/watch"), &meter).good();
                assert_eq!(watched["now"]["watching"]["meter"], "box", "{watched}");
                takes += 1;
                hold_until_taken(&mut running, ideal, &events, &ask);
                daemon.get(&format!("{visit}/now"))
            }
        };
        now = match said.status {
            409 => daemon.get(&format!("{visit}/now")).good(),
            _ => {
                let good = said.good();
                match good.get("now") {
                    Some(now) if !now.is_null() => now.clone(),
                    _ => good,
                }
            }
        };
    }
    assert!(takes > 20, "{takes} takes by the box");
    let found = daemon.get(&format!("{visit}/finding")).good();
    assert_eq!(found["finding"]["faults"], json!([FAULT]));
    assert_eq!(daemon.stop(), 0);
}

/// Does what the box asks for until the measurement of that number is made; what stands then.
fn walk(running: &mut QemuBox, last: u16, value: impl Fn(u16) -> Ideal) -> Light {
    running.press(5);
    for _ in 0..400 {
        let (light, step) = running.light;
        let held = match (light, step) {
            (Light::Step, 1 | 3) => None,
            (Light::Step, 2) => Some(Ideal::Value(120.0)),
            (Light::Step, 40) => Some(Ideal::Value(0.02)),
            (Light::Step, 60..) => Some(value(step)),
            (Light::Step, other) => panic!("step {other}"),
            _ => {
                running.hold(Ideal::Value(0.0), 30);
                continue;
            }
        };
        running.press(0);
        if let Some(ideal) = held {
            // An overload stands for three seconds.
            running.hold(ideal, if ideal == Ideal::Overload { 34 } else { 14 });
        }
        if light == Light::Step && step == last {
            // The verdict stands until something else is begun.
            running.hold(Ideal::Value(0.0), 40);
            return running.light.0;
        }
    }
    panic!(
        "it does not come to its last measurement: {:?}",
        running.light
    )
}

/// Tests of parts, walked by hand, with no host: the values are invented.
#[test]
fn loose_parts_are_tested_without_a_host() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut running = QemuBox::start(folder.path());
    let capacitors = [
        (44.8e-6, Light::Pass),
        (31.0e-6, Light::Fail),
        (42.4e-6, Light::Unsure),
    ];
    load(&running, &["--test", "capacitor:45:6"]);
    for (farads, expected) in capacitors {
        let light = walk(&mut running, 60, |_| Ideal::Value(farads));
        assert_eq!(light, expected, "{farads} F");
    }

    // The probes together; common to run, common to start, start to run, each with 0.1 ohm of leads.
    let open = f64::INFINITY;
    let windings = [
        ([0.1, 1.0, 3.0, 3.9], Light::Pass),
        ([0.1, 1.0, open, open], Light::Fail),
        ([0.1, open, open, 3.9], Light::Unsure),
        ([0.1, 1.0, 3.0, 5.5], Light::Unsure),
    ];
    load(&running, &["--test", "windings"]);
    for (ohms, expected) in windings {
        let light = walk(&mut running, 63, |step| shown(ohms[usize::from(step) - 60]));
        assert_eq!(light, expected, "{ohms:?}");
    }

    // The coil; the pole as it lies, and pushed in.
    let contactors = [
        ([15.0, open, 0.1], Light::Pass),
        ([open, open, 0.1], Light::Fail),
        ([15.0, 0.1, 0.1], Light::Fail),
        ([15.0, open, open], Light::Fail),
    ];
    load(&running, &["--test", "contactor:12:18:1"]);
    for (ohms, expected) in contactors {
        let light = walk(&mut running, 62, |step| shown(ohms[usize::from(step) - 60]));
        assert_eq!(light, expected, "{ohms:?}");
    }

    // Degrees, then ohms. At 0 degrees 10 000 exp(3950 (1/273.15 - 1/298.15)) = 33 620 ohm, by the
    // beta equation, worked by hand (IEC 60539-1, from memory).
    let thermistors = [
        ([25.0, 10_000.0], Light::Pass),
        ([0.0, 33_620.0], Light::Pass),
        ([0.0, 10_000.0], Light::Fail),
        ([25.0, open], Light::Fail),
    ];
    load(&running, &["--test", "thermistor:10000:3950:10"]);
    for (values, expected) in thermistors {
        let light = walk(&mut running, 61, |step| {
            shown(values[usize::from(step) - 60])
        });
        assert_eq!(light, expected, "{values:?}");
    }
}

fn shown(value: f64) -> Ideal {
    if value.is_finite() {
        Ideal::Value(value)
    } else {
        Ideal::Overload
    }
}

/// A sheet whose single faults are more than a box has room for is refused with the reason, before
/// anything is sent; docs/probe-box.md names those.
#[test]
fn a_sheet_that_does_not_fit_is_refused_with_the_reason() {
    let page = std::fs::read_to_string(workspace().join("docs/probe-box.md")).expect("the page");
    let begin = page.find("<!-- begin too large -->").expect("marked");
    let end = page.find("<!-- end too large -->").expect("marked");
    let named = &page[begin..end];
    for (name, _) in BUILTIN {
        // One that fits gets as far as the port, which is none.
        let ran = run(&["box", "load", "--port", "/nowhere", "--sheet", name]);
        let fits = ran.code != 3;
        assert_eq!(fits, ran.err.contains("/nowhere"), "{name}: {}", ran.err);
        assert_eq!(!fits, named.contains(&format!("`{name}`")), "{name}");
        if !fits {
            let checked = run(&["--json", "sheet", "check", name]);
            assert_eq!(checked.code, 0, "{name}: {}", checked.err);
            let checked: Value = serde_json::from_str(&checked.out).expect("a document");
            assert_eq!(checked["probe_box"]["fits"], false);
            let why = checked["probe_box"]["why"].as_str().expect("a reason");
            assert!(ran.err.contains(why), "{name}: {}", ran.err);
        }
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
