//! `ohmtrail box …`: loads a probe box, says how it is, and collects what it kept.

mod card;
mod fit;
mod load;
mod log;
mod talk;

use std::path::PathBuf;

use clap::Subcommand;
use ohmtrail_link::message::{Answer, Request, SelfTest, Status, Walk};
use serde_json::json;

use crate::exit::Exit;
use crate::fail::Fail;
use crate::out::Out;
pub use fit::single_faults;
use talk::Talk;

/// What to do with the box.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// What to do.
    #[command(subcommand)]
    what: What,
}

/// Where the box is.
#[derive(Debug, clap::Args)]
struct Port {
    /// The serial port that the box is on
    #[arg(long, value_name = "PATH")]
    port: PathBuf,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Load tests of parts and a sheet's table, and write the card that goes with them
    Load(load::Args),
    /// How the box is: what is loaded, what it holds, what it does
    Status(Port),
    /// Collect what the box kept, each item once and in order
    Log(log::Args),
    /// Have the box look into itself
    Selftest(Port),
}

/// Runs it.
pub fn run(args: Args, out: &mut Out) -> Result<Exit, Fail> {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|e| Fail::new(Exit::System, format!("no runtime: {e}")))?;
    match args.what {
        // The card needs no box.
        What::Load(args) => {
            let made = load::make(&args)?;
            runtime.block_on(load::run(&args, &made, out))
        }
        What::Status(port) => runtime.block_on(status(&port, out)),
        What::Log(args) => runtime.block_on(log::run(&args, out)),
        What::Selftest(port) => runtime.block_on(self_test(&port, out)),
    }
}

async fn status(port: &Port, out: &mut Out) -> Result<Exit, Fail> {
    let (mut talk, who) = Talk::to(&port.port).await?;
    let Answer::Status(status) = talk.ask(Request::Status).await? else {
        return Err(talk.unexpected());
    };
    let [major, minor, patch] = who.firmware;
    if out.json() {
        out.document(&json!({
            "box": format!("{:016x}", who.id), "ring": who.ring,
            "firmware": format!("{major}.{minor}.{patch}"), "status": status,
        }))?;
        return Ok(Exit::Done);
    }
    out.line(&format!(
        "box {:016x}, firmware {major}.{minor}.{patch}, start {}",
        who.id, status.boot
    ))?;
    out.line(&loaded(&status))?;
    let held = (status.newest + 1).saturating_sub(status.oldest);
    out.line(&format!(
        "holds {held} items up to number {}, has room for {} more at least",
        status.newest, status.room
    ))?;
    let does = match status.walk {
        Walk::Meter => "is a meter".to_owned(),
        Walk::Test(test) => format!("is at test {}", test + 1),
        Walk::Isolation => "isolates".to_owned(),
    };
    out.line(&format!(
        "{does}, step {}, lights: {}",
        status.step,
        status.light.words()
    ))?;
    let [deepest, most] = status.stack;
    out.line(&format!(
        "{} damaged frames; stack at most {deepest} of {most} bytes",
        status.damaged
    ))?;
    Ok(Exit::Done)
}

fn loaded(status: &Status) -> String {
    let Some(load) = status.load else {
        return "nothing is loaded".to_owned();
    };
    let sheet = match load.sheet {
        Some(hash) => {
            let hex: String = hash.iter().map(|b| format!("{b:02x}")).collect();
            format!("the table of sheet {hex}…")
        }
        None => "no table".to_owned(),
    };
    format!(
        "loaded: {} bytes, check {:08x}, {} tests of parts, {sheet}",
        load.bytes, load.crc, load.tests
    )
}

async fn self_test(port: &Port, out: &mut Out) -> Result<Exit, Fail> {
    let (mut talk, _) = Talk::to(&port.port).await?;
    let Answer::SelfTest(found) = talk.ask(Request::SelfTest).await? else {
        return Err(talk.unexpected());
    };
    let SelfTest {
        arithmetic,
        load,
        ring,
        stack,
    } = found;
    let parts = [
        (
            "arithmetic",
            arithmetic,
            "a known value is judged as it should be",
        ),
        ("load", load, "what is loaded has its check"),
        ("ring", ring, "every kept item can be read"),
        ("stack", stack, "the stack keeps an eighth of its room"),
    ];
    if out.json() {
        out.document(&json!({"selftest": found, "sound": found.is_sound()}))?;
    } else {
        for (name, good, what) in parts {
            let word = if good { "pass" } else { "fail" };
            out.line(&format!("{name}  {word}  {what}"))?;
        }
    }
    Ok(if found.is_sound() {
        Exit::Done
    } else {
        Exit::Fails
    })
}
