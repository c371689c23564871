//! `ohmtrail completions SHELL`.

use std::io::Write;

use clap::CommandFactory;
use clap_complete::Shell;
use serde_json::json;

use crate::args::Cli;
use crate::exit::Exit;
use crate::fail::Fail;
use crate::out::Out;

/// Which shell.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The shell
    pub shell: Shell,
}

/// Writes the script.
pub fn run(args: &Args, out: &mut Out) -> Result<Exit, Fail> {
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut Cli::command(), "ohmtrail", &mut script);
    let script = String::from_utf8_lossy(&script);
    if out.json() {
        out.document(&json!({"shell": args.shell.to_string(), "script": script}))?;
    } else {
        out.write_all(script.as_bytes())
            .map_err(|e| Fail::new(Exit::System, e))?;
    }
    Ok(Exit::Done)
}
