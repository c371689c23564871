//! What is wrong with a sheet is told with its file, its line and what to do; and sheets that are
//! based on others.

use std::fs;
use std::path::Path;

use ohmtrail_circuit::draw::schematic;
use ohmtrail_circuit::sheet::{
    Problem, Question, Sheet, SheetError, read_builtin, read_file, read_text,
};
use ohmtrail_words::Tongue;

/// A small sheet with one of everything.
const SMALL: &str = include_str!("small-sheet.toml");

/// The text with one piece replaced. The piece is there once.
fn with(piece: &str, new: &str) -> String {
    assert_eq!(SMALL.matches(piece).count(), 1, "{piece}");
    SMALL.replace(piece, new)
}

/// The line, counted from 1, that a piece of a text begins on.
fn line_of(text: &str, piece: &str) -> usize {
    let at = text.find(piece).unwrap_or_else(|| panic!("no {piece}"));
    1 + text[..at].matches('\n').count()
}

fn problems(text: &str) -> Vec<Problem> {
    match read_text("small.toml", text) {
        Ok(_) => Vec::new(),
        Err(SheetError { problems }) => problems,
    }
}

#[test]
fn the_small_sheet_reads() {
    let sheet = read_text("small.toml", SMALL).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(sheet.name, "small");
    assert_eq!(sheet.parts.len(), 5);
    assert_eq!(sheet.wires.len(), 9);
    let heater = &sheet.parts[4];
    assert_eq!(heater.values, [1200.0]);
    for (value, wanted) in sheet.parts[3].values.iter().zip([35e-6, 5e-6, 0.06, 440.0]) {
        assert!((value / wanted - 1.0).abs() < 1e-12, "{value} {wanted}");
    }
    let point = sheet.point("feed-1.2").expect("a wire's end");
    assert_eq!(sheet.points[point].1, "black wire end at disconnect.line-1");
    assert_eq!(sheet.wires[7].lead_of, Some(4));
    let capacitors = &sheet.dead.capacitors;
    assert_eq!(capacitors.len(), 3, "every pair of the can's terminals");
}

/// Each row: a piece of the sheet, what it is replaced by, the piece on whose line the problem is,
/// words of what is wrong, words of what to do.
const REFUSED: &[(&str, &str, &str, &str, &str)] = &[
    (
        "kind = \"crankcase-heater\"",
        "kind = \"flux-coil\"",
        "kind = \"flux-coil\"",
        "\"flux-coil\" is not a kind of part",
        "crankcase-heater",
    ),
    (
        "mark = \"black\"",
        "color = \"black\"",
        "color =",
        "`color` is not a key of this table",
        "mark",
    ),
    (
        "ohms = \"1.2 kOhm\"",
        "ohm = \"1.2 kOhm\"",
        "ohm =",
        "`ohm` is not a key of this table",
        "ohms",
    ),
    (
        "off = 8",
        "of = 8",
        "of = 8",
        "`of` is not a key of this table",
        "off",
    ),
    (
        "title =",
        "heading = \"x\"\ntitle =",
        "heading",
        "`heading` is not a key",
        "known keys are",
    ),
    (
        "herm = \"35 uF\"",
        "herm = \"35 V\"",
        "herm = \"35 V\"",
        "\"V\" is not a unit of this value; it is wanted in F",
        "correct `herm`",
    ),
    (
        "herm = \"35 uF\"",
        "herm = \"35\"",
        "herm = \"35\"",
        "\"35\" has no unit",
        "correct `herm`",
    ),
    (
        "herm = \"35 uF\"",
        "herm = 35",
        "herm = 35",
        "`herm` is a integer",
        "a text in quotes",
    ),
    (
        "herm = \"35 uF\"",
        "herm = \"-35 uF\"",
        "herm = \"-35 uF\"",
        "`herm` is not above zero",
        "from the plate",
    ),
    (
        "herm = \"35 uF\"",
        "herm = \"some uF\"",
        "herm = \"some uF\"",
        "does not begin with a number",
        "correct `herm`",
    ),
    (
        "herm = \"35 uF\"\n",
        "",
        "[[part]]\nname = \"cap\"",
        "\"cap\" has no `herm` (marked capacitance, compressor section)",
        "add `herm = ",
    ),
    (
        "kind = \"disconnect\"\n",
        "",
        "[[part]]\nname = \"disconnect\"",
        "`kind` is missing",
        "add `kind = ",
    ),
    (
        "name = \"heater\"\n",
        "",
        "[[part]]\nkind = \"crankcase-heater\"",
        "`name` is missing",
        "add `name = ",
    ),
    (
        "[[wire]]\nname = \"heat-2\"\nfrom = \"contactor.T2\"\nto = \"heater.2\"\n",
        "",
        "name = \"heater\"",
        "the terminal \"heater.2\" floats: no wire ends on it",
        "unused = [\"heater.2\"]",
    ),
    (
        "to = \"heater.2\"",
        "to = \"heater.3\"",
        "to = \"heater.3\"",
        "\"heater.3\" is not a point of this sheet",
        "\"heater\" has heater.1, heater.2",
    ),
    (
        "to = \"heater.2\"",
        "to = \"furnace.2\"",
        "to = \"furnace.2\"",
        "\"furnace.2\" is not a point of this sheet",
        "there is no part or wire \"furnace\"",
    ),
    (
        "to = \"heater.2\"",
        "to = \"feed-1.1\"",
        "to = \"feed-1.1\"",
        "\"feed-1.1\" is a wire's end",
        "join wires at a part's terminal",
    ),
    (
        "from = \"contactor.T2\"\nto = \"heater.2\"",
        "from = \"heater.2\"\nto = \"heater.2\"",
        "[[wire]]\nname = \"heat-2\"",
        "the wire \"heat-2\" has both ends on one terminal",
        "name the terminal at its other end",
    ),
    (
        "lead-of = \"heater\"",
        "lead-of = \"furnace\"",
        "lead-of = \"furnace\"",
        "\"furnace\" is not a part of this sheet",
        "name the part",
    ),
    (
        "unused = [\"contactor.A1\"",
        "unused = [\"contactor.B1\", \"contactor.A1\"",
        "unused =",
        "\"contactor.B1\" is not a point",
        "contactor.A1",
    ),
    (
        "name = \"heat-2\"",
        "name = \"heat-1\"",
        "name = \"heat-1\"\nfrom = \"contactor.T2\"",
        "\"heat-1\" is defined twice",
        "another name",
    ),
    (
        "name = \"disconnect\"",
        "name = \"supply\"",
        "name = \"supply\"\nkind = \"disconnect\"",
        "\"supply\" is defined twice",
        "another name",
    ),
    (
        "name = \"herm\"",
        "name = \"heater\"",
        "name = \"heater\"\nfrom = \"contactor.T1\"",
        "\"heater\" is the name of a part",
        "another name",
    ),
    (
        "ends = [\"herm.2\", \"fan.2\"]",
        "ends = [\"cap.HERM\"]",
        "ends =",
        "\"cap.HERM\" is a terminal, not a wire's end",
        "name the wire end",
    ),
    (
        "points = [\"cap.C\", \"cap.HERM\"]",
        "points = [\"cap.C\", \"cap.COMP\"]",
        "points = [\"cap.C\", \"cap.COMP\"]",
        "\"cap.COMP\" is not a point of this sheet",
        "\"cap\" has cap.C, cap.HERM, cap.FAN",
    ),
    (
        "points = [\"cap.C\", \"cap.HERM\"]",
        "points = [\"cap.C\"]",
        "[[check]]\nmeasure = \"farads\"",
        "a check needs two points",
        "points = [",
    ),
    (
        "power = \"off\"",
        "power = \"on\"",
        "[[check]]\nmeasure = \"farads\"",
        "farads on a live circuit",
        "power = \"off\"",
    ),
    (
        "power = \"off\"",
        "power = \"standby\"",
        "power = \"standby\"",
        "is not a state of the unit",
        "\"on\" or \"off\"",
    ),
    (
        "points = [\"heat-1.1\", \"heat-1.2\"]",
        "points = [\"heater.1\", \"heater.2\"]",
        "[[check]]\nmeasure = \"amps-ac\"",
        "amperes are read with a clamp around a wire",
        "both ends of one wire",
    ),
    (
        "measure = \"farads\"",
        "measure = \"furlongs\"",
        "measure = \"furlongs\"",
        "\"furlongs\" is not something a meter measures",
        "volts-ac",
    ),
    (
        "lift = \"capacitor\"",
        "lift = \"condenser\"",
        "lift = \"condenser\"",
        "there is no lifted set \"condenser\"",
        "[[lift]]",
    ),
    (
        "motors = \"as-found\"",
        "motors = \"tepid\"",
        "motors = \"tepid\"",
        "is not a heat of the motors",
        "\"cold\"",
    ),
    (
        "within = [\"197 V\", \"253 V\"]",
        "within = [\"197 V\"]",
        "[[check]]\nmeasure = \"volts-ac\"",
        "`within` needs a lower and an upper limit",
        "within = [",
    ),
    (
        "within = [\"197 V\", \"253 V\"]",
        "within = [\"197 V\", \"253 A\"]",
        "within =",
        "\"A\" is not a unit of this value; it is wanted in V",
        "correct this limit",
    ),
    (
        "within = [\"197 V\", \"253 V\"]",
        "within = [\"253 V\", \"197 V\"]",
        "[[check]]\nmeasure = \"volts-ac\"",
        "the lower limit of `within` is not under the upper one",
        "lower limit first",
    ),
    (
        "proves = [\"cap.herm-open\"]",
        "proves = [\"cap.herm-gone\"]",
        "proves =",
        "\"cap.herm-gone\" is not a fault of this sheet",
        "sheet faults",
    ),
    (
        "by = [\"cap.herm-open\"]",
        "by = [\"cap.herm-gone\"]",
        "by = [\"cap.herm-gone\"]",
        "\"cap.herm-gone\" is not a fault of this sheet",
        "sheet faults",
    ),
    (
        "faults = [\"heater.open\"]",
        "faults = [\"heater.shut\"]",
        "faults =",
        "\"heater.shut\" is not a fault",
        "sheet faults",
    ),
    (
        "fault = \"cap.fan-open\"",
        "fault = \"cap.fan-gone\"",
        "fault = \"cap.fan-gone\"",
        "\"cap.fan-gone\" is not a fault",
        "sheet faults",
    ),
    (
        "p = 0.1",
        "p = 1.5",
        "[[caused]]",
        "`p` is not a probability",
        "between 0 and 1",
    ),
    (
        "\"contactor.pulled-in\" = false",
        "\"contactor.purple\" = false",
        "\"contactor.purple\"",
        "\"contactor.purple\" is nothing that is looked at",
        "sheet looks",
    ),
    (
        "\"contactor.pulled-in\" = false",
        "\"contactor.pulled-in\" = \"no\"",
        "\"contactor.pulled-in\"",
        "not yes or no",
        "true or false",
    ),
    (
        "ground = \"supply.G\"",
        "ground = \"earth.G\"",
        "ground =",
        "\"earth.G\" is not a point",
        "\"earth\"",
    ),
    (
        "load = [\"contactor.T1\", \"contactor.T2\"]\n",
        "",
        "[dead]",
        "`line` and `load` need points",
        "both sides",
    ),
    (
        "title =",
        "title = =",
        "title = =",
        "not TOML",
        "correct this line",
    ),
    (
        "title =",
        "based-on = \"elsewhere\"\ntitle =",
        "based-on",
        "\"elsewhere\" cannot be read: there is no built-in sheet of that name",
        "name a built-in sheet",
    ),
    (
        "title =",
        "remove = [\"feed-3\"]\ntitle =",
        "remove",
        "there is no \"feed-3\" to remove",
        "this sheet is based on",
    ),
    (
        "title =",
        "remove = [\"cap.fan-gone\"]\ntitle =",
        "remove",
        "there is no \"cap.fan-gone\" to remove",
        "fault or check",
    ),
    (
        "title =",
        "words.es.\"Nothing worx.\" = \"Nada funciona.\"\ntitle =",
        "words.es",
        "\"Nothing worx.\" is nothing that this sheet says",
        "did you mean \"Nothing works.\"?",
    ),
    (
        "title =",
        "words.es.\"Nothing works.\" = \" \"\ntitle =",
        "words.es",
        "\"Nothing works.\" has no words here",
        "a text in quotes",
    ),
    (
        "title =",
        "words.es.\"Nothing works.\" = 3\ntitle =",
        "words.es",
        "\"Nothing works.\" has no words here",
        "a text in quotes",
    ),
    (
        "title =",
        "words.fr.\"Nothing works.\" = \"Rien ne marche.\"\ntitle =",
        "words.fr",
        "`fr` is not a key of this table",
        "known keys are es",
    ),
];

#[test]
fn every_problem_has_its_file_its_line_and_what_to_do() {
    for (piece, new, at, what, remedy) in REFUSED {
        let text = with(piece, new);
        let found = problems(&text);
        let line = line_of(&text, at);
        let told = found
            .iter()
            .find(|p| p.what.contains(what))
            .unwrap_or_else(|| panic!("{new}: nothing says \"{what}\" in {found:#?}"));
        assert_eq!(told.line, line, "{new}: {told}");
        assert!(told.remedy.contains(remedy), "{new}: {told}");
        assert_eq!(told.file, "small.toml");
        let words = told.to_string();
        assert!(
            words.starts_with(&format!("small.toml:{line}: ")),
            "{words}"
        );
    }
}

#[test]
fn several_problems_are_told_at_once_in_the_order_of_their_lines() {
    let text = SMALL
        .replace("\"1.2 kOhm\"", "\"1.2 kV\"")
        .replace("to = \"heater.2\"", "to = \"heater.3\"")
        .replace("motors = \"as-found\"", "motors = \"tepid\"")
        .replace("off = 8", "of = 8");
    let error = read_text("small.toml", &text).expect_err("four things are wrong");
    let lines: Vec<usize> = error.problems.iter().map(|p| p.line).collect();
    for piece in ["of = 8", "1.2 kV", "heater.3", "tepid"] {
        assert!(lines.contains(&line_of(&text, piece)), "{piece}: {error}");
    }
    assert!(lines.is_sorted(), "{lines:?}");
    assert_eq!(error.to_string().lines().count(), lines.len());
}

#[test]
fn nothing_at_all_is_no_sheet() {
    let found = problems("");
    for what in ["`name` is missing", "no `[dead]` table"] {
        assert!(found.iter().any(|p| p.what.contains(what)), "{found:#?}");
    }
    assert!(read_builtin("no-such-sheet").is_none());
}

/// A file that cannot be read is told by its path.
#[test]
fn a_missing_file_is_named() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("absent.toml");
    let error = read_file(&path).expect_err("there is none");
    assert_eq!(error.problems.len(), 1);
    assert!(error.to_string().contains("absent.toml"), "{error}");
    assert!(error.to_string().contains("check the path"), "{error}");
}

fn write(folder: &Path, name: &str, text: &str) {
    let path = folder.join(name);
    fs::create_dir_all(path.parent().expect("a folder")).expect("made");
    fs::write(path, text).expect("written");
}

#[test]
fn a_loop_of_definitions_is_refused_however_it_is_spelled() {
    let layer = |base: &str| format!("name = \"x\"\ntitle = \"x\"\nbased-on = \"{base}\"\n");
    for (second, base_of_second) in [
        ("b.toml", "a.toml"),
        ("b.toml", "./a.toml"),
        ("sub/b.toml", "../a.toml"),
        ("sub/b.toml", "../sub/../a.toml"),
        ("sub/b.toml", "b.toml"),
    ] {
        let folder = tempfile::tempdir().expect("a folder");
        write(folder.path(), "a.toml", &layer(second));
        write(folder.path(), second, &layer(base_of_second));
        let error = read_file(&folder.path().join("a.toml")).expect_err("a loop");
        let problem = &error.problems[0];
        assert!(problem.what.contains("loop of definitions"), "{error}");
        assert!(problem.file.ends_with("b.toml"), "{error}");
        assert_eq!(problem.line, 3, "{error}");
        assert!(problem.remedy.contains("another sheet"), "{error}");
    }
    // A sheet on itself.
    let folder = tempfile::tempdir().expect("a folder");
    write(folder.path(), "a.toml", &layer("a.toml"));
    let error = read_file(&folder.path().join("a.toml")).expect_err("a loop");
    assert!(error.to_string().contains("loop of definitions"), "{error}");
}

/// A sheet based on a file: what it names again it replaces, what it removes is gone, what is new
/// is added. The base is unchanged.
#[test]
fn a_sheet_replaces_removes_and_adds() {
    let folder = tempfile::tempdir().expect("a folder");
    write(folder.path(), "small.toml", SMALL);
    write(
        folder.path(),
        "units/larger.toml",
        r#"name = "larger"
title = "An invented unit with two heaters"
based-on = "../small.toml"
remove = ["heat-2", "dead"]

[[part]]
name = "heater"
kind = "crankcase-heater"
ohms = "600 Ohm"
[[part]]
name = "second-heater"
kind = "crankcase-heater"
[[wire]]
name = "series"
from = "heater.2"
to = "second-heater.1"
[[wire]]
name = "heat-3"
from = "second-heater.2"
to = "contactor.T2"
"#,
    );
    let base = read_text("small.toml", SMALL).expect("it reads");
    let path = folder.path().join("units/larger.toml");
    let larger = read_file(&path).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(larger.name, "larger");
    assert_eq!(larger.parts.len(), base.parts.len() + 1);
    let names: Vec<&str> = larger.wires.iter().map(|w| w.name.as_str()).collect();
    assert!(!names.contains(&"heat-2"));
    assert!(names.contains(&"series") && names.contains(&"heat-3"));
    let heater = larger.parts.iter().find(|p| p.name == "heater");
    assert_eq!(heater.expect("replaced").values, [600.0]);
    assert!(larger.complaints.is_empty(), "the complaint is removed");
    assert_eq!(larger.checks.len(), base.checks.len(), "taken over");
    assert_eq!(larger.caused.len(), 1);
    assert_ne!(larger.hash, base.hash);

    // A change of the base's text changes the hash of what is based on it.
    write(
        folder.path(),
        "small.toml",
        &with("incoming volts", "volts"),
    );
    assert_ne!(read_file(&path).expect("it reads").hash, larger.hash);

    // A problem in the base is told with the base's own file and line.
    let broken = with("\"35 uF\"", "\"35 Ohm\"");
    write(folder.path(), "small.toml", &broken);
    let error = read_file(&path).expect_err("the base is broken");
    assert_eq!(error.problems.len(), 1, "{error}");
    assert!(error.problems[0].file.ends_with("small.toml"), "{error}");
    assert_eq!(error.problems[0].line, line_of(&broken, "35 Ohm"));
}

/// The same in a chain: a name replaced twice in one file is a slip, not a choice.
#[test]
fn a_name_given_twice_in_a_layer_is_refused_even_if_it_replaces() {
    let folder = tempfile::tempdir().expect("a folder");
    write(folder.path(), "small.toml", SMALL);
    let heater = |ohms| {
        format!("[[part]]\nname = \"heater\"\nkind = \"crankcase-heater\"\nohms = \"{ohms} Ohm\"\n")
    };
    let text = format!(
        "name = \"twice\"\ntitle = \"x\"\nbased-on = \"small.toml\"\n{}{}",
        heater(500),
        heater(700)
    );
    write(folder.path(), "twice.toml", &text);
    let error = read_file(&folder.path().join("twice.toml")).expect_err("twice");
    assert!(
        error.to_string().contains("\"heater\" is defined twice"),
        "{error}"
    );
    assert_eq!(error.problems[0].line, 9, "{error}");
}

/// Based on a built-in sheet, also from a text that is in no file.
#[test]
fn a_sheet_based_on_a_built_in_one() {
    let base = read_builtin("split-heat-pump-1ph")
        .expect("built in")
        .expect("reads");
    let text = r#"name = "mine"
title = "An invented variant: a larger capacitor"
based-on = "split-heat-pump-1ph"
[[part]]
name = "run-cap"
kind = "dual-run-capacitor"
herm = "45 uF"
fan = "5 uF"
rated = "440 V"
"#;
    let mine = read_text("mine.toml", text).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(mine.parts.len(), base.parts.len());
    assert_eq!(mine.faults.len(), base.faults.len());
    let farads = |sheet: &ohmtrail_circuit::sheet::Sheet| {
        let cap = sheet.parts.iter().find(|p| p.name == "run-cap");
        cap.expect("a capacitor").values[0]
    };
    assert!((farads(&mine) / farads(&base) - 45.0 / 35.0).abs() < 1e-12);
}

/// Based on the small sheet, from a text.
fn on_small(rest: &str) -> Result<Sheet, SheetError> {
    let folder = tempfile::tempdir().expect("a folder");
    write(folder.path(), "small.toml", SMALL);
    let head = "name = \"mine\"\ntitle = \"An invented variant\"\nbased-on = \"small.toml\"\n";
    write(folder.path(), "mine.toml", &format!("{head}{rest}"));
    read_file(&folder.path().join("mine.toml"))
}

/// The sheet's own words come before the catalogue's, and what is put together of them is said too. A sheet
/// based on it has them; what it words otherwise or removes is not missed.
#[test]
fn a_sheet_brings_its_own_words_in_spanish() {
    let es = |sheet: &Sheet, words: &str| sheet.said(words).to(Tongue::Spanish);
    let words = "\n[words.es]\n\"the disconnect\" = \"el corte\"\nblack = \"gris oscuro\"\n";
    let text = format!("{SMALL}{words}");
    let own = read_text("small.toml", &text).unwrap_or_else(|e| panic!("{e}"));
    let disconnect = own.point("disconnect.line-1").expect("a point");
    let said = es(&own, &own.points[disconnect].1);
    assert_eq!(said, "el corte: lado de línea, primer polo");
    assert_eq!(es(&own, "black by the sheet"), "gris oscuro según la hoja");
    assert_eq!(es(&own, "red"), "rojo", "the catalogue has the rest");
    assert!(own.lacks(Tongue::Spanish).contains(&"Nothing works."));
    assert!(schematic(&own, Tongue::Spanish).contains("el corte"));
    assert!(!schematic(&own, Tongue::English).contains("el corte"));

    let folder = tempfile::tempdir().expect("a folder");
    write(folder.path(), "small.toml", &text);
    let mine = "name = \"mine\"\ntitle = \"An invented variant\"\nbased-on = \"small.toml\"\n\
                [[part]]\nname = \"disconnect\"\nkind = \"disconnect\"\nwords = \"another one\"\n\
                [words.es]\n\"An invented variant\" = \"Una variante inventada\"\n";
    write(folder.path(), "mine.toml", mine);
    let mine = read_file(&folder.path().join("mine.toml")).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(es(&mine, &mine.title), "Una variante inventada");
    assert_eq!(es(&mine, "black"), "gris oscuro");
    assert_eq!(es(&mine, "another one"), "another one");
}

/// The worked example of the book is in Spanish as a whole.
#[test]
fn the_sheet_of_the_book_lacks_no_spanish() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/sheets/cellar-dryer.toml");
    let dryer = read_file(&path).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(dryer.lacks(Tongue::Spanish), Vec::<&str>::new());
}

/// A single fault of a part that stays, and a single check: gone, with what the base says of them.
#[test]
fn a_sheet_removes_single_faults_and_checks() {
    let base = read_text("small.toml", SMALL).expect("it reads");
    let measures = |sheet: &ohmtrail_circuit::sheet::Sheet| {
        let checks = sheet.checks.iter();
        let named = checks.filter_map(|c| match &c.question {
            Question::Measure { function, .. } => Some(function.name()),
            Question::Look { .. } => None,
        });
        named.collect::<Vec<_>>()
    };
    assert_eq!(measures(&base), ["volts-ac", "farads", "amps-ac"]);
    let mine = on_small("remove = [\"cap.herm-open\", \"volts-ac contactor.L1 contactor.L2\"]\n")
        .unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(mine.faults.len(), base.faults.len() - 1);
    assert_eq!(mine.fault("cap.herm-open"), None);
    assert!(mine.fault("cap.fan-open").is_some());
    assert_eq!(measures(&mine), ["farads", "amps-ac"]);
    // The check that proved it stays, and proves it no more; what it masked is free.
    let farads = mine.checks.iter().find(|c| !c.proves.is_empty());
    assert!(farads.is_none() && mine.masked.is_empty());
    assert_eq!(mine.caused.len(), base.caused.len());
    let mine = on_small("remove = [\"cap.fan-open\"]\n").unwrap_or_else(|e| panic!("{e}"));
    assert!(mine.caused.is_empty() && mine.masked.len() == 1);
    // With its power a check is named more closely.
    for (power, left) in [("off", 2), ("on", 3)] {
        let mine = on_small(&format!("remove = [\"farads cap.C cap.HERM {power}\"]\n"));
        match mine {
            Ok(mine) => assert_eq!(measures(&mine).len(), left),
            Err(e) => assert!(power == "on" && e.to_string().contains("to remove"), "{e}"),
        }
    }
    // The order of the points is that of the check: the command lists it.
    let error = on_small("remove = [\"farads cap.HERM cap.C\"]\n").expect_err("no such check");
    assert!(
        error
            .to_string()
            .contains("\"farads cap.HERM cap.C\" to remove"),
        "{error}"
    );
    // What the sheet itself says must not name what it removes.
    let own = "remove = [\"cap.herm-open\"]\n[[masked]]\nby = [\"cap.herm-open\"]\nfaults = [\"heater.open\"]\n";
    let error = on_small(own).expect_err("it names what it removed");
    assert!(
        error
            .to_string()
            .contains("\"cap.herm-open\" is not a fault"),
        "{error}"
    );
}

/// A part or wire that is removed takes with it what the base says of it: checks at it, its place
/// in lifted sets, lists of faults and complaints. What must read dead is never shortened.
#[test]
fn what_speaks_of_a_removed_part_goes_with_it() {
    let base = read_text("small.toml", SMALL).expect("it reads");
    let mine = on_small("remove = [\"heater\", \"heat-1\", \"heat-2\"]\n")
        .unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(mine.checks.len(), base.checks.len() - 1);
    assert!(mine.masked.is_empty());
    // One of two wire ends of a lifted set.
    let mine = on_small(
        "remove = [\"fan\"]\n[[wire]]\nname = \"fan-lead\"\nfrom = \"contactor.T1\"\nto = \"cap.FAN\"\n",
    )
    .unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(mine.lifts[0].ends.len(), 1);
    // With the lifted set goes the check that needs it.
    let mine = on_small("remove = [\"capacitor\"]\n").unwrap_or_else(|e| panic!("{e}"));
    assert!(mine.lifts.is_empty() && mine.checks.len() == base.checks.len() - 1);
    let replaced = "remove = [\"contactor\", \"whip-1\", \"whip-2\", \"herm\", \"fan\", \"common\", \"heat-1\", \"heat-2\", \"heater\", \"cap\", \"dead\"]\n";
    let error = on_small(replaced).expect_err("nothing is left to read dead");
    assert!(
        error
            .to_string()
            .contains("\"contactor.T1\" is not a point"),
        "{error}"
    );
}

/// A `[dead]` point before the breaker stays live whatever is opened: the unit could never be
/// proved dead.
#[test]
fn a_dead_point_before_the_breaker_is_refused() {
    let sheet = |line: &str, other: &str| {
        let text = format!(
            "name = \"mine\"\ntitle = \"x\"\nbased-on = \"split-heat-pump-1ph\"\n[dead]\nline = [\"{line}-1\", \"{line}-2\"]\nload = [\"contactor.T1\", \"contactor.T2\"]\nground = \"supply.G\"\n[[dead.other]]\npoints = [\"{other}-1\", \"{other}-2\"]\n"
        );
        problems(&text)
    };
    for (line, other, wanted) in [
        ("disconnect.line", "indoor-breaker.load", &[][..]),
        ("breaker.load", "indoor-breaker.load", &[]),
        (
            "breaker.line",
            "indoor-breaker.load",
            &["breaker.line-1", "breaker.line-2"],
        ),
        (
            "disconnect.line",
            "indoor-breaker.line",
            &["indoor-breaker.line-1", "indoor-breaker.line-2"],
        ),
    ] {
        let found = sheet(line, other);
        assert_eq!(found.len(), wanted.len(), "{found:?}");
        for (problem, point) in found.iter().zip(wanted) {
            assert!(
                problem.what.contains(&format!("\"{point}\" stays live")),
                "{problem}"
            );
            assert!(problem.remedy.contains("behind the breakers"), "{problem}");
            assert_eq!(
                problem.line,
                if wanted[0].starts_with("indoor") {
                    9
                } else {
                    5
                }
            );
        }
    }
}
