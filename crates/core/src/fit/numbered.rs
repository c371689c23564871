//! Parts that no rating of theirs here tells: compressors, switches, boards, valves. They are matched by their
//! maker's number, and by what their maker names them in the place of.

use serde::Serialize;

use super::{Aspect, Outcome, Reason, Report, always, rules};

/// A part by its maker's number.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
pub struct Numbered<'a> {
    /// The number on its plate.
    pub number: Option<&'a str>,
    /// The numbers that its maker names it in the place of, with commas between them.
    pub replaces: Option<&'a str>,
}

/// A part in place of another. Capitals and spaces make no other number; every other character does.
#[must_use]
pub fn numbered(original: &Numbered<'_>, candidate: &Numbered<'_>) -> Report {
    let mut report = Report::default();
    let was = some(original.number);
    let names = candidate.replaces.unwrap_or_default();
    let by = always(Aspect::Number, "1", &rules::NUMBER);
    if let Some(was) = was
        && names.split(',').any(|name| is_same(name, was))
    {
        by.judge(
            &mut report,
            Some(()),
            Some(()),
            |()| None,
            |(), ()| (Outcome::Fits, Reason::Replaces),
        );
        return report;
    }
    by.judge(
        &mut report,
        was,
        some(candidate.number),
        |_| None,
        |was, is| {
            if is_same(was, is) {
                (Outcome::Fits, Reason::Same)
            } else {
                (Outcome::Unknown, Reason::OtherNumber)
            }
        },
    );
    report
}

/// A number that says something.
fn some(number: Option<&str>) -> Option<&str> {
    number.filter(|n| letters(n).next().is_some())
}

fn letters(number: &str) -> impl Iterator<Item = char> {
    let written = number.chars().filter(|c| !c.is_whitespace());
    written.map(|c| c.to_ascii_uppercase())
}

fn is_same(a: &str, b: &str) -> bool {
    letters(a).eq(letters(b))
}
