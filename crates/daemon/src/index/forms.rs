//! The JSON forms of what the shop index says: the command line and the API have the same.

use ohmtrail_index as index;
use ohmtrail_trail::rfc3339;
use serde::Serialize;
use utoipa::ToSchema;

/// The units.
#[derive(Debug, Serialize, ToSchema)]
pub struct Units {
    units: Vec<Unit>,
    /// How many there are.
    all_units: i64,
    /// How many visits were made to them.
    all_visits: i64,
}

/// A unit.
#[derive(Debug, Serialize, ToSchema)]
pub struct Unit {
    /// As the shop names it.
    unit: String,
    /// Whether it is simulated.
    simulated: bool,
    /// The sheet of its latest visit.
    sheet: String,
    /// How many visits.
    visits: i64,
    /// When it was first visited.
    first: Option<String>,
    /// When it was last visited.
    last: Option<String>,
}

impl Units {
    /// These, of so many units and visits.
    #[must_use]
    pub fn of(units: &[index::Unit], (all_units, all_visits): (i64, i64)) -> Self {
        let each = units.iter().map(|u| Unit {
            unit: u.unit.clone(),
            simulated: u.simulated,
            sheet: u.sheet.clone(),
            visits: u.visits,
            first: rfc3339(u.first_us),
            last: rfc3339(u.last_us),
        });
        Units {
            units: each.collect(),
            all_units,
            all_visits,
        }
    }
}

/// Visits.
#[derive(Debug, Serialize, ToSchema)]
pub struct Visits {
    /// The latest first.
    visits: Vec<Visited>,
}

/// A visit, in short.
#[derive(Debug, Serialize, ToSchema)]
pub struct Visited {
    /// The visit's number in the index.
    visit: i64,
    /// The head hash of its trail.
    head: String,
    /// Where its trail lies.
    trail: Option<String>,
    /// The unit, as the shop names it.
    unit: String,
    /// Whether it is simulated.
    simulated: bool,
    /// The sheet.
    sheet: String,
    /// Whether the index was made with that very sheet; none if it knows none of that name.
    sheet_same: Option<bool>,
    /// The work order.
    work_order: String,
    /// Who made the visit.
    technician: String,
    /// When it was opened.
    opened: Option<String>,
    /// When it was closed.
    closed: Option<String>,
    /// What the customer reported.
    complaint: Option<String>,
    /// What the isolation came to: `faults`, `no-fault`, `none-of-these` or `undecided`.
    outcome: Option<String>,
    /// The faults found.
    faults: Vec<String>,
    /// How a repair came out: `proven`, `monitor` or `left off`.
    proved: Option<String>,
    /// How the unit was left: `on` or `off`.
    left: Option<String>,
    /// How many damages its trail has.
    damage: i64,
}

impl Visits {
    /// These.
    #[must_use]
    pub fn of(visits: &[index::Visited]) -> Self {
        let each = visits.iter().map(|v| Visited {
            visit: v.visit,
            head: v.head.clone(),
            trail: v.path.clone(),
            unit: v.unit.clone(),
            simulated: v.simulated,
            sheet: v.sheet.clone(),
            sheet_same: v.sheet_same,
            work_order: v.work_order.clone(),
            technician: v.technician.clone(),
            opened: rfc3339(v.opened_us),
            closed: v.closed_us.and_then(rfc3339),
            complaint: v.complaint.clone(),
            outcome: v.outcome.clone(),
            faults: v.faults.clone(),
            proved: v.proved.clone(),
            left: v.left.clone(),
            damage: v.damage,
        });
        Visits {
            visits: each.collect(),
        }
    }
}

/// What was found of a unit before.
#[derive(Debug, Serialize, ToSchema)]
pub struct Door {
    /// The unit, as the shop names it.
    unit: String,
    /// By part: those that failed again first.
    parts: Vec<Behind>,
    /// Its repairs, the latest first.
    repairs: Vec<Repaired>,
}

/// A repair.
#[derive(Debug, Serialize, ToSchema)]
pub struct Repaired {
    /// The visit's number in the index.
    visit: i64,
    /// When it was opened.
    opened: Option<String>,
    /// How it came out: `proven`, `monitor` or `left off`.
    proved: String,
    /// Why, as its trail says it.
    why: String,
}

/// What a part has behind it.
#[derive(Debug, Serialize, ToSchema)]
pub struct Behind {
    /// The part.
    part: String,
    /// Its kind, if the sheet is known.
    kind: Option<String>,
    /// In how many visits it was found to have failed.
    times: usize,
    /// Whether it was found to have failed after it had been replaced.
    again: bool,
    /// What was found of it, the latest first.
    failures: Vec<Failure>,
}

/// A fault that was found before.
#[derive(Debug, Serialize, ToSchema)]
pub struct Failure {
    /// The visit's number in the index.
    visit: i64,
    /// When it was found.
    at: Option<String>,
    /// The fault.
    fault: String,
    /// How the part failed.
    mode: String,
    /// The probability of the finding.
    p: f64,
    /// What it was to the others of the finding: `root-cause`, `consequence` or `coincidence`.
    role: Option<String>,
    /// Whether a repair was approved in that visit, as last decided; none if nothing was.
    approved: Option<bool>,
    /// When the part was fitted next; none if no visit says so.
    fitted: Option<String>,
}

impl Door {
    /// What is said of a unit.
    #[must_use]
    pub fn of(unit: &str, door: &index::Door) -> Self {
        let failure = |f: &index::Failure| Failure {
            visit: f.visit,
            at: rfc3339(f.at_us),
            fault: f.fault.clone(),
            mode: f.mode.clone(),
            p: f.p,
            role: f.role.clone(),
            approved: f.approved,
            fitted: f.fitted_us.and_then(rfc3339),
        };
        let repair = |r: &index::Repaired| Repaired {
            visit: r.visit,
            opened: rfc3339(r.at_us),
            proved: r.proved.clone(),
            why: r.why.clone(),
        };
        let each = door.parts.iter().map(|part| Behind {
            part: part.part.clone(),
            kind: part.kind.clone(),
            times: part.times(),
            again: part.again(),
            failures: part.failures.iter().map(failure).collect(),
        });
        Door {
            unit: unit.to_owned(),
            parts: each.collect(),
            repairs: door.repairs.iter().map(repair).collect(),
        }
    }
}

/// How often which kind of part was found to have failed.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = KindsThatFail)]
pub struct Kinds {
    /// The most frequent first.
    kinds: Vec<Kind>,
}

/// A kind of part.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = KindThatFails)]
pub struct Kind {
    /// The kind.
    kind: String,
    /// Of the visits to units with such a part that came to a conclusion.
    failed: Share,
    /// How it failed, the most frequent first.
    modes: Vec<Mode>,
}

/// How a kind of part failed.
#[derive(Debug, Serialize, ToSchema)]
pub struct Mode {
    /// How.
    mode: String,
    /// How many of these failures.
    count: i64,
    /// Of how many.
    of: i64,
    /// The begin of the interval of that share.
    from: f64,
    /// Its end.
    to: f64,
}

/// A share with its interval of 95 % (Wilson's score interval).
#[derive(Debug, Serialize, ToSchema)]
pub struct Share {
    /// How many.
    count: i64,
    /// Of how many.
    of: i64,
    /// The interval's begin, a share of one.
    from: f64,
    /// Its end.
    to: f64,
}

impl Share {
    fn of(share: &index::Share) -> Self {
        Share {
            count: share.k,
            of: share.n,
            from: share.from,
            to: share.to,
        }
    }
}

impl Kinds {
    /// These.
    #[must_use]
    pub fn of(kinds: &[index::KindOfPart]) -> Self {
        let mode = |(mode, share): &(String, index::Share)| Mode {
            mode: mode.clone(),
            count: share.k,
            of: share.n,
            from: share.from,
            to: share.to,
        };
        let each = kinds.iter().map(|k| Kind {
            kind: k.kind.clone(),
            failed: Share::of(&k.failed),
            modes: k.modes.iter().map(mode).collect(),
        });
        Kinds {
            kinds: each.collect(),
        }
    }
}
