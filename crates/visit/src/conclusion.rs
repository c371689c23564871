//! What the isolation came to: its outcome, why it ended there, and what each fault is to the
//! others: root cause, consequence, coincidence.

use std::collections::BTreeMap;

use ohmtrail_circuit::sheet::{FaultId, Question};
use ohmtrail_core::isolate::PowerNeed;
use ohmtrail_trail::event::{Conclusion, Finding, Outcome, Part, Role};
use ohmtrail_words::Said;

use crate::book::Book;
use crate::isolate::Stand;
use crate::record::Answer;
use crate::visit::Visit;

impl Visit<'_> {
    /// The conclusion and the finding where nothing more is asked.
    pub(crate) fn conclude(&mut self, stand: Stand) -> (Conclusion, Finding) {
        let found = match stand {
            Stand::Found { hypothesis, p } => Some((hypothesis, p)),
            _ => None,
        };
        let (mut finding, roles) = self.finding(found);
        let leading = self.record.suspects.first().map_or(0.0, |s| s.p);
        let ended = self.record.leave.is_some();
        let (outcome, p, why) = match stand {
            Stand::Found { p, .. } if finding.faults.is_empty() => (
                Outcome::NoFault,
                p,
                "nothing that was measured speaks of a fault of the sheet",
            ),
            Stand::Found { p, .. } => (
                Outcome::Faults,
                p,
                "to act on it now is expected to cost less than any further check",
            ),
            Stand::Unnamed { p } => (
                Outcome::NoneOfThese,
                p,
                "what was measured fits no fault of the sheet: look for a bad joint, a path that \
                 should not be there, a part of the wrong value, a change of the wiring",
            ),
            _ if ended => (
                Outcome::Undecided,
                leading,
                "the checks were ended before anything was proven",
            ),
            _ => (
                Outcome::Undecided,
                leading,
                "no check that can be made tells enough",
            ),
        };
        if outcome == Outcome::NoneOfThese {
            finding.p = p;
        }
        let conclusion = Conclusion {
            outcome,
            p,
            roles,
            why: why.to_owned(),
        };
        (conclusion, finding)
    }

    /// What each fault is to the others, and what follows from them.
    pub(crate) fn roles(&self, faults: &[FaultId]) -> Vec<Role> {
        let sheet = self.book.sheet;
        let name = |f: FaultId| sheet.faults[f].name.clone();
        let link = |by, fault| sheet.caused.iter().any(|c| c.by == by && c.fault == fault);
        let caused = |f: FaultId| faults.iter().any(|&by| link(by, f));
        let causes = |f: FaultId| faults.iter().any(|&other| link(f, other));
        let mut all: Vec<Role> = faults
            .iter()
            .map(|&f| Role {
                what: name(f),
                part: match (caused(f) && !causes(f), causes(f) || faults.len() == 1) {
                    (true, _) => Part::Consequence,
                    (_, true) => Part::RootCause,
                    _ => Part::Coincidence,
                },
                by: faults
                    .iter()
                    .filter(|&&by| link(by, f) && !causes(f))
                    .map(|&by| name(by))
                    .collect(),
            })
            .collect();
        all.sort_by_key(|role| role.part == Part::Consequence);
        let alone: Vec<Vec<String>> = faults.iter().map(|f| self.follows(&[*f])).collect();
        for what in self.follows(faults) {
            let mut by: Vec<String> = faults
                .iter()
                .zip(&alone)
                .filter(|(_, own)| own.contains(&what))
                .map(|(f, _)| name(*f))
                .collect();
            if by.is_empty() {
                by = faults.iter().map(|f| name(*f)).collect();
            }
            all.push(Role {
                what,
                part: Part::Consequence,
                by,
            });
        }
        all
    }
}

/// What is said of faults that come and go: under which condition they show, and in which answers
/// they showed and did not.
pub(crate) fn come_and_go(
    book: &Book<'_>,
    faults: &[FaultId],
    answers: &[Answer],
    bits: &BTreeMap<FaultId, Vec<(u32, f32)>>,
) -> Vec<Said> {
    let sheet = book.sheet;
    let power = |a: &Answer| Some(book.table.ask(a.number)?.power);
    let list = |asks: Vec<u32>| {
        let asks: Vec<String> = asks.iter().map(u32::to_string).collect();
        if asks.is_empty() {
            "none".into()
        } else {
            Said::own(asks.join(", "))
        }
    };
    let told = |f: &FaultId| {
        let shows = sheet.shows(*f)?;
        let part = sheet.parts.get(sheet.faults[*f].owner)?;
        let own = part.first_point..part.first_point + part.kind.terminals.len();
        // A whole part speaks for no fault by itself: it is the part's own dead reading that counts.
        let reads = |a: &Answer| match &sheet.checks.get(usize::from(a.number))?.question {
            Question::Measure { points, .. } => Some(points.iter().all(|p| own.contains(p))),
            Question::Look { .. } => None,
        };
        let speaks = |ask: u32| {
            let mut own = bits.get(f).into_iter().flatten();
            own.any(|(a, b)| *a == ask && *b >= 1.0)
        };
        let shown = answers.iter().filter(|a| power(a) == Some(PowerNeed::On));
        let shown = shown.filter_map(|a| a.ask).filter(|ask| speaks(*ask));
        let whole = answers.iter().filter(|a| power(a) == Some(PowerNeed::Off));
        let whole = whole.filter(|a| reads(a) == Some(true));
        let said = Said::message("intermittent")
            .with("fault", sheet.faults[*f].name.clone())
            .with("when", shows)
            .with("shown", list(shown.collect()))
            .with("dead", list(whole.filter_map(|a| a.ask).collect()));
        Some(said)
    };
    faults.iter().filter_map(told).collect()
}

/// A role in words, but for a root cause, which says nothing by itself.
pub(crate) fn told(role: &Role, all: &[Role]) -> Option<Said> {
    let both = |one: Said, other: Said| Said::message("both").with("one", one).with("other", other);
    match role.part {
        Part::RootCause => None,
        Part::Consequence => {
            let by = role.by.iter().map(|by| Said::own(by.clone()));
            let said = Said::message("follows")
                .with("what", role.what.clone())
                .with("by", by.reduce(both).unwrap_or_default());
            Some(said)
        }
        Part::Coincidence => {
            let other = all
                .iter()
                .find(|o| o.part == Part::Coincidence && o.what != role.what)?;
            // Said once of the two.
            let said = || {
                Said::message("coincidence")
                    .with("one", role.what.clone())
                    .with("other", other.what.clone())
            };
            (role.what < other.what).then(said)
        }
    }
}
