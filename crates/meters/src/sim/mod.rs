//! Simulated meters. [`display`] turns true values into what a display would show, [`face`]
//! makes that a stream with all that happens while probes move, and [`meter`] writes it, frame by
//! frame, to a pseudo-terminal ([`pty`]) that the host reads through the same serial driver as
//! hardware. [`mod@bench`] is a bench meter that is asked in SCPI, and [`bench_port`] serves it on a
//! network port or a pseudo-terminal. The true values come from elsewhere: this module knows no
//! circuit.

pub mod bench;
pub mod bench_port;
pub mod display;
pub mod face;
pub mod meter;
pub mod noise;
pub mod pty;
