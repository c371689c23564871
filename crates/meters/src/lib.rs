//! From a meter's bytes to readings, and from values to a simulated meter's bytes.
//!
//! * Sans-IO drivers, one file or folder each: the display chips' frames ([`lcd14`], [`ascii14`],
//!   [`count14`]), which also hold their encoders; bench meters that are asked ([`scpi`]); lines of
//!   text by a pattern ([`text`]); the probe box ([`probe_box`]). Bytes and times are arguments, so a test, a replay and a real
//!   port run the same code.
//! * [`ble`]: a Bluetooth Low Energy meter without its radio; [`gatt`]: values that describe
//!   themselves; [`radio`]: this machine's radio.
//! * [`driver`]: the [`driver::Driver`] trait and the one table of drivers.
//! * [`profile`]: what a meter is and how accurate, as TOML.
//! * [`keyed`]: values as a person types them.
//! * [`link`]: a driver over a serial port or a network stream, opened again when it went away;
//!   [`replay`]: what was kept, [`capture`] with its bytes. Each gives a [`session::Session`].
//! * [`guess`]: what a meter on a serial port sends, by listening.
//! * [`sim`]: simulated meters on a pseudo-terminal or a network port.
#![forbid(unsafe_code)]
#![deny(missing_docs)]

pub mod ascii14;
mod bits;
pub mod ble;
pub mod capture;
pub mod count14;
mod decimal;
pub mod driver;
pub mod gatt;
pub mod guess;
mod host;
pub mod keyed;
pub mod lcd14;
mod lines;
pub mod link;
pub mod pattern;
pub mod ports;
pub mod probe_box;
pub mod profile;
pub mod radio;
pub mod replay;
pub mod scpi;
mod serial;
pub mod session;
pub mod showing;
pub mod sim;
pub mod spec;
mod symbols;
mod tcp;
pub mod text;
mod watch;
mod window;
