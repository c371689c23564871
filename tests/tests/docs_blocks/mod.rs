//! Blocks of a page that are written from the code: between `<!-- begin NAME -->` and
//! `<!-- end NAME -->`.
//!
//! With `OHMTRAIL_BLESS` set, the page is rewritten with the blocks of now: look at the difference
//! before it is committed.
#![allow(dead_code, reason = "each test uses what it needs")]

use std::fs;
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::Stdio;
use std::sync::{Mutex, PoisonError};

use ohmtrail_tests::cli::{Ran, ohmtrail, workspace};
use serde_json::{Value, json};

/// Held while a page is read and rewritten: tests of one page run side by side.
static REWRITING: Mutex<()> = Mutex::new(());

/// The path of a page of the book.
fn path(page: &str) -> PathBuf {
    workspace().join("docs").join(page)
}

/// The text of a page of the book.
pub fn read(page: &str) -> String {
    let path = path(page);
    fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

/// Where a block's lines stand in a page.
fn place(text: &str, name: &str) -> std::ops::Range<usize> {
    let (begin, end) = (
        format!("<!-- begin {name} -->\n"),
        format!("<!-- end {name} -->\n"),
    );
    let from = text.find(&begin).unwrap_or_else(|| panic!("no {begin}")) + begin.len();
    let length = text[from..]
        .find(&end)
        .unwrap_or_else(|| panic!("no {end}"));
    from..from + length
}

/// What stands in a block.
pub fn block(page: &str, name: &str) -> String {
    let text = read(page);
    text[place(&text, name)].to_owned()
}

/// Holds the blocks of a page against what they should say, or rewrites them.
pub fn in_step(page: &str, blocks: &[(&str, String)]) {
    let _held = REWRITING.lock().unwrap_or_else(PoisonError::into_inner);
    let mut text = read(page);
    if std::env::var_os("OHMTRAIL_BLESS").is_some() {
        for (name, now) in blocks {
            let at = place(&text, name);
            text.replace_range(at, now);
        }
        fs::write(path(page), text).expect("the page is rewritten");
        return;
    }
    for (name, now) in blocks {
        let at = place(&text, name);
        let line = text[..at.start].lines().count() + 1;
        let on_page: Vec<&str> = text[at].lines().collect();
        let now: Vec<&str> = now.lines().collect();
        for (n, (page_says, code_says)) in on_page.iter().zip(&now).enumerate() {
            assert_eq!(page_says, code_says, "docs/{page}:{}", line + n);
        }
        assert_eq!(on_page.len(), now.len(), "lines of `{name}` in docs/{page}");
    }
}

/// The end of an output that is left out.
const REST: &str = "…";

/// What the page shows for a command: its output, no more lines than were there if the rest was
/// left out, and an exit code other than 0.
fn example(command: &str, on_page: &[&str], folder: &Path) -> Vec<String> {
    let ran: Ran = ohmtrail()
        .args(command.split_whitespace().skip(1))
        .current_dir(folder)
        // The reader's own configuration is no part of the page.
        .env("XDG_CONFIG_HOME", folder)
        .env("XDG_CONFIG_DIRS", folder)
        .stdin(std::process::Stdio::null())
        .output()
        .expect("the binary starts")
        .into();
    let all = format!("{}{}", ran.out, ran.err);
    let mut lines: Vec<String> = all.lines().map(|l| l.trim_end().to_owned()).collect();
    if let Some(keep) = on_page.iter().position(|l| *l == REST) {
        assert!(
            keep > 0 && keep < lines.len(),
            "{command}: nothing is left out"
        );
        lines.truncate(keep);
        lines.push(REST.to_owned());
    }
    if ran.code != 0 {
        lines.push(format!("(exit code {})", ran.code));
    }
    lines
}

/// Runs every command of a page's `console` blocks in a folder, one after another, and holds the
/// page against what they print, or rewrites it. Returns how many there are.
pub fn consoles(page: &str, folder: &Path) -> usize {
    let _held = REWRITING.lock().unwrap_or_else(PoisonError::into_inner);
    let text = read(page);
    let lines: Vec<&str> = text.lines().collect();
    let mut written = Vec::new();
    let (mut at, mut inside, mut examples) = (0, false, 0);
    while let Some(line) = lines.get(at) {
        at += 1;
        written.push((*line).to_owned());
        match *line {
            "```console" => inside = true,
            "```" => inside = false,
            _ => {}
        }
        if let (true, Some(command)) = (inside, line.strip_prefix("$ ")) {
            let on_page: Vec<&str> = lines[at..]
                .iter()
                .copied()
                .take_while(|l| !l.starts_with("$ ") && *l != "```")
                .collect();
            at += on_page.len();
            written.extend(example(command, &on_page, folder));
            examples += 1;
        }
    }
    let mut now = written.join("\n");
    now.push('\n');
    if std::env::var_os("OHMTRAIL_BLESS").is_some() {
        fs::write(path(page), now).expect("the page is rewritten");
        return examples;
    }
    for (number, (page_says, code_says)) in text.lines().zip(now.lines()).enumerate() {
        assert_eq!(page_says, code_says, "docs/{page}:{}", number + 1);
    }
    assert_eq!(text.lines().count(), now.lines().count(), "docs/{page}");
    examples
}

/// A line as the page shows it: three decimals, and lists cut short.
fn shorter(value: &Value) -> String {
    match value {
        Value::Number(n) if n.is_f64() => {
            let rounded = (n.as_f64().unwrap_or(f64::NAN) * 1e3).round() / 1e3;
            format!("{rounded}")
        }
        Value::Array(items) => {
            let mut shown: Vec<String> = items.iter().map(shorter).collect();
            if items.len() > 2 && items[0].is_object() {
                shown.truncate(2);
                shown.push("…".to_owned());
            }
            format!("[{}]", shown.join(","))
        }
        Value::Object(fields) => {
            let shown: Vec<String> = fields
                .iter()
                .map(|(k, v)| format!("\"{k}\":{}", shorter(v)))
                .collect();
            format!("{{{}}}", shown.join(","))
        }
        other => other.to_string(),
    }
}

/// Holds a whole dialogue of `isolate --stdio` on a sheet, from a complaint to what is left behind.
/// Returns the transcript and the finding. A test for absence of voltage takes many lines that are
/// much alike: they are left out.
pub fn dialogue(
    sheet: &Path,
    complaint: &str,
    mut answer: impl FnMut(&Value) -> Value,
) -> (Vec<String>, Value) {
    let mut process = ohmtrail()
        .args(["isolate", "--stdio", "--clock", "asked", "--sheet"])
        .arg(sheet)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("the binary starts");
    let mut to = process.stdin.take().expect("standard input");
    let from = BufReader::new(process.stdout.take().expect("standard output"));
    let mut transcript = Vec::new();
    let mut finding = Value::Null;
    let mut say = |line: &Value, transcript: &mut Vec<String>| {
        transcript.push(format!("-> {}", shorter(line)));
        writeln!(to, "{line}").expect("a line in");
    };
    say(&json!({ "complaint": complaint }), &mut transcript);
    let mut absence = false;
    for line in from.lines() {
        let line = line.expect("a line out");
        let message: Value = serde_json::from_str(&line).unwrap_or_else(|e| panic!("{e}: {line}"));
        assert!(message["error"].is_null(), "{line}");
        let ask = &message["ask"];
        if !ask.is_null() {
            let why = ask["why"].as_str().expect("a reason");
            absence = why.starts_with("test for absence");
        }
        let told = transcript.len();
        transcript.push(format!("<- {}", shorter(&message)));
        if !ask.is_null() {
            let answer = answer(ask);
            say(&answer, &mut transcript);
        }
        if absence {
            transcript.truncate(told);
            if transcript.last().is_none_or(|l| l != "…") {
                transcript.push("…".to_owned());
            }
        }
        if message["finding"].is_object() {
            finding = message["finding"].clone();
        }
        if message["left"].is_object() {
            break;
        }
        assert!(transcript.len() < 300, "the dialogue has no end");
    }
    let status = process.wait().expect("it ends");
    assert!(status.success(), "{status}");
    (transcript, finding)
}
