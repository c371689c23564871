//! The ASCII frame: sign, four digits, a blank, a point code, four bytes of symbols, the bar
//! graph, carriage return and line feed. 2400 bit/s, 8 data bits, no parity. From the display
//! chip's public datasheet, from memory; docs/meters.md has the map.
#![deny(clippy::indexing_slicing, clippy::unwrap_used, clippy::expect_used)]

use ohmtrail_core::reading::{Decimal, Flags, Shown};

use crate::bits::{bit, pack};
use crate::driver::{About, Decoder, Entry, FRAME, Line, Pushed, Talks};
use crate::showing::{CannotShow, Reason, Showing};
use crate::symbols::{self, Lit};
use crate::window::Window;

const ABOUT: About = About {
    functions: &symbols::FUNCTIONS,
    untold: &[
        "low input impedance, peak, low-pass filter, blank display",
        "the meter's category, accuracy and how many counts its display has",
        "whether a byte was damaged on its way: there is no checksum",
    ],
};

/// This frame's row of the table of drivers.
pub const ENTRY: Entry = Entry::chip(
    "ascii14",
    "14-byte ASCII frame",
    Line::eight_bits(2400),
    ABOUT,
    |setup| Talks::<Ascii14>::start(setup, ABOUT),
    encode,
);

/// The flags that this frame carries.
const FLAGS: Flags = Flags::HOLD
    .with(Flags::RELATIVE)
    .with(Flags::LOW_BATTERY)
    .with(Flags::AUTO_RANGE)
    .with(Flags::MINIMUM)
    .with(Flags::MAXIMUM);

const OVERLOAD: [u8; 4] = *b"?0:?";

/// The decoder: a window over the last fourteen bytes.
#[derive(Debug, Default)]
pub struct Ascii14 {
    window: Window,
}

impl Decoder for Ascii14 {
    fn push<'b>(&mut self, bytes: &'b [u8]) -> Pushed<'b, Showing> {
        self.window.push(bytes, decode)
    }
}

/// Decodes one whole frame.
///
/// # Errors
/// The first [`Reason`] why it is refused.
pub fn decode(frame: &[u8; FRAME]) -> Result<Showing, Reason> {
    let &[
        sign,
        d1,
        d2,
        d3,
        d4,
        b' ',
        point,
        s1,
        s2,
        s3,
        s4,
        _bar,
        b'\r',
        b'\n',
    ] = frame
    else {
        return Err(Reason::Layout);
    };
    let minus = match sign {
        b'+' => false,
        b'-' => true,
        _ => return Err(Reason::Layout),
    };
    let behind = match point {
        b'0' => 0,
        b'1' => 3,
        b'2' => 2,
        b'4' => 1,
        _ => return Err(Reason::Points),
    };
    if s1 & 0xC0 != 0 || s2 & 0xC1 != 0 || s3 & 0x01 != 0 {
        return Err(Reason::Symbols);
    }
    let lit = Lit {
        dc: bit(s1, 4),
        ac: bit(s1, 3),
        nano: bit(s2, 1),
        micro: bit(s3, 7),
        milli: bit(s3, 6),
        kilo: bit(s3, 5),
        mega: bit(s3, 4),
        beep: bit(s3, 3),
        diode: bit(s3, 2),
        percent: bit(s3, 1),
        volt: bit(s4, 7),
        ampere: bit(s4, 6),
        ohm: bit(s4, 5),
        gain: bit(s4, 4),
        hertz: bit(s4, 3),
        farad: bit(s4, 2),
        celsius: bit(s4, 1),
        fahrenheit: bit(s4, 0),
    };
    let digits = [d1, d2, d3, d4];
    let mantissa = if digits == OVERLOAD {
        None
    } else {
        let mut number = 0;
        for digit in digits {
            if !digit.is_ascii_digit() {
                return Err(Reason::Digits);
            }
            number = number * 10 + i32::from(digit - b'0');
        }
        Some(if minus { -number } else { number })
    };
    let flags = Flags::NONE
        .with_if(Flags::AUTO_RANGE, bit(s1, 5))
        .with_if(Flags::RELATIVE, bit(s1, 2))
        .with_if(Flags::HOLD, bit(s1, 1))
        .with_if(Flags::MAXIMUM, bit(s2, 5))
        .with_if(Flags::MINIMUM, bit(s2, 4))
        .with_if(Flags::LOW_BATTERY, bit(s2, 2));
    if flags.has(Flags::MAXIMUM.with(Flags::MINIMUM)) {
        return Err(Reason::Flags);
    }
    let (function, prefix) = lit.meaning()?;
    Ok(Showing {
        function,
        shown: match mantissa {
            Some(mantissa) => Shown::Value(Decimal::new(mantissa, prefix - behind)),
            None => Shown::Overload,
        },
        flags,
    })
}

/// The frame that shows this; the bar graph is off.
///
/// # Errors
/// [`CannotShow`] says what this frame cannot show.
pub fn encode(showing: &Showing) -> Result<[u8; FRAME], CannotShow> {
    let both = Flags::MAXIMUM.with(Flags::MINIMUM);
    if !FLAGS.has(showing.flags) || showing.flags.has(both) {
        return Err(CannotShow::Flags);
    }
    let overload_prefix = symbols::overload_prefix(showing.function).ok_or(CannotShow::Function)?;
    let (sign, digits, prefix, behind) = match showing.shown {
        Shown::Value(number) => {
            let (prefix, behind) =
                symbols::four_digits(showing.function, number).ok_or(CannotShow::Digits)?;
            let size = number.mantissa.unsigned_abs();
            let digit = |unit: u32| b'0' + u8::try_from(size / unit % 10).unwrap_or(0);
            (
                if number.mantissa < 0 { b'-' } else { b'+' },
                [digit(1000), digit(100), digit(10), digit(1)],
                prefix,
                behind,
            )
        }
        Shown::Overload => (b'+', OVERLOAD, overload_prefix, 0),
        Shown::Blank => return Err(CannotShow::Blank),
    };
    let lit = Lit::of(showing.function, prefix).ok_or(CannotShow::Function)?;
    let flag = |f: Flags| showing.flags.has(f);
    let [d1, d2, d3, d4] = digits;
    let point = match behind {
        0 => b'0',
        1 => b'4',
        2 => b'2',
        _ => b'1',
    };
    let s1 = pack(
        0,
        [
            false,
            false,
            flag(Flags::AUTO_RANGE),
            lit.dc,
            lit.ac,
            flag(Flags::RELATIVE),
            flag(Flags::HOLD),
            false,
        ],
    );
    let s2 = pack(
        0,
        [
            false,
            false,
            flag(Flags::MAXIMUM),
            flag(Flags::MINIMUM),
            false,
            flag(Flags::LOW_BATTERY),
            lit.nano,
            false,
        ],
    );
    let s3 = pack(
        0,
        [
            lit.micro,
            lit.milli,
            lit.kilo,
            lit.mega,
            lit.beep,
            lit.diode,
            lit.percent,
            false,
        ],
    );
    let s4 = pack(
        0,
        [
            lit.volt,
            lit.ampere,
            lit.ohm,
            lit.gain,
            lit.hertz,
            lit.farad,
            lit.celsius,
            lit.fahrenheit,
        ],
    );
    Ok([
        sign, d1, d2, d3, d4, b' ', point, s1, s2, s3, s4, 0, b'\r', b'\n',
    ])
}
