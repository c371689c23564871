//! `ohmtrail sheet compile NAME -o FILE`.

use std::path::PathBuf;
use std::time::Instant;

use ohmtrail_circuit::compile::{Options, compile};
use serde_json::json;

use super::load;
use crate::beforehand::Beforehand;
use crate::exit::Exit;
use crate::fail::Fail;
use crate::known::KnownArgs;
use crate::out::Out;

/// What to compile, and where to.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The sheet
    #[arg(value_name = "NAME")]
    name: PathBuf,
    /// Where the table goes
    #[arg(long, short)]
    output: PathBuf,
    /// Single faults only: what a probe box holds
    #[arg(long)]
    singles_only: bool,
    /// Sampled units for each hypothesis, 1 to 8: fewer make a smaller and blunter table
    #[arg(long, value_name = "N", default_value_t = 8, value_parser = clap::value_parser!(u8).range(1..=8))]
    samples: u8,
    #[command(flatten)]
    beforehand: Beforehand,
    #[command(flatten)]
    known: KnownArgs,
}

/// Compiles.
pub fn run(args: &Args, out: &mut Out) -> Result<Exit, Fail> {
    let mut sheet = load(&args.name)?;
    args.beforehand.tell(&mut sheet)?;
    args.known.tell(&mut sheet)?;
    let options = Options {
        samples: usize::from(args.samples),
        singles_only: args.singles_only,
    };
    let begun = Instant::now();
    let compiled = compile(&sheet, options)
        .map_err(|e| Fail::input(format!("{}: {e}", args.name.display())))?;
    tracing::info!(millis = begun.elapsed().as_millis(), "compiled");
    std::fs::write(&args.output, &compiled.bytes).map_err(|e| {
        Fail::new(
            Exit::System,
            format!("{}: cannot be written: {e}", args.output.display()),
        )
    })?;
    if out.json() {
        out.document(&json!({
            "sheet": sheet.name, "file": args.output.display().to_string(),
            "bytes": compiled.bytes.len(), "hypotheses": compiled.sets.len(),
            "checks": sheet.checks.len(),
        }))?;
    } else {
        out.line(&format!(
            "{}: {} hypotheses, {} checks, {} bytes in {}",
            sheet.name,
            compiled.sets.len(),
            sheet.checks.len(),
            compiled.bytes.len(),
            args.output.display()
        ))?;
    }
    Ok(Exit::Done)
}
