//! `ohmtrail index`: the commands over invented visits, the page, and the exports.

mod docs_blocks;

use std::fmt::Write as _;
use std::fs;
use std::path::Path;
use std::process::Command;

use ohmtrail_index::{EXPORTED, Of, Quantity};
use ohmtrail_tests::cli::{run, workspace};
use ohmtrail_tests::shop::Shop;
use ohmtrail_tests::years::{VISITS_OF_A_UNIT, unit};
use serde_json::{Value, json};

#[test]
fn the_commands_say_what_the_index_holds() {
    let shop = Shop::of_a_few_units();
    drop(shop.rebuild(0));
    let units = shop.ask(&["units", "--simulated", "--json"]).json();
    assert_eq!(
        (&units["all_units"], &units["all_visits"]),
        (&json!(6), &json!(72))
    );
    assert_eq!(shop.ask(&["units", "--json"]).json()["all_units"], 0);
    let name = unit(5);
    let history = shop.ask(&["history", &name, "--simulated", "--limit", "4", "--json"]);
    let visits = history.json()["visits"].clone();
    assert_eq!(visits.as_array().map(Vec::len), Some(4), "{history:?}");
    let trends = shop.ask(&["trend", &name, "--simulated", "--part", "run-cap", "--json"]);
    assert_eq!(trends.code, 0, "{trends:?}");
    for trend in trends.json()["trends"].as_array().expect("a list") {
        assert_eq!(trend["quantity"], "capacitance");
        let outlook = &trend["outlook"];
        let said = match outlook["forecast"].as_bool() {
            Some(true) => outlook["from"].as_str() < outlook["to"].as_str(),
            _ => outlook["why"].as_str().is_some_and(|why| !why.is_empty()),
        };
        assert!(said, "{trend}");
    }
    let found = shop
        .ask(&["search", "00003", "heat", "pump", "--json"])
        .json();
    assert_eq!(
        found["visits"].as_array().map(Vec::len),
        Some(VISITS_OF_A_UNIT as usize)
    );
    // A damaged trail has its exit code, and is named.
    let path = shop.visits().join("u0-05.trail");
    let mut bytes = fs::read(&path).expect("a trail");
    let middle = bytes.len() / 2;
    bytes[middle] ^= 0x10;
    fs::write(&path, &bytes).expect("damaged");
    let ran = shop.ask(&["update"]);
    assert_eq!(ran.code, 5, "{ran:?}");
    assert!(ran.out.contains("u0-05.trail: record"), "{}", ran.out);
    // What differs has it, too, until the index is made anew.
    fs::remove_file(&path).expect("removed");
    let ran = shop.ask(&["verify"]);
    assert_eq!(ran.code, 5, "{ran:?}");
    assert!(ran.out.contains("not what its trails say"), "{}", ran.out);
    let ran = shop.ask(&["rebuild", "--json"]);
    assert_eq!(
        (ran.code, ran.json()["trails"].as_u64()),
        (0, Some(71)),
        "{ran:?}"
    );
    let ran = shop.ask(&["verify", "--json"]);
    assert_eq!(
        (ran.code, &ran.json()["equal"]),
        (0, &json!(true)),
        "{ran:?}"
    );
}

#[test]
fn what_is_no_index_is_left_alone() {
    let shop = Shop::of_a_few_units();
    let ran = shop.ask(&["units"]);
    assert_eq!(ran.code, 3, "{ran:?}");
    assert!(
        ran.err.contains("no index here") && ran.err.contains("rebuild"),
        "{}",
        ran.err
    );
    fs::write(
        shop.index(),
        "a list of things that is no index at all, and longer than a page",
    )
    .expect("written");
    for what in ["units", "update", "verify", "rebuild"] {
        let ran = shop.ask(&[what]);
        assert_eq!(ran.code, 3, "{what} {ran:?}");
        assert!(ran.err.contains("not an index"), "{}", ran.err);
    }
    assert!(
        fs::read_to_string(shop.index())
            .expect("still")
            .starts_with("a list")
    );
    fs::remove_file(shop.index()).expect("removed");
    let ran = run([
        "index",
        "--index",
        shop.index().to_str().expect("text"),
        "rebuild",
        "/nowhere/at/all",
    ]);
    assert_eq!(ran.code, 3, "{ran:?}");
    assert!(!shop.index().exists());
    drop(shop.rebuild(0));
    let ran = shop.ask(&["trend", "invented-"]);
    assert_eq!(ran.code, 3, "{ran:?}");
    let ran = shop.ask(&["trend", &unit(1)]);
    assert!(ran.err.contains("ask with --simulated"), "{}", ran.err);
    let ran = shop.ask(&["door", "invented-00", "--simulated"]);
    assert!(
        ran.err.contains("did you mean \"invented-00"),
        "{}",
        ran.err
    );
    let store = rusqlite::Connection::open(shop.index()).expect("the file");
    store
        .execute_batch("PRAGMA user_version = 99")
        .expect("set");
    drop(store);
    let ran = shop.ask(&["units"]);
    assert!(ran.code == 3 && ran.err.contains("version 99"), "{ran:?}");
    // It still says where its trails are.
    let ran = shop.ask(&["rebuild", "--json"]);
    assert_eq!(
        (ran.code, &ran.json()["trails"]),
        (0, &json!(72)),
        "{ran:?}"
    );
    // A folder that is away is said, by the exit code too, and stops nothing.
    let away = shop.path().join("away");
    fs::create_dir(&away).expect("a folder");
    let ran = shop.ask(&["update", away.to_str().expect("text")]);
    assert_eq!(ran.code, 0, "{ran:?}");
    fs::remove_dir(&away).expect("removed");
    let ran = shop.ask(&["update"]);
    assert_eq!(ran.code, 5, "{ran:?}");
    assert!(
        ran.out.contains("away: cannot be looked through"),
        "{}",
        ran.out
    );
}

/// What the daemon's own commands leave behind can be indexed: a whole simulated visit.
#[test]
fn the_demo_can_be_indexed() {
    let shop = Shop::empty();
    let trail = shop.visits().join("demo.trail");
    let ran = run([
        "demo",
        "--seed",
        "1",
        "--trail",
        trail.to_str().expect("text"),
    ]);
    assert_eq!(ran.code, 0, "{ran:?}");
    let mut index = shop.rebuild(0);
    shop.proven_equal();
    let unit = index.units(true, 0, 5).expect("units").remove(0).unit;
    let door = index.door(&unit, true).expect("door").parts;
    assert_eq!(door[0].part, "run-cap");
    let trends = index.trends(&unit, true).expect("trends");
    assert!(
        trends
            .iter()
            .any(|t| t.series.quantity == Quantity::Capacitance),
        "{trends:?}"
    );
    let ran = shop.ask(&["history", &unit, "--simulated", "--json"]);
    let visits = ran.json()["visits"].clone();
    assert!(
        visits[0]["trail"]
            .as_str()
            .is_some_and(|p| Path::new(p).exists()),
        "{visits}"
    );
    assert!(
        visits[0]["faults"]
            .as_array()
            .is_some_and(|f| !f.is_empty())
    );
    let _: Value = visits;
}

/// docs/shop-index.md lists every table that is handed on, with every column.
#[test]
fn the_page_lists_the_tables() {
    let mut out = String::new();
    for table in EXPORTED {
        writeln!(out, "\n### `{}`: {}\n", table.name, table.about).expect("written");
        writeln!(out, "| column | what |\n|---|---|").expect("written");
        for (n, column) in table.columns.iter().enumerate() {
            let key = if n < table.key { "; in the key" } else { "" };
            let of = match (column.of, column.always) {
                (Of::Int, true) => "whole number",
                (Of::Int, false) => "whole number or none",
                (Of::Real, true) => "number",
                (Of::Real, false) => "number or none",
                (Of::Text, true) => "text",
                (Of::Text, false) => "text or none",
            };
            writeln!(out, "| `{}` | {} ({of}{key}) |", column.name, column.about).expect("written");
        }
    }
    out.push('\n');
    docs_blocks::in_step("shop-index.md", &[("tables", out)]);
}

/// The exports are read by Apache Arrow, the reference implementation of Parquet, and hold the same values in
/// all three forms.
#[test]
fn exports_hold_the_same_in_every_form() {
    let shop = Shop::of_a_few_units();
    drop(shop.rebuild(0));
    for table in EXPORTED {
        for format in ["csv", "jsonl", "parquet"] {
            let to = shop.path().join(format!("{}.{format}", table.name));
            let to = to.to_str().expect("text");
            let ran = shop.ask(&["export", table.name, "--format", format, "-o", to]);
            assert_eq!(ran.code, 0, "{ran:?}");
            // An export is never written over.
            assert_eq!(shop.ask(&["export", table.name, "-o", to]).code, 7);
        }
    }
    assert_eq!(shop.ask(&["export", "words"]).code, 2);
    let python = std::env::var_os("OHMTRAIL_PYTHON")
        .expect("OHMTRAIL_PYTHON names a Python with pyarrow: run `cargo xtask test`");
    let done = Command::new(python)
        .arg(workspace().join("tests/exports.py"))
        .arg(shop.path())
        .args(EXPORTED.map(|t| t.name))
        .output()
        .expect("Python starts");
    let said = String::from_utf8_lossy(&done.stdout);
    let why = String::from_utf8_lossy(&done.stderr);
    assert!(done.status.success(), "{why}");
    for table in EXPORTED {
        let empty = table.name == "damages";
        let none = said.contains(&format!("{} 0 ", table.name));
        assert_eq!(none, empty, "{said}");
    }
    assert!(said.contains("visits 72 "), "{said}");
}
