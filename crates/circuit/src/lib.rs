//! From a sheet to a prediction: what a meter would show at every point of a unit, in every
//! state, under every fault; and the compiled table of it all that the core runs on.
#![forbid(unsafe_code)]
#![deny(missing_docs)]

mod alike;
pub mod bands;
pub mod bench;
pub mod cable;
pub mod compile;
pub mod costs;
pub mod draw;
mod follow;
pub mod known;
pub mod linear;
pub mod meter;
mod motion;
pub mod motor;
pub mod motor3;
pub mod netlist;
pub mod network;
pub mod operate;
pub mod parts;
pub mod priors;
pub mod review;
pub mod rewired;
mod sample;
mod settle;
pub mod sheet;
pub mod surroundings;
pub mod unit;
mod unnamed;
