//! The shop index that the daemon keeps and serves: over HTTP and on the page, with the command line beside it
//! on the same file, and with what can happen to the file.

use std::fs;
use std::path::Path;
use std::time::{Duration, Instant};

use ohmtrail_tests::cli::run;
use ohmtrail_tests::client::{Daemon, PATIENCE};
use ohmtrail_tests::years::{DAY_US, FIRST_DAY_US, SHEET, Written, unit, visit};
use serde_json::{Value, json};

/// A data folder with invented visits, and its daemon.
struct House {
    data: tempfile::TempDir,
    daemon: Daemon,
}

impl House {
    fn of(visits: &[(&str, Written)]) -> House {
        let data = tempfile::tempdir().expect("a folder");
        fs::create_dir(data.path().join("visits")).expect("a folder");
        for (name, visit) in visits {
            put(data.path(), name, visit);
        }
        let daemon = Daemon::start(data.path(), &[]);
        House { data, daemon }
    }

    /// Waits until the index stands as wanted.
    fn until(&self, wanted: impl Fn(&Value) -> bool) -> Value {
        let began = Instant::now();
        loop {
            let standing = self.daemon.get("/api/v1/index").good();
            if wanted(&standing) {
                return standing;
            }
            assert!(began.elapsed() < PATIENCE, "{standing}");
            std::thread::sleep(Duration::from_millis(50));
        }
    }

    fn up_to_date(&self) -> Value {
        self.until(|s| s["updated"].is_string() && s["trouble"].is_null())
    }

    fn page(&self, path: &str) -> String {
        self.daemon.get(path).text().to_owned()
    }

    /// Opens a visit to a simulated unit; gives what its page says at the door.
    fn at_the_door(&self, unit: &str) -> String {
        let new = json!({ "unit": unit, "sheet": SHEET, "simulated": true });
        let opened = self.daemon.post("/api/v1/visits", &new).good();
        let page = self.page(&format!("/visits/{}", opened["id"].as_str().expect("id")));
        let door = page.split("<section id=\"door\"").nth(1).expect("a door");
        door.split("</section>").next().expect("its end").to_owned()
    }

    /// `ohmtrail index` on the daemon's file.
    fn index(&self, args: &[&str]) -> ohmtrail_tests::cli::Ran {
        let file = self.data.path().join("index.sqlite");
        let mut all = vec!["index", "--index", file.to_str().expect("text")];
        all.extend(args);
        run(all)
    }
}

fn put(data: &Path, name: &str, visit: &Written) {
    fs::write(data.join("visits").join(name), visit.bytes()).expect("a trail");
}

/// A visit of an invented unit so many days after the first, with what it found.
fn found(unit: &str, days: i64, faults: &[&str]) -> Written {
    let mut written = Written::new(unit, SHEET, FIRST_DAY_US + days * DAY_US);
    written.found(faults);
    written
}

/// What the daemon says is what the command line says of the same file.
#[test]
fn every_question_is_answered_as_on_the_command_line() {
    let all: Vec<(String, Written)> = (0..6)
        .flat_map(|number| (0..12).map(move |nth| (number, nth)))
        .map(|(number, nth)| (format!("u{number}-{nth:02}.trail"), visit(number, nth)))
        .collect();
    let all: Vec<(&str, Written)> = all.iter().map(|(n, v)| (n.as_str(), v.clone())).collect();
    let house = House::of(&all);
    let standing = house.up_to_date();
    assert_eq!(standing["trails"], 72, "{standing}");
    assert_eq!(standing["problems"], json!([]));
    let name = unit(4);
    let of_unit = format!("unit={name}&simulated=true");
    for (path, args) in [
        (
            "units?simulated=true&limit=3&skip=1".to_owned(),
            vec!["units", "--simulated", "--limit", "3", "--skip", "1"],
        ),
        (
            "search?words=00004%20fan&limit=2".to_owned(),
            vec!["search", "00004", "fan", "--limit", "2"],
        ),
        (
            format!("history?{of_unit}&limit=5"),
            vec!["history", &name, "--simulated", "--limit", "5"],
        ),
        (
            format!("door?{of_unit}"),
            vec!["door", &name, "--simulated"],
        ),
        (
            format!("trends?{of_unit}&part=run-cap"),
            vec!["trend", &name, "--simulated", "--part", "run-cap"],
        ),
        (
            "kinds?simulated=true".to_owned(),
            vec!["kinds", "--simulated"],
        ),
    ] {
        let served = house.daemon.get(&format!("/api/v1/index/{path}")).good();
        let mut args = args;
        args.push("--json");
        let said = house.index(&args).json();
        assert_eq!(served, said, "{path}");
        let (_, list) = served
            .as_object()
            .expect("an object")
            .iter()
            .find(|(_, v)| v.is_array())
            .expect("a list");
        assert!(!list.as_array().expect("a list").is_empty(), "{path}");
    }
    // The file is what its trails say, and stays so under the daemon.
    assert_eq!(house.index(&["verify", "--json"]).json()["equal"], true);
    // What is asked wrongly says so.
    let get = |path: &str| house.daemon.get(&format!("/api/v1/index/{path}"));
    assert_eq!(get("units?limit=0").problem(422), "not-understood");
    assert_eq!(get("units?limit=201").problem(422), "not-understood");
    assert_eq!(get("door").problem(400), "not-understood");
    assert_eq!(
        get(&format!("door?unit={name}")).problem(404),
        "no-such-unit"
    );
}

/// A part that was replaced and failed again is said so; one that nobody is known to have replaced is not.
#[test]
fn at_the_door_a_part_failed_again_only_if_it_was_replaced() {
    let replaced = || {
        let mut first = found("invented-again", 0, &["run-cap.herm-open"]);
        first.decided(true).close();
        let mut repair = Written::new("invented-again", SHEET, FIRST_DAY_US + 2 * DAY_US);
        repair.fitted("run-cap").close();
        let mut second = found("invented-again", 300, &["run-cap.fan-open"]);
        second.decided(false).close();
        [first, repair, second]
    };
    let [first, repair, second] = replaced();
    let mut once = found("invented-declined", 0, &["contactor.coil-open"]);
    once.decided(false).close();
    let mut twice = found("invented-declined", 9, &["contactor.coil-open"]);
    twice.close();
    let mut well = found("invented-well", 0, &[]);
    well.close();
    let house = House::of(&[
        ("a-0.trail", first),
        ("a-1.trail", repair),
        ("a-2.trail", second),
        ("b-0.trail", once),
        ("b-1.trail", twice),
        ("c-0.trail", well),
    ]);
    house.up_to_date();
    let door = house.at_the_door("invented-again");
    assert!(
        door.contains("Failed again: <code>run-cap</code>"),
        "{door}"
    );
    assert!(
        door.contains(
            "Failed again after it was replaced, found in 2 visits: look for what makes it fail."
        ),
        "{door}"
    );
    assert!(door.contains("2016-12-26: "), "{door}");
    // How sure it was, what it was to the others, and what came of it.
    assert!(door.contains("probability 99.0 %, root cause"), "{door}");
    assert!(
        door.contains("; a repair was approved; another one was fitted 2016-03-03"),
        "{door}"
    );
    assert!(door.contains("the repair was declined"), "{door}");
    assert!(
        door.contains("href=\"/unit?name=invented-again&amp;simulated=yes\""),
        "{door}"
    );
    assert!(!door.contains("not up to date"), "{door}");
    let door = house.at_the_door("invented-declined");
    assert!(!door.contains("Failed again"), "{door}");
    assert!(
        door.contains("Found in 2 visits; no visit says that it was replaced between them."),
        "{door}"
    );
    // Nothing was found, or nobody was there: nothing is said.
    for unit in ["invented-well", "invented-new"] {
        let door = house.at_the_door(unit);
        assert!(!door.contains("<details") && !door.contains("<p"), "{door}");
    }
    let said = house
        .index(&["door", "invented-declined", "--simulated"])
        .out;
    assert!(
        said.contains("found in 2 visits; no visit says that it was replaced between them."),
        "{said}"
    );
    let json = house
        .index(&["door", "invented-again", "--simulated", "--json"])
        .json();
    assert_eq!(
        (&json["parts"][0]["again"], &json["parts"][0]["times"]),
        (&json!(true), &json!(2))
    );
    // What was found later was not known then: the first visit's own page says nothing.
    let page = house.page("/visits/a-0");
    assert!(
        !page.contains("door-more"),
        "what came later is not known at its door"
    );
    let page = house.page("/visits/a-2");
    assert!(
        page.contains("What failed before: <code>run-cap</code>"),
        "once before it"
    );
}

/// The page of a unit, the search, and what is not there.
#[test]
fn the_pages_lead_from_words_to_a_visit() {
    let all: Vec<(String, Written)> = (0..12)
        .map(|nth| (format!("v-{nth:02}.trail"), visit(5, nth)))
        .collect();
    let all: Vec<(&str, Written)> = all.iter().map(|(n, v)| (n.as_str(), v.clone())).collect();
    let house = House::of(&all);
    house.up_to_date();
    let units = house.page("/units?simulated=yes");
    assert!(
        units.contains("/unit?name=invented-00005&amp;simulated=yes"),
        "{units}"
    );
    assert!(house.page("/units").contains("No visit to such a unit"));
    let found = house.page("/units?words=00005%20zebrawood");
    assert!(
        found.contains("No visit has all of these words."),
        "{found}"
    );
    let found = house.page("/units?words=invented-00005");
    assert!(found.contains("href=\"/visits/v-11\""), "{found}");
    let page = house.page("/unit?name=invented-00005&simulated=yes");
    for words in [
        "How its values move",
        "It moves by",
        "± ",
        "No forecast",
        "href=\"/visits/v-00\"",
    ] {
        assert!(page.contains(words), "{words} in {page}");
    }
    let nobody = house.daemon.get("/unit?name=nobody%3Cs");
    assert_eq!(nobody.status, 404);
    assert!(
        nobody.text().contains("there is no unit") && nobody.text().contains("nobody&lt;s"),
        "{}",
        nobody.text()
    );
    assert!(
        !nobody.text().contains("/api/v1"),
        "what to do is said in the page's own terms"
    );
}

/// A visit that ends is in the index soon, and so is what is said after its end.
#[test]
fn a_visit_that_ended_is_in_the_index() {
    let house = House::of(&[]);
    assert_eq!(house.up_to_date()["trails"], 0);
    let new = json!({ "unit": "invented-today", "sheet": SHEET, "simulated": true });
    let opened = house.daemon.post("/api/v1/visits", &new).good();
    let visit = format!("/api/v1/visits/{}", opened["id"].as_str().expect("id"));
    let leave = json!({ "why": "called away (invented)" });
    let _ = house.daemon.post(&format!("{visit}/leave"), &leave).good();
    for _ in 0..40 {
        let now = house.daemon.get(&format!("{visit}/now")).good();
        if now["stage"] == "left" {
            break;
        }
        let (ask, why) = (&now["ask"], json!({ "why": "called away (invented)" }));
        let way = if ask["do"] == "act" { "done" } else { "skip" };
        let body = if way == "done" { Value::Null } else { why };
        let said = house
            .daemon
            .post(&format!("{visit}/asks/{}/{way}", ask["id"]), &body);
        let _ = said.good();
    }
    let closed = house.daemon.post(&format!("{visit}/close"), &Value::Null);
    let _ = closed.good();
    house.until(|s| s["trails"] == 1);
    let search = || {
        house
            .daemon
            .get("/api/v1/index/search?words=invented-today")
            .good()
    };
    let began = Instant::now();
    while search()["visits"][0]["closed"].is_null() {
        assert!(began.elapsed() < PATIENCE, "{}", search());
        std::thread::sleep(Duration::from_millis(50));
    }
}

/// What can happen to the file: damage is made good, what is no index is left alone, and folders that are away
/// are not forgotten. None of it keeps a visit from being opened.
#[test]
fn what_happens_to_the_file_is_said_or_made_good() {
    let mut one = found("invented-one", 0, &["run-cap.herm-open"]);
    one.close();
    let house = House::of(&[("one.trail", one.clone())]);
    house.up_to_date();
    let data = house.data.path().to_owned();
    let file = data.join("index.sqlite");
    // Another folder belongs to it, by the command line.
    let other = tempfile::tempdir().expect("a folder");
    let mut two = found("invented-two", 1, &["contactor.coil-open"]);
    two.close();
    let away = other.path().join("truck");
    fs::create_dir(&away).expect("a folder");
    fs::write(away.join("two.trail"), two.bytes()).expect("a trail");
    let ran = house.index(&["update", away.to_str().expect("text")]);
    assert_eq!(ran.code, 0, "{ran:?}");
    let House {
        data: folder,
        daemon,
    } = house;
    daemon.kill();
    // It is away while the index has to be made anew: another version of it lies there.
    fs::rename(&away, other.path().join("gone")).expect("moved");
    {
        let database = rusqlite::Connection::open(&file).expect("a file");
        database
            .pragma_update(None, "user_version", 1)
            .expect("changed");
    }
    let house = House {
        daemon: Daemon::start(&data, &[]),
        data: folder,
    };
    let standing = house.up_to_date();
    let problem = &standing["problems"][0];
    assert!(
        problem["trail"]
            .as_str()
            .is_some_and(|p| p.ends_with("truck")),
        "{standing}"
    );
    fs::rename(other.path().join("gone"), &away).expect("moved back");
    let ran = house.index(&["update"]);
    assert_eq!(ran.code, 0, "{ran:?}");
    assert_eq!(
        house.index(&["units", "--simulated", "--json"]).json()["all_units"],
        2
    );
    let House {
        data: folder,
        daemon,
    } = house;
    daemon.kill();
    // Damage in the middle: what does not say where else trails lie is at least the daemon's own.
    let bytes = fs::read(&file).expect("the file");
    let mut damaged = bytes.clone();
    for byte in &mut damaged[4096..] {
        *byte = 0x5a;
    }
    fs::write(&file, &damaged).expect("damaged");
    for end in ["-wal", "-shm"] {
        let _ = fs::remove_file(data.join(format!("index.sqlite{end}")));
    }
    let house = House {
        daemon: Daemon::start(&data, &[]),
        data: folder,
    };
    house.up_to_date();
    assert_eq!(house.index(&["verify", "--json"]).json()["equal"], true);
    assert!(house.at_the_door("invented-one").contains("run-cap"));
    let House {
        data: folder,
        daemon,
    } = house;
    daemon.kill();
    // Somebody's file of that name.
    fs::write(&file, "somebody's notes").expect("written");
    for end in ["-wal", "-shm"] {
        let _ = fs::remove_file(data.join(format!("index.sqlite{end}")));
    }
    let house = House {
        daemon: Daemon::start(&data, &[]),
        data: folder,
    };
    let standing = house.until(|s| s["trouble"].is_string());
    assert!(
        standing["trouble"]
            .as_str()
            .is_some_and(|t| t.contains("not an index of trails")),
        "{standing}"
    );
    assert_eq!(fs::read_to_string(&file).expect("left"), "somebody's notes");
    assert!(
        house.at_the_door("invented-one").contains("not up to date"),
        "it is said at the door"
    );
    let said = house.daemon.get("/api/v1/index/units");
    assert!(said.status >= 500, "{}", said.text());
}
