//! What is told of a visit: its line in the list, how it stands now, and each event of its trail.

use std::path::Path;

use ohmtrail_trail::event::{Entry, Event, Opened, Stamp};
use ohmtrail_trail::{Body, Hash, entry_line, read, rfc3339};
use ohmtrail_visit::Stage;
use ohmtrail_words::Said;
use serde::{Deserialize, Serialize, Serializer};
use serde_json::Value;
use utoipa::ToSchema;

use crate::forms::Ask;
use crate::stream::Frame;
use crate::trouble;

/// A visit's line in the list.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct Summary {
    /// Its name.
    pub id: String,
    /// The work order.
    pub work_order: String,
    /// Who does it.
    pub technician: String,
    /// The unit, as the shop names it.
    pub unit: String,
    /// The sheet's name.
    pub sheet: String,
    /// When it was opened, by the wall clock.
    pub opened_at: Option<String>,
    /// Where it stands: `opening`, `isolating`, `leaving`, `left` or `closed`.
    pub stage: String,
    /// The ask that is open.
    pub open_ask: Option<u32>,
    /// The faults of the finding that stands; none without a finding.
    pub found: Option<Vec<String>>,
    /// Why it cannot be opened.
    #[serde(serialize_with = "in_english")]
    #[schema(value_type = Option<String>)]
    pub problem: Option<Said>,
}

impl Summary {
    /// Of a visit that is just opened.
    pub(super) fn new(id: &str, opened: &Opened, at: Stamp) -> Self {
        Summary {
            id: id.to_owned(),
            work_order: opened.work_order.clone(),
            technician: opened.technician.clone(),
            unit: opened.unit.clone(),
            sheet: opened.sheet.clone(),
            opened_at: rfc3339(at.wall_us),
            stage: "opening".to_owned(),
            open_ask: None,
            found: None,
            problem: None,
        }
    }

    /// Of a visit that cannot be read.
    pub(super) fn broken(id: &str, problem: Said) -> Self {
        Summary {
            id: id.to_owned(),
            work_order: String::new(),
            technician: String::new(),
            unit: String::new(),
            sheet: String::new(),
            opened_at: None,
            stage: "broken".to_owned(),
            open_ask: None,
            found: None,
            problem: Some(problem),
        }
    }
}

/// As programs are told.
fn in_english<S: Serializer>(said: &Option<Said>, to: S) -> Result<S::Ok, S::Error> {
    said.as_ref().map(Said::to_string).serialize(to)
}

/// The summary of a trail, and whether its visit has ended.
pub(super) fn summary_of(id: &str, path: &Path) -> Result<(Summary, bool), Said> {
    let mut summary: Option<Summary> = None;
    let mut closed = false;
    for record in read(path).map_err(|e| trouble::of_trail(&e))?.flatten() {
        let Body::Entry(entry) = record.body else {
            continue;
        };
        match (&entry.event, &mut summary) {
            (Event::Opened(opened), None) => summary = Some(Summary::new(id, opened, entry.at)),
            (Event::Found(finding), Some(summary)) => {
                summary.found = Some(finding.faults.clone());
            }
            (Event::Closed, _) => closed = true,
            _ => {}
        }
    }
    let mut summary = summary.ok_or("its trail does not begin with a visit")?;
    if closed {
        summary.stage = stage_word(Stage::Closed).to_owned();
    }
    Ok((summary, closed))
}

/// A stage in a word.
pub(super) const fn stage_word(stage: Stage) -> &'static str {
    match stage {
        Stage::Before => "before",
        Stage::Isolating => "isolating",
        Stage::Repairing => "repairing",
        Stage::Leaving => "leaving",
        Stage::Left => "left",
        Stage::Closed => "closed",
    }
}

/// How a visit stands.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct Now {
    /// `isolating`, `leaving`, `left` (its tag may be hung) or `closed`.
    pub stage: &'static str,
    /// The ask that is open; none while something must be waited for, and when the unit was left.
    pub ask: Option<Ask>,
    /// The ask in words.
    pub words: Option<String>,
    /// What must pass before anything is asked.
    pub waiting: Option<Waiting>,
    /// What was called out by the last thing said or read.
    pub alarm: Option<&'static str>,
    /// The take that is waited for.
    pub watching: Option<WatchingNow>,
    /// Why the ask is asked, before it is put into a language.
    #[serde(skip)]
    #[schema(ignore)]
    pub why: Option<Said>,
    /// Whether the ask is a step towards a safety gate.
    #[serde(skip)]
    #[schema(ignore)]
    pub for_a_gate: bool,
    /// Why a take that was waited for did not come about.
    #[serde(skip)]
    #[schema(ignore)]
    pub refused: Option<Said>,
}

/// Nothing is asked before a time has passed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct Waiting {
    /// Seconds from when this was said.
    pub seconds: u64,
    /// Why.
    pub why: &'static str,
}

/// A take that is waited for.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct WatchingNow {
    /// The ask that it will answer; none for a take that nobody asked for.
    pub ask: Option<u32>,
    /// The meter that is watched.
    pub meter: String,
}

/// An event of the trail, as docs/trail.md has its line.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct TrailLine {
    /// The number of its record.
    pub record: u32,
    /// The record's chain hash.
    pub hash: String,
    /// When, by the wall clock.
    pub at: Option<String>,
    /// When, by the steady clock of that run of the daemon.
    pub steady_us: u64,
    /// What happened, such as `took`.
    pub event: String,
    /// Its fields.
    pub data: Value,
}

impl TrailLine {
    /// The line of an entry.
    #[must_use]
    pub fn of(record: u32, hash: &Hash, entry: &Entry) -> Self {
        let line = entry_line(record, hash, entry).and_then(serde_json::from_value);
        // Every event of this program has a line.
        line.unwrap_or_else(|error| TrailLine {
            record,
            hash: hash.to_string(),
            at: rfc3339(entry.at.wall_us),
            steady_us: entry.at.steady.0,
            event: "unknown".to_owned(),
            data: Value::String(error.to_string()),
        })
    }

    /// The frame for those who watch.
    #[must_use]
    pub fn frame(&self) -> Frame {
        Frame::new(&self.event, Some(self.record), self)
    }
}
