//! Visits from the command line: on the simulated bench, with a real meter, or as a dialogue that
//! any program can hold.

pub mod demo;
mod desk;
mod dialogue;
pub mod isolate;
mod tell;
mod typed;
pub mod visit;

use std::path::Path;

use ohmtrail_visit::SheetBundle;

use crate::fail::Fail;
use crate::sheet;

/// Reads and compiles a sheet.
fn bundle(name: &Path) -> Result<SheetBundle, Fail> {
    let sheet = sheet::load(name)?;
    SheetBundle::new(sheet).map_err(Fail::input)
}
