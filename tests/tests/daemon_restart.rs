//! A daemon that is killed in the middle of a visit, and clients that come back.

use std::path::Path;

use ohmtrail_tests::client::{Daemon, Event};
use serde_json::{Value, json};

const SHEET: &str = "control-loop-24v";

fn start(data: &Path) -> Daemon {
    Daemon::start(data, &[])
}

/// Answers the open ask in some way: yes to looks, `done` to acts, a typed value else.
fn answer(daemon: &Daemon, visit: &str) {
    let now = daemon.get(&format!("{visit}/now")).good();
    let ask = &now["ask"];
    let path = format!("{visit}/asks/{}", ask["id"]);
    let said = match ask["do"].as_str() {
        Some("look") => daemon.post(&format!("{path}/look"), &json!({ "answer": true })),
        Some("act") => daemon.post(&format!("{path}/skip"), &json!({ "why": "not today" })),
        Some("measure") => {
            let body = json!({ "display": "24.1", "unit": if ask["function"] == "ohms" { "Ohm" } else { "V" } });
            daemon.post(&format!("{path}/display"), &body)
        }
        other => panic!("{other:?} in {now}"),
    };
    assert_eq!(said.status, 200, "{}", said.text());
}

/// The numbers of the trail's records that are streamed, by its export.
fn streamed(daemon: &Daemon, visit: &str) -> Vec<u64> {
    let lines = daemon.get(&format!("{visit}/trail.jsonl"));
    let lines = lines.text().lines();
    let lines = lines.map(|l| serde_json::from_str::<Value>(l).expect("JSON"));
    lines
        .filter(|l| l["event"].is_string() && l["event"] != "readings")
        .map(|l| l["record"].as_u64().expect("a number"))
        .collect()
}

fn ids(events: &[Event]) -> Vec<u64> {
    events.iter().filter_map(|e| e.id).collect()
}

#[test]
fn a_killed_daemon_goes_on_and_no_event_is_lost_or_told_twice() {
    let data = tempfile::tempdir().expect("a folder");
    let daemon = start(data.path());
    let visit = daemon.open(SHEET, "no-pull-in", &json!([]));
    let events = daemon.events(&format!("{visit}/events"), None);
    for _ in 0..4 {
        answer(&daemon, &visit);
    }
    let before = daemon.get(&visit).good();
    let records = streamed(&daemon, &visit);
    let last = *records.last().expect("records");
    let first_part = ids(&events.up_to(last));
    assert_eq!(first_part, records, "all of it, in order");
    daemon.kill();

    let daemon = start(data.path());
    let after = daemon.get(&visit).good();
    for kept in [
        "looks",
        "takes",
        "complaints",
        "suspects",
        "skipped",
        "opened_at",
    ] {
        assert_eq!(before[kept], after[kept], "{kept}");
    }
    // Gates are never read back.
    let gates = after["gates"].as_array().expect("gates");
    assert!(gates.iter().all(|g| g["open"] == false), "{gates:?}");
    answer(&daemon, &visit);
    let records = streamed(&daemon, &visit);
    let end = *records.last().expect("records");
    // A client that has all but the last two records of before.
    let had = first_part[first_part.len() - 3];
    let second_part = ids(&daemon
        .events(&format!("{visit}/events"), Some(had))
        .up_to(end));
    let whole: Vec<u64> = first_part
        .iter()
        .copied()
        .filter(|id| *id <= had)
        .chain(second_part)
        .collect();
    assert_eq!(whole, records);
    let by_query = format!("{visit}/events?last_event_id={had}");
    let again = ids(&daemon.events(&by_query, None).up_to(end));
    assert_eq!(again.first(), Some(&(had + 1)));
    let verified = daemon.get(&format!("{visit}/trail/verify")).good();
    assert_eq!(verified["sound"], true, "{verified}");
    assert_eq!(daemon.stop(), 0);
}

#[test]
fn two_clients_see_one_visit_and_only_one_answer_counts() {
    let data = tempfile::tempdir().expect("a folder");
    let daemon = start(data.path());
    let visit = daemon.open(SHEET, "no-pull-in", &json!([]));
    let path = format!("{visit}/events");
    let (one, other) = (daemon.events(&path, None), daemon.events(&path, None));
    let ask = daemon.get(&format!("{visit}/now")).good()["ask"]["id"].clone();
    answer(&daemon, &visit);
    let late = daemon.post(
        &format!("{visit}/asks/{ask}/look"),
        &json!({ "answer": false }),
    );
    assert_eq!(late.problem(409), "ask-not-open");
    let last = *streamed(&daemon, &visit).last().expect("records");
    let told = |events: Vec<Event>| -> Vec<Event> {
        events.into_iter().filter(|e| e.id.is_some()).collect()
    };
    let seen = told(one.up_to(last));
    assert_eq!(seen, told(other.up_to(last)));
    let answers = seen.iter().filter(|e| {
        let of = &e.data["data"]["ask"];
        *of == ask && matches!(e.kind.as_str(), "looked" | "took" | "skipped" | "acted")
    });
    assert_eq!(answers.count(), 1);
    // Told to stop, it ends the streams, and lets go of the trail.
    assert_eq!(daemon.stop(), 0);
    while one.next().is_some() {}
    let trail = std::fs::read_dir(data.path().join("visits")).expect("a folder");
    let trail = trail
        .map(|e| e.expect("a file").path())
        .find(|p| p.extension().is_some_and(|e| e == "trail"));
    let (_, entries, recovery) =
        ohmtrail_trail::Trail::open(trail.expect("a trail")).expect("nobody holds it");
    assert_eq!((recovery.damage.len(), recovery.cut), (0, None));
    assert!(!entries.is_empty());
}

#[test]
fn several_visits_in_a_day_each_go_on_by_themselves() {
    let data = tempfile::tempdir().expect("a folder");
    let daemon = start(data.path());
    let visits = [0, 1].map(|_| daemon.open(SHEET, "no-pull-in", &json!([])));
    assert_ne!(visits[0], visits[1]);
    answer(&daemon, &visits[0]);
    daemon.kill();
    // What is no trail is named, and harms no other visit.
    std::fs::write(data.path().join("visits/broken.trail"), "not a trail").expect("written");
    let daemon = start(data.path());
    let takes = visits.map(|visit| {
        let view = daemon.get(&visit).good();
        let answered =
            ["looks", "takes", "skipped"].map(|k| view[k].as_array().map_or(0, Vec::len));
        answered.iter().sum::<usize>()
    });
    assert_eq!(takes, [1, 0]);
    let broken = daemon.get("/api/v1/visits/broken");
    assert_eq!(broken.problem(409), "visit-broken");
    assert_eq!(daemon.stop(), 0);
}
