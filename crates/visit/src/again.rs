//! What the trail has in English, once more before it is put into a language. It is made from what the trail
//! holds besides, and used only if its English is what the trail has; else the trail's own words stand.

use ohmtrail_circuit::sheet::FaultId;
use ohmtrail_trail::event::{Act, Unproven};
use ohmtrail_words::Said;

use crate::book::Book;
use crate::finding::{consequences, weigh, why_left};
use crate::next::why_left_so;
use crate::record::Record;
use crate::words::{STAYS_LIVE, TOO_OFTEN, fault_said};

/// The one of these whose English that is, else the words as they are.
pub(crate) fn again(kept: &str, all: impl IntoIterator<Item = Said>) -> Said {
    let mut all = all.into_iter();
    all.find(|said| said.to_string() == kept)
        .unwrap_or_else(|| Said::phrase(kept))
}

impl Record {
    fn found_faults(&self, book: &Book<'_>) -> Vec<FaultId> {
        let names = self.finding.iter().flat_map(|f| &f.faults);
        names.filter_map(|name| book.sheet.fault(name)).collect()
    }

    /// What follows from the finding.
    #[must_use]
    pub fn consequences_said(&self, book: &Book<'_>) -> Vec<Said> {
        let Some(finding) = &self.finding else {
            return Vec::new();
        };
        let roles = self.conclusion.as_ref().map_or(&[][..], |c| &c.roles);
        let answers = self.answers(book);
        let bits = weigh(book, &answers);
        let all = consequences(book, roles, &self.found_faults(book), &answers, &bits);
        let kept = finding.consequences.iter();
        kept.map(|kept| again(kept, all.iter().cloned())).collect()
    }

    /// Why something is still unproven.
    #[must_use]
    pub fn unproven_said(&self, book: &Book<'_>, unproven: &Unproven) -> Said {
        let Some(f) = book.sheet.fault(&unproven.fault) else {
            return Said::phrase(unproven.why.clone());
        };
        let faults = self.found_faults(book);
        let of = |next: Option<&str>| {
            let why = why_left(book, &faults, f, unproven.p, next);
            fault_said(book.sheet, &unproven.fault).then(": ", why)
        };
        // The minutes of the next check stand last, and nowhere else in the trail.
        let last = |c: char| !(c.is_ascii_digit() || c == '.');
        let next = unproven.why.rsplit(last).next();
        again(&unproven.why, [of(None), of(next)])
    }

    /// Why the unit was left as it is.
    #[must_use]
    pub fn left_said(&self, book: &Book<'_>) -> Option<Said> {
        let left = self.left.as_ref()?;
        let not_left: Vec<(&Act, &str)> = self
            .skipped
            .iter()
            .filter_map(|(ask, why)| {
                let request = &self.ask(*ask)?.request;
                Some((request.act()?, why.as_str()))
            })
            .collect();
        let reasons = self.skipped.iter().map(|(_, why)| why.as_str());
        let reasons = [STAYS_LIVE, TOO_OFTEN].into_iter().chain(reasons);
        let not_dead = std::iter::once(None).chain(reasons.map(Some));
        // Acts on the way to a gate were passed over before those of leaving.
        let all = not_dead.flat_map(|not_dead| {
            let not_left = &not_left;
            (0..=not_left.len()).map(move |from| {
                let acts = not_left.get(from..).unwrap_or_default();
                why_left_so(book, self, left.power, not_dead, acts.iter().copied())
            })
        });
        Some(again(&left.why, all))
    }
}
