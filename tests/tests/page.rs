//! The page in a real browser: a whole visit on a simulated unit, with two simulated meters on their
//! ports. The script in `tests/browser` sees what a technician sees and touches what they touch; the hands
//! on the unit, and the daemon's power cord, are here.

use std::collections::BTreeSet;
use std::time::Duration;

use ohmtrail_circuit::sheet::read_builtin;
use ohmtrail_circuit::unit::Circuit;
use ohmtrail_core::reading::Function;
use ohmtrail_tests::browser::Script;
use ohmtrail_tests::client::{Daemon, PATIENCE};
use ohmtrail_tests::technician::{Technician, which};
use ohmtrail_tests::truck::Truck;
use ohmtrail_tests::years;
use ohmtrail_words::Tongue;
use serde_json::{Value, json};

const SHEET: &str = "split-heat-pump-1ph";
const FRAME_EVERY: Duration = Duration::from_millis(50);
/// The most touches that a visit may take besides the confirmations of safety.
const TOUCHES: u64 = 25;

/// Lets a script do a visit to a unit with that fault; gives what it says at its end.
fn visit(script: &str, told: Value, fault: &str, truck: &mut Truck) -> Value {
    let sheet = read_builtin(SHEET).expect("built in").expect("sound");
    let circuit = Circuit::new(&sheet);
    let fault = sheet.fault(fault).expect("a fault of the sheet");
    let mut technician = Technician::new(&circuit, 7, &[fault]);
    let mut told = told;
    told["base"] = json!(truck.daemon().base);
    told["sheet"] = json!(SHEET);
    told["complaint"] = json!(technician.complaint());
    let mut script = Script::start(script, &told);
    let (mut ended, mut long) = (Value::Null, None);
    while let Some(said) = script.says() {
        let text = |key: &str| said[key].as_str().unwrap_or_default();
        let answer = match text("hand") {
            "look" => json!(technician.look(text("what")).expect("a look of the sheet")),
            "act" => {
                let ends: Vec<String> = serde_json::from_value(said["ends"].clone()).expect("ends");
                technician.act(text("act"), &ends);
                Value::Null
            }
            "known-source" => {
                truck.meters[0]
                    .set(Function::VoltsAc, 240.0)
                    .expect("shown");
                Value::Null
            }
            "probe" => {
                let function = Function::by_name(text("function")).expect("known");
                let points: [String; 2] =
                    serde_json::from_value(said["points"].clone()).expect("points");
                let value = technician.value(function, &points);
                let which = which(function);
                truck.meters[which].set(function, value).expect("shown");
                json!(format!("meter-{}", which + 1))
            }
            "air" => {
                truck.air();
                Value::Null
            }
            "kill" => {
                truck.kill();
                Value::Null
            }
            "start" => {
                truck.start();
                Value::Null
            }
            "open" => {
                let visit = truck
                    .daemon()
                    .open(SHEET, &technician.complaint(), &json!([]));
                let path = visit.trim_start_matches("/api/v1").to_owned();
                long = Some(visit);
                json!(path)
            }
            "thousand" => {
                let visit = long.as_deref().expect("it is open");
                json!([truck.thousand_takes(visit)])
            }
            "ended" => {
                ended = said;
                continue;
            }
            other => panic!("{other} in {said}"),
        };
        script.tell(&answer);
    }
    ended
}

/// Words that English says to people and Spanish does not, by the catalogues.
fn only_english() -> BTreeSet<String> {
    let words = |text: &str| -> BTreeSet<String> {
        let letters = |c: char| !c.is_alphabetic();
        let long = text.split(letters).filter(|w| w.chars().count() > 2);
        long.map(str::to_lowercase).collect()
    };
    let all = |tongue| -> BTreeSet<String> {
        ohmtrail_words::said_in(tongue)
            .flat_map(|text| words(&text))
            .collect()
    };
    let english: BTreeSet<String> = all(Tongue::English);
    let mut only: BTreeSet<String> = english.difference(&all(Tongue::Spanish)).cloned().collect();
    // The symbol of a unit is the same in every language (BIPM, The International System of Units, table 8).
    only.remove("bar");
    assert!(only.len() > 500 && only.contains("the"), "{}", only.len());
    only
}

/// A whole visit at that size of a screen, until the tag hangs.
fn whole_visit(width: u32, height: u32, language: &str, fault: &str) {
    let mut truck = Truck::new(FRAME_EVERY);
    truck.air();
    let foreign = match Tongue::of_tag(language) {
        Some(Tongue::Spanish) => only_english(),
        _ => BTreeSet::new(),
    };
    let told = json!({
        "width": width, "height": height, "language": language, "foreign": foreign,
    });
    let ended = visit("visit.mjs", told, fault, &mut truck);
    println!("{ended}");
    let touches = ended["touches"].as_u64().expect("counted");
    assert!(touches > 5 && touches <= TOUCHES, "{ended}");
    assert!(ended["states"].as_u64().expect("counted") > 15, "{ended}");
    // What the page showed is what the trail holds.
    let id = ended["visit"].as_str().expect("a name");
    let daemon = truck.daemon();
    let view = daemon.get(&format!("/api/v1/visits/{id}")).good();
    assert_eq!(view["closed"], true);
    assert_eq!(view["finding"]["faults"], json!([fault]));
    let takes = view["takes"].as_array().expect("takes");
    let struck: Vec<&Value> = takes.iter().filter(|t| !t["struck"].is_null()).collect();
    assert_eq!(struck.len(), 1, "struck, and still there");
    assert_eq!(struck[0]["verdict"]["take"], ended["struck"]);
    assert_eq!(view["notes"], json!(["a note by thumb"]));
    // What is back was checked, and nothing else.
    for wire in view["wires"].as_array().expect("wires") {
        assert_eq!(
            wire["checked"] == true,
            wire["back_on"].is_string(),
            "{wire}"
        );
    }
    // The second quote stands, and it is the one that was decided on.
    let quote = daemon.get(&format!("/api/v1/visits/{id}/quote")).good();
    assert_eq!(quote["version"], 2, "{quote}");
    let lines = daemon.get(&format!("/api/v1/visits/{id}/trail.jsonl"));
    let lines = lines.text();
    let decided: Vec<Value> = lines
        .lines()
        .map(|line| serde_json::from_str(line).expect("JSON"))
        .filter(|line: &Value| line["event"] == "decided")
        .collect();
    assert_eq!(decided.len(), 1, "one was refused: {decided:?}");
    let said = &decided[0]["data"];
    let told = [&said["quote"], &said["option"], &said["by"]];
    assert_eq!(told, [&json!(2), &json!("a"), &json!("an invented owner")]);
    assert_ne!(said["means"], "");
    let verified = daemon.get(&format!("/api/v1/visits/{id}/trail/verify"));
    assert_eq!(verified.good()["sound"], true);
}

#[test]
fn a_whole_visit_on_a_phone() {
    whole_visit(390, 844, "en", "run-cap.fan-open");
}

#[test]
fn a_whole_visit_on_a_desktop_in_spanish() {
    whole_visit(1366, 768, "es", "run-cap.herm-open");
}

/// One grey pixel (ISO/IEC 15948).
const PNG: &[u8] = b"\x89PNG\r\n\x1a\n\x00\x00\x00\x0dIHDR\x00\x00\x00\x01\x00\x00\x00\x01\x08\x00\x00\x00\x00:~\x9bU\x00\x00\x00\x0aIDATx\x9cch\x00\x00\x00\x82\x00\x81w\xcdr\xb6\x00\x00\x00\x00IEND\xaeB`\x82";

#[test]
fn the_shell_opens_offline_and_all_beside_a_visit_works() {
    let mut truck = Truck::without_meters();
    let told = json!({
        "width": 360, "height": 740, "language": "en", "png": PNG, "end": "fan-run.1",
        "foreign": only_english(),
    });
    let ended = visit("shell.mjs", told, "run-cap.fan-open", &mut truck);
    println!("{ended}");
    let compressed = ended["compressed"].as_u64().expect("counted");
    assert!(compressed > 2_000 && compressed < 60_000, "{ended}");
}

/// Bounds on sizes, which a slow machine cannot miss; the times are in `cargo xtask bench page`.
#[test]
fn a_visit_of_a_thousand_values_weighs_as_much_as_a_short_one() {
    let mut truck = Truck::without_meters();
    let told = json!({ "width": 390, "height": 844, "language": "en" });
    let ended = visit("long.mjs", told, "run-cap.fan-open", &mut truck);
    let number = |value: &Value| value.as_u64().expect("a number");
    for what in ["bytes", "elements"] {
        let (short, long) = (number(&ended["short"][what]), number(&ended["long"][what]));
        assert!(
            short > 100 && long * 4 < short * 5,
            "{what}: {short}, {long}"
        );
    }
    let short = number(&ended["short"]["elements"]);
    let most = number(&ended["most"]);
    assert!(
        most < short + 50 * 30,
        "a page of the list has {most} elements"
    );
    // Every value once, the latest first.
    let takes = number(&ended["takes"]);
    let numbers: Vec<u64> = serde_json::from_value(ended["numbers"].clone()).expect("numbers");
    assert!(takes >= 1000 && number(&ended["pages"]) >= 20, "{takes}");
    assert_eq!(numbers, (1..=takes).rev().collect::<Vec<_>>());
}

/// The pages over the years, at that size of a screen.
fn over_the_years(width: u32, height: u32, language: &str) -> Value {
    let data = tempfile::tempdir().expect("a folder");
    let folder = data.path().join("visits");
    std::fs::create_dir(&folder).expect("a folder");
    for (number, nth) in (3..6).flat_map(|number| (0..12).map(move |nth| (number, nth))) {
        let path = folder.join(format!("v{number}-{nth:02}.trail"));
        std::fs::write(path, years::visit(number, nth).bytes()).expect("a trail");
    }
    let daemon = Daemon::start(data.path(), &[]);
    let began = std::time::Instant::now();
    while daemon.get("/api/v1/index").good()["updated"].is_null() {
        assert!(began.elapsed() < PATIENCE, "the index is not made");
        std::thread::sleep(FRAME_EVERY);
    }
    let foreign = match Tongue::of_tag(language) {
        Some(Tongue::Spanish) => only_english(),
        _ => BTreeSet::new(),
    };
    let told = json!({
        "base": daemon.base, "sheet": SHEET, "width": width, "height": height, "language": language,
        "foreign": foreign,
    });
    let mut script = Script::start("years.mjs", &told);
    let ended = script.says().expect("it says how it ended");
    assert!(script.says().is_none());
    println!("{ended}");
    assert!(ended["states"].as_u64().expect("counted") >= 10, "{ended}");
    ended
}

#[test]
fn over_the_years_on_a_phone() {
    let ended = over_the_years(390, 844, "en");
    let shut = ended["shut"].as_str().expect("text");
    assert!(shut.contains("run-cap"), "{shut}");
}

#[test]
fn over_the_years_on_a_desktop_in_spanish() {
    let ended = over_the_years(1366, 768, "es");
    let shut = ended["shut"].as_str().expect("text");
    assert!(shut.contains("fall") && shut.contains("run-cap"), "{shut}");
}
