//! What happens to meters in a truck, one after the other under the real daemon: unplugged and
//! plugged in, asleep, a battery that dies, a port that another program holds, a range that changes in
//! the middle of a take. How a meter stands is shown within 2 s, it comes back by itself, the gap is in
//! the trail, and a take in progress is voided, not guessed. A radio link that drops is in `ble/going.rs`.

use std::fs::File;
use std::os::unix::fs::symlink;
use std::path::{Path, PathBuf};
use std::time::Duration;

use ohmtrail_core::reading::{Flags, Function};
use ohmtrail_meters::driver::driver;
use ohmtrail_meters::profile::Profile;
use ohmtrail_meters::sim::face::Moves;
use ohmtrail_meters::sim::meter::{SimConfig, SimMeter, Speech};
use ohmtrail_tests::client::{Daemon, Event, Events};
use rustix::fs::{FlockOperation, flock};
use serde_json::{Value, json};
use tempfile::TempDir;

const FRAME: &str = "count14";
/// What is shown is shown within this, microseconds.
const SHOWN_US: u64 = 2_000_000;
/// A machine that does many other things at once may be late for once: so often it is tried.
const TIMES: usize = 5;

/// A daemon with a meter at a port that keeps its name, and a visit that the meter has joined.
struct Truck {
    daemon: Daemon,
    port: PathBuf,
    visit: String,
    /// What every meter says.
    all: Events,
    /// What the visit's trail says.
    trail: Events,
    data: TempDir,
}

fn meter() -> SimMeter {
    SimMeter::start(SimConfig {
        entry: driver(FRAME).expect("built in"),
        profile: Profile::simulated(FRAME).expect("built in"),
        seed: 5,
        interval: Duration::from_millis(50),
        // For 3 s after it is put on, the contact is bad: the display does not stand still, and nothing
        // is taken, however late a busy machine is.
        moves: Moves {
            lifted: 0,
            bounce: 60,
            ranging: 3,
        },
    })
    .expect("a simulated meter")
}

fn plug(port: &Path) -> SimMeter {
    let meter = meter();
    let new = port.with_extension("new");
    symlink(meter.path(), &new).expect("a name");
    std::fs::rename(new, port).expect("the name");
    meter
}

fn stands(standing: &'static str) -> impl Fn(&Event) -> bool {
    move |e| e.kind == "meter" && e.data["standing"] == standing
}

impl Truck {
    fn new() -> (Truck, SimMeter) {
        let data = tempfile::tempdir().expect("a folder");
        let port = data.path().join("port");
        let sim = plug(&port);
        let spec = format!("fine=serial:{},frame={FRAME}", port.display());
        let daemon = Daemon::start(data.path(), &["--meter".to_owned(), spec]);
        let all = daemon.events("/api/v1/events", None);
        all.until(|e| e.kind == "reading");
        let joins = json!([{ "meter": "fine", "role": "volts at the contactor" }]);
        let visit = daemon.open("split-heat-pump-1ph", "nothing-runs", &joins);
        let trail = daemon.events(&format!("{visit}/events"), None);
        let truck = Truck {
            daemon,
            port,
            visit,
            all,
            trail,
            data,
        };
        truck.until_it_measures();
        (truck, sim)
    }

    fn now(&self) -> Value {
        self.daemon.get(&format!("{}/now", self.visit)).good()
    }

    /// Answers looks with no until a measurement is asked for.
    fn until_it_measures(&self) -> u64 {
        loop {
            let ask = self.now()["ask"].clone();
            let path = format!("{}/asks/{}", self.visit, ask["id"]);
            match ask["do"].as_str() {
                Some("look") => {
                    let answer = json!({ "answer": false });
                    let said = self.daemon.post(&format!("{path}/look"), &answer);
                    assert_eq!(said.status, 200);
                }
                Some("measure") => return ask["id"].as_u64().expect("a number"),
                other => panic!("{other:?}"),
            }
        }
    }

    /// Waits for the display to stand still, in answer to the measurement that is asked for.
    fn watch(&self) -> u64 {
        let ask = self.until_it_measures();
        let path = format!("{}/asks/{ask}/watch", self.visit);
        let said = self.daemon.post(&path, &json!({ "meter": "fine" })).good();
        assert_eq!(said["now"]["watching"]["ask"], ask);
        ask
    }

    /// The take in progress was voided, and the gap has begun in the trail.
    fn voided(&self, ask: u64) {
        let voided = self.trail.until(|e| e.kind == "voided");
        assert_eq!(voided.data["data"]["ask"], ask);
        self.trail.until(|e| e.kind == "meter-lost");
        let takes = self.daemon.get(&self.visit).good()["takes"].clone();
        assert_eq!(takes, json!([]), "a take was guessed");
        assert_eq!(self.now()["watching"], Value::Null);
    }

    /// The gap has ended in the trail.
    fn back(&self) {
        self.all.until(stands("up"));
        let back = self.trail.until(|e| e.kind == "meter-back");
        assert!(
            back.data["data"]["gap_us"]
                .as_u64()
                .is_some_and(|us| us > 0)
        );
    }

    /// When the meter was last read, on the daemon's steady clock.
    fn last_read(&self) -> u64 {
        let meter = self.daemon.get("/api/v1/meters/fine").good();
        let at = &meter["latest"]["steady_us"];
        at.as_u64().expect("it was read")
    }

    /// Since when the meter has stood as it does.
    fn since(event: &Event) -> u64 {
        event.data["since_us"].as_u64().expect("a time")
    }

    fn ends(self) {
        assert_eq!(self.daemon.stop(), 0);
        let trails = std::fs::read_dir(self.data.path().join("visits")).expect("a folder");
        let trail = trails
            .map(|e| e.expect("a file").path())
            .find(|p| p.extension().is_some_and(|e| e == "trail"));
        let trail = trail.expect("a trail");
        assert!(ohmtrail_trail::verify(&trail).expect("read").is_sound());
    }
}

/// Whether it was shown in time at least once: a machine may be busy, and the daemon may not be slow.
fn shown_in_time(took_us: &[u64]) {
    assert!(took_us.iter().any(|us| *us < SHOWN_US), "{took_us:?} us");
}

#[test]
fn unplugged_and_plugged_in_again() {
    let (truck, mut sim) = Truck::new();
    let mut took = Vec::new();
    for _ in 0..TIMES {
        sim.set(Function::VoltsAc, 230.0).expect("shown");
        let ask = truck.watch();
        let pulled = std::time::Instant::now();
        sim.unplug();
        let away = truck.all.until(stands("away"));
        took.push(u64::try_from(pulled.elapsed().as_micros()).expect("short"));
        let why = away.data["why"].as_str().expect("words");
        assert!(why.contains("unplugged"), "{why}");
        truck.voided(ask);
        sim = plug(&truck.port);
        truck.back();
    }
    shown_in_time(&took);
    truck.ends();
}

/// A meter switches itself off to save its battery, and is woken by a button.
#[test]
fn asleep_and_awake_again() {
    let (truck, sim) = Truck::new();
    let mut took = Vec::new();
    for _ in 0..TIMES {
        sim.set(Function::VoltsAc, 230.0).expect("shown");
        let ask = truck.watch();
        sim.speak(Speech::Nothing);
        let silent = truck.all.until(stands("silent"));
        took.push(Truck::since(&silent) - truck.last_read());
        truck.voided(ask);
        sim.speak(Speech::Frames);
        truck.back();
    }
    shown_in_time(&took);
    truck.ends();
}

/// Low first, with readings that prove nothing; then bytes that are no frames; then nothing.
#[test]
fn a_battery_that_dies() {
    let (truck, sim) = Truck::new();
    let low = Flags::LOW_BATTERY.with(Flags::AUTO_RANGE);
    sim.set_flags(low).expect("the frame carries it");
    sim.set(Function::VoltsAc, 230.0).expect("shown");
    let ask = truck.watch();
    let took = truck.trail.until(|e| e.kind == "took");
    assert_eq!(took.data["data"]["ask"], ask);
    let view = truck.daemon.get(&truck.visit).good();
    let why = view["takes"][0]["void"].as_str().expect("it is void");
    assert!(why.contains("battery"), "{why}");
    // It is asked again, and the battery gives out meanwhile.
    let asked = truck.until_it_measures();
    let watch = format!("{}/asks/{asked}/watch", truck.visit);
    let before = view["takes"].as_array().map(Vec::len);
    sim.set(Function::VoltsAc, 12.0).expect("shown");
    let watched = truck.daemon.post(&watch, &json!({ "meter": "fine" }));
    assert_eq!(watched.status, 200);
    sim.speak(Speech::Garbage);
    truck.all.until(stands("garbage"));
    sim.speak(Speech::Nothing);
    truck.all.until(stands("silent"));
    truck.trail.until(|e| e.kind == "voided");
    truck.trail.until(|e| e.kind == "meter-lost");
    let after = truck.daemon.get(&truck.visit).good()["takes"].clone();
    assert_eq!(after.as_array().map(Vec::len), before, "a take was guessed");
    // A new one is put in.
    sim.set_flags(Flags::AUTO_RANGE).expect("carried");
    sim.speak(Speech::Frames);
    truck.back();
    truck.ends();
}

#[test]
fn another_program_holds_the_port() {
    let (truck, sim) = Truck::new();
    let mut took = Vec::new();
    let mut sim = Some(sim);
    for _ in 0..TIMES {
        let pulled = sim.take().expect("a meter");
        pulled.set(Function::VoltsAc, 230.0).expect("shown");
        let ask = truck.watch();
        // The lead is pulled, and another program is there first when it is back.
        pulled.unplug();
        truck.all.until(stands("away"));
        truck.voided(ask);
        let new = meter();
        let other = File::options()
            .read(true)
            .write(true)
            .open(new.path())
            .expect("a port");
        flock(&other, FlockOperation::LockExclusive).expect("held");
        let beside = truck.port.with_extension("new");
        symlink(new.path(), &beside).expect("a name");
        let plugged = std::time::Instant::now();
        std::fs::rename(beside, &truck.port).expect("the name");
        let held = |e: &Event| {
            let why = e.data["why"].as_str().unwrap_or_default();
            e.kind == "meter" && why.contains("another program")
        };
        let told = truck.all.until(held);
        took.push(u64::try_from(plugged.elapsed().as_micros()).expect("short"));
        assert_eq!(told.data["standing"], "away");
        drop(other);
        truck.back();
        sim = Some(new);
    }
    // It is looked for every 2 s at most: the pauses double up to that.
    shown_in_time(&took);
    truck.ends();
}

/// While the range changes, the display shows overloads and halves: what is taken is what it comes to.
#[test]
fn a_range_that_changes_in_the_middle_of_a_take() {
    let (truck, sim) = Truck::new();
    sim.set(Function::VoltsAc, 0.35).expect("shown");
    let ask = truck.watch();
    // From a range of tenths of a millivolt to one of tenths of a volt and back, and no rest between.
    for turn in 0..10 {
        let volts = if turn % 2 == 0 { 238.4 } else { 0.35 };
        sim.set(Function::VoltsAc, volts).expect("shown");
        std::thread::sleep(Duration::from_millis(120));
        assert_eq!(truck.now()["ask"]["id"], ask, "it was taken in between");
    }
    sim.set(Function::VoltsAc, 238.4).expect("shown");
    let took = truck.trail.until(|e| e.kind == "took");
    assert_eq!(took.data["data"]["ask"], ask);
    let display = took.data["data"]["display"].as_str().expect("digits");
    let volts: f64 = display.parse().expect("a number");
    assert!((volts - 238.4).abs() < 5.0, "{took:?}");
    truck.ends();
}
