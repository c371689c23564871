//! Phrases: English words that the core, the kinds of parts and the built-in sheets say, in the other
//! languages. A phrase's id is made of its own words, so that nothing has to be kept beside it.

use std::sync::OnceLock;

use fluent_bundle::FluentResource;
use fluent_bundle::concurrent::FluentBundle;

use crate::catalogue::read;
use crate::{Glossary, Tongue};

/// The files of phrases of each language but English.
const SPANISH: [&str; 3] = [
    include_str!("catalogues/phrases.es.ftl"),
    include_str!("catalogues/parts.es.ftl"),
    include_str!("catalogues/checks.es.ftl"),
];

/// The phrases of the languages that are not English: ids, and what each says.
pub fn phrases() -> impl Iterator<Item = (&'static str, &'static str)> {
    let lines = SPANISH.iter().flat_map(|text| text.lines());
    lines.filter_map(|line| line.split_once(" = "))
}

/// A phrase's id: its words in small letters, with hyphens between them.
#[must_use]
pub fn phrase_id(words: &str) -> String {
    let mut id = String::from("p");
    for word in words.split(|c: char| !c.is_ascii_alphanumeric()) {
        if !word.is_empty() {
            id.push('-');
            id.push_str(&word.to_ascii_lowercase());
        }
    }
    id
}

impl Tongue {
    /// A phrase in this language; none if it is not known. What a sheet puts one behind another, with a
    /// colon or a semicolon between, are phrases of their own.
    #[must_use]
    pub fn phrase(self, words: &str) -> Option<String> {
        self.phrase_by(&Glossary::default(), words)
    }

    /// The same where a sheet has words of its own.
    #[must_use]
    pub fn phrase_by(self, own: &Glossary, words: &str) -> Option<String> {
        if self == Tongue::English {
            return Some(words.to_owned());
        }
        let whole = |words: &str| {
            let of_sheet = own.of(self, words).map(str::to_owned);
            of_sheet.or_else(|| self.known(words))
        };
        let joined = |between: &str| {
            words.match_indices(between).find_map(|(at, _)| {
                let (of, rest) = words.split_at(at);
                let what = rest.strip_prefix(between)?;
                Some(whole(of)? + between + &self.phrase_by(own, what)?)
            })
        };
        let all = whole(words);
        all.or_else(|| joined(": ")).or_else(|| joined("; "))
    }

    /// A phrase in this language, else as it is.
    #[must_use]
    pub fn phrase_or_own(self, words: &str) -> String {
        self.phrase(words).unwrap_or_else(|| words.to_owned())
    }

    fn known(self, words: &str) -> Option<String> {
        static ALL: OnceLock<FluentBundle<FluentResource>> = OnceLock::new();
        let all = ALL.get_or_init(|| read(Tongue::Spanish, SPANISH.into_iter()));
        let pattern = all.get_message(&phrase_id(words))?.value()?;
        let said = all.format_pattern(pattern, None, &mut Vec::new());
        Some(said.into_owned())
    }
}
