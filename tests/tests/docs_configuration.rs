//! docs/configuration.md says what the code knows: its tables are the code's keys, its errors come
//! from a real file, its example is read, and its default values are read as such.

mod docs_blocks;

use std::fmt::Write as _;
use std::path::Path;

use ohmtrail_daemon::config::keys::{self, TABLES};
use ohmtrail_daemon::config::{ConfigError, Flags, Loaded, Places, wanted};

const PAGE: &str = "configuration.md";

fn load(name: &str, text: &str) -> Result<Loaded, ConfigError> {
    let places = Places::of(&[("HOME", "/home/technician")]);
    Loaded::read(Path::new(name), text, &Flags::default(), &places)
}

fn tables() -> String {
    let mut out = String::new();
    for (table, words) in TABLES {
        let heading = match table {
            "" => "At the top".to_owned(),
            keys::METER => format!("`[[{table}]]`"),
            table => format!("`[{table}]`"),
        };
        write!(out, "\n### {heading}\n\n{words}\n\n").unwrap();
        out.push_str("| key | value | default | what |\n|---|---|---|---|\n");
        for key in keys::of(table) {
            let default = key.default.map_or_else(String::new, |d| format!("`{d}`"));
            writeln!(
                out,
                "| `{}` | {} | {default} | {} |",
                key.name,
                wanted(key.kind),
                key.words
            )
            .unwrap();
        }
    }
    out.push('\n');
    out
}

/// A block's text without its fences.
fn text_of(block: &str) -> String {
    docs_blocks::block(PAGE, block)
        .lines()
        .filter(|l| !l.starts_with("```"))
        .fold(String::new(), |text, line| text + line + "\n")
}

fn errors() -> String {
    let Err(ConfigError::Wrong(problems)) = load("config.toml", &text_of("wrong")) else {
        panic!("the wrong example is not refused");
    };
    format!("\n```text\n{problems}\n```\n\n")
}

#[test]
fn the_tables_are_those_of_the_code() {
    docs_blocks::in_step(PAGE, &[("keys", tables()), ("errors", errors())]);
}

#[test]
fn the_example_is_read() {
    let config = load("config.toml", &text_of("example")).unwrap_or_else(|e| panic!("{e}"));
    let config = config.config;
    assert_eq!(config.data, Path::new("/home/technician/visits"));
    assert!(config.listen.needs_session());
    assert_eq!(config.meters.len(), 2);
    assert_eq!(config.meters[1].role, "clamp on the common");
}
