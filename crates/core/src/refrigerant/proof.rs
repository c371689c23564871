//! What the proof of a charge on a visit holds to, besides the weather and the limits of each reading.

use crate::rules::{Rule, practice, verified};

/// Minutes of running before anything is read.
pub const STEADY: Rule = Rule::at_least(
    "refrigerant.steady",
    "minutes that a unit runs, without a stop, before its charge is read",
    "min",
    15.0,
    verified("2008 California Residential Appendix RA3.2: 15 minutes of running"),
);
/// Minutes from the first reading of one judgement to the last.
pub const SPAN: Rule = Rule::at_most(
    "refrigerant.span",
    "minutes between the readings that a charge is judged by",
    "min",
    30.0,
    practice("a choice of this program: twice the minutes that a unit runs before it is read"),
);
/// What is accepted as a target of subcooling or superheat.
pub const TARGETS: Rule = Rule::between(
    "refrigerant.targets",
    "target of subcooling or superheat that is accepted off a plate or a chart",
    "K",
    (1.0, 30.0),
    practice("a choice of this program; tables of target superheat reach 26 K"),
);
/// How often readings that contradict one another are read anew.
pub const VOID_SETS: Rule = Rule::at_most(
    "refrigerant.void-sets",
    "sets of readings that contradict themselves before a charge is left open",
    "1",
    3.0,
    practice("a choice of this program"),
);
