//! A tray of parts, measured one after the other: what is read of each kind of part in which order
//! ([`script`]), readings in and takes out ([`run`]), what was written down ([`record`]), and what the
//! tray came to ([`sorted`]).
//!
//! Nothing here waits, beeps or reads a port: readings and keys are arguments.

pub mod record;
pub mod run;
pub mod script;
pub mod sorted;
