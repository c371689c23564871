//! Whole visits on the simulated bench: a unit with injected faults, a display, and a technician
//! who answers what is asked. Units, customers and work orders are invented.

mod at_work;
mod bench;
mod charge;
mod cooldown;
mod earlier;
mod gates;
mod ghosts;
mod intermittent;
mod mishaps;
mod prove;
mod replay;
mod spanish;
mod sweep;
mod talk;
mod walk;
mod wires;
