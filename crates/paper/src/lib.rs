//! The papers of a visit, as plain text: the [`tag`] that hangs in the unit, and the [`write_up`]
//! that a customer approves. Both are made from the record of the trail and carry its head hash,
//! so that a changed trail shows.
#![deny(missing_docs)]
#![forbid(unsafe_code)]

mod tag;
mod text;
mod write_up;

pub use tag::{WIDTH, tag};
pub use write_up::write_up;
