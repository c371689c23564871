//! The daemon's bench as a command: `cargo xtask bench daemon [--cycles N]`. Prints each number
//! beside what it is held to.

use std::process::ExitCode;
use std::time::Duration;

use ohmtrail_tests::daemon_bench::{Kept, byte_to_event, kills, load, ready, replugs, year};

const USAGE: &str = "usage: cargo xtask bench daemon [--cycles N]";
/// Unplugs and kills if nothing else is asked for.
const CYCLES: usize = 50;

fn main() -> ExitCode {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let cycles = match args
        .iter()
        .map(String::as_str)
        .collect::<Vec<_>>()
        .as_slice()
    {
        [] => Some(CYCLES),
        ["--cycles", n] => n.parse().ok(),
        _ => None,
    };
    let Some(cycles) = cycles else {
        eprintln!("{USAGE}");
        return ExitCode::from(2);
    };
    let mut misses = 0;
    let mut row = |what: &str, value: f64, unit: &str, goal: f64| {
        let held = value <= goal;
        misses += usize::from(!held);
        let word = if held { "held" } else { "MISSED" };
        println!("{what:<58} {value:>9.2} {unit:<3} goal {goal:>7.2}  {word}");
    };

    let started = ready(20);
    row(
        "start to first answer, median",
        started.percentile(50),
        "ms",
        100.0,
    );
    let alone = byte_to_event(1000, false);
    row(
        "byte on the pty to event at a client, p50",
        alone.percentile(50),
        "ms",
        10.0,
    );
    row(
        "byte on the pty to event at a client, p99",
        alone.percentile(99),
        "ms",
        10.0,
    );
    let beside = byte_to_event(1000, true);
    row(
        "  the same beside a client that does not read, p50",
        beside.percentile(50),
        "ms",
        10.0,
    );
    row(
        "  the same beside a client that does not read, p99",
        beside.percentile(99),
        "ms",
        10.0,
    );
    let many = load(64, Duration::from_secs(10));
    row(
        "64 meters at 10 readings/s, share of a core",
        many.cpu,
        "%",
        3.0,
    );
    row(
        "64 meters at 10 readings/s, resident",
        many.resident,
        "MB",
        40.0,
    );
    row(
        "  readings that did not reach the client",
        (1.0 - many.arrived) * 100.0,
        "%",
        0.0,
    );
    let year = year(500, 2000);
    let what = format!(
        "{} readings in 500 visits, start to the list",
        year.readings
    );
    row(&what, year.listed, "ms", 1000.0);
    row("  and then one of them", year.one, "ms", 1000.0);
    let (kept, took) = replugs(cycles);
    row(
        "unplugged and replugged, plug to reading, p99",
        took.percentile(99),
        "ms",
        2000.0,
    );
    for (what, kept) in [("unplugs", kept), ("kills", kills(cycles, 7))] {
        let Kept {
            told,
            lost,
            doubled,
        } = kept;
        row(
            &format!("{cycles} {what}, {told} takes told: lost"),
            lost as f64,
            "",
            0.0,
        );
        row(
            &format!("{cycles} {what}, {told} takes told: doubled"),
            doubled as f64,
            "",
            0.0,
        );
    }
    if misses == 0 {
        ExitCode::SUCCESS
    } else {
        eprintln!("{misses} goals are missed");
        ExitCode::FAILURE
    }
}
