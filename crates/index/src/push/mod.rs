//! Beyond one machine: rows to a database and trails to a store that several machines push to. Trails
//! only grow, so of two states of one the longer holds the shorter, and nothing is ever in dispute.

mod fetch;
mod keys;
mod line;
mod rows;
mod s3;
mod staged;
mod trails;

pub use fetch::{Fetched, fetch};
pub use rows::{PushedRows, push_rows};
pub use s3::{Bucket, Keys};
pub use staged::{rebuild_in, verify_in};
pub use trails::{PushedTrails, push_trails};
