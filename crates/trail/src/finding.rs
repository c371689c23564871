//! What a visit found: what its isolation came to, and what carries that.

use serde::{Deserialize, Serialize};

/// What the isolation came to.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Conclusion {
    /// What it came to.
    pub outcome: Outcome,
    /// Its posterior probability; undecided, that of the leading suspect.
    pub p: f32,
    /// What each fault of the finding, and each thing that follows from one, is to the others.
    pub roles: Vec<Role>,
    /// Why it ended here.
    pub why: String,
}

/// What an isolation may come to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Outcome {
    /// The faults of the finding.
    Faults,
    /// Nothing wrong with what was checked.
    NoFault,
    /// Something is wrong that the sheet has no fault for.
    NoneOfThese,
    /// What failed is not proven.
    Undecided,
}

/// What something is to the other faults of a finding.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Role {
    /// The fault, or what follows from one.
    pub what: String,
    /// What it is.
    pub part: Part,
    /// What brought it about; empty for what is not brought about.
    pub by: Vec<String>,
}

/// The part that something plays in a finding.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Part {
    /// It failed of itself.
    RootCause,
    /// Another fault of the finding brought it about.
    Consequence,
    /// It failed of itself beside another that nothing links it with.
    Coincidence,
}

/// What the visit found.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Finding {
    /// The faults found; empty for *none of these*.
    pub faults: Vec<String>,
    /// Faults that no check from outside tells from these.
    pub alike: Vec<Vec<String>>,
    /// Posterior probability of the set, of *no fault* or of *none of these*; zero where nothing was
    /// concluded.
    pub p: f32,
    /// What follows from the faults: a tripped overload, an open breaker.
    pub consequences: Vec<String>,
    /// The takes and looks that carry it, by ask number.
    pub evidence: Vec<u32>,
    /// What was ruled out, and by which asks.
    pub ruled_out: Vec<RuledOut>,
    /// What is still unproven, and why.
    pub unproven: Vec<Unproven>,
}

/// A fault that the evidence rules out.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct RuledOut {
    /// The fault.
    pub fault: String,
    /// The asks that rule it out.
    pub by: Vec<u32>,
}

/// A fault that stays unproven either way.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Unproven {
    /// The fault.
    pub fault: String,
    /// Its posterior probability.
    pub p: f32,
    /// Why it is left, or what must be checked when.
    pub why: String,
}
