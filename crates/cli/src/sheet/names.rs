//! The names of a sheet and what they mean: enough for a program that never saw the unit to
//! answer the isolation dialogue.

use ohmtrail_circuit::sheet::{Heat, Question, Sheet};
use serde_json::{Value, json};

use crate::exit::Exit;
use crate::fail::Fail;
use crate::out::Out;

/// Prints rows: a JSON document with the rows under `key`, or a line of name and words each.
fn print(
    sheet: &Sheet,
    key: &'static str,
    rows: Vec<(String, String, Value)>,
    out: &mut Out,
) -> Result<Exit, Fail> {
    if out.json() {
        let rows: Vec<Value> = rows.into_iter().map(|(_, _, json)| json).collect();
        out.document(&json!({"sheet": sheet.name, "title": sheet.title, key: rows}))?;
    } else {
        let width = rows.iter().map(|(name, ..)| name.chars().count()).max();
        let width = width.unwrap_or(0);
        for (name, words, _) in rows {
            out.line(&format!("{name:width$}  {words}"))?;
        }
    }
    Ok(Exit::Done)
}

/// Every point.
pub fn points(sheet: &Sheet, out: &mut Out) -> Result<Exit, Fail> {
    let rows = sheet.points.iter().enumerate().map(|(id, (name, words))| {
        let wire = sheet.wire_of_end(id);
        let of = name.split('.').next().unwrap_or_default();
        let mut json = json!({
            "name": name, "words": words,
            "kind": if wire.is_some() { "wire-end" } else { "terminal" }, "of": of,
        });
        if let Some(wire) = wire {
            let end = usize::from(wire.ends[1] == id);
            json["at"] = sheet.point_name(wire.terminals[end]).into();
            json["mark"] = wire.mark.as_str().into();
        }
        (name.clone(), words.clone(), json)
    });
    print(sheet, "points", rows.collect(), out)
}

/// Every fault.
pub fn faults(sheet: &Sheet, out: &mut Out) -> Result<Exit, Fail> {
    let rows = sheet.faults.iter().enumerate().map(|(id, fault)| {
        let causes: Vec<Value> = sheet
            .caused
            .iter()
            .filter(|c| c.by == id)
            .filter_map(|c| Some(json!({"fault": sheet.faults.get(c.fault)?.name, "p": c.p})))
            .collect();
        let of = fault.name.split('.').next().unwrap_or_default();
        let json = json!({
            "name": fault.name, "words": fault.words, "of": of,
            "prior_weight": fault.weight, "can_cause": causes,
        });
        (fault.name.clone(), fault.words.clone(), json)
    });
    print(sheet, "faults", rows.collect(), out)
}

fn power(power: Option<bool>) -> &'static str {
    match power {
        Some(true) => "on",
        Some(false) => "off",
        None => "either",
    }
}

/// Every look.
pub fn looks(sheet: &Sheet, out: &mut Out) -> Result<Exit, Fail> {
    let rows = sheet.checks.iter().filter_map(|check| {
        let Question::Look { part, look } = &check.question else {
            return None;
        };
        let name = sheet.look_name(*part, look);
        let of = sheet.parts.get(*part)?;
        let words = format!("{}: {}", of.words, look.words);
        let json = json!({
            "name": name, "words": words, "of": of.name, "answers": ["yes", "no"],
            "power": power(check.power), "minutes": check.minutes,
        });
        Some((name, words, json))
    });
    print(sheet, "looks", rows.collect(), out)
}

/// Every measurement.
pub fn checks(sheet: &Sheet, out: &mut Out) -> Result<Exit, Fail> {
    let mut number = 0;
    let rows = sheet.checks.iter().filter_map(|check| {
        let Question::Measure {
            function, points, ..
        } = &check.question
        else {
            return None;
        };
        let [a, b] = points.map(|p| sheet.point_name(p).to_owned());
        let lifted: Vec<&str> = check
            .lift
            .and_then(|l| sheet.lifts.get(l))
            .map(|l| l.ends.iter().map(|e| sheet.point_name(*e)).collect())
            .unwrap_or_default();
        let motors = match check.heat {
            Some(Heat::Cold) => "cold",
            Some(Heat::AsFound) => "as-found",
            None => "either",
        };
        number += 1;
        let name = format!("{} {a} {b}", function.name());
        let mut words = format!("power {}", power(check.power));
        if !lifted.is_empty() {
            words.push_str(&format!(", lifted {}", lifted.join(" ")));
        }
        if motors == "cold" {
            words.push_str(", motors cold");
        }
        words.push_str(&format!(": {}", check.why));
        let json = json!({
            "number": number, "function": function.name(), "points": [a, b], "power": power(check.power),
            "lifted": lifted, "motors": motors, "minutes": check.minutes, "why": check.why,
        });
        Some((name, words, json))
    });
    print(sheet, "checks", rows.collect(), out)
}

/// Every complaint.
pub fn complaints(sheet: &Sheet, out: &mut Out) -> Result<Exit, Fail> {
    let rows = sheet.complaints.iter().map(|complaint| {
        let json = json!({"name": complaint.name, "words": complaint.words});
        (complaint.name.clone(), complaint.words.clone(), json)
    });
    print(sheet, "complaints", rows.collect(), out)
}
