//! One take to disk, side by side: this trail, a bare append of the same bytes, and SQLite (WAL,
//! synchronous=FULL) keeping the same bytes as a row.
//!
//! The disk's mood is larger than the differences, so the three take turns, one take each, and the
//! table gives ratios of what was measured in the same turns. Criterion then times each by itself.

use std::fs::{self, File, OpenOptions};
use std::hint::black_box;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use criterion::{Criterion, criterion_group, criterion_main};
use ohmtrail_core::class::{Class, Likely};
use ohmtrail_core::reading::{Decimal, Flags, Function, MeterId, Shown};
use ohmtrail_core::units::Micros;
use ohmtrail_trail::Trail;
use ohmtrail_trail::event::{Entry, Event, Judged, Opened, Power, Stamp, Take, UnitState};
use rusqlite::Connection;

/// Takes in the side-by-side run.
const TURNS: usize = 2_000;

fn at(n: u64) -> Stamp {
    Stamp {
        steady: Micros(n * 1_000_000),
        wall_us: 1_790_000_000_000_000 + n as i64 * 1_000_000,
    }
}

fn opened() -> Entry {
    let event = Event::Opened(Opened {
        tool: "0.1.0".into(),
        work_order: "invented".into(),
        technician: "invented".into(),
        unit: "invented".into(),
        sheet: "split-heat-pump-1ph".into(),
        sheet_hash: [0; 32],
        previous: None,
        simulated: true,
    });
    Entry { at: at(0), event }
}

/// A take with a verdict of the usual length.
fn take(n: u32) -> Entry {
    let event = Event::Took(Take {
        take: n,
        ask: Some(n),
        meter: MeterId(1),
        function: Function::Farads,
        points: ["run-cap.C".into(), "run-cap.FAN".into()],
        state: UnitState {
            power: Power::Off,
            lifted: vec!["cap-fan.1".into()],
            cooled: false,
        },
        shown: Shown::Value(Decimal::new(488 + n as i32 % 10, -8)),
        flags: Flags::AUTO_RANGE,
        value: 4.88e-6,
        uncertainty: 4.2e-8,
        leads: 0.2,
        verdict: Some(Judged {
            class: Class::Within,
            likely: Likely::certain(Class::Within),
            lower: Some(4.5e-6),
            upper: Some(5.5e-6),
            too_close: false,
            source: "marking on the part".into(),
            status: "marked on the part or plate".into(),
            words: "4.88 uF lies within 4.5 uF to 5.5 uF".into(),
        }),
    });
    Entry {
        at: at(u64::from(n)),
        event,
    }
}

/// A folder on the disk that the build is on; not in memory, as `/tmp` may be.
fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    let _ = fs::remove_dir_all(&folder);
    fs::create_dir_all(&folder).expect("a folder for the files");
    folder
}

struct Ours(Trail, u32);

impl Ours {
    fn new(folder: &Path) -> Self {
        Ours(
            Trail::create(folder.join("visit.trail"), &opened()).expect("a new trail"),
            0,
        )
    }

    fn take(&mut self) {
        self.1 += 1;
        black_box(self.0.take(&take(self.1)).expect("a take on disk"));
    }
}

struct Bare {
    file: File,
    records: Vec<Vec<u8>>,
    next: usize,
}

impl Bare {
    fn new(folder: &Path, records: &[Vec<u8>]) -> Self {
        let path = folder.join("bare");
        let file = OpenOptions::new().create_new(true).append(true).open(path);
        Bare {
            file: file.expect("a new file"),
            records: records.to_vec(),
            next: 0,
        }
    }

    fn take(&mut self) {
        let record = &self.records[self.next % self.records.len()];
        self.file.write_all(record).expect("a write");
        self.file.sync_data().expect("fdatasync");
        self.next += 1;
    }
}

struct Sqlite {
    db: Connection,
    records: Vec<Vec<u8>>,
    next: usize,
}

impl Sqlite {
    fn new(folder: &Path, records: &[Vec<u8>]) -> Self {
        let db = Connection::open(folder.join("visit.sqlite")).expect("a new database");
        db.execute_batch(
            "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL;
             CREATE TABLE trail (n INTEGER PRIMARY KEY, record BLOB NOT NULL);",
        )
        .expect("a table");
        Sqlite {
            db,
            records: records.to_vec(),
            next: 0,
        }
    }

    fn take(&mut self) {
        let record = &self.records[self.next % self.records.len()];
        self.db
            .prepare_cached("INSERT INTO trail (record) VALUES (?1)")
            .and_then(|mut insert| insert.execute([record]))
            .expect("an insert on disk");
        self.next += 1;
    }
}

/// The bytes that this trail writes for the takes, one piece each.
fn records(n: usize) -> Vec<Vec<u8>> {
    let folder = folder("records");
    let mut ours = Ours::new(&folder);
    let path = ours.0.path().to_path_buf();
    for n in 1..=n {
        ours.0.append(&take(n as u32)).expect("an append");
    }
    ours.0.close().expect("all on disk");
    let bytes = fs::read(&path).expect("the trail");
    let mut offsets: Vec<usize> = ohmtrail_trail::read(&path)
        .expect("the trail")
        .map(|record| record.expect("a sound record").offset as usize)
        .skip(1)
        .collect();
    offsets.push(bytes.len());
    offsets
        .windows(2)
        .map(|w| bytes[w[0]..w[1]].to_vec())
        .collect()
}

fn timed(f: impl FnOnce()) -> Duration {
    let start = Instant::now();
    f();
    start.elapsed()
}

fn median(mut times: Vec<Duration>) -> f64 {
    times.sort();
    times[times.len() / 2].as_secs_f64() * 1e6
}

fn mean(times: &[Duration]) -> f64 {
    times.iter().sum::<Duration>().as_secs_f64() * 1e6 / times.len() as f64
}

fn side_by_side(_: &mut Criterion) {
    let records = records(TURNS);
    let bytes = records.iter().map(Vec::len).sum::<usize>() / records.len();
    let folder = folder("side-by-side");
    let mut ours = Ours::new(&folder);
    let mut bare = Bare::new(&folder, &records);
    let mut sqlite = Sqlite::new(&folder, &records);
    let mut times: [Vec<Duration>; 3] = Default::default();
    for turn in 0..TURNS {
        // The order turns too, so that nobody always runs in another's wake.
        for who in (0..3).map(|i| (i + turn) % 3) {
            times[who].push(match who {
                0 => timed(|| bare.take()),
                1 => timed(|| ours.take()),
                _ => timed(|| sqlite.take()),
            });
        }
    }
    let base = (median(times[0].clone()), mean(&times[0]));
    println!("one take of {bytes} bytes to disk, {TURNS} turns each, microseconds:");
    println!(
        "{:32}{:>10}{:>10}{:>10}{:>10}",
        "", "median", "ratio", "mean", "ratio"
    );
    for (name, times) in [
        "bare write + fdatasync",
        "this trail",
        "SQLite, WAL, synchronous=FULL",
    ]
    .iter()
    .zip(&times)
    {
        let (median, mean) = (median(times.clone()), mean(times));
        println!(
            "{name:32}{median:>10.1}{:>10.2}{mean:>10.1}{:>10.2}",
            median / base.0,
            mean / base.1
        );
    }
}

fn one_by_one(c: &mut Criterion) {
    let records = records(64);
    let folder = folder("one-by-one");
    let mut group = c.benchmark_group("take to disk");
    let mut bare = Bare::new(&folder, &records);
    group.bench_function("bare write + fdatasync", |b| b.iter(|| bare.take()));
    let mut ours = Ours::new(&folder);
    group.bench_function("this trail", |b| b.iter(|| ours.take()));
    let mut sqlite = Sqlite::new(&folder, &records);
    group.bench_function("SQLite, WAL, synchronous=FULL", |b| {
        b.iter(|| sqlite.take())
    });
    group.finish();
}

criterion_group!(benches, side_by_side, one_by_one);
criterion_main!(benches);
