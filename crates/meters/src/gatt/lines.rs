//! Values of characteristics as lines of text, and the driver that reads them. A transport writes a
//! line for each value: the characteristic, its Presentation Format descriptor (`-` for none), and
//! the value, in hexadecimal; and before them a line for each characteristic with what the meter
//! calls it:
//!
//! ```text
//! 7a2b0001-9c7e-4f1d-8b3a-5d6e7f809a0b 10fe2a27010000 : Lead resistance
//! 7a2b0001-9c7e-4f1d-8b3a-5d6e7f809a0b 10fe2a27010000 dc000000
//! 00002a6e-0000-1000-8000-00805f9b34fb - 6608
//! ```
//!
//! So each value carries what is needed to read it: one that was kept can be read again.
#![deny(clippy::indexing_slicing, clippy::unwrap_used, clippy::expect_used)]

use std::collections::VecDeque;

use ohmtrail_core::reading::{Function, MeterId, Reading};
use ohmtrail_core::units::Micros;

use super::{ABOUT, Reader};
use crate::ble::Uuid;
use crate::driver::{About, CannotStart, Driver, Outcome, Pushed, Setup, Told, by_hand};
use crate::lines::{Cut, Lines};
use crate::showing::{Reason, Showing};

/// The line of one value.
#[must_use]
pub fn value(uuid: Uuid, format: Option<&[u8]>, value: &[u8]) -> String {
    format!("{uuid} {} {}\n", hex(format), hex(Some(value)))
}

/// The line that says what the meter calls a characteristic; `name` is empty if it does not say.
#[must_use]
pub fn called(uuid: Uuid, format: Option<&[u8]>, name: &str) -> String {
    let name: String = name
        .chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .take(LONGEST_NAME)
        .collect();
    format!("{uuid} {} : {name}\n", hex(format))
}

/// The longest name that is passed on, in characters.
const LONGEST_NAME: usize = 60;
/// What the meter told and nobody has asked for yet is kept up to this many.
const TOLD: usize = 32;

fn hex(bytes: Option<&[u8]>) -> String {
    match bytes {
        None => "-".to_owned(),
        Some(bytes) => bytes.iter().map(|b| format!("{b:02x}")).collect(),
    }
}

fn unhex(text: &str) -> Option<Vec<u8>> {
    let digits: Option<Vec<u8>> = text
        .chars()
        .map(|c| c.to_digit(16).and_then(|d| u8::try_from(d).ok()))
        .collect();
    let digits = digits?;
    let pairs = digits.chunks_exact(2);
    pairs.remainder().is_empty().then(|| {
        pairs
            .map(|pair| pair.iter().fold(0, |byte, digit| byte << 4 | digit))
            .collect()
    })
}

/// The driver.
#[derive(Debug)]
pub(super) struct Values {
    meter: MeterId,
    /// What volts and amperes are.
    volts: Option<Function>,
    lines: Lines,
    told: VecDeque<Told>,
}

/// What a line says.
enum Said {
    Shows(Showing),
    Told(Told),
}

impl Values {
    pub(super) fn start(setup: &Setup) -> Result<Box<dyn Driver>, CannotStart> {
        by_hand(setup)?;
        if let Some(function) = setup.volts
            && !["V", "A"].contains(&function.ucum())
        {
            return Err(CannotStart::NotVolts(function));
        }
        let profile = setup.profile.and_then(|p| p.ble.as_ref());
        Ok(Box::new(Values {
            meter: setup.meter,
            volts: setup.volts.or(profile.and_then(|ble| ble.function)),
            lines: Lines::ending(b'\n'),
            told: VecDeque::new(),
        }))
    }

    fn read(&self, line: &[u8]) -> Result<Said, Reason> {
        let line = std::str::from_utf8(line).map_err(|_| Reason::Text)?;
        let mut words = line.splitn(3, ' ');
        let uuid: Uuid = words
            .next()
            .and_then(|uuid| uuid.parse().ok())
            .ok_or(Reason::Text)?;
        let format = match words.next() {
            Some("-") => None,
            Some(format) => Some(unhex(format).ok_or(Reason::Text)?),
            None => return Err(Reason::Text),
        };
        let reader = Reader::of(uuid, format.as_deref(), self.volts).ok_or(Reason::NoUnit)??;
        let rest = words.next().ok_or(Reason::Text)?;
        if let Some(name) = rest.strip_prefix(':') {
            return Ok(Said::Told(Told::Reads {
                function: reader.function(),
                uuid,
                called: name.trim().to_owned(),
            }));
        }
        let value = unhex(rest).ok_or(Reason::Text)?;
        reader.read(&value).map(Said::Shows)
    }
}

impl Driver for Values {
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
                Cut::Line(line, bytes) => match self.read(&line) {
                    Ok(Said::Shows(showing)) => {
                        used += bytes;
                        Outcome::Got(showing.reading(self.meter, at))
                    }
                    Ok(Said::Told(told)) => {
                        used += bytes;
                        if self.told.len() < TOLD {
                            self.told.push_back(told);
                        }
                        continue;
                    }
                    Err(reason) => {
                        skipped += bytes;
                        Outcome::Rejected(reason)
                    }
                },
            };
            return Pushed {
                outcome,
                used,
                skipped,
                rest,
            };
        }
    }

    fn told(&mut self) -> Option<Told> {
        self.told.pop_front()
    }

    fn about(&self) -> About {
        ABOUT
    }
}
