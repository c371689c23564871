//! Pictures of a sheet as SVG: its schematic, and where the probes go for one check.
//!
//! The parts of the schematic are placed by a layered graph layout (the crate `dagre`); the wires
//! run at right angles in ways of our own, because a layout of nodes knows neither terminals nor
//! right angles. What is inside a part is drawn from the elements of its electrical model.
//!
//! A picture names everything in words and shapes, never by colour: it is drawn in `currentColor`.
//! The same sheet gives the same bytes.

mod card;
mod inside;
mod label;
mod place;
mod probes;
mod route;
mod said;
mod schematic;
mod svg;
mod symbols;
#[cfg(test)]
mod tests;

pub use self::probes::{Probing, check, probes};
pub use self::schematic::schematic;
pub use self::svg::id;

use crate::sheet::Sheet;

/// Whether each point of a sheet belongs to the line circuit: a supply reaches it through what
/// conducts, not through a transformer.
pub(crate) fn levels(sheet: &Sheet) -> Vec<bool> {
    let levels = inside::Insides::of(sheet).levels;
    levels
        .into_iter()
        .map(|l| l == inside::Level::Line)
        .collect()
}
