//! Every example of docs/command-line.md, docs/cooldown.md and docs/refrigerant.md is run, and its output is the one on
//! the page.
//!
//! With `OHMTRAIL_BLESS` set, the page is rewritten with the outputs of now: look at the
//! difference before it is committed.

mod docs_blocks;

use std::fs;
use std::path::Path;

use ohmtrail_tests::cli::{Ran, ohmtrail, sheet, workspace};
use ohmtrail_tests::years::{VISITS_OF_A_UNIT, visit};
use ohmtrail_trail::event::Event;

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
    let stock = workspace().join("docs/stock.csv");
    fs::copy(stock, folder.path().join("stock.csv")).expect("the stock");
    invented_years(&folder.path().join("years"));
    let pages = [
        ("command-line.md", 27),
        ("cooldown.md", 2),
        ("refrigerant.md", 7),
        ("shop-index.md", 7),
    ];
    for (page, least) in pages {
        let examples = docs_blocks::consoles(page, folder.path());
        assert!(examples >= least, "{page}: {examples} examples");
    }
}

/// The trails of docs/shop-index.md: six units over six years, and a note.
fn invented_years(folder: &Path) {
    fs::create_dir(folder).expect("a folder");
    for number in 0..6 {
        for nth in 0..VISITS_OF_A_UNIT {
            let mut visit = visit(number, nth);
            if (number, nth) == (3, 7) {
                visit.say(Event::Note {
                    text: "the lid of the zebrawood cabinet sticks".to_owned(),
                });
            }
            let path = folder.join(format!("{number}-{nth:02}.trail"));
            fs::write(path, visit.bytes()).expect("a trail");
        }
    }
}

/// Every command has its place on the page.
#[test]
fn the_page_names_every_command() {
    let page = fs::read_to_string(workspace().join("docs/command-line.md")).expect("the page");
    for group in [
        "bench", "box", "check", "config", "fits", "index", "meters", "quote", "sheet", "trail",
    ] {
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
