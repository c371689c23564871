//! The append-only reading trail of a visit: what happened, in order, on disk before anyone is
//! told of it, and provably unchanged since.
//!
//! ```text
//! event::Entry -> writer -> one file per visit -> reader -> event::Entry, or what is damaged
//! ```
//!
//! * [`Trail`] writes: one writer at a time, a take is on disk before [`Trail::take`] returns.
//! * [`read`] and [`verify`] read, whatever state the file is in, and name every damage.
//! * [`export_csv`] and [`export_jsonl`] hand the trail to other programs.
//! * [`photos`] keeps photographs beside it under their content hash.
//!
//! `docs/trail.md` gives the format from the bytes up. What survives what: see [`Trail`].
#![deny(missing_docs)]
#![forbid(unsafe_code)]

mod act;
#[cfg(test)]
mod crash_tests;
mod display;
mod error;
pub mod event;
mod export;
mod finding;
mod format;
mod hash;
pub mod photos;
mod quote;
mod reader;
mod repair;
mod storage;
mod trail;
mod verify;
mod writer;

pub use display::Displayed;
pub use error::{Damage, Error, What};
pub use export::{entry_line, export_csv, export_jsonl, json_line, rfc3339};
pub use format::{ENTRY_VERSION, FORMAT};
pub use hash::Hash;
pub use reader::{Body, CutNote, Reader, Record, read, read_bytes};
pub use trail::{Cut, Recovery, Trail};
pub use verify::{Report, Skipped, locate, verify};
pub use writer::{COMMIT_AFTER_US, Receipt, bytes_of};
