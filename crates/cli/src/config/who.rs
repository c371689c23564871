//! `ohmtrail config pair`, `sessions` and `revoke`: beside a daemon that runs, or before it starts.
//! Who may write to the data folder may do these.

use std::io;
use std::net::SocketAddr;
use std::time::SystemTime;

use ohmtrail_daemon::auth::console;
use ohmtrail_daemon::auth::pairing::{Moment, Pairing};
use ohmtrail_daemon::auth::sessions::Sessions;
use ohmtrail_daemon::config::{Config, Flags};
use serde_json::json;
use time::OffsetDateTime;
use time::format_description::well_known::Rfc3339;

use super::{Where, load};
use crate::exit::Exit;
use crate::fail::Fail;
use crate::out::Out;

/// For which daemon a code is.
#[derive(Debug, clap::Args)]
pub struct Pair {
    #[command(flatten)]
    place: Where,
    /// Where the daemon listens, if that was said on its command line; may be given again
    #[arg(long, value_name = "ADDRESS:PORT")]
    listen: Vec<SocketAddr>,
}

/// Which sessions to end.
#[derive(Debug, clap::Args)]
pub struct Revoke {
    #[command(flatten)]
    place: Where,
    /// The session's id, as `ohmtrail config sessions` lists it
    #[arg(required_unless_present = "all", conflicts_with = "all")]
    id: Option<String>,
    /// End all of them
    #[arg(long)]
    all: bool,
}

fn config(place: &Where) -> Result<Config, Fail> {
    Ok(load(place.config.as_deref(), &place.flags())?.config)
}

fn of(config: &Config) -> Sessions {
    Sessions::of(&config.data, config.session_lasts)
}

fn system(config: &Config) -> impl Fn(io::Error) -> Fail {
    |e| Fail::new(Exit::System, format!("{}: {e}", config.data.display()))
}

/// Makes a code and shows it.
pub fn pair(args: &Pair, out: &mut Out) -> Result<Exit, Fail> {
    let flags = Flags {
        listen: args.listen.clone(),
        ..args.place.flags()
    };
    let config = load(args.place.config.as_deref(), &flags)?.config;
    let pairing = Pairing::of(&config.data, config.code_lasts, config.code_attempts);
    let code = Moment::now().and_then(|now| pairing.open(now));
    let code = code.map_err(system(&config))?;
    let bases = console::bases(&config.listen, &config.listen.addresses);
    let lasts = config.code_lasts.as_secs();
    if out.json() {
        let links: Vec<String> = bases
            .iter()
            .map(|base| console::link(base, &code))
            .collect();
        out.document(&json!({"code": code.reveal(), "seconds": lasts, "links": links}))?;
    } else {
        out.line(console::show(&bases, &code, lasts).trim_end_matches('\n'))?;
    }
    Ok(Exit::Done)
}

/// Lists who is paired.
pub fn sessions(place: &Where, out: &mut Out) -> Result<Exit, Fail> {
    let config = config(place)?;
    let sessions = of(&config).list(SystemTime::now());
    let sessions = sessions.map_err(system(&config))?;
    if out.json() {
        out.document(&json!({"sessions": sessions}))?;
        return Ok(Exit::Done);
    }
    if sessions.is_empty() {
        out.line("nobody is paired")?;
    }
    for session in sessions {
        out.line(&format!(
            "{}  {}  made {}, last used {}, ends {}",
            session.id,
            session.name,
            when(session.made),
            when(session.used),
            when(session.ends)
        ))?;
    }
    Ok(Exit::Done)
}

/// Ends one, or all.
pub fn revoke(args: &Revoke, out: &mut Out) -> Result<Exit, Fail> {
    let config = config(&args.place)?;
    let sessions = of(&config);
    let ended = match &args.id {
        None => sessions.end_all().map_err(system(&config))?,
        Some(id) if sessions.end(id).map_err(system(&config))? => 1,
        Some(id) => {
            let why = format!("{id}: there is no such session: see `ohmtrail config sessions`");
            return Err(Fail::input(why));
        }
    };
    if out.json() {
        out.document(&json!({"ended": ended}))?;
    } else {
        out.line(&format!("sessions ended: {ended}"))?;
    }
    Ok(Exit::Done)
}

fn when(seconds: u64) -> String {
    let at = i64::try_from(seconds).map(OffsetDateTime::from_unix_timestamp);
    let text = at
        .ok()
        .and_then(Result::ok)
        .and_then(|at| at.format(&Rfc3339).ok());
    text.unwrap_or_else(|| seconds.to_string())
}
