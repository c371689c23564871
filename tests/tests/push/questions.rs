//! Questions of a database, and what it is told of sheets.

use std::fs;

use ohmtrail_index::EXPORTED;
use ohmtrail_tests::cli::sheet;
use ohmtrail_tests::postgres::Server;
use ohmtrail_tests::shop::Shop;
use ohmtrail_tests::years::{Written, unit, visit};
use ohmtrail_trail::event::Event;
use serde_json::json;

use crate::{UNITS, VISITS, done, index, proven, push_rows, shop, text, up_to, without_places};

/// Every question has the same answer, wherever the rows are; and PostgreSQL's own client counts as many.
#[test]
fn every_question_has_the_same_answer_in_a_database() {
    let (shop, server) = (shop(), Server::shared());
    drop(shop.rebuild(0));
    let database = server.database();
    let url = server.url(&database);
    let ran = index(&["units", "--database", &url]);
    assert!(ran.code == 3 && ran.err.contains("index push"), "{ran:?}");
    let pushed = done(&push_rows(&shop.visits(), &url))["database"].clone();
    assert_eq!(
        (&pushed["new"], &pushed["there"]),
        (&json!(VISITS), &json!(0))
    );
    proven(&shop.visits(), &url);
    for sql in [
        "SELECT count(*) FROM ohmtrail.visits",
        "SELECT sum(visits) FROM ohmtrail.units",
        "SELECT count(DISTINCT trail) FROM ohmtrail.visits",
    ] {
        assert_eq!(server.ask(&database, sql), VISITS.to_string(), "{sql}");
    }
    let name = unit(5);
    let mut questions: Vec<Vec<&str>> = vec![
        vec!["units"],
        vec!["units", "--simulated"],
        vec!["units", "--simulated", "--limit", "5", "--skip", "7"],
        vec!["history", &name, "--simulated"],
        vec!["history", &name, "--simulated", "--limit", "3"],
        vec!["history", "nobody's"],
        vec!["door", &name, "--simulated"],
        vec!["door", &name],
        vec!["door", "invented-0", "--simulated"],
        vec!["trend", &name, "--simulated"],
        vec!["trend", &name, "--simulated", "--part", "run-cap"],
        vec!["kinds", "--simulated"],
        vec!["kinds", "contactor-2p", "--simulated"],
        vec!["kinds"],
        vec!["search", "invented"],
        vec!["search", "00005", "heat"],
        vec!["search", "contactor", "trips"],
        vec!["search", "c", "0"],
        vec!["search", "zebrawood"],
        vec!["search", "it's", "'", "\\"],
        vec!["search", "&|!:*"],
    ];
    let units: Vec<String> = (0..UNITS).map(unit).collect();
    for name in &units {
        for what in ["history", "door", "trend"] {
            questions.push(vec![what, name, "--simulated"]);
        }
    }
    let path = shop.index();
    for question in &questions {
        let file = index(&[&question[..], &["--index", text(&path), "--json"]].concat());
        let there = index(&[&question[..], &["--database", &url, "--json"]].concat());
        assert_eq!(file.code, there.code, "{question:?} {there:?}");
        if file.code == 0 {
            let both = [&file, &there].map(|ran| without_places(ran.json()));
            assert_eq!(both[0], both[1], "{question:?}");
        } else {
            assert_eq!(file.err, there.err, "{question:?}");
        }
    }
    for table in EXPORTED {
        let file = index(&["export", table.name, "--index", text(&path)]);
        let there = index(&["export", table.name, "--database", &url]);
        assert_eq!(
            (file.code, &file.out),
            (there.code, &there.out),
            "{}",
            table.name
        );
    }
    // Made anew it is the same, and what the shop made on its tables stays.
    server.psql(
        &database,
        "CREATE VIEW lately AS SELECT unit FROM ohmtrail.visits",
    );
    let ran = index(&[
        "rebuild",
        text(&shop.visits()),
        "--database",
        &url,
        "--json",
    ]);
    assert_eq!(done(&ran)["trails"], VISITS, "{ran:?}");
    proven(&shop.visits(), &url);
    let counted = server.ask(&database, "SELECT count(*) FROM lately");
    assert_eq!(counted, VISITS.to_string());
    // A row that somebody changed is found.
    server.psql(&database, "UPDATE ohmtrail.takes SET value = 1 WHERE visit = (SELECT min(visit) FROM ohmtrail.takes) AND take = 1");
    let ran = index(&["verify", text(&shop.visits()), "--database", &url, "--json"]);
    assert_eq!((ran.code, &ran.json()["differ"]), (5, &json!(1)), "{ran:?}");
    // An index of another version is left alone, and made anew when that is asked for.
    server.psql(
        &database,
        "UPDATE ohmtrail.told SET value = '99' WHERE what = 'version'; DROP VIEW lately",
    );
    for what in [["units", "--json"], ["push", text(&shop.visits())]] {
        let ran = index(&[&what[..], &["--database", &url]].concat());
        assert!(ran.code == 3 && ran.err.contains("version 99"), "{ran:?}");
    }
    let ran = index(&["rebuild", text(&shop.visits()), "--database", &url]);
    assert_eq!(ran.code, 0, "{ran:?}");
    proven(&shop.visits(), &url);
}

/// A machine without the shop's sheet pushes first; one that has it fills in what it knows.
#[test]
fn the_second_machine_knows_the_sheet() {
    let server = Server::shared();
    let database = server.database();
    let url = server.url(&database);
    let shop = Shop::empty();
    let sheets = shop.path().join("sheets");
    fs::create_dir(&sheets).expect("a folder");
    let own = fs::read_to_string(sheet("cellar-dryer.toml")).expect("a sheet");
    fs::write(sheets.join("own.toml"), &own).expect("written");
    let name = own.lines().find_map(|line| line.strip_prefix("name = "));
    let name = name.expect("its name").trim_matches('"').to_owned();
    let mut written = Written::new("invented-of-its-own", &name, 1_600_000_000_000_000);
    written.say(Event::Note {
        text: "invented".to_owned(),
    });
    shop.put("own.trail", &written);
    assert_eq!(done(&push_rows(&shop.visits(), &url))["database"]["new"], 1);
    let known = "SELECT coalesce(sheet_same, -1) FROM ohmtrail.visits";
    assert_eq!(server.ask(&database, known), "-1");
    let visits = shop.visits();
    let args = [
        "push",
        text(&visits),
        "--sheets",
        text(&sheets),
        "--database",
        &url,
        "--json",
    ];
    assert_eq!(done(&index(&args))["database"]["known_better"], 1);
    assert_ne!(server.ask(&database, known), "-1");
    // Who does not know it takes nothing away.
    assert_eq!(
        done(&push_rows(&shop.visits(), &url))["database"]["there"],
        1
    );
    assert_ne!(server.ask(&database, known), "-1");
    let parts = format!("SELECT count(*) > 0 FROM ohmtrail.parts WHERE sheet = '{name}'");
    assert_eq!(server.ask(&database, &parts), "t");
}

/// Made anew from the trails of one machine, the index would lack what others pushed.
#[test]
fn a_rebuild_drops_no_visit_of_others_unasked() {
    let server = Server::shared();
    let database = server.database();
    let url = server.url(&database);
    let (ours, theirs) = (Shop::empty(), Shop::empty());
    let whole = visit(2, 3);
    ours.put("a.trail", &up_to(&whole, 20));
    theirs.put("a.trail", &whole);
    theirs.put("b.trail", &visit(2, 4));
    assert_eq!(
        done(&push_rows(&theirs.visits(), &url))["database"]["new"],
        2
    );
    let rebuild = |args: &[&str]| index(&[&["rebuild", "--database", &url], args].concat());
    let visits = ours.visits();
    let count = || server.ask(&database, "SELECT count(*) FROM ohmtrail.visits");
    // One is not here, and of the other an earlier state; of whichever version the tables are.
    for version in ["2", "1"] {
        let sql = format!("UPDATE ohmtrail.told SET value = '{version}' WHERE what = 'version'");
        server.psql(&database, &sql);
        let ran = rebuild(&[text(&visits)]);
        assert!(
            ran.code == 3 && ran.err.contains("2 of its visits"),
            "{ran:?}"
        );
        assert!(ran.err.contains("--drop-others"), "{ran:?}");
        assert_eq!(count(), "2");
    }
    // What asks for it says where the trails come from, and names no command that refuses databases.
    let ran = index(&["units", "--database", &url]);
    assert!(ran.code == 3 && ran.err.contains("index fetch"), "{ran:?}");
    let ran = rebuild(&[]);
    assert!(
        ran.code == 2 && ran.err.contains("name the folders"),
        "{ran:?}"
    );
    let ran = index(&[
        "rebuild",
        text(&visits),
        "--index",
        text(&ours.index()),
        "--drop-others",
    ]);
    assert!(
        ran.code == 2 && ran.err.contains("for a database"),
        "{ran:?}"
    );
    let ran = rebuild(&[text(&visits), "--drop-others"]);
    assert_eq!(ran.code, 0, "{ran:?}");
    assert_eq!(count(), "1");
    proven(&visits, &url);
    let ran = index(&["verify", text(&theirs.visits()), "--database", &url]);
    assert!(ran.code == 5 && ran.out.contains("index push"), "{ran:?}");
    assert!(!ran.out.contains("index update"), "{ran:?}");
}
