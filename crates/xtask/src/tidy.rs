//! What the architecture and the house rules ask of the files themselves.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use crate::Failure;

/// Which of the project's crates each of them may use: imports point towards the core.
const MAY_USE: [(&str, &[&str]); 22] = [
    ("ohmtrail-core", &[]),
    ("ohmtrail-link", &["ohmtrail-core"]),
    ("ohmtrail-box", &["ohmtrail-core", "ohmtrail-link"]),
    (
        "probe-box",
        &["ohmtrail-box", "ohmtrail-core", "ohmtrail-link"],
    ),
    ("ohmtrail-circuit", &["ohmtrail-core", "ohmtrail-words"]),
    (
        "ohmtrail-meters",
        &["ohmtrail-core", "ohmtrail-circuit", "ohmtrail-link"],
    ),
    ("ohmtrail-trail", &["ohmtrail-core"]),
    ("ohmtrail-shop", &["ohmtrail-core", "ohmtrail-trail"]),
    ("ohmtrail-stock", &["ohmtrail-core", "ohmtrail-circuit"]),
    ("ohmtrail-words", &[]),
    (
        "ohmtrail-visit",
        &[
            "ohmtrail-core",
            "ohmtrail-circuit",
            "ohmtrail-stock",
            "ohmtrail-trail",
            "ohmtrail-words",
        ],
    ),
    (
        "ohmtrail-index",
        &["ohmtrail-core", "ohmtrail-circuit", "ohmtrail-trail"],
    ),
    (
        "ohmtrail-paper",
        &[
            "ohmtrail-core",
            "ohmtrail-trail",
            "ohmtrail-visit",
            "ohmtrail-words",
        ],
    ),
    (
        "ohmtrail-daemon",
        &[
            "ohmtrail-core",
            "ohmtrail-circuit",
            "ohmtrail-index",
            "ohmtrail-meters",
            "ohmtrail-trail",
            "ohmtrail-visit",
            "ohmtrail-paper",
            "ohmtrail-words",
        ],
    ),
    ("ohmtrail-cli", EVERYTHING),
    (
        "ohmtrail-tests",
        &[
            "ohmtrail-core",
            "ohmtrail-circuit",
            "ohmtrail-link",
            "ohmtrail-meters",
            "ohmtrail-stock",
            "ohmtrail-trail",
            "ohmtrail-visit",
            "ohmtrail-paper",
            "ohmtrail-words",
            "ohmtrail-daemon",
            "ohmtrail-fuzz",
            "ohmtrail-index",
            "ohmtrail-spice",
            "ohmtrail-bluez-stand-in",
        ],
    ),
    ("ohmtrail-spice", &[]),
    ("ohmtrail-fuzz", EVERYTHING),
    ("ohmtrail-fuzz-targets", &["ohmtrail-fuzz"]),
    ("ohmtrail-bluez-stand-in", &[]),
    ("nopanic-probe", &["ohmtrail-core"]),
    ("xtask", &[]),
];
const EVERYTHING: &[&str] = &[
    "ohmtrail-box",
    "ohmtrail-link",
    "ohmtrail-core",
    "ohmtrail-circuit",
    "ohmtrail-meters",
    "ohmtrail-shop",
    "ohmtrail-stock",
    "ohmtrail-trail",
    "ohmtrail-visit",
    "ohmtrail-paper",
    "ohmtrail-words",
    "ohmtrail-index",
    "ohmtrail-daemon",
];
/// The crates that may know the asynchronous runtime.
const MAY_USE_TOKIO: [&str; 6] = [
    "ohmtrail-meters",
    "ohmtrail-daemon",
    "ohmtrail-fuzz",
    "ohmtrail-cli",
    "ohmtrail-bluez-stand-in",
    // Where the Bluetooth service is listened to on its bus.
    "ohmtrail-tests",
];
/// What carries TLS for a database's client is named after the runtime that the client hides; who uses it knows
/// nothing of that.
const NAMED_LIKE_TOKIO: (&str, &str) = ("ohmtrail-index", "tokio-postgres-rustls");
/// The longest that a source file may be, lines; tests aside.
const LONGEST: usize = 600;
/// What no file may say: places of one machine, and papers that readers do not have. Each is
/// split here so that this file does not say it either.
const NEVER: [(&str, &str); 4] = [
    ("/wo", "rk/"),
    ("/ro", "ot/"),
    ("/tm", "p/"),
    ("seed ", "document"),
];

/// Checks them all, and names everything that is wrong.
pub fn check(root: &Path) -> Result<(), Failure> {
    let mut wrong = Vec::new();
    for package in packages(root)? {
        package.check(&mut wrong);
    }
    for file in tracked(root)? {
        check_file(root, &file, &mut wrong);
    }
    if wrong.is_empty() {
        Ok(())
    } else {
        Err(format!("\n  {}", wrong.join("\n  ")))
    }
}

fn check_file(root: &Path, file: &Path, wrong: &mut Vec<String>) {
    // Binary files and files that are about to be removed say nothing.
    let Ok(text) = fs::read_to_string(root.join(file)) else {
        return;
    };
    let name = file.display();
    for (i, line) in text.lines().enumerate() {
        let lower = line.to_lowercase();
        for (a, b) in NEVER {
            if lower.contains(&format!("{a}{b}")) {
                wrong.push(format!("{name}:{}: says '{a}{b}'", i + 1));
            }
        }
    }
    if file.extension().is_some_and(|e| e == "rs") {
        if !text.starts_with("//!") {
            wrong.push(format!("{name}: opens without '//!' and what it is for"));
        }
        let lines = text.lines().count();
        // A test may be a long list of cases.
        let is_test = file.iter().any(|part| part == "tests");
        if lines > LONGEST && !is_test {
            wrong.push(format!(
                "{name}: {lines} lines, more than {LONGEST}: split it by topic"
            ));
        }
    }
}

/// The files that git keeps, or would keep.
fn tracked(root: &Path) -> Result<Vec<PathBuf>, Failure> {
    let args = [
        "ls-files",
        "--cached",
        "--others",
        "--exclude-standard",
        "-z",
    ];
    let listed = Command::new("git").args(args).current_dir(root).output();
    if let Ok(out) = listed
        && out.status.success()
    {
        let names = String::from_utf8_lossy(&out.stdout);
        let files = names.split_terminator('\0');
        return Ok(files.map(PathBuf::from).collect());
    }
    // Not a checkout: the sources alone.
    let files = rust_files(&root.join("crates"))?;
    let inside = files.iter().filter_map(|f| f.strip_prefix(root).ok());
    Ok(inside.map(Path::to_path_buf).collect())
}

/// Every Rust file under a folder.
pub fn rust_files(folder: &Path) -> Result<Vec<PathBuf>, Failure> {
    let mut found = Vec::new();
    let mut open = vec![folder.to_path_buf()];
    while let Some(folder) = open.pop() {
        let entries = fs::read_dir(&folder).map_err(|e| format!("{}: {e}", folder.display()))?;
        for entry in entries {
            let path = entry.map_err(|e| e.to_string())?.path();
            if path.is_dir() {
                if path.file_name().is_none_or(|name| name != "target") {
                    open.push(path);
                }
            } else if path.extension().is_some_and(|e| e == "rs") {
                found.push(path);
            }
        }
    }
    found.sort();
    Ok(found)
}

/// What a package's manifest says.
pub struct Package {
    /// Its name.
    pub name: String,
    /// The names of its benchmarks.
    pub benches: Vec<String>,
    uses: Vec<String>,
}

impl Package {
    fn read(manifest: &Path) -> Result<Self, Failure> {
        let say = |e: &dyn std::fmt::Display| format!("{}: {e}", manifest.display());
        let text = fs::read_to_string(manifest).map_err(|e| say(&e))?;
        let table: toml::Table = text.parse().map_err(|e| say(&e))?;
        let name = table
            .get("package")
            .and_then(|p| p.get("name")?.as_str())
            .ok_or_else(|| say(&"no package name"))?;
        let uses = ["dependencies", "build-dependencies"]
            .into_iter()
            .filter_map(|key| table.get(key)?.as_table())
            .flat_map(|table| table.keys().cloned())
            .collect();
        let benches = table.get("bench").and_then(|b| b.as_array());
        let benches = benches.into_iter().flatten();
        Ok(Package {
            name: name.to_owned(),
            benches: benches
                .filter_map(|b| b.get("name")?.as_str().map(str::to_owned))
                .collect(),
            uses,
        })
    }

    fn check(&self, wrong: &mut Vec<String>) {
        let Some((_, may)) = MAY_USE.iter().find(|(name, _)| *name == self.name) else {
            wrong.push(format!(
                "{}: say in xtask's tidy.rs what it may use",
                self.name
            ));
            return;
        };
        for used in &self.uses {
            let ours = MAY_USE.iter().any(|(name, _)| name == used);
            if ours && !may.contains(&used.as_str()) {
                wrong.push(format!(
                    "{} may not use {used}: imports point one way",
                    self.name
                ));
            }
            let hides = (self.name.as_str(), used.as_str()) == NAMED_LIKE_TOKIO;
            let may = hides || MAY_USE_TOKIO.contains(&self.name.as_str());
            if used.starts_with("tokio") && !may {
                wrong.push(format!("{} may not know {used}", self.name));
            }
        }
    }
}

/// Every package of the project.
pub fn packages(root: &Path) -> Result<Vec<Package>, Failure> {
    let mut manifests = vec![
        root.join("tests/Cargo.toml"),
        root.join("tests/fuzz/Cargo.toml"),
        root.join("crates/xtask/nopanic-probe/Cargo.toml"),
        root.join("firmware-sim/Cargo.toml"),
    ];
    let crates = root.join("crates");
    let entries = fs::read_dir(&crates).map_err(|e| format!("{}: {e}", crates.display()))?;
    for entry in entries {
        let manifest = entry.map_err(|e| e.to_string())?.path().join("Cargo.toml");
        if manifest.is_file() {
            manifests.push(manifest);
        }
    }
    manifests.sort();
    manifests.iter().map(|m| Package::read(m)).collect()
}
