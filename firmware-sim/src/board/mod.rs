//! The boards: one is built in.

#[cfg(feature = "board-qemu")]
mod qemu;
#[cfg(feature = "board-qemu")]
pub use qemu::Board;
