//! A Bluetooth service on a private bus, with meters of its own: what a Bluetooth Low Energy
//! transport is tested against where there is no radio.
//!
//! It speaks BlueZ's D-Bus interfaces as far as a client of meters needs them, on a `dbus-daemon`
//! of its own (Debian's package `dbus`). It behaves like the real service where that has caught a
//! client out: `Connect` answers before the services are known; a link that drops is one signal,
//! and the objects stay; a value that is read is signalled as if it were notified; a meter that is
//! remembered has no signal strength; a scan belongs to the client that began it. No test holds it
//! against the real service yet.
//!
//! Everything here is synchronous: a test says what happens, and waits for what has come of it.

mod answer;
mod bus;
mod meter;
mod service;
mod state;
mod tree;
mod world;

pub use bus::Bus;
pub use meter::{Characteristic, Meter, Service};
pub use service::StandIn;
pub use state::{Call, Now, Refusal};
pub use tree::{Interfaces, Property, Tree};
