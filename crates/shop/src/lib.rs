//! The shop bench's figures: how well a measurement repeats among people and parts, and whether a
//! meter has drifted from what it showed of a reference part.
//!
//! Both read plain tables ([`table`]) and neither knows of meters: what is measured, and in what
//! unit, is the caller's. Every value is in the unit of the table.

pub mod drift;
pub mod repeat;
pub mod table;
