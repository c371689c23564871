//! `ohmtrail serve`: the daemon.

use std::io::IsTerminal;
use std::net::SocketAddr;

use ohmtrail_daemon::auth::console;
use ohmtrail_daemon::auth::pairing::{Moment, Pairing};
use ohmtrail_daemon::config::{Config, Flags};
use ohmtrail_daemon::serve;
use serde_json::json;

use crate::config::{Where, load};
use crate::exit::Exit;
use crate::fail::Fail;
use crate::log::{self, Verbosity};
use crate::out::Out;

/// Where it listens.
#[derive(Debug, clap::Args)]
pub struct Args {
    #[command(flatten)]
    place: Where,
    /// Where to listen; port 0 lets the system choose. An address beyond this machine makes every
    /// request need pairing
    #[arg(long, value_name = "ADDRESS:PORT")]
    listen: Vec<SocketAddr>,
}

/// Serves until told to stop.
pub fn run(args: &Args, verbosity: Verbosity, out: &mut Out) -> Result<Exit, Fail> {
    let flags = Flags {
        listen: args.listen.clone(),
        ..args.place.flags()
    };
    let config = load(args.place.config.as_deref(), &flags)?.config;
    // The word was checked when it was read.
    let usual = config.log.level.parse().map_err(Fail::input)?;
    log::start(verbosity.level_or(usual), config.log.json);
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .build()
        .map_err(|e| Fail::new(Exit::System, format!("no runtime: {e}")))?;
    let mut told = Ok(());
    let ready = |bound: &[SocketAddr]| told = tell(&config, bound, out);
    let served = runtime.block_on(serve(config.clone(), ready));
    served.map_err(|e| Fail::new(Exit::System, e))?;
    told?;
    Ok(Exit::Done)
}

/// Says where it is served, once it is; with a code to pair if a person is there to read it.
fn tell(config: &Config, bound: &[SocketAddr], out: &mut Out) -> Result<(), Fail> {
    let serving: Vec<String> = bound.iter().map(|a| format!("http://{a}")).collect();
    if out.json() {
        out.json_line(&json!({ "serving": serving }))?;
    } else {
        for address in &serving {
            out.line(&format!("Serving on {address}"))?;
        }
        if config.listen.needs_session() {
            pair(config, bound, out)?;
        }
    }
    out.finish()
}

fn pair(config: &Config, bound: &[SocketAddr], out: &mut Out) -> Result<(), Fail> {
    // What is not a terminal may be a log, and a log is no place for a code.
    if !std::io::stdout().is_terminal() {
        return out.line("To pair a phone: ohmtrail config pair");
    }
    let pairing = Pairing::of(&config.data, config.code_lasts, config.code_attempts);
    let code = Moment::now().and_then(|now| pairing.open(now));
    let code = code.map_err(|e| {
        let why = format!(
            "{}: no pairing code can be kept: {e}",
            config.data.display()
        );
        Fail::new(Exit::System, why)
    })?;
    let bases = console::bases(&config.listen, bound);
    out.line(&console::show(&bases, &code, config.code_lasts.as_secs()))
}
