//! The table of docs/meters.md: what each driver can tell and what it cannot, as the code has it.

use std::fmt::Write;
use std::fs;
use std::path::Path;

use ohmtrail_core::reading::Function;
use ohmtrail_meters::driver::{About, drivers};
use ohmtrail_meters::keyed;

const BEGIN: &str = "<!-- drivers: the table of the code -->\n";
const END: &str = "<!-- end drivers -->";

fn row(table: &mut String, name: &str, over: &str, about: &About) {
    let functions = if about.functions.len() == Function::ALL.len() {
        "every function".to_owned()
    } else {
        let names: Vec<&str> = about.functions.iter().map(|f| f.name()).collect();
        names.join(", ")
    };
    let untold = about.untold.join("; ");
    writeln!(table, "| `{name}` | {over} | {functions} | {untold} |").unwrap();
}

fn table() -> String {
    let mut table = "| driver | what | can tell | cannot tell |\n|---|---|---|---|\n".to_owned();
    for entry in drivers() {
        // By radio there is no line.
        let over = match entry.name {
            "gatt" => entry.what.to_owned(),
            _ => format!("{}, {}", entry.what, entry.line),
        };
        row(&mut table, entry.name, &over, &entry.about);
    }
    row(
        &mut table,
        "keyed",
        "values typed from the display",
        &keyed::ABOUT,
    );
    table
}

/// With `OHMTRAIL_BLESS` set, the page takes over the table of now.
#[test]
fn the_page_has_the_table_of_the_code() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/meters.md");
    let page = fs::read_to_string(&path).unwrap();
    let (before, rest) = page.split_once(BEGIN).expect("the table begins");
    let (shown, after) = rest.split_once(END).expect("the table ends");
    if std::env::var_os("OHMTRAIL_BLESS").is_some() {
        fs::write(&path, format!("{before}{BEGIN}{}{END}{after}", table())).unwrap();
        return;
    }
    assert_eq!(
        shown,
        table(),
        "set OHMTRAIL_BLESS=1 to take the table over"
    );
}

/// Every driver has a section of its own.
#[test]
fn every_driver_has_a_section() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/meters.md");
    let page = fs::read_to_string(path).unwrap();
    for entry in drivers() {
        let heading = format!("\n### `{}`", entry.name);
        assert!(page.contains(&heading), "{heading}");
    }
}
