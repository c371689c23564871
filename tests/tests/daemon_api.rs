//! The API's document against the running daemon: every path and method of it answers, and what it
//! answers fits the document. OpenAPI 3.1 schemas are JSON Schema 2020-12; the check is that of
//! PyPI's jsonschema, in one run at the end. `cargo xtask test` makes the Python environment and names
//! it in `OHMTRAIL_PYTHON`; with `OHMTRAIL_WITHOUT_PYTHON=1` the schemas are left out, and only the
//! statuses are held against the document.

use std::collections::BTreeSet;
use std::process::Command;
use std::time::{Duration, Instant};

use ohmtrail_tests::cli::ohmtrail;
use ohmtrail_tests::client::{Answer, Daemon, PATIENCE};
use serde_json::{Value, json};

/// A PNG of one grey pixel (ISO/IEC 15948), and what would say where it was taken.
const PHOTO: [&[u8]; 2] = [
    b"\x89PNG\r\n\x1a\n\x00\x00\x00\x0dIHDR\x00\x00\x00\x01\x00\x00\x00\x01\x08\x00\x00\x00\x00:~\x9bU",
    b"\x00\x00\x00\x0aIDATx\x9cch\x00\x00\x00\x82\x00\x81w\xcdr\xb6\x00\x00\x00\x00IEND\xaeB`\x82",
];
const PLACE: &[u8] = b"\x00\x00\x00\x14tEXtat\x00an invented place\xa1g\x8bN";

/// One request: a method and path of the document, the path as asked, the body, and the status.
struct Asks {
    method: &'static str,
    path: &'static str,
    with: String,
    body: Option<Value>,
    status: u16,
}

/// The document, and what of it was asked for.
struct Walk<'d> {
    daemon: &'d Daemon,
    document: Value,
    done: BTreeSet<(String, String)>,
    fits: Vec<Value>,
}

/// Closes every object of a schema: a field that is answered and not documented is an error.
fn close(schema: &mut Value) {
    match schema {
        Value::Object(fields) => {
            let is_object = fields.get("properties").is_some_and(Value::is_object);
            if is_object && !fields.contains_key("additionalProperties") {
                fields.insert("additionalProperties".to_owned(), json!(false));
            }
            fields.values_mut().for_each(close);
        }
        Value::Array(all) => all.iter_mut().for_each(close),
        _ => {}
    }
}

impl Walk<'_> {
    /// Keeps what is to fit a schema.
    fn fits(&mut self, name: &str, schema: &Value, instance: Value) {
        self.fits
            .push(json!({ "name": name, "schema": schema, "instance": instance }));
    }

    /// Holds everything that was kept against its schema.
    fn validate(&self) {
        let Some(python) = std::env::var_os("OHMTRAIL_PYTHON") else {
            assert!(
                std::env::var_os("OHMTRAIL_WITHOUT_PYTHON").is_some(),
                "OHMTRAIL_PYTHON names the Python that has jsonschema; `cargo xtask test` makes it"
            );
            return;
        };
        let mut components = self.document["components"].clone();
        close(&mut components);
        let all = json!({ "components": components, "fits": self.fits });
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("fits.json");
        std::fs::write(&file, all.to_string()).expect("written");
        let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/daemon_api/validate.py");
        let ran = Command::new(python).arg(script).arg(file).output();
        let ran = ran.expect("the Python that OHMTRAIL_PYTHON names starts");
        let wrong = String::from_utf8_lossy(&ran.stdout);
        let said = String::from_utf8_lossy(&ran.stderr);
        assert!(ran.status.success(), "{wrong}{said}");
        let counted = format!("{} fit", self.fits.len());
        assert_eq!(wrong.trim(), counted, "every one was looked at");
    }

    /// Asks, and holds the answer against the document.
    fn ask(&mut self, asks: &Asks) -> Answer {
        let daemon = self.daemon;
        let answer = match (asks.method, &asks.body) {
            ("get", _) => daemon.get(&asks.with),
            ("delete", _) => daemon.delete(&asks.with),
            ("put", Some(body)) => daemon.put(&asks.with, body),
            ("post", Some(body)) => daemon.post(&asks.with, body),
            ("post", None) if asks.path.ends_with("/quote") => {
                daemon.post_bytes(&asks.with, "application/toml", QUOTE.as_bytes())
            }
            ("post", None) => {
                daemon.post_bytes(&asks.with, "application/octet-stream", &PHOTO.concat())
            }
            other => panic!("{other:?}"),
        };
        let name = format!("{} {}", asks.method, asks.path);
        assert_eq!(answer.status, asks.status, "{name}: {}", answer.text());
        let operation = &self.document["paths"][asks.path][asks.method];
        assert!(operation.is_object(), "{name} is not in the document");
        let operation = operation.clone();
        for (status, response) in operation["responses"].as_object().expect("responses") {
            let words = response["description"].as_str().unwrap_or_default();
            assert!(!words.is_empty(), "{name}: {status} has no description");
        }
        let request = operation["requestBody"]["content"]["application/json"].get("schema");
        if let (Some(body), Some(schema)) = (&asks.body, request)
            && asks.status < 400
        {
            self.fits(&format!("{name}: the request"), schema, body.clone());
        }
        let responses = &operation["responses"];
        let response = responses
            .get(asks.status.to_string())
            .or(responses.get("default"))
            .unwrap_or_else(|| panic!("{name}: {} is not documented", asks.status));
        if let Some(content) = response["content"].as_object() {
            let kind = answer.kind.split(';').next().unwrap_or_default();
            let documented = content
                .iter()
                .find(|(k, _)| *k == kind || (k.ends_with("/*") && kind.starts_with("image/")));
            let (_, media) =
                documented.unwrap_or_else(|| panic!("{name}: {kind} is not documented"));
            if kind.ends_with("json") && kind != "application/jsonl" {
                self.fits(&name, &media["schema"], answer.json());
            }
        } else {
            assert!(answer.body.is_empty(), "{name}: {}", answer.text());
        }
        self.done
            .insert((asks.path.to_owned(), asks.method.to_owned()));
        answer
    }

    fn get(&mut self, path: &'static str, with: &str) -> Answer {
        self.ask(&Asks {
            method: "get",
            path,
            with: with.to_owned(),
            body: None,
            status: 200,
        })
    }

    fn post(&mut self, path: &'static str, with: &str, body: Value, status: u16) -> Answer {
        self.ask(&Asks {
            method: "post",
            path,
            with: with.to_owned(),
            body: Some(body),
            status,
        })
    }

    /// Answers the open ask as it wants to be answered; gives whether there was one.
    fn answer(&mut self, visit: &str) -> bool {
        let now = self
            .get("/api/v1/visits/{visit}/now", &format!("{visit}/now"))
            .json();
        let ask = now["ask"].clone();
        let path = format!("{visit}/asks/{}", ask["id"]);
        match ask["do"].as_str() {
            Some("look") => {
                self.post(
                    "/api/v1/visits/{visit}/asks/{ask}/look",
                    &format!("{path}/look"),
                    json!({ "answer": false }),
                    200,
                );
            }
            Some("measure") => {
                self.get(
                    "/api/v1/visits/{visit}/asks/{ask}/picture.svg",
                    &format!("{path}/picture.svg"),
                );
                let unit = match ask["function"].as_str() {
                    Some("ohms") => "Ohm",
                    Some("farads") => "uF",
                    Some("amps-ac") => "A",
                    Some("celsius") => "Cel",
                    _ => "V",
                };
                let watch = "/api/v1/visits/{visit}/asks/{ask}/watch";
                let watched = format!("{path}/watch");
                self.post(watch, &watched, json!({}), 409);
                self.ask(&Asks {
                    method: "delete",
                    path: watch,
                    with: watched,
                    body: None,
                    status: 200,
                });
                let typed = json!({ "display": "0.0", "unit": unit, "flags": [] });
                self.post(
                    "/api/v1/visits/{visit}/asks/{ask}/display",
                    &format!("{path}/display"),
                    typed,
                    200,
                );
            }
            Some("act") => {
                self.post(
                    "/api/v1/visits/{visit}/asks/{ask}/done",
                    &format!("{path}/done"),
                    Value::Null,
                    200,
                );
            }
            _ => return false,
        }
        true
    }
}

/// An invented quote.
const QUOTE: &str = r#"
currency = "USD"
valid-until = "2099-12-31"
[[option]]
name = "a"
title = "Replace the run capacitor"
line = [{ what = "all of it", kind = "other", price = "412.00" }]
"#;

/// A quote, its papers in every form, and what is decided on the one that stands.
fn after_its_end(walk: &mut Walk<'_>, of: &dyn Fn(&str) -> String) {
    let daemon = walk.daemon;
    let decided = |option: &str, paper: &str| json!({ "option": option, "by": "an invented owner", "means": "telephone", "paper": paper });
    let head = || {
        daemon.get(&of("")).good()["head"]
            .as_str()
            .expect("a hash")
            .to_owned()
    };
    let path = "/api/v1/visits/{visit}/decision";
    let before = head();
    walk.post(path, &of("/decision"), decided("a", &before), 409);
    assert_eq!(daemon.get(&of("/quote")).problem(409), "no-quote");
    let added = walk.ask(&Asks {
        method: "post",
        path: "/api/v1/visits/{visit}/quote",
        with: of("/quote"),
        body: None,
        status: 201,
    });
    assert_eq!(added.json()["options"][0]["gross"], 41_200);
    walk.get("/api/v1/visits/{visit}/quote", &of("/quote"));
    let bad = daemon.post_bytes(&of("/quote"), "application/toml", b"currency = 1");
    assert_eq!(bad.problem(422), "not-understood");
    let older = daemon.post(&of("/decision"), &decided("a", &before));
    assert_eq!(older.problem(409), "older-paper");
    for (form, kind, begins) in [
        ("html", "text/html; charset=utf-8", "<!DOCTYPE html>"),
        ("pdf&size=letter", "application/pdf", "%PDF-"),
    ] {
        let made = daemon.get(&of(&format!("/write-up?form={form}")));
        assert_eq!(
            (made.status, made.kind.as_str()),
            (200, kind),
            "{}",
            String::from_utf8_lossy(&made.body)
        );
        assert!(made.body.starts_with(begins.as_bytes()), "{form}");
    }
    assert!(daemon.get(&of("/tag?form=pdf")).body.starts_with(b"%PDF-"));
    assert_eq!(
        daemon.get(&of("/tag?form=html")).problem(422),
        "not-understood"
    );
    walk.post(path, &of("/decision"), decided("a", &head()), 201);
    let text = daemon.get(&of("/write-up"));
    assert!(
        text.text()
            .contains("approved by an invented owner, telephone")
    );
}

/// Every question to the index, of a unit whose visit has ended.
fn over_the_years(walk: &mut Walk<'_>) {
    let new = json!({ "unit": "invented-1", "sheet": "control-loop-24v", "simulated": true });
    let opened = walk
        .post("/api/v1/visits", "/api/v1/visits", new, 201)
        .json();
    let visit = format!("/api/v1/visits/{}", opened["id"].as_str().expect("id"));
    let leave = json!({ "why": "called away (invented)" });
    let _ = walk.daemon.post(&format!("{visit}/leave"), &leave).good();
    while walk.answer(&visit) {}
    let closed = walk.daemon.post(&format!("{visit}/close"), &Value::Null);
    let _ = closed.good();
    let began = Instant::now();
    while walk.get("/api/v1/index", "/api/v1/index").json()["trails"] != 1 {
        assert!(began.elapsed() < PATIENCE, "the index does not see it");
        std::thread::sleep(Duration::from_millis(50));
    }
    let of_unit = "unit=invented-1&simulated=true";
    walk.get("/api/v1/index/units", "/api/v1/index/units?simulated=true");
    walk.get(
        "/api/v1/index/search",
        "/api/v1/index/search?words=invented",
    );
    for path in [
        "/api/v1/index/history",
        "/api/v1/index/door",
        "/api/v1/index/trends",
    ] {
        walk.get(path, &format!("{path}?{of_unit}"));
    }
    walk.get("/api/v1/index/kinds", "/api/v1/index/kinds?simulated=true");
}

#[test]
fn every_path_of_the_document_answers_as_it_says() {
    let data = tempfile::tempdir().expect("a folder");
    let daemon = Daemon::start(data.path(), &[]);
    let document = daemon.get("/api/v1/openapi.json").good();
    assert_eq!(document["openapi"], "3.1.0");
    let mut walk = Walk {
        daemon: &daemon,
        document,
        done: BTreeSet::new(),
        fits: Vec::new(),
    };

    walk.get("/health", "/health");
    let metrics = walk.get("/metrics", "/metrics");
    assert!(
        metrics.text().ends_with("# EOF\n"),
        "OpenMetrics 1.0: the last line"
    );
    walk.get("/api/v1/openapi.json", "/api/v1/openapi.json");
    walk.get("/api/v1/drivers", "/api/v1/drivers");
    over_the_years(&mut walk);
    walk.get("/api/v1/rules", "/api/v1/rules");
    walk.post(
        "/api/v1/checks",
        "/api/v1/checks",
        json!({ "words": ["capacitor", "40.1uF", "--marked", "55uF", "--tolerance", "6%"] }),
        200,
    );
    walk.post(
        "/api/v1/checks",
        "/api/v1/checks",
        json!({ "words": ["capacitor", "forty"] }),
        422,
    );
    walk.post(
        "/api/v1/checks",
        "/api/v1/checks",
        json!({ "words": ["capacitor", "40uF", "--meter=/etc/passwd"] }),
        422,
    );

    // Of each form: verdicts, a pattern, numbers, and a reading that proves nothing.
    for words in [
        &[
            "winding",
            "--common-start",
            "2.1Ohm",
            "--common-run",
            "0.7Ohm",
            "--start-run",
            "2.8Ohm",
        ][..],
        &[
            "winding",
            "--common-start",
            "2.1Ohm",
            "--common-run",
            "OL",
            "--start-run",
            "OL",
        ],
        &["unbalance", "238.4V", "236.1V", "231.0V"],
        &[
            "temperature",
            "1.23Ohm",
            "--metal",
            "copper",
            "--at",
            "20Cel",
            "--to",
            "60Cel",
        ],
        &["capacitor", "OL", "--marked", "55uF", "--tolerance", "6%"],
        &["discharge", "0.4V"],
    ] {
        let path = "/api/v1/checks";
        walk.post(path, path, json!({ "words": words }), 200);
    }

    walk.get("/api/v1/ports", "/api/v1/ports");
    walk.get("/api/v1/kinds", "/api/v1/kinds");
    walk.get("/api/v1/priors", "/api/v1/priors");
    walk.get("/api/v1/costs", "/api/v1/costs");
    let table = walk.get(
        "/api/v1/sheets/{sheet}/table",
        "/api/v1/sheets/control-loop-24v/table",
    );
    ohmtrail_core::isolate::Table::parse(&table.body).expect("a table");

    walk.get("/pair", "/pair?code=invented");
    walk.post(
        "/pair",
        "/pair",
        json!({ "code": "AAAA-AAAA", "name": "phone" }),
        403,
    );
    let made = ohmtrail()
        .args(["--json", "config", "pair", "--data"])
        .arg(data.path())
        .env("XDG_CONFIG_HOME", data.path())
        .output()
        .expect("it runs");
    let code: Value = serde_json::from_slice(&made.stdout).expect("JSON");
    let paired = json!({ "code": code["code"], "name": "an invented phone" });
    walk.post("/pair", "/pair", paired, 200);
    let sessions = walk.get("/sessions", "/sessions").json();
    let id = sessions["sessions"][0]["id"].as_str().expect("a session");
    for (path, with, status) in [
        ("/sessions/{id}", format!("/sessions/{id}"), 204),
        ("/sessions", "/sessions".to_owned(), 404),
    ] {
        walk.ask(&Asks {
            method: "delete",
            path,
            with,
            body: None,
            status,
        });
    }

    walk.get("/api/v1/sheets", "/api/v1/sheets");
    walk.get("/api/v1/sheets/{sheet}", "/api/v1/sheets/control-loop-24v");
    walk.get(
        "/api/v1/sheets/{sheet}/schematic.svg",
        "/api/v1/sheets/control-loop-24v/schematic.svg",
    );
    let draft = json!({ "name": "draft", "toml": "title = 3" });
    let checked = walk
        .post("/api/v1/sheets/check", "/api/v1/sheets/check", draft, 200)
        .json();
    assert_eq!(checked["sound"], false);

    // A port that is not there: it is waited for.
    let spec = json!({ "spec": "serial:/dev/invented-port,frame=count14", "name": "fine", "role": "volts" });
    walk.post("/api/v1/meters", "/api/v1/meters", spec.clone(), 201);
    walk.post("/api/v1/meters", "/api/v1/meters", spec, 409);
    walk.post(
        "/api/v1/meters",
        "/api/v1/meters",
        json!({ "spec": "serial:/etc/passwd,frame=count14" }),
        422,
    );
    walk.get("/api/v1/meters", "/api/v1/meters");
    walk.get("/api/v1/meters/{meter}", "/api/v1/meters/fine");
    let function = "/api/v1/meters/{meter}/function";
    let wanted = json!({ "function": "volts-ac" });
    walk.ask(&Asks {
        method: "put",
        path: function,
        with: "/api/v1/meters/fine/function".to_owned(),
        body: Some(wanted),
        status: 202,
    });

    walk.get("/api/v1/visits", "/api/v1/visits");
    let new = json!({ "sheet": "split-heat-pump-1ph", "unit": "an invented unit", "complaint": "nothing-runs", "meters": [{ "meter": "fine" }] });
    let opened = walk
        .post("/api/v1/visits", "/api/v1/visits", new, 201)
        .json();
    walk.post(
        "/api/v1/visits",
        "/api/v1/visits",
        json!({ "sheet": "no-such-sheet" }),
        404,
    );
    let visit = format!("/api/v1/visits/{}", opened["id"].as_str().expect("a name"));
    let of = |rest: &str| format!("{visit}{rest}");
    walk.get("/api/v1/visits/{visit}/meters", &of("/meters"));
    walk.post(
        "/api/v1/visits/{visit}/meters",
        &of("/meters"),
        json!({ "meter": "fine", "role": "volts at the contactor" }),
        200,
    );
    walk.ask(&Asks {
        method: "delete",
        path: "/api/v1/visits/{visit}/meters/{meter}",
        with: of("/meters/fine"),
        body: None,
        status: 200,
    });
    walk.ask(&Asks {
        method: "delete",
        path: "/api/v1/meters/{meter}",
        with: "/api/v1/meters/fine".to_owned(),
        body: None,
        status: 204,
    });

    walk.post(
        "/api/v1/visits/{visit}/complaints",
        &of("/complaints"),
        json!({ "what": "fan-only", "words": "invented" }),
        200,
    );
    walk.post(
        "/api/v1/visits/{visit}/plates",
        &of("/plates"),
        json!({ "part": "unit", "key": "rated-volts", "value": "208/230", "unit": "V" }),
        200,
    );
    walk.post(
        "/api/v1/visits/{visit}/notes",
        &of("/notes"),
        json!({ "text": "an invented note" }),
        200,
    );
    walk.post(
        "/api/v1/visits/{visit}/looks",
        &of("/looks"),
        json!({ "what": "run-cap.swollen", "answer": false }),
        200,
    );
    let take = json!({ "function": "celsius", "points": ["ambient", "ambient"], "display": "31.5", "unit": "Cel" });
    walk.post("/api/v1/visits/{visit}/takes", &of("/takes"), take, 200);
    let view = walk.get("/api/v1/visits/{visit}", &of("")).json();
    let number = &view["takes"][0]["verdict"]["take"];
    walk.post(
        "/api/v1/visits/{visit}/takes/{take}/strike",
        &of(&format!("/takes/{number}/strike")),
        json!({ "why": "in the sun" }),
        200,
    );
    let asked = &walk.get("/api/v1/visits/{visit}/now", &of("/now")).json()["ask"]["id"].clone();
    walk.post(
        "/api/v1/visits/{visit}/asks/{ask}/skip",
        &of(&format!("/asks/{asked}/skip")),
        json!({ "why": "cannot be reached" }),
        200,
    );
    walk.post(
        "/api/v1/visits/{visit}/asks/{ask}/skip",
        &of(&format!("/asks/{asked}/skip")),
        json!({ "why": "again" }),
        409,
    );

    let kept = walk
        .ask(&Asks {
            method: "post",
            path: "/api/v1/visits/{visit}/photos",
            with: of("/photos?caption=invented"),
            body: None,
            status: 201,
        })
        .json();
    let photo = kept["hash"].as_str().expect("a hash");
    let fetched = walk.get(
        "/api/v1/visits/{visit}/photos/{hash}",
        &of(&format!("/photos/{photo}")),
    );
    assert_eq!(fetched.body, PHOTO.concat());
    // Where it was taken is taken out, unless it is to be kept.
    let [head, tail] = PHOTO;
    let placed = [head, PLACE, tail].concat();
    let send = |query: &str| daemon.post_bytes(&of(query), "image/png", &placed).good();
    assert_eq!(send("/photos?caption=placed")["hash"], photo);
    let whole = send("/photos?location=keep")["size"].as_u64();
    assert_eq!(whole, u64::try_from(placed.len()).ok());
    let heic = daemon.post_bytes(&of("/photos"), "image/heic", b"\0\0\0\x18ftypheic");
    assert_eq!(heic.problem(422), "not-understood");

    let found = json!({ "mark": "blue", "photo": photo });
    let lifted = of("/wires/comp-run.1/lifted");
    walk.post(
        "/api/v1/visits/{visit}/wires/{end}/lifted",
        &lifted,
        found,
        200,
    );
    let back = of("/wires/comp-run.1/back");
    walk.post(
        "/api/v1/visits/{visit}/wires/{end}/back",
        &back,
        json!({}),
        200,
    );
    let checked = of("/wires/comp-run.1/checked");
    walk.post(
        "/api/v1/visits/{visit}/wires/{end}/checked",
        &checked,
        json!({ "photo": photo }),
        200,
    );
    let absent = daemon.post(&of("/wires/fan-run.1/checked"), &json!({}));
    assert_eq!(absent.problem(422), "not-understood");
    for _ in 0..6 {
        assert!(walk.answer(&visit), "an ask");
    }
    walk.get("/api/v1/visits/{visit}/suspects", &of("/suspects"));
    walk.post(
        "/api/v1/visits/{visit}/close",
        &of("/close"),
        Value::Null,
        409,
    );
    walk.post(
        "/api/v1/visits/{visit}/leave",
        &of("/leave"),
        json!({ "why": "enough for today" }),
        200,
    );
    walk.get("/api/v1/visits/{visit}/finding", &of("/finding"));
    for _ in 0..80 {
        if !walk.answer(&visit) {
            break;
        }
    }
    walk.get("/api/v1/visits/{visit}/tag", &of("/tag"));
    walk.get("/api/v1/visits/{visit}/write-up", &of("/write-up"));
    walk.post(
        "/api/v1/visits/{visit}/close",
        &of("/close"),
        Value::Null,
        200,
    );
    walk.get("/api/v1/visits/{visit}", &of(""));
    after_its_end(&mut walk, &of);
    walk.post(
        "/api/v1/visits/{visit}/repair",
        &of("/repair"),
        json!({ "technician": "another (invented)", "fit": ["run-cap"] }),
        201,
    );
    walk.get("/api/v1/visits/{visit}/trail", &of("/trail"));
    walk.get("/api/v1/visits/{visit}/trail.jsonl", &of("/trail.jsonl"));
    walk.get("/api/v1/visits/{visit}/trail.csv", &of("/trail.csv"));
    walk.get("/api/v1/visits/{visit}/trail/verify", &of("/trail/verify"));
    walk.get("/api/v1/visits/{visit}/readings", &of("/readings"));

    // Streams do not end by themselves: their first event is enough.
    for (path, with) in [
        ("/api/v1/events", "/api/v1/events".to_owned()),
        ("/api/v1/visits/{visit}/events", of("/events")),
    ] {
        let events = daemon.events(&with, None);
        if path.contains("{visit}") {
            assert_eq!(events.next().expect("an event").kind, "opened");
        }
        walk.done.insert((path.to_owned(), "get".to_owned()));
    }

    let mut left = Vec::new();
    for (path, methods) in walk.document["paths"].as_object().expect("paths") {
        for method in methods.as_object().expect("methods").keys() {
            let is_method = ["get", "put", "post", "delete", "patch"].contains(&method.as_str());
            if is_method && !walk.done.contains(&(path.clone(), method.clone())) {
                left.push(format!("{method} {path}"));
            }
        }
    }
    assert!(
        left.is_empty(),
        "in the document, and not asked for here: {left:?}"
    );
    assert_eq!(
        daemon.get("/api/v1/no-such-thing").problem(404),
        "no-such-path"
    );
    assert_eq!(
        daemon.delete("/api/v1/visits").problem(405),
        "no-such-method"
    );
    assert_eq!(
        daemon.get("/api/v1/visits/..%2F..%2Fetc/now").problem(404),
        "not-found"
    );
    let not_json = daemon.post_bytes("/api/v1/visits", "application/json", b"{");
    assert_eq!(not_json.problem(400), "not-understood");
    let bad_photo = daemon.post_bytes(&of("/photos"), "image/png", b"<svg/>");
    assert_eq!(bad_photo.problem(415), "not-a-photograph");
    walk.validate();
    assert_eq!(daemon.stop(), 0);
}
