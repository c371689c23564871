//! The boards: one is built in.

#[cfg(feature = "board-qemu")]
mod qemu;
#[cfg(feature = "board-qemu")]
pub use qemu::take;

#[cfg(feature = "board-template")]
mod template;
#[cfg(feature = "board-template")]
pub use template::take;
