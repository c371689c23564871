//! The value formats of the Characteristic Presentation Format descriptor (0x2904), by their
//! numbers: Bluetooth SIG assigned numbers, `formattypes` (TRADE 11).

use ohmtrail_core::reading::{Decimal, Shown};

use crate::decimal::{fit, parse};
use crate::showing::Reason;

/// How the bytes of a value are to be read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Format {
    /// An unsigned whole number of this many bits.
    Unsigned(u8),
    /// A whole number of this many bits, two's complement.
    Signed(u8),
    /// IEEE 754 binary32.
    Float32,
    /// IEEE 754 binary64.
    Float64,
    /// IEEE 11073-20601 SFLOAT: 4 bits of exponent, 12 of mantissa.
    MedFloat16,
    /// IEEE 11073-20601 FLOAT: 8 bits of exponent, 24 of mantissa.
    MedFloat32,
}

impl Format {
    /// The format of this number. None for text, structures and flags, which are no values.
    #[must_use]
    pub const fn by_number(number: u8) -> Option<Format> {
        Some(match number {
            0x02 => Format::Unsigned(2),
            0x03 => Format::Unsigned(4),
            0x04 => Format::Unsigned(8),
            0x05 => Format::Unsigned(12),
            0x06 => Format::Unsigned(16),
            0x07 => Format::Unsigned(24),
            0x08 => Format::Unsigned(32),
            0x09 => Format::Unsigned(48),
            0x0A => Format::Unsigned(64),
            0x0B => Format::Unsigned(128),
            0x0C => Format::Signed(8),
            0x0D => Format::Signed(12),
            0x0E => Format::Signed(16),
            0x0F => Format::Signed(24),
            0x10 => Format::Signed(32),
            0x11 => Format::Signed(48),
            0x12 => Format::Signed(64),
            0x13 => Format::Signed(128),
            0x14 => Format::Float32,
            0x15 => Format::Float64,
            0x16 => Format::MedFloat16,
            0x17 => Format::MedFloat32,
            _ => return None,
        })
    }

    /// How many bytes a value has.
    #[must_use]
    pub const fn bytes(self) -> usize {
        match self {
            Format::Unsigned(bits) | Format::Signed(bits) => (bits as usize).div_ceil(8),
            Format::Float32 | Format::MedFloat32 => 4,
            Format::Float64 => 8,
            Format::MedFloat16 => 2,
        }
    }

    /// Whether the descriptor's exponent counts: with the whole numbers from 8 bits up.
    #[must_use]
    pub const fn takes_exponent(self) -> bool {
        match self {
            Format::Unsigned(bits) | Format::Signed(bits) => bits >= 8,
            _ => false,
        }
    }

    /// What a value shows, `exponent` powers of ten higher. A whole number's last digit is its
    /// resolution, and so is a medical float's. A binary float does not say its resolution: it is
    /// given the fewest digits that name it, the coarsest claim that fits; infinities are an
    /// overload, not-a-number is no value.
    ///
    /// # Errors
    /// [`Reason::Layout`] if the value has another length, or bits above its format's are set;
    /// [`Reason::Digits`] if its power of ten is beyond any display's, or a medical float's
    /// mantissa is one that some read as a number and some as none.
    pub fn read(self, value: &[u8], exponent: i32) -> Result<Shown, Reason> {
        if value.len() != self.bytes() {
            return Err(Reason::Layout);
        }
        match self {
            Format::Unsigned(bits) => {
                let raw = little_endian(value);
                let fits = bits == 128 || raw >> bits == 0;
                let raw = i128::try_from(raw).ok().filter(|_| fits);
                number(raw.ok_or(Reason::Layout)?, exponent)
            }
            Format::Signed(bits) => {
                let raw = little_endian(value);
                let number_ = signed(raw, bits);
                // A 12-bit number's sign goes on through the four bits above it, or these are 0.
                let above = if bits < 128 { raw >> bits } else { 0 };
                let spare = (value.len() * 8).saturating_sub(usize::from(bits));
                let ones = (1_u128 << spare) - 1;
                if above != 0 && (number_ >= 0 || above != ones) {
                    return Err(Reason::Layout);
                }
                number(number_, exponent)
            }
            Format::Float32 => {
                let bytes = value.try_into().map_err(|_| Reason::Layout)?;
                let float = f32::from_le_bytes(bytes);
                float_digits(f64::from(float), format!("{float:e}"), exponent)
            }
            Format::Float64 => {
                let bytes = value.try_into().map_err(|_| Reason::Layout)?;
                let float = f64::from_le_bytes(bytes);
                float_digits(float, format!("{float:e}"), exponent)
            }
            Format::MedFloat16 => medical(little_endian(value), 12, 4, exponent),
            Format::MedFloat32 => medical(little_endian(value), 24, 8, exponent),
        }
    }
}

/// The number that at most sixteen bytes are, lowest byte first.
pub(super) fn little_endian(bytes: &[u8]) -> u128 {
    bytes
        .iter()
        .rev()
        .fold(0, |number, byte| number << 8 | u128::from(*byte))
}

/// The lowest bits as two's complement.
pub(super) fn signed(raw: u128, bits: u8) -> i128 {
    let spare = 128_u32.saturating_sub(u32::from(bits));
    (raw.wrapping_shl(spare) as i128).wrapping_shr(spare)
}

fn number(raw: i128, exponent: i32) -> Result<Shown, Reason> {
    fit(raw, exponent).map(Shown::Value).ok_or(Reason::Digits)
}

fn float_digits(float: f64, digits: String, exponent: i32) -> Result<Shown, Reason> {
    if float.is_nan() {
        return Ok(Shown::Blank);
    }
    if float.is_infinite() {
        return Ok(Shown::Overload);
    }
    let shown = parse(&digits).ok_or(Reason::Digits)?;
    let raised = i32::from(shown.exponent).saturating_add(exponent);
    let raised = i8::try_from(raised).map_err(|_| Reason::Digits)?;
    Ok(Shown::Value(Decimal::new(shown.mantissa, raised)))
}

/// A medical float: a mantissa, and above it an exponent, both two's complement. Five mantissas at
/// exponent 0 are no numbers: with `top` the greatest, `top` is NaN, `top - 1` +INFINITY, `top + 1`
/// NRes (not at this resolution), `top + 2` reserved, `top + 3` -INFINITY (IEEE 11073-20601, from
/// memory). At other exponents readers differ over them, so they are refused there.
fn medical(raw: u128, mantissa_bits: u8, exponent_bits: u8, higher: i32) -> Result<Shown, Reason> {
    let mantissa = raw & ((1 << mantissa_bits) - 1);
    let exponent = signed(raw >> mantissa_bits, exponent_bits);
    let top = (1_u128 << (mantissa_bits - 1)) - 1;
    if (top - 1..=top + 3).contains(&mantissa) {
        return match (exponent, mantissa.wrapping_sub(top)) {
            (0, 0 | 1) => Ok(Shown::Blank),
            (0, 2) => Err(Reason::Digits),
            (0, _) => Ok(Shown::Overload),
            _ => Err(Reason::Digits),
        };
    }
    let exponent = i32::try_from(exponent).map_err(|_| Reason::Digits)?;
    number(
        signed(mantissa, mantissa_bits),
        exponent.saturating_add(higher),
    )
}
