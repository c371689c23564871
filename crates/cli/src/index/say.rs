//! Units, visits, what is said at the door, and statistics, as text and as JSON.

use std::fs;
use std::path::Path;

use ohmtrail_index::{Behind, KindOfPart, Share, Unit, Visited};
use ohmtrail_trail::rfc3339;
use serde_json::{Value, json};

use crate::exit::Exit;
use crate::fail::Fail;
use crate::out::Out;

/// The day of a moment, by the calendar in UTC.
pub fn day(us: i64) -> String {
    let text = rfc3339(us).unwrap_or_else(|| "no date".to_owned());
    text.split('T').next().unwrap_or_default().to_owned()
}

/// A path as it is seen from here, if it is under this folder.
pub fn near(path: &Path) -> String {
    let here = std::env::current_dir().and_then(fs::canonicalize);
    let near = here
        .ok()
        .and_then(|here| path.strip_prefix(here).ok().map(Path::to_path_buf));
    near.as_deref().unwrap_or(path).display().to_string()
}

/// A share in percent, with as many digits as it bears.
fn percent(share: f64) -> String {
    let percent = 100.0 * share;
    if percent < 10.0 {
        format!("{percent:.1}")
    } else {
        format!("{percent:.0}")
    }
}

/// `ohmtrail index units`.
pub fn units(units: &[Unit], (all, visits): (i64, i64), out: &mut Out) -> Result<Exit, Fail> {
    if out.json() {
        let list: Vec<Value> = units
            .iter()
            .map(|u| {
                json!({
                    "unit": u.unit, "simulated": u.simulated, "sheet": u.sheet, "visits": u.visits,
                    "first": rfc3339(u.first_us), "last": rfc3339(u.last_us),
                })
            })
            .collect();
        out.document(&json!({"units": list, "all_units": all, "all_visits": visits}))?;
        return Ok(Exit::Done);
    }
    out.line(&format!("{all} units, {visits} visits"))?;
    for u in units {
        let times = if u.visits == 1 { "visit" } else { "visits" };
        out.line(&format!(
            "  {}  {}: {} {times}, {}",
            day(u.last_us),
            u.unit,
            u.visits,
            u.sheet
        ))?;
    }
    Ok(Exit::Done)
}

/// `ohmtrail index search` and `history`.
pub fn visits(visits: &[Visited], with_unit: bool, out: &mut Out) -> Result<Exit, Fail> {
    if out.json() {
        let list: Vec<Value> = visits.iter().map(visit_json).collect();
        out.document(&json!({"visits": list}))?;
        return Ok(Exit::Done);
    }
    if visits.is_empty() {
        out.line("no visit has these words")?;
    }
    for v in visits {
        let mut line = format!("{}  ", day(v.opened_us));
        if with_unit {
            line.push_str(&format!("{}: ", v.unit));
        }
        line.push_str(&match (v.faults.as_slice(), &v.outcome) {
            ([], Some(outcome)) => outcome.clone(),
            ([], None) => "nothing concluded".to_owned(),
            (faults, _) => faults.join(" + "),
        });
        if let Some(complaint) = &v.complaint {
            line.push_str(&format!("; complaint {complaint}"));
        }
        if let Some(left) = &v.left {
            line.push_str(&format!("; left with power {left}"));
        }
        for (what, text) in [("", &v.work_order), ("by ", &v.technician)] {
            if !text.is_empty() {
                line.push_str(&format!("; {what}{text}"));
            }
        }
        if v.simulated {
            line.push_str("; simulated");
        }
        if v.damage > 0 {
            line.push_str("; its trail is damaged");
        }
        out.line(&line)?;
        if let Some(path) = &v.path {
            out.line(&format!("            {}", near(Path::new(path))))?;
        }
    }
    Ok(Exit::Done)
}

fn visit_json(v: &Visited) -> Value {
    json!({
        "visit": v.visit, "head": v.head, "trail": v.path, "unit": v.unit, "simulated": v.simulated,
        "sheet": v.sheet, "sheet_same": v.sheet_same, "work_order": v.work_order, "technician": v.technician,
        "opened": rfc3339(v.opened_us), "closed": v.closed_us.and_then(rfc3339),
        "complaint": v.complaint, "outcome": v.outcome, "faults": v.faults, "left": v.left,
        "damage": v.damage,
    })
}

/// `ohmtrail index door`.
pub fn door(unit: &str, parts: &[Behind], out: &mut Out) -> Result<Exit, Fail> {
    if out.json() {
        let list: Vec<Value> = parts.iter().map(behind_json).collect();
        out.document(&json!({"unit": unit, "parts": list}))?;
        return Ok(Exit::Done);
    }
    if parts.is_empty() {
        out.line(&format!(
            "{unit}: nothing was found to have failed in the visits before"
        ))?;
        return Ok(Exit::Done);
    }
    out.line(&format!("{unit}: what was found to have failed before"))?;
    for part in parts {
        let kind = part.kind.as_deref().unwrap_or("kind not known");
        let again = if part.again() {
            format!(
                "FAILED AGAIN, {} times: look for what makes it fail. ",
                part.times()
            )
        } else {
            String::new()
        };
        out.line(&format!("  {again}{} ({kind})", part.part))?;
        for failure in &part.failures {
            let decided = match failure.approved {
                Some(true) => "; a repair was approved",
                Some(false) => "; the repair was declined",
                None => "",
            };
            let fitted = failure
                .fitted_us
                .map(|at| format!("; another one was fitted {}", day(at)))
                .unwrap_or_default();
            let role = failure
                .role
                .as_deref()
                .unwrap_or_default()
                .replace('-', " ");
            let role = if role.is_empty() {
                role
            } else {
                format!(", {role}")
            };
            out.line(&format!(
                "    {}  {}: {:.1} %{role}{decided}{fitted}",
                day(failure.at_us),
                failure.mode,
                100.0 * failure.p
            ))?;
        }
    }
    Ok(Exit::Done)
}

fn behind_json(part: &Behind) -> Value {
    let failures: Vec<Value> = part
        .failures
        .iter()
        .map(|f| {
            json!({
                "visit": f.visit, "at": rfc3339(f.at_us), "fault": f.fault, "mode": f.mode, "p": f.p,
                "role": f.role, "approved": f.approved, "fitted": f.fitted_us.and_then(rfc3339),
            })
        })
        .collect();
    json!({
        "part": part.part, "kind": part.kind, "times": part.times(), "again": part.again(),
        "failures": failures,
    })
}

/// `ohmtrail index kinds`.
pub fn kinds(kinds: &[KindOfPart], out: &mut Out) -> Result<Exit, Fail> {
    if out.json() {
        let list: Vec<Value> = kinds
            .iter()
            .map(|k| {
                let modes: Vec<Value> = k
                    .modes
                    .iter()
                    .map(|(mode, share)| {
                        let mut json = share_json(share);
                        json["mode"] = mode.as_str().into();
                        json
                    })
                    .collect();
                json!({"kind": k.kind, "failed": share_json(&k.failed), "modes": modes})
            })
            .collect();
        out.document(&json!({"kinds": list}))?;
        return Ok(Exit::Done);
    }
    if kinds.is_empty() {
        out.line("no part was found to have failed")?;
    }
    for kind in kinds {
        out.line(&format!(
            "{}: failed in {}",
            kind.kind,
            share(&kind.failed, "visits to a unit with one")
        ))?;
        for (mode, of) in &kind.modes {
            out.line(&format!("  {mode}: {}", share(of, "of these")))?;
        }
    }
    Ok(Exit::Done)
}

fn share(share: &Share, of: &str) -> String {
    let whole = if of == "of these" {
        of.to_owned()
    } else {
        format!("of {} {of}", share.n)
    };
    format!(
        "{} {whole} ({} % to {} %)",
        share.k,
        percent(share.from),
        percent(share.to)
    )
}

fn share_json(share: &Share) -> Value {
    json!({"count": share.k, "of": share.n, "from": share.from, "to": share.to})
}
