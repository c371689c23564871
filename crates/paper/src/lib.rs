//! The papers of a visit: the [`tag`] that hangs in the unit, and the [`write_up`] that a customer
//! approves. Both are made from the record of the trail and carry its head hash, so that a changed
//! trail shows.
//!
//! A paper is a [`Document`] first: what it says, in blocks. Text, HTML and PDF are made from it.
#![deny(missing_docs)]
#![forbid(unsafe_code)]

mod document;
mod html;
mod markdown;
mod pdf;
mod photo;
mod plot;
mod quote;
mod quoted;
mod repair;
mod tag;
mod text;
mod write_up;

pub use document::{Block, Document, Span, Table, Text};
pub use html::content_security_policy;
pub use pdf::{PdfError, Sheet, pdf, tag_pdf};
pub use photo::Photos;
pub use quote::{LineDraft, OptionDraft, QuoteDraft, QuoteFileError, quote};
pub use tag::{Card, CardBlock, WIDTH, tag, tongue_of};
pub use write_up::write_up;
