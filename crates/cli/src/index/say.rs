//! Units, visits, what is said at the door, and statistics, as text and as JSON.

use std::fs;
use std::path::Path;

use ohmtrail_daemon::index::forms;
use ohmtrail_index::{Door, KindOfPart, Share, Unit, Visited};
use ohmtrail_trail::rfc3339;

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
        out.document(&forms::Units::of(units, (all, visits)))?;
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
        out.document(&forms::Visits::of(visits))?;
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
            ([], None) if v.proved.is_some() => {
                format!("repair: {}", v.proved.as_deref().unwrap_or_default())
            }
            ([], Some(outcome)) => outcome.replace('-', " "),
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

/// `ohmtrail index door`.
pub fn door(unit: &str, door: &Door, out: &mut Out) -> Result<Exit, Fail> {
    if out.json() {
        out.document(&forms::Door::of(unit, door))?;
        return Ok(Exit::Done);
    }
    if let Some(repair) = door.unproven() {
        out.line(&format!(
            "{unit}: the last repair, {}, came out as {}: {}",
            day(repair.at_us),
            repair.proved,
            repair.why
        ))?;
    }
    let parts = &door.parts;
    if parts.is_empty() {
        out.line(&format!(
            "{unit}: nothing was found to have failed in the visits before"
        ))?;
        return Ok(Exit::Done);
    }
    out.line(&format!("{unit}: what was found to have failed before"))?;
    for part in parts {
        let kind = part.kind.as_deref().unwrap_or("kind not known");
        let times = part.times();
        let again = if part.again() {
            format!(
                "FAILED AGAIN after it was replaced, found in {times} visits: look for what makes it fail. "
            )
        } else if times > 1 {
            format!("found in {times} visits; no visit says that it was replaced between them. ")
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

/// `ohmtrail index kinds`.
pub fn kinds(kinds: &[KindOfPart], out: &mut Out) -> Result<Exit, Fail> {
    if out.json() {
        out.document(&forms::Kinds::of(kinds))?;
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
