//! The probe box without its hardware: a front end's samples become readings, readings become
//! takes, takes become verdicts, and the box walks a part's test or a whole sheet's isolation by
//! itself. What it has learnt is kept in flash until a host has it.
//!
//! ```text
//! samples -> front -> core's settling -> core's rules, gates, isolation -> lights
//!                                  \-> ring -> link -> host
//! ```
//!
//! - [`board`]: what hardware must do. [`serve`]: the main loop, loads taken in. [`app`]: everything
//!   else, one step at a time.
//! - [`front`]: codes to readings. [`lights`]: shapes and rhythms.
//! - [`ring`]: kept items in flash. [`keeper`]: the ring and the link. [`view`]: a load, checked.
//! - [`parts`]: tests of loose parts. [`isolation`]: a whole sheet's. [`walk`]: what they share.
#![no_std]
#![forbid(unsafe_code)]
#![deny(missing_docs)]
#![cfg_attr(
    not(test),
    deny(clippy::indexing_slicing, clippy::unwrap_used, clippy::expect_used)
)]

#[cfg(test)]
extern crate std;

pub mod app;
pub mod board;
pub mod front;
pub mod isolation;
pub mod keeper;
pub mod lights;
pub mod parts;
pub mod ring;
pub mod serve;
pub mod view;
pub mod walk;
