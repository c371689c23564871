//! Words that a sheet of one's own brings with it, in languages other than its English.

use std::collections::BTreeMap;

use crate::Tongue;

/// The words of one sheet in other languages, by their English as the sheet has them. They come before the
/// phrases of the catalogues.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Glossary(BTreeMap<(&'static str, String), String>);

impl Glossary {
    /// Adds words; what was there for them before is replaced.
    pub fn add(&mut self, tongue: Tongue, words: &str, said: &str) {
        let key = (tongue.tag(), words.to_owned());
        self.0.insert(key, said.to_owned());
    }

    /// What these words are in that language, if they are among them.
    #[must_use]
    pub fn of(&self, tongue: Tongue, words: &str) -> Option<&str> {
        let key = (tongue.tag(), words.to_owned());
        self.0.get(&key).map(String::as_str)
    }

    /// Whether there are none in that language.
    #[must_use]
    pub fn is_empty(&self, tongue: Tongue) -> bool {
        self.0.keys().all(|(tag, _)| *tag != tongue.tag())
    }
}
