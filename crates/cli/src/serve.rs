//! `ohmtrail serve`: the daemon.

use std::net::SocketAddr;

use ohmtrail_daemon::{Options, serve};
use serde_json::json;

use crate::exit::Exit;
use crate::fail::Fail;
use crate::out::Out;

/// Where it listens.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Where to listen; port 0 lets the system choose
    #[arg(long, value_name = "ADDRESS:PORT", default_value = "127.0.0.1:8740")]
    listen: SocketAddr,
}

/// Serves until told to stop.
pub fn run(args: &Args, out: &mut Out) -> Result<Exit, Fail> {
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .build()
        .map_err(|e| Fail::new(Exit::System, format!("no runtime: {e}")))?;
    let options = Options {
        listen: args.listen,
    };
    let mut told = Ok(());
    let served = runtime.block_on(serve(options, |address| told = tell(address, out)));
    served.map_err(|e| Fail::new(Exit::System, e))?;
    told?;
    Ok(Exit::Done)
}

/// Says where it is served, once it is.
fn tell(address: SocketAddr, out: &mut Out) -> Result<(), Fail> {
    if out.json() {
        out.json_line(&json!({ "serving": format!("http://{address}") }))?;
    } else {
        out.line(&format!("Serving on http://{address}"))?;
    }
    out.finish()
}
