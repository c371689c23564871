//! `ohmtrail meters`: the list, and watching a simulated meter through a pseudo-terminal.

use std::path::Path;
use std::time::Duration;

use ohmtrail_core::reading::Function;
use ohmtrail_meters::driver::{driver, drivers};
use ohmtrail_meters::profile::Profile;
use ohmtrail_meters::sim::bench_port::BenchPort;
use ohmtrail_meters::sim::face::Moves;
use ohmtrail_meters::sim::meter::{SimConfig, SimMeter, Speech};
use ohmtrail_tests::cli::{Ran, run, words};

fn start(frame: &str) -> SimMeter {
    SimMeter::start(SimConfig {
        entry: driver(frame).expect("the frame"),
        profile: Profile::simulated(frame).expect("its profile"),
        seed: 5,
        interval: Duration::from_millis(40),
        moves: Moves::NONE,
    })
    .expect("a simulated meter")
}

fn watch(spec: &str, more: &[&str]) -> Ran {
    run(["meters", "watch", "--meter", spec].iter().chain(more))
}

fn spec(meter: &SimMeter, frame: &str) -> String {
    format!("serial:{},frame={frame}", meter.path().display())
}

#[test]
fn drivers_are_listed_with_what_they_cannot_tell() {
    let json = words("meters --json").json();
    let listed = json["drivers"].as_array().expect("a list").clone();
    assert_eq!(listed.len(), drivers().len());
    let text = words("meters").out;
    for row in &listed {
        assert!(!row["functions"].as_array().expect("functions").is_empty());
        assert!(!row["cannot_tell"].as_array().expect("a list").is_empty());
        assert!(text.contains(row["name"].as_str().expect("a name")));
    }
    assert!(text.contains("cannot tell"));
}

/// The bytes of each frame reach the command through a pseudo-terminal, and come out as the value
/// that the simulated meter shows: within its profile's accuracy of the true one.
#[test]
fn a_meter_of_each_frame_is_watched() {
    for frame in ["lcd14", "ascii14", "count14"] {
        let meter = start(frame);
        meter.set(Function::VoltsAc, 238.4).expect("it has volts");
        // What was written before the host opened the port is not read.
        let ran = watch(&spec(&meter, frame), &["--count", "4", "--json"]);
        assert_eq!(ran.code, 0, "{frame}: {ran:?}");
        let lines = ran.json_lines();
        let readings: Vec<_> = lines.iter().filter(|l| l["display"].is_string()).collect();
        assert_eq!(readings.len(), 4, "{frame}: {}", ran.out);
        for reading in readings {
            assert_eq!(reading["function"], "volts-ac");
            assert_eq!(reading["unit"], "V");
            let digits = reading["display"].as_str().expect("digits");
            let volts: f64 = digits.parse().expect("a number");
            assert!((volts - 238.4).abs() < 5.0, "{frame}: {volts}");
        }
        let text = watch(&spec(&meter, frame), &["--count", "1"]);
        assert!(text.out.contains("volts-ac"), "{}", text.out);
    }
}

#[test]
fn a_watch_is_recorded_verified_and_replayed() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("bench.trail");
    let name = file.to_str().expect("text");
    let meter = start("count14");
    meter.set(Function::Ohms, 2.2).expect("it has ohms");
    let live = watch(
        &spec(&meter, "count14"),
        &["--count", "12", "--json", "--record", name],
    );
    assert_eq!(live.code, 0, "{live:?}");
    let verified = run(["trail", "verify", name]);
    assert_eq!(verified.code, 0, "{verified:?}");
    let again = watch(&format!("replay:{name},pace=fast"), &["--json"]);
    assert_eq!(again.code, 0, "{again:?}");
    let digits = |ran: &Ran| -> Vec<(String, String)> {
        ran.json_lines()
            .iter()
            .filter(|l| l["display"].is_string())
            .map(|l| (l["display"].to_string(), l["steady_us"].to_string()))
            .collect()
    };
    assert_eq!(digits(&live).len(), 12);
    assert_eq!(digits(&live), digits(&again));
    // The bytes that were kept beside it, through the driver again: the same, and what else came
    // with the last of them.
    let decoded = watch(
        &format!("replay:{name},frame=count14,pace=fast"),
        &["--json"],
    );
    assert_eq!(decoded.code, 0, "{decoded:?}");
    assert!(digits(&decoded).starts_with(&digits(&live)), "{decoded:?}");
    // Through a driver of another frame they are nothing.
    let other = watch(
        &format!("replay:{name},frame=ascii14,pace=fast"),
        &["--json"],
    );
    assert_eq!((other.code, digits(&other).len()), (4, 0), "{other:?}");
    // A trail is never written over.
    let twice = watch(
        &spec(&meter, "count14"),
        &["--count", "1", "--record", name],
    );
    assert_eq!(twice.code, 3, "{twice:?}");
}

/// Killed while it records: what was shown a second before is in the trail.
#[test]
fn a_killed_recording_keeps_what_it_took() {
    use std::io::{BufRead, BufReader};
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("bench.trail");
    let meter = start("lcd14");
    meter.set(Function::VoltsAc, 120.0).expect("it has volts");
    let mut child = ohmtrail_tests::cli::ohmtrail()
        .args([
            "meters",
            "watch",
            "--meter",
            &spec(&meter, "lcd14"),
            "--record",
        ])
        .arg(&file)
        .stdout(std::process::Stdio::piped())
        .spawn()
        .expect("the binary starts");
    let lines = BufReader::new(child.stdout.take().expect("a pipe")).lines();
    // At 25 readings a second, 75 lines are three seconds.
    let shown = lines.take(75).filter(Result::is_ok).count();
    child.kill().expect("killed");
    child.wait().expect("it ends");
    assert_eq!(shown, 75);
    let (_, entries, recovery) = ohmtrail_trail::Trail::open(&file).expect("it opens");
    let kept: usize = entries
        .iter()
        .map(|e| match &e.event {
            ohmtrail_trail::event::Event::Readings { readings, .. } => readings.len(),
            _ => 0,
        })
        .sum();
    assert!(recovery.damage.is_empty());
    // A second of readings may be lost; a slow machine prints in bursts.
    assert!(kept >= 45, "{kept} of {shown} kept");
}

/// Without a meter it listens, says what it tried and why it chose, and shows the values of all.
#[test]
fn what_is_plugged_in_is_found_by_listening() {
    let meters = [start("count14"), start("lcd14")];
    for meter in &meters {
        meter.set(Function::VoltsAc, 120.0).expect("it has volts");
    }
    let [first, second] = meters.each_ref().map(|m| m.path().display().to_string());
    let ran = run([
        "meters", "watch", "--json", "--count", "20", "--port", &first, "--port", &second,
    ]);
    assert_eq!(ran.code, 0, "{ran:?}");
    let lines = ran.json_lines();
    for (port, frame) in [(&first, "count14"), (&second, "lcd14")] {
        let chose = lines.iter().any(|l| {
            let words = l["words"].as_str().unwrap_or_default();
            l["port"] == **port && words.starts_with(&format!("chose {frame} at"))
        });
        assert!(chose, "{port}: {}", ran.out);
    }
    let of = |meter: u16| {
        lines
            .iter()
            .filter(|l| l["display"].is_string() && l["meter"] == meter)
            .count()
    };
    assert!(of(1) > 0 && of(2) > 0 && of(1) + of(2) == 20, "{}", ran.out);

    // A silent port is told of, and is not asked.
    let bench = BenchPort::pty().expect("a port");
    let path = bench.path().expect("a path").display().to_string();
    let silent = run(["meters", "watch", "--port", &path]);
    assert_eq!(silent.code, 4, "{silent:?}");
    assert!(
        silent.err.contains("silent") && silent.err.contains("--ask"),
        "{}",
        silent.err
    );
    assert_eq!(bench.bench().heard().len(), 0);
    let asked = run(["meters", "watch", "--port", &path, "--ask", "--count", "2"]);
    assert_eq!(asked.code, 0, "{asked:?}");
    assert!(asked.out.contains("volts-dc"), "{}", asked.out);
}

#[test]
fn a_meter_that_cannot_be_reached_says_which_way() {
    let missing = watch("serial:/dev/no-such-port,frame=lcd14", &["--count", "1"]);
    assert_eq!(missing.code, 4, "{missing:?}");
    assert!(
        missing.err.contains("/dev/no-such-port: no such port"),
        "{}",
        missing.err
    );
    let folder = tempfile::tempdir().expect("a folder");
    let plain = folder.path().join("plain");
    std::fs::write(&plain, "no port").expect("written");
    let file = watch(&format!("serial:{},frame=lcd14", plain.display()), &[]);
    assert_eq!(file.code, 4);
    assert!(file.err.contains("not a serial port"), "{}", file.err);

    // Busy: the simulated port is held by a watch already.
    let meter = start("lcd14");
    let mut holder = ohmtrail_tests::cli::ohmtrail()
        .args([
            "meters",
            "watch",
            "--seconds",
            "30",
            "--meter",
            &spec(&meter, "lcd14"),
        ])
        .stdout(std::process::Stdio::piped())
        .spawn()
        .expect("the binary starts");
    let mut first = String::new();
    let mut reader = std::io::BufReader::new(holder.stdout.take().expect("a pipe"));
    std::io::BufRead::read_line(&mut reader, &mut first).expect("a line");
    let busy = watch(&spec(&meter, "lcd14"), &["--count", "1"]);
    holder.kill().expect("killed");
    holder.wait().expect("it ends");
    assert_eq!(busy.code, 4, "{busy:?}");
    assert!(busy.err.contains("busy"), "{}", busy.err);
}

#[test]
fn silence_garbage_and_unplugging_are_told_apart() {
    let meter = start("lcd14");
    meter.speak(Speech::Nothing);
    let silent = watch(&spec(&meter, "lcd14"), &["--seconds", "3"]);
    assert_eq!(silent.code, 4, "{silent:?}");
    assert!(silent.err.contains("silent") && silent.err.contains("no reading came"));

    meter.speak(Speech::Garbage);
    let garbage = watch(&spec(&meter, "lcd14"), &["--seconds", "5"]);
    assert_eq!(garbage.code, 4, "{garbage:?}");
    assert!(
        garbage.err.contains("wrong speed or wrong frame type"),
        "{}",
        garbage.err
    );

    meter.speak(Speech::Frames);
    let named = spec(&meter, "lcd14");
    let pull = std::thread::spawn(move || {
        std::thread::sleep(Duration::from_millis(1500));
        meter.unplug();
    });
    // It waits for the meter to come back, as long as it was told to watch.
    let away = watch(&named, &["--json", "--seconds", "5"]);
    pull.join().expect("unplugged");
    assert_eq!(away.code, 4, "{away:?}");
    let links: Vec<String> = away
        .json_lines()
        .iter()
        .filter_map(|l| Some(l["link"].as_str()?.to_owned()))
        .collect();
    // First it hangs up, then the port is not there.
    assert_eq!(links, ["up", "away", "away"], "{away:?}");
}

#[test]
fn a_spec_that_is_not_understood_is_a_usage_error() {
    for (text, words_of) in [
        ("serial:/dev/x", "frame= is missing"),
        ("serial:/dev/x,frame=morse", "no such frame"),
        ("telepathy", "no such kind of meter"),
        ("keyed", "nothing to watch"),
    ] {
        let ran = watch(text, &[]);
        assert_eq!(ran.code, 2, "{text}: {ran:?}");
        assert!(ran.err.contains(words_of), "{text}: {}", ran.err);
    }
    let profile = watch("serial:/dev/x,frame=lcd14,profile=/nowhere.toml", &[]);
    assert_eq!(profile.code, 3, "{profile:?}");
    assert!(!Path::new("/nowhere.toml").exists());
}

/// Interrupted from the keyboard, a recording is closed in order.
#[test]
fn an_interrupt_ends_a_recording_in_order() {
    use std::io::{BufRead, BufReader};
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("bench.trail");
    let meter = start("ascii14");
    let mut child = ohmtrail_tests::cli::ohmtrail()
        .args([
            "meters",
            "watch",
            "--meter",
            &spec(&meter, "ascii14"),
            "--record",
        ])
        .arg(&file)
        .stdout(std::process::Stdio::piped())
        .spawn()
        .expect("the binary starts");
    let mut reader = BufReader::new(child.stdout.take().expect("a pipe"));
    let mut first = String::new();
    reader.read_line(&mut first).expect("a line");
    let told = std::process::Command::new("sh")
        .args(["-c", &format!("kill -INT {}", child.id())])
        .status();
    assert!(told.is_ok_and(|s| s.success()), "no interrupt was sent");
    // The rest is read, so that the last line finds a reader.
    std::io::copy(&mut reader, &mut std::io::sink()).expect("read");
    assert_eq!(child.wait().expect("it ends").code(), Some(0));
    let entries = ohmtrail_trail::Trail::open(&file).expect("it opens").1;
    let last = entries.last().expect("an entry");
    assert_eq!(last.event, ohmtrail_trail::event::Event::Closed);
}
