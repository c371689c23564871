//! Where an index is kept. A store runs SQL that every store understands: parameters are `$1`, `$2`,
//! … in the order in which they first stand.

use crate::error::Error;
use crate::value::{Row, Value};

/// A store of rows.
pub(crate) trait Store {
    /// What errors call it.
    fn name(&self) -> &str;

    /// The rows that a query gives.
    fn rows(&mut self, sql: &str, with: &[Value]) -> Result<Vec<Row>, Error>;

    /// Changes rows.
    fn run(&mut self, sql: &str, with: &[Value]) -> Result<(), Error>;

    /// Runs several statements without parameters.
    fn batch(&mut self, sql: &str) -> Result<(), Error>;

    /// The latest visits that have, for each of these words, one that begins with it.
    fn search(&mut self, words: &[String], limit: u32) -> Result<Vec<i64>, Error>;

    /// Looks whether the store itself is whole.
    fn check(&mut self) -> Result<(), Error>;
}
