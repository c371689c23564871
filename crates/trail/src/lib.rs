//! The append-only reading trail of a visit.
#![deny(missing_docs)]
#![forbid(unsafe_code)]

pub mod event;
