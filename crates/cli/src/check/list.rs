//! `ohmtrail check list`: every limit, its source, and how far that was checked.

use ohmtrail_core::rules;
use serde_json::json;

use super::number::limits;
use crate::exit::Exit;
use crate::fail::Fail;
use crate::out::Out;

/// Lists the rows: text, or JSON lines.
pub fn run(out: &mut Out) -> Result<Exit, Fail> {
    for rule in rules::all() {
        let status = rule.source.status;
        if out.json() {
            out.json_line(&json!({
                "id": rule.id,
                "what": rule.what,
                "unit": rule.unit,
                "lower": rule.lower,
                "upper": rule.upper,
                "source": rule.source.what,
                "status": status.words(),
                "may_condemn": status.may_condemn(),
            }))?;
        } else {
            out.line(&format!(
                "{}  {}\n    {}\n    by {} ({})",
                rule.id,
                limits(rule.lower, rule.upper, rule.unit),
                rule.what,
                rule.source.what,
                status.words()
            ))?;
        }
    }
    Ok(Exit::Done)
}
