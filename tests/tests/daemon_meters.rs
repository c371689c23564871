//! Meters that go and come back under a daemon, on simulated ports.

use std::os::unix::fs::symlink;
use std::path::Path;
use std::time::Duration;

use ohmtrail_core::reading::Function;
use ohmtrail_meters::driver::driver;
use ohmtrail_meters::profile::Profile;
use ohmtrail_meters::sim::face::Moves;
use ohmtrail_meters::sim::meter::{SimConfig, SimMeter, Speech};
use ohmtrail_tests::client::{Daemon, Event};
use serde_json::{Value, json};

const FRAME: &str = "count14";

/// Plugs a meter in at a name that stays the same, as an adapter's does.
fn plug(at: &Path) -> SimMeter {
    let meter = SimMeter::start(SimConfig {
        entry: driver(FRAME).expect("built in"),
        profile: Profile::simulated(FRAME).expect("built in"),
        seed: 3,
        interval: Duration::from_millis(50),
        moves: Moves::default(),
    })
    .expect("a simulated meter");
    let new = at.with_extension("new");
    symlink(meter.path(), &new).expect("a name");
    std::fs::rename(new, at).expect("the name");
    meter
}

fn stands(standing: &'static str) -> impl Fn(&Event) -> bool {
    move |e| e.kind == "meter" && e.data["standing"] == standing
}

fn steady(event: &Event) -> u64 {
    event.data["steady_us"].as_u64().expect("a time")
}

#[test]
fn a_meter_that_is_unplugged_voids_the_take_and_comes_back_by_itself() {
    let data = tempfile::tempdir().expect("a folder");
    let port = data.path().join("port");
    let meter = plug(&port);
    let spec = format!("fine=serial:{},frame={FRAME}", port.display());
    let daemon = Daemon::start(data.path(), &["--meter".to_owned(), spec]);
    let all = daemon.events("/api/v1/events", None);
    all.until(|e| e.kind == "reading");
    let visit = daemon.open(
        "split-heat-pump-1ph",
        "nothing-runs",
        &json!([{ "meter": "fine", "role": "volts at the contactor" }]),
    );
    let events = daemon.events(&format!("{visit}/events"), None);
    let mut now = daemon.get(&format!("{visit}/now")).good();
    while now["ask"]["do"] == "look" {
        let path = format!("{visit}/asks/{}/look", now["ask"]["id"]);
        let answer = json!({ "answer": false });
        now = daemon.post(&path, &answer).good()["now"].clone();
    }
    let ask = now["ask"]["id"].clone();
    assert_eq!(now["ask"]["do"], "measure", "{now}");
    // Its display never stands still: probes in the air on a range that goes up and down.
    meter.set(Function::VoltsAc, 230.0).expect("shown");
    let watch = format!("{visit}/asks/{ask}/watch");
    assert_eq!(
        daemon.post(&watch, &json!({})).good()["now"]["watching"]["ask"],
        ask
    );
    meter.unplug();

    let away = all.until(stands("away"));
    let why = away.data["why"].as_str().expect("words");
    assert!(why.contains("unplugged"), "{why}");
    let voided = events.until(|e| e.kind == "voided");
    assert_eq!(voided.data["data"]["ask"], ask);
    let lost = events.until(|e| e.kind == "meter-lost");
    assert!(
        steady(&lost) - steady(&voided) < 2_000_000,
        "shown within 2 s"
    );
    let view = daemon.get(&visit).good();
    assert_eq!(view["meters"][0]["standing"], "away");
    assert!(
        view["takes"].as_array().expect("takes").is_empty(),
        "not guessed"
    );
    let now = daemon.get(&format!("{visit}/now")).good();
    assert_eq!(now["watching"], Value::Null);
    let refused = daemon.post(
        &format!("{visit}/asks/{}/watch", now["ask"]["id"]),
        &json!({ "meter": "fine" }),
    );
    assert_eq!(refused.problem(409), "meter-away");

    // It comes back by itself, and the trail has the gap.
    let meter = plug(&port);
    let back = events.until(|e| e.kind == "meter-back");
    assert!(
        back.data["data"]["gap_us"]
            .as_u64()
            .is_some_and(|gap| gap > 0)
    );
    all.until(stands("up"));
    meter.set(Function::VoltsAc, 230.0).expect("shown");
    let watch = format!("{visit}/asks/{}/watch", now["ask"]["id"]);
    assert_eq!(daemon.post(&watch, &json!({})).status, 200);
    let took = events.until(|e| e.kind == "took");
    assert_eq!(took.data["data"]["ask"], now["ask"]["id"]);

    // Its sending mode ends.
    meter.speak(Speech::Nothing);
    let before = daemon.get("/api/v1/meters/fine").good();
    let last = before["latest"]["steady_us"].as_u64().expect("a time");
    let silent = all.until(stands("silent"));
    let since = silent.data["since_us"].as_u64().expect("a time");
    assert!(since >= last, "{silent:?}");
    events.until(|e| e.kind == "meter-lost");
    meter.speak(Speech::Frames);
    events.until(|e| e.kind == "meter-back");
    let metrics = daemon.get("/metrics");
    let gaps = "ohmtrail_meter_gaps_total{meter=\"fine\"} 2";
    assert!(metrics.text().contains(gaps), "{}", metrics.text());
    assert_eq!(daemon.stop(), 0);

    // Every reading that was streamed is in the trail, and the trail is whole.
    let trails = std::fs::read_dir(data.path().join("visits")).expect("a folder");
    let trail = trails
        .map(|e| e.expect("a file").path())
        .find(|p| p.extension().is_some_and(|e| e == "trail"))
        .expect("a trail");
    assert!(ohmtrail_trail::verify(&trail).expect("read").is_sound());
}

/// A client that stops reading costs nobody else anything.
#[test]
fn a_client_that_stops_reading_holds_up_nobody() {
    use std::io::Write;
    let data = tempfile::tempdir().expect("a folder");
    let port = data.path().join("port");
    let _meter = plug(&port);
    let spec = format!("fine=serial:{},frame={FRAME}", port.display());
    let daemon = Daemon::start(data.path(), &["--meter".to_owned(), spec]);
    let address = daemon.base.trim_start_matches("http://");
    let mut stuck = std::net::TcpStream::connect(address).expect("a connection");
    let request = format!("GET /api/v1/events HTTP/1.1\r\nhost: {address}\r\n\r\n");
    stuck.write_all(request.as_bytes()).expect("sent");
    let events = daemon.events("/api/v1/events", None);
    let mut readings = 0;
    let mut last = 0;
    while readings < 100 {
        let event = events.until(|e| e.kind == "reading" || e.kind == "skipped");
        assert_eq!(event.kind, "reading", "this client is not slow");
        let at = steady(&event);
        assert!(at > last, "in order, none twice");
        last = at;
        readings += 1;
    }
    let streams = daemon.get("/metrics");
    assert!(
        streams.text().contains("ohmtrail_streams 2"),
        "{}",
        streams.text()
    );
    drop(stuck);
    assert_eq!(daemon.stop(), 0);
}
