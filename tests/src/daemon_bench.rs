//! What the daemon is held to, measured on the real binary with real pseudo-terminals and sockets:
//! `cargo xtask bench daemon`. The kill and unplug cycles are tests, too, with fewer of them.

use std::collections::BTreeMap;
use std::fs;
use std::io::{BufRead, BufReader, Write};
use std::net::TcpStream;
use std::os::unix::fs::symlink;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, channel};
use std::thread::{JoinHandle, sleep};
use std::time::{Duration, Instant};

use ohmtrail_core::reading::{Decimal, Flags, Function, Shown};
use ohmtrail_core::units::Micros;
use ohmtrail_meters::driver::driver;
use ohmtrail_meters::showing::Showing;
use ohmtrail_meters::sim::noise::Noise;
use ohmtrail_meters::sim::pty::Pty;
use ohmtrail_trail::event::{Entry, Event, Streamed};
use ohmtrail_trail::{Trail, read};
use serde_json::{Value, json};

use crate::daemon::{Daemon, PATIENCE};

const JSON: (&str, &str) = ("Content-Type", "application/json");
/// Many requests from one address are what is measured here.
const LIMITS: &str =
    "[limits]\nrequests-per-second = 100000\nburst = 100000\n[log]\nlevel = \"warn\"\n";
/// Compiled at every start: a small one.
const SHEET: &str = "control-loop-24v";

/// The frame of a meter that shows so many tenths of a volt, 0 to 9999.
fn frame(tenths: u32) -> [u8; 14] {
    let showing = Showing {
        function: Function::VoltsAc,
        shown: Shown::Value(Decimal::new(i32::try_from(tenths).expect("few"), -1)),
        flags: Flags::NONE,
    };
    let encode = driver("ascii14")
        .and_then(|d| d.encode)
        .expect("an encoder");
    encode(&showing).expect("a value of its display")
}

/// A configuration with those meters.
fn meters(paths: &[PathBuf]) -> String {
    let mut text = LIMITS.to_owned();
    for (i, path) in paths.iter().enumerate() {
        let spec = format!("serial:{},frame=ascii14", path.display());
        text.push_str(&format!("[[meter]]\nname = \"m{i}\"\nspec = \"{spec}\"\n"));
    }
    text
}

/// A stream of server-sent events: each with its kind, its data and when it came.
struct Events {
    came: Receiver<(Instant, String, Value)>,
    stream: TcpStream,
    reader: Option<JoinHandle<()>>,
}

impl Events {
    fn of(daemon: &Daemon) -> Self {
        let mut stream = daemon.connect();
        let request = daemon.request("GET", "/api/v1/events", &[], "");
        stream.write_all(request.as_bytes()).expect("sent");
        stream.set_read_timeout(None).expect("set");
        let lines = BufReader::new(stream.try_clone().expect("a second handle"));
        let (send, came) = channel();
        let reader = std::thread::spawn(move || {
            let mut kind = String::new();
            for line in lines.lines() {
                let Ok(line) = line else { return };
                if let Some(name) = line.strip_prefix("event: ") {
                    kind = name.to_owned();
                } else if let Some(data) = line.strip_prefix("data: ") {
                    let at = Instant::now();
                    let data = serde_json::from_str(data).unwrap_or(Value::Null);
                    if send.send((at, std::mem::take(&mut kind), data)).is_err() {
                        return;
                    }
                }
            }
        });
        Events {
            came,
            stream,
            reader: Some(reader),
        }
    }

    /// Waits for an event; gives when it came.
    fn wait(&self, what: &str, is_it: impl Fn(&str, &Value) -> bool) -> Instant {
        let since = Instant::now();
        loop {
            let left = PATIENCE.saturating_sub(since.elapsed());
            let (at, kind, data) = self
                .came
                .recv_timeout(left)
                .unwrap_or_else(|e| panic!("no event: {what}: {e}"));
            if is_it(&kind, &data) {
                return at;
            }
        }
    }

    /// Waits for a reading that shows so many tenths of a volt.
    fn reading(&self, tenths: u32) -> Instant {
        let shown = format!("{}.{}", tenths / 10, tenths % 10);
        self.wait(&shown, |kind, data| {
            kind == "reading" && data["display"] == shown.as_str()
        })
    }
}

impl Drop for Events {
    fn drop(&mut self) {
        // The reader ends when its socket does.
        let _ = self.stream.shutdown(std::net::Shutdown::Both);
        if let Some(reader) = self.reader.take() {
            let _ = reader.join();
        }
    }
}

/// Durations, sorted.
#[derive(Debug, Clone)]
pub struct Durations(Vec<Duration>);

impl Durations {
    fn of(mut all: Vec<Duration>) -> Self {
        all.sort();
        Durations(all)
    }

    /// The one that so many percent are not above, milliseconds.
    ///
    /// # Panics
    /// If there are none.
    #[must_use]
    pub fn percentile(&self, percent: usize) -> f64 {
        let at = (self.0.len() * percent).div_ceil(100).max(1) - 1;
        self.0[at].as_secs_f64() * 1e3
    }
}

/// From a frame's last byte on the pty to its event at an HTTP client.
///
/// # Panics
/// If the daemon does not do what it must, as everywhere here.
#[must_use]
pub fn byte_to_event(count: u32, beside_one_that_does_not_read: bool) -> Durations {
    let pty = Pty::open().expect("a pty");
    let daemon = Daemon::start(&meters(&[pty.path().to_owned()]), &[]);
    let mut deaf = None;
    if beside_one_that_does_not_read {
        let mut stream = daemon.connect();
        let request = daemon.request("GET", "/api/v1/events", &[], "");
        stream.write_all(request.as_bytes()).expect("sent");
        deaf = Some(stream);
    }
    let events = Events::of(&daemon);
    let mut noise = Noise::new(1);
    // The first ones until it is connected.
    let since = Instant::now();
    while events.came.try_iter().all(|(_, kind, _)| kind != "reading") {
        pty.write(&frame(9999)).expect("written");
        sleep(Duration::from_millis(50));
        assert!(since.elapsed() < PATIENCE, "nothing is read");
    }
    let took = (0..count).map(|n| {
        sleep(Duration::from_micros(5_000 + noise.bits() % 15_000));
        let tenths = 1000 + n % 8000;
        let frame = frame(tenths);
        let written = Instant::now();
        assert_eq!(pty.write(&frame).expect("written"), frame.len());
        events.reading(tenths).duration_since(written)
    });
    let took = Durations::of(took.collect());
    drop(deaf);
    took
}

/// What many meters cost.
#[derive(Debug, Clone, Copy)]
pub struct Load {
    /// Of one core, percent.
    pub cpu: f64,
    /// Resident, MB of 1,000,000 bytes.
    pub resident: f64,
    /// Readings that came to a client, of those that were sent.
    pub arrived: f64,
}

/// So many meters at ten readings a second each, with one client that watches.
///
/// # Panics
/// As [`byte_to_event`].
#[must_use]
pub fn load(count: usize, lasts: Duration) -> Load {
    let ptys: Vec<Pty> = (0..count).map(|_| Pty::open().expect("a pty")).collect();
    let paths: Vec<PathBuf> = ptys.iter().map(|p| p.path().to_owned()).collect();
    let daemon = Daemon::start(&meters(&paths), &[]);
    let events = Events::of(&daemon);
    let mut turn = 0_u32;
    let mut round = |sent: &mut u64| {
        let until = Instant::now() + Duration::from_millis(100);
        for (i, pty) in ptys.iter().enumerate() {
            let due = until - Duration::from_millis(100).mul_f64(1.0 - i as f64 / count as f64);
            sleep(due.saturating_duration_since(Instant::now()));
            turn += 1;
            if pty.write(&frame(turn % 10_000)).expect("written") == 14 {
                *sent += 1;
            }
        }
        sleep(until.saturating_duration_since(Instant::now()));
    };
    // Until every meter is up.
    let mut up = BTreeMap::new();
    let since = Instant::now();
    while up.len() < count {
        round(&mut 0);
        for (_, kind, data) in events.came.try_iter() {
            if kind == "reading" {
                up.insert(data["meter"].to_string(), ());
            }
        }
        assert!(
            since.elapsed() < PATIENCE,
            "{} of {count} meters are up",
            up.len()
        );
    }
    let (mut sent, mut arrived) = (0, 0_u64);
    let before = cpu_ticks(daemon.id());
    let began = Instant::now();
    while began.elapsed() < lasts {
        round(&mut sent);
        arrived += events
            .came
            .try_iter()
            .filter(|(_, kind, _)| kind == "reading")
            .count() as u64;
    }
    let ticks = cpu_ticks(daemon.id()) - before;
    let took = began.elapsed();
    // What is still on its way.
    while let Ok((_, kind, _)) = events.came.recv_timeout(Duration::from_secs(1)) {
        arrived += u64::from(kind == "reading");
    }
    Load {
        cpu: ticks as f64 / TICKS_A_SECOND / took.as_secs_f64() * 100.0,
        resident: resident(daemon.id()),
        arrived: arrived as f64 / sent as f64,
    }
}

/// Of /proc/PID/stat: USER_HZ, which is 100 on every Linux that Rust's standard library runs on
/// (proc_pid_stat(5), sysconf(3)).
const TICKS_A_SECOND: f64 = 100.0;

fn cpu_ticks(process: u32) -> u64 {
    let stat = fs::read_to_string(format!("/proc/{process}/stat")).expect("it runs");
    // After the name, which may hold blanks: utime and stime are the 12th and 13th.
    let (_, rest) = stat.rsplit_once(") ").expect("a name");
    let words: Vec<&str> = rest.split_whitespace().collect();
    words[11..13]
        .iter()
        .map(|w| w.parse::<u64>().expect("a number"))
        .sum()
}

fn resident(process: u32) -> f64 {
    let status = fs::read_to_string(format!("/proc/{process}/status")).expect("it runs");
    let line = status
        .lines()
        .find(|l| l.starts_with("VmRSS:"))
        .expect("a size");
    let kilobytes = line.split_whitespace().nth(1).expect("a number");
    kilobytes.parse::<f64>().expect("a number") * 1024.0 / 1e6
}

/// From starting the program to its first answer, so many times.
///
/// # Panics
/// As [`byte_to_event`].
#[must_use]
pub fn ready(times: usize) -> Durations {
    let took = (0..times).map(|_| {
        let began = Instant::now();
        let daemon = Daemon::start(LIMITS, &[]);
        assert_eq!(daemon.get("/health", &[]).status, 200);
        began.elapsed()
    });
    Durations::of(took.collect())
}

/// A visit that is opened; its name.
fn visit(daemon: &Daemon) -> String {
    let body = json!({"sheet": SHEET, "unit": "invented", "simulated": true}).to_string();
    let opened = daemon.ask("POST", "/api/v1/visits", &[JSON], &body);
    assert_eq!(opened.status, 201, "{opened:?}");
    opened.json()["id"].as_str().expect("a name").to_owned()
}

/// The display of the take of that number.
fn display(number: usize) -> String {
    format!("{}.{:04}", number / 10_000, number % 10_000)
}

/// Says a take; true if it was answered that it is kept.
fn say_take(address: &str, visit: &str, number: usize) -> bool {
    let body = json!({
        "function": "ohms", "points": ["leads", "leads"], "display": display(number),
        "unit": "Ohm",
    });
    let body = body.to_string();
    let say = || -> std::io::Result<String> {
        let mut stream = TcpStream::connect(address)?;
        stream.set_read_timeout(Some(PATIENCE))?;
        write!(
            stream,
            "POST /api/v1/visits/{visit}/takes HTTP/1.1\r\nHost: {address}\r\nConnection: close\r\n\
             Content-Type: application/json\r\nContent-Length: {}\r\n\r\n{body}",
            body.len()
        )?;
        std::io::read_to_string(stream)
    };
    match say() {
        Ok(answer) if answer.starts_with("HTTP/1.1 200 ") => true,
        // It was killed before it answered.
        Ok(answer) if answer.is_empty() => false,
        Ok(answer) => panic!("take {number}: {answer}"),
        Err(_) => false,
    }
}

/// How often each take is in the trail.
fn takes(trail: &Path) -> BTreeMap<String, usize> {
    let mut takes = BTreeMap::new();
    for record in read(trail).expect("a trail") {
        let record = record.expect("no damage");
        if let ohmtrail_trail::Body::Entry(Entry {
            event: Event::Took(take),
            ..
        }) = record.body
        {
            let shown = ohmtrail_trail::Displayed::of(take.function, take.shown);
            *takes.entry(shown.digits).or_default() += 1;
        }
    }
    takes
}

/// What came of takes while the daemon or a meter came and went.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Kept {
    /// Takes that were answered for.
    pub told: usize,
    /// Of these, those that are not in the trail.
    pub lost: usize,
    /// Takes that are in it more than once.
    pub doubled: usize,
}

fn kept(trail: &Path, told: &[String]) -> Kept {
    let takes = takes(trail);
    Kept {
        told: told.len(),
        lost: told.iter().filter(|t| !takes.contains_key(*t)).count(),
        doubled: takes.values().filter(|n| **n > 1).count(),
    }
}

/// Says on standard error how far a long run has come, ten times in all.
struct Progress {
    what: &'static str,
    of: usize,
    began: Instant,
}

impl Progress {
    fn new(what: &'static str, of: usize) -> Self {
        Progress {
            what,
            of,
            began: Instant::now(),
        }
    }

    fn done(&self, count: usize) {
        if self.of >= 100 && count.is_multiple_of(self.of / 10) {
            let seconds = self.began.elapsed().as_secs();
            eprintln!("{} {count} of {}, {seconds} s", self.what, self.of);
        }
    }
}

/// Kills the daemon (SIGKILL) that often, at moments drawn at random while takes are said one after the
/// other, and starts it again on the same data.
///
/// # Panics
/// As [`byte_to_event`].
#[must_use]
pub fn kills(times: usize, seed: u64) -> Kept {
    let mut noise = Noise::new(seed);
    let mut daemon = Daemon::start(LIMITS, &[]);
    let visit = visit(&daemon);
    let (mut number, mut told) = (0, Vec::new());
    let progress = Progress::new("kills", times);
    for nth in 1..=times {
        let address = daemon.address.to_string();
        let (begun, first) = channel();
        let wait = Duration::from_micros(noise.bits() % 60_000);
        let data = std::thread::scope(|scope| {
            // Takes until one is not answered for.
            let saying = scope.spawn(|| {
                while say_take(&address, &visit, number) {
                    told.push(display(number));
                    number += 1;
                    // Nobody waits for the later ones.
                    let _ = begun.send(());
                }
                number += 1;
            });
            first.recv_timeout(PATIENCE).expect("a first take");
            sleep(wait);
            let data = daemon.kill();
            saying.join().expect("it says takes to the end");
            data
        });
        let mut command = Daemon::command(&data, LIMITS);
        command.args(["--json", "--listen", "127.0.0.1:0"]);
        daemon = Daemon::run(data, command);
        progress.done(nth);
    }
    // And once more after the last start.
    assert!(
        say_take(&daemon.address.to_string(), &visit, number),
        "the visit goes on"
    );
    told.push(display(number));
    daemon.stop();
    kept(
        &daemon.data.path().join(format!("visits/{visit}.trail")),
        &told,
    )
}

/// Unplugs a meter and plugs it in again that often, with a take after each; also how long it took
/// from the plug to the first reading.
///
/// # Panics
/// As [`byte_to_event`].
#[must_use]
pub fn replugs(times: usize) -> (Kept, Durations) {
    let folder = tempfile::tempdir().expect("a folder");
    // A port keeps its lasting name, whatever the kernel calls it.
    let port = folder.path().join("port");
    let mut pty = Pty::open().expect("a pty");
    symlink(pty.path(), &port).expect("linked");
    let mut daemon = Daemon::start(&meters(std::slice::from_ref(&port)), &[]);
    let visit = visit(&daemon);
    let joins = json!({"meter": "m0", "role": "volts"}).to_string();
    let path = format!("/api/v1/visits/{visit}/meters");
    let joined = daemon.ask("POST", &path, &[JSON], &joins);
    assert!((200..300).contains(&joined.status), "{joined:?}");
    let events = Events::of(&daemon);
    let (mut told, mut took) = (Vec::new(), Vec::new());
    let show = |pty: &Pty, tenths: u32| {
        let since = Instant::now();
        let shown = format!("{}.{}", tenths / 10, tenths % 10);
        loop {
            pty.write(&frame(tenths)).expect("written");
            sleep(Duration::from_millis(5));
            let is_it = |(_, kind, data): &(Instant, String, Value)| {
                kind == "reading" && data["display"] == shown.as_str()
            };
            if events.came.try_iter().any(|e| is_it(&e)) {
                return since.elapsed();
            }
            assert!(
                since.elapsed() < PATIENCE,
                "no reading after it was plugged in"
            );
        }
    };
    show(&pty, 1);
    let progress = Progress::new("unplugs", times);
    for number in 0..times {
        fs::remove_file(&port).expect("unlinked");
        drop(pty);
        events.wait("away", |kind, data| {
            kind == "meter" && data["standing"] != "up"
        });
        pty = Pty::open().expect("a pty");
        symlink(pty.path(), &port).expect("linked");
        let tenths = u32::try_from(2 + number % 9000).expect("few");
        took.push(show(&pty, tenths));
        assert!(
            say_take(&daemon.address.to_string(), &visit, number),
            "a take is kept"
        );
        told.push(display(number));
        progress.done(number + 1);
    }
    drop(events);
    daemon.stop();
    let trail = daemon.data.path().join(format!("visits/{visit}.trail"));
    (kept(&trail, &told), Durations::of(took))
}

/// What a year of visits costs when the daemon starts.
#[derive(Debug, Clone, Copy)]
pub struct Year {
    /// Readings in all.
    pub readings: usize,
    /// From the start of the program to the list of all visits, milliseconds.
    pub listed: f64,
    /// Then, to how one of them stands, milliseconds.
    pub one: f64,
}

/// Writes that many visits with that many readings each, and opens them all.
///
/// # Panics
/// As [`byte_to_event`].
#[must_use]
pub fn year(visits: usize, each: usize) -> Year {
    let mut daemon = Daemon::start(LIMITS, &[]);
    let first = visit(&daemon);
    daemon.stop();
    let folder = daemon.data.path().join("visits");
    let model: Vec<Entry> = read(folder.join(format!("{first}.trail")))
        .expect("a trail")
        .filter_map(|record| match record.expect("no damage").body {
            ohmtrail_trail::Body::Entry(entry) => Some(entry),
            _ => None,
        })
        .collect();
    for n in 0..visits {
        write_visit(
            &folder.join(format!("year-{n:04}.trail")),
            &model,
            each,
            n % 10 != 0,
        );
    }
    let data = daemon.kill();
    let mut command = Daemon::command(&data, LIMITS);
    command.args(["--json", "--listen", "127.0.0.1:0"]);
    let began = Instant::now();
    let daemon = Daemon::run(data, command);
    let list = daemon.get("/api/v1/visits", &[]);
    let listed = began.elapsed().as_secs_f64() * 1e3;
    let count = list.body.matches("year-").count();
    assert!(count >= visits, "{count} of {visits} visits are listed");
    let began = Instant::now();
    let one = daemon.get("/api/v1/visits/year-0000", &[]);
    assert_eq!(one.status, 200, "{one:?}");
    Year {
        readings: visits * each,
        listed,
        one: began.elapsed().as_secs_f64() * 1e3,
    }
}

fn write_visit(path: &Path, model: &[Entry], readings: usize, closed: bool) {
    let mut trail = Trail::create(path, &model[0]).expect("a trail");
    for entry in &model[1..] {
        trail.append(entry).expect("appended");
    }
    let at = model.last().expect("an entry").at;
    let streamed = |n: usize| Streamed {
        at: Micros(at.steady.0 + n as u64 * 100_000),
        function: Function::VoltsAc,
        shown: Shown::Value(Decimal::new(2384, -1)),
        flags: Flags::NONE,
    };
    // Ten a second, in groups of a second.
    for group in 0..readings / 10 {
        let event = Event::Readings {
            meter: ohmtrail_core::reading::MeterId(1),
            readings: (0..10).map(|n| streamed(group * 10 + n)).collect(),
        };
        trail.append(&Entry { at, event }).expect("appended");
    }
    if closed {
        let event = Event::Closed;
        trail.append(&Entry { at, event }).expect("appended");
    }
    trail.close().expect("closed");
}
