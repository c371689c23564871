//! A sheet with its words in the language that a drawing is in.

use std::borrow::Cow;

use ohmtrail_words::Tongue;

use crate::sheet::Sheet;

/// The sheet, with what it says of parts, points and wires in that language: its own, or as far as they are known.
pub(super) fn in_language(sheet: &Sheet, t: Tongue) -> Cow<'_, Sheet> {
    if t == Tongue::English {
        return Cow::Borrowed(sheet);
    }
    let mut said = sheet.clone();
    let parts = said.parts.iter_mut().map(|p| &mut p.words);
    let points = said.points.iter_mut().map(|(_, words)| words);
    let marks = said.wires.iter_mut().map(|w| &mut w.mark);
    for words in parts.chain(points).chain(marks).chain([&mut said.title]) {
        *words = sheet.said(words).to(t);
    }
    Cow::Owned(said)
}
