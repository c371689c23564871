//! A visit that is read from its trail, with its sheet.

use std::path::{Path, PathBuf};

use ohmtrail_trail::event::{Entry, Event};
use ohmtrail_trail::{Body, Hash, read, verify};
use ohmtrail_visit::SheetBundle;

use crate::exit::Exit;
use crate::fail::Fail;
use crate::sheet;

/// Which trail, and its sheet.
#[derive(Debug, clap::Args)]
pub struct Which {
    /// The trail
    #[arg(value_name = "FILE")]
    pub trail: PathBuf,
    /// The unit's sheet, where the trail's is not built in
    #[arg(long, value_name = "SHEET")]
    sheet: Option<PathBuf>,
}

/// What was read.
pub struct Ended {
    /// The sheet.
    pub bundle: SheetBundle,
    /// What the trail says.
    pub entries: Vec<Entry>,
    /// Its head hash.
    pub head: Hash,
}

impl Which {
    /// Reads it. A damaged trail is refused.
    ///
    /// # Errors
    /// What is wrong with the trail or the sheet.
    pub fn read(&self) -> Result<Ended, Fail> {
        let path: &Path = &self.trail;
        let report = verify(path)?;
        if !report.is_sound() {
            return Err(Fail::new(
                Exit::Damaged,
                format!(
                    "{0}: the trail is damaged; see `ohmtrail trail verify {0}`",
                    path.display()
                ),
            ));
        }
        let mut entries = Vec::new();
        for record in read(path)? {
            let record = record.map_err(|damage| Fail::new(Exit::Damaged, damage))?;
            if let Body::Entry(entry) = record.body {
                entries.push(entry);
            }
        }
        let Some(Event::Opened(opened)) = entries.first().map(|e| &e.event) else {
            return Err(Fail::new(
                Exit::Damaged,
                "the trail does not begin with a visit",
            ));
        };
        let name = self.sheet.as_ref();
        let sheet = sheet::load(name.map_or(Path::new(&opened.sheet), PathBuf::as_path))?;
        if sheet.hash != opened.sheet_hash {
            return Err(Fail::input(format!(
                "the visit was made with another version of the sheet \"{}\"; name that one with --sheet",
                opened.sheet
            )));
        }
        Ok(Ended {
            bundle: SheetBundle::new(sheet).map_err(Fail::input)?,
            entries,
            head: report.head,
        })
    }
}
