//! Home-made boxes that write a value a line, read by a pattern in their profile.
#![deny(clippy::indexing_slicing, clippy::unwrap_used, clippy::expect_used)]

use ohmtrail_core::reading::{Function, MeterId, Reading};
use ohmtrail_core::units::Micros;

use crate::driver::{About, CannotStart, Driver, Entry, Line, Outcome, Pushed, Setup, by_hand};
use crate::lines::{Cut, Lines};
use crate::pattern::Pattern;
use crate::session::Patience;
use crate::showing::Reason;

const ABOUT: About = About {
    functions: &Function::ALL,
    untold: &[
        "what the box does not write, or the pattern leaves out",
        "the box's category and accuracy",
        "whether a digit was damaged on its way: there is no checksum",
    ],
};

/// This driver's row of the table of drivers. 9600 bit/s is common practice, no published source.
pub const ENTRY: Entry = Entry {
    name: "lines",
    what: "lines of text by a pattern in the profile",
    line: Line::eight_bits(9600),
    about: ABOUT,
    patience: Patience::TALKS,
    asked: false,
    start: |setup| Ok(Box::new(Text::start(setup)?)),
    encode: None,
};

/// The driver.
#[derive(Debug)]
struct Text {
    meter: MeterId,
    pattern: Pattern,
    lines: Lines,
    next: Micros,
}

impl Text {
    fn start(setup: &Setup) -> Result<Text, CannotStart> {
        by_hand(setup)?;
        let pattern = setup
            .profile
            .and_then(|profile| profile.lines.as_ref())
            .ok_or(CannotStart::NoTable("lines"))?;
        Ok(Text {
            meter: setup.meter,
            lines: Lines::ending(pattern.end),
            pattern: pattern.clone(),
            next: Micros(0),
        })
    }
}

impl Driver for Text {
    fn push<'b>(&mut self, bytes: &'b [u8], at: Micros) -> Pushed<'b, Reading> {
        let (mut used, mut skipped) = (0, 0);
        let mut rest = bytes;
        loop {
            let pushed = self.lines.push(rest);
            rest = pushed.rest;
            skipped += pushed.skipped;
            let outcome = match pushed.cut {
                Cut::Hungry => Outcome::Hungry,
                Cut::Overlong => Outcome::Rejected(Reason::Overlong),
                // An empty line says nothing.
                Cut::Line(line, bytes) if line.is_empty() => {
                    used += bytes;
                    continue;
                }
                Cut::Line(line, bytes) => {
                    let read = std::str::from_utf8(&line)
                        .map_err(|_| Reason::Layout)
                        .and_then(|line| self.pattern.read(line));
                    match read {
                        Ok(showing) => {
                            used += bytes;
                            Outcome::Got(showing.reading(self.meter, at))
                        }
                        Err(reason) => {
                            skipped += bytes;
                            Outcome::Rejected(reason)
                        }
                    }
                }
            };
            return Pushed {
                outcome,
                used,
                skipped,
                rest,
            };
        }
    }

    fn poll(&mut self, now: Micros) -> Option<&[u8]> {
        let (ask, every_us) = self.pattern.ask.as_ref()?;
        if now < self.next {
            return None;
        }
        self.next = Micros(now.0.saturating_add(*every_us));
        Some(ask)
    }

    fn wake(&self) -> Option<Micros> {
        self.pattern.ask.as_ref().map(|_| self.next)
    }

    fn about(&self) -> About {
        ABOUT
    }
}
