//! Priors come from a file: what it says is what the table holds, and nonsense is refused.

use ohmtrail_circuit::compile::{Options, compile};
use ohmtrail_circuit::parts::KINDS;
use ohmtrail_circuit::priors::Priors;
use ohmtrail_circuit::sheet::{Question, Sheet, read_text};
use ohmtrail_core::isolate::Table;
use ohmtrail_core::isolate::table::from_byte;

fn sheet() -> Sheet {
    read_text("small", include_str!("small-sheet.toml")).expect("the sheet is sound")
}

fn singles() -> Options {
    Options {
        samples: 1,
        singles_only: true,
    }
}

#[test]
fn the_built_in_file_is_whole_and_says_where_its_numbers_come_from() {
    let priors = Priors::builtin().unwrap_or_else(|e| panic!("{e}"));
    for look in KINDS.iter().flat_map(|k| k.looks) {
        let yes = priors.yes(look, true);
        let not = priors.yes(look, false);
        assert!(not < yes && not > 0.0 && yes < 1.0, "{}", look.name);
    }
    assert!(priors.looks().values().all(|t| !t.source.is_empty()));
    assert!(priors.sources.values().all(|s| !s.is_empty()));
}

/// The prior of a single fault is its share of the weights, times what no fault and none of
/// these leave: reckoned here from the file's numbers, by hand.
#[test]
fn the_table_holds_the_priors_of_the_file() {
    let mut sheet = sheet();
    let own = sheet
        .priors
        .with(
            "own",
            "source = \"a test\"\n\
             [hypotheses]\nno-fault = 0.10\nnone-of-these = 0.15\n\
             [wires]\nopen = 0.05\n\
             [faults.disconnect]\nleft-open = 2.5\n",
        )
        .unwrap_or_else(|e| panic!("{e}"));
    sheet.set_priors(own);
    let wires = sheet.wires.len() as f64 * 0.05;
    let parts: f64 = sheet
        .parts
        .iter()
        .flat_map(|p| p.kind.faults.iter().map(move |f| (p.kind.name, f)))
        .map(|(kind, f)| match (kind, f.name) {
            ("disconnect", "left-open") => 2.5,
            _ => sheet.priors.weight(kind, f.name).unwrap_or(f.weight),
        })
        .sum();
    let compiled = compile(&sheet, singles()).expect("it compiles");
    let table = Table::parse(&compiled.bytes).expect("a table");
    assert!((table.prior(0) - 0.10).abs() < 1e-6);
    let unnamed = (0..table.hypotheses).filter(|h| table.is_none_of_these(*h));
    let unnamed: f32 = unnamed.map(|h| table.prior(h)).sum();
    assert!((unnamed - 0.15).abs() < 1e-6);
    let mut held = 0;
    for (h, set) in compiled.sets.iter().enumerate() {
        let &[fault] = set.as_slice() else { continue };
        let name = sheet.faults[fault].name.as_str();
        let weight = match name {
            "disconnect.left-open" => 2.5,
            wire if sheet
                .wires
                .iter()
                .any(|w| wire == format!("{}.open", w.name)) =>
            {
                0.05
            }
            _ => continue,
        };
        let expected = 0.75 * weight / (wires + parts);
        let found = f64::from(table.prior(h as u16));
        assert!(
            (found / expected - 1.0).abs() < 1e-5,
            "{name}: {found} {expected}"
        );
        held += 1;
    }
    assert_eq!(held, 1 + sheet.wires.len());
}

/// A look's row is its sensitivity and specificity, within the 2.5 % of a code.
#[test]
fn a_look_is_trusted_as_the_file_says() {
    let mut sheet = sheet();
    let text = "source = \"a test\"\n[looks.open]\nsensitivity = 0.7\nspecificity = 0.8\n";
    let own = sheet
        .priors
        .with("own", text)
        .unwrap_or_else(|e| panic!("{e}"));
    sheet.set_priors(own);
    let look = sheet.look("disconnect.open").expect("a look") as u16;
    let compiled = compile(&sheet, singles()).expect("it compiles");
    let table = Table::parse(&compiled.bytes).expect("a table");
    let open = sheet.fault("disconnect.left-open").expect("a fault");
    let h = compiled
        .sets
        .iter()
        .position(|s| *s == [open])
        .expect("there") as u16;
    let ask = table.ask(look).expect("an ask");
    let rows = table.ask_rows(&ask).expect("rows").as_chunks::<6>().0;
    let row = |h: u16| rows[usize::from(table.ask_cells(look)[usize::from(h)])];
    let yes = |h| f64::from(from_byte(row(h)[1]));
    assert!((yes(h) / 0.7 - 1.0).abs() < 0.026, "{}", yes(h));
    assert!((yes(0) / 0.2 - 1.0).abs() < 0.026, "{}", yes(0));
    // A customer's word is worth what the file says.
    assert!(matches!(sheet.checks[usize::from(look)].question,
        Question::Look { look, .. } if sheet.priors.customer(look) == 0.7));
}

#[test]
fn nonsense_is_refused_with_its_line() {
    let text = include_str!("bad-priors.toml");
    let priors = Priors::builtin().expect("sound");
    let error = priors.with("bad-priors.toml", text).expect_err("refused");
    for (line, part) in [
        (1, "`source` is missing"),
        (1, "leave the sheet's faults less than half"),
        (6, "`open` weighs -1"),
        (8, "says the opposite"),
        (12, "`smells` is not a key"),
        (16, "`share` is 1"),
        (19, "`stolen` is not a key"),
        (21, "`steam-engine` is not a key"),
    ] {
        let hit = |p: &ohmtrail_circuit::sheet::Problem| p.line == line && p.what.contains(part);
        assert!(error.problems.iter().any(hit), "{line} {part}:\n{error}");
    }
    assert_eq!(error.problems.len(), 8, "{error}");
    let missing = priors.with_file(std::path::Path::new("no/such/file"));
    assert!(
        missing
            .expect_err("no file")
            .to_string()
            .contains("check the path")
    );
}
