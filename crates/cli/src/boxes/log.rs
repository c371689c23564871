//! `ohmtrail box log`: what the box kept, onto disk: each item once and in order, whatever happens
//! to the line, the box or this program meanwhile.
//!
//! The log is lines of JSON. A line is on disk (`fdatasync`) before the box is told that it may
//! forget the item. What was stored is read from the log itself, so a log that lost its end asks for
//! the items again.

use std::fs::{File, OpenOptions};
use std::io::{Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use ohmtrail_link::hello::Identity;
use ohmtrail_link::host::Event;
use ohmtrail_link::message::Item;
use serde_json::{Value, json};

use super::Port;
use super::talk::Talk;
use crate::exit::Exit;
use crate::fail::Fail;
use crate::out::Out;

/// Where to collect to, and for how long.
#[derive(Debug, clap::Args)]
pub struct Args {
    #[command(flatten)]
    port: Port,
    /// The log: made if it is not there, continued if it is
    #[arg(long, value_name = "FILE")]
    into: PathBuf,
    /// Go on collecting until interrupted, instead of ending when the box has nothing more
    #[arg(long)]
    follow: bool,
}

/// The log of one box and ring.
struct Log {
    path: PathBuf,
    file: File,
    who: Identity,
    /// The number of the last item in it.
    stored: u32,
}

fn key(who: &Identity) -> (String, u64) {
    (format!("{:016x}", who.id), u64::from(who.ring))
}

impl Log {
    fn open(path: &Path, who: Identity) -> Result<Log, Fail> {
        let refused =
            |e: std::io::Error| Fail::new(Exit::System, format!("{}: {e}", path.display()));
        let mut file = OpenOptions::new()
            .read(true)
            .append(true)
            .create(true)
            .open(path)
            .map_err(refused)?;
        let mut bytes = Vec::new();
        file.read_to_end(&mut bytes).map_err(refused)?;
        let whole = bytes
            .iter()
            .rposition(|b| *b == b'\n')
            .map_or(0, |at| at + 1);
        let (lines, torn) = bytes.split_at(whole);
        if !torn.is_empty() {
            let mut aside = path.as_os_str().to_owned();
            aside.push(".cut");
            std::fs::write(&aside, torn).map_err(refused)?;
            file.set_len(whole as u64).map_err(refused)?;
            file.seek(SeekFrom::End(0)).map_err(refused)?;
        }
        let mut stored = 0;
        for (n, line) in lines.split(|b| *b == b'\n').enumerate() {
            if line.is_empty() {
                continue;
            }
            let value: Value = serde_json::from_slice(line).map_err(|e| {
                Fail::input(format!(
                    "{}:{}: no line of a box's log ({e}): choose another file",
                    path.display(),
                    n + 1
                ))
            })?;
            let (id, ring) = key(&who);
            if value["box"] == json!(id) && value["ring"] == json!(ring) {
                let number = value["number"].as_u64().and_then(|n| u32::try_from(n).ok());
                stored = stored.max(number.unwrap_or(0));
            }
        }
        Ok(Log {
            path: path.to_owned(),
            file,
            who,
            stored,
        })
    }

    /// Puts an item on disk.
    fn append(&mut self, number: u32, missing: u32, item: &Item) -> Result<Value, Fail> {
        let (id, ring) = key(&self.who);
        let line = json!({
            "box": id, "ring": ring, "number": number, "missing_before": missing, "item": item,
        });
        let mut text = line.to_string();
        text.push('\n');
        self.file
            .write_all(text.as_bytes())
            .and_then(|()| self.file.sync_data())
            .map_err(|e| Fail::new(Exit::System, format!("{}: {e}", self.path.display())))?;
        self.stored = number;
        Ok(line)
    }
}

/// Collects.
pub async fn run(args: &Args, out: &mut Out) -> Result<Exit, Fail> {
    let (mut talk, who) = Talk::to(&args.port.port).await?;
    let mut log = Log::open(&args.into, who)?;
    talk.end.collect(log.stored);
    let before = log.stored;
    let mut lost = 0_u32;
    loop {
        match talk.next().await? {
            Some(Event::Kept {
                number,
                missing,
                item,
            }) => {
                let line = log.append(number, missing, &item)?;
                talk.end.stored(number);
                lost = lost.saturating_add(missing);
                if out.json() {
                    out.json_line(&line)?;
                } else {
                    out.line(&format!("{number:>6}  {}", words(&item)))?;
                }
            }
            Some(Event::Here { newest, .. }) if newest <= log.stored && !args.follow => break,
            Some(Event::Behind { newest }) => {
                return Err(Fail::new(
                    Exit::Damaged,
                    format!(
                        "{}: the box says that its newest item is {newest}, and {} are in the log: \
                         the log is of another box",
                        args.into.display(),
                        log.stored
                    ),
                ));
            }
            // Another box may have been put on the port.
            Some(Event::Greeted(again)) if again.id != who.id || again.ring != who.ring => {
                return Err(Fail::new(
                    Exit::Meter,
                    "another box, or its ring was wiped: collect again",
                ));
            }
            Some(Event::Silent { .. }) if !args.follow => {
                return Err(Fail::new(Exit::Meter, "the box is silent: collect again"));
            }
            _ => {}
        }
    }
    // The last word that all is stored goes out with the next poll.
    let _ = talk.next().await?;
    if !out.json() {
        let told = log.stored.saturating_sub(before).saturating_sub(lost);
        out.line(&format!(
            "{told} items collected into {}",
            args.into.display()
        ))?;
        if lost > 0 {
            out.line(&format!(
                "{lost} items were handed to another log before this one"
            ))?;
        }
    }
    Ok(Exit::Done)
}

fn words(item: &Item) -> String {
    let seconds = item.at.0 as f64 / 1e6;
    format!("start {}, {seconds:.1} s: {}", item.boot, what(item))
}

fn what(item: &Item) -> String {
    use ohmtrail_core::reading::Shown;
    use ohmtrail_link::message::{Took, What};
    let took = |t: &Took| {
        let shown = match t.shown {
            Shown::Value(d) => format!("{}e{}", d.mantissa, d.exponent),
            Shown::Overload => "OL".to_owned(),
            Shown::Blank => "blank".to_owned(),
        };
        format!(
            "step {}: {} {shown} {}, {}",
            t.step,
            t.function.name(),
            t.function.ucum(),
            t.light.words()
        )
    };
    match &item.what {
        What::Began { walk, load } => format!("began {walk:?} on load {load:08x}"),
        What::Took(t) => took(t),
        What::Looked { step, yes } => {
            format!("step {step}: {}", if *yes { "yes" } else { "no" })
        }
        What::Did { step } => format!("step {step}: done"),
        What::Skipped { step } => format!("step {step}: passed over"),
        What::Judged { test, light } => format!("test {}: {}", test + 1, light.words()),
        What::Found { faults, p, .. } => {
            let numbers: Vec<String> = faults
                .iter()
                .filter(|f| **f != u16::MAX)
                .map(|f| format!("{}", f + 1))
                .collect();
            format!(
                "found fault {} of the card, p {p:.3}",
                numbers.join(" and ")
            )
        }
        What::NotFound { unnamed } => if *unnamed {
            "found nothing: what was measured fits no fault of the sheet"
        } else {
            "found nothing: no check that can be made would tell more"
        }
        .to_owned(),
        What::Alarm { took: t } => format!("alarm: {}", took(t)),
        What::Stopped => "stopped by hand".to_owned(),
    }
}
