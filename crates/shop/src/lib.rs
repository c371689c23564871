//! The shop bench: how well a measurement repeats among people and parts, whether a meter has drifted
//! from what it showed of a reference part, and a [`tray`] of parts that are measured and sorted.
//!
//! The first two read plain tables ([`table`]) and know of no meters: what is measured, and in what
//! unit, is the caller's. Every value is in the unit of the table. A tray is in base units.

pub mod drift;
pub mod repeat;
pub mod table;
pub mod tray;
