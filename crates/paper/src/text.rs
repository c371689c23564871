//! Lines, dates and hashes on paper.

use ohmtrail_trail::event::Stamp;
use ohmtrail_visit::{Book, fault_said};
use ohmtrail_words::{Said, Tongue};
use time::OffsetDateTime;

/// Wraps words to lines of at most `width` characters; a longer word is cut.
pub(crate) fn wrap(text: &str, width: usize) -> Vec<String> {
    let mut lines = Vec::new();
    let mut line = String::new();
    for word in text.split_whitespace() {
        let mut rest: Vec<char> = word.chars().collect();
        while !rest.is_empty() {
            let used = line.chars().count();
            let room = width.saturating_sub(used + usize::from(used > 0));
            if rest.len() > room && used > 0 {
                lines.push(std::mem::take(&mut line));
                continue;
            }
            let part: String = rest.drain(..rest.len().min(room.max(1))).collect();
            if used > 0 {
                line.push(' ');
            }
            line.push_str(&part);
        }
    }
    if !line.is_empty() {
        lines.push(line);
    }
    lines
}

/// A moment by the wall clock, in UTC.
pub(crate) fn moment(t: Tongue, at: Option<Stamp>) -> String {
    let time = at.and_then(|at| {
        OffsetDateTime::from_unix_timestamp_nanos(i128::from(at.wall_us) * 1000).ok()
    });
    time.map_or_else(
        || t.say("paper-no-date"),
        |time| {
            format!(
                "{:04}-{:02}-{:02} {:02}:{:02} UTC",
                time.year(),
                u8::from(time.month()),
                time.day(),
                time.hour(),
                time.minute()
            )
        },
    )
}

/// The day of a moment, in UTC.
pub(crate) fn day(at: Option<Stamp>) -> Option<(i32, u8, u8)> {
    let nanos = i128::from(at?.wall_us) * 1000;
    let t = OffsetDateTime::from_unix_timestamp_nanos(nanos).ok()?;
    Some((t.year(), u8::from(t.month()), t.day()))
}

/// A fault in words, marked where they are in another language; its name where the sheet has none for it.
pub(crate) fn fault(t: Tongue, book: &Book<'_>, name: &str) -> String {
    fault_said(book.sheet, name).marked(t)
}

/// Words of this program; marked where they are in another language.
pub(crate) fn phrase(t: Tongue, words: &str) -> String {
    Said::phrase(words).marked(t)
}

/// A wire's mark: of the sheet, or as somebody noted it; marked where it is in another language.
pub(crate) fn mark(t: Tongue, book: &Book<'_>, mark: &str) -> String {
    Said::told_of_sheet(mark, &book.sheet.glossary).marked(t)
}

#[cfg(test)]
mod tests {
    use super::*;
    use ohmtrail_core::units::Micros;

    #[test]
    fn lines_are_no_wider_and_lose_no_word() {
        let text = "a bb ccc dddd eeeeeeeeeeee f";
        for width in 1..14 {
            let lines = wrap(text, width);
            assert!(
                lines.iter().all(|l| l.chars().count() <= width),
                "{lines:?}"
            );
            let letters = |t: &str| t.replace(' ', "");
            assert_eq!(letters(&lines.join("")), letters(text));
        }
    }

    #[test]
    fn a_moment_is_written_in_utc() {
        let at = Stamp {
            steady: Micros(0),
            // 2001-09-09T01:46:40Z is a thousand million seconds of the Unix clock.
            wall_us: 1_000_000_000_000_000,
        };
        let says = |at| moment(Tongue::English, at);
        assert_eq!(says(Some(at)), "2001-09-09 01:46 UTC");
        assert_eq!(says(None), "no date");
    }
}
