//! The command line's frame: help, exit codes, completions, readers that go away.

use std::io::{BufRead, BufReader};
use std::process::Stdio;

use ohmtrail_tests::cli::{ohmtrail, run, words};

/// The names under "Commands:" of a help text.
fn commands(help: &str) -> Vec<String> {
    help.lines()
        .skip_while(|line| *line != "Commands:")
        .skip(1)
        .take_while(|line| line.starts_with("  "))
        .filter_map(|line| line.split_whitespace().next())
        .filter(|name| *name != "help")
        .map(str::to_owned)
        .collect()
}

fn walk(path: &[String], seen: &mut usize) {
    let ran = run(path.iter().map(String::as_str).chain(["--help"]));
    assert_eq!(ran.code, 0, "{path:?}");
    assert!(ran.out.contains("Usage: ohmtrail"), "{path:?}: {}", ran.out);
    let first = ran.out.lines().next().unwrap_or_default();
    assert!(first.len() > 10, "{path:?} says nothing of itself: {first}");
    *seen += 1;
    let short = run(path.iter().map(String::as_str).chain(["-h"])).out;
    for name in commands(&short) {
        let mut deeper = path.to_vec();
        deeper.push(name);
        walk(&deeper, seen);
    }
}

#[test]
fn every_command_has_a_help() {
    let mut seen = 0;
    walk(&[], &mut seen);
    assert!(seen > 30, "{seen} commands found");
}

#[test]
fn exit_codes_are_listed_and_the_same_everywhere() {
    let json = words("exit-codes --json").json();
    let codes = json["exit_codes"].as_array().expect("a list").clone();
    let numbers: Vec<u64> = codes.iter().filter_map(|c| c["code"].as_u64()).collect();
    assert_eq!(numbers, [0, 1, 2, 3, 4, 5, 6, 7]);
    let page =
        std::fs::read_to_string(ohmtrail_tests::cli::workspace().join("docs/command-line.md"))
            .expect("the page is there");
    for source in [
        words("exit-codes").out,
        words("--help").out,
        words("help exit-codes").out,
    ] {
        for code in &codes {
            let words = code["words"].as_str().expect("words");
            let wrapped: String = source.split_whitespace().collect::<Vec<_>>().join(" ");
            assert!(wrapped.contains(words), "{words} is not in {source}");
            assert!(
                page.contains(words),
                "{words} is not in docs/command-line.md"
            );
        }
    }
}

#[test]
fn completions_are_written_for_every_shell() {
    for shell in ["bash", "zsh", "fish", "elvish", "powershell"] {
        let ran = words(&format!("completions {shell}"));
        assert_eq!(ran.code, 0);
        assert!(ran.out.len() > 1000, "{shell}");
        assert!(
            ran.out.contains("ohmtrail") && ran.out.contains("under-load"),
            "{shell}"
        );
    }
    assert_eq!(words("completions abacus").code, 2);
    // A shell that is there reads the script without complaint.
    let check = std::process::Command::new("bash")
        .arg("-n")
        .stdin(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn();
    if let Ok(mut bash) = check {
        use std::io::Write;
        let script = words("completions bash").out;
        let mut input = bash.stdin.take().expect("a pipe");
        input.write_all(script.as_bytes()).expect("bash reads");
        drop(input);
        assert!(bash.wait().expect("bash ends").success());
    }
}

/// The long help says how values are typed, and where the other commands' names come from.
#[test]
fn the_long_help_says_more() {
    for (line, words_of) in [
        ("check --help", "as the display shows them"),
        ("check temperature --help", "--reference-at"),
        ("sheet --help", "the path of a sheet file"),
        ("--help", "never says that a circuit is safe"),
    ] {
        let plain: String = words(line)
            .out
            .split_whitespace()
            .collect::<Vec<_>>()
            .join(" ");
        assert!(plain.contains(words_of), "{line}: {plain}");
    }
}

#[test]
fn nothing_and_nonsense_are_usage_errors() {
    for line in [
        "",
        "frobnicate",
        "check",
        "sheet",
        "trail",
        "--quiet -v check list",
    ] {
        let ran = words(line);
        assert_eq!(ran.code, 2, "{line}: {ran:?}");
        assert!(!ran.err.is_empty() && ran.out.is_empty(), "{line}");
    }
    assert!(words("--version").out.starts_with("ohmtrail "));
}

/// A reader that takes one line and goes away: no panic, no error, the code of the result.
#[test]
fn a_reader_may_go_away() {
    for line in [
        "check list",
        "check list --json",
        "sheet points split-heat-pump-1ph",
        "sheet checks split-heat-pump-1ph --json",
        "completions bash",
    ] {
        let mut child = ohmtrail()
            .args(line.split(' '))
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the binary starts");
        let mut reader = BufReader::with_capacity(16, child.stdout.take().expect("a pipe"));
        let mut first = String::new();
        reader.read_line(&mut first).expect("a line");
        drop(reader);
        let ended = child.wait_with_output().expect("it ends");
        let err = String::from_utf8_lossy(&ended.stderr).into_owned();
        assert_eq!(ended.status.code(), Some(0), "{line}: {err}");
        assert!(err.is_empty() && !first.is_empty(), "{line}: {err}");
    }
}

/// A full disk is an error of its own, not a panic.
#[test]
fn a_full_disk_is_said() {
    let Ok(full) = std::fs::OpenOptions::new().write(true).open("/dev/full") else {
        return;
    };
    let ended = ohmtrail()
        .args(["check", "list"])
        .stdout(full)
        .output()
        .expect("the binary starts");
    let err = String::from_utf8_lossy(&ended.stderr).into_owned();
    assert_eq!(ended.status.code(), Some(7), "{err}");
    assert!(
        err.contains("cannot be written") && !err.contains("panicked"),
        "{err}"
    );
}
