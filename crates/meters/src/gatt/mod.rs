//! Bluetooth Low Energy meters that describe themselves: a characteristic's value by its
//! Presentation Format descriptor (0x2904), or by the Bluetooth SIG's own definition of it. Sans-IO:
//! [`ble`](crate::ble) says which characteristics are read; a transport reads them, and writes a
//! [`lines::value`] for each value, which the driver of this module reads like any other frame.
#![deny(clippy::indexing_slicing, clippy::unwrap_used, clippy::expect_used)]

pub mod electrical;
pub mod format;
pub mod lines;
pub mod units;

use ohmtrail_core::reading::{Flags, Function};

use crate::ble::Uuid;
use crate::driver::{About, Entry, Line};
use crate::session::Patience;
use crate::showing::{Reason, Showing};
use electrical::{Defined, defined};
use format::Format;

/// What such meters can tell.
pub const ABOUT: About = About {
    functions: &[
        Function::VoltsAc,
        Function::VoltsDc,
        Function::Ohms,
        Function::Farads,
        Function::AmpsAc,
        Function::AmpsDc,
        Function::Celsius,
        Function::Pascals,
        Function::Hertz,
        Function::Percent,
    ],
    untold: &[
        "AC from DC: the profile says which",
        "hold, relative, minimum and maximum, low battery, range, low input impedance",
        "the sign of volts and amperes that the Bluetooth SIG defines",
        "the resolution of a binary float",
        "the meter's category and accuracy",
    ],
};

/// This driver's row of the table of drivers. Over a serial line, which a bridge from a radio may
/// be, 9600 bit/s is common practice, no published source.
pub const ENTRY: Entry = Entry {
    name: "gatt",
    what: "Bluetooth Low Energy values that describe themselves",
    line: Line::eight_bits(9600),
    about: ABOUT,
    patience: Patience::TALKS,
    asked: false,
    start: lines::Values::start,
    encode: None,
};

/// A Characteristic Presentation Format descriptor.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Presentation {
    /// The number of the value's format.
    pub format: u8,
    /// The power of ten of whole numbers.
    pub exponent: i8,
    /// The number of the unit.
    pub unit: u16,
    /// Who defines the descriptions: 1 is the Bluetooth SIG.
    pub namespace: u8,
    /// Which one it is of several: 1 first, 2 second…
    pub description: u16,
}

impl Presentation {
    /// Reads the descriptor's seven bytes.
    ///
    /// # Errors
    /// [`Reason::Layout`] if there are more or fewer.
    pub fn read(value: &[u8]) -> Result<Presentation, Reason> {
        let &[format, exponent, unit_low, unit_high, namespace, low, high] = value else {
            return Err(Reason::Layout);
        };
        Ok(Presentation {
            format,
            exponent: i8::from_le_bytes([exponent]),
            unit: u16::from_le_bytes([unit_low, unit_high]),
            namespace,
            description: u16::from_le_bytes([low, high]),
        })
    }
}

/// How the values of one characteristic are read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Reader {
    function: Function,
    how: How,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum How {
    Defined(&'static Defined),
    Described(Format, i32),
}

impl Reader {
    /// By the characteristic's descriptor. `told` is what the profile says of volts and amperes.
    ///
    /// # Errors
    /// [`Reason::Layout`] if the format is no number's, and as [`units::unit`] and
    /// [`units::Quantity::function`].
    pub fn described(by: &Presentation, told: Option<Function>) -> Result<Reader, Reason> {
        let format = Format::by_number(by.format).ok_or(Reason::Layout)?;
        let (quantity, power) = units::unit(by.unit)?;
        let exponent = if format.takes_exponent() {
            i32::from(by.exponent)
        } else {
            0
        };
        Ok(Reader {
            function: quantity.function(told)?,
            how: How::Described(format, exponent + i32::from(power)),
        })
    }

    /// By the Bluetooth SIG's definition.
    ///
    /// # Errors
    /// [`Reason::AcDc`] if the profile must say what volts or amperes are, and does not.
    pub fn defined(by: &'static Defined, told: Option<Function>) -> Result<Reader, Reason> {
        Ok(Reader {
            function: by.quantity.function(told)?,
            how: How::Defined(by),
        })
    }

    /// By the Bluetooth SIG's definition, which is stricter than a descriptor beside it; else by the
    /// descriptor. None if the characteristic has neither.
    #[must_use]
    pub fn of(
        uuid: Uuid,
        format: Option<&[u8]>,
        told: Option<Function>,
    ) -> Option<Result<Reader, Reason>> {
        match (uuid.number().and_then(defined), format) {
            (Some(by), _) => Some(Reader::defined(by, told)),
            (None, Some(format)) => {
                Some(Presentation::read(format).and_then(|by| Reader::described(&by, told)))
            }
            (None, None) => None,
        }
    }

    /// What it measures.
    #[must_use]
    pub const fn function(&self) -> Function {
        self.function
    }

    /// What a value shows.
    ///
    /// # Errors
    /// The [`Reason`] why it is refused.
    pub fn read(&self, value: &[u8]) -> Result<Showing, Reason> {
        let shown = match self.how {
            How::Defined(by) => by.read(value, self.function)?,
            How::Described(format, exponent) => format.read(value, exponent)?,
        };
        Ok(Showing {
            function: self.function,
            shown,
            flags: Flags::NONE,
        })
    }
}
