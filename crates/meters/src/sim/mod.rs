//! The simulated meter. [`display`] turns true values into what a display would show, [`face`]
//! makes that a stream with all that happens while probes move, and [`meter`] writes it, frame by
//! frame, to a pseudo-terminal ([`pty`]) that the host reads through the same serial driver as
//! hardware. The true values come from elsewhere: this module knows no circuit.

pub mod display;
pub mod face;
pub mod meter;
pub mod noise;
pub mod pty;
