//! A repair over HTTP, begun from the visit that found what failed: by the API, and by the page's form.

use ohmtrail_circuit::sheet::read_builtin;
use ohmtrail_circuit::unit::Circuit;
use ohmtrail_core::reading::Function;
use ohmtrail_tests::client::Daemon;
use ohmtrail_tests::technician::Technician;
use ohmtrail_trail::Displayed;
use serde_json::{Value, json};

const SHEET: &str = "split-heat-pump-1ph";
const FAULT: &str = "run-cap.fan-open";
/// The head of a JPEG: enough to be known by its contents, and kept as it is.
const PHOTO: [u8; 8] = [0xff, 0xd8, 0xff, 0xe0, 0, 4, 0, 0];
const SEED: u64 = 2;

/// Answers asks from a simulated unit, every value typed.
struct Hands<'c> {
    daemon: &'c Daemon,
    visit: String,
    technician: Technician<'c>,
}

impl Hands<'_> {
    /// To where the unit is left.
    fn run(&mut self) {
        for _ in 0..300 {
            let now = self.daemon.get(&format!("{}/now", self.visit)).good();
            if now["stage"] == "left" {
                return;
            }
            if now["waiting"].is_null() {
                self.answer(&now["ask"]);
                continue;
            }
            // Before the start, by the wall clock: the proofs under power are those of the demo.
            let why = now["waiting"]["why"].as_str().expect("why");
            assert!(why.contains("rests about 5 minutes"), "{now}");
            let leave = json!({ "why": "called away (invented)" });
            let _ = self
                .daemon
                .post(&format!("{}/leave", self.visit), &leave)
                .good();
        }
        panic!("it does not end");
    }

    fn answer(&mut self, ask: &Value) {
        let path = format!("{}/asks/{}", self.visit, ask["id"]);
        let (way, body) = match ask["do"].as_str() {
            Some("look") => {
                let what = ask["what"].as_str().expect("what");
                let answer = self.technician.look(what).expect("a look of the sheet");
                ("look", json!({ "answer": answer }))
            }
            Some("act") => match ask["act"].as_str().expect("an act") {
                "prove-meter" => {
                    let proof = json!({ "display": "240.1", "unit": "V", "function": "volts-ac" });
                    ("display", proof)
                }
                "fit" => {
                    self.stamp(ask["what"].as_str().expect("a part"));
                    ("done", Value::Null)
                }
                act => {
                    let ends: Vec<String> =
                        serde_json::from_value(ask["ends"].clone()).unwrap_or_default();
                    self.technician.act(act, &ends);
                    ("done", Value::Null)
                }
            },
            Some("measure") => {
                let name = ask["function"].as_str().expect("a function");
                let function = Function::by_name(name).expect("known");
                let points = serde_json::from_value(ask["points"].clone()).expect("points");
                let shown = if ask["hold"].is_null() {
                    self.technician.measure(function, &points)
                } else {
                    self.technician.held(function, &points)
                };
                let shown = Displayed::of(function, shown);
                (
                    "display",
                    json!({ "display": shown.digits, "unit": shown.unit }),
                )
            }
            other => panic!("asked to {other:?}"),
        };
        let said = self.daemon.post(&format!("{path}/{way}"), &body);
        // An ask may have been withdrawn while it was answered, as when its gate shuts.
        if said.status == 409 {
            assert_eq!(said.problem(409), "ask-not-open");
        } else {
            let _ = said.good();
        }
    }

    /// What is stamped on an invented new capacitor.
    fn stamp(&self, part: &str) {
        for (key, value, unit) in [
            ("capacitance-herm", "35", "uF"),
            ("capacitance-fan", "5", "uF"),
            ("tolerance", "6", "%"),
            ("rated-volts", "440", "V"),
            ("duty", "run", ""),
        ] {
            let plate = json!({ "part": part, "key": key, "value": value, "unit": unit });
            let said = self.daemon.post(&format!("{}/plates", self.visit), &plate);
            let _ = said.good();
        }
    }
}

/// The visit that found what failed, up to where its unit is left; the first wire end that came off was
/// photographed.
fn found<'c>(daemon: &'c Daemon, circuit: &'c Circuit<'c>) -> Hands<'c> {
    let fault = circuit.sheet.fault(FAULT).expect("a fault of the sheet");
    let technician = Technician::new(circuit, SEED, &[fault]);
    let visit = daemon.open(SHEET, &technician.complaint(), &json!([]));
    let mut hands = Hands {
        daemon,
        visit,
        technician,
    };
    hands.run();
    let view = daemon.get(&hands.visit).good();
    assert_eq!(view["finding"]["faults"], json!([FAULT]));
    hands
}

#[test]
fn a_repair_over_http_goes_to_its_end() {
    let data = tempfile::tempdir().expect("a folder");
    let daemon = Daemon::start(data.path(), &[]);
    let sheet = read_builtin(SHEET).expect("built in").expect("sound");
    let circuit = Circuit::new(&sheet);
    let before = found(&daemon, &circuit);
    let begin = format!("{}/repair", before.visit);
    let who = json!({ "technician": "another invented technician" });

    // It goes on; and what a visit does not have cannot be fitted.
    let early = daemon.post(&begin, &who);
    assert_eq!(early.problem(409), "nothing-to-repair");
    let _ = daemon
        .post(&format!("{}/close", before.visit), &Value::Null)
        .good();
    let odd = daemon.post(&begin, &json!({ "fit": ["flux-capacitor"] }));
    assert_eq!(odd.status, 422, "{}", odd.text());
    assert!(odd.text().contains("flux-capacitor"), "{}", odd.text());
    let visits = daemon.get("/api/v1/visits").good();
    assert_eq!(visits["visits"].as_array().map(Vec::len), Some(1));

    let begun = daemon.post(&begin, &who);
    assert_eq!(begun.status, 201, "{}", begun.text());
    let begun = begun.json();
    let earlier = daemon.get(&before.visit).good();
    assert_eq!(begun["previous"], earlier["head"]);
    assert_eq!(begun["unit"], earlier["unit"]);
    assert_eq!(begun["simulated"], true);
    assert_eq!(begun["now"]["stage"], "repairing");
    let lifted: Vec<String> = serde_json::from_value(begun["lifted"].clone()).expect("wire ends");
    assert!(!lifted.is_empty());

    let mut technician = Technician::new(&circuit, SEED, &[]);
    technician.act("open-breaker", &[]);
    technician.act("lift", &lifted);
    let id = begun["id"].as_str().expect("a name");
    let mut hands = Hands {
        daemon: &daemon,
        visit: format!("/api/v1/visits/{id}"),
        technician,
    };
    hands.run();
    let view = daemon.get(&hands.visit).good();
    let left = &view["left"];
    assert_eq!(
        (&left["power"], &left["locked"]),
        (&json!("off"), &json!(true))
    );
    assert!(
        view["lifted"].as_array().is_some_and(Vec::is_empty),
        "{view}"
    );
    let _ = daemon
        .post(&format!("{}/close", hands.visit), &Value::Null)
        .good();
    let write_up = daemon.get(&format!("{}/write-up", hands.visit));
    for said in ["replaced by one that matches", "called away (invented)"] {
        assert!(write_up.text().contains(said), "{}", write_up.text());
    }
    // A repair is repaired by no other.
    let again = daemon.post(&format!("{}/repair", hands.visit), &who);
    assert_eq!(again.problem(409), "nothing-to-repair");
    assert_eq!(daemon.stop(), 0);
}

#[test]
fn the_page_begins_a_repair_with_its_wires_photographs() {
    let data = tempfile::tempdir().expect("a folder");
    let daemon = Daemon::start(data.path(), &[]);
    let sheet = read_builtin(SHEET).expect("built in").expect("sound");
    let circuit = Circuit::new(&sheet);
    let before = found(&daemon, &circuit);
    let photos = format!("{}/photos?location=keep", before.visit);
    let kept = daemon.post_bytes(&photos, "image/jpeg", &PHOTO);
    let hash = kept.good()["hash"].as_str().expect("a hash").to_owned();
    let view = daemon.get(&before.visit).good();
    let end = view["lifted"][0].as_str().expect("an end that is off");
    let noted = daemon.post(
        &format!("{}/wires/{end}/lifted", before.visit),
        &json!({ "mark": "red (invented)", "photo": hash }),
    );
    let _ = noted.good();
    let _ = daemon
        .post(&format!("{}/close", before.visit), &Value::Null)
        .good();
    let page = before.visit.replace("/api/v1", "");
    let ended = daemon.get(&page);
    assert!(
        ended.text().contains(&format!("{page}/repair")),
        "{}",
        ended.text()
    );
    let form = daemon.get(&format!("{page}/repair"));
    assert_eq!(form.status, 200);
    let named = r#"name="fit" value="run-cap" checked"#;
    assert!(form.text().contains(named), "{}", form.text());
    // Nothing chosen: it says so, in the form.
    let none = daemon.post_bytes(
        &format!("{page}/repair"),
        "application/x-www-form-urlencoded",
        b"technician=another",
    );
    assert_eq!(none.status, 422);
    assert!(none.text().contains("no part is chosen"), "{}", none.text());
    let begun = daemon.post_bytes(
        &format!("{page}/repair"),
        "application/x-www-form-urlencoded",
        b"fit=run-cap&technician=another+invented+technician",
    );
    assert!(begun.status < 400, "{}: {}", begun.status, begun.text());
    let visits = daemon.get("/api/v1/visits").good();
    let repair = visits["visits"][0]["id"]
        .as_str()
        .expect("the latest")
        .to_owned();
    assert_ne!(format!("/visits/{repair}"), page);
    let wires = daemon.get(&format!("/visits/{repair}/wires"));
    assert!(wires.text().contains("red (invented)"), "{}", wires.text());
    assert!(wires.text().contains(&hash), "{}", wires.text());
    let photo = daemon.get(&format!("/api/v1/visits/{repair}/photos/{hash}"));
    assert_eq!((photo.status, photo.kind.as_str()), (200, "image/jpeg"));
    assert_eq!(daemon.stop(), 0);
}
