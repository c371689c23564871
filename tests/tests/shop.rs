//! `ohmtrail bench` through the binary: the page of the book, exit codes, tables that are wrong, and a tray of
//! parts that a simulated meter is put on, through a pseudo-terminal.

mod docs_blocks;

use std::fs;
use std::io::{BufRead, BufReader, Write};
use std::process::Stdio;
use std::time::Duration;

use ohmtrail_core::reading::Function;
use ohmtrail_meters::driver::driver;
use ohmtrail_meters::profile::Profile;
use ohmtrail_meters::sim::face::Moves;
use ohmtrail_meters::sim::meter::{SimConfig, SimMeter};
use ohmtrail_tests::cli::{ohmtrail, words_in as run, workspace};

/// A folder with the book's tables.
fn shop() -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    for table in ["repeat.csv", "drift.csv", "tray.csv"] {
        let from = workspace().join("docs").join(table);
        fs::copy(from, folder.path().join(table)).expect("a table");
    }
    folder
}

#[test]
fn the_page_is_real() {
    let folder = shop();
    let examples = docs_blocks::consoles("shop-bench.md", folder.path());
    assert!(examples >= 3, "{examples}");
}

#[test]
fn exit_codes_say_how_it_came_out() {
    let folder = shop();
    let code = |arguments: &str| run(folder.path(), arguments).code;
    // Its limits are from memory: they never condemn.
    assert_eq!(code("bench repeat repeat.csv --tolerance 0.1"), 6);
    // Before the shift, which is invented into the table from its thirtieth line on.
    let table = fs::read_to_string(folder.path().join("drift.csv")).expect("a table");
    let quiet: Vec<&str> = table.lines().take(31).collect();
    fs::write(folder.path().join("quiet.csv"), quiet.join("\n")).expect("written");
    assert_eq!(
        code("bench drift quiet.csv --reference 35.20 --permitted 0.30"),
        0
    );
    assert_eq!(
        code("bench drift quiet.csv --reference 35.20 --permitted 0.04"),
        6
    );
    assert_eq!(
        code("bench drift quiet.csv --reference 34.20 --permitted 0.30"),
        1
    );
    assert_eq!(code("bench drift drift.csv --reference 35.20"), 1);
    let json = run(
        folder.path(),
        "bench drift drift.csv --reference 35.20 --json",
    )
    .json();
    let points = json["drift"]["points"].as_array().expect("a list").len();
    let since = json["drift"]["since"].as_u64().expect("a reading");
    assert_eq!(points, 44);
    assert!((25..=31).contains(&since), "{since}");
}

/// Five invented capacitors of 35 uF, 6 %, hands-free: the bench puts the next on when it is asked for, and
/// takes it off when its value was said. Then labels and a plot of what was written down.
#[test]
fn a_tray_is_measured_and_sorted() {
    let folder = shop();
    let frame = "count14";
    let meter = SimMeter::start(SimConfig {
        entry: driver(frame).expect("the frame"),
        profile: Profile::simulated(frame).expect("its profile"),
        seed: 9,
        interval: Duration::from_millis(40),
        moves: Moves::NONE,
    })
    .expect("a simulated meter");
    meter.set(Function::Farads, 0.0).expect("it has farads");
    let profile = workspace().join("crates/meters/profiles/sim-count14.toml");
    let spec = format!(
        "serial:{},frame={frame},profile={}",
        meter.path().display(),
        profile.display()
    );
    let mut child = ohmtrail()
        .args(["bench", "tray", "capacitor", "--marked", "35uF"])
        .args(["--tolerance", "6%", "--parts", "5", "--bell"])
        .args(["--output", "new.csv", "--meter", &spec])
        .current_dir(folder.path())
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the binary starts");
    let mut keys = child.stdin.take().expect("a pipe");
    let mut parts = [35.1e-6, 31.0e-6, 35.6e-6, 0.0, 34.4e-6].into_iter();
    let mut taken = Vec::new();
    for line in BufReader::new(child.stdout.take().expect("a pipe")).lines() {
        let line = line.expect("text");
        if line.contains("section 1: farads: both") {
            let farads = parts.next().expect("a part");
            meter.set(Function::Farads, farads).expect("it has farads");
            if farads == 0.0 {
                // An empty can shows what leads in the air show, so it is said by hand.
                writeln!(keys).expect("it listens");
            }
        } else if line.starts_with("part ") && line.contains("uF: ") {
            taken.push(line);
            meter.set(Function::Farads, 0.0).expect("it has farads");
        } else if line.starts_with("part ") {
            taken.push(line);
        }
    }
    let done = child.wait_with_output().expect("it ends");
    let rung = done.stderr.iter().filter(|b| **b == 7).count();
    assert_eq!(done.status.code(), Some(1), "{taken:?}");
    assert_eq!(taken.len(), 5, "{taken:?}");
    for (line, ends) in taken.iter().zip(["pass", "fail", "pass", "fail", "pass"]) {
        assert!(line.ends_with(ends), "{taken:?}");
    }
    assert_eq!(rung, 3 + 2 * 3);
    let record = fs::read_to_string(folder.path().join("new.csv")).expect("written");
    assert_eq!(record.lines().filter(|l| !l.starts_with('#')).count(), 6);
    let sorted = run(
        folder.path(),
        "bench sorted new.csv --labels l.pdf --size letter --plot p.svg --json",
    );
    assert_eq!(sorted.code, 1, "{sorted:?}");
    let json = sorted.json();
    let order: Vec<u64> = json["sorted"]["parts"]
        .as_array()
        .expect("a list")
        .iter()
        .map(|p| p["part"].as_u64().expect("a number"))
        .collect();
    assert_eq!(order, [1, 3, 5, 2, 4]);
    let pdf = fs::read(folder.path().join("l.pdf")).expect("labels");
    assert!(pdf.starts_with(b"%PDF-"));
    let svg = fs::read_to_string(folder.path().join("p.svg")).expect("a plot");
    assert!(svg.contains("section 1, uF") && svg.contains("lower limit 32.90"));
    // What is written down is never written over.
    let twice = run(
        folder.path(),
        "bench tray capacitor --output new.csv --meter keyed",
    );
    assert_eq!(twice.code, 3, "{twice:?}");
    assert!(twice.err.contains("name a new file"), "{twice:?}");
}

/// Values are keyed in; what was not understood is said, and nothing is taken for it.
#[test]
fn a_tray_is_keyed_in() {
    let folder = shop();
    let mut child = ohmtrail()
        .args(["bench", "tray", "transformer", "--output", "t.csv"])
        .current_dir(folder.path())
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the binary starts");
    let mut keys = child.stdin.take().expect("a pipe");
    write!(
        keys,
        "27.1 V\n23 apples\n24.6 V\nskip\n26.8 V\n24.9 V\nquit\n"
    )
    .expect("it listens");
    drop(keys);
    let done = child.wait_with_output().expect("it ends");
    let (out, err) = (
        String::from_utf8_lossy(&done.stdout).into_owned(),
        String::from_utf8_lossy(&done.stderr).into_owned(),
    );
    assert!(err.contains("apples"), "{err}");
    assert_eq!(done.status.code(), Some(0), "{out}{err}");
    assert!(out.contains("yield: 100.0 % pass of 2"), "{out}");
    assert!(out.contains("part 1, under load: 24.6 V"), "{out}");
    assert!(out.contains("part 3, without load: 26.8 V"), "{out}");
    let wrong = run(
        folder.path(),
        "bench tray motor --marked 3Ohm --output m.csv",
    );
    assert_eq!(wrong.code, 2, "{wrong:?}");
    let none = run(folder.path(), "bench tray motor --output m.csv");
    assert_eq!(none.code, 3, "{none:?}");
    assert!(none.err.contains("no part was measured"), "{none:?}");
    assert!(!folder.path().join("m.csv").exists());
    let bad = run(folder.path(), "bench sorted repeat.csv");
    assert_eq!(bad.code, 3, "{bad:?}");
}

#[test]
fn a_table_that_is_wrong_says_what_where_and_what_to_do() {
    let folder = shop();
    let put = |text: &str| fs::write(folder.path().join("t.csv"), text).expect("written");
    for (text, command, says) in [
        (
            "part,person,value\na,x,1\na,x,2\nb,x,1\n",
            "repeat t.csv",
            "b was measured 1 time(s) by x, others 2",
        ),
        ("part,value\na,1\nb,2\n", "repeat t.csv", "at least twice"),
        (
            "part,value\n#3,1\n#3,1\n#4,2\n#4,2\n",
            "repeat t.csv",
            "a finer range",
        ),
        ("part,value\na,1,5\n", "repeat t.csv", "line 2"),
        (
            "part,value\na,1.0 uF\n",
            "repeat t.csv",
            "line 2: \"1.0 uF\" is no number",
        ),
        (
            "when,worth\n",
            "drift t.csv --reference 1",
            "no column \"value\": it has when, worth",
        ),
        (
            "when,value\nmon,1\n",
            "drift t.csv --reference 1",
            "at least 10 are needed",
        ),
        ("", "repeat t.csv", "no column \"part\""),
    ] {
        put(text);
        let ran = run(folder.path(), &format!("bench {command}"));
        assert_eq!(ran.code, 3, "{text}: {}", ran.out);
        assert!(
            ran.err.contains("t.csv") && ran.err.contains(says),
            "{}",
            ran.err
        );
    }
    let ran = run(folder.path(), "bench repeat absent.csv");
    assert_eq!(ran.code, 3);
    assert!(ran.err.contains("absent.csv"), "{}", ran.err);
}
