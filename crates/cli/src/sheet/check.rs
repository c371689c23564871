//! `ohmtrail sheet check NAME`: everything that is wrong with a sheet, then what it holds, how much
//! room its table takes, and what could be better.

use std::path::Path;

use ohmtrail_circuit::review::{Review, review};
use ohmtrail_circuit::sheet::{FaultId, Problem, Sheet};
use serde_json::{Value, json};

use super::{load, read};
use crate::boxes;
use crate::exit::Exit;
use crate::fail::Fail;
use crate::out::Out;

/// Checks.
pub fn run(name: &Path, out: &mut Out) -> Result<Exit, Fail> {
    let sheet = match read(name) {
        Ok(sheet) => sheet,
        Err(e) if out.json() => {
            document(name, &e.problems, None, out)?;
            return Ok(Exit::Input);
        }
        Err(_) => load(name)?,
    };
    let review = match review(&sheet) {
        Ok(review) => review,
        Err(e) if out.json() => {
            let problem = Problem {
                file: name.display().to_string(),
                line: 1,
                what: e.to_string(),
                remedy: "ask for less in one sheet".to_owned(),
            };
            document(name, &[problem], None, out)?;
            return Ok(Exit::Input);
        }
        Err(e) => return Err(Fail::input(format!("{}: {e}", name.display()))),
    };
    if out.json() {
        document(name, &[], Some((&sheet, &review)), out)?;
    } else {
        text(&sheet, &review, out)?;
    }
    Ok(Exit::Done)
}

fn names(sheet: &Sheet, faults: &[FaultId]) -> Vec<String> {
    let named = faults.iter().filter_map(|f| sheet.faults.get(*f));
    named.map(|f| f.name.clone()).collect()
}

fn text(sheet: &Sheet, review: &Review, out: &mut Out) -> Result<(), Fail> {
    out.line(&format!(
        "{}: sound; {} parts, {} wires, {} points, {} faults, {} checks",
        sheet.name,
        sheet.parts.len(),
        sheet.wires.len(),
        sheet.points.len(),
        sheet.faults.len(),
        sheet.checks.len()
    ))?;
    out.line(&format!(
        "table: {} sets of faults, {} bytes",
        review.table.hypotheses, review.table.bytes
    ))?;
    out.line(&match boxes::single_faults(sheet) {
        Ok(fit) => format!(
            "probe box: its single faults fit, {} samples each: {} bytes",
            fit.samples, fit.table
        ),
        Err(why) => format!("probe box: its single faults do not fit: {why}"),
    })?;
    for note in &review.notes {
        out.line(&format!("note: {note}"))?;
    }
    for group in &review.alike {
        out.line(&format!(
            "no check tells apart: {}",
            names(sheet, group).join(", ")
        ))?;
    }
    Ok(())
}

fn rows(problems: &[Problem]) -> Vec<Value> {
    problems
        .iter()
        .map(|p| json!({"file": p.file, "line": p.line, "what": p.what, "remedy": p.remedy}))
        .collect()
}

fn document(
    name: &Path,
    problems: &[Problem],
    sound: Option<(&Sheet, &Review)>,
    out: &mut Out,
) -> Result<(), Fail> {
    let mut all = json!({
        "sheet": name.display().to_string(), "sound": sound.is_some(), "problems": rows(problems),
    });
    if let Some((sheet, review)) = sound {
        let alike: Vec<_> = review.alike.iter().map(|g| names(sheet, g)).collect();
        all["notes"] = rows(&review.notes).into();
        all["unseen"] = names(sheet, &review.unseen).into();
        all["alike"] = alike.into();
        all["table"] = json!({
            "hypotheses": review.table.hypotheses, "bytes": review.table.bytes,
        });
        all["probe_box"] = match boxes::single_faults(sheet) {
            Ok(fit) => json!({
                "fits": true, "hypotheses": fit.hypotheses, "bytes": fit.table,
                "samples": fit.samples,
            }),
            Err(why) => json!({ "fits": false, "why": why }),
        };
    }
    out.document(&all)
}
