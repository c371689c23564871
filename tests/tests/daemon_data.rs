//! What the daemon keeps in its data folder besides visits, whose folder it is, and trails that are
//! replayed as meters.

use std::fs;
use std::os::unix::fs::{MetadataExt, PermissionsExt, chown};
use std::os::unix::process::CommandExt;
use std::path::Path;
use std::process::Stdio;
use std::time::Duration;

use ohmtrail_core::reading::Function;
use ohmtrail_meters::driver::driver;
use ohmtrail_meters::profile::Profile;
use ohmtrail_meters::sim::face::Moves;
use ohmtrail_meters::sim::meter::{SimConfig, SimMeter};
use ohmtrail_tests::cli::{binary, ohmtrail};
use ohmtrail_tests::client::{Daemon, Event};
use serde_json::{Value, json};

const FRAME: &str = "count14";

fn names(daemon: &Daemon) -> Vec<String> {
    let meters = daemon.get("/api/v1/meters").good();
    let meters = meters["meters"].as_array().expect("meters");
    let names = meters.iter().map(|m| m["name"].as_str().expect("a name"));
    names.map(str::to_owned).collect()
}

#[test]
fn meters_that_are_added_are_there_again_until_they_are_taken_off() {
    let data = tempfile::tempdir().expect("a folder");
    let add = |daemon: &Daemon, body: Value| daemon.post("/api/v1/meters", &body);
    let daemon = Daemon::start(data.path(), &[]);
    let fine =
        json!({ "spec": "serial:/dev/invented-1,frame=count14", "name": "fine", "role": "volts" });
    assert_eq!(add(&daemon, fine.clone()).status, 201);
    let unnamed = add(&daemon, json!({ "spec": "tcp:localhost:1,frame=scpi" })).good();
    let gone = json!({ "spec": "serial:/dev/invented-2,frame=lcd14", "name": "gone" });
    assert_eq!(add(&daemon, gone).status, 201);
    assert_eq!(daemon.delete("/api/v1/meters/gone").status, 204);
    assert_eq!(add(&daemon, fine).problem(409), "meter-taken");
    let unnamed = unnamed["name"].as_str().expect("a name").to_owned();
    let kept = fs::metadata(data.path().join("meters.json")).expect("it is kept");
    assert_eq!(kept.permissions().mode() & 0o777, 0o600);
    // At once: what was answered for is on disk.
    daemon.kill();

    let daemon = Daemon::start(data.path(), &[]);
    assert_eq!(names(&daemon), ["fine".to_owned(), unnamed.clone()]);
    let fine = daemon.get("/api/v1/meters/fine").good();
    assert_eq!(
        (&fine["role"], &fine["place"]),
        (&json!("volts"), &json!("/dev/invented-1"))
    );
    assert_eq!(daemon.delete("/api/v1/meters/fine").status, 204);
    assert_eq!(daemon.stop(), 0);

    // The configuration's meters are its own, and come first.
    let config = data.path().join("config.toml");
    let meter =
        format!("[[meter]]\nname = \"{unnamed}\"\nspec = \"serial:/dev/invented-3,frame=lcd14\"\n");
    fs::write(&config, meter).expect("written");
    let config = ["--config".to_owned(), config.display().to_string()];
    let daemon = Daemon::start(data.path(), &config);
    assert_eq!(names(&daemon), std::slice::from_ref(&unnamed));
    let place = daemon.get(&format!("/api/v1/meters/{unnamed}")).good()["place"].clone();
    assert_eq!(place, "/dev/invented-3");
    assert_eq!(daemon.stop(), 0);

    // What cannot be read is said, and not thrown away.
    fs::write(data.path().join("meters.json"), "[{").expect("written");
    let out = serve(data.path()).output().expect("it ends");
    let why = String::from_utf8(out.stderr).expect("text");
    assert!(!out.status.success());
    assert!(
        why.contains("meters.json") && why.contains("correct it"),
        "{why}"
    );
    let kept = fs::read_to_string(data.path().join("meters.json")).expect("still there");
    assert_eq!(kept, "[{");
}

fn serve(data: &Path) -> std::process::Command {
    let mut command = ohmtrail();
    command
        .args(["--json", "serve", "--listen", "127.0.0.1:0", "--data"])
        .arg(data)
        .env("XDG_CONFIG_HOME", data)
        .env("HOME", data)
        .stdin(Stdio::null());
    command
}

/// A folder that root has made, and a daemon of another user: only root can make that happen, so anybody
/// else sees the other half, a folder above that is root's.
#[test]
fn a_data_folder_of_another_user_is_named_with_what_to_do() {
    let us = fs::metadata("/proc/self").expect("proc(5)").uid();
    if us != 0 {
        let out = serve(Path::new("/ohmtrail-of-another-user")).output();
        let why = String::from_utf8(out.expect("it ends").stderr).expect("text");
        assert!(why.contains("belongs to user 0"), "{why}");
        assert!(why.contains("--data"), "{why}");
        return;
    }
    // Where every user may come; the binary, too.
    let place = tempfile::tempdir().expect("a folder");
    fs::set_permissions(place.path(), fs::Permissions::from_mode(0o755)).expect("opened");
    let program = place.path().join("ohmtrail");
    fs::copy(binary(), &program).expect("copied");
    let data = place.path().join("data");
    let daemon = Daemon::start(&data, &[]);
    let visit = daemon.open("control-loop-24v", "no-pull-in", &json!([]));
    assert_eq!(daemon.stop(), 0);
    let as_other = || {
        let mut command = std::process::Command::new(&program);
        command
            .args(["serve", "--listen", "127.0.0.1:0", "--data"])
            .arg(&data)
            .env("HOME", place.path())
            .stdin(Stdio::null())
            .uid(65_534)
            .gid(65_534);
        command
    };
    let refused = |what: &str| {
        let out = as_other().output().expect("it ends");
        let why = String::from_utf8(out.stderr).expect("text");
        assert!(!out.status.success());
        assert!(why.contains("belongs to user 0"), "{why}");
        assert!(why.contains("runs as user 65534"), "{why}");
        let remedy = format!("chown -R 65534 {}", data.display());
        assert!(why.contains(&remedy), "{why}");
        assert!(why.contains(what), "{why}");
    };
    refused("data: it belongs");
    // The folder was given over, but not what is in it.
    chown(&data, Some(65_534), None).expect("given");
    refused("data/");
    // What it says to do is enough.
    let done = std::process::Command::new("chown")
        .args(["-R", "65534"])
        .arg(&data)
        .status();
    assert!(done.expect("chown is there").success());
    let mut child = as_other()
        .arg("--json")
        .stdout(Stdio::piped())
        .spawn()
        .expect("it starts");
    let mut line = String::new();
    let out = child.stdout.take().expect("its output");
    std::io::BufRead::read_line(&mut std::io::BufReader::new(out), &mut line).expect("a line");
    assert!(line.contains("serving"), "{line}");
    child.kill().expect("killed");
    child.wait().expect("gone");
    assert!(!visit.is_empty());
}

/// The readings of one day as a meter of another: they come with the pauses that they had, to simulated
/// visits only, and the meter says when it is through.
#[test]
fn a_trail_is_replayed_as_a_meter() {
    let data = tempfile::tempdir().expect("a folder");
    let sim = SimMeter::start(SimConfig {
        entry: driver(FRAME).expect("built in"),
        profile: Profile::simulated(FRAME).expect("built in"),
        seed: 9,
        interval: Duration::from_millis(20),
        moves: Moves::default(),
    })
    .expect("a simulated meter");
    sim.set(Function::VoltsAc, 231.7).expect("shown");
    let trail = data.path().join("visits/kept.trail");
    fs::create_dir_all(data.path().join("visits")).expect("a folder");
    let spec = format!("serial:{},frame={FRAME}", sim.path().display());
    let recorded = ohmtrail()
        .args([
            "--json", "meters", "watch", "--count", "40", "--meter", &spec,
        ])
        .arg("--record")
        .arg(&trail)
        .output()
        .expect("it runs");
    assert!(recorded.status.success(), "{recorded:?}");
    let shown: Vec<String> = String::from_utf8(recorded.stdout)
        .expect("text")
        .lines()
        .map(|line| serde_json::from_str::<Value>(line).expect("JSON"))
        .filter_map(|line| Some(line["display"].as_str()?.to_owned()))
        .collect();
    assert_eq!(shown.len(), 40);
    drop(sim);

    let daemon = Daemon::start(data.path(), &[]);
    let events = daemon.events("/api/v1/events", None);
    for (name, spec) in [
        ("readings", "replay:kept.trail".to_owned()),
        (
            "bytes",
            format!("replay:kept.trail.bytes,pace=fast,frame={FRAME}"),
        ),
    ] {
        let body = json!({ "name": name, "spec": spec });
        assert_eq!(daemon.post("/api/v1/meters", &body).status, 201);
        let mut came = Vec::new();
        let mut last = 0;
        loop {
            let event: Event = events.until(|e| e.data["meter"] == name);
            if event.kind == "reading" {
                came.push(event.data["display"].as_str().expect("digits").to_owned());
                let at = event.data["steady_us"].as_u64().expect("a time");
                assert!(at >= last, "they come now, one after the other");
                last = at;
            } else if event.data["standing"] == "ended" {
                break;
            }
        }
        assert!(came.len() >= 40, "{} of 40", came.len());
        assert_eq!(came[..40], shown[..], "{name}: the digits as they were");
    }
    // At a real unit a replay proves nothing.
    let real =
        json!({ "sheet": "control-loop-24v", "unit": "invented", "complaint": "no-pull-in" });
    let visit = daemon.post("/api/v1/visits", &real).good();
    let path = format!(
        "/api/v1/visits/{}/meters",
        visit["id"].as_str().expect("a name")
    );
    let join = json!({ "meter": "readings" });
    assert_eq!(daemon.post(&path, &join).problem(409), "meter-replayed");
    let simulated = daemon.open("control-loop-24v", "no-pull-in", &json!([]));
    let joined = daemon.post(&format!("{simulated}/meters"), &join);
    assert_eq!(joined.status, 200);
    // Only what is in the folder of visits can be named.
    let outside = json!({ "spec": "replay:../config.toml" });
    assert_eq!(daemon.post("/api/v1/meters", &outside).status, 422);
    assert_eq!(daemon.stop(), 0);
}
