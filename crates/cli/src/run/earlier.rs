//! An earlier trail of the same unit, and what it says beforehand.

use std::path::{Path, PathBuf};

use ohmtrail_trail::event::{Opened, Stamp};
use ohmtrail_trail::{Body, Hash, read};
use ohmtrail_visit::{Book, Earlier, Input, SheetBundle};

use super::desk::Desk;
use crate::beforehand::Beforehand;
use crate::fail::Fail;
use crate::known::KnownArgs;
use crate::sheet;

/// An earlier trail of the same unit.
#[derive(Debug, clap::Args)]
pub struct EarlierArgs {
    /// The trail of an earlier visit of the same unit: its cold windings narrow what is expected of
    /// them, and are the reference of a wait for an overload (docs/known.md)
    #[arg(long, value_name = "TRAIL")]
    earlier: Option<PathBuf>,
}

/// What an earlier trail says, and which trail it is.
pub struct Told {
    earlier: Earlier,
    head: Hash,
    path: PathBuf,
    note: String,
}

impl EarlierArgs {
    /// Reads and compiles a sheet, told what is held probable beforehand and what the earlier trail
    /// says.
    pub fn bundle(
        &self,
        name: &Path,
        beforehand: &Beforehand,
        known: &KnownArgs,
    ) -> Result<(SheetBundle, Option<Told>), Fail> {
        let mut sheet = sheet::load(name)?;
        beforehand.tell(&mut sheet)?;
        known.tell(&mut sheet)?;
        let told = match &self.earlier {
            Some(path) => {
                let bundle = SheetBundle::new(sheet.clone()).map_err(Fail::input)?;
                let book = Book::new(&bundle).map_err(Fail::input)?;
                let mut told = Told::read(path, &book)?;
                told.earlier.teach(&mut sheet);
                told.note = told.earlier.note(&sheet);
                Some(told)
            }
            None => None,
        };
        Ok((SheetBundle::new(sheet).map_err(Fail::input)?, told))
    }
}

impl Told {
    fn read(path: &Path, book: &Book<'_>) -> Result<Told, Fail> {
        let shown = path.display();
        let mut reader = read(path)?;
        let mut entries = Vec::new();
        for record in reader.by_ref() {
            match record {
                Ok(record) => {
                    if let Body::Entry(entry) = record.body {
                        entries.push(entry);
                    }
                }
                // What is damaged says nothing; what is whole still does.
                Err(damage) => eprintln!("ohmtrail: {shown}: {damage}"),
            }
        }
        let earlier =
            Earlier::of(book, &entries).map_err(|e| Fail::input(format!("{shown}: {e}")))?;
        Ok(Told {
            earlier,
            head: reader.head(),
            path: path.to_owned(),
            note: String::new(),
        })
    }

    /// Links the visit that begins with the earlier one, if both are of one unit.
    pub fn link(&self, opened: &mut Opened) -> Result<(), Fail> {
        let path = self.path.display();
        if self.earlier.simulated && !opened.simulated {
            return Err(Fail::input(format!(
                "{path}: that visit was of a simulated unit: nothing in it was measured on this one"
            )));
        }
        let (then, now) = (&self.earlier.unit, &opened.unit);
        if !then.is_empty() && !now.is_empty() && then != now {
            return Err(Fail::input(format!(
                "{path}: that visit was of the unit \"{then}\", this one is of \"{now}\": name a trail \
                 of the same unit"
            )));
        }
        opened.previous = Some(self.head.0);
        Ok(())
    }

    /// Tells the visit of it.
    pub fn say(&self, desk: &mut Desk<'_>, at: Stamp) -> Result<(), Fail> {
        for plate in &self.earlier.plates {
            desk.say(Input::Plate(plate.clone()), at)?;
        }
        desk.say(Input::Note(self.note.clone()), at)?;
        Ok(())
    }

    /// What is told of it.
    pub fn words(&self) -> &str {
        &self.note
    }
}
