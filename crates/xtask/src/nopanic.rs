//! Shows from the release object code that no public function of the core can panic.
//!
//! `nopanic-probe` holds every public function of the core by its address in one shared object,
//! optimised and linked as a whole. A panic that is left in any of them pulls in `core::panicking`
//! and a symbol that nobody defines; neither may be in the object. A second build with a panic put
//! in shows each time that the check would find one.
//!
//! What it does not show: an integer that overflows wraps in a release build, and no panic
//! follows; the core uses checked and saturating arithmetic where that matters.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use object::{Object, ObjectSymbol};

use crate::{Failure, Place, run, tidy};

const PROBE: &str = "crates/xtask/nopanic-probe";
/// Called by the probe's panic handler, defined nowhere.
const CAN_PANIC: &str = "ohmtrail_core_can_panic";

/// Public functions of the core that the probe need not name, each with its reason.
const LEFT_OUT: [&str; 0] = [];

/// Builds the probe and reads it.
pub fn check(place: &Place) -> Result<(), Failure> {
    let named = every_function_is_named(&place.root)?;
    let control = build(place, &["--features", "control"])?;
    if Probe::read(&control)?.panics.is_empty() {
        return Err("the check finds no panic where one was put in".into());
    }
    let probe = Probe::read(&build(place, &[])?)?;
    println!(
        "{named} public functions, {} bytes of code, {} bytes of constants, {} panics",
        probe.code,
        probe.constants,
        probe.panics.len()
    );
    if probe.panics.is_empty() {
        Ok(())
    } else {
        let symbols: Vec<String> = probe.panics.into_iter().collect();
        Err(format!(
            "the core's object code refers to:\n  {}\nfind the callers with: objdump -d -C {}",
            symbols.join("\n  "),
            control.display()
        ))
    }
}

fn build(place: &Place, more: &[&str]) -> Result<PathBuf, Failure> {
    let target = place.target.join("nopanic");
    let manifest = place.root.join(PROBE).join("Cargo.toml");
    let mut cargo = place.cargo(&["build", "--quiet", "--release", "--locked"]);
    cargo
        .arg("--manifest-path")
        .arg(manifest)
        .args(more)
        .env("CARGO_TARGET_DIR", &target)
        .env_remove("RUSTFLAGS");
    run(&mut cargo)?;
    Ok(target.join("release/libnopanic_probe.so"))
}

/// What the object holds.
struct Probe {
    panics: BTreeSet<String>,
    code: u64,
    constants: u64,
}

impl Probe {
    fn read(file: &Path) -> Result<Self, Failure> {
        let say = |e: &dyn std::fmt::Display| format!("{}: {e}", file.display());
        let bytes = fs::read(file).map_err(|e| say(&e))?;
        let object = object::File::parse(&*bytes).map_err(|e| say(&e))?;
        let mut panics = BTreeSet::new();
        let mut probes = 0u32;
        for symbol in object.symbols().chain(object.dynamic_symbols()) {
            let name = symbol.name().map_err(|e| say(&e))?;
            if name.contains("panicking") || name == CAN_PANIC {
                panics.insert(name.to_owned());
            }
            probes += u32::from(name.starts_with("probe_"));
        }
        if probes == 0 {
            return Err(say(&"the object holds no probe"));
        }
        Ok(Probe {
            panics,
            code: section(&object, ".text"),
            constants: section(&object, ".rodata"),
        })
    }
}

fn section(object: &object::File<'_>, name: &str) -> u64 {
    use object::ObjectSection;
    object.section_by_name(name).map_or(0, |s| s.size())
}

/// Whether the probe names every `pub fn` of the core; gives their number.
fn every_function_is_named(root: &Path) -> Result<usize, Failure> {
    let probe = fs::read_to_string(root.join(PROBE).join("src/lib.rs"))
        .map_err(|e| format!("{PROBE}: {e}"))?;
    let mut count = 0;
    let mut missing = Vec::new();
    for file in tidy::rust_files(&root.join("crates/core/src"))? {
        let text = fs::read_to_string(&file).map_err(|e| format!("{}: {e}", file.display()))?;
        for name in text.lines().filter_map(public_function) {
            count += 1;
            let is_named = ["::", "."].into_iter().any(|before| {
                [")", "(", "::<"]
                    .into_iter()
                    .any(|after| probe.contains(&format!("{before}{name}{after}")))
            });
            if !is_named && !LEFT_OUT.contains(&name) {
                missing.push(format!("{}: {name}", file.display()));
            }
        }
    }
    if missing.is_empty() {
        Ok(count)
    } else {
        Err(format!(
            "name these in {PROBE}/src/lib.rs:\n  {}",
            missing.join("\n  ")
        ))
    }
}

/// The name of the function that a line declares for everyone.
fn public_function(line: &str) -> Option<&str> {
    let line = line.trim_start();
    let rest = line
        .strip_prefix("pub const fn ")
        .or_else(|| line.strip_prefix("pub fn "))?;
    rest.split(['(', '<']).next()
}
