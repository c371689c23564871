//! `ohmtrail serve`: the daemon.

use std::io::IsTerminal;
use std::net::SocketAddr;
use std::str::FromStr;
use std::time::Duration;

use ohmtrail_daemon::api::Judge;
use ohmtrail_daemon::auth::console;
use ohmtrail_daemon::auth::pairing::{Moment, Pairing};
use ohmtrail_daemon::clock::Clocks;
use ohmtrail_daemon::config::{Config, Flags, Meter};
use ohmtrail_daemon::{Options, ServeError, serve};
use ohmtrail_meters::spec::{Spec, SpecError};
use serde_json::json;

use crate::beforehand::Beforehand;
use crate::check;
use crate::config::{Where, load};
use crate::exit::Exit;
use crate::fail::Fail;
use crate::log::{self, Verbosity};
use crate::out::Out;

/// Where it listens, and what it reads.
#[derive(Debug, clap::Args)]
pub struct Args {
    #[command(flatten)]
    place: Where,
    /// Where to listen; port 0 lets the system choose. An address beyond this machine makes every
    /// request need pairing
    #[arg(long, value_name = "ADDRESS:PORT")]
    listen: Vec<SocketAddr>,
    /// A meter to read from the start besides the configuration's, with a name of its own before it;
    /// may be given again. It need not be plugged in yet
    #[arg(long, value_name = "NAME=SPEC")]
    meter: Vec<NamedMeter>,
    #[command(flatten)]
    beforehand: Beforehand,
}

/// `clamp=serial:PATH,frame=NAME`.
#[derive(Debug, Clone)]
struct NamedMeter(Meter);

/// Why that is not understood.
#[derive(Debug, thiserror::Error)]
enum NotNamed {
    #[error("write a name before the meter: NAME=SPEC")]
    NoName,
    #[error(transparent)]
    Spec(#[from] SpecError),
}

impl FromStr for NamedMeter {
    type Err = NotNamed;

    fn from_str(text: &str) -> Result<Self, NotNamed> {
        // A name has no colon, and a spec has one before its first `=`.
        let named = text.split_once('=').filter(|(name, _)| !name.contains(':'));
        let (name, spec) = named.ok_or(NotNamed::NoName)?;
        let spec: Spec = spec.parse()?;
        Ok(NamedMeter(Meter {
            name: name.to_owned(),
            role: String::new(),
            spec,
        }))
    }
}

/// Threads that serve: requests and streams are light, and what is heavy has threads of its own.
const WORKERS: usize = 2;
/// What still runs so long after the daemon has stopped, such as a driver that hangs, is left
/// behind.
const LEFT_BEHIND: Duration = Duration::from_millis(200);

/// Serves until told to stop.
pub fn run(args: Args, verbosity: Verbosity, out: &mut Out) -> Result<Exit, Fail> {
    let flags = Flags {
        listen: args.listen.clone(),
        ..args.place.flags()
    };
    let mut config = load(args.place.config.as_deref(), &flags)?.config;
    config.meters.extend(args.meter.into_iter().map(|m| m.0));
    // The word was checked when it was read.
    let usual = config.log.level.parse().map_err(Fail::input)?;
    log::start(verbosity.level_or(usual), config.log.json);
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(WORKERS)
        .enable_all()
        .build()
        .map_err(|e| Fail::new(Exit::System, format!("no runtime: {e}")))?;
    let mut told = Ok(());
    let ready = |bound: &[SocketAddr]| told = tell(&config, bound, out);
    let options = Options {
        config: config.clone(),
        beforehand: args.beforehand.files(),
        judge: Judge::new(check::document),
        clocks: Clocks::start(),
    };
    let served = runtime.block_on(serve(options, ready));
    runtime.shutdown_timeout(LEFT_BEHIND);
    served.map_err(|e| match e {
        ServeError::Meter(_) => Fail::input(e),
        _ => Fail::new(Exit::System, e),
    })?;
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
        let listens = bound.iter().map(|a| format!(" --listen {a}"));
        return out.line(&format!(
            "To pair a phone: ohmtrail config pair --data {}{}",
            config.data.display(),
            listens.collect::<String>()
        ));
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
