//! Every example of docs/command-line.md and docs/cooldown.md is run, and its output is the one on
//! the page.
//!
//! With `OHMTRAIL_BLESS` set, the page is rewritten with the outputs of now: look at the
//! difference before it is committed.

use std::fs;
use std::path::Path;

use ohmtrail_tests::cli::{Ran, ohmtrail, sheet, workspace};

/// The end of an output that is left out.
const REST: &str = "…";

/// What the page shows for a command: its output, no more lines than were there if the rest was
/// left out, and an exit code other than 0.
fn example(command: &str, on_page: &[&str], folder: &Path) -> Vec<String> {
    let ran: Ran = ohmtrail()
        .args(command.split_whitespace().skip(1))
        .current_dir(folder)
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

#[test]
fn the_examples_of_the_page_are_real() {
    let folder = tempfile::tempdir().expect("a folder");
    let golden = workspace().join("crates/trail/tests/golden/visit-1.trail");
    fs::copy(golden, folder.path().join("visit.trail")).expect("the golden trail");
    fs::copy(
        sheet("wrong-unit.toml"),
        folder.path().join("wrong-unit.toml"),
    )
    .expect("a sheet");
    for (page, least) in [("command-line.md", 26), ("cooldown.md", 2)] {
        examples_of(page, least, folder.path());
    }
}

/// The examples of one page, of which there are at least so many.
fn examples_of(name: &str, least: usize, folder: &Path) {
    let path = workspace().join("docs").join(name);
    let page = fs::read_to_string(&path).expect("the page");
    let lines: Vec<&str> = page.lines().collect();
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
    assert!(examples >= least, "{name}: {examples} examples");
    let mut now = written.join("\n");
    now.push('\n');
    if std::env::var_os("OHMTRAIL_BLESS").is_some() {
        fs::write(&path, now).expect("the page is rewritten");
        return;
    }
    for (number, (page, now)) in page.lines().zip(now.lines()).enumerate() {
        assert_eq!(page, now, "docs/{name}:{}", number + 1);
    }
    assert_eq!(page.lines().count(), now.lines().count());
}

/// Every command has its place on the page.
#[test]
fn the_page_names_every_command() {
    let page = fs::read_to_string(workspace().join("docs/command-line.md")).expect("the page");
    for group in ["check", "sheet", "trail", "meters"] {
        let help: Ran = ohmtrail()
            .args([group, "-h"])
            .output()
            .expect("the binary starts")
            .into();
        let commands: Vec<&str> = help
            .out
            .lines()
            .skip_while(|l| *l != "Commands:")
            .skip(1)
            .take_while(|l| l.starts_with("  "))
            .filter_map(|l| l.split_whitespace().next())
            .filter(|name| *name != "help")
            .collect();
        assert!(!commands.is_empty(), "{group}");
        for command in commands {
            assert!(
                page.contains(&format!("{group} {command}")),
                "{group} {command}"
            );
        }
    }
}
