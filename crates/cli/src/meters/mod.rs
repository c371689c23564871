//! `ohmtrail meters`: the drivers and the ports there are; `ohmtrail meters watch`: what a meter
//! shows.

mod find;
mod record;
pub mod watch;

use clap::Subcommand;
use ohmtrail_meters::driver::drivers;
use ohmtrail_meters::ports::ports;
use serde_json::json;

use crate::exit::Exit;
use crate::fail::Fail;
use crate::out::Out;

/// What to do; nothing is to list.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// What to do.
    #[command(subcommand)]
    what: Option<What>,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Show a meter's values as they come, until interrupted
    Watch(watch::Args),
}

/// Runs it.
pub fn run(args: Args, out: &mut Out) -> Result<Exit, Fail> {
    match args.what {
        None => list(out),
        Some(What::Watch(args)) => watch::run(args, out),
    }
}

fn list(out: &mut Out) -> Result<Exit, Fail> {
    let ports = ports();
    if out.json() {
        let drivers: Vec<_> = drivers()
            .iter()
            .map(|d| {
                let functions: Vec<&str> = d.about.functions.iter().map(|f| f.name()).collect();
                json!({
                    "name": d.name, "what": d.what, "line": d.line.to_string(),
                    "asked": d.asked, "functions": functions,
                    "cannot_tell": d.about.untold, "simulated": d.encode.is_some(),
                })
            })
            .collect();
        out.document(&json!({"drivers": drivers, "ports": ports}))?;
        return Ok(Exit::Done);
    }
    for driver in drivers() {
        let functions: Vec<&str> = driver.about.functions.iter().map(|f| f.name()).collect();
        out.line(&format!(
            "{}  {}, {}",
            driver.name, driver.what, driver.line
        ))?;
        out.line(&format!("    can tell: {}", functions.join(", ")))?;
        out.line(&format!(
            "    cannot tell: {}",
            driver.about.untold.join(", ")
        ))?;
    }
    out.line("keyed  values typed from the display")?;
    out.line("replay  readings out of a trail")?;
    if ports.is_empty() {
        out.line("no serial port is present")?;
    }
    for port in ports {
        out.line(&format!("port {}", port.display()))?;
    }
    Ok(Exit::Done)
}
