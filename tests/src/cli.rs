//! Runs the built `ohmtrail` binary.
//!
//! The binary belongs to another package, so Cargo does not build it for these tests. The first
//! call builds it into the same target folder and with the same profile as the running test;
//! `OHMTRAIL_BIN` names another one to test instead.

use std::ffi::OsStr;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::OnceLock;

use serde_json::Value;

/// The root of the workspace.
#[must_use]
pub fn workspace() -> &'static Path {
    Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/.."))
}

/// The binary, built.
///
/// # Panics
/// If it cannot be built or found.
#[must_use]
pub fn binary() -> &'static Path {
    static BINARY: OnceLock<PathBuf> = OnceLock::new();
    BINARY.get_or_init(|| {
        if let Some(named) = std::env::var_os("OHMTRAIL_BIN") {
            return PathBuf::from(named);
        }
        // <target folder>[/<triple>]/<profile folder>/deps/<this test>, or without deps a program.
        let test = std::env::current_exe().expect("the running test has a path");
        let folder = test
            .ancestors()
            .skip(1)
            .find(|folder| !folder.ends_with("deps"))
            .expect("a test runs from a profile's deps folder");
        let profile = match folder.file_name().and_then(OsStr::to_str) {
            Some("debug") | None => "dev",
            Some(other) => other,
        };
        let above = folder.parent().expect("a profile's folder has a parent");
        let mut build = Command::new(std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into()));
        build
            .current_dir(workspace())
            .args([
                "build",
                "--quiet",
                "--package",
                "ohmtrail-cli",
                "--profile",
                profile,
            ])
            .arg("--target-dir");
        if std::env::var_os("CARGO_BUILD_TARGET").is_some() {
            build.arg(above.parent().expect("a triple's folder has a parent"));
        } else {
            build.arg(above);
        }
        let done = build.status().expect("cargo runs");
        assert!(done.success(), "the binary was not built");
        let binary = folder.join(format!("ohmtrail{}", std::env::consts::EXE_SUFFIX));
        assert!(binary.is_file(), "{} is not there", binary.display());
        binary
    })
}

/// The binary, ready to be given arguments.
#[must_use]
pub fn ohmtrail() -> Command {
    Command::new(binary())
}

/// What a finished run gave.
#[derive(Debug)]
pub struct Ran {
    /// The exit code.
    pub code: i32,
    /// Standard output.
    pub out: String,
    /// Standard error.
    pub err: String,
}

impl Ran {
    /// Standard output as one JSON document.
    ///
    /// # Panics
    /// If it is none.
    #[must_use]
    pub fn json(&self) -> Value {
        serde_json::from_str(&self.out).unwrap_or_else(|e| panic!("{e} in {self:?}"))
    }

    /// Standard output as JSON lines.
    ///
    /// # Panics
    /// If a line is none.
    #[must_use]
    pub fn json_lines(&self) -> Vec<Value> {
        self.out
            .lines()
            .map(|line| serde_json::from_str(line).unwrap_or_else(|e| panic!("{e} in {line}")))
            .collect()
    }
}

impl From<Output> for Ran {
    fn from(output: Output) -> Self {
        Ran {
            code: output.status.code().unwrap_or(-1),
            out: String::from_utf8_lossy(&output.stdout).into_owned(),
            err: String::from_utf8_lossy(&output.stderr).into_owned(),
        }
    }
}

/// Runs the binary with these arguments, without input.
///
/// # Panics
/// If it cannot be started.
pub fn run<S: AsRef<OsStr>>(args: impl IntoIterator<Item = S>) -> Ran {
    let output = ohmtrail()
        .args(args)
        .stdin(std::process::Stdio::null())
        .output()
        .expect("the binary starts");
    output.into()
}

/// Runs the binary in a folder, with arguments that hold no spaces.
///
/// # Panics
/// If it cannot be started.
pub fn words_in(folder: &Path, line: &str) -> Ran {
    let output = ohmtrail()
        .args(line.split_whitespace())
        .current_dir(folder)
        .stdin(std::process::Stdio::null())
        .output();
    output.expect("the binary starts").into()
}

/// Runs the binary with arguments that hold no spaces.
///
/// # Panics
/// As [`run`].
pub fn words(line: &str) -> Ran {
    run(line.split_whitespace())
}

/// A sheet of `tests/sheets`.
#[must_use]
pub fn sheet(name: &str) -> PathBuf {
    workspace().join("tests").join("sheets").join(name)
}
