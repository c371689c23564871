//! Isolation over a compiled table: by hand, against plain enumeration, and against a
//! general-purpose library for Bayesian networks.

mod brute;
mod build;
mod by_hand;
mod by_network;
mod hostile;
mod laws;
mod planning;
