//! `ohmtrail trail …`: is a trail as it was written, what does it say, and its exports.

mod words;

use std::fs::File;
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};

use clap::{Subcommand, ValueEnum};
use ohmtrail_trail::{Body, Damage, Hash, export_csv, export_jsonl, locate, read, rfc3339, verify};
use serde_json::json;

use crate::exit::Exit;
use crate::fail::Fail;
use crate::out::Out;

/// What to do with which trail.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// What to do.
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Format {
    /// A row for each take
    Csv,
    /// Everything, a line for each record
    Jsonl,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Say whether a trail is as it was written
    Verify {
        /// The trail
        file: PathBuf,
        /// The head hash on a paper: say whether the trail holds it
        #[arg(long, value_name = "HASH")]
        head: Option<Hash>,
    },
    /// Tell what happened, an event a line
    Show {
        /// The trail
        file: PathBuf,
    },
    /// Hand the trail to other programs
    Export {
        /// The trail
        file: PathBuf,
        /// In which form
        #[arg(long, value_enum, default_value = "csv")]
        format: Format,
        /// Where to; without it, standard output
        #[arg(long, short)]
        output: Option<PathBuf>,
    },
}

/// Runs it.
pub fn run(args: &Args, out: &mut Out) -> Result<Exit, Fail> {
    match &args.what {
        What::Verify { file, head } => verified(file, head.as_ref(), out),
        What::Show { file } if out.json() => {
            let damage = export_jsonl(file, &mut *out)?;
            Ok(exit(&damage))
        }
        What::Show { file } => show(file, out),
        What::Export {
            file,
            format,
            output,
        } => export(file, *format, output.as_deref(), out),
    }
}

fn exit(damage: &[Damage]) -> Exit {
    for found in damage {
        tracing::error!("{found}");
    }
    if damage.is_empty() {
        Exit::Done
    } else {
        Exit::Damaged
    }
}

fn verified(file: &Path, head: Option<&Hash>, out: &mut Out) -> Result<Exit, Fail> {
    let report = verify(file)?;
    let located = match head {
        Some(hash) => Some(locate(file, hash)?),
        None => None,
    };
    if out.json() {
        let damage: Vec<_> = report
            .damage
            .iter()
            .map(|d| {
                json!({
                    "record": d.record, "offset": d.offset, "bytes": d.bytes,
                    "words": d.to_string(),
                })
            })
            .collect();
        let mut document = json!({
            "trail": file.display().to_string(),
            "sound": report.is_sound(),
            "records": report.records,
            "head": report.head.to_string(),
            "previous": report.previous.map(|h| h.to_string()),
            "damage": damage,
            "torn_tail": report.torn_tail,
            "newer_records": report.skipped.len(),
            "cuts": report.cuts,
        });
        if let Some(located) = located {
            document["head_asked"] = json!({"found": located.is_some(), "record": located});
        }
        out.document(&document)?;
    } else {
        let sound = if report.is_sound() {
            "sound"
        } else {
            "damaged"
        };
        out.line(&format!("{}: {sound}", file.display()))?;
        out.line(&format!("  {} whole records", report.records))?;
        out.line(&format!("  head {}", report.head))?;
        if let Some(previous) = report.previous {
            out.line(&format!("  trail before it {previous}"))?;
        }
        for damage in &report.damage {
            out.line(&format!("  {damage}"))?;
        }
        if report.torn_tail > 0 {
            out.line(&format!(
                "  {} bytes after the last whole record: an append that was cut off; opening the \
                 trail to go on cuts them back and keeps them aside",
                report.torn_tail
            ))?;
        }
        for cut in &report.cuts {
            out.line(&format!(
                "  {} bytes were cut back earlier, kept in .cut-{}",
                cut.bytes, cut.number
            ))?;
        }
        if !report.skipped.is_empty() {
            out.line(&format!(
                "  {} records of a newer program, passed over",
                report.skipped.len()
            ))?;
        }
        match located {
            Some(Some(record)) => out.line(&format!(
                "  the head asked for is that of record {record}: unchanged up to there"
            ))?,
            Some(None) => out.line("  the head asked for is not in this trail, or not unbroken")?,
            None => {}
        }
    }
    let proven = report.is_sound() && !matches!(located, Some(None));
    Ok(if proven { Exit::Done } else { Exit::Damaged })
}

fn show(file: &Path, out: &mut Out) -> Result<Exit, Fail> {
    let mut damage = Vec::new();
    for item in read(file)? {
        let (number, text) = match item {
            Ok(record) => {
                let text = match &record.body {
                    Body::Entry(entry) => {
                        let at = rfc3339(entry.at.wall_us).unwrap_or_else(|| "no time".into());
                        format!("{at}  {}", words::event(&entry.event))
                    }
                    Body::Cut(cut) => format!(
                        "{} bytes of a torn end were cut back, kept in .cut-{}",
                        cut.bytes, cut.number
                    ),
                    Body::Unknown { kind, version } => {
                        format!("of a newer program: kind {kind}, version {version}")
                    }
                    _ => "of a newer program".to_owned(),
                };
                (record.number, text)
            }
            Err(found) => {
                let row = (found.record, format!("DAMAGED: {found}"));
                damage.push(found);
                row
            }
        };
        out.line(&format!("{number:5}  {}", text.replace('\n', "\n       ")))?;
    }
    Ok(exit(&damage))
}

fn export(file: &Path, format: Format, to: Option<&Path>, out: &mut Out) -> Result<Exit, Fail> {
    let Some(path) = to else {
        let damage = match format {
            Format::Csv => export_csv(file, &mut *out)?,
            Format::Jsonl => export_jsonl(file, &mut *out)?,
        };
        return Ok(exit(&damage));
    };
    let refused = |e: std::io::Error| {
        Fail::new(
            Exit::System,
            format!("{}: cannot be written: {e}", path.display()),
        )
    };
    // The trail is looked at first: a file that is none leaves no empty export behind.
    drop(read(file)?);
    let mut to = BufWriter::new(File::create_new(path).map_err(refused)?);
    let damage = match format {
        Format::Csv => export_csv(file, &mut to)?,
        Format::Jsonl => export_jsonl(file, &mut to)?,
    };
    to.flush().map_err(refused)?;
    if out.json() {
        out.document(&json!({
            "trail": file.display().to_string(), "file": path.display().to_string(),
            "damage": damage.len(),
        }))?;
    }
    Ok(exit(&damage))
}
