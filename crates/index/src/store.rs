//! What keeps the rows of an index, and finds them again.

use crate::error::Error;
use crate::value::{Row, Value};

/// Where the rows of an index are kept. Both kinds understand the SQL that is asked of them: parameters
/// are `$1`, `$2`, …; text is ordered by its bytes.
pub(crate) trait Store: Send {
    /// What errors call it; never with a password.
    fn name(&self) -> &str;

    /// The rows that a query gives.
    fn rows(&mut self, sql: &str, with: &[Value]) -> Result<Vec<Row>, Error>;

    /// Changes rows.
    fn run(&mut self, sql: &str, with: &[Value]) -> Result<(), Error>;

    /// Runs several statements without parameters.
    fn batch(&mut self, sql: &str) -> Result<(), Error>;

    /// Puts whole rows in a table.
    fn insert(&mut self, table: &'static str, rows: &[Row]) -> Result<(), Error>;

    /// Lists words that are searched.
    fn list_words(&mut self, words: &str) -> Result<(), Error>;

    /// Makes what is searched of a new index, once its tables are filled.
    fn make_searched(&mut self) -> Result<(), Error>;

    /// The latest visits that have, for each of these words, one that begins with it.
    fn search(&mut self, words: &[String], limit: u32) -> Result<Vec<i64>, Error>;

    /// The visits of a list as text, `1,2,3`, that is the first parameter; as a query.
    fn these(&self) -> &'static str;

    /// Looks whether the store itself is whole, as far as that is ours to look at.
    fn check(&mut self) -> Result<(), Error>;
}
