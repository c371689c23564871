//! The `ohmtrail` command: reads the command line, runs one subcommand, and ends with an exit
//! code that means something ([`exit::Exit`]).
#![forbid(unsafe_code)]

mod args;
mod beforehand;
mod bench;
mod boxes;
mod check;
mod completions;
mod config;
mod ended;
mod exit;
mod fail;
mod fits;
mod index;
mod known;
mod lines;
mod log;
mod meters;
mod out;
mod paper;
mod quote;
mod run;
mod serve;
mod sheet;
mod trail;

use std::process::ExitCode;

use clap::Parser;
use tracing::level_filters::LevelFilter;

use crate::args::{Cli, Command};
use crate::exit::Exit;
use crate::fail::Fail;
use crate::log::Verbosity;
use crate::out::Out;

fn main() -> ExitCode {
    let cli = Cli::parse();
    let verbosity = Verbosity {
        quiet: cli.quiet,
        verbose: cli.verbose,
    };
    // The daemon's log starts once its configuration is read.
    if !matches!(cli.command, Command::Serve(_)) {
        log::start(verbosity.level_or(LevelFilter::WARN), false);
    }
    let mut out = Out::stdout(cli.json);
    let done = obey(cli.command, verbosity, &mut out).and_then(|exit| {
        out.finish()?;
        Ok(exit)
    });
    match done {
        Ok(exit) => exit.into(),
        Err(fail) => {
            eprintln!("ohmtrail: {fail}");
            fail.exit.into()
        }
    }
}

fn obey(command: Command, verbosity: Verbosity, out: &mut Out) -> Result<Exit, Fail> {
    match command {
        Command::Demo(args) => run::demo::run(&args, out),
        Command::Visit(args) => run::visit::run(*args, out),
        Command::Isolate(args) => run::isolate::run(&args, out),
        Command::Paper(args) => paper::run(&args, out),
        Command::Quote(args) => quote::run(&args, out),
        Command::Check(args) => check::run(&args, out),
        Command::Fits(args) => fits::run(&args, out),
        Command::Bench(args) => bench::run(&args, out),
        Command::Sheet(args) => sheet::run(&args, out),
        Command::Trail(args) => trail::run(&args, out),
        Command::Index(args) => index::run(&args, out),
        Command::Meters(args) => meters::run(args, out),
        Command::Box(args) => boxes::run(args, out),
        Command::Serve(args) => serve::run(args, verbosity, out),
        Command::Config(args) => config::run(&args, out),
        Command::Completions(args) => completions::run(&args, out),
        Command::ExitCodes => exit::run(out),
    }
}
