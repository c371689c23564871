//! Units by their Bluetooth SIG assigned numbers, and the function each one means (TRADE 11).

use ohmtrail_core::reading::Function;

use crate::showing::Reason;

/// What a unit measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Quantity {
    /// This function and no other.
    Only(Function),
    /// Volts, of which the number does not say whether they alternate.
    Volts,
    /// Amperes, of which the number does not say whether they alternate.
    Amps,
}

impl Quantity {
    /// The function, with what the profile says of volts and amperes.
    ///
    /// # Errors
    /// [`Reason::AcDc`] if the profile is needed and does not say, or says another quantity.
    pub fn function(self, told: Option<Function>) -> Result<Function, Reason> {
        match (self, told) {
            (Quantity::Only(function), None) => Ok(function),
            (Quantity::Only(function), Some(told)) if told.ucum() == function.ucum() => Ok(told),
            // What is told of volts does not concern a temperature beside them.
            (Quantity::Only(function), Some(_)) => Ok(function),
            (
                Quantity::Volts,
                Some(told @ (Function::VoltsAc | Function::VoltsDc | Function::Diode)),
            ) => Ok(told),
            (Quantity::Amps, Some(told @ (Function::AmpsAc | Function::AmpsDc))) => Ok(told),
            _ => Err(Reason::AcDc),
        }
    }
}

/// What a unit's number means: the quantity, and the power of ten of the unit in the quantity's
/// base unit.
///
/// # Errors
/// [`Reason::NotCarried`] if it is a unit that would need a conversion, or of a quantity that is
/// not carried; [`Reason::NoUnit`] if it is no number of a unit, or unitless.
pub const fn unit(number: u16) -> Result<(Quantity, i8), Reason> {
    Ok(match number {
        0x2704 => (Quantity::Amps, 0),
        0x2722 => (Quantity::Only(Function::Hertz), 0),
        0x2724 => (Quantity::Only(Function::Pascals), 0),
        0x2728 => (Quantity::Volts, 0),
        0x2729 => (Quantity::Only(Function::Farads), 0),
        0x272A => (Quantity::Only(Function::Ohms), 0),
        0x272F => (Quantity::Only(Function::Celsius), 0),
        0x2780 => (Quantity::Only(Function::Pascals), 5),
        0x27AD => (Quantity::Only(Function::Percent), 0),
        0x2701..=0x27FF => return Err(Reason::NotCarried),
        _ => return Err(Reason::NoUnit),
    })
}
