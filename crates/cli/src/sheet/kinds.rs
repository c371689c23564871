//! `ohmtrail sheet kinds [KIND]`: what a part can be.

use ohmtrail_circuit::parts::{KINDS, Kind, kind};
use ohmtrail_circuit::sheet::unit_words;
use serde_json::{Value, json};

use crate::exit::Exit;
use crate::fail::Fail;
use crate::out::Out;

/// Lists the kinds, or all of one.
pub fn run(name: Option<&str>, out: &mut Out) -> Result<Exit, Fail> {
    let Some(name) = name else {
        if out.json() {
            let kinds: Vec<Value> = KINDS.iter().map(|k| document(k)).collect();
            out.document(&json!({ "kinds": kinds }))?;
            return Ok(Exit::Done);
        }
        let width = KINDS.iter().map(|k| k.name.len()).max().unwrap_or(0);
        for k in KINDS {
            out.line(&format!("{:width$}  {}", k.name, k.about))?;
        }
        return Ok(Exit::Done);
    };
    let known = kind(name).ok_or_else(|| {
        Fail::usage(format!(
            "\"{name}\" is not a kind of part; `ohmtrail sheet kinds` lists them"
        ))
    })?;
    if out.json() {
        out.document(&document(known))?;
    } else {
        all_of(known, out)?;
    }
    Ok(Exit::Done)
}

fn all_of(k: &Kind, out: &mut Out) -> Result<(), Fail> {
    out.line(&format!("{}: {}", k.name, k.about))?;
    for t in k.terminals {
        let bonded = if t.bonded { ", bonded inside" } else { "" };
        out.line(&format!("terminal {}: {}{bonded}", t.name, t.words))?;
    }
    for p in k.params {
        let default = match p.default {
            Some(value) => format!("left out: {value}"),
            None => "must be given".to_owned(),
        };
        let unit = unit_words(p.unit);
        out.line(&format!(
            "value {}: {}, in {unit}; {default}",
            p.name, p.words
        ))?;
    }
    for f in k.faults {
        out.line(&format!("fault {}: {}", f.name, f.words))?;
    }
    for l in k.looks {
        out.line(&format!("look {}: {}", l.name, l.words))?;
    }
    Ok(())
}

fn document(k: &Kind) -> Value {
    let named = |name: &str, words: &str| json!({ "name": name, "words": words });
    let terminals: Vec<Value> = k
        .terminals
        .iter()
        .map(|t| json!({ "name": t.name, "words": t.words, "bonded": t.bonded }))
        .collect();
    let values: Vec<Value> = k
        .params
        .iter()
        .map(|p| {
            json!({
                "name": p.name, "words": p.words, "unit": unit_words(p.unit), "default": p.default,
                "spread": p.spread,
            })
        })
        .collect();
    json!({
        "name": k.name, "words": k.about, "terminals": terminals, "values": values,
        "faults": k.faults.iter().map(|f| named(f.name, f.words)).collect::<Vec<_>>(),
        "looks": k.looks.iter().map(|l| named(l.name, l.words)).collect::<Vec<_>>(),
    })
}
