//! What the trail has of a repair in English, once more before it is put into a language: made again by the
//! same fold, and used where its English is what the trail has.

use std::collections::BTreeSet;

use ohmtrail_trail::event::Fitted;
use ohmtrail_words::Said;

use super::end::{why_failed, why_open, why_proven};
use super::fit;
use super::lines::{Line, because, lines};
use crate::again::again;
use crate::book::Book;
use crate::record::Record;

impl Record {
    /// What was proven in a repair, and how each came out, as its end has them.
    #[must_use]
    pub fn proofs_said(&self, book: &Book<'_>) -> Vec<(Said, Said)> {
        let lines = self.lines(book);
        let proofs = self.mended.iter().flat_map(|m| &m.end);
        let each = proofs.flat_map(|end| &end.proofs).map(|proof| {
            let own = || lines.iter().filter(|l| l.what.to_string() == proof.what);
            let what = again(&proof.what, own().map(|l| l.what.clone()));
            (what, again(&proof.words, own().map(|l| l.words.clone())))
        });
        each.collect()
    }

    /// Why a repair came out as it did.
    #[must_use]
    pub fn end_said(&self, book: &Book<'_>) -> Vec<Said> {
        let lines = self.lines(book);
        let ended = self.leave.as_ref().map(|why| because("proofs-ended", why));
        let all: Vec<Said> = why_failed(&lines)
            .chain(why_open(&lines))
            .chain(ended)
            .collect();
        let end = self.mended.iter().flat_map(|m| &m.end);
        let each = end.flat_map(|end| {
            let proven = why_proven(end.proofs.len());
            let all = all.iter().cloned().chain([proven]);
            let all: Vec<Said> = all.collect();
            end.why.iter().map(move |why| {
                let same = all.iter().find(|said| said.to_string() == *why);
                // What barred the way is this program's word, or somebody's.
                same.cloned().unwrap_or_else(|| Said::told(why.as_str()))
            })
        });
        each.collect()
    }

    /// What a part that was fitted is against the one that failed.
    #[must_use]
    pub fn fitted_said(&self, book: &Book<'_>, fitted: &Fitted) -> Said {
        match self.mended.as_deref() {
            Some(mended) => fit::again(book, self, mended, fitted),
            None => Said::phrase(fitted.words.as_str()),
        }
    }

    /// The proofs as they stand, whether or not an ask could be built for each check.
    fn lines(&self, book: &Book<'_>) -> Vec<Line> {
        let Some(mended) = self.mended.as_deref() else {
            return Vec::new();
        };
        let mut all = lines(book, self, mended, &BTreeSet::new());
        all.extend(lines(book, self, mended, &(0..book.checks()).collect()));
        all
    }
}
