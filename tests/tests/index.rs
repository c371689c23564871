//! What the trails say, whatever happened to them, and the questions asked of it.

use std::fs;

use ohmtrail_core::reading::Function;
use ohmtrail_core::units::Micros;
use ohmtrail_index::{EXPORTED, Format, Outlook, Quantity, Why, verify};
use ohmtrail_tests::cli::workspace;
use ohmtrail_tests::shop::Shop;
use ohmtrail_tests::years::{DAY_US, FIRST_DAY_US, SHEET, Written, unit, visit};
use ohmtrail_trail::event::{Act, Event, Fitted, Opened, Power, Stamped};
use ohmtrail_trail::{Trail, read};
use serde_json::{Value, json};

#[test]
fn an_update_reads_what_changed_and_comes_to_what_a_rebuild_says() {
    let shop = Shop::of_a_few_units();
    let mut index = shop.rebuild(0);
    shop.proven_equal();
    let still = index.update(&[]).expect("updated");
    assert_eq!((still.trails, still.read), (72, 0));

    // A new trail, one that grows by the very writer, one that is gone.
    shop.put("new.trail", &visit(7, 0));
    let grown = shop.visits().join("u1-03.trail");
    let (mut trail, entries, _) = Trail::open(&grown).expect("opens");
    let mut more = entries.last().expect("an entry").clone();
    more.at.wall_us += DAY_US;
    more.at.steady = Micros(more.at.steady.0 + 1);
    more.event = Event::Note {
        text: "zebrawood lid".to_owned(),
    };
    trail.take(&more).expect("taken");
    // The writer's padding lies behind it, as while a visit is open.
    let update = index.update(&[]).expect("updated");
    assert_eq!((update.trails, update.read), (73, 2), "{update:?}");
    trail.close().expect("closed");
    let gone = shop.visits().join("u2-11.trail");
    fs::remove_file(&gone).expect("removed");
    let update = index.update(&[]).expect("updated");
    assert_eq!((update.trails, update.read), (72, 1), "{update:?}");
    assert_eq!(
        update.gone,
        [fs::canonicalize(shop.visits())
            .expect("it")
            .join("u2-11.trail")]
    );
    assert_eq!(update.problems, []);
    shop.proven_equal();

    let found = index.search("ZEBRA invented", 5).expect("searched");
    assert_eq!(found.len(), 1);
    assert_eq!(found[0].unit, unit(1));
    assert!(
        found[0]
            .path
            .as_deref()
            .is_some_and(|p| p.ends_with("u1-03.trail"))
    );
    assert_eq!(
        index.history(&unit(2), true, 50).expect("history").len(),
        11
    );
    assert_eq!(index.units(true, 0, 50).expect("units").len(), 7);
    assert_eq!(index.size(true).expect("size"), (7, 72));
}

/// The rows of the golden trails are what their golden exports say.
#[test]
fn the_rows_are_those_of_the_trail() {
    let golden = workspace().join("crates/trail/tests/golden");
    for n in 1..=6 {
        let shop = Shop::empty();
        let to = shop.visits().join("visit.trail");
        fs::copy(golden.join(format!("visit-{n}.trail")), to).expect("copied");
        let mut index = shop.rebuild(0);
        shop.proven_equal();
        let mut out = Vec::new();
        index
            .export(EXPORTED[1], Format::JsonLines, &mut out)
            .expect("exported");
        let lines = |text: &str| -> Vec<Value> {
            let lines = text.lines().map(serde_json::from_str);
            lines.map(|line| line.expect("JSON")).collect()
        };
        let rows = lines(std::str::from_utf8(&out).expect("text"));
        let export = golden.join(format!("visit-{n}.jsonl"));
        let events = lines(&fs::read_to_string(export).expect("the export"));
        let data = |name: &str| -> Vec<&Value> {
            let found = events.iter().filter(|e| e["event"] == name);
            found.map(|e| &e["data"]).collect()
        };
        let (takes, struck) = (data("took"), data("struck"));
        assert_eq!(rows.len(), takes.len(), "visit-{n}");
        for (row, take) in rows.iter().zip(takes) {
            for key in ["take", "function", "value", "uncertainty", "meter"] {
                assert_eq!(row[key], take[key], "visit-{n} {key}");
            }
            let points = json!([row["point_1"], row["point_2"]]);
            assert_eq!(points, take["points"]);
            for key in ["class", "lower", "upper", "source"] {
                assert_eq!(row[key], take["verdict"][key], "visit-{n} {key}");
            }
            let why = struck.iter().find(|s| s["take"] == take["take"]);
            if let Some(why) = why {
                assert_eq!(row["void"], why["why"]);
            }
        }
    }
    let shop = Shop::empty();
    let to = shop.visits().join("visit.trail");
    fs::copy(golden.join("visit-1.trail"), to).expect("copied");
    let mut index = shop.rebuild(0);
    let door = index.door("cabin 3, \"lake side\"", true).expect("door");
    assert_eq!(door[0].part, "run-cap");
    assert_eq!(door[0].kind.as_deref(), Some("dual-run-capacitor"));
    assert_eq!(door[0].failures[0].mode, "fan-open");
    assert!((door[0].failures[0].p - 0.993).abs() < 1e-6);
}

#[test]
fn damage_is_named_and_does_not_stop_the_rest() {
    let shop = Shop::of_a_few_units();
    let path = shop.visits().join("u0-05.trail");
    let mut bytes = fs::read(&path).expect("a trail");
    let middle = bytes.len() / 2;
    bytes[middle] ^= 0x10;
    fs::write(&path, &bytes).expect("damaged");
    let first = shop.visits().join("u0-06.trail");
    let mut bytes = fs::read(&first).expect("a trail");
    bytes[40] ^= 0x10;
    fs::write(&first, &bytes).expect("damaged");
    fs::write(
        shop.visits().join("list.trail"),
        "milk, bread and so on, as long as a header",
    )
    .expect("no trail");
    let mut index = shop.rebuild(3);
    shop.proven_equal_with_problems(3);
    let problems = index.problems().expect("problems");
    let what = |name: &str| {
        let found = problems
            .iter()
            .find(|p| p.path.ends_with(name))
            .expect(name);
        found.what.clone()
    };
    assert!(what("u0-05.trail").contains("record"), "{problems:?}");
    assert!(
        what("u0-06.trail").contains("does not say what was visited"),
        "{problems:?}"
    );
    assert!(what("list.trail").contains("not a trail"), "{problems:?}");
    // The damaged one is there with what is whole of it; the one without its first record is not.
    assert_eq!(
        index.history(&unit(0), true, 50).expect("history").len(),
        11
    );
}

/// A trail that was rewritten behind the index's back is named, as is a second file of a visit that
/// does not go on from it.
#[test]
fn what_did_not_only_grow_is_named() {
    let shop = Shop::empty();
    let mut whole = visit(3, 4);
    let path = shop.put("a.trail", &whole);
    let mut index = shop.rebuild(0);
    // An older copy elsewhere is no problem, and adds nothing.
    let mut older = whole.clone();
    older.entries.truncate(20);
    shop.put("copy.trail", &older);
    let update = index.update(&[]).expect("updated");
    assert_eq!((update.read, update.problems.len()), (1, 0), "{update:?}");
    shop.proven_equal();
    // A copy that says something else is one.
    let last = older.entries.len() - 1;
    older.entries[last].event = Event::Note {
        text: "something else".to_owned(),
    };
    shop.put("copy.trail", &older);
    let update = index.update(&[]).expect("updated");
    assert_eq!(update.problems.len(), 1, "{update:?}");
    assert!(update.problems[0].path.ends_with("copy.trail"));
    fs::remove_file(shop.visits().join("copy.trail")).expect("removed");
    // The trail itself, with another note in its middle.
    whole.entries[10].event = Event::Note {
        text: "rewritten".to_owned(),
    };
    fs::write(&path, whole.bytes()).expect("rewritten");
    let update = index.update(&[]).expect("updated");
    assert_eq!(update.problems.len(), 1, "{update:?}");
    assert!(
        update.problems[0]
            .what
            .contains("changed since it was indexed")
    );
    assert_eq!(index.search("rewritten", 5).expect("searched").len(), 1);
    shop.proven_equal();
    // Where the longer copy is removed, the shorter one takes its place.
    older.entries.truncate(15);
    shop.put("z.trail", &older);
    index.update(&[]).expect("updated");
    fs::remove_file(&path).expect("removed");
    index.update(&[]).expect("updated");
    shop.proven_equal();
    assert_eq!(index.size(true).expect("size"), (1, 1));
}

#[test]
fn a_difference_is_found_and_told() {
    let shop = Shop::of_a_few_units();
    drop(shop.rebuild(0));
    let changed = |sql: &str| {
        let store = rusqlite::Connection::open(shop.index()).expect("the file");
        store.execute_batch(sql).expect(sql);
        let compared = verify(&shop.index()).expect("compared");
        drop(shop.rebuild(0));
        compared
    };
    for (sql, table, rows) in [
        (
            "UPDATE takes SET value = value * 1.0001 WHERE take = 3",
            "takes",
            72,
        ),
        ("DELETE FROM findings", "findings", 1),
        (
            "UPDATE units SET visits = 3 WHERE unit LIKE '%00001'",
            "units",
            1,
        ),
    ] {
        let compared = changed(sql);
        assert!(compared.differ >= rows, "{sql}: {compared:?}");
        assert!(compared.differences[0].starts_with(table), "{compared:?}");
    }
    shop.proven_equal();
}

/// A capacitor's section read once a year, with 0.08 microfarads of uncertainty.
fn readings(shop: &Shop, unit: &str, values: &[f64]) {
    for (year, value) in (0..).zip(values) {
        let mut visit = Written::new(unit, SHEET, FIRST_DAY_US + year * 365 * DAY_US);
        visit.dead(
            Function::Farads,
            ["run-cap.C", "run-cap.HERM"],
            value * 1e-6,
            0.08e-6,
            Some((32.9e-6, 37.1e-6)),
        );
        visit.found(&[]).close();
        shop.put(&format!("{unit}-{year}.trail"), &visit);
    }
}

#[test]
fn a_forecast_is_made_only_where_the_visits_bear_it() {
    let shop = Shop::empty();
    readings(&shop, "ageing", &[35.0, 34.6, 34.25, 33.8, 33.45]);
    readings(&shop, "gone", &[34.0, 33.5, 33.0, 32.5, 32.0]);
    readings(&shop, "steady", &[35.0, 35.05, 34.95, 35.02, 35.0]);
    readings(&shop, "few", &[35.0, 34.5, 34.0]);
    readings(&shop, "slow", &[36.0, 35.85, 35.75, 35.6, 35.5]);
    let mut index = shop.rebuild(0);
    let mut outlook = |unit: &str| {
        let trends = index.trends(unit, true).expect("trends");
        assert_eq!(trends.len(), 1, "{unit}");
        assert_eq!(trends[0].series.quantity, Quantity::Capacitance);
        assert_eq!(trends[0].series.part, "run-cap");
        trends[0].outlook.clone()
    };
    // By hand: 0.39 microfarads a year, 34.22 at two years: 32.9 after 5.4 years.
    let Outlook::Leaves(leaving) = outlook("ageing") else {
        panic!("{:?}", outlook("ageing"));
    };
    let years = |us: i64| (us - FIRST_DAY_US) as f64 / (365.0 * DAY_US as f64);
    assert!(
        (years(leaving.at_us) - 5.385).abs() < 0.01,
        "{}",
        years(leaving.at_us)
    );
    assert!(!leaving.upper && (leaving.limit - 32.9e-6).abs() < 1e-12);
    assert!(
        years(leaving.from_us) > 4.0 && years(leaving.to_us) < 8.0,
        "{leaving:?}"
    );
    assert!(
        matches!(outlook("gone"), Outlook::Left(_)),
        "{:?}",
        outlook("gone")
    );
    assert_eq!(outlook("steady"), Outlook::No(Why::NoSlope));
    assert_eq!(outlook("few"), Outlook::No(Why::Few(3)));
    assert!(
        matches!(outlook("slow"), Outlook::No(Why::Far(..))),
        "{:?}",
        outlook("slow")
    );
}

/// After a part was found to have failed, its values are another part's.
#[test]
fn a_part_that_failed_begins_anew() {
    let shop = Shop::empty();
    readings(&shop, "unit", &[35.0, 34.5, 34.0, 33.5]);
    let mut failed = Written::new("unit", SHEET, FIRST_DAY_US + 1300 * DAY_US);
    failed.found(&["run-cap.herm-open"]).decided(true).close();
    shop.put("failed.trail", &failed);
    let mut index = shop.rebuild(0);
    let trend = &index.trends("unit", true).expect("trends")[0];
    assert_eq!(trend.outlook, Outlook::No(Why::Former));
    let mut after = Written::new("unit", SHEET, FIRST_DAY_US + 1310 * DAY_US);
    after.dead(
        Function::Farads,
        ["run-cap.HERM", "run-cap.C"],
        35.2e-6,
        0.08e-6,
        None,
    );
    shop.put("after.trail", &after);
    index.update(&[]).expect("updated");
    let trend = &index.trends("unit", true).expect("trends")[0];
    assert_eq!(trend.series.values.len(), 1);
    assert_eq!(trend.outlook, Outlook::No(Why::Few(1)));
    // Another one is fitted: what was read before is of the old one, in the same visit too.
    let mut mended = Written::new("unit", SHEET, FIRST_DAY_US + 1800 * DAY_US);
    let reading = |visit: &mut Written, farads: f64| {
        visit.dead(
            Function::Farads,
            ["run-cap.C", "run-cap.HERM"],
            farads,
            0.08e-6,
            None,
        );
    };
    reading(&mut mended, 32.0e-6);
    mended.say(Event::Fitted(Fitted {
        part: "run-cap".to_owned(),
        stamp: vec![Stamped {
            key: "capacitance-herm".to_owned(),
            value: "35 uF".to_owned(),
        }],
        matches: Some(true),
        words: "invented".to_owned(),
    }));
    reading(&mut mended, 35.1e-6);
    shop.put("mended.trail", &mended);
    index.update(&[]).expect("updated");
    let trend = &index.trends("unit", true).expect("trends")[0];
    let values: Vec<f64> = trend.series.values.iter().map(|v| v.value).collect();
    assert_eq!(values, [35.1e-6]);
    let door = index.door("unit", true).expect("door");
    assert!(door[0].failures[0].fitted_us.is_some());
    // It fails again, in another way, and a wire beside it.
    let mut again = Written::new("unit", SHEET, FIRST_DAY_US + 1900 * DAY_US);
    again
        .found(&["run-cap.fan-open", "comp-start.open"])
        .decided(false);
    shop.put("again.trail", &again);
    index.update(&[]).expect("updated");
    let door = index.door("unit", true).expect("door");
    assert_eq!(door[0].part, "run-cap");
    assert!(door[0].again());
    let modes: Vec<&str> = door[0].failures.iter().map(|f| f.mode.as_str()).collect();
    assert_eq!(modes, ["fan-open", "herm-open"]);
    let approved: Vec<Option<bool>> = door[0].failures.iter().map(|f| f.approved).collect();
    assert_eq!(approved, [Some(false), Some(true)]);
    assert_eq!(
        (door[1].part.as_str(), door[1].kind.as_deref()),
        ("comp-start", Some("wire"))
    );
    shop.proven_equal();
}

/// Windings move with the air: they are brought to 25 °C, by IEC 60034-1's rule (234.5 for copper).
#[test]
fn windings_are_compared_at_one_temperature() {
    let shop = Shop::empty();
    for (year, air) in [(0, 5.0), (1, 30.0), (2, 18.0), (3, 38.0), (4, 25.0)] {
        let mut visit = Written::new("wound", SHEET, FIRST_DAY_US + year * 365 * DAY_US);
        visit
            .act(Act::OpenBreaker)
            .wait(12 * 3600)
            .act(Act::WaitCool)
            .air(air);
        let ohms = 0.87 * (234.5 + air) / (234.5 + 25.0);
        visit.dead(
            Function::Ohms,
            ["compressor.C", "compressor.R"],
            ohms,
            0.004,
            Some((0.7, 1.1)),
        );
        shop.put(&format!("w{year}.trail"), &visit);
    }
    // One without the air, one that was under power a moment before.
    let mut bare = Written::new("wound", SHEET, FIRST_DAY_US + 5 * 365 * DAY_US);
    bare.act(Act::OpenBreaker).wait(12 * 3600);
    bare.dead(
        Function::Ohms,
        ["compressor.C", "compressor.R"],
        0.9,
        0.004,
        None,
    );
    shop.put("bare.trail", &bare);
    let mut hot = Written::new("wound", SHEET, FIRST_DAY_US + 6 * 365 * DAY_US);
    hot.air(20.0).take(
        Function::Ohms,
        ["compressor.C", "compressor.R"],
        Power::On,
        1.2,
        0.004,
        None,
    );
    shop.put("hot.trail", &hot);
    let mut index = shop.rebuild(0);
    let trends = index.trends("wound", true).expect("trends");
    assert_eq!(trends.len(), 1, "{trends:?}");
    let series = &trends[0].series;
    assert_eq!(
        (series.quantity, series.part.as_str()),
        (Quantity::Winding, "compressor")
    );
    assert_eq!(series.values.len(), 5);
    for value in &series.values {
        assert!((value.value - 0.87).abs() < 1e-12, "{value:?}");
        // 0.004 ohm of the meter, about 1.04 K of the air: 0.0035 ohm.
        assert!((0.0045..0.0065).contains(&value.u), "{value:?}");
    }
    assert_eq!(trends[0].outlook, Outlook::No(Why::NoSlope));
    let left_out: usize = series.left_out.values().sum();
    assert_eq!(left_out, 1, "{:?}", series.left_out);
}

/// Simulated visits and real ones are never counted together.
#[test]
fn simulated_visits_stay_apart() {
    let shop = Shop::empty();
    for (n, simulated) in [(0, true), (1, false), (2, false)] {
        let opened = Opened {
            tool: String::new(),
            work_order: String::new(),
            technician: String::new(),
            unit: "same name".to_owned(),
            sheet: SHEET.to_owned(),
            sheet_hash: [0; 32],
            previous: None,
            simulated,
        };
        let mut visit = Written::of(opened, FIRST_DAY_US + n * DAY_US);
        visit.found(&["run-cap.herm-open"]).close();
        shop.put(&format!("{n}.trail"), &visit);
    }
    let mut index = shop.rebuild(0);
    assert_eq!(index.size(true).expect("size"), (1, 1));
    assert_eq!(index.size(false).expect("size"), (1, 2));
    assert_eq!(index.door("same name", false).expect("door")[0].times(), 2);
    assert_eq!(index.door("same name", true).expect("door")[0].times(), 1);
    let kinds = index.statistics(None, false).expect("statistics");
    assert_eq!(kinds.len(), 1);
    assert_eq!((kinds[0].failed.k, kinds[0].failed.n), (2, 2));
    assert_eq!(kinds[0].modes[0].0, "herm-open");
}

/// Statistics against counting the events of every trail by hand.
#[test]
fn kinds_are_counted_as_the_trails_have_them() {
    let shop = Shop::of_a_few_units();
    let mut capacitor = 0;
    let mut modes = std::collections::BTreeMap::<String, i64>::new();
    for entry in fs::read_dir(shop.visits()).expect("the folder") {
        let path = entry.expect("an entry").path();
        for record in read(&path).expect("a trail").flatten() {
            let text = format!("{:?}", record.body);
            if text.contains("Found(") && text.contains("faults: [\"run-cap.") {
                capacitor += 1;
                let mode = text.split("run-cap.").nth(1).expect("a mode");
                let mode = mode.split('"').next().expect("its end");
                *modes.entry(mode.to_owned()).or_default() += 1;
            }
        }
    }
    assert!(capacitor > 3, "{capacitor}");
    let mut index = shop.rebuild(0);
    let kinds = index
        .statistics(Some("dual-run-capacitor"), true)
        .expect("statistics");
    assert_eq!(kinds.len(), 1);
    assert_eq!((kinds[0].failed.k, kinds[0].failed.n), (capacitor, 72));
    let counted: std::collections::BTreeMap<String, i64> = kinds[0]
        .modes
        .iter()
        .map(|(mode, share)| (mode.clone(), share.k))
        .collect();
    assert_eq!(counted, modes);
}
