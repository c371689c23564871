//! Parts on the truck and in the shop: the stock as a CSV, what is stamped on a failed part, and
//! which of the stock may be fitted in its place, alone or in parallel.
//!
//! The rules are those of [`ohmtrail_core::fit`]; here is the text around them and the search.
#![forbid(unsafe_code)]
#![deny(missing_docs)]

mod banks;
mod offer;
mod part;
mod sheet;
mod stamp;
mod stock;
mod value;

pub use crate::banks::{MOST_PIECES, Piece, Use};
pub use crate::offer::{Judged, Offer, Offers, Wanted, offers};
pub use crate::part::{Can, FIELDS, Field, Kind, Part, Wrong, fields};
pub use crate::sheet::{Failed, PlateValue, WrongPlate, failed, kind_of};
pub use crate::stamp::{Differs, Match, held};
pub use crate::stock::{COMMON_COLUMNS, Item, Stock, StockError, Trouble};
