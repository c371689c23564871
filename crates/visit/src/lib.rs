//! The whole visit as one fold over its trail, without any input or output of its own.
//!
//! ```text
//! Input, Stamp -> Visit::handle ─┐
//!        Stamp -> Visit::next   ─┴-> Event -> (the caller's trail) -> Entry -> Visit::apply
//! ```
//!
//! * [`Visit::handle`] takes what a person or a meter says, and answers with the events that
//!   follow, or with a [`Refusal`].
//! * [`Visit::next`] gives what comes by itself: the suspects after new evidence, gates that shut,
//!   the next ask (one is open at a time), the finding, and how the unit is left.
//! * [`Visit::apply`] folds an event that is on disk. [`Record`] is what the entries say, and
//!   nothing else: it can be had from a trail at any time.
//!
//! The safety gates are no part of that fold. They live in [`Visit`] while it runs and are never
//! read back: after [`Visit::replay`] every gate is shut and is asked for anew.
//!
//! The visit says what was measured and what it proves. It never says that a circuit is safe:
//! local codes and the practice of licensed people come first.
#![deny(missing_docs)]
#![forbid(unsafe_code)]

mod acts;
mod again;
mod book;
mod conclusion;
mod cooldown;
mod earlier;
mod finding;
mod gate;
mod handle;
mod input;
mod isolate;
mod judge;
mod known;
mod limits;
mod next;
mod prove;
mod quote;
mod record;
mod refusal;
mod takes;
mod visit;
mod wires;
mod words;

pub use book::{Book, BookError, SheetBundle, Windings};
pub use cooldown::{AMBIENT, COLD_KEY, Cold, Cooling, Warm, cooling_said};
pub use earlier::{Earlier, EarlierError};
pub use finding::weights_of_evidence;
pub use input::{Input, Inputs, LEADS, Taken};
pub use limits::{PLATE_KEYS, expected};
pub use prove::{Mended, NoRepair, point_words as charge_point, repair};
pub use quote::{QuoteError, Totals, money, quantity};
pub use record::{Looked, Record, Took, Wire};
pub use refusal::{Refusal, not_open};
pub use visit::{Stage, Visit, Waiting};
pub use words::{NONE_OF_THESE, amount, displayed, fault_said, note_said, point_said, said_shown};
