//! `ohmtrail config`: the daemon's configuration, and who may use the daemon.

mod who;

use std::path::{Path, PathBuf};

use clap::Subcommand;
use ohmtrail_daemon::config::{self, ConfigError, Flags, Loaded, Places};
use serde_json::json;

use crate::exit::Exit;
use crate::fail::Fail;
use crate::out::Out;

/// Which configuration, and which data folder.
#[derive(Debug, clap::Args)]
pub struct Where {
    /// The configuration file; without it the user's, then the system's, then none
    #[arg(long, value_name = "FILE")]
    pub config: Option<PathBuf>,
    /// The folder of visits, photos and sessions, in place of the configuration's
    #[arg(long, value_name = "FOLDER")]
    pub data: Option<PathBuf>,
}

impl Where {
    /// What it says in place of the file.
    pub fn flags(&self) -> Flags {
        Flags {
            data: self.data.clone(),
            listen: Vec::new(),
        }
    }
}

/// What to do with it.
#[derive(Debug, clap::Args)]
pub struct Args {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Check a configuration file, and say everything that is wrong with it
    Check {
        /// The file; without it the one that the daemon would use
        file: Option<PathBuf>,
    },
    /// Show the configuration that holds, and where each value comes from
    Show(Where),
    /// Make a pairing code for a phone, in place of one that is open
    Pair(who::Pair),
    /// List who is paired
    Sessions(Where),
    /// End a session, at once
    Revoke(who::Revoke),
}

/// Runs it.
pub fn run(args: &Args, out: &mut Out) -> Result<Exit, Fail> {
    match &args.what {
        What::Check { file } => check(file.as_deref(), out),
        What::Show(place) => show(place, out),
        What::Pair(args) => who::pair(args, out),
        What::Sessions(place) => who::sessions(place, out),
        What::Revoke(args) => who::revoke(args, out),
    }
}

/// The configuration that holds.
pub fn load(file: Option<&Path>, flags: &Flags) -> Result<Loaded, Fail> {
    Loaded::load(file, flags, &Places::of_this_process()).map_err(|e| match e {
        ConfigError::Unreadable { .. } | ConfigError::Wrong(_) => Fail::input(e),
        e => Fail::usage(e),
    })
}

fn check(file: Option<&Path>, out: &mut Out) -> Result<Exit, Fail> {
    let loaded = Loaded::load(file, &Flags::default(), &Places::of_this_process());
    match loaded {
        Ok(loaded) => {
            let name = loaded.file.map(|f| f.display().to_string());
            if out.json() {
                out.document(&json!({"file": name, "problems": []}))?;
            } else {
                let name = name.unwrap_or_else(|| "no file is there".to_owned());
                out.line(&format!("{name}: nothing is wrong"))?;
            }
            Ok(Exit::Done)
        }
        Err(ConfigError::Wrong(problems)) => {
            if out.json() {
                let list = problems.0.iter().map(|p| {
                    json!({
                        "file": p.file, "line": p.line, "key": p.key, "what": p.what,
                        "remedy": p.remedy,
                    })
                });
                let list: Vec<_> = list.collect();
                let file = problems.0.first().map(|p| p.file.as_str());
                out.document(&json!({"file": file, "problems": list}))?;
            } else {
                out.line(&problems.to_string())?;
            }
            Ok(Exit::Input)
        }
        Err(e) => Err(Fail::input(e)),
    }
}

fn show(place: &Where, out: &mut Out) -> Result<Exit, Fail> {
    let loaded = load(place.config.as_deref(), &place.flags())?;
    if out.json() {
        out.document(&config::to_json(&loaded))?;
    } else {
        let file = loaded.file.as_ref();
        let file = file.map_or_else(|| "none".to_owned(), |f| f.display().to_string());
        out.line(&format!("# File: {file}"))?;
        out.line(config::to_toml(&loaded).trim_end())?;
    }
    Ok(Exit::Done)
}
