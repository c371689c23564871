//! The papers of a visit: the [`tag`] that hangs in the unit, and the [`write_up`] that a customer
//! approves. Both are made from the record of the trail and carry its head hash, so that a changed
//! trail shows. [`labels_pdf`] and [`distribution`] are of a tray at the shop bench.
//!
//! A paper is a [`Document`] first: what it says, in blocks. Text, HTML and PDF are made from it.
#![deny(missing_docs)]
#![forbid(unsafe_code)]

mod distribution;
mod document;
mod html;
mod labels;
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

pub use distribution::distribution;
pub use document::{Block, Document, Span, Table, Text};
pub use html::content_security_policy;
pub use labels::Label;
pub use pdf::{PdfError, Sheet, labels_pdf, pdf, tag_pdf};
pub use photo::Photos;
pub use quote::{LineDraft, OptionDraft, QuoteDraft, QuoteFileError, quote};
pub use tag::{Card, CardBlock, WIDTH, tag, tongue_of};
pub use write_up::write_up;
