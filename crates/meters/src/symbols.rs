//! Unit symbols as a display lights them, and the one function and prefix that they mean. Shared
//! by the frames that carry symbols.
#![deny(clippy::indexing_slicing, clippy::unwrap_used, clippy::expect_used)]

use ohmtrail_core::reading::{Decimal, Function};

use crate::showing::Reason;

/// Which symbols are lit.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(crate) struct Lit {
    pub volt: bool,
    pub ampere: bool,
    pub ohm: bool,
    pub farad: bool,
    pub hertz: bool,
    pub percent: bool,
    pub celsius: bool,
    pub fahrenheit: bool,
    pub gain: bool,
    pub diode: bool,
    pub beep: bool,
    pub ac: bool,
    pub dc: bool,
    pub nano: bool,
    pub micro: bool,
    pub milli: bool,
    pub kilo: bool,
    pub mega: bool,
}

impl Lit {
    /// The function that the symbols mean and the power of ten of the prefix. Everything that
    /// does not fit together is refused.
    pub(crate) fn meaning(&self) -> Result<(Function, i8), Reason> {
        let units = [
            self.volt,
            self.ampere,
            self.ohm,
            self.farad,
            self.hertz,
            self.percent,
            self.celsius,
            self.fahrenheit,
            self.gain,
        ];
        match units.into_iter().filter(|lit| *lit).count() {
            0 => return Err(Reason::NoUnit),
            1 => {}
            _ => return Err(Reason::Units),
        }
        if (self.diode && !self.volt) || (self.beep && !self.ohm) {
            return Err(Reason::Units);
        }
        if self.fahrenheit || self.gain {
            return Err(Reason::NotCarried);
        }
        let alternating = match (self.ac, self.dc) {
            (true, true) => return Err(Reason::AcDc),
            (ac, dc) => (ac, dc),
        };
        let function = if self.volt && self.diode {
            match alternating {
                (true, _) => return Err(Reason::AcDc),
                _ => Function::Diode,
            }
        } else if self.volt {
            match alternating {
                (true, _) => Function::VoltsAc,
                (_, true) => Function::VoltsDc,
                _ => return Err(Reason::AcDc),
            }
        } else if self.ampere {
            match alternating {
                (true, _) => Function::AmpsAc,
                (_, true) => Function::AmpsDc,
                _ => return Err(Reason::AcDc),
            }
        } else if self.ac || self.dc {
            return Err(Reason::AcDc);
        } else if self.ohm && self.beep {
            Function::Continuity
        } else if self.ohm {
            Function::Ohms
        } else if self.farad {
            Function::Farads
        } else if self.hertz {
            Function::Hertz
        } else if self.percent {
            Function::Percent
        } else {
            Function::Celsius
        };
        let prefix = self.prefix()?;
        if prefixes(function).contains(&prefix) {
            Ok((function, prefix))
        } else {
            Err(Reason::Prefix)
        }
    }

    fn prefix(&self) -> Result<i8, Reason> {
        match (self.nano, self.micro, self.milli, self.kilo, self.mega) {
            (false, false, false, false, false) => Ok(0),
            (true, false, false, false, false) => Ok(-9),
            (false, true, false, false, false) => Ok(-6),
            (false, false, true, false, false) => Ok(-3),
            (false, false, false, true, false) => Ok(3),
            (false, false, false, false, true) => Ok(6),
            _ => Err(Reason::Prefix),
        }
    }

    /// The symbols for a function and prefix; none if no display of this kind has them.
    pub(crate) fn of(function: Function, prefix: i8) -> Option<Lit> {
        if !prefixes(function).contains(&prefix) {
            return None;
        }
        let mut lit = Lit {
            nano: prefix == -9,
            micro: prefix == -6,
            milli: prefix == -3,
            kilo: prefix == 3,
            mega: prefix == 6,
            ..Lit::default()
        };
        match function {
            Function::VoltsAc => (lit.volt, lit.ac) = (true, true),
            Function::VoltsDc => (lit.volt, lit.dc) = (true, true),
            Function::Diode => (lit.volt, lit.diode) = (true, true),
            Function::AmpsAc => (lit.ampere, lit.ac) = (true, true),
            Function::AmpsDc => (lit.ampere, lit.dc) = (true, true),
            Function::Ohms => lit.ohm = true,
            Function::Continuity => (lit.ohm, lit.beep) = (true, true),
            Function::Farads => lit.farad = true,
            Function::Hertz => lit.hertz = true,
            Function::Percent => lit.percent = true,
            Function::Celsius => lit.celsius = true,
            _ => return None,
        }
        Some(lit)
    }
}

/// The functions that symbols can say.
pub(crate) const FUNCTIONS: [Function; 11] = [
    Function::VoltsAc,
    Function::VoltsDc,
    Function::Ohms,
    Function::Farads,
    Function::AmpsAc,
    Function::AmpsDc,
    Function::Celsius,
    Function::Hertz,
    Function::Continuity,
    Function::Diode,
    Function::Percent,
];

/// The powers of ten of the prefixes that a function's unit takes, greatest first.
fn prefixes(function: Function) -> &'static [i8] {
    match function {
        Function::VoltsAc | Function::VoltsDc => &[0, -3],
        Function::AmpsAc | Function::AmpsDc => &[0, -3, -6],
        Function::Ohms | Function::Continuity | Function::Hertz => &[6, 3, 0],
        Function::Farads => &[-3, -6, -9],
        Function::Celsius | Function::Percent | Function::Diode => &[0],
        _ => &[],
    }
}

/// How four digits show a number: the prefix, and how many digits stand behind the point. Of
/// several ways, the one with the greatest prefix.
pub(crate) fn four_digits(function: Function, number: Decimal) -> Option<(i8, u8)> {
    if number.mantissa.unsigned_abs() > 9999 {
        return None;
    }
    prefixes(function).iter().find_map(|prefix| {
        let behind = i16::from(*prefix) - i16::from(number.exponent);
        match u8::try_from(behind) {
            Ok(behind @ 0..=3) => Some((*prefix, behind)),
            _ => None,
        }
    })
}

/// The prefix an overload is shown with: the greatest.
pub(crate) fn overload_prefix(function: Function) -> Option<i8> {
    prefixes(function).first().copied()
}
