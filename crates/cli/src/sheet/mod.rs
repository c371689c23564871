//! `ohmtrail sheet …`: what a unit's sheet holds, a new one, whether a sheet is sound, its pictures,
//! its network for a circuit simulator, and its compiled table.

mod check;
mod compile;
mod draw;
mod kinds;
mod names;
mod netlist;
mod new;

use std::path::{Path, PathBuf};

use clap::Subcommand;
use ohmtrail_circuit::costs::{BUILTIN as BUILTIN_COSTS, Costs};
use ohmtrail_circuit::priors::{BUILTIN as BUILTIN_PRIORS, Priors};
use ohmtrail_circuit::sheet::{BUILTIN, PointId, Sheet, SheetError, read_builtin, read_file};
use serde_json::json;

use crate::exit::Exit;
use crate::fail::Fail;
use crate::out::Out;

/// What to do with which sheet.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// What to do.
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// List the built-in sheets
    List,
    /// List the kinds of parts, or one's terminals, values, faults and looks
    Kinds {
        /// The kind
        #[arg(value_name = "KIND")]
        kind: Option<String>,
    },
    /// Make a sheet to begin with
    New(new::Args),
    /// Name everything that is wrong with a sheet, what it holds, and what could be better
    Check {
        /// The sheet
        #[arg(value_name = "NAME")]
        name: PathBuf,
    },
    /// List every point that a probe can reach, and what it is
    Points {
        /// The sheet
        #[arg(value_name = "NAME")]
        name: PathBuf,
    },
    /// List every fault, and what it is
    Faults {
        /// The sheet
        #[arg(value_name = "NAME")]
        name: PathBuf,
    },
    /// List everything that eyes, ears and hands are asked for
    Looks {
        /// The sheet
        #[arg(value_name = "NAME")]
        name: PathBuf,
    },
    /// List every measurement that can be asked for
    Checks {
        /// The sheet
        #[arg(value_name = "NAME")]
        name: PathBuf,
    },
    /// List the complaints that a visit can begin with
    Complaints {
        /// The sheet
        #[arg(value_name = "NAME")]
        name: PathBuf,
    },
    /// Draw the schematic, or where the probes of a check go, as SVG
    Draw(draw::Args),
    /// Write the network of a drawn unit as SPICE text
    Netlist(netlist::Args),
    /// Write the built-in priors: a file to copy, change and name with --priors
    Priors,
    /// Write the built-in costs: what it costs to be wrong, and to take time
    Costs,
    /// Compile a sheet to the table that faults are isolated with
    Compile(compile::Args),
}

/// Runs it.
pub fn run(args: &Args, out: &mut Out) -> Result<Exit, Fail> {
    match &args.what {
        What::List => list(out),
        What::Kinds { kind } => kinds::run(kind.as_deref(), out),
        What::New(args) => new::run(args, out),
        What::Check { name } => check::run(name, out),
        What::Points { name } => names::points(&load(name)?, out),
        What::Faults { name } => names::faults(&load(name)?, out),
        What::Looks { name } => names::looks(&load(name)?, out),
        What::Checks { name } => names::checks(&load(name)?, out),
        What::Complaints { name } => names::complaints(&load(name)?, out),
        What::Draw(args) => draw::run(args, out),
        What::Netlist(args) => netlist::run(args, out),
        What::Priors => priors(out),
        What::Costs => costs(out),
        What::Compile(args) => compile::run(args, out),
    }
}

fn read(name: &Path) -> Result<Sheet, SheetError> {
    name.to_str()
        .and_then(read_builtin)
        .unwrap_or_else(|| read_file(name))
}

/// A sheet by its name or path.
pub fn load(name: &Path) -> Result<Sheet, Fail> {
    read(name).map_err(|e| {
        let known = BUILTIN.iter().any(|(n, _)| Path::new(n) == name);
        if known || name.exists() {
            return Fail::input(e);
        }
        let names: Vec<&str> = BUILTIN.iter().map(|(n, _)| *n).collect();
        Fail::input(format!(
            "{}: neither a file nor a built-in sheet; built in: {}",
            name.display(),
            names.join(", ")
        ))
    })
}

fn list(out: &mut Out) -> Result<Exit, Fail> {
    for (name, _) in BUILTIN {
        let sheet = load(Path::new(name))?;
        if out.json() {
            out.json_line(&json!({
                "name": name, "title": sheet.title, "parts": sheet.parts.len(),
                "points": sheet.points.len(), "faults": sheet.faults.len(),
                "checks": sheet.checks.len(),
            }))?;
        } else {
            out.line(&format!("{name}  {}", sheet.title))?;
        }
    }
    Ok(Exit::Done)
}

/// The wire ends of these lifted sets, or ends by their own names.
fn lifted(sheet: &Sheet, names: &[String]) -> Result<Vec<PointId>, Fail> {
    let mut ends = Vec::new();
    for name in names {
        if let Some(set) = sheet.lifts.iter().find(|l| l.name == *name) {
            ends.extend(&set.ends);
            continue;
        }
        match sheet
            .point(name)
            .filter(|p| sheet.wire_of_end(*p).is_some())
        {
            Some(end) => ends.push(end),
            None => {
                let sets: Vec<&str> = sheet.lifts.iter().map(|l| l.name.as_str()).collect();
                return Err(Fail::usage(format!(
                    "--lift {name}: neither a wire end nor a lifted set; sets are {}",
                    sets.join(", ")
                )));
            }
        }
    }
    Ok(ends)
}

/// The built-in costs: their text, or what is in it.
fn costs(out: &mut Out) -> Result<Exit, Fail> {
    if !out.json() {
        out.line(BUILTIN_COSTS.1.trim_end())?;
        return Ok(Exit::Done);
    }
    let costs = Costs::builtin();
    out.document(&json!({
        "hour": costs.hour, "waiting": costs.waiting, "callback": costs.callback,
        "wrong": costs.wrong,
    }))?;
    Ok(Exit::Done)
}

/// The built-in priors: their text, or what is in it.
fn priors(out: &mut Out) -> Result<Exit, Fail> {
    if !out.json() {
        out.line(BUILTIN_PRIORS.1.trim_end())?;
        return Ok(Exit::Done);
    }
    let priors = Priors::builtin().map_err(Fail::input)?;
    let looks: Vec<_> = priors
        .looks()
        .iter()
        .map(|(name, trust)| {
            json!({
                "look": name, "sensitivity": trust.sensitivity, "specificity": trust.specificity,
                "customer": trust.customer, "source": trust.source,
            })
        })
        .collect();
    out.document(&json!({
        "no_fault": priors.no_fault, "none_of_these": priors.none_of_these,
        "pair_floor": priors.pair_floor, "wire_open": priors.wire_open,
        "customer_share": priors.customer_share, "looks": looks, "sources": priors.sources,
    }))?;
    Ok(Exit::Done)
}
