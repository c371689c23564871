//! What every meter driver does, and the one table by which a driver is found.

use ohmtrail_core::reading::{Function, MeterId, Reading};
use ohmtrail_core::units::Micros;

use crate::showing::{CannotShow, Reason, Showing};
use crate::{ascii14, count14, lcd14};

/// The length of every display-chip frame here, in bytes.
pub const FRAME: usize = 14;

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
    /// How many bytes were given up in this push: they belong to no accepted frame. Bytes pushed
    /// are always bytes of accepted frames, plus bytes skipped, plus at most [`FRAME`] held.
    pub skipped: usize,
    /// The bytes not used yet. Empty if the outcome is [`Outcome::Hungry`].
    pub rest: &'b [u8],
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

    /// What the meter can measure, as far as the driver knows now. Ranges and accuracy are the
    /// [profile](crate::profile)'s, as no frame states them.
    fn about(&self) -> About {
        About::UNKNOWN
    }
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

/// What carries a driver's bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Carrier {
    /// A serial port with these settings.
    Serial(Line),
}

/// Writes the frame for a display.
pub type Encode = fn(&Showing) -> Result<[u8; FRAME], CannotShow>;

/// One row of the table of drivers.
#[derive(Debug, Clone, Copy)]
pub struct Entry {
    /// The name in specs and profiles.
    pub name: &'static str,
    /// The frame in a line of words.
    pub what: &'static str,
    /// What carries it.
    pub carrier: Carrier,
    /// What its meters can measure and its frames cannot tell.
    pub about: About,
    /// A driver that stamps its readings with this meter.
    pub start: fn(MeterId) -> Box<dyn Driver>,
    /// The frame for a display, where the simulated meter can write this frame.
    pub encode: Option<Encode>,
}

const DRIVERS: &[Entry] = &[lcd14::ENTRY, ascii14::ENTRY, count14::ENTRY];

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
pub(crate) struct Talks<D> {
    decoder: D,
    meter: MeterId,
    about: About,
}

impl<D: Decoder + Default + Send + 'static> Talks<D> {
    pub(crate) fn boxed(meter: MeterId, about: About) -> Box<dyn Driver> {
        Box::new(Talks {
            decoder: D::default(),
            meter,
            about,
        })
    }
}

impl<D: Decoder + Send> Driver for Talks<D> {
    fn push<'b>(&mut self, bytes: &'b [u8], at: Micros) -> Pushed<'b, Reading> {
        let pushed = self.decoder.push(bytes);
        Pushed {
            outcome: match pushed.outcome {
                Outcome::Hungry => Outcome::Hungry,
                Outcome::Got(showing) => Outcome::Got(showing.reading(self.meter, at)),
                Outcome::Rejected(reason) => Outcome::Rejected(reason),
            },
            skipped: pushed.skipped,
            rest: pushed.rest,
        }
    }

    fn about(&self) -> About {
        self.about
    }
}
