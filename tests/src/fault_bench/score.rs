//! What a finding is worth against the truth. The words are defined in docs/fault-bench.md; where
//! there is a choice, the stricter one is taken.

use ohmtrail_circuit::sheet::{FaultId, Sheet};
use ohmtrail_circuit::unit::Flaw;

use super::case::{Case, Kind};
use super::play::{Found, Played};

/// How a finding stands to the truth.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Mark {
    /// The fault set, named as found.
    Right,
    /// Named among those that the finding says no check tells apart.
    Alike,
    /// One of two faults, and nothing healthy.
    Partly,
    /// Another fault of a part that is broken.
    Place,
    /// Nothing is named, though something is wrong.
    Undecided,
    /// Something healthy is named.
    Condemned,
    /// The dialogue broke off.
    Broken,
}

impl Mark {
    /// Every mark.
    pub const ALL: [Mark; 7] = [
        Mark::Right,
        Mark::Alike,
        Mark::Partly,
        Mark::Place,
        Mark::Undecided,
        Mark::Condemned,
        Mark::Broken,
    ];

    /// Its word.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Mark::Right => "right",
            Mark::Alike => "alike",
            Mark::Partly => "partly",
            Mark::Place => "place",
            Mark::Undecided => "undecided",
            Mark::Condemned => "condemned",
            Mark::Broken => "broken",
        }
    }
}

/// The part that a fault means: its owner, or the part whose lead a wire is. Wires come after the
/// parts.
fn owner(sheet: &Sheet, fault: FaultId) -> usize {
    let owner = sheet.faults[fault].owner;
    let wire = owner.checked_sub(sheet.parts.len());
    wire.and_then(|w| sheet.wires[w].lead_of).unwrap_or(owner)
}

/// Whether a set of names is the truth: the injected faults; more only what truly followed from
/// them; less only what the finding itself says was brought about by the others.
fn is_truth(names: &[String], truth: &[String], follows: &[String], found: &Found) -> bool {
    let mut extra = names.iter().filter(|n| !truth.contains(n));
    let mut lacking = truth.iter().filter(|t| !names.contains(t));
    let told = |fault: &String| {
        found
            .consequences
            .iter()
            .any(|words| words.split(':').next() == Some(fault.as_str()))
    };
    let some = names.iter().any(|n| truth.contains(n)) || truth.is_empty() && names.is_empty();
    some && extra.all(|e| follows.contains(e)) && lacking.all(told)
}

/// The mark of a played case.
#[must_use]
pub fn mark(sheet: &Sheet, case: &Case, played: &Played) -> Mark {
    let Some(found) = &played.found else {
        return Mark::Broken;
    };
    if played.broken.is_some() {
        return Mark::Broken;
    }
    if case.kind == Kind::Flaw {
        return flaw(sheet, case, found);
    }
    let truth = case.fault_names(sheet);
    if found.faults.is_empty() {
        return if truth.is_empty() {
            Mark::Right
        } else {
            Mark::Undecided
        };
    }
    if is_truth(&found.faults, &truth, &played.follows, found) {
        return Mark::Right;
    }
    if found
        .alike
        .iter()
        .any(|set| is_truth(set, &truth, &played.follows, found))
    {
        return Mark::Alike;
    }
    let owners: Vec<usize> = case.faults.iter().map(|&f| owner(sheet, f)).collect();
    let broken = |name: &String| {
        let at = sheet.fault(name).map(|f| owner(sheet, f));
        played.follows.contains(name) || at.is_some_and(|at| owners.contains(&at))
    };
    if !found.faults.iter().all(broken) {
        Mark::Condemned
    } else if found.faults.iter().any(|f| truth.contains(f)) {
        Mark::Partly
    } else {
        Mark::Place
    }
}

/// The mark where what is wrong is no fault of the sheet: nothing should be named. What touches
/// the flaw itself is its place.
fn flaw(sheet: &Sheet, case: &Case, found: &Found) -> Mark {
    if found.faults.is_empty() {
        return Mark::Right;
    }
    let touches = |name: &String| {
        let Some(fault) = sheet.fault(name) else {
            return false;
        };
        let owner = sheet.faults[fault].owner;
        case.flaws.iter().any(|flaw| match *flaw {
            Flaw::Wire { wire, .. } => owner == sheet.parts.len() + wire,
            Flaw::Value { part, .. } => owner == part,
            Flaw::Path { .. } | Flaw::Swap { .. } => false,
        })
    };
    // Or it says itself that no check tells what it names from that.
    let mut alike = found.alike.iter();
    if found.faults.iter().all(touches) || alike.any(|set| set.iter().all(touches)) {
        Mark::Place
    } else {
        Mark::Condemned
    }
}

/// Whether a hermetic compressor whose overload was truly open from heat, and in which nothing
/// was wrong, is named for more than its heat.
#[must_use]
pub fn condemns_hot(sheet: &Sheet, case: &Case, played: &Played) -> bool {
    let Some(found) = &played.found else {
        return false;
    };
    played.hot.iter().any(|part| {
        // Named for anything but its heat.
        let own = |name: &str| {
            let kind = name
                .strip_prefix(part.as_str())
                .and_then(|n| n.strip_prefix('.'));
            kind.is_some_and(|kind| kind != "overheated")
        };
        let ill = case.faults.iter().any(|&f| own(&sheet.faults[f].name));
        let flawed = case.flaws.iter().any(|flaw| match *flaw {
            Flaw::Value { part: p, .. } => sheet.parts[p].name == *part,
            Flaw::Wire { .. } | Flaw::Path { .. } | Flaw::Swap { .. } => false,
        });
        let named = found.faults.iter().any(|name| own(name));
        !ill && !flawed && named
    })
}
