//! Safety gates as types: what must have been done and read before something may be asked for.
//!
//! [`Gates`] is a state machine without a clock or a port: it is told what was done and what the
//! meter showed, and it opens and shuts gates. An open gate is a value that only this module can
//! make and that the machine owns: [`ProvedDead`], [`Discharged`], [`Loose`],
//! [`ReadyToEnergise`]. It is lent out as a reference, so it cannot be kept past a revocation,
//! which needs the machine to itself; it cannot be copied, stored or read back from a file.
//! An ask behind a gate ([`DeadAsk`], [`LiftAsk`], [`PowerOn`]…) can be built from that reference
//! only.
//!
//! ```text
//! acts, readings, takes -> Gates -> &ProvedDead, &Discharged<Measure> -> DeadAsk
//! ```
//!
//! A gate says what was measured, by which meter and when; it never says that a circuit is safe.
//! Local codes and the practice of licensed people come first.
//!
//! The proof reads the poles of every source that the plan names. A conductor behind them may still
//! be fed by what the plan does not know: before ohms, farads or megohms at a pair that the proof
//! did not read, AC volts are read from one of the two to ground and between them; before a wire end is
//! lifted or put back, from it to ground. NFPA 70E 120.5 has the test made at each point of work (from
//! memory).
//!
//! The order of the steps follows NFPA 70E 120.5 (2018 on) and OSHA 29 CFR 1910.333(b)(2), both
//! verified at second hand; that both sides of an open contactor and every other source are read
//! is common practice.

mod acts;
mod ask;
mod event;
pub mod limits;
mod machine;
mod plan;
mod readings;
mod step;
mod token;

pub use ask::{
    AskError, Category, DeadAsk, Energise, InsulationAsk, LiftAsk, LiftedReason, LiveAsk, LooseAsk,
    PowerOn, TouchAsk,
};
pub use event::{Act, Alarm, Event, GateSet, Known, NotCounted, Outcome, Seen, Why};
pub use machine::{Gates, MAX_LIFTED};
pub use plan::{
    GatePlan, MAX_CAPACITORS, MAX_HANGING, MAX_PAIRS, MAX_PROTECTORS, MAX_SOURCES, OtherSource,
    Pair, PlanError, PointId, Protector,
};
pub use step::{Gate, Step};
pub use token::{
    Discharged, InsulationReady, Level, Loose, Measure, ProvedDead, ReadyToEnergise, Touch,
};
