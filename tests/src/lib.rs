//! Helpers shared by the whole-system tests, and the fault bench.

pub mod ble;
pub mod browser;
pub mod cli;
pub mod client;
pub mod cut;
pub mod daemon;
pub mod daemon_bench;
pub mod fault_bench;
pub mod object_store;
pub mod postgres;
pub mod probe_box;
pub mod shop;
pub mod technician;
pub mod truck;
pub mod visiting;
pub mod years;
