//! The quote for a repair, and what was decided on it.
//!
//! Amounts are whole minor units of the currency (cents), quantities whole thousandths: what a trail
//! holds is what was read, and nothing was rounded on its way.

use serde::{Deserialize, Serialize};

/// A quote: what may be done, and what each way costs.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Quote {
    /// Counts the quotes of a visit from 1: a decision names the one that it is on.
    pub version: u32,
    /// The currency's code of three letters (ISO 4217).
    pub currency: String,
    /// How many decimals its minor unit is of: 2 for cents.
    pub decimals: u8,
    /// The last day that it holds, such as `2026-12-31` (RFC 3339, full-date).
    pub valid_until: String,
    /// The ways, in the order they are shown.
    pub options: Vec<QuoteOption>,
}

/// One way to repair.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct QuoteOption {
    /// A short name that a decision names it by.
    pub name: String,
    /// What is done, in a sentence.
    pub title: String,
    /// Whether it is the one that is recommended.
    pub recommended: bool,
    /// What it is made up of.
    pub lines: Vec<QuoteLine>,
    /// The tax on its taxed lines, in thousandths of a percent.
    pub tax: u32,
}

/// A line of a quote.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct QuoteLine {
    /// What it is for.
    pub what: String,
    /// Its kind.
    pub kind: LineKind,
    /// How many, in thousandths.
    pub quantity: u64,
    /// The price of one, in minor units.
    pub price: u64,
    /// Whether it is taxed.
    pub taxed: bool,
}

/// The kinds of lines.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum LineKind {
    /// A part.
    Part,
    /// Work.
    Labour,
    /// Anything else: a trip, a disposal fee.
    Other,
}

impl LineKind {
    /// Every kind.
    pub const ALL: [LineKind; 3] = [LineKind::Part, LineKind::Labour, LineKind::Other];

    /// Its name, as it is written in files.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            LineKind::Part => "part",
            LineKind::Labour => "labour",
            LineKind::Other => "other",
        }
    }
}

/// What was decided on a quote, by whom and how it was told.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Decision {
    /// The quote's version.
    pub quote: u32,
    /// The option that was approved; none if the repair was declined.
    pub option: Option<String>,
    /// Who decided.
    pub by: String,
    /// By what means it was told, such as `signed on the paper` or `telephone`.
    pub means: String,
    /// The head hash on the write-up that it was decided on.
    #[serde(with = "crate::hash::hex")]
    pub paper: [u8; 32],
}
