//! Fault isolation: from the takes so far to the suspects, and to the check that tells most next.
//!
//! - [`table`]: the compiled table of a sheet, read in place from a file or from flash.
//! - [`ask`]: one entry of its list of asks.
//! - [`belief`]: Bayes over the table's hypotheses, with verdicts as soft evidence.
//! - `cost`: what it is expected to cost to act on a hypothesis now.
//! - [`plan`]: the next check by expected information per minute.
//! - [`standing`]: when to stop.

pub mod ask;
pub mod belief;
mod cost;
pub mod plan;
mod rows;
pub mod standing;
pub mod table;

pub use ask::{AskRecord, Cooled, Kind, PowerNeed};
pub use belief::{Belief, Leading, TooSmall};
pub use plan::{Active, Choice, Planner, Prospect, State};
pub use rows::{Evidence, EvidenceError, MISTAKEN, MOST_ROWS};
pub use standing::{ENOUGH, Standing};
pub use table::{Table, TableError};
