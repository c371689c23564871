//! What every meter driver does, and the one table by which a driver is found.

use std::fmt;

use ohmtrail_core::reading::{Function, MeterId, Reading};
use ohmtrail_core::units::Micros;

use crate::ble::Uuid;
use crate::profile::Profile;
use crate::session::Patience;
use crate::showing::{CannotShow, Reason, Showing};
use crate::{ascii14, count14, gatt, lcd14, probe_box, scpi, text};

/// The length of every display-chip frame here, in bytes.
pub const FRAME: usize = 14;

/// The most bytes that any driver holds back, undecided.
pub const HELD: usize = crate::lines::LONGEST;

/// What came of pushed bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outcome<T> {
    /// Every byte was used and nothing is whole yet: push more when there is more.
    Hungry,
    /// One value.
    Got(T),
    /// A frame was refused; its bytes are counted as skipped, now or as later bytes push them out.
    Rejected(Reason),
}

/// The outcome of one push, and the bytes it did not use.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Pushed<'b, T> {
    /// What came of it.
    pub outcome: Outcome<T>,
    /// How many bytes were understood in this push: an accepted frame's, or an answer's that is no
    /// value. Bytes pushed are always bytes used, plus bytes skipped, plus at most [`HELD`] held.
    pub used: usize,
    /// How many bytes were given up in this push: they belong to nothing that was understood.
    pub skipped: usize,
    /// The bytes not used yet. Empty if the outcome is [`Outcome::Hungry`].
    pub rest: &'b [u8],
}

impl<'b, T> Pushed<'b, T> {
    /// The same with another value.
    pub fn map<U>(self, change: impl FnOnce(T) -> U) -> Pushed<'b, U> {
        Pushed {
            outcome: match self.outcome {
                Outcome::Hungry => Outcome::Hungry,
                Outcome::Got(value) => Outcome::Got(change(value)),
                Outcome::Rejected(reason) => Outcome::Rejected(reason),
            },
            used: self.used,
            skipped: self.skipped,
            rest: self.rest,
        }
    }
}

/// A sans-IO decoder of one frame type: no clock, no port, fixed memory.
pub trait Decoder {
    /// Takes bytes until one thing is known or all are used. Push `rest` again until the outcome
    /// is [`Outcome::Hungry`].
    fn push<'b>(&mut self, bytes: &'b [u8]) -> Pushed<'b, Showing>;
}

/// A meter's side of a conversation: bytes (serial, TCP or a notification's payload) in, readings
/// out, and what to send where the meter must be asked.
///
/// # For users
/// * Push bytes as they come, in order, with the time at which they came; push [`Pushed::rest`]
///   again until the outcome is [`Outcome::Hungry`].
/// * Before each wait call [`poll`](Driver::poll), send what it returns, and wait no longer than
///   until [`wake`](Driver::wake).
/// * After a gap in the bytes go on pushing: a driver finds the next frame by itself.
///
/// # For implementers
/// * Never read a clock or a port, never block, never panic on any bytes.
/// * Give a reading only for a frame that is understood whole; refuse the rest with a reason.
/// * Hold a bounded number of bytes; account for every byte as used, skipped, held or returned.
/// * After any garbage, the second of two good frames in a row must give its reading.
/// * Keep the digits as displayed; fold the unit prefix into the exponent.
pub trait Driver: Send {
    /// Takes bytes that came at this time, until one thing is known or all are used.
    fn push<'b>(&mut self, bytes: &'b [u8], at: Micros) -> Pushed<'b, Reading>;

    /// What to send to the meter now, for a meter that must be asked. Returned once: the driver
    /// takes it as sent. A meter that talks by itself is never asked.
    fn poll(&mut self, now: Micros) -> Option<&[u8]> {
        let _ = now;
        None
    }

    /// When [`poll`](Driver::poll) wants to be called next, even if no byte came.
    fn wake(&self) -> Option<Micros> {
        None
    }

    /// What the meter said of itself, oldest first: to be asked for after each push and poll until
    /// there is no more. A driver keeps a bounded number of these.
    fn told(&mut self) -> Option<Told> {
        None
    }

    /// Sets what is to be measured from the next question on, for a meter that can be told. Whoever
    /// calls this answers for the circuit: on ohms and farads a meter drives its own current.
    ///
    /// # Errors
    /// [`CannotSet`] if the meter is set by hand, or the driver has no words for this function.
    fn measure(&mut self, function: Function) -> Result<(), CannotSet> {
        let _ = function;
        Err(CannotSet::ByHand)
    }

    /// What the meter can measure, as far as the driver knows now. Ranges and accuracy are the
    /// [profile](crate::profile)'s, as no frame states them.
    fn about(&self) -> About {
        About::UNKNOWN
    }
}

/// What a meter said that is no value.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum Told {
    /// What it is: maker, model, serial number and firmware, in the meter's own words; a field that
    /// it leaves out is empty.
    Identity([String; 4]),
    /// An error out of its error queue.
    Error {
        /// The number; negative ones are the standard's, positive ones the maker's.
        number: i32,
        /// The text.
        text: String,
    },
    /// It did not answer this question in time.
    NoAnswer(&'static str),
    /// It cannot be set to what was wanted.
    CannotSet(CannotSet),
    /// One of its characteristics is read.
    Reads {
        /// What it measures.
        function: Function,
        /// The characteristic.
        uuid: Uuid,
        /// What the meter calls it; empty if it does not say.
        called: String,
    },
}

impl Told {
    /// In words.
    #[must_use]
    pub fn words(&self) -> String {
        match self {
            Told::Identity(fields) => format!("the meter is: {}", fields.join(", ")),
            Told::Error { number, text } => format!("the meter reports error {number}: {text}"),
            Told::NoAnswer(question) => format!("no answer in time to {question}"),
            Told::CannotSet(why) => why.to_string(),
            Told::Reads {
                function,
                uuid,
                called,
            } => {
                let called = match called.as_str() {
                    "" => String::new(),
                    name => format!(", which the meter calls \"{name}\""),
                };
                format!("{} comes from {uuid}{called}", function.name())
            }
        }
    }
}

/// Why a driver cannot set the meter's function.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum CannotSet {
    /// The meter is set by hand.
    #[error("this meter is set by hand")]
    ByHand,
    /// The driver has no words for this function.
    #[error("this driver cannot ask for {}", .0.name())]
    Function(Function),
}

/// What a driver is started with.
#[derive(Debug, Clone, Copy)]
pub struct Setup<'p> {
    /// The meter its readings are stamped with.
    pub meter: MeterId,
    /// What the meter is to be set to, where it can be told; none leaves it as it is set by hand.
    pub function: Option<Function>,
    /// What volts and amperes are, where the meter does not say and is not told.
    pub volts: Option<Function>,
    /// The meter's profile, if it has one.
    pub profile: Option<&'p Profile>,
}

impl Setup<'_> {
    /// A meter without a profile, set by hand.
    #[must_use]
    pub const fn of(meter: MeterId) -> Self {
        Setup {
            meter,
            function: None,
            volts: None,
            profile: None,
        }
    }
}

/// Why a driver was not started.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum CannotStart {
    /// The meter cannot be told what to measure.
    #[error("{0}: leave function= out, and set the meter itself")]
    Function(CannotSet),
    /// The meter describes itself, and what was said of its volts is none.
    #[error(
        "function={}: it says what volts or amperes are where the meter does not: volts-ac, volts-dc, amps-ac or amps-dc", .0.name()
    )]
    NotVolts(Function),
    /// The driver needs a table of the profile.
    #[error("this frame needs a profile with a [{0}] table: add profile=FILE")]
    NoTable(&'static str),
}

/// What a driver knows of the meter behind it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct About {
    /// The functions it can report; empty if not known.
    pub functions: &'static [Function],
    /// What its frames cannot tell.
    pub untold: &'static [&'static str],
}

impl About {
    /// Nothing is known.
    pub const UNKNOWN: About = About {
        functions: &[],
        untold: &[],
    };
}

/// Parity of a serial line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Parity {
    /// No parity bit.
    None,
    /// Odd parity.
    Odd,
}

/// The settings of a serial line; one stop bit, no flow control. The data-terminal-ready line is
/// raised and request-to-send lowered where the port has them: optical leads draw their supply
/// from these two (common practice, no published source).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Line {
    /// Bits a second.
    pub baud: u32,
    /// Data bits, 7 or 8.
    pub data_bits: u8,
    /// Parity.
    pub parity: Parity,
}

impl Line {
    /// A line of this speed with 8 data bits and no parity.
    #[must_use]
    pub const fn eight_bits(baud: u32) -> Self {
        Line {
            baud,
            data_bits: 8,
            parity: Parity::None,
        }
    }
}

impl fmt::Display for Line {
    /// `19200 7O1`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let parity = match self.parity {
            Parity::None => 'N',
            Parity::Odd => 'O',
        };
        write!(f, "{} {}{parity}1", self.baud, self.data_bits)
    }
}

/// Writes the frame for a display.
pub type Encode = fn(&Showing) -> Result<[u8; FRAME], CannotShow>;

/// One row of the table of drivers. Two rows are one if they have one name.
#[derive(Debug, Clone, Copy)]
pub struct Entry {
    /// The name in specs and profiles.
    pub name: &'static str,
    /// The frame in a line of words.
    pub what: &'static str,
    /// The settings of a serial line that carries it, unless the meter's profile or spec says
    /// otherwise. A network stream or a radio pipe has none.
    pub line: Line,
    /// What its meters can measure and its frames cannot tell.
    pub about: About,
    /// How long its meters may be silent.
    pub patience: Patience,
    /// Whether its meters speak only when asked.
    pub asked: bool,
    /// A driver.
    pub start: fn(&Setup) -> Result<Box<dyn Driver>, CannotStart>,
    /// The frame for a display, where the simulated meter can write this frame.
    pub encode: Option<Encode>,
}

impl PartialEq for Entry {
    fn eq(&self, other: &Self) -> bool {
        self.name == other.name
    }
}

impl Eq for Entry {}

impl Entry {
    /// The row of a display chip's frame, whose meters talk by themselves.
    pub(crate) const fn chip(
        name: &'static str,
        what: &'static str,
        line: Line,
        about: About,
        start: fn(&Setup) -> Result<Box<dyn Driver>, CannotStart>,
        encode: Encode,
    ) -> Entry {
        Entry {
            name,
            what,
            line,
            about,
            patience: Patience::TALKS,
            asked: false,
            start,
            encode: Some(encode),
        }
    }
}

const DRIVERS: &[Entry] = &[
    lcd14::ENTRY,
    ascii14::ENTRY,
    count14::ENTRY,
    scpi::ENTRY,
    text::ENTRY,
    gatt::ENTRY,
    probe_box::ENTRY,
];

/// Every driver.
#[must_use]
pub fn drivers() -> &'static [Entry] {
    DRIVERS
}

/// The driver of that name.
#[must_use]
pub fn driver(name: &str) -> Option<&'static Entry> {
    DRIVERS.iter().find(|entry| entry.name == name)
}

/// A driver made of a decoder whose meter talks by itself.
#[derive(Debug)]
pub struct Talks<D> {
    decoder: D,
    meter: MeterId,
    about: About,
}

impl<D: Decoder + Default + Send + 'static> Talks<D> {
    /// Starts it.
    ///
    /// # Errors
    /// [`CannotStart::Function`] if a function was wanted: such a meter is set by hand.
    pub fn start(setup: &Setup, about: About) -> Result<Box<dyn Driver>, CannotStart> {
        by_hand(setup)?;
        Ok(Box::new(Talks {
            decoder: D::default(),
            meter: setup.meter,
            about,
        }))
    }
}

/// Refuses a function for a meter that is set by hand.
pub(crate) fn by_hand(setup: &Setup) -> Result<(), CannotStart> {
    match setup.function {
        None => Ok(()),
        Some(_) => Err(CannotStart::Function(CannotSet::ByHand)),
    }
}

impl<D: Decoder + Send> Driver for Talks<D> {
    fn push<'b>(&mut self, bytes: &'b [u8], at: Micros) -> Pushed<'b, Reading> {
        let pushed = self.decoder.push(bytes);
        pushed.map(|showing| showing.reading(self.meter, at))
    }

    fn about(&self) -> About {
        self.about
    }
}
