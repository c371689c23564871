//! The shop index against its goals: how fast it is made anew of many invented visits, beside a bare
//! SQLite that is given the same rows, and how long each question takes: asked of the library, of the daemon
//! over HTTP, and of a database.
//!
//! `cargo xtask bench index [--visits N]`

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::process::{Command, ExitCode, Stdio};
use std::thread;
use std::time::{Duration, Instant};

use ohmtrail_index::{
    Database, EXPORTED, Format, Index, TABLES, Table, push_rows, rebuild, verify,
};
use ohmtrail_tests::client::Daemon;
use ohmtrail_tests::postgres::{PASSWORD, Server};
use ohmtrail_tests::years::{VISITS_OF_A_UNIT, unit, visit};

/// What the numbers are held to (the project's own goals).
const ENTRIES_PER_SECOND: f64 = 50_000.0;
const QUESTION: Duration = Duration::from_millis(50);
/// How often each question is asked, each time another one of its kind.
const ASKED: u32 = 200;

fn main() -> ExitCode {
    let visits = match arguments() {
        Ok(visits) => visits,
        Err(why) => {
            eprintln!("index_bench: {why}");
            return ExitCode::from(2);
        }
    };
    let units = visits.div_ceil(VISITS_OF_A_UNIT);
    let folder = tempfile::tempdir().expect("a folder");
    let trails = folder.path().join("visits");
    let began = Instant::now();
    write(&trails, units, visits);
    println!(
        "{visits} invented visits to {units} units written in {:.0} s",
        began.elapsed().as_secs_f64()
    );

    // Where the daemon looks for it.
    let data = folder.path().join("data");
    fs::create_dir(&data).expect("a folder");
    let path = data.join("index.sqlite");
    let began = Instant::now();
    let gathered = rebuild(&path, std::slice::from_ref(&trails), None).expect("rebuilt");
    let took = began.elapsed().as_secs_f64();
    let rate = gathered.entries as f64 / took;
    let bytes = fs::metadata(&path).expect("the index").len();
    println!(
        "rebuild: {} entries in {took:.1} s, {rate:.0} entries/s; the index has {:.0} MB",
        gathered.entries,
        bytes as f64 / 1e6
    );
    let mut index = Index::open(&path).expect("the index");
    match bare(&mut index, folder.path()) {
        Some(bare) => println!(
            "bare SQLite, given the same rows as CSV, reading no trail: {bare:.1} s, {:.0} entries/s; ratio \
             {:.2}",
            gathered.entries as f64 / bare,
            took / bare
        ),
        None => println!("bare SQLite: left out, there is no program `sqlite3`"),
    }
    let worst = questions(&mut index, units);
    drop(index);
    let worst = worst.max(over_http(&data, units));
    let began = Instant::now();
    let compared = verify(&path).expect("compared");
    println!(
        "verify: {} rows in {:.1} s, {} differ",
        compared.rows,
        began.elapsed().as_secs_f64(),
        compared.differ
    );
    in_a_database(&trails, units);
    let reached = rate >= ENTRIES_PER_SECOND && worst < QUESTION && compared.equal();
    println!(
        "goals: at least {ENTRIES_PER_SECOND:.0} entries/s, every question under {} ms: {}",
        QUESTION.as_millis(),
        if reached { "reached" } else { "MISSED" }
    );
    if reached {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    }
}

fn arguments() -> Result<u32, String> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    match args.as_slice() {
        [] => Ok(100_000),
        [option, n] if option == "--visits" => n
            .parse()
            .ok()
            .filter(|n| *n > 0)
            .ok_or_else(|| format!("--visits {n}: not a number of visits")),
        _ => Err("usage: index_bench [--visits N]".to_owned()),
    }
}

/// A folder for each hundred units, by two threads.
fn write(folder: &Path, units: u32, visits: u32) {
    thread::scope(|scope| {
        for half in 0..2 {
            scope.spawn(move || {
                for number in (0..units).filter(|n| (n / 100) % 2 == half) {
                    let place = folder.join(format!("{:03}", number / 100));
                    fs::create_dir_all(&place).expect("a folder");
                    for nth in 0..VISITS_OF_A_UNIT {
                        if number * VISITS_OF_A_UNIT + nth < visits {
                            let path = place.join(format!("{number:05}-{nth:02}.trail"));
                            fs::write(path, visit(number, nth).bytes()).expect("a trail");
                        }
                    }
                }
            });
        }
    });
}

/// Seconds that SQLite's own program takes for the same rows, without a trail to read.
fn bare(index: &mut Index, folder: &Path) -> Option<f64> {
    let made = Command::new("sqlite3")
        .arg("--version")
        .stdout(Stdio::null())
        .status();
    made.ok().filter(|s| s.success())?;
    let mut script = String::from("PRAGMA journal_mode = OFF;\nPRAGMA synchronous = OFF;\n");
    script.push_str("PRAGMA cache_size = -65536;\n.mode csv\n");
    let rest: Vec<&Table> = TABLES
        .into_iter()
        .filter(|t| EXPORTED.contains(t))
        .collect();
    for table in rest {
        let to = folder.join(format!("{}.csv", table.name));
        let file = fs::File::create(&to).expect("a file");
        let table = EXPORTED.into_iter().find(|t| t.name == table.name)?;
        index
            .export(table, Format::Csv, std::io::BufWriter::new(file))
            .expect("exported");
        script.push_str(&table.create());
        script.push_str(&format!(
            "\n.import --skip 1 {} {}\n",
            to.display(),
            table.name
        ));
    }
    let file = folder.join("bare.sql");
    fs::write(&file, script).expect("written");
    let began = Instant::now();
    let done = Command::new("sqlite3")
        .arg(folder.join("bare.sqlite"))
        .stdin(fs::File::open(file).expect("the script"))
        .stdout(Stdio::null())
        .status()
        .expect("sqlite3 runs");
    assert!(done.success(), "sqlite3 failed");
    Some(began.elapsed().as_secs_f64())
}

/// The same visits pushed to PostgreSQL, and the same questions asked there, if it is installed. It has no
/// goal of its own.
fn in_a_database(trails: &Path, units: u32) {
    let Some(server) = Server::find() else {
        println!("PostgreSQL: left out, it is not installed");
        return;
    };
    let url = server.url(&server.database());
    let database = Database::new(&url, Some(PASSWORD), None).expect("its URL");
    let folders = [trails.to_path_buf()];
    for what in ["push", "push again"] {
        let began = Instant::now();
        let pushed = push_rows(&database, &folders, None, &BTreeMap::new()).expect("pushed");
        println!(
            "PostgreSQL on this machine, {what}: {} trails, {} new, in {:.1} s",
            pushed.trails,
            pushed.new,
            began.elapsed().as_secs_f64()
        );
    }
    questions(&mut Index::at(&database).expect("the database"), units);
}

/// The path of a question, of which each is another one.
type PathOf = Box<dyn Fn(u32) -> String>;

/// The daemon with that data folder is asked over HTTP what the page and its API show; the longest.
fn over_http(data: &Path, units: u32) -> Duration {
    // One client asks as fast as many do.
    let config = data.join("config.toml");
    let limits = "[limits]\nrequests-per-second = 100000\nburst = 100000\n";
    fs::write(&config, limits).expect("a configuration");
    let config = ["--config".to_owned(), config.display().to_string()];
    let daemon = Daemon::start(data, &config);
    let began = Instant::now();
    let standing = loop {
        let standing = daemon.get("/api/v1/index").good();
        if standing["updated"].is_string() {
            break standing;
        }
        thread::sleep(Duration::from_millis(100));
    };
    println!(
        "the daemon looked through {} trails in {:.1} s from its start",
        standing["trails"],
        began.elapsed().as_secs_f64()
    );
    let of = move |n: u32| some_unit(n, units);
    heading("over HTTP, one question, microseconds:");
    let all: Vec<(&str, PathOf)> = vec![
        (
            "page: units",
            Box::new(|_| "/units?simulated=yes".to_owned()),
        ),
        (
            "page: units, anywhere",
            Box::new(move |n| format!("/units?simulated=yes&skip={}", n * 37 % units)),
        ),
        (
            "page: a unit",
            Box::new(move |n| format!("/unit?simulated=yes&name={}", of(n))),
        ),
        (
            "page: search, a unit",
            Box::new(move |n| format!("/units?words={}", of(n))),
        ),
        (
            "page: search, in every visit",
            Box::new(|_| "/units?words=invented".to_owned()),
        ),
        (
            "page: search, how words begin",
            Box::new(|_| "/units?words=c+0".to_owned()),
        ),
        (
            "page: search, how many begin",
            Box::new(|n| format!("/units?words=000{}+invent", n % 10)),
        ),
        (
            "API: at the door",
            Box::new(move |n| format!("/api/v1/index/door?simulated=true&unit={}", of(n))),
        ),
        (
            "API: trends of a unit",
            Box::new(move |n| format!("/api/v1/index/trends?simulated=true&unit={}", of(n))),
        ),
        (
            "API: search, 200 visits",
            Box::new(|_| "/api/v1/index/search?limit=200&words=invented".to_owned()),
        ),
        (
            "API: kinds",
            Box::new(|_| "/api/v1/index/kinds?simulated=true".to_owned()),
        ),
    ];
    let longest = all.into_iter().map(|(name, path)| {
        timed(name, |n| {
            let answer = daemon.get(&path(n));
            assert_eq!(answer.status, 200, "{}", answer.text());
        })
    });
    longest.max().unwrap_or_default()
}

/// One of so many units, far from the one before.
fn some_unit(n: u32, units: u32) -> String {
    unit(n.wrapping_mul(2_654_435_761) % units)
}

fn heading(words: &str) {
    println!("{words}");
    println!("{:30} {:>9} {:>9}", "", "worst", "median");
}

/// Asks so often, prints how long it took, and returns the longest.
fn timed(name: &str, mut ask: impl FnMut(u32)) -> Duration {
    let mut times: Vec<Duration> = (0..ASKED)
        .map(|n| {
            let began = Instant::now();
            ask(n);
            began.elapsed()
        })
        .collect();
    times.sort();
    let (median, longest) = (times[times.len() / 2], times[times.len() - 1]);
    println!(
        "{name:30} {:>9} {:>9}",
        longest.as_micros(),
        median.as_micros()
    );
    longest
}

type Question<'q> = (&'q str, Box<dyn Fn(&mut Index, u32) + 'q>);

/// Asks everything, prints how long it took, and returns the longest.
fn questions(index: &mut Index, units: u32) -> Duration {
    let of = move |n: u32| some_unit(n, units);
    let all: Vec<Question<'_>> = vec![
        (
            "units, the latest",
            Box::new(|i, _| drop(i.units(true, 0, 50).expect("units"))),
        ),
        (
            "units, anywhere",
            Box::new(move |i, n| drop(i.units(true, n * 37 % units, 50).expect("units"))),
        ),
        (
            "size",
            Box::new(|i, _| assert!(i.size(true).expect("size").1 > 0)),
        ),
        (
            "history of a unit",
            Box::new(move |i, n| drop(i.history(&of(n), true, 50).expect("history"))),
        ),
        (
            "at the door",
            Box::new(move |i, n| drop(i.door(&of(n), true).expect("door"))),
        ),
        (
            "trends of a unit",
            Box::new(move |i, n| drop(i.trends(&of(n), true).expect("trends"))),
        ),
        (
            "search, a unit",
            Box::new(move |i, n| drop(i.search(&of(n), 50).expect("search"))),
        ),
        (
            "search, in every visit",
            Box::new(|i, _| drop(i.search("invented", 50).expect("search"))),
        ),
        (
            "search, two frequent words",
            Box::new(|i, _| drop(i.search("contactor trips", 50).expect("search"))),
        ),
        (
            "search, how words begin",
            Box::new(|i, _| drop(i.search("c 0", 50).expect("search"))),
        ),
        (
            "search, a unit among all",
            Box::new(move |i, n| {
                let words = format!("{} nothing", &of(n)[9..]);
                drop(i.search(&words, 50).expect("search"));
            }),
        ),
        (
            "search, how many begin",
            Box::new(|i, n| {
                let words = format!("000{} invent", n % 10);
                drop(i.search(&words, 50).expect("search"));
            }),
        ),
        (
            "search, no such word",
            Box::new(|i, _| drop(i.search("zebrawood", 50).expect("search"))),
        ),
        (
            "kinds",
            Box::new(|i, _| drop(i.statistics(None, true).expect("kinds"))),
        ),
        (
            "one kind",
            Box::new(|i, _| drop(i.statistics(Some("contactor-2p"), true).expect("kinds"))),
        ),
        (
            "problems",
            Box::new(|i, _| drop(i.problems().expect("problems"))),
        ),
    ];
    heading("one question, microseconds:");
    let longest = all
        .into_iter()
        .map(|(name, ask)| timed(name, |n| ask(index, n)));
    longest.max().unwrap_or_default()
}
