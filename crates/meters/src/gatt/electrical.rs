//! The electrical and environmental characteristics that the Bluetooth SIG defines (TRADE 11, from
//! the GATT Specification Supplement's data files): format, resolution, range, and the raw values
//! that are no numbers.

use ohmtrail_core::reading::{Decimal, Function, Shown};

use super::format::{Format, little_endian, signed};
use super::units::Quantity;
use crate::decimal::{fit, rounded};
use crate::showing::Reason;

/// One characteristic.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Defined {
    /// Its 16-bit UUID.
    pub uuid: u16,
    /// Its name.
    pub name: &'static str,
    /// What it measures.
    pub quantity: Quantity,
    format: Format,
    step: Step,
    /// The least and the greatest raw value that is a number.
    range: (i128, i128),
    /// Whether the ends of the range mean *or beyond*.
    beyond: bool,
    /// Raw values for *not known* and *not valid*.
    none: &'static [i128],
}

/// What one count of the raw value is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Step {
    /// A power of ten.
    Ten(i8),
    /// One of this many parts of a whole unit, which is no power of ten.
    Part(u128),
}

/// Every one that is carried. The High Voltage file prints b = 6 and says 1/64 V in words, which its
/// maximum fits; the words are followed.
pub const DEFINED: [Defined; 9] = [
    Defined {
        uuid: 0x2B18,
        name: "Voltage",
        quantity: Quantity::Volts,
        format: Format::Unsigned(16),
        step: Step::Part(64),
        range: (0, 1022 * 64),
        beyond: true,
        none: &[0xFFFF],
    },
    Defined {
        uuid: 0x2BE0,
        name: "High Voltage",
        quantity: Quantity::Volts,
        format: Format::Unsigned(24),
        step: Step::Part(64),
        range: (0, 0xFF_FFFE),
        beyond: false,
        none: &[0xFF_FFFF],
    },
    Defined {
        uuid: 0x2AEE,
        name: "Electric Current",
        quantity: Quantity::Amps,
        format: Format::Unsigned(16),
        step: Step::Ten(-2),
        range: (0, 0xFFFE),
        beyond: false,
        none: &[0xFFFF],
    },
    Defined {
        uuid: 0x2A6E,
        name: "Temperature",
        quantity: Quantity::Only(Function::Celsius),
        format: Format::Signed(16),
        step: Step::Ten(-2),
        range: (-27315, 32767),
        beyond: false,
        none: &[-0x8000],
    },
    Defined {
        uuid: 0x2B0D,
        name: "Temperature 8",
        quantity: Quantity::Only(Function::Celsius),
        format: Format::Signed(8),
        step: Step::Part(2),
        range: (-128, 126),
        beyond: false,
        none: &[0x7F],
    },
    Defined {
        uuid: 0x2A6F,
        name: "Humidity",
        quantity: Quantity::Only(Function::Percent),
        format: Format::Unsigned(16),
        step: Step::Ten(-2),
        range: (0, 10_000),
        beyond: false,
        none: &[0xFFFF],
    },
    Defined {
        uuid: 0x2A6D,
        name: "Pressure",
        quantity: Quantity::Only(Function::Pascals),
        format: Format::Unsigned(32),
        step: Step::Ten(-1),
        range: (0, 0xFFFF_FFFF),
        beyond: false,
        none: &[],
    },
    Defined {
        uuid: 0x2BE8,
        name: "Voltage Frequency",
        quantity: Quantity::Only(Function::Hertz),
        format: Format::Unsigned(16),
        step: Step::Ten(0),
        // 0 says that the supply is direct: no frequency.
        range: (1, 65_533),
        beyond: false,
        none: &[0, 0xFFFE, 0xFFFF],
    },
    Defined {
        uuid: 0x2B04,
        name: "Percentage 8",
        quantity: Quantity::Only(Function::Percent),
        format: Format::Unsigned(8),
        step: Step::Part(2),
        range: (0, 200),
        beyond: false,
        none: &[0xFF],
    },
];

/// The characteristic of this 16-bit UUID.
#[must_use]
pub fn defined(uuid: u16) -> Option<&'static Defined> {
    DEFINED.iter().find(|row| row.uuid == uuid)
}

impl Defined {
    /// What a value shows. A step that is no power of ten (1/64 V, half a degree) is shown with a
    /// last digit that is not finer than the step: 0.1 V, 1 degree. The digits claim no more than
    /// the value holds.
    ///
    /// Zero direct volts, where the least value means *or lower*, are no number: a negative voltage
    /// reads the same, and could stand for a dead circuit.
    ///
    /// # Errors
    /// [`Reason::Layout`] if the value has another length, [`Reason::Range`] if it is prohibited.
    pub fn read(&self, value: &[u8], function: Function) -> Result<Shown, Reason> {
        if value.len() != self.format.bytes() {
            return Err(Reason::Layout);
        }
        let raw = match self.format {
            Format::Signed(bits) => signed(little_endian(value), bits),
            _ => i128::try_from(little_endian(value)).map_err(|_| Reason::Layout)?,
        };
        let (least, greatest) = self.range;
        if self.none.contains(&raw) {
            return Ok(Shown::Blank);
        }
        if !(least..=greatest).contains(&raw) {
            return Err(Reason::Range);
        }
        if self.beyond && raw == greatest {
            return Ok(Shown::Overload);
        }
        if self.beyond && raw == least && function != Function::VoltsAc {
            return Ok(Shown::Blank);
        }
        let shown = match self.step {
            Step::Ten(power) => fit(raw, i32::from(power)),
            Step::Part(parts) => coarse(raw, parts),
        };
        shown.map(Shown::Value).ok_or(Reason::Digits)
    }
}

/// `raw / parts`, rounded to the finest power of ten that is not finer than `1 / parts`.
fn coarse(raw: i128, parts: u128) -> Option<Decimal> {
    let mut tenth = 1_u128;
    let mut exponent = 0;
    while tenth.saturating_mul(10) <= parts {
        tenth = tenth.saturating_mul(10);
        exponent -= 1;
    }
    let size = raw.unsigned_abs().checked_mul(tenth)?;
    let size = i128::try_from(rounded(size, parts)).ok()?;
    fit(if raw < 0 { -size } else { size }, exponent)
}
