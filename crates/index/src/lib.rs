//! The shop index: rows made of every trail, for questions over many visits and over the years.
//!
//! ```text
//! trails -> fold -> rows -> SQLite or PostgreSQL -> questions, exports
//!        -> objects of an S3-compatible store
//! ```
//!
//! * [`rebuild`] makes an index of folders of trails, [`Index::update`] reads what changed since, and
//!   [`verify`] proves that an index is what its trails say, row by row.
//! * [`push_rows`] and [`push_trails`] bring them to where several machines put theirs, [`fetch`] brings
//!   trails back.
//! * A damaged trail is named and does not stop the rest.
//!
//! The trails are the truth. An index can be thrown away at any time.
#![deny(missing_docs)]
#![forbid(unsafe_code)]

mod error;
mod export;
mod files;
mod fold;
mod gather;
mod index;
mod lock;
mod postgres;
mod push;
mod questions;
mod same;
mod sheets;
mod sqlite;
mod statistics;
mod store;
mod tables;
mod tls;
mod trend;
mod value;

pub use error::Error;
pub use export::{ExportError, Format};
pub use fold::{Fold, FoldError, Folded, fold_file, opened_us, visit_number};
pub use gather::{Gathered, Problem, rebuild, rebuild_told};
pub use index::Index;
pub use postgres::Database;
pub use push::{
    Bucket, Fetched, Keys, PushedRows, PushedTrails, fetch, push_rows, push_trails, rebuild_in,
    verify_in,
};
pub use questions::{Behind, Door, Failure, Repaired, Unit, Visited};
pub use same::{Comparison, verify};
pub use sheets::{Sheets, WIRE};
pub use statistics::{KindOfPart, Share};
pub use tables::{Column, EXPORTED, Of, TABLES, Table};
pub use trend::{
    At, Crossing, FARTHEST, LEAST_VISITS, LEAST_YEARS, LEVEL, Leaving, Limits, Line, Outlook,
    Point, Quantity, Scale, Series, Trend, WINDING_AT, Why, YEAR_US,
};
pub use value::{Row, Value};
