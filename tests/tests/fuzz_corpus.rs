//! What the fuzzer found on its way, run once more; and that every target has its corpus and its
//! program.

use std::fs;

use ohmtrail_fuzz::TARGETS;
use ohmtrail_tests::cli::workspace;

/// The most that the corpora may have in all, bytes.
const MOST: u64 = 1_000_000;

#[test]
fn every_target_holds_on_its_corpus() {
    let mut bytes = 0;
    for target in TARGETS {
        let folder = workspace().join("tests/corpus").join(target.name);
        let entries = fs::read_dir(&folder).unwrap_or_else(|e| panic!("{}: {e}", folder.display()));
        let mut files: Vec<_> = entries.map(|e| e.expect("an entry").path()).collect();
        files.sort();
        assert!(files.len() >= 4, "{}: {} files", target.name, files.len());
        for file in files {
            let input = fs::read(&file).expect("read");
            bytes += input.len() as u64;
            // The name is what is seen if it breaks.
            println!("{}", file.display());
            (target.run)(&input);
        }
    }
    assert!(bytes < MOST, "{bytes} bytes of corpora");
}

#[test]
fn every_target_has_its_program() {
    let fuzz = workspace().join("tests/fuzz");
    let manifest = fs::read_to_string(fuzz.join("Cargo.toml")).expect("the manifest");
    for target in TARGETS {
        let name = target.name;
        let program = fs::read_to_string(fuzz.join(format!("fuzz_targets/{name}.rs")));
        let program = program.unwrap_or_else(|e| panic!("{name}: {e}"));
        assert!(program.contains(&format!("target(\"{name}\")")), "{name}");
        assert!(manifest.contains(&format!("name = \"{name}\"")), "{name}");
    }
}
