//! Helpers shared by the whole-system tests.

pub mod cli;
pub mod technician;
