//! `ohmtrail fits visit`: the parts that a finding names.

use std::path::PathBuf;

use ohmtrail_circuit::sheet::Sheet;
use ohmtrail_stock::{PlateValue, failed, offers};
use ohmtrail_visit::{Book, Record};
use serde_json::json;

use super::{exit, read, say};
use crate::ended::Which;
use crate::exit::Exit;
use crate::fail::Fail;
use crate::out::Out;

/// Which visit, which stock, and what was read since.
#[derive(Debug, clap::Args)]
pub struct Args {
    #[command(flatten)]
    which: Which,
    /// The stock, a CSV (docs/fits.md)
    #[arg(long, value_name = "FILE")]
    stock: PathBuf,
    /// What a plate says that was not read in the visit, such as contactor.coil=24V; may be repeated
    #[arg(long, value_name = "PART.FIELD=VALUE")]
    plate: Vec<String>,
    /// The frequency that the unit works at: asked of the parts whose plate was not read for it
    #[arg(long, value_name = "HERTZ")]
    hertz: Option<String>,
}

/// Looks for each part of the finding.
pub fn run(args: &Args, out: &mut Out) -> Result<Exit, Fail> {
    let stock = read(&args.stock)?;
    let ended = args.which.read()?;
    let book = Book::new(&ended.bundle).map_err(Fail::input)?;
    let record = Record::of(&book, &ended.entries);
    let trail = args.which.trail.display();
    let finding = record.finding.as_ref().filter(|f| !f.faults.is_empty());
    let finding = finding.ok_or_else(|| {
        Fail::input(format!(
            "{trail}: the visit names no failed part; there is nothing to replace"
        ))
    })?;
    let sheet = &ended.bundle.sheet;
    let mut plates: Vec<PlateValue> = record
        .plates
        .iter()
        .map(|p| PlateValue {
            part: p.part.clone(),
            key: p.key.clone(),
            text: format!("{} {}", p.value, p.unit).trim().to_owned(),
        })
        .collect();
    for text in &args.plate {
        plates.push(plate(text, sheet)?);
    }
    let (mut parts, mut others) = (Vec::new(), Vec::new());
    for name in &finding.faults {
        match owner(sheet, name) {
            Some(part) => parts.push(part),
            None => others.push(name.clone()),
        }
    }
    let mut worst = Exit::Done;
    let mut documents = Vec::new();
    for part in failed(sheet, &parts, &plates, args.hertz.as_deref()) {
        match part {
            Ok(part) => {
                let found = offers(&part.wanted, &stock);
                worst = worse(worst, exit(&found));
                if out.json() {
                    documents.push(say::json(&part, &found));
                } else {
                    say::text(&part, &found, out)?;
                }
            }
            Err(why) => return Err(Fail::input(why)),
        }
    }
    if !others.is_empty() {
        worst = worse(worst, Exit::Open);
    }
    if out.json() {
        out.document(&json!({
            "parts": documents,
            "without_rule": others,
            "alike": finding.alike,
            "cautions": say::CAUTIONS,
        }))?;
    } else {
        for other in &others {
            out.line(&format!("no rule: {other}"))?;
        }
        for alike in &finding.alike {
            out.line(&format!(
                "nothing told the finding from {}: be sure of it before a part is bought",
                alike.join(" and ")
            ))?;
        }
        say::cautions(out)?;
    }
    Ok(worst)
}

/// The part whose fault it is; of a wire that is a part's own lead, that part.
fn owner(sheet: &Sheet, name: &str) -> Option<usize> {
    let fault = sheet.faults.iter().find(|f| f.name == name)?;
    match fault.owner.checked_sub(sheet.parts.len()) {
        None => Some(fault.owner),
        Some(wire) => sheet.wires.get(wire)?.lead_of,
    }
}

fn plate(text: &str, sheet: &Sheet) -> Result<PlateValue, Fail> {
    let wrong = |what: &str| Fail::usage(format!("--plate {text}: {what}"));
    let (name, value) = text
        .split_once('=')
        .ok_or_else(|| wrong("write it as PART.FIELD=VALUE"))?;
    let (part, key) = name
        .split_once('.')
        .ok_or_else(|| wrong("write it as PART.FIELD=VALUE"))?;
    if !sheet.parts.iter().any(|p| p.name == part) {
        return Err(wrong(&format!(
            "the sheet {} has no part {part}",
            sheet.name
        )));
    }
    Ok(PlateValue {
        part: part.to_owned(),
        key: key.to_owned(),
        text: value.to_owned(),
    })
}

/// Nothing fits before something may before all is found.
fn worse(a: Exit, b: Exit) -> Exit {
    let rank = |e: Exit| match e {
        Exit::Done => 0,
        Exit::Open => 1,
        _ => 2,
    };
    if rank(b) > rank(a) { b } else { a }
}
