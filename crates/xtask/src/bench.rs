//! Runs every benchmark, and closes with their tables.
//!
//! A benchmark that holds things side by side prints a table: a heading that ends in
//! `microseconds:`, then rows whose last word is a number or a column's name. The closing words
//! are those tables, and what they are held to.

use std::io::{BufRead, BufReader};
use std::process::{Command, Stdio};

use crate::{Failure, Place, fetch, run, step, tidy, words};

const HEADING_ENDS: &str = "microseconds:";
const COLUMNS: [&str; 4] = ["median", "mean", "ratio", "of goal"];

/// What the numbers are held to (the project's own goals).
const GOALS: &str = "\
goals: a take to disk at most 1.10 times a bare append, and clearly ahead of SQLite;
       one update and next ask under 1000; compiling the largest sheet under 500000, and an operating
       point at least 100 times as fast as in ngspice";

/// Runs the benchmarks of every package that has some.
pub fn run_all(place: &Place, options: &[String]) -> Result<(), Failure> {
    let mut tables = Vec::new();
    for package in tidy::packages(&place.root)? {
        for bench in &package.benches {
            let name = format!("{} {bench}", package.name);
            step(&name, || {
                let args = ["bench", "-p", &package.name, "--bench", bench, "--"];
                let mut cargo = place.cargo(&args);
                // Tables go to the output that is read here, cargo's own words to the terminal.
                tables.extend(run_and_keep(cargo.args(options))?);
                Ok(())
            })?;
        }
    }
    if tables.is_empty() {
        return Err("no benchmark printed a table".into());
    }
    println!("\n== side by side");
    for line in tables {
        println!("{line}");
    }
    println!("{GOALS}");
    Ok(())
}

/// Runs the fault bench with these options: see docs/fault-bench.md.
pub fn isolation(place: &Place, options: &[String]) -> Result<(), Failure> {
    let tools = fetch::tools(place)?;
    let args = [
        "run",
        "--release",
        "-p",
        "ohmtrail-tests",
        "--bin",
        "fault_bench",
        "--",
    ];
    let mut cargo = place.cargo(&args);
    run(tools.name_in(cargo.args(options)))
}

/// Runs the daemon's bench with these options.
pub fn daemon(place: &Place, options: &[String]) -> Result<(), Failure> {
    let args = ["run", "--release", "-p", "ohmtrail-tests", "--bin"];
    let mut cargo = place.cargo(&args);
    run(cargo.args(["daemon_bench", "--"]).args(options))
}

/// Runs the shop index's bench with these options.
pub fn index(place: &Place, options: &[String]) -> Result<(), Failure> {
    fetch::have(&[("sqlite3", "sqlite3")])?;
    let args = ["run", "--release", "-p", "ohmtrail-tests", "--bin"];
    let mut cargo = place.cargo(&args);
    run(cargo.args(["index_bench", "--"]).args(options))
}

/// Runs the page's bench in a browser.
pub fn page(place: &Place) -> Result<(), Failure> {
    let tools = fetch::tools(place)?;
    let args = [
        "run",
        "--release",
        "-p",
        "ohmtrail-tests",
        "--bin",
        "page_bench",
    ];
    run(tools.name_in(&mut place.cargo(&args)))
}

/// Runs the refrigerants' bench: the core beside CoolProp.
pub fn refrigerant(place: &Place) -> Result<(), Failure> {
    let tools = fetch::tools(place)?;
    let args = [
        "run",
        "--release",
        "-p",
        "ohmtrail-core",
        "--example",
        "refrigerant_bench",
    ];
    run(tools.name_in(&mut place.cargo(&args)))
}

/// Runs a command to its end, passes its output on, and keeps the tables in it.
fn run_and_keep(command: &mut Command) -> Result<Vec<String>, Failure> {
    let spawned = command.stdout(Stdio::piped()).spawn();
    let mut child = spawned.map_err(|e| format!("{} does not start: {e}", words(command)))?;
    let mut kept = Kept::default();
    if let Some(output) = child.stdout.take() {
        for line in BufReader::new(output).lines() {
            let line = line.map_err(|e| format!("{}: {e}", words(command)))?;
            println!("{line}");
            kept.line(line);
        }
    }
    let status = child
        .wait()
        .map_err(|e| format!("{}: {e}", words(command)))?;
    if status.success() {
        Ok(kept.lines)
    } else {
        Err(format!("{}: {status}", words(command)))
    }
}

/// The lines of the tables in a benchmark's output.
#[derive(Default)]
struct Kept {
    lines: Vec<String>,
    inside: bool,
}

impl Kept {
    fn line(&mut self, line: String) {
        let heading = line.ends_with(HEADING_ENDS);
        let last = line.split_whitespace().next_back().unwrap_or_default();
        let row = last.parse::<f64>().is_ok() || COLUMNS.iter().any(|c| line.ends_with(c));
        self.inside = heading || (self.inside && row);
        if self.inside {
            self.lines.push(line);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::Kept;

    #[test]
    fn the_tables_are_kept_and_nothing_beside_them() {
        let output = "Benchmarking x: Warming up\n\
            one take to disk, microseconds:\n   median     ratio\nbare   10.0   1.00\n\
            ours   10.5   1.05\ntake to disk/ours time:   [1 us 2 us 3 us]\nstray   7\n\
            compile, microseconds:\nmean\nall   5.0\n";
        let mut kept = Kept::default();
        output.lines().for_each(|l| kept.line(l.to_owned()));
        let wanted = [
            "one take to disk, microseconds:",
            "   median     ratio",
            "bare   10.0   1.00",
            "ours   10.5   1.05",
            "compile, microseconds:",
            "mean",
            "all   5.0",
        ];
        assert_eq!(kept.lines, wanted);
    }
}
