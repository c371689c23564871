//! What is said in English by the core, the sheets and the visit is said in Spanish too; and what a trail keeps
//! in English is known again, so that it can be said in another language.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use ohmtrail_circuit::sheet::{BUILTIN, Question, Sheet, read_builtin};
use ohmtrail_core::accuracy::Void;
use ohmtrail_core::class::Class;
use ohmtrail_core::verdict::Decision;
use ohmtrail_tests::cli::{run, workspace};
use ohmtrail_trail::event::Entry;
use ohmtrail_trail::{Body, read};
use ohmtrail_visit::{Book, Record, SheetBundle, fault_said, point_said};
use ohmtrail_words::{Part, Said, Tongue, messages};

const ES: Tongue = Tongue::Spanish;

fn sheets() -> impl Iterator<Item = Sheet> {
    BUILTIN.iter().map(|(name, _)| {
        let sheet = read_builtin(name).expect("built in");
        sheet.expect("sound")
    })
}

/// Every phrase of the built-in sheets.
fn phrases(sheet: &Sheet) -> BTreeSet<String> {
    let mut all = BTreeSet::from([sheet.title.clone()]);
    all.extend(sheet.parts.iter().map(|p| p.words.clone()));
    all.extend(sheet.complaints.iter().map(|c| c.words.clone()));
    all.extend(sheet.checks.iter().map(|c| c.why.clone()));
    let parts = sheet.faults.iter().filter(|f| f.owner < sheet.parts.len());
    all.extend(parts.map(|f| f.words.clone()));
    all.extend((0..sheet.faults.len()).filter_map(|f| Some(sheet.shows(f)?.to_owned())));
    for (point, (_, words)) in sheet.points.iter().enumerate() {
        if sheet.wire_of_end(point).is_none() {
            all.insert(words.clone());
        }
    }
    for wire in sheet.wires.iter().filter(|w| !w.mark.is_empty()) {
        all.insert(wire.mark.clone());
        all.insert(format!("{} by the sheet", wire.mark));
    }
    for check in &sheet.checks {
        if let Question::Look { part, look } = check.question {
            all.insert(format!("{}: {}", sheet.parts[part].words, look.words));
        }
    }
    all
}

#[test]
fn no_word_of_a_built_in_sheet_lacks_spanish() {
    let all: BTreeSet<String> = sheets().flat_map(|s| phrases(&s)).collect();
    assert!(all.len() > 800, "{}", all.len());
    let lacks: Vec<&String> = all.iter().filter(|p| ES.phrase(p).is_none()).collect();
    assert!(lacks.is_empty(), "{lacks:#?}");
}

#[test]
fn names_of_points_and_faults_are_said_as_the_sheet_has_them() {
    for sheet in sheets() {
        for fault in &sheet.faults {
            assert_eq!(fault_said(&sheet, &fault.name).to_string(), fault.words);
        }
        for (name, words) in &sheet.points {
            assert_eq!(point_said(&sheet, name).to_string(), *words);
        }
    }
}

/// What Rust sources say, those of tests and comments aside.
fn code(place: &Path) -> String {
    if place.is_dir() {
        let entries = std::fs::read_dir(place).expect("a folder");
        return entries
            .map(|e| code(&e.expect("an entry").path()))
            .collect();
    }
    if place.extension().is_none_or(|e| e != "rs") {
        return String::new();
    }
    let text = std::fs::read_to_string(place).expect("text");
    let own = text.split("#[cfg(test)]").next().unwrap_or_default();
    let lines = own.lines().filter(|l| !l.trim_start().starts_with("//"));
    lines.map(|line| format!("{line}\n")).collect()
}

/// The literals of a file or a folder of this project's crates.
fn of(places: &[&str]) -> BTreeSet<String> {
    let mut all = BTreeSet::new();
    for place in places {
        // Files one by one: a quotation mark by itself puts the rest of its file out of step.
        for file in files(&workspace().join("crates").join(place)) {
            let code = code(&file);
            let pieces = code.split('"').skip(1).step_by(2);
            all.extend(
                pieces
                    .map(|piece| -> String { piece.split("\\\n").map(str::trim_start).collect() }),
            );
        }
    }
    all
}

fn files(place: &Path) -> Vec<PathBuf> {
    if !place.is_dir() {
        return vec![place.to_path_buf()];
    }
    let entries = std::fs::read_dir(place).expect("a folder");
    let each = entries.map(|e| files(&e.expect("an entry").path()));
    each.flatten().collect()
}

/// The page's messages are held to its code beside it.
#[test]
fn every_message_is_there_that_the_code_names_and_no_other() {
    let places = ["visit/src", "paper/src", "circuit/src", "daemon/src"];
    let code: String = places
        .iter()
        .map(|place| code(&workspace().join("crates").join(place)))
        .collect();
    let parts = [Part::Visit, Part::Paper, Part::Drawing];
    let mut known: BTreeSet<String> = BTreeSet::new();
    known.extend(
        parts
            .iter()
            .flat_map(|p| messages(Tongue::English, *p).into_keys()),
    );
    for id in &known {
        let named = code.contains(&format!("\"{id}\""));
        let within =
            ohmtrail_words::said_in(Tongue::English).any(|s| s.contains(&format!("{{ {id} }}")));
        assert!(named || within, "nothing says {id}");
    }
    known.extend(messages(Tongue::English, Part::Page).into_keys());
    // What is put together, or told to no person, is none.
    let is_an_id = |id: &str| {
        let part = |b: u8| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-';
        id.bytes().all(part)
    };
    for head in [
        "message(\"",
        ".tell(\"",
        ".say(\"",
        ".told(\"",
        ".section(\"",
    ] {
        for piece in code.split(head).skip(1) {
            let id = piece.split('"').next().unwrap_or_default();
            assert!(known.contains(id) || !is_an_id(id), "no catalogue has {id}");
        }
    }
}

/// What a visit says in these files is either a phrase that Spanish has, or no sentence.
#[test]
fn what_a_visit_says_has_spanish() {
    let all = of(&[
        "visit/src/again.rs",
        "visit/src/conclusion.rs",
        "visit/src/cooldown/words.rs",
        "visit/src/finding.rs",
        "visit/src/gate.rs",
        "visit/src/handle.rs",
        "visit/src/judge.rs",
        "visit/src/limits.rs",
        "visit/src/next.rs",
        "visit/src/prove/charge",
        "visit/src/prove/end.rs",
        "visit/src/prove/fit.rs",
        "visit/src/prove/judge.rs",
        "visit/src/prove/lines.rs",
        "visit/src/prove/mod.rs",
        "visit/src/prove/plan.rs",
        "visit/src/prove/said.rs",
        "visit/src/takes.rs",
        "visit/src/words.rs",
        "core/src/accuracy.rs",
        "core/src/gates/event.rs",
        "core/src/gates/limits.rs",
        "core/src/fit/mod.rs",
        "meters/src/session.rs",
        "daemon/src/visits/watching.rs",
    ]);
    // Taken in parts by this program, or said by a command only.
    let no_sentence = |words: &str| words.contains(['{', '\n']) || SAID_ELSEWHERE.contains(&words);
    let sentences = all
        .iter()
        .filter(|w| w.trim().contains(' ') && !no_sentence(w));
    let lacks: Vec<&String> = sentences.filter(|w| ES.phrase(w).is_none()).collect();
    assert!(lacks.is_empty(), "{lacks:#?}");
}

/// What no face says of a visit.
const SAID_ELSEWHERE: [&str; 6] = [
    "JCGM 100:2008, 4.3.7: rectangular a/sqrt 3; F.2.2.1: display step/sqrt 12; 5.1.2: root sum of squares",
    "cautious default accuracy, no statement for this meter; insulation: operating uncertainty of 30 % as in IEC 61557-2",
    "live at sight: 0.5 A, above a clamp's stray-field reading",
    "times between proofs, reads, rests and stalls",
    "IEC 61010-2-033 measurement categories; CAT III 600 V at least in this work",
    "checks ended: ",
];

#[test]
fn what_the_core_says_of_a_value_has_spanish() {
    let decisions = [
        Decision::Pass,
        Decision::ConditionalPass,
        Decision::ConditionalFail,
        Decision::Fail,
        Decision::NotJudged,
        Decision::Check,
    ];
    let mut all: BTreeSet<&str> = decisions.map(Decision::words).into();
    all.extend(Class::ALL.map(Class::word));
    all.extend(ohmtrail_core::rules::winding::UNPROVEN);
    all.insert(ohmtrail_core::rules::winding::SUM.what);
    all.insert(Void::LiveCircuit.words());
    for rule in ohmtrail_core::rules::all() {
        all.insert(rule.source.status.words());
        let subject = rule.id.split('.').next().unwrap_or_default();
        if matches!(subject, "supply" | "control" | "current" | "drop" | "fit") {
            all.insert(rule.source.what);
        }
    }
    use ohmtrail_core::refrigerant::{self as cold, Unprovable, charge};
    let limits = [
        cold::SUPERHEAT,
        cold::VALVE_SUPERHEAT,
        cold::SUBCOOLING,
        cold::SPLIT,
        cold::RATIO,
    ];
    all.extend(limits.map(|rule| rule.source.what));
    all.extend([cold::TARGET.what, cold::DRY_OR_DAMP]);
    all.extend(charge::Fault::ALL.map(charge::Fault::words));
    all.extend(
        [charge::Suspect::NoFault, charge::Suspect::NoneOfThese].map(charge::Suspect::words),
    );
    all.extend(cold::Refrigerant::ALL.map(|name| name.safety_class().words()));
    let weather = [
        Unprovable::NotFinite,
        Unprovable::ColdOutdoors,
        Unprovable::HotOutdoors,
        Unprovable::DryIndoors,
        Unprovable::HumidIndoors,
        Unprovable::HotAndDry,
        Unprovable::ColdIndoors,
        Unprovable::HotIndoors,
        Unprovable::Altitude,
        Unprovable::ThinForTarget,
    ];
    all.extend(weather.map(Unprovable::words));
    let lacks: Vec<&&str> = all.iter().filter(|p| ES.phrase(p).is_none()).collect();
    assert!(lacks.is_empty(), "{lacks:#?}");
}

/// A trail of an invented visit, as the program makes it.
fn demo(folder: &Path, sheet: &str, fault: &str) -> PathBuf {
    let trail = folder.join(format!("{sheet}-{fault}.trail"));
    let path = trail.to_str().expect("a plain path");
    let ran = run([
        "demo", "--seed", "3", "--sheet", sheet, "--fault", fault, "--trail", path,
    ]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    trail
}

/// Whole visits: every verdict, consequence and reason in their trails is known again by its English, and has
/// words of its own in Spanish.
#[test]
fn what_a_trail_keeps_in_english_is_said_in_spanish() {
    let folder = tempfile::tempdir().expect("a folder");
    let cases = [
        ("split-heat-pump-1ph", "run-cap.fan-open"),
        ("split-heat-pump-1ph", "fan-motor.start-open"),
        ("split-heat-pump-1ph", "compressor.grounded"),
        ("control-loop-24v", "control-fuse.blown"),
        ("rooftop-3ph", "blower-contactor.coil-open"),
    ];
    let mut verdicts = 0;
    for (name, fault) in cases {
        let trail = demo(folder.path(), name, fault);
        let sheet = read_builtin(name).expect("built in").expect("sound");
        let bundle = SheetBundle::new(sheet).expect("compiles");
        let book = Book::new(&bundle).expect("opens");
        let record = Record::of(&book, &entries(&trail));
        for took in &record.takes {
            let Some(judged) = &took.take.verdict else {
                continue;
            };
            let said = took
                .said
                .as_ref()
                .unwrap_or_else(|| panic!("{}", judged.words));
            assert_eq!(said.to_string(), judged.words);
            in_spanish(said);
            verdicts += 1;
        }
        let finding = record.finding.as_ref().expect("a finding");
        let consequences = record.consequences_said(&book);
        let kept = consequences.iter().map(Said::to_string);
        assert!(kept.eq(finding.consequences.iter().cloned()));
        consequences.iter().for_each(in_spanish);
        for unproven in &finding.unproven {
            let said = record.unproven_said(&book, unproven);
            assert_eq!(said.to_string(), unproven.why);
            in_spanish(&said);
        }
        let left = record.left_said(&book).expect("it was left");
        assert_eq!(left.to_string(), record.left.as_ref().expect("left").why);
        in_spanish(&left);
        let conclusion = record.conclusion.as_ref().expect("a conclusion");
        in_spanish(&Said::phrase(conclusion.why.clone()));
        let void = record.takes.iter().filter_map(|t| t.void.clone());
        void.for_each(|why| in_spanish(&Said::phrase(why)));
    }
    assert!(verdicts > 50, "{verdicts}");
}

/// The entries of a sound trail.
fn entries(trail: &Path) -> Vec<Entry> {
    let records = read(trail).expect("a trail").map(|r| r.expect("a record"));
    let entries = records.filter_map(|r| match r.body {
        Body::Entry(entry) => Some(entry),
        _ => None,
    });
    entries.collect()
}

/// English that is no Spanish, by words that only English has.
fn in_spanish(said: &Said) {
    let spanish = said.to(ES);
    // Names of parts, points and faults stay as the sheet has them.
    let is_name = |word: &&str| {
        let word = word.trim_matches(|c: char| !c.is_alphanumeric());
        word.contains(['.', '-', '/'])
    };
    let words = spanish.split_whitespace().filter(|word| !is_name(word));
    for word in words.flat_map(|word| word.split(|c: char| !c.is_alphabetic())) {
        let english = [
            "the", "and", "is", "of", "to", "with", "was", "not", "what", "from",
        ];
        assert!(!english.contains(&word), "{said}: {spanish}");
    }
}

/// A repair, from its ask for the part to what it came to: what it asks, and all that its papers say.
#[test]
fn a_repair_is_in_spanish() {
    let folder = tempfile::tempdir().expect("a folder");
    let first = folder.path().join("invented.trail");
    let path = first.to_str().expect("a plain path");
    let ran = run(["demo", "--repair", "--trail", path]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    let trail = folder.path().join("invented.repair.trail");
    let sheet = read_builtin("split-heat-pump-1ph")
        .expect("built in")
        .expect("sound");
    let bundle = SheetBundle::new(sheet).expect("compiles");
    let book = Book::new(&bundle).expect("opens");
    let record = Record::of(&book, &entries(&trail));
    let end = record.mended.as_ref().and_then(|m| m.end.as_ref());
    let end = end.expect("it came to an end");
    let proofs = record.proofs_said(&book);
    assert!(proofs.len() > 20, "{}", proofs.len());
    for (kept, (what, words)) in end.proofs.iter().zip(&proofs) {
        assert_eq!(what.to_string(), kept.what);
        assert_eq!(words.to_string(), kept.words);
        in_spanish(what);
        in_spanish(words);
    }
    let whys = record.end_said(&book);
    assert!(whys.iter().map(Said::to_string).eq(end.why.iter().cloned()));
    whys.iter().for_each(in_spanish);
    for took in &record.takes {
        took.words().iter().for_each(in_spanish);
    }
    let quoted = record.mended.as_ref().map(|m| &m.repair.quoted);
    let quoted = quoted.expect("a repair");
    let trail = trail.to_str().expect("a plain path");
    for paper in ["tag", "write-up"] {
        let ran = run(["paper", paper, trail, "--language", "es"]);
        assert_eq!(ran.code, 0, "{}", ran.err);
        assert!(ran.out.contains("Puesto"), "{}", ran.out);
        // What a quote says is its writer's, in the writer's language.
        let said = quoted.iter().fold(ran.out, |out, q| out.replace(q, ""));
        let lines = said
            .lines()
            .filter(|l| !l.contains("ohmtrail trail verify") && !l.contains("perfil"));
        lines.for_each(|line| in_spanish(&Said::own(line)));
    }
}

/// A repair that fitted a part of the refrigerant circuit: both languages' papers say how its charge came out. The
/// simulated unit has no such circuit, so that it is a word.
#[test]
fn a_charge_stands_on_the_papers() {
    let folder = tempfile::tempdir().expect("a folder");
    let first = folder.path().join("invented.trail");
    let path = first.to_str().expect("a plain path");
    let ran = run([
        "demo",
        "--repair",
        "--fault",
        "low-pressure.open",
        "--trail",
        path,
    ]);
    let trail = folder.path().join("invented.repair.trail");
    assert!(trail.exists(), "{}", ran.err);
    let trail = trail.to_str().expect("a plain path");
    for (language, said) in [
        (
            "en",
            [
                "refrigerant charge",
                "by a certified person's word, and by no reading",
                "suction pressure",
            ],
        ),
        (
            "es",
            [
                "carga de refrigerante",
                "por palabra de una persona certificada, y por ninguna medición",
                "presión de succión",
            ],
        ),
    ] {
        let ran = run(["paper", "write-up", trail, "--language", language]);
        assert_eq!(ran.code, 0, "{}", ran.err);
        for words in said {
            assert!(ran.out.contains(words), "{words}: {}", ran.out);
        }
    }
}

/// The papers say nothing in English but names, hashes and what somebody wrote.
#[test]
fn the_papers_are_in_spanish() {
    let folder = tempfile::tempdir().expect("a folder");
    let trail = demo(folder.path(), "split-heat-pump-1ph", "run-cap.fan-open");
    let trail = trail.to_str().expect("a plain path");
    for paper in ["tag", "write-up"] {
        let ran = run(["paper", paper, trail, "--language", "es"]);
        assert_eq!(ran.code, 0, "{}", ran.err);
        assert!(ran.out.contains("Hallado"), "{}", ran.out);
        // A command is typed as it is, and a meter's profile is what somebody called it.
        let lines = ran
            .out
            .lines()
            .filter(|l| !l.contains("ohmtrail trail verify") && !l.contains("perfil"));
        lines.for_each(|line| in_spanish(&Said::own(line)));
    }
    let page = run([
        "paper",
        "write-up",
        trail,
        "--language",
        "es",
        "--form",
        "html",
    ]);
    assert!(page.out.contains("<html lang=\"es\">"), "{}", page.out);
}

/// No phrase is kept in Spanish that nothing says in English any more.
#[test]
fn no_phrase_is_stale() {
    let mut english: BTreeSet<String> = sheets().flat_map(|s| phrases(&s)).collect();
    english.extend(of(&[
        "core/src",
        "circuit/src",
        "visit/src",
        "daemon/src",
        "meters/src",
        "trail/src",
        "paper/src",
    ]));
    let marks: Vec<String> = english
        .iter()
        .map(|m| format!("{m} by the sheet"))
        .collect();
    english.extend(marks);
    // Composed ones, piece by piece.
    let pieces: BTreeSet<String> = english
        .iter()
        .flat_map(|p| p.split(": ").map(str::to_owned).chain([p.clone()]))
        .collect();
    let known: BTreeSet<String> = pieces
        .iter()
        .map(|p| ohmtrail_words::phrase_id(p))
        .collect();
    let stale: Vec<&str> = ohmtrail_words::phrases()
        .map(|(id, _)| id)
        .filter(|id| !known.contains(*id))
        .collect();
    assert!(stale.is_empty(), "{stale:#?}");
}
