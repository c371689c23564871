//! What Ohmtrail knows about a value a meter showed: how certain it is, what limit it is held
//! against, what it proves, what may be asked next and what must not be asked yet.
//!
//! Everything here runs on the host and on the probe box alike: no `std`, no allocation, no
//! unsafe code and no panicking path. Time and bytes are arguments; nothing is read from a clock
//! or a port.
//!
//! ```text
//! Reading -> Take -> Verdict -> suspects
//! ```
#![no_std]
#![forbid(unsafe_code)]
#![deny(missing_docs)]

pub mod accuracy;
pub mod class;
pub mod cooldown;
pub mod fit;
pub mod gates;
pub mod isolate;
pub mod leads;
pub mod math;
pub mod psychrometrics;
pub mod reading;
pub mod refrigerant;
pub mod rules;
pub mod settle;
pub mod source;
pub mod units;
pub mod verdict;
