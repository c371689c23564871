//! Real processes and the real kernel: a writer killed at random moments, a file-size limit reached
//! in mid-visit, and a second writer.
//!
//! The writer is this test program itself, started anew with the test `child` and a variable that
//! names the trail.

mod common;

use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::Duration;
use std::{env, fs, thread};

use common::{damages, entries, opened, take};
use ohmtrail_trail::event::{Entry, Event};
use ohmtrail_trail::{Error, Trail, read, verify};

/// Names the trail for the child.
const TRAIL: &str = "OHMTRAIL_TEST_CHILD_WRITES";
/// Marks the child's reports among what the test harness prints.
const MARK: &str = "on disk: ";

/// Takes without end, and reports each once it is on disk. Between takes some notes, uncommitted.
#[test]
#[ignore = "the child of the other tests here, does nothing by itself"]
fn child() {
    let Some(path) = env::var_os(TRAIL).map(PathBuf::from) else {
        return;
    };
    let (mut trail, so_far) = if path.exists() {
        let (trail, entries, _) = Trail::open(&path).expect("opens");
        (trail, takes(&entries).last().copied().unwrap_or(0))
    } else {
        (Trail::create(&path, &opened()).expect("begins"), 0)
    };
    let mut out = std::io::stdout();
    for n in so_far + 1.. {
        let note = common::entry(
            u64::from(n),
            Event::Note {
                text: "between".into(),
            },
        );
        let done = trail.append(&note).and_then(|_| trail.take(&take(n)));
        let report = match &done {
            Ok(_) => format!("{MARK}{n}\n"),
            Err(error) => format!("{MARK}error {error}\n"),
        };
        out.write_all(report.as_bytes())
            .and_then(|()| out.flush())
            .expect("someone listens");
        if done.is_err() {
            let again = trail.take(&take(n)).expect_err("closed");
            assert!(matches!(again, Error::Closed { .. }), "{again}");
            return;
        }
    }
}

fn takes(entries: &[Entry]) -> Vec<u32> {
    let take = |entry: &Entry| match &entry.event {
        Event::Took(take) => Some(take.take),
        _ => None,
    };
    entries.iter().filter_map(take).collect()
}

/// Starts `command`, which ends in this test program, as the child.
fn start(mut command: Command, trail: &Path) -> Child {
    command
        .args([
            "--exact",
            "child",
            "--ignored",
            "--nocapture",
            "--test-threads=1",
        ])
        .env(TRAIL, trail)
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .expect("the child starts")
}

fn this_program() -> PathBuf {
    env::current_exe().expect("this program")
}

/// What the child has reported, once it is gone.
fn reports(child: &mut Child) -> Vec<String> {
    let out = child.stdout.take().expect("its output");
    let mut reports = Vec::new();
    for line in BufReader::new(out).split(b'\n') {
        let line = String::from_utf8(line.expect("its output")).expect("text");
        // A last line that was cut off is no report; every whole one ends in a digit or a word.
        if let Some((_, report)) = line.split_once(MARK) {
            reports.push(report.to_owned());
        }
    }
    reports
}

#[test]
fn a_writer_killed_at_any_moment_keeps_every_take_it_reported_once() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("visit.trail");
    let mut random = 0x2545_F491_4F6C_DD1D_u64;
    let (mut last, mut tails) = (0, 0);
    for kill in 0..40 {
        let mut child = start(Command::new(this_program()), &path);
        random ^= random << 13;
        random ^= random >> 7;
        random ^= random << 17;
        thread::sleep(Duration::from_micros(3_000 + random % 40_000));
        child.kill().expect("SIGKILL");
        let reported: Vec<u32> = reports(&mut child)
            .iter()
            .map(|r| r.parse().expect("a number"))
            .collect();
        child.wait().expect("it is gone");
        if !path.exists() {
            continue;
        }
        let items: Vec<_> = match read(&path) {
            Ok(reader) => reader.collect(),
            Err(Error::NeverBegun { .. }) => {
                assert_eq!((last, reported), (0, vec![]), "nothing was taken in it");
                fs::remove_file(&path).expect("begin again");
                continue;
            }
            Err(error) => panic!("{error}"),
        };
        tails += damages(&items).len();
        let found = takes(&entries(&items));
        let expected: Vec<u32> = (1..=found.len() as u32).collect();
        assert_eq!(found, expected, "kill {kill}: each once, in order");
        let reported = reported.last().copied().unwrap_or(last);
        assert!(
            found.len() as u32 >= reported,
            "kill {kill}: {reported} reported"
        );
        last = found.len() as u32;
    }
    assert!(last > 100, "the child got to work: {last} takes");
    let report = verify(&path).expect("readable");
    assert_eq!(report.damage, []);
    println!("40 kills, {last} takes, {tails} torn tails");
}

/// The kernel refuses to let the file grow (RLIMIT_FSIZE, with its signal ignored): the shell sets
/// that up, in blocks of 512 bytes, as POSIX has it.
#[test]
fn a_file_that_may_not_grow_keeps_every_take_it_reported() {
    let folder = tempfile::tempdir().expect("a folder");
    for blocks in [3, 10, 140] {
        let path = folder.path().join(format!("visit-{blocks}.trail"));
        let mut shell = Command::new("sh");
        let script = format!("trap '' XFSZ; ulimit -f {blocks}; exec \"$0\" \"$@\"");
        shell.arg("-c").arg(script).arg(this_program());
        let mut child = start(shell, &path);
        let mut reported = reports(&mut child);
        let status = child.wait().expect("it ends");
        assert!(
            status.success(),
            "the child found its trail closed: {status}"
        );

        let error = reported.pop().expect("a report");
        assert!(
            error.starts_with("error ") && error.contains("writing"),
            "{error}"
        );
        let (mut trail, read, recovery) = Trail::open(&path).expect("opens");
        let found = takes(&read);
        let reported: Vec<u32> = reported
            .iter()
            .map(|r| r.parse().expect("a number"))
            .collect();
        assert!(!reported.is_empty());
        assert_eq!(found, reported);
        assert_eq!(recovery.damage, []);
        trail
            .take(&take(found.len() as u32 + 1))
            .expect("with room again, it goes on");
        trail.close().expect("closes");
        assert!(verify(&path).expect("readable").is_sound());
    }
}

#[test]
fn a_second_writer_is_told_that_the_trail_is_held() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("visit.trail");
    let trail = Trail::create(&path, &opened()).expect("begins");
    let error = Trail::open(&path).expect_err("held");
    assert!(matches!(error, Error::Held { .. }), "{error}");
    assert!(
        error.to_string().contains("held by another program"),
        "{error}"
    );
    // A reader is never in the way, nor kept out.
    assert_eq!(verify(&path).expect("readable").head, trail.head());
    drop(trail);
    Trail::open(&path).expect("free again");

    // And by another process.
    let mut child = start(Command::new(this_program()), &path);
    let out = child.stdout.as_mut().expect("its output");
    let mut first = String::new();
    let mut out = BufReader::new(out);
    while !first.contains(MARK) {
        first.clear();
        assert_ne!(
            out.read_line(&mut first).expect("its output"),
            0,
            "it takes"
        );
    }
    assert!(matches!(Trail::open(&path), Err(Error::Held { .. })));
    child.kill().expect("SIGKILL");
    child.wait().expect("it is gone");
    Trail::open(&path).expect("free again: the kernel takes the lock back");
}
