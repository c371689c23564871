//! A repair: what the trail of the visit before says is to be done.

use std::path::{Path, PathBuf};

use ohmtrail_trail::event::{Entry, Event, Opened, Repair};
use ohmtrail_trail::{Body, Hash, read, verify};
use ohmtrail_visit::{Book, Record, repair};

use crate::exit::Exit;
use crate::fail::Fail;

/// The visit is a repair.
#[derive(Debug, clap::Args)]
pub struct RepairArgs {
    /// Repair what the visit of this trail found: fit the parts, put every wire back, prove the unit
    /// (docs/repair.md)
    #[arg(long, value_name = "TRAIL", conflicts_with_all = ["resume", "complaint"])]
    repair: Option<PathBuf>,
    /// A part to fit, where it is not those that the finding names; may be given again
    #[arg(long, value_name = "PART", requires = "repair")]
    fit: Vec<String>,
}

/// What is to be repaired, and the first event of the trail that says so.
pub struct Found {
    /// The repair.
    pub repair: Repair,
    /// How that visit was opened.
    pub opened: Opened,
}

impl RepairArgs {
    /// Reads the trail of the visit before, if one is named.
    ///
    /// # Errors
    /// A damaged trail, and one that has nothing to repair.
    pub fn read(&self, book: &Book<'_>) -> Result<Option<Found>, Fail> {
        let path = self.repair.as_deref();
        path.map(|path| found(path, &self.fit, book)).transpose()
    }
}

/// What the visit of a trail left to do. A damaged trail is refused.
pub fn found(path: &Path, fit: &[String], book: &Book<'_>) -> Result<Found, Fail> {
    let shown = path.display();
    let report = verify(path)?;
    if !report.is_sound() {
        let why = format!("{shown}: the trail is damaged; see `ohmtrail trail verify {shown}`");
        return Err(Fail::new(Exit::Damaged, why));
    }
    let entries = entries(path)?;
    let record = Record::of(book, &entries);
    let Some(Event::Opened(opened)) = entries.first().map(|e| &e.event) else {
        let why = format!("{shown}: the trail does not begin with a visit");
        return Err(Fail::new(Exit::Damaged, why));
    };
    let repair = repair(book, &record, report.head.0, fit);
    Ok(Found {
        repair: repair.map_err(|e| Fail::input(format!("{shown}: {e}")))?,
        opened: opened.clone(),
    })
}

fn entries(path: &Path) -> Result<Vec<Entry>, Fail> {
    let mut entries = Vec::new();
    for record in read(path)? {
        let record = record.map_err(|damage| Fail::new(Exit::Damaged, damage))?;
        if let Body::Entry(entry) = record.body {
            entries.push(entry);
        }
    }
    Ok(entries)
}

impl Found {
    /// Links the repair with that visit, if both are of one unit.
    ///
    /// # Errors
    /// What does not go together.
    pub fn link(&self, opened: &mut Opened) -> Result<(), Fail> {
        if self.opened.simulated && !opened.simulated {
            let why = "that visit was of a simulated unit: nothing in it was found on this one";
            return Err(Fail::input(why));
        }
        if opened.unit.is_empty() {
            opened.unit.clone_from(&self.opened.unit);
        }
        if opened.unit != self.opened.unit {
            return Err(Fail::input(format!(
                "that visit was of the unit \"{}\", this one is of \"{}\": name the trail of the same \
                 unit",
                self.opened.unit, opened.unit
            )));
        }
        opened.previous = Some(Hash(self.repair.trail).0);
        Ok(())
    }

    /// What is to be done, in a line.
    #[must_use]
    pub fn words(&self) -> String {
        let repair = &self.repair;
        let approved = match &repair.option {
            Some(option) => format!("option {option} was approved"),
            None => "no approval is in its trail".to_owned(),
        };
        format!(
            "repair of what the visit of {} found ({}): {} to be fitted; {approved}",
            repair.day,
            repair.faults.join(", "),
            repair.parts.join(", ")
        )
    }
}
