//! From a meter's bytes to readings, and from values to a simulated meter's bytes.
//!
//! * Sans-IO drivers, one file or folder each: the display chips' frames ([`lcd14`], [`ascii14`],
//!   [`count14`]), which also hold their encoders, and meters that are asked ([`scpi`]). Bytes and
//!   times are arguments, so a test, a replay and a real port run the same code.
//! * [`driver`]: the [`driver::Driver`] trait and the one table of drivers.
//! * [`profile`]: what a meter is and how accurate, as TOML.
//! * [`keyed`]: values as a person types them.
//! * [`link`]: a driver over a serial port or a network stream, opened again when it went away;
//!   [`replay`]: what was kept. Each gives a [`session::Session`].
//! * [`sim`]: simulated meters on a pseudo-terminal or a network port.
#![forbid(unsafe_code)]
#![deny(missing_docs)]

pub mod ascii14;
mod bits;
pub mod count14;
mod decimal;
pub mod driver;
pub mod keyed;
pub mod lcd14;
mod lines;
pub mod link;
pub mod profile;
pub mod replay;
pub mod scpi;
mod serial;
pub mod session;
pub mod showing;
pub mod sim;
pub mod spec;
mod symbols;
mod tcp;
mod watch;
mod window;
