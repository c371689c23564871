//! A whole everyday visit over HTTP: two simulated meters on their ports, a simulated unit, and a
//! technician who knows only what the API says.

use std::time::Duration;

use ohmtrail_circuit::sheet::read_builtin;
use ohmtrail_circuit::unit::Circuit;
use ohmtrail_core::reading::Function;
use ohmtrail_meters::driver::driver;
use ohmtrail_meters::profile::Profile;
use ohmtrail_meters::sim::face::Moves;
use ohmtrail_meters::sim::meter::{SimConfig, SimMeter};
use ohmtrail_tests::client::{Answer, Daemon, Events};
use ohmtrail_tests::technician::{FRAMES, Technician, which};
use ohmtrail_trail::Displayed;
use serde_json::{Value, json};

const SHEET: &str = "split-heat-pump-1ph";
const FAULT: &str = "run-cap.fan-open";
/// Takes by the meters' own displays; each must stand still for a second. The rest is typed.
const BY_METER: usize = 4;

fn meter(frame: &str) -> SimMeter {
    SimMeter::start(SimConfig {
        entry: driver(frame).expect("built in"),
        profile: Profile::simulated(frame).expect("built in"),
        seed: 7,
        interval: Duration::from_millis(50),
        moves: Moves {
            ranging: 0,
            ..Moves::default()
        },
    })
    .expect("a simulated meter")
}

/// What a display shows with the probes in the air.
fn air(function: Function) -> f64 {
    match function {
        Function::Ohms => f64::INFINITY,
        _ => 0.0,
    }
}

struct Hands<'c> {
    daemon: &'c Daemon,
    visit: &'c str,
    events: Events,
    technician: Technician<'c>,
    meters: [SimMeter; 2],
    by_meter: usize,
}

impl Hands<'_> {
    /// Answers an ask; gives how the visit then stands.
    fn answer(&mut self, ask: &Value) -> Value {
        let path = format!("{}/asks/{}", self.visit, ask["id"]);
        match ask["do"].as_str() {
            Some("look") => {
                let what = ask["what"].as_str().expect("what");
                let answer = self.technician.look(what).expect("a look of the sheet");
                let body = json!({ "answer": answer });
                let said = self.daemon.post(&format!("{path}/look"), &body);
                self.now_after(&said)
            }
            Some("act") => {
                let ends: Vec<String> =
                    serde_json::from_value(ask["ends"].clone()).unwrap_or_default();
                let act = ask["act"].as_str().expect("an act");
                if act == "prove-meter" {
                    let proof = json!({ "display": "240.1", "unit": "V", "function": "volts-ac" });
                    let said = self.daemon.post(&format!("{path}/display"), &proof);
                    return self.now_after(&said);
                }
                self.technician.act(act, &ends);
                let said = self.daemon.post(&format!("{path}/done"), &Value::Null);
                self.now_after(&said)
            }
            Some("measure") => self.measure(ask, &path),
            other => panic!("asked to {other:?}"),
        }
    }

    fn measure(&mut self, ask: &Value, path: &str) -> Value {
        let name = ask["function"].as_str().expect("a function");
        let function = Function::by_name(name).expect("known");
        let points: [String; 2] = serde_json::from_value(ask["points"].clone()).expect("points");
        let picture = self.daemon.get(&format!("{path}/picture.svg"));
        assert_eq!(
            (picture.status, picture.kind.as_str()),
            (200, "image/svg+xml")
        );
        assert!(picture.text().starts_with("<svg"), "{}", picture.text());
        // A meter is proved by its own readings: dead readings are typed, as the proof is.
        if self.by_meter < BY_METER && ask["power"] == "on" {
            self.by_meter += 1;
            let meter = &self.meters[which(function)];
            let value = self.technician.value(function, &points);
            meter.set(function, value).expect("shown");
            // It is chosen by what it is set to, once it shows that.
            let shows = format!("meter-{}", which(function) + 1);
            self.events.until(|e| {
                e.kind == "reading" && e.data["meter"] == *shows && e.data["function"] == name
            });
            let said = self.daemon.post(&format!("{path}/watch"), &json!({}));
            let watching = &said.good()["now"]["watching"];
            assert_eq!(watching["meter"], *shows, "{watching}");
            let took = self
                .events
                .until(|e| e.kind == "took" && e.data["data"]["ask"] == ask["id"]);
            assert!(!took.data["data"]["verdict"].is_null(), "{took:?}");
            meter.change(air(function));
            return self.daemon.get(&format!("{}/now", self.visit)).good();
        }
        let shown = Displayed::of(function, self.technician.measure(function, &points));
        let typed = json!({ "display": shown.digits, "unit": shown.unit });
        let said = self.daemon.post(&format!("{path}/display"), &typed);
        self.now_after(&said)
    }

    /// Where the visit stands after an answer. An ask may have been withdrawn while it was answered,
    /// as when its gate shuts: then what is asked in its place is read anew.
    fn now_after(&self, said: &Answer) -> Value {
        if said.status == 409 {
            assert_eq!(said.problem(409), "ask-not-open");
            return self.daemon.get(&format!("{}/now", self.visit)).good();
        }
        said.good()["now"].clone()
    }
}

#[test]
fn a_whole_visit_over_http_finds_what_is_broken() {
    let data = tempfile::tempdir().expect("a folder");
    let meters = FRAMES.map(meter);
    let args: Vec<String> = meters
        .iter()
        .zip(FRAMES)
        .enumerate()
        .flat_map(|(n, (meter, frame))| {
            let place = meter.path().display();
            [
                "--meter".to_owned(),
                format!("meter-{}=serial:{place},frame={frame}", n + 1),
            ]
        })
        .collect();
    let daemon = Daemon::start(data.path(), &args);
    let sheet = read_builtin(SHEET).expect("built in").expect("sound");
    let circuit = Circuit::new(&sheet);
    let fault = sheet.fault(FAULT).expect("a fault of the sheet");
    let technician = Technician::new(&circuit, 7, &[fault]);
    let complaint = technician.complaint();
    let visit = daemon.open(
        SHEET,
        &complaint,
        &json!([
            { "meter": "meter-1", "role": "volts at the contactor" },
            { "meter": "meter-2", "role": "clamp on the common" },
        ]),
    );
    let mut hands = Hands {
        daemon: &daemon,
        visit: &visit,
        events: daemon.events(&format!("{visit}/events"), None),
        technician,
        meters,
        by_meter: 0,
    };
    let mut now = daemon.get(&format!("{visit}/now")).good();
    let mut answers = 0;
    while now["stage"] != "left" {
        assert!(now["waiting"].is_null(), "{now}");
        now = hands.answer(&now["ask"].clone());
        answers += 1;
        assert!(answers < 200, "it does not end");
    }
    assert_eq!(hands.by_meter, BY_METER, "takes by the meters");

    let found = daemon.get(&format!("{visit}/finding")).good();
    assert_eq!(found["finding"]["faults"], json!([FAULT]));
    assert_eq!(found["conclusion"]["outcome"], "faults");
    let suspects = daemon.get(&format!("{visit}/suspects")).good();
    assert_eq!(suspects["suspects"][0]["faults"], json!([FAULT]));
    let view = daemon.get(&visit).good();
    let roles: Vec<&str> = view["meters"]
        .as_array()
        .expect("meters")
        .iter()
        .map(|m| m["role"].as_str().expect("a role"))
        .collect();
    assert_eq!(roles, ["volts at the contactor", "clamp on the common", ""]);

    let closed = daemon.post(&format!("{visit}/close"), &Value::Null).good();
    let tag = closed["tag"].as_str().expect("a tag");
    assert!(
        tag.contains("run capacitor") || tag.contains("run-cap"),
        "{tag}"
    );
    // What has ended is read from its trail.
    let view = daemon.get(&visit).good();
    assert_eq!(
        (&view["closed"], &view["now"]),
        (&json!(true), &Value::Null)
    );
    assert_eq!(view["tag"], tag);
    assert_eq!(
        daemon.get("/api/v1/visits").good()["visits"][0]["stage"],
        "closed"
    );
    let write_up = daemon.get(&format!("{visit}/write-up"));
    let head = view["head"].as_str().expect("a hash");
    assert!(
        write_up.text().contains("an invented unit"),
        "{}",
        write_up.text()
    );
    let verified = daemon.get(&format!("{visit}/trail/verify")).good();
    assert_eq!(
        (&verified["sound"], &verified["head"]),
        (&json!(true), &json!(head))
    );
    let again = daemon.post(&format!("{visit}/notes"), &json!({ "text": "late" }));
    assert_eq!(again.problem(409), "visit-closed");
    let readings = daemon.get(&format!("{visit}/readings?limit=5")).good();
    assert!(
        readings["readings"]
            .as_array()
            .is_some_and(|r| r.len() >= 5),
        "{readings}"
    );
    assert_eq!(daemon.stop(), 0);
}
