//! docs/sheet.md says what the code knows: its tables are written from the part kinds, its errors
//! come from real sheets, and its worked example is read, compiled and put to use.

mod docs_blocks;

use std::fmt::Write as _;

use ohmtrail_circuit::compile::{Options, compile};
use ohmtrail_circuit::parts::{KINDS, Kind, Unit};
use ohmtrail_circuit::sheet::{Question, Sheet, read_file, read_text};
use ohmtrail_core::class::{Class, Likely};
use ohmtrail_core::isolate::{Belief, Evidence, Table};
use ohmtrail_core::reading::Function;
use ohmtrail_tests::cli::sheet;

const PAGE: &str = "sheet.md";

fn unit(unit: Unit) -> &'static str {
    match unit {
        Unit::Ohm => "Ohm",
        Unit::Farad => "F",
        Unit::Volt => "V",
        Unit::Ampere => "A",
        Unit::Henry => "H",
        Unit::Watt => "W",
        Unit::Pascal => "Pa",
        Unit::Kelvin => "K",
        Unit::Metre => "m",
        Unit::Ratio => "1",
    }
}

/// A value as the page shows it: no more digits than it has.
fn number(x: f64) -> String {
    format!("{}", (x * 1e6).round() / 1e6)
}

/// One kind: what it is, then a table for each thing it has.
fn kind(out: &mut String, kind: &Kind) {
    writeln!(out, "### `{}`: {}\n", kind.name, kind.about).unwrap();
    let terminals: Vec<String> = kind
        .terminals
        .iter()
        .map(|t| {
            let bonded = if t.bonded { ", bonded inside" } else { "" };
            format!("`{}` ({}{bonded})", t.name, t.words)
        })
        .collect();
    if terminals.is_empty() {
        writeln!(out, "No terminals.").unwrap();
    } else {
        writeln!(out, "Terminals: {}.", terminals.join(", ")).unwrap();
    }
    if !kind.params.is_empty() {
        writeln!(out, "\n| value | unit | if left out | spread | what |").unwrap();
        writeln!(out, "|---|---|---|---|---|").unwrap();
        for p in kind.params {
            let default = p.default.map_or("must be given".to_owned(), number);
            writeln!(
                out,
                "| `{}` | {} | {default} | {} % | {} |",
                p.name,
                unit(p.unit),
                number(p.spread * 100.0),
                p.words
            )
            .unwrap();
        }
    }
    if !kind.links.is_empty() {
        writeln!(out, "\n| names another part | as |\n|---|---|").unwrap();
        for l in kind.links {
            writeln!(out, "| `{}` | {} |", l.name, l.words).unwrap();
        }
    }
    writeln!(out, "\n| fault | weight | what |\n|---|---|---|").unwrap();
    for f in kind.faults {
        writeln!(out, "| `{}` | {} | {} |", f.name, number(f.weight), f.words).unwrap();
    }
    if !kind.looks.is_empty() {
        writeln!(out, "\n| look | power | question |\n|---|---|---|").unwrap();
        for l in kind.looks {
            let power = match l.power {
                Some(true) => "on",
                Some(false) => "off",
                None => "either",
            };
            writeln!(out, "| `{}` | {power} | {} |", l.name, l.words).unwrap();
        }
    }
    out.push('\n');
}

fn kinds() -> String {
    let mut out = "\n".to_owned();
    for k in KINDS {
        kind(&mut out, k);
    }
    out
}

/// What is said of the bad sheets that the tests keep.
fn errors() -> String {
    let mut out = "\n```text\n".to_owned();
    for name in [
        "unknown-part.toml",
        "unknown-point.toml",
        "floating-terminal.toml",
        "wrong-unit.toml",
        "loop-a.toml",
        "not-toml.toml",
    ] {
        let problems = read_file(&sheet(name)).expect_err(name).problems;
        for problem in &problems {
            // The folder is the reader's own.
            let file = problem.file.rsplit('/').next().unwrap_or_default();
            writeln!(
                out,
                "{file}:{}: {}; {}",
                problem.line, problem.what, problem.remedy
            )
            .unwrap();
        }
    }
    out.push_str("```\n\n");
    out
}

#[test]
fn the_tables_are_those_of_the_code() {
    docs_blocks::in_step(PAGE, &[("kinds", kinds()), ("errors", errors())]);
}

/// The TOML of a block of the page.
fn toml(name: &str) -> String {
    docs_blocks::block(PAGE, name)
        .lines()
        .filter(|l| !l.starts_with("```"))
        .fold(String::new(), |text, line| text + line + "\n")
}

fn example() -> Sheet {
    read_text("the example", &toml("example")).unwrap_or_else(|e| panic!("{e}"))
}

/// The number of the check with this function between these points.
fn check(sheet: &Sheet, function: Function, names: [&str; 2]) -> u16 {
    let wanted = names.map(|n| sheet.point(n).expect(n));
    let found = sheet.checks.iter().position(|c| {
        matches!(&c.question, Question::Measure { function: f, points, .. }
            if *f == function && *points == wanted)
    });
    u16::try_from(found.expect("the check")).expect("few checks")
}

/// What is most probable after these answers: the faults of the leading hypothesis and the
/// probability of its group.
fn leading(sheet: &Sheet, bytes: &[u8], answers: &[(u16, Class)]) -> (Vec<String>, f32) {
    let table = Table::parse(bytes).expect("a table");
    let mut room = vec![0.0; table.weight_count()];
    let mut belief = Belief::new(&table, &mut room).expect("room");
    for (ask, class) in answers {
        let evidence = Evidence::Measured(Likely::certain(*class));
        belief.update(*ask, &evidence).expect("evidence");
    }
    let lead = belief.leading();
    let names = table
        .faults_of(lead.hypothesis)
        .map(|f| sheet.faults[usize::from(f)].name.clone())
        .collect();
    (names, lead.p)
}

/// The worked example does what the page says of it.
#[test]
fn the_example_finds_the_coil_and_the_fuse() {
    let sheet = example();
    let compiled = compile(&sheet, Options::default()).expect("it compiles");
    let volts = check(&sheet, Function::VoltsAc, ["valve.1", "valve.2"]);
    let coil = check(&sheet, Function::Ohms, ["valve.1", "valve.2"]);
    let fuse = check(&sheet, Function::Ohms, ["fuse.1", "fuse.2"]);
    let (faults, p) = leading(
        &sheet,
        &compiled.bytes,
        &[(volts, Class::Within), (coil, Class::Open)],
    );
    assert_eq!(faults, ["valve.open"], "{p}");
    assert!(p > 0.9, "{p}");
    // A shorted coil takes the fuse with it: the fuse is a consequence, not the fault.
    let (faults, p) = leading(
        &sheet,
        &compiled.bytes,
        &[
            (volts, Class::Absent),
            (fuse, Class::Open),
            (coil, Class::Short),
        ],
    );
    assert_eq!(faults, ["valve.shorted"], "{p}");
    assert!(p > 0.9, "{p}");
}

/// The second example replaces one value of the first kind of unit and keeps the rest.
#[test]
fn the_example_that_is_based_on_another_is_read() {
    let sheet =
        read_text("the second example", &toml("based-on")).unwrap_or_else(|e| panic!("{e}"));
    let of = |name: &str| {
        let part = sheet.parts.iter().find(|p| p.name == name);
        part.unwrap_or_else(|| panic!("{name}"))
    };
    assert!((of("run-cap").values[0] - 45e-6).abs() < 1e-15);
    assert_eq!(of("run-cap").values[2], 0.06, "left out: the kind's own");
    assert_eq!(of("breaker").values, [40.0]);
    assert!(sheet.complaints.iter().all(|c| c.name != "runs-poorly"));
    assert!(sheet.complaints.iter().any(|c| c.name == "nothing-runs"));
}
