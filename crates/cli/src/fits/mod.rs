//! `ohmtrail fits …`: what of the stock may be fitted in place of a failed part, by what is stamped on
//! it or by the finding of a visit.

mod say;
mod stamp;
mod visit;

use std::fs;
use std::path::PathBuf;

use clap::Subcommand;
use ohmtrail_core::fit::contactor::Load;
use ohmtrail_core::units::{Amps, Volts};
use ohmtrail_stock::{Failed, Offers, Stock, Wanted, offers};
use serde_json::json;

use self::stamp::{AMPS, Stamp, VOLTS, given};
use crate::exit::Exit;
use crate::fail::Fail;
use crate::out::Out;

/// What failed.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// What failed.
    #[command(subcommand)]
    what: What,
}

/// Where the parts are.
#[derive(Debug, clap::Args)]
struct From {
    /// The stock, a CSV (docs/fits.md)
    #[arg(long, value_name = "FILE")]
    stock: PathBuf,
}

#[derive(Debug, Subcommand)]
enum What {
    /// A run or start capacitor, of one section or two
    Capacitor {
        #[command(flatten)]
        from: From,
        #[command(flatten)]
        stamp: Stamp<0>,
    },
    /// A contactor, for the load that it switches
    Contactor {
        #[command(flatten)]
        from: From,
        #[command(flatten)]
        stamp: Stamp<1>,
        #[command(flatten)]
        load: LoadArgs,
    },
    /// A control transformer
    Transformer {
        #[command(flatten)]
        from: From,
        #[command(flatten)]
        stamp: Stamp<2>,
    },
    /// A fan or blower motor
    Motor {
        #[command(flatten)]
        from: From,
        #[command(flatten)]
        stamp: Stamp<3>,
        /// The most amps that its wires, overload and breaker allow, where somebody looked
        #[arg(long, value_name = "AMPS")]
        circuit: Option<String>,
    },
    /// A potential relay
    Relay {
        #[command(flatten)]
        from: From,
        #[command(flatten)]
        stamp: Stamp<4>,
    },
    /// Any other part, by its maker's number: a compressor, a switch, a board
    NumberedPart {
        #[command(flatten)]
        from: From,
        #[command(flatten)]
        stamp: Stamp<5>,
    },
    /// The parts that a visit's finding names, by plates and sheet
    Visit(visit::Args),
    /// Read a stock, and say what is wrong with it
    Stock {
        /// The stock
        #[arg(value_name = "FILE")]
        stock: PathBuf,
    },
}

/// What a contactor switches.
#[derive(Debug, clap::Args)]
#[command(next_help_heading = "The load, by its plates; before what is stamped on the contactor")]
struct LoadArgs {
    /// Volts of the load
    #[arg(long, value_name = "VOLTS")]
    load_volts: Option<String>,
    /// Full-load or rated-load amps of all its motors together
    #[arg(long, value_name = "AMPS")]
    load_full_load: Option<String>,
    /// Locked-rotor amps of its compressor
    #[arg(long, value_name = "AMPS")]
    load_locked_rotor: Option<String>,
    /// Amps of its heaters
    #[arg(long, value_name = "AMPS")]
    load_resistive: Option<String>,
    /// There is a compressor: its locked-rotor amps are asked for
    #[arg(long)]
    compressor: bool,
}

impl LoadArgs {
    fn load(&self) -> Result<Load, Fail> {
        let amps =
            |name, text: &Option<String>| given(name, text.as_ref(), AMPS).map(|a| a.map(Amps));
        Ok(Load {
            volts: given("load-volts", self.load_volts.as_ref(), VOLTS)?.map(Volts),
            full_load: amps("load-full-load", &self.load_full_load)?,
            locked_rotor: amps("load-locked-rotor", &self.load_locked_rotor)?,
            resistive: amps("load-resistive", &self.load_resistive)?,
            hermetic: self.compressor || self.load_locked_rotor.is_some(),
        })
    }
}

/// Reads a stock; everything wrong with it is said at once.
fn read(path: &PathBuf) -> Result<Stock, Fail> {
    let name = path.display().to_string();
    let bytes = fs::read(path).map_err(|e| Fail::input(format!("{name}: {e}")))?;
    Stock::read(&name, &bytes).map_err(Fail::input)
}

/// Looks, prints, and says by the exit code how it came out.
pub fn run(args: &Args, out: &mut Out) -> Result<Exit, Fail> {
    match &args.what {
        What::Capacitor { from, stamp } => one(from, stamp.wanted()?, out),
        What::Contactor { from, stamp, load } => {
            let mut wanted = stamp.wanted()?;
            if let Wanted::Contactor(_, of) = &mut wanted {
                *of = load.load()?;
            }
            one(from, wanted, out)
        }
        What::Transformer { from, stamp } => one(from, stamp.wanted()?, out),
        What::Motor {
            from,
            stamp,
            circuit,
        } => {
            let mut wanted = stamp.wanted()?;
            if let Wanted::Motor { circuit: of, .. } = &mut wanted {
                *of = given("circuit", circuit.as_ref(), AMPS)?.map(Amps);
            }
            one(from, wanted, out)
        }
        What::Relay { from, stamp } => one(from, stamp.wanted()?, out),
        What::NumberedPart { from, stamp } => one(from, stamp.wanted()?, out),
        What::Visit(args) => visit::run(args, out),
        What::Stock { stock } => list(&read(stock)?, out),
    }
}

fn one(from: &From, wanted: Wanted, out: &mut Out) -> Result<Exit, Fail> {
    let stock = read(&from.stock)?;
    let name = wanted.kind().name();
    let failed = Failed {
        part: name.to_owned(),
        words: format!("the {name} as stamped"),
        wanted,
        from: Vec::new(),
    };
    let found = offers(&failed.wanted, &stock);
    if out.json() {
        out.document(&json!({
            "parts": [say::json(&failed, &found)],
            "cautions": say::CAUTIONS,
        }))?;
    } else {
        say::text(&failed, &found, out)?;
        say::cautions(out)?;
    }
    Ok(exit(&found))
}

/// Something fits; something may; nothing does.
fn exit(found: &Offers) -> Exit {
    if !found.fits.is_empty() {
        Exit::Done
    } else if !found.unknown.is_empty() {
        Exit::Open
    } else {
        Exit::Fails
    }
}

fn list(stock: &Stock, out: &mut Out) -> Result<Exit, Fail> {
    if out.json() {
        out.document(&json!({ "items": stock.items }))?;
        return Ok(Exit::Done);
    }
    for item in &stock.items {
        let place = say::place(&item.place);
        let kind = item.part.kind().name();
        out.line(&format!("{} x {kind} {}{place}", item.quantity, item.name))?;
    }
    out.line(&format!(
        "{} lines, nothing wrong with them",
        stock.items.len()
    ))?;
    Ok(Exit::Done)
}
