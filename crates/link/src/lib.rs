//! The link between a probe box and its host: what is said, how it is framed, and both ends as
//! state machines without a clock or a port.
//!
//! ```text
//! message -> postcard -> kind + body + CRC-32 -> COBS -> 00      and back
//! ```
//!
//! - [`message`]: what is said. Append only.
//! - [`hello`]: the one exchange whose layout never changes, so that an old box and a new host say
//!   so rather than misread.
//! - [`frame`]: bytes to frames and back; damage is dropped and counted, never passed on.
//! - [`card`]: the numbers of a box's steps. [`load`]: what is loaded into a box.
//! - [`host`]: the host's end. [`station`]: the box's end.
//!
//! Requests carry a number, are sent again until they are answered, and are obeyed once. Takes
//! carry a number of their own, are sent again until the host says that they are on its disk, and
//! arrive once and in order, whatever the line does.
#![no_std]
#![forbid(unsafe_code)]
#![deny(missing_docs)]
#![cfg_attr(
    not(test),
    deny(
        clippy::indexing_slicing,
        clippy::unwrap_used,
        clippy::expect_used,
        clippy::arithmetic_side_effects
    )
)]

pub mod card;
pub mod frame;
pub mod hello;
pub mod host;
pub mod load;
pub mod message;
pub mod station;
