//! What the index says of the trails: their rows, and the questions asked of it.

use std::fs;

use ohmtrail_core::reading::Function;
use ohmtrail_index::{EXPORTED, Format, Index, Outlook, Quantity, Why, verify};
use ohmtrail_tests::cli::workspace;
use ohmtrail_tests::shop::Shop;
use ohmtrail_tests::years::{DAY_US, FIRST_DAY_US, SHEET, Written};
use ohmtrail_trail::event::{Act, Event, Fitted, GateEvent, LIVE, Opened, Power, Stamped};
use ohmtrail_trail::read;
use serde_json::{Value, json};

/// The rows of the golden trails are what their golden exports say.
#[test]
fn the_rows_are_those_of_the_trail() {
    let golden = workspace().join("crates/trail/tests/golden");
    let mut seen = [0; 5];
    for n in 1..=6 {
        let shop = Shop::empty();
        let to = shop.visits().join("visit.trail");
        fs::copy(golden.join(format!("visit-{n}.trail")), to).expect("copied");
        let mut index = shop.rebuild(0);
        shop.proven_equal();
        let export = golden.join(format!("visit-{n}.jsonl"));
        let events = lines(&fs::read_to_string(export).expect("the export"));
        let golden = Golden { n, events };
        golden.visit(&rows(&mut index, "visits"));
        let takes = rows(&mut index, "takes");
        golden.takes(&takes);
        let plates = rows(&mut index, "plates");
        golden.beside(
            "plate",
            &plates,
            &[
                ("part", "part"),
                ("what", "key"),
                ("value", "value"),
                ("unit_of", "unit"),
            ],
        );
        let fitted = rows(&mut index, "fitted");
        golden.beside("fitted", &fitted, &[("part", "part")]);
        for (row, event) in fitted.iter().zip(golden.of("fitted")) {
            assert_eq!(row["matches"] == 1, event["data"]["matches"] == true);
            let stamp = &event["data"]["stamp"][0];
            let said = format!("{} {}", text(&stamp["key"]), text(&stamp["value"]));
            assert_eq!(text(&row["stamp"]), said);
        }
        let decisions = rows(&mut index, "decisions");
        golden.beside(
            "decided",
            &decisions,
            &[
                ("quote", "quote"),
                ("option_of", "option"),
                ("by_whom", "by"),
                ("means", "means"),
            ],
        );
        let counts = [&takes, &plates, &fitted, &decisions].map(Vec::len);
        for (sum, count) in seen.iter_mut().zip(counts) {
            *sum += count;
        }
        seen[4] += 1;
    }
    // Each of these tables was held against something.
    assert_eq!(seen, [7, 1, 1, 1, 6]);
    let shop = Shop::empty();
    let to = shop.visits().join("visit.trail");
    fs::copy(golden.join("visit-1.trail"), to).expect("copied");
    let mut index = shop.rebuild(0);
    let door = index
        .door("cabin 3, \"lake side\"", true)
        .expect("door")
        .parts;
    assert_eq!(door[0].part, "run-cap");
    assert_eq!(door[0].kind.as_deref(), Some("dual-run-capacitor"));
    assert_eq!(door[0].failures[0].mode, "fan-open");
    assert!((door[0].failures[0].p - 0.993).abs() < 1e-6);
}

/// The events of a golden export.
struct Golden {
    n: u32,
    events: Vec<Value>,
}

impl Golden {
    fn of(&self, event: &str) -> impl Iterator<Item = &Value> {
        self.events.iter().filter(move |e| e["event"] == event)
    }

    fn last(&self, event: &str) -> Value {
        self.of(event).last().cloned().unwrap_or_default()
    }

    fn visit(&self, rows: &[Value]) {
        let n = self.n;
        assert_eq!(rows.len(), 1, "visit-{n}");
        let row = &rows[0];
        let first = &self.events[0];
        assert_eq!(row["trail"], first["hash"], "visit-{n}");
        assert_eq!(row["head"], self.events[self.events.len() - 1]["hash"]);
        assert_eq!(row["records"], self.events.len());
        for key in ["unit", "sheet", "work_order", "technician", "previous"] {
            assert_eq!(row[key], first["data"][key], "visit-{n} {key}");
        }
        assert_eq!(row["simulated"] == 1, first["data"]["simulated"] == true);
        // These were written with an invented hash.
        assert_eq!(row["sheet_same"], 0);
        assert_eq!(row["opened_us"].as_i64(), micros(&first["at"]));
        let closed = self.last("closed");
        assert_eq!(
            row["closed_us"].as_i64(),
            micros(&closed["at"]),
            "visit-{n}"
        );
        assert_eq!(row["complaint"], self.last("complaint")["data"]["what"]);
        let left = &self.last("left")["data"];
        assert_eq!(row["left_power"], left["power"], "visit-{n}");
        assert_eq!(row["left_locked"] == 1, left["locked"] == true);
        assert_eq!(row["left_why"], left["why"]);
        let concluded = &self.last("concluded")["data"];
        let found = self.of("found").next().is_some();
        match &concluded["outcome"] {
            Value::Null if found => assert_eq!(row["outcome"], "faults", "visit-{n}"),
            outcome => assert_eq!(&row["outcome"], outcome, "visit-{n}"),
        }
        assert_eq!(row["p"].as_f64(), concluded["p"].as_f64(), "visit-{n}");
        assert_eq!(row["damage"], 0);
    }

    fn takes(&self, rows: &[Value]) {
        let n = self.n;
        let struck: Vec<&Value> = self.of("struck").map(|e| &e["data"]).collect();
        assert_eq!(rows.len(), self.of("took").count(), "visit-{n}");
        for (row, take) in rows.iter().zip(self.of("took")) {
            assert_eq!(row["at_us"].as_i64(), micros(&take["at"]));
            let take = &take["data"];
            for key in ["take", "function", "value", "uncertainty", "meter"] {
                assert_eq!(row[key], take[key], "visit-{n} {key}");
            }
            let points = json!([row["point_1"], row["point_2"]]);
            assert_eq!(points, take["points"]);
            for key in ["class", "lower", "upper", "source"] {
                assert_eq!(row[key], take["verdict"][key], "visit-{n} {key}");
            }
            if let Some(why) = struck.iter().find(|s| s["take"] == take["take"]) {
                assert_eq!(row["void"], why["why"]);
            }
        }
    }

    /// Rows of one event each: by their record, and these columns by their names in the export.
    fn beside(&self, event: &str, rows: &[Value], columns: &[(&str, &str)]) {
        let events: Vec<&Value> = self.of(event).collect();
        assert_eq!(rows.len(), events.len(), "visit-{} {event}", self.n);
        for (row, event) in rows.iter().zip(events) {
            assert_eq!(row["record"], event["record"]);
            if let Some(at) = row.get("at_us") {
                assert_eq!(at.as_i64(), micros(&event["at"]));
            }
            for (ours, theirs) in columns {
                assert_eq!(row[ours], event["data"][theirs], "visit-{} {ours}", self.n);
            }
        }
    }
}

/// The rows of a table, as they are handed on.
fn rows(index: &mut Index, table: &str) -> Vec<Value> {
    let table = EXPORTED.into_iter().find(|t| t.name == table);
    let mut out = Vec::new();
    index
        .export(table.expect("a table"), Format::JsonLines, &mut out)
        .expect("exported");
    lines(std::str::from_utf8(&out).expect("text"))
}

fn lines(text: &str) -> Vec<Value> {
    let lines = text.lines().map(serde_json::from_str);
    lines.map(|line| line.expect("JSON")).collect()
}

fn text(value: &Value) -> &str {
    value.as_str().expect("text")
}

/// Microseconds since 1970 of a moment as an export writes it, `2026-09-21T14:13:20.250000Z`, by the
/// days of the civil calendar.
fn micros(at: &Value) -> Option<i64> {
    let at = at.as_str()?;
    let number = |from: usize, to: usize| at[from..to].parse::<i64>().expect("digits");
    let (year, month, day) = (number(0, 4), number(5, 7), number(8, 10));
    let leap = |y: i64| y % 4 == 0 && (y % 100 != 0 || y % 400 == 0);
    let years: i64 = (1970..year).map(|y| if leap(y) { 366 } else { 365 }).sum();
    let of_month = |m: i64| match m {
        2 if leap(year) => 29,
        2 => 28,
        4 | 6 | 9 | 11 => 30,
        _ => 31,
    };
    let days = years + (1..month).map(of_month).sum::<i64>() + day - 1;
    let seconds = ((days * 24 + number(11, 13)) * 60 + number(14, 16)) * 60 + number(17, 19);
    Some(seconds * 1_000_000 + number(20, 26))
}

#[test]
fn a_difference_is_found_and_told() {
    let shop = Shop::of_a_few_units();
    drop(shop.rebuild(0));
    let changed = |sql: &str| {
        let store = rusqlite::Connection::open(shop.index()).expect("the file");
        store.execute_batch(sql).expect(sql);
        drop(store);
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
    let door = index.door("unit", true).expect("door").parts;
    assert!(door[0].failures[0].fitted_us.is_some());
    // It fails again, in another way, and a wire beside it.
    let mut again = Written::new("unit", SHEET, FIRST_DAY_US + 1900 * DAY_US);
    again
        .found(&["run-cap.fan-open", "comp-start.open"])
        .decided(true)
        .decided(false);
    shop.put("again.trail", &again);
    index.update(&[]).expect("updated");
    let door = index.door("unit", true).expect("door").parts;
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

/// Whatever a winding was held against in its visit, there is no forecast from it.
#[test]
fn a_winding_has_a_trend_and_no_limit() {
    let shop = Shop::empty();
    for (year, ohms) in [(0, 0.90), (1, 0.87), (2, 0.84), (3, 0.81), (4, 0.78)] {
        let mut visit = Written::new("wound", SHEET, FIRST_DAY_US + year * 365 * DAY_US);
        visit
            .act(Act::OpenBreaker)
            .wait(12 * 3600)
            .act(Act::WaitCool)
            .air(25.0)
            .dead(
                Function::Ohms,
                ["compressor.C", "compressor.R"],
                ohms,
                0.002,
                Some((0.7, 1.1)),
            );
        shop.put(&format!("w{year}.trail"), &visit);
    }
    let mut index = shop.rebuild(0);
    let trend = &index.trends("wound", true).expect("trends")[0];
    assert_eq!(trend.outlook, Outlook::No(Why::NoSource));
    assert_eq!(
        (trend.series.limits.lower, trend.series.limits.upper),
        (None, None)
    );
    assert!(trend.slope().is_some_and(|(slope, _)| slope < -0.02));
}

/// How long a unit had been off counts from when it was opened after it was last read live.
#[test]
fn a_unit_that_was_read_live_was_not_off() {
    let shop = Shop::empty();
    let live = GateEvent {
        gate: "proved-dead".to_owned(),
        open: false,
        points: Vec::new(),
        why: LIVE.to_owned(),
    };
    let winding = |visit: &mut Written| {
        visit.dead(
            Function::Ohms,
            ["compressor.C", "compressor.R"],
            0.9,
            0.004,
            None,
        );
    };
    let mut visit = Written::new("alarmed", SHEET, FIRST_DAY_US);
    visit.act(Act::OpenBreaker).wait(3600).air(25.0);
    winding(&mut visit);
    visit.say(Event::Gate(live));
    winding(&mut visit);
    visit.act(Act::LockDisconnect).wait(60);
    winding(&mut visit);
    shop.put("alarmed.trail", &visit);
    let mut index = shop.rebuild(0);
    let takes = rows(&mut index, "takes");
    let off: Vec<Option<i64>> = takes[1..].iter().map(|t| t["off_us"].as_i64()).collect();
    // The hour and the entries' seconds; unknown; a minute and one.
    assert_eq!(off, [Some(3_602_000_000), None, Some(61_000_000)]);
}

/// A visit that was made with another version of its sheet is told apart, and counted in a trend.
#[test]
fn another_version_of_the_sheet_is_said() {
    let shop = Shop::empty();
    for year in 0..4 {
        let mut visit = Written::new("unit", SHEET, FIRST_DAY_US + year * 365 * DAY_US);
        if let Some(Event::Opened(opened)) = visit.entries.first_mut().map(|e| &mut e.event) {
            match year {
                0 => opened.sheet_hash = [7; 32],
                1 => opened.sheet = "no-such-sheet".to_owned(),
                _ => {}
            }
        }
        visit.dead(
            Function::Farads,
            ["run-cap.C", "run-cap.HERM"],
            35e-6,
            0.08e-6,
            None,
        );
        shop.put(&format!("{year}.trail"), &visit);
    }
    let mut index = shop.rebuild(0);
    let same: Vec<Value> = rows(&mut index, "visits")
        .iter()
        .map(|row| row["sheet_same"].clone())
        .collect();
    assert_eq!(same, [json!(0), json!(null), json!(1), json!(1)]);
    let trend = &index.trends("unit", true).expect("trends")[0];
    assert_eq!(
        (trend.series.values.len(), trend.series.other_sheet),
        (4, 1)
    );
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
    assert_eq!(
        index.door("same name", false).expect("door").parts[0].times(),
        2
    );
    assert_eq!(
        index.door("same name", true).expect("door").parts[0].times(),
        1
    );
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
