//! `ohmtrail sheet`: the names of a sheet, and what is said of bad ones.

use std::collections::BTreeSet;

use ohmtrail_core::isolate::Table;
use ohmtrail_tests::cli::{run, sheet, words};
use serde_json::Value;

const SHEET: &str = "split-heat-pump-1ph";

fn rows(kind: &str) -> Vec<Value> {
    let ran = words(&format!("sheet {kind} {SHEET} --json"));
    assert_eq!(ran.code, 0, "{ran:?}");
    ran.json()[kind].as_array().expect("rows").clone()
}

fn names(rows: &[Value]) -> BTreeSet<String> {
    let names: BTreeSet<String> = rows
        .iter()
        .filter_map(|r| r["name"].as_str().map(str::to_owned))
        .collect();
    assert_eq!(names.len(), rows.len(), "names are missing or double");
    names
}

/// A stranger's program knows nothing but what these lists say, so everything that is asked for
/// must be in them, in words.
#[test]
fn the_lists_are_enough_to_play_the_technician() {
    let points = rows("points");
    let known = names(&points);
    assert!(known.len() > 80, "{}", known.len());
    for point in &points {
        let words = point["words"].as_str().expect("words");
        assert!(words.len() > 8 && !words.contains('?'), "{point}");
        if point["kind"] == "wire-end" {
            let at = point["at"].as_str().expect("the terminal it sits on");
            assert!(known.contains(at), "{point}");
        }
    }
    let checks = rows("checks");
    // A capacitor is measured off circuit: some wire end of its section is lifted.
    let farads: Vec<_> = checks
        .iter()
        .filter(|c| c["function"] == "farads")
        .collect();
    assert!(!farads.is_empty());
    for check in farads {
        assert!(
            !check["lifted"].as_array().expect("ends").is_empty(),
            "{check}"
        );
        assert_eq!(check["power"], "off");
    }
    for check in checks {
        for point in check["points"].as_array().expect("two points") {
            assert!(known.contains(point.as_str().expect("a name")), "{check}");
        }
        for end in check["lifted"].as_array().expect("ends") {
            assert!(known.contains(end.as_str().expect("a name")), "{check}");
        }
        assert!(
            check["why"].as_str().is_some_and(|w| w.len() > 8),
            "{check}"
        );
        assert!(
            check["minutes"].as_f64().is_some_and(|m| m > 0.0),
            "{check}"
        );
    }
    let faults = rows("faults");
    let faults_known = names(&faults);
    assert!(
        faults_known.contains("run-cap.fan-open"),
        "{faults_known:?}"
    );
    for fault in &faults {
        assert!(
            fault["words"].as_str().is_some_and(|w| w.len() > 8),
            "{fault}"
        );
        for caused in fault["can_cause"].as_array().expect("a list") {
            let name = caused["fault"].as_str().expect("a name");
            assert!(faults_known.contains(name), "{fault}");
        }
    }
    let looks = rows("looks");
    assert!(names(&looks).contains("contactor.pulled-in"));
    assert!(
        looks
            .iter()
            .all(|l| l["words"].as_str().is_some_and(|w| w.contains('?')))
    );
    assert!(names(&rows("complaints")).contains("nothing-runs"));
}

#[test]
fn text_and_json_list_the_same() {
    for kind in ["points", "faults", "looks", "checks", "complaints"] {
        let text = words(&format!("sheet {kind} {SHEET}")).out;
        assert_eq!(text.lines().count(), rows(kind).len(), "{kind}");
    }
    assert!(words("sheet list").out.starts_with(SHEET));
    assert_eq!(words("sheet list --json").json_lines()[0]["name"], SHEET);
    let sound = words(&format!("sheet check {SHEET}"));
    assert!(sound.code == 0 && sound.out.contains("sound"), "{sound:?}");
}

/// Each bad sheet: the line that is named, what is wrong, and what to do about it.
#[test]
fn bad_sheets_are_refused_with_file_line_and_what_to_do() {
    for (file, line, what, remedy) in [
        (
            "unknown-part.toml",
            8,
            "not a kind of part",
            "known kinds are",
        ),
        (
            "unknown-point.toml",
            9,
            "not a point of this sheet",
            "\"contactor\" has contactor.L1",
        ),
        (
            "floating-terminal.toml",
            7,
            "\"spare-heater.1\" floats",
            "add a wire",
        ),
        (
            "wrong-unit.toml",
            9,
            "\"V\" is not a unit of this value",
            "correct `herm`",
        ),
        ("not-toml.toml", 3, "not TOML", "correct this line"),
    ] {
        let path = sheet(file);
        let text = run(["sheet".as_ref(), "check".as_ref(), path.as_os_str()]);
        assert_eq!(text.code, 3, "{file}: {text:?}");
        let place = format!("{file}:{line}: ");
        assert!(text.err.contains(&place), "{file}: {}", text.err);
        assert!(
            text.err.contains(what) && text.err.contains(remedy),
            "{}",
            text.err
        );
        let json = run([
            "sheet".as_ref(),
            "check".as_ref(),
            "--json".as_ref(),
            path.as_os_str(),
        ]);
        assert_eq!(json.code, 3);
        let problem = json.json()["problems"][0].clone();
        assert_eq!(problem["line"], line, "{problem}");
        assert!(
            problem["what"].as_str().is_some_and(|w| w.contains(what)),
            "{problem}"
        );
        assert!(
            problem["remedy"]
                .as_str()
                .is_some_and(|w| w.contains(remedy)),
            "{problem}"
        );
        // Every command that reads it refuses it too.
        let points = run(["sheet".as_ref(), "points".as_ref(), path.as_os_str()]);
        assert_eq!(points.code, 3);
        assert!(points.out.is_empty());
    }
}

#[test]
fn a_loop_of_definitions_is_found_from_either_end() {
    for (file, other) in [
        ("loop-a.toml", "loop-b.toml"),
        ("loop-b.toml", "loop-a.toml"),
    ] {
        let path = sheet(file);
        let ran = run(["sheet".as_ref(), "check".as_ref(), path.as_os_str()]);
        assert_eq!(ran.code, 3, "{ran:?}");
        assert!(ran.err.contains(&format!("{other}:4: ")), "{}", ran.err);
        assert!(ran.err.contains("loop of definitions") && ran.err.contains("base it on"));
    }
}

#[test]
fn a_sheet_that_is_not_there_names_those_that_are() {
    let ran = words("sheet points flying-carpet");
    assert_eq!(ran.code, 3);
    assert!(
        ran.err.contains("flying-carpet") && ran.err.contains(SHEET),
        "{}",
        ran.err
    );
}

/// The table on disk is one that the core reads.
#[test]
fn a_compiled_table_is_read_by_the_core() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("sheet.table");
    let ran = run([
        "sheet".as_ref(),
        "compile".as_ref(),
        SHEET.as_ref(),
        "--singles-only".as_ref(),
        "--samples".as_ref(),
        "3".as_ref(),
        "--json".as_ref(),
        "-o".as_ref(),
        file.as_os_str(),
    ]);
    assert_eq!(ran.code, 0, "{ran:?}");
    let bytes = std::fs::read(&file).expect("written");
    assert_eq!(ran.json()["bytes"], bytes.len());
    let table = Table::parse(&bytes).expect("the core reads it");
    assert_eq!(ran.json()["hypotheses"], table.hypotheses);
    assert_eq!(table.samples, 3);
    let nowhere = words("sheet compile split-heat-pump-1ph --singles-only -o /nowhere/x.table");
    assert_eq!(nowhere.code, 7, "{nowhere:?}");
    assert!(nowhere.err.contains("/nowhere/x.table"), "{}", nowhere.err);
}

/// ngspice (a general circuit simulator, Debian package `ngspice`) reads the exported netlist: a
/// healthy unit has its supply's volts at the contactor, one with an open wire before it has not.
#[test]
fn a_netlist_is_solved_by_ngspice() {
    let ngspice = std::env::var("OHMTRAIL_NGSPICE").unwrap_or_else(|_| "ngspice".into());
    let volts = |more: &[&str]| -> f64 {
        let probe = ["--probe", "contactor.L1,contactor.L2"];
        let ran = run(["sheet", "netlist", SHEET].iter().chain(&probe).chain(more));
        assert_eq!(ran.code, 0, "{ran:?}");
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("unit.cir");
        std::fs::write(&file, &ran.out).expect("written");
        let solved = std::process::Command::new(&ngspice)
            .arg("-b")
            .arg(&file)
            .output()
            .expect("ngspice is installed: apt-get install ngspice");
        let text = String::from_utf8_lossy(&solved.stdout).into_owned();
        let value = text
            .lines()
            .find_map(|l| l.strip_prefix("v(")?.split(" = ").nth(1))
            .unwrap_or_else(|| panic!("no value in {text}"));
        let mut parts = value
            .split(',')
            .map(|p| p.trim().parse::<f64>().expect("a number"));
        let (re, im) = (parts.next().unwrap_or(0.0), parts.next().unwrap_or(0.0));
        re.hypot(im)
    };
    let healthy = volts(&[]);
    assert!((200.0..260.0).contains(&healthy), "{healthy}");
    let open = volts(&["--fault", "disconnect.pole-1-open"]);
    assert!(open < healthy / 2.0, "{open}");
}

#[test]
fn a_netlist_names_what_it_does_not_know() {
    for (more, words_of) in [
        ("--fault moon.full", "sheet faults"),
        ("--probe contactor.L1", "two points"),
        ("--probe contactor.L1,contactor.L9", "sheet points"),
        ("--lift run-cap", "sets are"),
        ("--lift comp-common.1", "--power off"),
    ] {
        let ran = words(&format!("sheet netlist {SHEET} {more}"));
        assert_eq!(ran.code, 2, "{more}: {ran:?}");
        assert!(ran.err.contains(words_of), "{more}: {}", ran.err);
    }
    let dead = words(&format!(
        "sheet netlist {SHEET} --power off --current farads --json"
    ));
    assert!(
        !dead.json()["probes"].as_array().expect("pairs").is_empty(),
        "{dead:?}"
    );
}

/// What `sheet new` makes is sound as it is, says nothing in vain, and writes over nothing.
#[test]
fn a_new_sheet_is_sound_and_nothing_is_written_over() {
    let folder = tempfile::tempdir().expect("a folder");
    for (name, base) in [
        ("whole", None),
        ("derived", Some(SHEET)),
        ("beside", Some("whole.toml")),
    ] {
        let file = folder.path().join(format!("{name}.toml"));
        let base = base.map(|b| match b {
            SHEET => b.into(),
            beside => folder.path().join(beside),
        });
        let more: Vec<std::ffi::OsString> = base
            .iter()
            .flat_map(|b: &std::path::PathBuf| ["--based-on".into(), b.into()])
            .collect();
        let new = |more: &[std::ffi::OsString]| {
            let mut args: Vec<std::ffi::OsString> =
                vec!["sheet".into(), "new".into(), file.clone().into()];
            args.extend_from_slice(more);
            run(args)
        };
        let made = new(&more);
        assert_eq!(made.code, 0, "{made:?}");
        assert!(made.out.contains("sheet check"), "{made:?}");
        let check = run([
            "sheet".as_ref(),
            "check".as_ref(),
            "--json".as_ref(),
            file.as_os_str(),
        ]);
        assert_eq!(check.code, 0, "{check:?}");
        let check = check.json();
        assert_eq!(check["sound"], true);
        assert_eq!(check["probe_box"]["fits"], true);
        assert_eq!(check["notes"].as_array().map(Vec::len), Some(0), "{check}");
        std::fs::write(&file, "mine").expect("written");
        let again = new(&more);
        assert_eq!(again.code, 3, "{again:?}");
        assert_eq!(std::fs::read_to_string(&file).expect("there"), "mine");
        assert!(again.err.contains("left as it is"), "{again:?}");
        if name == "whole" {
            std::fs::remove_file(&file).expect("removed");
            assert_eq!(new(&more).code, 0);
        }
    }
}

/// A draft with many slips: all of them are named, each with the nearest name where there is one,
/// and nothing that only follows from another slip.
#[test]
fn every_slip_of_a_draft_is_named_at_once() {
    let path = sheet("cellar-dryer-draft.toml");
    let ran = run([
        "sheet".as_ref(),
        "check".as_ref(),
        "--json".as_ref(),
        path.as_os_str(),
    ]);
    assert_eq!(ran.code, 3);
    let json = ran.json();
    let said: Vec<(u64, String)> = json["problems"]
        .as_array()
        .expect("problems")
        .iter()
        .map(|p| {
            assert!(
                p["file"]
                    .as_str()
                    .is_some_and(|f| f.ends_with("-draft.toml")),
                "{p}"
            );
            let text = format!("{} {}", p["what"], p["remedy"]);
            (p["line"].as_u64().expect("a line"), text)
        })
        .collect();
    for (line, words) in [
        (9, "float-switch"),
        (12, "heater.2"),
        (14, "`watts` is not a key"),
        (18, "contactor"),
        (20, "`colour` is not a key"),
        (26, "no lifted set"),
        (27, "did you mean \\\"heater.open\\\"?"),
        (30, "not a probability"),
        (31, "did you mean \\\"run-cap.open\\\"?"),
    ] {
        assert!(
            said.iter()
                .any(|(l, text)| *l == line && text.contains(words)),
            "line {line}, {words}: {said:#?}"
        );
    }
    assert_eq!(said.len(), 9, "{said:#?}");
}

#[test]
fn a_sheet_is_drawn_and_so_are_its_checks() {
    let schematic = words(&format!("sheet draw {SHEET}"));
    assert_eq!(schematic.code, 0);
    assert!(schematic.out.starts_with("<svg ") && schematic.out.contains("id=\"wire-comp-run\""));
    assert_eq!(
        words(&format!("sheet draw {SHEET} --json")).json()["svg"],
        schematic.out
    );
    // Lifted ends are those of the sheet's own check, unless others are named.
    let own = words(&format!(
        "sheet draw {SHEET} --points run-cap.C run-cap.HERM"
    ));
    assert!(own.out.contains("end lifted"), "{own:?}");
    let function = "--function volts-ac";
    let bare = words(&format!(
        "sheet draw {SHEET} --points run-cap.C run-cap.HERM {function}"
    ));
    assert!(!bare.out.contains("end lifted"), "{bare:?}");
    let lift = "--lift comp-start.1";
    let named = words(&format!(
        "sheet draw {SHEET} --points run-cap.C run-cap.HERM {lift}"
    ));
    assert_eq!(named.out.matches("end lifted").count(), 1, "{named:?}");
    // A check by its line in the list, and by its points.
    let number = 1 + rows("checks")
        .iter()
        .position(|c| c["function"] == "farads" && c["points"][1] == "run-cap.HERM")
        .expect("the check");
    let numbered = words(&format!("sheet draw {SHEET} --check {number}"));
    assert_eq!(numbered.out, own.out);
    for (more, remedy) in [
        ("--points run-cap.C run-cap.Z", "sheet points"),
        ("--points run-cap.C thermostat.O", "--function"),
        ("--check 9999", "sheet checks"),
        (
            "--points run-cap.C run-cap.HERM --function luck",
            "known are",
        ),
        (
            "--points run-cap.C run-cap.HERM --function amps-ac",
            "both ends of one wire",
        ),
        ("--points run-cap.C run-cap.HERM --lift moon", "sets are"),
    ] {
        let ran = words(&format!("sheet draw {SHEET} {more}"));
        assert_eq!(ran.code, 2, "{more}: {ran:?}");
        assert!(ran.err.contains(remedy), "{more}: {ran:?}");
    }
}
