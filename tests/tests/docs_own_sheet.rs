//! docs/own-sheet.md is a worked example that works: its commands are run, its session is held with
//! a technician on a simulated unit of the sheet that it describes.

mod docs_blocks;

use std::fs;

use ohmtrail_circuit::sheet::read_file;
use ohmtrail_circuit::unit::Circuit;
use ohmtrail_core::reading::Function;
use ohmtrail_tests::cli::sheet;
use ohmtrail_tests::technician::Technician;
use ohmtrail_trail::Displayed;
use serde_json::{Value, json};

const PAGE: &str = "own-sheet.md";
const DRYER: &str = "cellar-dryer.toml";

#[test]
fn the_commands_of_the_page_are_real() {
    let folder = tempfile::tempdir().expect("a folder");
    for name in [DRYER, "cellar-dryer-draft.toml"] {
        fs::copy(sheet(name), folder.path().join(name)).expect("a sheet");
    }
    let examples = docs_blocks::consoles(PAGE, folder.path());
    assert!(examples > 5, "{examples} examples");
    for drawn in ["cellar-dryer.svg", "capacitor.svg"] {
        let svg = fs::read_to_string(folder.path().join(drawn)).expect("drawn");
        assert!(
            svg.starts_with("<svg ") && svg.ends_with("</svg>\n"),
            "{drawn}"
        );
    }
}

/// The parts of the kept sheet that the page shows are those of the sheet.
#[test]
fn the_page_shows_the_kept_sheet() {
    let text = fs::read_to_string(sheet(DRYER)).expect("the sheet");
    let from = text
        .find("[[part]]\nname = \"run-cap\"")
        .expect("the capacitor");
    let to = text.find("[[part]]\nname = \"fan\"").expect("the fan");
    let wire = text.find("[[wire]]\nname = \"fan-start\"").expect("a wire");
    let wires = text.find("[[wire]]\nname = \"hot\"").expect("the next");
    let lift = text
        .find("[[lift]]\nname = \"capacitor\"")
        .expect("a lifted set");
    let lifts = text.find("[[lift]]\nname = \"fan\"").expect("the next");
    let check = text
        .find("[[check]]\nmeasure = \"farads\"")
        .expect("a check");
    let checks = check + text[check + 1..].find("[[check]]").expect("the next") + 1;
    let shown: String = [from..to, wire..wires, lift..lifts, check..checks]
        .into_iter()
        .map(|range| &text[range])
        .collect();
    let block = format!("```toml\n{}\n```\n", shown.trim_end());
    docs_blocks::in_step(PAGE, &[("sheet", block)]);
}

/// What the dialogue is sent for an ask.
fn answer(technician: &mut Technician<'_>, ask: &Value) -> Value {
    let id = &ask["id"];
    let names = |key: &str| -> Vec<String> {
        let list = ask[key].as_array().into_iter().flatten();
        list.filter_map(|v| v.as_str().map(str::to_owned)).collect()
    };
    match ask["do"].as_str().expect("what to do") {
        "look" => {
            let yes = technician.look(ask["what"].as_str().expect("a look"));
            let yes = yes.expect("a look of the sheet");
            json!({ "id": id, "answer": if yes { "yes" } else { "no" } })
        }
        "act" => {
            technician.act(ask["act"].as_str().expect("an act"), &names("ends"));
            json!({ "id": id, "done": true })
        }
        "measure" => {
            let name = ask["function"].as_str().expect("a function");
            let function = Function::by_name(name).expect("a function");
            let points = names("points");
            // The two leads held together, before ohms are read.
            let shown = if points.iter().all(|p| p.starts_with("leads")) {
                return json!({ "id": id, "display": "0.1", "unit": "Ohm" });
            } else {
                let [a, b] = &points[..] else { panic!("{ask}") };
                technician.measure(function, &[a.clone(), b.clone()])
            };
            let shown = Displayed::of(function, shown);
            json!({ "id": id, "display": shown.digits, "unit": shown.unit })
        }
        other => panic!("{other}"),
    }
}

/// The session of the page is a real one, on a unit whose capacitor is open.
#[test]
fn the_session_of_the_page_finds_the_capacitor() {
    let path = sheet(DRYER);
    let dryer = read_file(&path).unwrap_or_else(|e| panic!("{e}"));
    let circuit = Circuit::new(&dryer);
    let open = dryer.fault("run-cap.open").expect("a fault");
    let mut technician = Technician::new(&circuit, 3, &[open]);
    let (transcript, finding) =
        docs_blocks::dialogue(&path, "fan-stopped", |ask| answer(&mut technician, ask));
    assert_eq!(finding["faults"], json!(["run-cap.open"]), "{finding}");
    let shown = format!("\n```text\n{}\n```\n\n", transcript.join("\n"));
    docs_blocks::in_step(PAGE, &[("session", shown)]);
}
