//! What one frame says, before a time and a meter are put to it; why a frame was refused; and why
//! a display cannot be put into a frame.

use ohmtrail_core::reading::{Decimal, Flags, Function, MeterId, Reading, Shown};
use ohmtrail_core::units::Micros;

/// What one frame says: a reading without its meter and time.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Showing {
    /// What the meter is set to measure.
    pub function: Function,
    /// What its display shows.
    pub shown: Shown,
    /// Its annunciators.
    pub flags: Flags,
}

impl Showing {
    /// A number on the display, with no annunciator lit.
    #[must_use]
    pub const fn value(function: Function, mantissa: i32, exponent: i8) -> Self {
        Showing {
            function,
            shown: Shown::Value(Decimal::new(mantissa, exponent)),
            flags: Flags::NONE,
        }
    }

    /// The reading of this meter at this time.
    #[must_use]
    pub const fn reading(self, meter: MeterId, at: Micros) -> Reading {
        Reading {
            function: self.function,
            shown: self.shown,
            flags: self.flags,
            meter,
            at,
        }
    }
}

/// Why a frame was refused. A refused frame gives no reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[non_exhaustive]
#[repr(u8)]
pub enum Reason {
    /// A frame began and broke off: its positions do not count up to the end.
    Sequence = 0,
    /// The frame's end is there, but its fixed bytes are not where they belong.
    Layout,
    /// A digit's segments form no listed pattern.
    Segments,
    /// The digits form no number: a blank or letter inside, or more counts than the display has.
    Digits,
    /// More than one decimal point, or an unlisted point code.
    Points,
    /// No unit is lit.
    NoUnit,
    /// Units that contradict each other.
    Units,
    /// A prefix that the unit does not take, or two prefixes.
    Prefix,
    /// Neither AC nor DC where one is needed, both at once, or one where none belongs.
    AcDc,
    /// A symbol or bit is lit whose meaning is not listed.
    Symbols,
    /// A range code that is not listed for this function.
    Range,
    /// A function code that is not listed.
    FunctionCode,
    /// Annunciators that contradict each other.
    Flags,
    /// A whole frame, well formed, of a quantity that is not carried (degrees Fahrenheit, gain,
    /// duty cycle or temperature without a listed scale, frequency shown on a volts function).
    NotCarried,
    /// A line longer than any that is read.
    Overlong,
    /// A line that is not of the form that was waited for.
    Text,
    /// An answer to nothing that was asked.
    Unasked,
    /// The meter's function was changed while it measured.
    Changed,
}

impl Reason {
    /// Every reason.
    pub const ALL: [Reason; 18] = [
        Reason::Sequence,
        Reason::Layout,
        Reason::Segments,
        Reason::Digits,
        Reason::Points,
        Reason::NoUnit,
        Reason::Units,
        Reason::Prefix,
        Reason::AcDc,
        Reason::Symbols,
        Reason::Range,
        Reason::FunctionCode,
        Reason::Flags,
        Reason::NotCarried,
        Reason::Overlong,
        Reason::Text,
        Reason::Unasked,
        Reason::Changed,
    ];

    /// A word for counters and frame files.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Reason::Sequence => "sequence",
            Reason::Layout => "layout",
            Reason::Segments => "segments",
            Reason::Digits => "digits",
            Reason::Points => "points",
            Reason::NoUnit => "no-unit",
            Reason::Units => "units",
            Reason::Prefix => "prefix",
            Reason::AcDc => "ac-dc",
            Reason::Symbols => "symbols",
            Reason::Range => "range",
            Reason::FunctionCode => "function-code",
            Reason::Flags => "flags",
            Reason::NotCarried => "not-carried",
            Reason::Overlong => "overlong",
            Reason::Text => "text",
            Reason::Unasked => "unasked",
            Reason::Changed => "changed",
        }
    }

    /// The reason in words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Reason::Sequence => "a frame broke off before its end",
            Reason::Layout => "a frame's fixed bytes are not where they belong",
            Reason::Segments => "a digit's segments form no listed pattern",
            Reason::Digits => "the digits form no number this display can show",
            Reason::Points => "more than one decimal point, or an unlisted point code",
            Reason::NoUnit => "no unit is lit",
            Reason::Units => "the units lit contradict each other",
            Reason::Prefix => "the prefix lit does not belong to the unit",
            Reason::AcDc => "AC and DC are not lit as the unit needs",
            Reason::Symbols => "a symbol is lit whose meaning is not listed",
            Reason::Range => "the range code is not listed for this function",
            Reason::FunctionCode => "the function code is not listed",
            Reason::Flags => "the annunciators lit contradict each other",
            Reason::NotCarried => {
                "the quantity shown is not carried: set the meter to another function or unit"
            }
            Reason::Overlong => "a line is longer than any that is read",
            Reason::Text => "a line is not of the form that was waited for",
            Reason::Unasked => "an answer to nothing that was asked",
            Reason::Changed => "the meter's function was changed while it measured",
        }
    }

    /// Whether the frame was whole, so that speed and frame type are right.
    #[must_use]
    pub const fn frame_was_whole(self) -> bool {
        !matches!(self, Reason::Sequence | Reason::Layout | Reason::Overlong)
    }
}

/// Why a display cannot be put into a frame of this kind.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum CannotShow {
    /// The frame has no such function.
    #[error("this frame has no such function")]
    Function,
    /// The number has more digits, or another last digit, than any range of the frame shows.
    #[error("no range of this frame shows these digits")]
    Digits,
    /// The frame has no such annunciator, or they contradict each other.
    #[error("this frame has no such annunciator, or they contradict each other")]
    Flags,
    /// The frame cannot show a blank display.
    #[error("this frame cannot show a blank display")]
    Blank,
}
