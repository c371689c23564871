//! Visits from the command line: on the simulated bench, with a real meter, or as a dialogue that
//! any program can hold.

mod cooling;
pub mod demo;
mod desk;
mod dialogue;
mod earlier;
pub mod isolate;
mod repair;
mod tell;
mod typed;
pub mod visit;

use std::path::Path;

use ohmtrail_visit::SheetBundle;

use crate::beforehand::Beforehand;
use crate::fail::Fail;
use crate::known::KnownArgs;
use crate::sheet;

/// Reads and compiles a sheet, told what is held probable beforehand.
fn bundle(name: &Path, beforehand: &Beforehand, known: &KnownArgs) -> Result<SheetBundle, Fail> {
    let mut sheet = sheet::load(name)?;
    beforehand.tell(&mut sheet)?;
    known.tell(&mut sheet)?;
    SheetBundle::new(sheet).map_err(Fail::input)
}
