//! docs/isolate.md names its constants with the values of the code, and its dialogue is a real one.

mod docs_blocks;

use std::fs;

use ohmtrail_circuit::compile::Options;
use ohmtrail_tests::cli::workspace;
use serde_json::{Value, json};

const PAGE: &str = "isolate.md";

/// The value of `const NAME: … = VALUE;` in a source file.
fn constant(file: &str, name: &str) -> String {
    let text = fs::read_to_string(workspace().join(file)).unwrap_or_else(|e| panic!("{file}: {e}"));
    let wanted = format!("const {name}:");
    let line = text.lines().find(|l| l.contains(&wanted));
    let line = line.unwrap_or_else(|| panic!("{file} has no {wanted}"));
    let value = line.rsplit_once("= ").map(|(_, v)| v.trim_end_matches(';'));
    value.unwrap_or_else(|| panic!("{line}")).to_owned()
}

#[test]
fn the_constants_are_those_of_the_code() {
    let mut now = String::new();
    let mut rows = 0;
    for line in docs_blocks::block(PAGE, "constants").lines() {
        let cells: Vec<&str> = line.split('|').map(str::trim).collect();
        let [_, name, _, file, what, _] = cells[..] else {
            panic!("{line}");
        };
        if let (Some(name), Some(file)) = (
            name.strip_prefix('`').and_then(|n| n.strip_suffix('`')),
            file.strip_prefix('`').and_then(|f| f.strip_suffix('`')),
        ) {
            let options = Options::default();
            let value = match name {
                "Options::samples" => options.samples.to_string(),
                _ => constant(file, name),
            };
            now.push_str(&format!("| `{name}` | {value} | `{file}` | {what} |\n"));
            rows += 1;
        } else {
            now.push_str(line);
            now.push('\n');
        }
    }
    assert!(rows > 15, "{rows} constants");
    docs_blocks::in_step(PAGE, &[("constants", now)]);
}

/// A technician who knows only what the lists of a sheet say: the board's coil is shorted, and has
/// taken the fuse with it.
struct Technician {
    power: bool,
}

impl Technician {
    /// The answer to an ask.
    fn answer(&mut self, ask: &Value) -> Value {
        let id = &ask["id"];
        match ask["do"].as_str().expect("what to do") {
            "look" => {
                let yes = ask["what"] == "fuse.blown";
                json!({ "id": id, "answer": if yes { "yes" } else { "no" } })
            }
            "act" => {
                self.power &= ask["act"] != "open-breaker";
                json!({ "id": id, "done": true })
            }
            "measure" => {
                let function = ask["function"].as_str().expect("a function");
                let points = [&ask["points"][0], &ask["points"][1]]
                    .map(|p| p.as_str().expect("a point").to_owned());
                assert_eq!(ask["power"], if self.power { "on" } else { "off" });
                let (display, unit) = self.shown(function, &points);
                json!({ "id": id, "display": display, "unit": unit })
            }
            other => panic!("{other}"),
        }
    }

    /// What the meter shows between two points of this board.
    fn shown(&self, function: &str, points: &[String; 2]) -> (&'static str, &'static str) {
        let parts = points.each_ref().map(|p| p.split('.').next().unwrap_or(""));
        match (function, parts) {
            ("volts-ac", ["transformer", "transformer"]) if self.power => {
                if points[0] == "transformer.X1" {
                    ("27.1", "V")
                } else {
                    ("238.2", "V")
                }
            }
            ("volts-ac", ["breaker", "breaker"]) if self.power => ("238.4", "V"),
            ("volts-ac", _) => ("0.0", "V"),
            ("volts-dc", _) => ("0.00", "V"),
            ("ohms", ["leads", _]) => ("0.1", "Ohm"),
            ("ohms", ["fuse", "fuse"]) => ("OL", "Ohm"),
            ("ohms", ["valve", "valve"]) => ("0.8", "Ohm"),
            ("ohms", ["switch", "switch"]) => ("0.1", "Ohm"),
            other => panic!("{other:?}"),
        }
    }
}

/// Holds a whole dialogue on the sheet of docs/sheet.md. Returns the transcript and the finding.
fn hold() -> (Vec<String>, Value) {
    let folder = tempfile::tempdir().expect("a folder");
    let board = folder.path().join("valve-board.toml");
    let text: String = docs_blocks::block("sheet.md", "example")
        .lines()
        .filter(|l| !l.starts_with("```"))
        .map(|l| format!("{l}\n"))
        .collect();
    fs::write(&board, text).expect("the sheet");
    let mut technician = Technician { power: true };
    docs_blocks::dialogue(&board, "fuse-blows", |ask| technician.answer(ask))
}

/// The dialogue of the page is a real one, and finds what is broken.
#[test]
fn a_stranger_finds_the_shorted_coil() {
    let (transcript, finding) = hold();
    assert_eq!(finding["faults"], json!(["valve.shorted"]), "{finding}");
    let consequences = finding["consequences"].to_string();
    assert!(consequences.contains("fuse.blown"), "{consequences}");
    let shown = format!("\n```text\n{}\n```\n\n", transcript.join("\n"));
    docs_blocks::in_step(PAGE, &[("dialogue", shown)]);
}
