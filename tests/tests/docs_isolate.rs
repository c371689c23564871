//! docs/isolate.md names its constants with the values of the code, and its dialogue is a real one.

mod docs_blocks;

use std::fs;
use std::io::{BufRead, BufReader, Write};
use std::process::Stdio;

use ohmtrail_circuit::compile::Options;
use ohmtrail_tests::cli::{ohmtrail, workspace};
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
    transcript: Vec<String>,
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

/// A line as the page shows it: three decimals, and lists cut short.
fn shorter(value: &Value) -> String {
    match value {
        Value::Number(n) if n.is_f64() => {
            let rounded = (n.as_f64().unwrap_or(f64::NAN) * 1e3).round() / 1e3;
            format!("{rounded}")
        }
        Value::Array(items) => {
            let mut shown: Vec<String> = items.iter().map(shorter).collect();
            if items.len() > 2 && items[0].is_object() {
                shown.truncate(2);
                shown.push("…".to_owned());
            }
            format!("[{}]", shown.join(","))
        }
        Value::Object(fields) => {
            let shown: Vec<String> = fields
                .iter()
                .map(|(k, v)| format!("\"{k}\":{}", shorter(v)))
                .collect();
            format!("{{{}}}", shown.join(","))
        }
        other => other.to_string(),
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
    let mut process = ohmtrail()
        .args(["isolate", "--stdio", "--clock", "asked", "--sheet"])
        .arg(&board)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("the binary starts");
    let mut to = process.stdin.take().expect("standard input");
    let from = BufReader::new(process.stdout.take().expect("standard output"));
    let mut technician = Technician {
        power: true,
        transcript: Vec::new(),
    };
    let mut finding = Value::Null;
    let mut say = |line: &Value, transcript: &mut Vec<String>| {
        transcript.push(format!("-> {}", shorter(line)));
        writeln!(to, "{line}").expect("a line in");
    };
    say(
        &json!({ "complaint": "fuse-blows" }),
        &mut technician.transcript,
    );
    // A test for absence of voltage takes many lines that are much alike.
    let mut absence = false;
    for line in from.lines() {
        let line = line.expect("a line out");
        let message: Value = serde_json::from_str(&line).unwrap_or_else(|e| panic!("{e}: {line}"));
        assert!(message["error"].is_null(), "{line}");
        let ask = &message["ask"];
        if !ask.is_null() {
            let why = ask["why"].as_str().expect("a reason");
            absence = why.starts_with("test for absence");
        }
        let told = technician.transcript.len();
        technician
            .transcript
            .push(format!("<- {}", shorter(&message)));
        if !ask.is_null() {
            let answer = technician.answer(ask);
            say(&answer, &mut technician.transcript);
        }
        if absence {
            technician.transcript.truncate(told);
            if technician.transcript.last().is_none_or(|l| l != "…") {
                technician.transcript.push("…".to_owned());
            }
        }
        if message["finding"].is_object() {
            finding = message["finding"].clone();
        }
        if message["left"].is_object() {
            break;
        }
        assert!(technician.transcript.len() < 200, "the dialogue has no end");
    }
    let status = process.wait().expect("it ends");
    assert!(status.success(), "{status}");
    (technician.transcript, finding)
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
