//! docs/priors.md says what the code knows: its table of looks is the built-in file's, its errors
//! come from a real file, and its example is read; so is that of docs/known.md.

mod docs_blocks;

use std::fmt::Write as _;
use std::fs;

use ohmtrail_circuit::priors::Priors;
use ohmtrail_circuit::sheet::read_builtin;
use ohmtrail_tests::cli::workspace;

const PAGE: &str = "priors.md";

fn looks() -> String {
    let priors = Priors::builtin().expect("sound");
    let mut out = "\n| look | sensitivity | specificity | source |\n|---|---|---|---|\n".to_owned();
    for (name, trust) in priors.looks() {
        writeln!(
            out,
            "| `{name}` | {} | {} | {} |",
            trust.sensitivity, trust.specificity, trust.source
        )
        .unwrap();
    }
    out.push('\n');
    out
}

fn errors() -> String {
    let path = workspace().join("crates/circuit/tests/bad-priors.toml");
    let text = fs::read_to_string(path).expect("a file");
    let priors = Priors::builtin().expect("sound");
    let error = priors.with("bad-priors.toml", &text).expect_err("refused");
    let mut out = "\n```text\n".to_owned();
    // Those after it list every look and kind there is.
    for problem in error.problems.iter().filter(|p| p.line < 12) {
        writeln!(out, "{problem}").unwrap();
    }
    out.push_str("```\n\n");
    out
}

#[test]
fn the_tables_are_those_of_the_code() {
    docs_blocks::in_step(PAGE, &[("looks", looks()), ("errors", errors())]);
}

/// The TOML of a page's example.
fn example(page: &str) -> String {
    docs_blocks::block(page, "example")
        .lines()
        .filter(|l| !l.starts_with("```"))
        .fold(String::new(), |text, line| text + line + "\n")
}

/// The page's figures are those that the code comes to.
#[test]
fn the_example_of_a_known_value_is_read() {
    let mut sheet = read_builtin("split-heat-pump-1ph")
        .expect("built in")
        .expect("sound");
    sheet
        .learn_text("the example", &example("known.md"))
        .unwrap_or_else(|e| panic!("{e}"));
    let part = sheet.parts.iter().position(|p| p.name == "compressor");
    let (mean, u) = sheet.prior(part.expect("a compressor"), 0);
    let page = fs::read_to_string(workspace().join("docs/known.md")).expect("the page");
    assert!(page.contains(&format!("{mean:.4} ± {u:.4}")), "{mean} {u}");
}

#[test]
fn the_example_is_read() {
    let text = example(PAGE);
    let builtin = Priors::builtin().expect("sound");
    let own = builtin
        .with("the example", &text)
        .unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(own.none_of_these, 0.04);
    assert_eq!(own.no_fault, builtin.no_fault, "left as it is built in");
    assert_eq!(own.weight("dual-run-capacitor", "fan-open"), Some(0.09));
    assert_eq!(own.looks()["swollen"].sensitivity, 0.6);
    assert!(own.looks()["swollen"].source.contains("96"));
    assert!(own.sources["wires"].contains("412"));
}
