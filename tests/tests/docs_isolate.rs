//! docs/isolate.md names its constants with the values of the code, and its dialogue is a real one.

mod docs_blocks;

use std::fs;

use ohmtrail_circuit::compile::Options;
use ohmtrail_tests::cli::workspace;

const PAGE: &str = "isolate.md";

/// The value of `const NAME: … = VALUE;` in a source file.
fn constant(file: &str, name: &str) -> String {
    let text = fs::read_to_string(workspace().join(file)).unwrap_or_else(|e| panic!("{file}: {e}"));
    let wanted = format!("const {name}:");
    let line = text.lines().find(|l| l.contains(&wanted));
    let line = line.unwrap_or_else(|| panic!("{file} has no {wanted}"));
    let value = line.rsplit_once("= ").map(|(_, v)| v.trim_end_matches(';'));
    value.unwrap_or_else(|| panic!("{line}")).to_owned()
}

#[test]
fn the_constants_are_those_of_the_code() {
    let mut now = String::new();
    let mut rows = 0;
    for line in docs_blocks::block(PAGE, "constants").lines() {
        let cells: Vec<&str> = line.split('|').map(str::trim).collect();
        let [_, name, _, file, what, _] = cells[..] else {
            panic!("{line}");
        };
        if let (Some(name), Some(file)) = (
            name.strip_prefix('`').and_then(|n| n.strip_suffix('`')),
            file.strip_prefix('`').and_then(|f| f.strip_suffix('`')),
        ) {
            let options = Options::default();
            let value = match name {
                "Options::samples" => options.samples.to_string(),
                "Options::pair_floor" => options.pair_floor.to_string(),
                _ => constant(file, name),
            };
            now.push_str(&format!("| `{name}` | {value} | `{file}` | {what} |\n"));
            rows += 1;
        } else {
            now.push_str(line);
            now.push('\n');
        }
    }
    assert!(rows > 15, "{rows} constants");
    docs_blocks::in_step(PAGE, &[("constants", now)]);
}
