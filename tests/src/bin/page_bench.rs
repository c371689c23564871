//! The page's bench as a command: `cargo xtask bench page`. Prints each number beside what it is held to.

use std::process::ExitCode;
use std::time::{Duration, SystemTime, UNIX_EPOCH};

use ohmtrail_core::reading::Function;
use ohmtrail_meters::sim::face::Moves;
use ohmtrail_tests::browser::Script;
use ohmtrail_tests::truck::Truck;
use serde_json::{Value, json};

/// From one frame of a meter to the next: as often as a quick one sends.
const FRAME_EVERY: Duration = Duration::from_millis(100);
/// How often it is looked whether a frame was sent.
const LOOK_EVERY: Duration = Duration::from_micros(200);

/// Milliseconds since 1970, as a browser on this machine counts them.
fn now_ms() -> f64 {
    let now = SystemTime::now().duration_since(UNIX_EPOCH);
    now.expect("after 1970").as_secs_f64() * 1e3
}

fn main() -> ExitCode {
    let truck = Truck::moving(FRAME_EVERY, Moves::NONE);
    let daemon = truck.daemon();
    let meters = json!([{ "meter": "meter-1" }]);
    let visit = daemon.open("split-heat-pump-1ph", "nothing-runs", &meters);
    let mut script = Script::start(
        "bench.mjs",
        &json!({
            "base": daemon.base, "visit": visit.trim_start_matches("/api/v1"),
            "width": 390, "height": 844, "language": "en", "times": 9, "readings": 60,
        }),
    );
    let mut ended = Value::Null;
    while let Some(said) = script.says() {
        match said["hand"].as_str() {
            Some("set") => {
                let volts = said["volts"].as_f64().expect("a number");
                let meter = &truck.meters[0];
                meter.set(Function::VoltsAc, volts).expect("shown");
                // The next frame is the first that shows it.
                let sent = meter.sent();
                while meter.sent() == sent {
                    std::thread::sleep(LOOK_EVERY);
                }
                script.tell(&json!(now_ms()));
            }
            Some("thousand") => {
                truck.thousand_takes(&visit);
                script.tell(&Value::Null);
            }
            _ => ended = said,
        }
    }
    let rows = [
        ("first view of a visit, first paint, median", "first", 200.0),
        (
            "a reading, its bytes to the screen, median",
            "reading",
            50.0,
        ),
        (
            "a reading, its bytes to the screen, 95 of 100",
            "reading_late",
            50.0,
        ),
        (
            "first view of a visit of 1000 values, median",
            "thousand",
            200.0,
        ),
        (
            "the page put anew after an event, short visit",
            "short",
            50.0,
        ),
        ("the same in a visit of 1000 values", "long", 50.0),
    ];
    let mut misses = 0;
    for (what, key, goal) in rows {
        let value = ended[key].as_f64().expect("a number");
        misses += usize::from(value > goal);
        let word = if value > goal { "MISSED" } else { "held" };
        println!("{what:<52} {value:>8.1} ms  goal {goal:>6.1}  {word}");
    }
    if misses == 0 {
        ExitCode::SUCCESS
    } else {
        eprintln!("{misses} goals are missed");
        ExitCode::FAILURE
    }
}
