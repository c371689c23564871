//! From a meter's bytes to readings, and from values to a simulated meter's bytes.
//!
//! * Sans-IO decoders, one file each ([`lcd14`], [`ascii14`], [`count14`]): bytes are arguments,
//!   so a test, a replay and a real port run the same code. Each file also holds the encoder.
//! * [`driver`]: the [`driver::Driver`] trait and the one table of drivers.
//! * [`profile`]: what a meter is and how accurate, as TOML.
//! * [`keyed`]: values as a person types them.
//! * [`serial`], [`replay`]: transports; each gives a [`session::Session`].
//! * [`sim`]: a simulated meter that writes its frames to a pseudo-terminal.
#![forbid(unsafe_code)]
#![deny(missing_docs)]

pub mod ascii14;
pub mod count14;
pub mod driver;
pub mod keyed;
pub mod lcd14;
pub mod profile;
pub mod replay;
pub mod serial;
pub mod session;
pub mod showing;
pub mod sim;
pub mod spec;
mod symbols;
mod window;
