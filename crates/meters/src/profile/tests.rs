//! What a profile says, and how it is refused.

use super::*;

const GOOD: &str = r#"name = "clamp meter of 6000 counts (invented)"
driver = "lcd14"
category = "CAT III 600 V"
low-impedance-ohm = 3000.0
lead-resistance-ohm = 0.15

[[range]]
function = "ohms"
full-scale = 600.0
resolution = 0.1
percent = 0.9
counts = 5

[[range]]
function = "ohms"
full-scale = 6e3
resolution = 1.0
percent = 0.8
counts = 2

[[range]]
function = "amps-ac"
percent = 2.0
counts = 8
"#;

fn refused(change: (&str, &str)) -> (usize, String) {
    assert!(GOOD.contains(change.0), "{change:?}");
    match Profile::parse("my.toml", &GOOD.replacen(change.0, change.1, 1)) {
        Ok(p) => panic!("{change:?} was taken: {p:?}"),
        Err(e) => {
            assert_eq!(e.file, "my.toml");
            (e.line, e.what)
        }
    }
}

#[test]
fn a_profile_states_accuracy_by_function_and_range() {
    let p = Profile::parse("my.toml", GOOD).unwrap();
    assert_eq!(
        p.category,
        Some(Category {
            level: 3,
            volts: 600
        })
    );
    assert_eq!(p.category.unwrap().to_string(), "CAT III 600 V");
    assert_eq!((p.input_ohm, p.lead_ohm), (10e6, 0.15));
    assert_eq!(p.low_impedance_ohm, Some(3000.0));
    let low = p.accuracy(Function::Ohms, 2.2).unwrap();
    assert_eq!((low.percent, low.counts), (0.9, 5.0));
    let high = p.accuracy(Function::Ohms, 601.0).unwrap();
    assert_eq!((high.percent, high.counts), (0.8, 2.0));
    assert_eq!(p.accuracy(Function::Ohms, 7e3), None);
    assert_eq!(p.top_of_range(Function::Ohms), Some(6e3));
    assert!(p.accuracy(Function::AmpsAc, 1e3).is_some());
    assert_eq!(p.accuracy(Function::VoltsAc, 1.0), None);
    assert!(!p.assumed());
    assert_eq!(p.rows(Function::Ohms).next().unwrap().last_digit, Some(-1));
    // 22 ohm on the 600 ohm range, and on the 6 kohm range.
    let shown = |mantissa, exponent| {
        p.accuracy_shown(Function::Ohms, Decimal::new(mantissa, exponent))
            .unwrap()
            .counts
    };
    assert_eq!((shown(220, -1), shown(22, 0)), (5.0, 2.0));
}

#[test]
fn the_default_is_cautious_and_says_that_it_is_assumed() {
    let p = Profile::cautious();
    assert!(p.assumed());
    assert!(p.name.contains("cautious default"));
    assert_eq!(p.category, None);
    assert_eq!(
        p.accuracy(Function::Ohms, 2.2),
        Cautious.accuracy(Function::Ohms, 2.2)
    );
}

#[test]
fn errors_name_the_line_and_what_to_do() {
    for (change, line, says) in [
        (
            ("driver = \"lcd14\"", "driver = \"morse\""),
            2,
            "lcd14, ascii14, count14, scpi, lines",
        ),
        (("CAT III 600 V", "CAT 3"), 3, "write it as `CAT III 600 V`"),
        (("CAT III 600 V", "CAT III 9000 V"), 3, "is no category"),
        (
            ("low-impedance-ohm", "low-impedence-ohm"),
            4,
            "unknown field",
        ),
        (("= 0.15", "= -0.15"), 5, "no resistance"),
        (("\"ohms\"", "\"resistance\""), 8, "volts-ac, volts-dc"),
        (("600.0", "0.0"), 9, "no positive value in Ohm"),
        (("600.0", "6e4"), 16, "must rise"),
        (("0.1\n", "0.3\n"), 10, "no power of ten"),
        (("percent = 0.9", "percent = 90"), 11, "not from 0 to 50"),
        (("percent = 0.9", "percent = \"1 %\""), 11, "invalid type"),
        (("counts = 5", "counts = -5"), 12, "not from 0 to 1000"),
        (("full-scale = 6e3\n", ""), 15, "each needs a full-scale"),
        (("counts = 5\n", ""), 7, "missing field `counts`"),
    ] {
        let (at, what) = refused(change);
        assert!(what.contains(says), "{change:?}: {what}");
        assert_eq!(at, line, "{change:?}: {what}");
    }
    let none = Profile::load(Path::new("/nonexistent/my.toml"));
    assert_eq!(none.map_err(|e| e.line), Err(0));
}

/// Each simulated meter covers the functions of its frame.
#[test]
fn every_simulated_meter_has_a_profile() {
    for entry in driver::drivers().iter().filter(|d| d.encode.is_some()) {
        let p = Profile::simulated(entry.name).unwrap();
        assert_eq!(p.driver.as_deref(), Some(entry.name));
        for row in &p.ranges {
            assert!(entry.about.functions.contains(&row.function), "{row:?}");
            assert!(row.full_scale.is_some() && row.last_digit.is_some());
        }
    }
    let tester = Profile::simulated("insulation").unwrap();
    assert_eq!(tester.driver, None);
    assert_eq!(tester.top_of_range(Function::Megohms), Some(2e9));
    assert!(!tester.assumed());
    assert_eq!(Profile::simulated("morse"), None);
}

#[test]
fn a_category_covers_what_it_is_at_least() {
    let cat = |text: &str| text.parse::<Category>().unwrap();
    let needed = cat("CAT III 600 V");
    assert!(cat("CAT III 600 V").covers(needed));
    assert!(cat("CAT IV 600 V").covers(needed));
    assert!(!cat("CAT II 1000 V").covers(needed));
    assert!(!cat("CAT III 300 V").covers(needed));
}

const BOX: &str = r#"name = "probe box on a bench (invented)"
driver = "lines"

[lines]
pattern = '(?<function>\w+) (?<value>[-+.\w]+) (?<unit>\S+)(?: (?<flags>.*))?'
functions = { RES = "ohms", VAC = "volts-ac" }
flags = { H = "hold", LO = "low-battery" }
overload = ["1-"]
end = "\r\n"
poll = "?\n"
every-ms = 250

[[range]]
function = "ohms"
percent = 1.0
counts = 2
"#;

/// Every fault of a pattern is told with its line and what to do.
#[test]
fn a_bad_pattern_is_refused_with_its_line() {
    assert!(Profile::parse("box.toml", BOX).is_ok());
    for (from, to, line, says) in [
        ("(?<value>", "(?<value>(", 5, "unclosed group"),
        (
            "(?<value>",
            "(?<digits>",
            5,
            "group `digits` is not known; one of value",
        ),
        ("(?<value>[-+.\\w]+)", "x", 5, "no group `value`"),
        ("(?<unit>\\S+)", "\\S+", 5, "say the unit"),
        ("(?<function>\\w+)", "\\w+", 5, "say what is measured"),
        ("\\S+", "\\S{1000}{1000}", 5, "size"),
        ("\\S+", "(?=x)", 5, "look-around"),
        ("\"ohms\", V", "\"resistance\", V", 6, "volts-ac, volts-dc"),
        (
            "\"hold\"",
            "\"held\"",
            7,
            "flag `held` is not known; one of hold",
        ),
        ("\\r\\n", "\\t", 9, "end is one of"),
        ("\"?\\n\"", "\"\"", 10, "poll is 1 to 64 bytes"),
        ("250", "5", 11, "from 20 to 1000"),
        ("poll = ", "pole = ", 10, "unknown field"),
        ("poll = \"?\\n\"", "", 11, "every-ms without poll"),
    ] {
        let text = BOX.replacen(&from.replace("\\\\", "\\"), &to.replace("\\\\", "\\"), 1);
        assert_ne!(text, BOX, "{from}");
        match Profile::parse("box.toml", &text) {
            Ok(_) => panic!("{from} -> {to} was taken"),
            Err(e) => {
                assert!(e.what.contains(says), "{from} -> {to}: {}", e.what);
                assert_eq!(e.line, line, "{from} -> {to}: {}", e.what);
            }
        }
    }
    // A table of one driver beside another's name.
    let other = BOX.replace("driver = \"lines\"", "driver = \"lcd14\"");
    let refused = Profile::parse("box.toml", &other).map_err(|e| e.what);
    assert!(refused.is_err_and(|what| what.contains("[lines] is for driver = \"lines\"")));
    let without = BOX.replace(
        &BOX[BOX.find("[lines]").unwrap()..BOX.find("[[range]]").unwrap()],
        "",
    );
    let refused = Profile::parse("box.toml", &without).map_err(|e| e.what);
    assert!(refused.is_err_and(|what| what.contains("needs a [lines] table")));
}

#[test]
fn a_profile_says_which_characteristics_are_used() {
    let text = format!(
        "{GOOD}\n[ble]\nservice = \"fff0\"\ncharacteristic = \"fff1\"\nfunction = \"volts-ac\"\n"
    );
    let p = Profile::parse("my.toml", &text).unwrap();
    let ble = p.ble.unwrap();
    assert_eq!(ble.service.unwrap().number(), Some(0xFFF0));
    assert_eq!(ble.characteristic.unwrap().number(), Some(0xFFF1));
    assert_eq!((ble.write, ble.function), (None, Some(Function::VoltsAc)));
    let bad = text.replace("\"fff1\"", "\"fff\"");
    let line = 1 + bad.lines().position(|l| l.contains("\"fff\"")).unwrap();
    let refused = Profile::parse("my.toml", &bad).map_err(|e| (e.line, e.what));
    assert!(refused.is_err_and(|(at, what)| at == line && what.contains("is no UUID")));
}
