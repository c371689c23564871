//! `ohmtrail bench …`: the shop bench: figures from tables of measured values, and trays of parts.

mod say;
mod sorted;
mod tray;

use std::fs;
use std::path::{Path, PathBuf};

use clap::Subcommand;
use ohmtrail_shop::drift::{self, Against, Reference};
use ohmtrail_shop::repeat::{self, Standing};
use ohmtrail_shop::table;

use crate::exit::Exit;
use crate::fail::Fail;
use crate::out::Out;

/// What is asked of the table.
#[derive(Debug, clap::Args)]
pub struct Args {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Measure a tray of parts, one after the other, hands-free
    ///
    /// Each part's values are taken when the display stands still, judged and written down; the next is
    /// asked for when the leads were seen off. On standard input, Enter takes what the display shows now
    /// (an open coil or an empty capacitor looks like leads that are off), a value is keyed in, `skip`
    /// goes on to the next part, `quit` ends the tray.
    Tray(Box<tray::Args>),
    /// Sort a tray that was written down: verdicts, yield, labels, a plot
    Sorted(sorted::Args),
    /// How well a measurement repeats, among people and parts
    ///
    /// FILE is a CSV with the columns part, person and value: each part measured equally often, at
    /// least twice, by each person. Without the column person, one person measured all.
    Repeat {
        /// The table
        #[arg(value_name = "FILE")]
        table: PathBuf,
        /// What the parts may be, highest less lowest, in the unit of the table
        #[arg(long, value_name = "WIDTH")]
        tolerance: Option<f64>,
    },
    /// Whether a meter has drifted, by readings of one reference part
    ///
    /// FILE is a CSV with the columns when and value, in the order of time. The first readings are
    /// the baseline. All numbers are in the unit of the table.
    Drift {
        /// The table
        #[arg(value_name = "FILE")]
        table: PathBuf,
        /// The value of the reference part
        #[arg(long, value_name = "VALUE")]
        reference: f64,
        /// Its standard uncertainty
        #[arg(long, value_name = "U", default_value_t = 0.0)]
        uncertainty: f64,
        /// How far the meter may be off there, as its maker states
        #[arg(long, value_name = "ERROR")]
        permitted: Option<f64>,
        /// How many readings are the baseline
        #[arg(long, value_name = "N", default_value_t = drift::ENOUGH)]
        baseline: usize,
    },
}

fn bytes(path: &Path) -> Result<(String, Vec<u8>), Fail> {
    let name = path.display().to_string();
    let bytes = fs::read(path).map_err(|e| Fail::input(format!("{name}: {e}")))?;
    Ok((name, bytes))
}

/// Works it out, prints it, and says by the exit code how it came out.
pub fn run(args: &Args, out: &mut Out) -> Result<Exit, Fail> {
    match &args.what {
        What::Tray(args) => tray::run(args, out),
        What::Sorted(args) => sorted::run(args, out),
        What::Repeat { table, tolerance } => {
            let (name, bytes) = bytes(table)?;
            let measured = table::measured(&name, &bytes).map_err(Fail::input)?;
            let found = repeat::repeat(&measured, *tolerance)
                .map_err(|e| Fail::input(format!("{name}: {e}")))?;
            say::repeat(&found, out)?;
            Ok(match found.standing {
                Standing::TellsApart => Exit::Done,
                // Limits from memory never condemn alone.
                Standing::Limited | Standing::DoesNotTellApart => Exit::Open,
            })
        }
        What::Drift {
            table,
            reference,
            uncertainty,
            permitted,
            baseline,
        } => {
            let (name, bytes) = bytes(table)?;
            let readings = table::checked(&name, &bytes).map_err(Fail::input)?;
            let known = Reference {
                value: *reference,
                u: *uncertainty,
                permitted: *permitted,
            };
            let chart = drift::chart(&readings, *baseline, known)
                .map_err(|e| Fail::input(format!("{name}: {e}")))?;
            say::drift(&chart, known, out)?;
            Ok(match (chart.drifted_at, chart.against) {
                (_, Against::Outside) | (Some(_), _) => Exit::Fails,
                (None, Against::TooCloseToCall) => Exit::Open,
                // What was measured while it was out is to be looked at.
                (None, _) if !chart.excursions.is_empty() => Exit::Open,
                (None, Against::Within | Against::NotKnown) => Exit::Done,
            })
        }
    }
}
