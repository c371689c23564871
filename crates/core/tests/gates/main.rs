//! The safety gates from outside: a whole honest walk through them, everything that shuts them,
//! and random histories held against a model that knows nothing of the machine.
//!
//! The order of the walk is that of NFPA 70E 120.5 (2018 on) and OSHA 29 CFR 1910.333(b)(2),
//! both verified at second hand; 34 V is IEC 60335-1 clause 22.5 at second hand; the other
//! limits are common practice, no published source.

mod bench;
mod model;
mod power;
mod three_poles;
mod walk;
