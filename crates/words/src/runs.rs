//! Which words of a text are in another language than the rest, so that a screen reader pronounces them so.
//!
//! Words that a language lacks stand in English within its sentences, and messages are put together as texts.
//! So each such place is marked within the text, by two code points that The Unicode Standard, 23.7, keeps for
//! use within a program and that no text has: they are taken out when the text is set.

use crate::Tongue;

const BEGINS: char = '\u{FDD0}';
const ENDS: char = '\u{FDD1}';

/// Words in one language.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Run<'t> {
    /// The words.
    pub words: &'t str,
    /// Their language, where it is not the one of the text.
    pub other: Option<Tongue>,
}

/// Words that stand in English within another language.
pub(crate) fn english(words: &str) -> String {
    format!("{BEGINS}{words}{ENDS}")
}

/// Somebody's own words, which mark nothing.
pub(crate) fn own(words: &str) -> String {
    words.replace([BEGINS, ENDS], "")
}

/// A text by its languages.
pub fn runs(text: &str) -> impl Iterator<Item = Run<'_>> {
    let mut other = None;
    text.split_inclusive([BEGINS, ENDS])
        .filter_map(move |piece| {
            let run = Run {
                words: piece.trim_end_matches([BEGINS, ENDS]),
                other,
            };
            other = piece.ends_with(BEGINS).then_some(Tongue::English);
            (!run.words.is_empty()).then_some(run)
        })
}

/// A text without its marks.
#[must_use]
pub fn unmarked(text: &str) -> String {
    runs(text).map(|run| run.words).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Said;

    #[test]
    fn what_stands_in_english_is_told_from_the_rest() {
        let said = Said::message("and-also")
            .with("one", Said::phrase("the compressor"))
            .with("other", Said::phrase("an invented part \u{FDD0}"));
        let text = said.marked(Tongue::Spanish);
        let all: Vec<_> = runs(&text).map(|r| (r.words, r.other)).collect();
        let english = Some(Tongue::English);
        assert_eq!(
            all,
            [("el compresor, y ", None), ("an invented part ", english)]
        );
        assert_eq!(unmarked(&text), "el compresor, y an invented part ");
        assert_eq!(said.to(Tongue::Spanish), unmarked(&text));
        // In English there is nothing to tell.
        assert_eq!(runs(&said.marked(Tongue::English)).count(), 1);
    }
}
