//! Sentences before they are put into a language.

use std::fmt;

use crate::runs::{english, own, unmarked};
use crate::{Glossary, Tongue};

/// A sentence, or several: what is said, with what it names. Its `Display` is English, as a trail keeps it.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Said(Vec<Piece>);

#[derive(Debug, Clone, PartialEq, Eq)]
enum Piece {
    /// English words that stay the same: said in another language by the phrase.
    Phrase(String),
    /// Words that are this program's, or somebody's own.
    Told(String),
    /// English words with what a sheet of one's own has for them in other languages.
    Given(String, Vec<(Tongue, String)>),
    /// A name, digits, or somebody's own words: the same in all languages.
    Own(String),
    /// A message of a catalogue, with what it names.
    Message(&'static str, Vec<(&'static str, Said)>),
}

impl Said {
    /// English words that stay the same.
    #[must_use]
    pub fn phrase(words: impl Into<String>) -> Self {
        Said(vec![Piece::Phrase(words.into())])
    }

    /// What somebody told: this program's own words, where it offered them, else theirs, in whichever
    /// language that is.
    #[must_use]
    pub fn told(words: impl Into<String>) -> Self {
        Said(vec![Piece::Told(words.into())])
    }

    /// English words of a sheet that has words of its own for other languages.
    #[must_use]
    pub fn of_sheet(words: &str, own: &Glossary) -> Self {
        Said::given(words, own).unwrap_or_else(|| Said::phrase(words))
    }

    /// What somebody told who may have taken it from such a sheet.
    #[must_use]
    pub fn told_of_sheet(words: &str, own: &Glossary) -> Self {
        Said::given(words, own).unwrap_or_else(|| Said::told(words))
    }

    fn given(words: &str, own: &Glossary) -> Option<Self> {
        let others = Tongue::ALL.into_iter().filter(|t| !own.is_empty(*t));
        let given: Vec<(Tongue, String)> = others
            .filter_map(|t| Some((t, t.phrase_by(own, words)?)))
            .collect();
        (!given.is_empty()).then(|| Said(vec![Piece::Given(words.to_owned(), given)]))
    }

    /// A name, digits, or somebody's own words.
    #[must_use]
    pub fn own(words: impl Into<String>) -> Self {
        Said(vec![Piece::Own(words.into())])
    }

    /// A message of a catalogue.
    #[must_use]
    pub fn message(id: &'static str) -> Self {
        Said(vec![Piece::Message(id, Vec::new())])
    }

    /// The message that stands last, with something that it names.
    #[must_use]
    pub fn with(mut self, name: &'static str, what: impl Into<Said>) -> Self {
        if let Some(Piece::Message(_, named)) = self.0.last_mut() {
            named.push((name, what.into()));
        }
        self
    }

    /// With more behind it, and this between the two.
    #[must_use]
    pub fn then(mut self, between: &str, more: Said) -> Self {
        if !between.is_empty() {
            self.0.push(Piece::Own(between.to_owned()));
        }
        self.0.extend(more.0);
        self
    }

    /// The same, if there is more.
    #[must_use]
    pub fn then_if(self, between: &str, more: Option<Said>) -> Self {
        match more {
            Some(more) => self.then(between, more),
            None => self,
        }
    }

    /// All of them, with this between each two.
    #[must_use]
    pub fn joined(all: impl IntoIterator<Item = Said>, between: &str) -> Self {
        let mut all = all.into_iter();
        let first = all.next().unwrap_or_default();
        all.fold(first, |said, more| said.then(between, more))
    }

    /// In a language. A phrase that it lacks stands in English.
    #[must_use]
    pub fn to(&self, tongue: Tongue) -> String {
        unmarked(&self.marked(tongue))
    }

    /// The same, with what stands in English in it marked for [`runs`](crate::runs).
    #[must_use]
    pub fn marked(&self, tongue: Tongue) -> String {
        let piece = |piece: &Piece| match piece {
            Piece::Own(words) => own(words),
            Piece::Phrase(words) => tongue
                .phrase(&own(words))
                .unwrap_or_else(|| english(&own(words))),
            Piece::Told(words) => tongue.phrase_or_own(&own(words)),
            Piece::Given(words, given) => match given.iter().find(|(t, _)| *t == tongue) {
                Some((_, said)) => own(said),
                None => Said::phrase(words.as_str()).marked(tongue),
            },
            Piece::Message(id, named) => {
                let said: Vec<(&str, String)> =
                    named.iter().map(|(n, w)| (*n, w.marked(tongue))).collect();
                let named: Vec<(&str, &str)> = said.iter().map(|(n, w)| (*n, w.as_str())).collect();
                tongue.tell(id, &named)
            }
        };
        self.0.iter().map(piece).collect()
    }
}

/// Words of the program stay the same.
impl From<&'static str> for Said {
    fn from(words: &'static str) -> Self {
        Said::phrase(words)
    }
}

/// What was put together is somebody's own.
impl From<String> for Said {
    fn from(words: String) -> Self {
        Said::own(words)
    }
}

impl fmt::Display for Said {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.to(Tongue::English))
    }
}
