//! A repair visit: what it sets out from, what was fitted, and what it came to.

use serde::{Deserialize, Serialize};

/// What a repair sets out from: the trail of the visit that found what failed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Repair {
    /// The head hash of that trail.
    #[serde(with = "crate::hash::hex")]
    pub trail: [u8; 32],
    /// The day of that visit, such as `2026-12-31`.
    pub day: String,
    /// What it found.
    pub faults: Vec<String>,
    /// The parts that are to be fitted.
    pub parts: Vec<String>,
    /// The option of the quote that was approved; none if nothing was decided.
    pub option: Option<String>,
    /// What that option counts as parts, as quoted.
    pub quoted: Vec<String>,
    /// What was read off plates then, of the parts that failed too.
    pub plates: Vec<super::event::PlateEntry>,
    /// The wire ends that were off then, whether they were put back or not.
    pub wires: Vec<Off>,
    /// What was measured then at the parts that failed: in words.
    pub before: Vec<String>,
}

/// A wire end that was lifted in the visit before.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Off {
    /// The wire end.
    pub end: String,
    /// The terminal it was on.
    pub from: String,
    /// Its mark, as seen.
    pub mark: String,
    /// Content hash of the photograph of it in place.
    #[serde(with = "crate::hash::hex_option")]
    pub photo: Option<[u8; 32]>,
    /// The terminal it was put back on in that visit; none if it was left lifted.
    pub back_on: Option<String>,
    /// Whether it was checked since.
    pub checked: bool,
}

/// A part that was fitted.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Fitted {
    /// The part of the sheet.
    pub part: String,
    /// What is stamped on it.
    pub stamp: Vec<Stamped>,
    /// Whether it matches by every rule; none where something is not known, or there is no rule.
    pub matches: Option<bool>,
    /// How it was judged, in words.
    pub words: String,
}

/// A value stamped on a part.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Stamped {
    /// What it is, such as `capacitance-herm`.
    pub key: String,
    /// With its unit, as printed.
    pub value: String,
}

/// What a repair came to.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct RepairEnd {
    /// What it came to.
    pub proved: Proved,
    /// Why.
    pub why: Vec<String>,
    /// Every proof, in the order of the plan.
    pub proofs: Vec<Proof>,
}

/// What a repair may come to. None of these says that anything is safe.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Proved {
    /// Everything that the plan asks for was measured, and passed.
    Proven,
    /// Nothing that was measured condemns the unit; something is not proven.
    Monitor,
    /// Something failed, or power could not be given: the unit is left off.
    LeftOff,
}

impl Proved {
    /// In words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Proved::Proven => "proven",
            Proved::Monitor => "monitor",
            Proved::LeftOff => "left off",
        }
    }
}

/// One proof of a repair.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Proof {
    /// What was to be proven.
    pub what: String,
    /// How it came out; none where it could not be proven.
    pub passed: Option<bool>,
    /// What was measured or why it is not proven, in words.
    pub words: String,
    /// The ask.
    pub ask: Option<u32>,
}
