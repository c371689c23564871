//! Fault isolation: from the takes so far to the suspects, and to the check that tells most next.
//!
//! - [`table`]: the compiled table of a sheet, read in place from a file or from flash.
//! - [`ask`]: one entry of its list of asks.

pub mod ask;
pub mod table;

pub use ask::{AskRecord, Cooled, Kind, PowerNeed};
pub use table::{Table, TableError};
