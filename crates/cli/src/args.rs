//! The command line's frame: the options that every command takes, and the commands.

use clap::{ColorChoice, Parser, Subcommand};

use crate::{
    bench, boxes, check, completions, config, exit, fits, index, meters, paper, quote, run, serve,
    sheet, trail,
};

/// The heading of the options that every command takes.
const EVERYWHERE: &str = "For every command";

/// From a meter's bytes to a tag in the unit.
///
/// Ohmtrail informs a qualified person. It says what was measured and what that proves; it never
/// says that a circuit is safe. Local codes and licensed practice come first.
#[derive(Debug, Parser)]
#[command(
    name = "ohmtrail",
    version,
    color = ColorChoice::Never,
    max_term_width = 100,
    after_help = "Exit codes: `ohmtrail exit-codes`.",
    after_long_help = exit::table()
)]
pub struct Cli {
    /// One JSON document, or JSON lines where there are many things, on standard output
    #[arg(long, global = true, help_heading = EVERYWHERE)]
    pub json: bool,
    /// Only errors on standard error
    #[arg(long, short, global = true, conflicts_with = "verbose", help_heading = EVERYWHERE)]
    pub quiet: bool,
    /// More of what happens on standard error; twice for all of it
    #[arg(long, short, global = true, action = clap::ArgAction::Count, help_heading = EVERYWHERE)]
    pub verbose: u8,
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// The commands, one module each.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// A whole invented visit on the simulated bench, told as it goes
    ///
    /// The unit is solved by the circuit model; the meter's bytes come through a pseudo-terminal
    /// and the same serial driver as hardware. Ends with a finding, the tag and the trail.
    Demo(run::demo::Args),
    /// A visit with a real meter, or with values keyed in
    Visit(Box<run::visit::Args>),
    /// The isolation as a dialogue of JSON lines, for any program that plays the technician
    Isolate(run::isolate::Args),
    /// The tag or the write-up of a visit's trail
    Paper(paper::Args),
    /// What a repair costs, and what was decided on it
    Quote(quote::Args),
    /// Judge typed values against one rule of the trade
    ///
    /// Values are typed as the display shows them, with their unit: 238.4V, "0.7 Ohm", 55.1uF, OL.
    /// The digits count: 0.7 Ohm on a display of 0.1 ohm steps is not 0.70 Ohm.
    Check(check::Args),
    /// What of the stock may be fitted in place of a failed part
    ///
    /// The failed part by what is stamped on it, or by the finding of a visit. Capacitors in parallel
    /// are offered with the tolerance of their sum. The maker's instructions prevail.
    Fits(fits::Args),
    /// The shop bench: trays of parts, how well a measurement repeats, meter drift
    Bench(bench::Args),
    /// Look at, check and compile the description of a unit
    ///
    /// NAME is a built-in sheet (`ohmtrail sheet list`) or the path of a sheet file.
    Sheet(sheet::Args),
    /// Verify, show and export the trail of a visit
    Trail(trail::Args),
    /// The shop index over all visits: what failed before, how values move
    ///
    /// It is made of the trails alone, and can be made anew from them at any time.
    Index(index::Args),
    /// List meter drivers and ports, or watch a meter
    ///
    /// Without more, lists the drivers and the serial ports that are present.
    Meters(meters::Args),
    /// Load a probe box, ask how it is, and collect what it kept
    Box(boxes::Args),
    /// The daemon: meters, visits, an HTTP API and a live stream, until it is told to stop
    Serve(serve::Args),
    /// The daemon's configuration, and who may use it
    Config(config::Args),
    /// Write a completion script for a shell to standard output
    Completions(completions::Args),
    /// List what the exit codes mean
    #[command(long_about = exit::table())]
    ExitCodes,
}
