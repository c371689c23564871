//! Where a number comes from, and how far it was checked.

use serde::{Deserialize, Serialize};

/// How far a limit or a formula was checked against the document that owns it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[non_exhaustive]
pub enum Status {
    /// The owning document was seen.
    Verified,
    /// The number was confirmed by another document that restates the owning one.
    SecondHand,
    /// Follows from algebra, topology or a named library.
    Computed,
    /// From general knowledge; not found in a document. Never condemns alone.
    Memory,
    /// Common practice, no published source. Never condemns alone.
    CommonPractice,
    /// Stamped on the part or the data plate itself.
    Plate,
}

impl Status {
    /// Whether a value outside the limit may be called a failure on this limit alone.
    #[must_use]
    pub const fn may_condemn(self) -> bool {
        !matches!(self, Status::Memory | Status::CommonPractice)
    }

    /// The status in words, as verdicts print it.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Status::Verified => "verified",
            Status::SecondHand => "verified at second hand",
            Status::Computed => "computed",
            Status::Memory => "from memory",
            Status::CommonPractice => "common practice, no published source",
            Status::Plate => "marked on the part or plate",
        }
    }
}

/// The document, marking or habit that a number rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
pub struct Source {
    /// The document and its clause, or what the habit is.
    pub what: &'static str,
    /// How far it was checked.
    pub status: Status,
}

impl Source {
    /// A source by its name and status.
    #[must_use]
    pub const fn new(what: &'static str, status: Status) -> Self {
        Source { what, status }
    }
}
