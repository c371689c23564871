//! The daemon with a Bluetooth meter on a visit: the same with the stand-in and with the real service.

use std::path::{Path, PathBuf};
use std::time::Instant;

use ohmtrail_trail::event::Event as Kept;
use ohmtrail_trail::{Body, read, verify};
use serde_json::{Value, json};

use super::{ADDRESS, Hands, VOLTS};
use crate::client::{Daemon, Event, Events};

/// What stands still, tenths of volts, and what the display shows then.
const STILL: (&[i32], &str) = (&[2384], "238.4");
/// What never stands still: probes in the air on a range that goes up and down.
const MOVING: &[i32] = &[2384, 1907];
/// A meter that is away is shown to be so within this time of its last value.
const SHOWN_WITHIN_US: u64 = 2_000_000;
/// And a service that is gone without a word within this time: after 1.5 s without a value it is
/// asked, and has 1.5 s to answer.
const ASKED_WITHIN_US: u64 = 4_000_000;

fn stands(standing: &'static str) -> impl Fn(&Event) -> bool {
    move |e| e.kind == "meter" && e.data["standing"] == standing
}

fn number(event: &Event, key: &str) -> u64 {
    let number = event.data[key].as_u64();
    number.unwrap_or_else(|| panic!("no {key} in {event:?}"))
}

/// The daemon, its meter and a visit.
struct Served<'h> {
    hands: &'h mut dyn Hands,
    daemon: Daemon,
    /// What all watchers get.
    all: Events,
    visit: String,
    /// What the visit's watchers get.
    events: Events,
    /// What was shown, in words.
    say: &'h mut dyn FnMut(&str),
}

/// A meter of the daemon's configuration is found by scanning and read; goes out of reach in the
/// middle of a take and comes back; and the Bluetooth service dies and is started again.
///
/// # Panics
/// If anything is not as it should be.
pub fn a_visit(hands: &mut dyn Hands, say: &mut dyn FnMut(&str)) {
    let data = tempfile::tempdir().expect("a folder");
    let mut served = Served::start(hands, data.path(), say);
    served.away_in_a_take();
    served.service_dies();
    assert_eq!(served.daemon.stop(), 0);
    served.hands.stream(&[]);
    trail(data.path());
    (served.say)(
        "serve: the trail is whole: the take that was void, both gaps, the take, the readings",
    );
}

impl<'h> Served<'h> {
    fn start(hands: &'h mut dyn Hands, data: &Path, say: &'h mut dyn FnMut(&str)) -> Served<'h> {
        let config = data.join("config.toml");
        let text = format!(
            "[[meter]]\nname = \"radio\"\n\
             spec = \"ble:{ADDRESS},characteristic={VOLTS},function=volts-ac\"\n"
        );
        std::fs::write(&config, text).expect("a configuration");
        let args = ["--config".to_owned(), config.display().to_string()];
        hands.stream(MOVING);
        let bus = hands.bus();
        let variables = [("DBUS_SYSTEM_BUS_ADDRESS", bus.as_str())];
        let began = Instant::now();
        let daemon = Daemon::start_with(data, &args, &variables);
        let all = daemon.events("/api/v1/events", None);
        let first = all.until(|e| e.kind == "reading");
        assert_eq!(first.data["function"], "volts-ac", "{first:?}");
        say(&format!(
            "serve: the meter is found by scanning, linked, and its values come: first after {:.1} s",
            began.elapsed().as_secs_f64()
        ));
        let meters = json!([{ "meter": "radio", "role": "volts at the contactor" }]);
        let visit = daemon.open("split-heat-pump-1ph", "nothing-runs", &meters);
        let events = daemon.events(&format!("{visit}/events"), None);
        Served {
            hands,
            daemon,
            all,
            visit,
            events,
            say,
        }
    }

    /// What is asked now; looks are answered with no.
    fn measure(&self) -> Value {
        let visit = &self.visit;
        let mut now = self.daemon.get(&format!("{visit}/now")).good();
        while now["ask"]["do"] == "look" {
            let path = format!("{visit}/asks/{}/look", now["ask"]["id"]);
            let answer = json!({ "answer": false });
            now = self.daemon.post(&path, &answer).good()["now"].clone();
        }
        assert_eq!(now["ask"]["do"], "measure", "{now}");
        now["ask"]["id"].clone()
    }

    fn watch(&self, ask: &Value) -> crate::client::Answer {
        let path = format!("{}/asks/{ask}/watch", self.visit);
        self.daemon.post(&path, &json!({}))
    }

    /// How long after its last reading the meter is shown not to be up, and how it stands then.
    fn down(&self, within_us: u64) -> (f64, Event) {
        let mut last = 0;
        loop {
            let event = self.all.next().expect("the stream goes on");
            if event.kind == "reading" {
                last = number(&event, "steady_us");
            } else if event.kind == "meter" && event.data["standing"] != "up" {
                let since = number(&event, "since_us").saturating_sub(last);
                assert!(last > 0 && since < within_us, "{since} us: {event:?}");
                return (since as f64 / 1e6, event);
            }
        }
    }

    fn away_in_a_take(&mut self) {
        let ask = self.measure();
        let watched = self.watch(&ask).good();
        assert_eq!(watched["now"]["watching"]["ask"], ask);
        self.all.until(|e| e.kind == "reading");
        self.hands.reach(false);
        let (after, away) = self.down(SHOWN_WITHIN_US);
        let why = away.data["why"].as_str().expect("words");
        assert!(why.contains("dropped"), "{away:?}");
        let voided = self.events.until(|e| e.kind == "voided");
        assert_eq!(voided.data["data"]["ask"], ask);
        self.events.until(|e| e.kind == "meter-lost");
        let view = self.daemon.get(&self.visit).good();
        assert_eq!(view["meters"][0]["standing"], "away", "{view}");
        assert_eq!(view["takes"], json!([]), "not guessed");
        let ask = self.measure();
        assert_eq!(self.watch(&ask).problem(409), "meter-away");
        (self.say)(&format!(
            "serve: out of reach in a take: shown {after:.2} s after the last value, the take is void"
        ));
        let began = Instant::now();
        self.hands.stream(STILL.0);
        self.hands.reach(true);
        let back = self.events.until(|e| e.kind == "meter-back");
        let gap = back.data["data"]["gap_us"].as_u64().unwrap_or_default();
        assert!(gap > 0, "{back:?}");
        self.all.until(stands("up"));
        let took = began.elapsed().as_secs_f64();
        (self.say)(&format!(
            "serve: in reach again: linked by itself after {took:.1} s, a gap of {:.1} s in the trail",
            gap as f64 / 1e6
        ));
        assert_eq!(self.watch(&ask).status, 200);
        let took = self.events.until(|e| e.kind == "took");
        assert_eq!(took.data["data"]["ask"], ask);
        assert_eq!(took.data["data"]["display"], STILL.1, "{took:?}");
        (self.say)("serve: a value that stands still is a take");
    }

    fn service_dies(&mut self) {
        self.hands.kill();
        let (after, down) = self.down(ASKED_WITHIN_US);
        self.events.until(|e| e.kind == "meter-lost");
        (self.say)(&format!(
            "serve: the Bluetooth service is killed: shown as {} {after:.2} s after the last value",
            down.data["standing"]
        ));
        let began = Instant::now();
        self.hands.start();
        self.events.until(|e| e.kind == "meter-back");
        self.all.until(stands("up"));
        self.all.until(|e| e.kind == "reading");
        let took = began.elapsed().as_secs_f64();
        (self.say)(&format!(
            "serve: it is started again: the meter is linked by itself after {took:.1} s"
        ));
    }
}

/// What is in the visit's trail after all that.
fn trail(data: &Path) {
    let folder = std::fs::read_dir(data.join("visits")).expect("a folder");
    let trail: PathBuf = folder
        .map(|e| e.expect("a file").path())
        .find(|p| p.extension().is_some_and(|e| e == "trail"))
        .expect("a trail");
    assert!(verify(&trail).expect("read").is_sound());
    let entries = read(&trail).expect("read");
    let events: Vec<Kept> = entries
        .filter_map(|item| match item.expect("sound").body {
            Body::Entry(entry) => Some(entry.event),
            _ => None,
        })
        .collect();
    let count = |is: fn(&Kept) -> bool| events.iter().filter(|e| is(e)).count();
    assert_eq!(count(|e| matches!(e, Kept::Took(_))), 1, "{events:#?}");
    assert_eq!(count(|e| matches!(e, Kept::Voided { .. })), 1);
    assert!(count(|e| matches!(e, Kept::MeterLost { .. })) >= 2);
    assert!(count(|e| matches!(e, Kept::MeterBack { gap_us, .. } if *gap_us > 0)) >= 2);
    assert!(count(|e| matches!(e, Kept::Readings { .. })) >= 2);
}
