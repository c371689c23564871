//! `ohmtrail paper`: the tag and the write-up, made from a trail.

use std::path::PathBuf;

use clap::ValueEnum;
use ohmtrail_paper::{tag, write_up};
use ohmtrail_trail::{Body, read, verify};
use ohmtrail_visit::{Book, Record, SheetBundle};
use serde_json::json;

use crate::exit::Exit;
use crate::fail::Fail;
use crate::out::Out;
use crate::sheet;

/// Which paper, of which trail.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Which paper
    #[arg(value_enum)]
    paper: Paper,
    /// The trail
    #[arg(value_name = "FILE")]
    trail: PathBuf,
    /// The unit's sheet, where the trail's is not built in
    #[arg(long, value_name = "SHEET")]
    sheet: Option<PathBuf>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Paper {
    /// The card that hangs in the unit
    Tag,
    /// What was reported, measured and found, for approval
    WriteUp,
}

/// Writes it to standard output. A damaged trail is not made into a paper.
pub fn run(args: &Args, out: &mut Out) -> Result<Exit, Fail> {
    let report = verify(&args.trail)?;
    if !report.is_sound() {
        return Err(Fail::new(
            Exit::Damaged,
            format!(
                "{0}: the trail is damaged; see `ohmtrail trail verify {0}`",
                args.trail.display()
            ),
        ));
    }
    let reader = read(&args.trail)?;
    let mut entries = Vec::new();
    for record in reader {
        let record = record.map_err(|damage| Fail::new(Exit::Damaged, damage))?;
        if let Body::Entry(entry) = record.body {
            entries.push(entry);
        }
    }
    let Some(ohmtrail_trail::event::Event::Opened(opened)) = entries.first().map(|e| &e.event)
    else {
        return Err(Fail::new(
            Exit::Damaged,
            "the trail does not begin with a visit",
        ));
    };
    let name = args
        .sheet
        .clone()
        .unwrap_or_else(|| PathBuf::from(&opened.sheet));
    let sheet = sheet::load(&name)?;
    if sheet.hash != opened.sheet_hash {
        return Err(Fail::input(format!(
            "the visit was made with another version of the sheet \"{}\"; name that one with --sheet",
            opened.sheet
        )));
    }
    let bundle = SheetBundle::new(sheet).map_err(Fail::input)?;
    let book = Book::new(&bundle).map_err(Fail::input)?;
    let record = Record::of(&book, &entries);
    let text = match args.paper {
        Paper::Tag => tag(&book, &record, &report.head),
        Paper::WriteUp => write_up(
            &book,
            &record,
            &report.head,
            &args.trail.display().to_string(),
        ),
    };
    if out.json() {
        out.document(&json!({ "text": text, "head": report.head.to_string() }))?;
    } else {
        out.line(text.trim_end())?;
    }
    Ok(Exit::Done)
}
