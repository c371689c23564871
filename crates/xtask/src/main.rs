//! The project's commands: `cargo xtask test`, `bench`, `nopanic` and `tidy`.
//!
//! A command stops at its first failure and says which step failed.

mod bench;
mod ble_vm;
mod fetch;
mod firmware;
mod nopanic;
mod stack;
mod tidy;

use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode};
use std::time::Instant;

/// A failure, in words.
pub type Failure = String;

fn main() -> ExitCode {
    let mut args = std::env::args().skip(1);
    let command = args.next().unwrap_or_default();
    let rest: Vec<String> = args.collect();
    let place = Place::find();
    let done = match (command.as_str(), rest.is_empty()) {
        ("test", true) => test(&place),
        ("test", _) if rest == ["ble-vm"] => ble_vm::test(&place),
        ("bench", _) if rest.first().is_some_and(|r| r == "isolation") => {
            bench::isolation(&place, &rest[1..])
        }
        ("bench", _) if rest.first().is_some_and(|r| r == "daemon") => {
            bench::daemon(&place, &rest[1..])
        }
        ("bench", _) if rest.first().is_some_and(|r| r == "index") => {
            bench::index(&place, &rest[1..])
        }
        ("bench", _) if rest == ["page"] => bench::page(&place),
        ("bench", _) if rest == ["refrigerant"] => bench::refrigerant(&place),
        ("bench", _) if rest == ["box"] => firmware::bench(&place),
        ("bench", _) => bench::run_all(&place, &rest),
        ("nopanic", true) => nopanic::check(&place),
        ("tidy", true) => tidy::check(&place.root),
        _ => Err("usage: cargo xtask test | test ble-vm | bench [criterion options] | bench isolation [options] | bench daemon [--cycles N] | bench index [--visits N] | bench box | bench page | bench refrigerant | nopanic | tidy".into()),
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            eprintln!("xtask {command}: {why}");
            ExitCode::FAILURE
        }
    }
}

/// Where the workspace is, and where it is built.
pub struct Place {
    /// The workspace's root.
    pub root: PathBuf,
    /// Cargo's target directory.
    pub target: PathBuf,
}

impl Place {
    fn find() -> Self {
        let here = Path::new(env!("CARGO_MANIFEST_DIR"));
        let root = here.ancestors().nth(2).unwrap_or(here).to_path_buf();
        let target = std::env::var_os("CARGO_TARGET_DIR")
            .map_or_else(|| root.join("target"), |dir| root.join(dir));
        Place { root, target }
    }

    /// A cargo command in the workspace.
    pub fn cargo(&self, args: &[&str]) -> Command {
        let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
        let mut command = Command::new(cargo);
        command.args(args).current_dir(&self.root);
        command
    }
}

/// Runs a command to its end.
pub fn run(command: &mut Command) -> Result<(), Failure> {
    let status = command
        .status()
        .map_err(|e| format!("{} does not start: {e}", words(command)))?;
    if status.success() {
        Ok(())
    } else {
        Err(format!("{}: {status}", words(command)))
    }
}

fn words(command: &Command) -> String {
    let mut words = command.get_program().to_string_lossy().into_owned();
    for arg in command.get_args() {
        words.push(' ');
        words.push_str(&arg.to_string_lossy());
    }
    words
}

fn step(name: &str, run: impl FnOnce() -> Result<(), Failure>) -> Result<(), Failure> {
    eprintln!("== {name}");
    let start = Instant::now();
    run().map_err(|why| format!("step '{name}' failed: {why}"))?;
    eprintln!("== {name}: {:.1} s", start.elapsed().as_secs_f64());
    Ok(())
}

/// Everything that must hold before a change goes in. Cargo's own results come last.
fn test(place: &Place) -> Result<(), Failure> {
    let mut tools = None;
    step("what only the tests need", || {
        tools = Some(fetch::tools(place)?);
        Ok(())
    })?;
    let mut tools = tools.ok_or("no tools")?;
    step("format", || {
        run(&mut place.cargo(&["fmt", "--all", "--check"]))
    })?;
    step("tidy", || tidy::check(&place.root))?;
    step("clippy", || {
        let args = [
            "clippy",
            "--workspace",
            "--all-targets",
            "--",
            "-D",
            "warnings",
        ];
        run(&mut place.cargo(&args))
    })?;
    step("documentation", || {
        let mut doc = place.cargo(&["doc", "--workspace", "--no-deps"]);
        run(doc.env("RUSTDOCFLAGS", "-D warnings"))
    })?;
    step("no panic in the core", || nopanic::check(place))?;
    step("the probe box's firmware", || {
        let image = firmware::check(place, &tools)?;
        tools.firmware = Some(image.path);
        firmware::template(place)
    })?;
    step("tests", || {
        let args = ["test", "--workspace", "--exclude", "ohmtrail-tests"];
        run(tools.name_in(&mut place.cargo(&args)))
    })?;
    // Whole-system tests run as the user's binary does. Their results are the last words.
    eprintln!("== whole-system tests, release");
    run(tools.name_in(&mut place.cargo(&["test", "--release", "-p", "ohmtrail-tests"])))
        .map_err(|why| format!("step 'whole-system tests' failed: {why}"))
}
