//! Bench meters that are asked in SCPI-99 over IEEE 488.2 message syntax: a polled driver.
//!
//! It asks who is there, empties the error queue, sets the function if one was wanted, and then
//! reads again and again. Before and after each value it asks which function the meter is on, so
//! that a value is never put to a function that somebody turned away from meanwhile. A meter that
//! cannot tell its function is read with `MEASure:…?`, which sets it with each value.
//!
//! Every answer has its own shape. One that does not fit the question that is open, or comes
//! without one, puts all pairing in doubt: the value is dropped and the error queue read, whose
//! answer no other can be taken for.
#![deny(clippy::indexing_slicing, clippy::unwrap_used, clippy::expect_used)]

pub(crate) mod words;

use std::collections::VecDeque;

use ohmtrail_core::reading::{Flags, Function, MeterId, Reading, Shown};
use ohmtrail_core::units::Micros;

use crate::driver::{
    About, CannotSet, CannotStart, Driver, Entry, Line, Outcome, Pushed, Setup, Told,
};
use crate::lines::{Cut, Lines};
use crate::session::Patience;
use crate::showing::{Reason, Showing};
use words::Sensor;

const ABOUT: About = About {
    functions: &words::FUNCTIONS,
    untold: &[
        "hold, relative, minimum and maximum, low-pass filter, range",
        "low input impedance, and two wires from four",
        "an overload from missing data, where the meter says 9.9E37 for both",
        "the meter's category and accuracy",
    ],
};

/// This driver's row of the table of drivers. 9600 bit/s is common practice, no published source.
pub const ENTRY: Entry = Entry {
    name: "scpi",
    what: "SCPI-99 bench meter, asked over serial or TCP",
    line: Line::eight_bits(9600),
    about: ABOUT,
    patience: Patience::ASKED,
    asked: true,
    start: |setup| Ok(Box::new(Scpi::start(setup)?)),
    encode: None,
};

/// How long an answer may take: measurements on AC, four wires or automatic ranges take up to
/// several seconds (common practice, no published source).
const ANSWER_US: u64 = 5_000_000;
/// From one reading's question to the next one's, at least.
const INTERVAL_US: u64 = 100_000;
/// After trouble: the first pause, doubled up to the last.
const PAUSE_US: (u64, u64) = (250_000, 4_000_000);
/// Error messages read at one time: more than a queue holds (about 20, second hand), so that a
/// meter that never says "no error" does not hold up its values.
const ERRORS: u8 = 32;
/// What the meter told and nobody asked for yet; more is dropped, oldest first.
const TOLD: usize = 64;

/// What is asked next, or waits for its answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Step {
    /// Who is there.
    Identify,
    /// The error queue, of which this many more messages are read.
    Drain(u8),
    /// The wanted function is set; there is no answer.
    Configure,
    /// Which function the meter is on.
    Sense,
    /// In which unit it shows temperatures.
    Unit,
    /// A value.
    Read,
    /// A value of the wanted function, which is set with it.
    Measure,
}

impl Step {
    const fn question(self) -> &'static str {
        match self {
            Step::Identify => "*IDN?",
            Step::Drain(_) => "SYSTem:ERRor?",
            Step::Configure => "CONFigure",
            Step::Sense => "FUNCtion?",
            Step::Unit => "UNIT:TEMPerature?",
            Step::Read => "READ?",
            Step::Measure => "MEASure?",
        }
    }
}

/// Why the error queue is read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum After {
    /// The meter was found.
    Start,
    /// Its function was set.
    Configure,
    /// This question was not answered.
    Failed(Step),
    /// Something came that was no answer.
    Stray,
}

/// The driver.
#[derive(Debug)]
pub struct Scpi {
    meter: MeterId,
    lines: Lines,
    wanted: Option<Function>,
    /// The wanted function is not set yet.
    unset: bool,
    /// The meter cannot tell its function.
    mute: bool,
    identified: bool,
    step: Step,
    /// Since when the step's answer is waited for.
    open: Option<Micros>,
    /// The step is not asked before.
    not_before: Micros,
    pause_us: u64,
    /// Why the error queue is or was last read, and whether it held anything.
    after: After,
    errors: bool,
    /// The function that the meter is on, as it last said.
    sensed: Option<Function>,
    /// Temperatures come in degrees Celsius, as the meter last said.
    celsius: bool,
    /// A value that waits for the function to be confirmed, and when it came.
    value: Option<(Shown, Micros)>,
    told: VecDeque<Told>,
    command: Vec<u8>,
}

/// What an answer came to.
enum Answer {
    /// Understood; the next step is set.
    Taken,
    /// Understood, and a reading is whole.
    Reading(Reading),
    /// Understood, and refused.
    Refused(Reason),
    /// Not an answer to the open question.
    Stray(Reason),
}

impl Scpi {
    /// A driver before its first question.
    ///
    /// # Errors
    /// [`CannotStart::Function`] if it has no words for the wanted function.
    pub fn start(setup: &Setup) -> Result<Scpi, CannotStart> {
        if let Some(function) = setup.function
            && words::word_of(function).is_none()
        {
            return Err(CannotStart::Function(CannotSet::Function(function)));
        }
        Ok(Scpi {
            meter: setup.meter,
            lines: Lines::ending(b'\n'),
            wanted: setup.function,
            unset: setup.function.is_some(),
            mute: false,
            identified: false,
            step: Step::Identify,
            open: None,
            not_before: Micros(0),
            pause_us: PAUSE_US.0,
            after: After::Start,
            errors: false,
            sensed: None,
            celsius: false,
            value: None,
            told: VecDeque::new(),
            command: Vec::new(),
        })
    }

    fn tell(&mut self, told: Told) {
        if self.told.len() == TOLD {
            self.told.pop_front();
        }
        self.told.push_back(told);
    }

    /// The step with which values begin.
    fn begin(&self) -> Step {
        if !self.identified {
            Step::Identify
        } else if self.unset && !self.mute {
            Step::Configure
        } else if self.mute && self.wanted.is_some() {
            Step::Measure
        } else {
            Step::Sense
        }
    }

    /// Drops what was half known, and reads the error queue after a pause.
    fn doubt(&mut self, after: After, now: Micros) {
        let waits = matches!(self.step, Step::Drain(_)) && self.open.is_none();
        self.value = None;
        self.sensed = None;
        self.drain(after);
        // A meter that goes on chattering must not put the question off for ever.
        if !waits {
            self.wait(now);
        }
    }

    fn drain(&mut self, after: After) {
        self.after = after;
        self.errors = false;
        self.go(Step::Drain(ERRORS));
    }

    fn wait(&mut self, now: Micros) {
        self.not_before = Micros(now.0.saturating_add(self.pause_us));
        self.pause_us = self.pause_us.saturating_mul(2).min(PAUSE_US.1);
    }

    fn go(&mut self, step: Step) {
        self.step = step;
        self.open = None;
    }

    /// The open question was not answered.
    fn timed_out(&mut self, now: Micros) {
        let step = self.step;
        self.tell(Told::NoAnswer(step.question()));
        match step {
            // Ask again: nothing else makes sense before.
            Step::Identify | Step::Drain(_) => {
                self.open = None;
                self.wait(now);
            }
            step => self.doubt(After::Failed(step), now),
        }
    }

    fn answer(&mut self, line: &[u8], at: Micros) -> Answer {
        let Ok(text) = std::str::from_utf8(line) else {
            return Answer::Stray(Reason::Layout);
        };
        if self.open.is_none() {
            return Answer::Stray(Reason::Unasked);
        }
        match self.step {
            Step::Identify => match words::identity(text) {
                Some(fields) => {
                    self.identified = true;
                    self.tell(Told::Identity(fields));
                    self.drain(After::Start);
                    Answer::Taken
                }
                None => Answer::Stray(Reason::Text),
            },
            Step::Drain(left) => match words::error(text) {
                Some((0, _)) => self.drained(at),
                Some((number, text)) => {
                    self.errors = true;
                    self.tell(Told::Error { number, text });
                    if left == 0 {
                        return self.drained(at);
                    }
                    self.go(Step::Drain(left - 1));
                    Answer::Taken
                }
                None => Answer::Stray(Reason::Text),
            },
            Step::Configure => Answer::Stray(Reason::Unasked),
            Step::Sense => match words::sensor(text) {
                Some(sensor) => self.sense(sensor, at),
                None => Answer::Stray(Reason::Text),
            },
            Step::Unit => {
                self.celsius = matches!(text, "C" | "CEL");
                if text.is_empty() || !text.chars().all(|c| c.is_ascii_alphabetic()) {
                    return Answer::Stray(Reason::Text);
                }
                if self.celsius {
                    self.go(Step::Read);
                    Answer::Taken
                } else {
                    self.go(Step::Sense);
                    self.wait(at);
                    Answer::Refused(Reason::NotCarried)
                }
            }
            Step::Read => match words::value(text) {
                Some(shown) => {
                    self.value = Some((shown, at));
                    self.go(Step::Sense);
                    Answer::Taken
                }
                None => Answer::Stray(Reason::Digits),
            },
            Step::Measure => match (words::value(text), self.wanted) {
                (Some(shown), Some(function)) => {
                    self.pause_us = PAUSE_US.0;
                    // Another function may be wanted by now.
                    self.go(self.begin());
                    Answer::Reading(self.reading(function, shown, at))
                }
                _ => Answer::Stray(Reason::Digits),
            },
        }
    }

    fn reading(&self, function: Function, shown: Shown, at: Micros) -> Reading {
        let showing = Showing {
            function,
            shown,
            flags: Flags::NONE,
        };
        showing.reading(self.meter, at)
    }

    /// The error queue is empty, or enough of it was read.
    fn drained(&mut self, at: Micros) -> Answer {
        match self.after {
            // The function was refused, or the meter cannot tell it: only `MEASure?` is left.
            After::Configure if self.errors && !self.unset => self.mute = true,
            After::Failed(Step::Sense) if self.wanted.is_some() => self.mute = true,
            // Somebody may set it right at the meter.
            After::Failed(Step::Sense) => self.wait(at),
            // A meter that was switched off and on has forgotten its function.
            After::Failed(_) => {
                self.mute = false;
                self.unset = self.wanted.is_some();
            }
            After::Start | After::Configure | After::Stray => {}
        }
        self.go(self.begin());
        Answer::Taken
    }

    fn sense(&mut self, sensor: Sensor, at: Micros) -> Answer {
        let now = match sensor {
            Sensor::Known(function) => Some(function),
            Sensor::Other => None,
        };
        let before = std::mem::replace(&mut self.sensed, now);
        let value = self.value.take();
        match now {
            None => {
                self.go(Step::Sense);
                self.wait(at);
                return Answer::Refused(Reason::NotCarried);
            }
            Some(_) if self.unset => self.go(Step::Configure),
            // A temperature's unit is asked once, each time the meter is turned there.
            Some(Function::Celsius) if before != now || !self.celsius => self.go(Step::Unit),
            Some(_) => self.go(Step::Read),
        }
        match value {
            None => Answer::Taken,
            Some((shown, came)) => match now {
                Some(function) if before == now => {
                    self.pause_us = PAUSE_US.0;
                    Answer::Reading(self.reading(function, shown, came))
                }
                _ => Answer::Refused(Reason::Changed),
            },
        }
    }
}

impl Driver for Scpi {
    fn push<'b>(&mut self, bytes: &'b [u8], at: Micros) -> Pushed<'b, Reading> {
        let (mut used, mut skipped) = (0, 0);
        let mut rest = bytes;
        loop {
            let cut = self.lines.push(rest);
            rest = cut.rest;
            skipped += cut.skipped;
            let outcome = match cut.cut {
                Cut::Hungry => Outcome::Hungry,
                Cut::Overlong => {
                    self.doubt(After::Stray, at);
                    Outcome::Rejected(Reason::Overlong)
                }
                Cut::Line(line, bytes) => match self.answer(&line, at) {
                    Answer::Taken => {
                        used += bytes;
                        continue;
                    }
                    Answer::Reading(reading) => {
                        used += bytes;
                        Outcome::Got(reading)
                    }
                    Answer::Refused(reason) => {
                        skipped += bytes;
                        Outcome::Rejected(reason)
                    }
                    Answer::Stray(reason) => {
                        skipped += bytes;
                        // Until the meter is known, and while the queue is read, the right answer
                        // may still come behind the stray one.
                        let waits = matches!(self.step, Step::Identify | Step::Drain(_));
                        if !(waits && self.open.is_some()) {
                            self.doubt(After::Stray, at);
                        }
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

    fn poll(&mut self, now: Micros) -> Option<&[u8]> {
        if let Some(asked) = self.open {
            if now.since(asked) < ANSWER_US {
                return None;
            }
            self.timed_out(now);
        }
        if now < self.not_before {
            return None;
        }
        let word = self.wanted.and_then(words::word_of);
        let command = word.map_or("", |word| word.command);
        self.command.clear();
        let text = match self.step {
            // The empty line ends whatever was left unfinished on the line before.
            Step::Identify => "\n*IDN?\n".to_owned(),
            Step::Drain(_) => "SYST:ERR?\n".to_owned(),
            Step::Configure => format!("CONF:{command}\n"),
            Step::Sense => "FUNC?\n".to_owned(),
            Step::Unit => "UNIT:TEMP?\n".to_owned(),
            Step::Read => "READ?\n".to_owned(),
            Step::Measure => format!("MEAS:{command}?\n"),
        };
        self.command.extend_from_slice(text.as_bytes());
        match self.step {
            Step::Configure => {
                self.unset = false;
                self.sensed = None;
                self.drain(After::Configure);
            }
            Step::Read | Step::Measure => {
                self.open = Some(now);
                self.not_before = Micros(now.0.saturating_add(INTERVAL_US));
            }
            _ => self.open = Some(now),
        }
        Some(&self.command)
    }

    fn wake(&self) -> Option<Micros> {
        Some(match self.open {
            Some(asked) => Micros(asked.0.saturating_add(ANSWER_US)),
            None => self.not_before,
        })
    }

    fn told(&mut self) -> Option<Told> {
        self.told.pop_front()
    }

    fn measure(&mut self, function: Function) -> Result<(), CannotSet> {
        if words::word_of(function).is_none() {
            return Err(CannotSet::Function(function));
        }
        self.wanted = Some(function);
        self.unset = true;
        self.mute = false;
        // What is open is answered first; an answer that is on its way must not meet another
        // question.
        if self.open.is_none() && !matches!(self.step, Step::Identify | Step::Drain(_)) {
            self.value = None;
            self.go(Step::Configure);
        }
        Ok(())
    }

    fn about(&self) -> About {
        ABOUT
    }
}
