//! A Bluetooth service on a private bus, with meters of its own: what a Bluetooth Low Energy
//! transport is tested against where there is no radio.
//!
//! It speaks BlueZ's D-Bus interfaces as far as a client of meters needs them, on a `dbus-daemon`
//! of its own (Debian's package `dbus`). It behaves like the real service where that has caught a
//! client out: `Connect` answers before the services are known; a link that drops is one signal,
//! and the objects and subscriptions stay; a value that is read is signalled as if it were notified, and one
//! that is notified once for each client that listens; a meter that is remembered has no signal
//! strength; a scan belongs to the client that began it. What the real service was seen to do is
//! kept in `tests/ble-vm/facts.txt`, and a test holds this one against it.
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
