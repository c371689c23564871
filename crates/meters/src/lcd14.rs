//! The LCD-segment frame: fourteen bytes that say which segments and symbols are lit. 2400 bit/s,
//! 8 data bits, no parity. The high nibble of each byte is its position, 1 to 14; the low nibble
//! is what is lit there. From the display chip's public datasheet, from memory; docs/meters.md has
//! the map.
#![deny(clippy::indexing_slicing, clippy::unwrap_used, clippy::expect_used)]

use ohmtrail_core::reading::{Decimal, Flags, Shown};

use crate::bits::{bit, pack};
use crate::driver::{About, Decoder, Entry, FRAME, Line, Outcome, Pushed, Talks};
use crate::showing::{CannotShow, Reason, Showing};
use crate::symbols::{self, Lit};

const ABOUT: About = About {
    functions: &symbols::FUNCTIONS,
    untold: &[
        "low input impedance, peak, minimum and maximum, low-pass filter",
        "the meter's category, accuracy and how many counts its display has",
        "whether a byte was damaged on its way: there is no checksum",
    ],
};

/// This frame's row of the table of drivers.
pub const ENTRY: Entry = Entry::chip(
    "lcd14",
    "14-byte LCD-segment frame",
    Line::eight_bits(2400),
    ABOUT,
    |setup| Talks::<Lcd14>::start(setup, ABOUT),
    encode,
);

/// The flags that this frame carries.
const FLAGS: Flags = Flags::HOLD
    .with(Flags::RELATIVE)
    .with(Flags::LOW_BATTERY)
    .with(Flags::AUTO_RANGE);

/// What a digit's seven segments show.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Glyph {
    Digit(u8),
    Blank,
    L,
}

/// Segment patterns: the three bits of a digit's first byte above the four of its second.
const GLYPHS: [(u8, Glyph); 12] = [
    (0x7D, Glyph::Digit(0)),
    (0x05, Glyph::Digit(1)),
    (0x5B, Glyph::Digit(2)),
    (0x1F, Glyph::Digit(3)),
    (0x27, Glyph::Digit(4)),
    (0x3E, Glyph::Digit(5)),
    (0x7E, Glyph::Digit(6)),
    (0x15, Glyph::Digit(7)),
    (0x7F, Glyph::Digit(8)),
    (0x3F, Glyph::Digit(9)),
    (0x00, Glyph::Blank),
    (0x68, Glyph::L),
];

fn glyph(segments: u8) -> Result<Glyph, Reason> {
    GLYPHS
        .into_iter()
        .find(|(pattern, _)| *pattern == segments)
        .map(|(_, glyph)| glyph)
        .ok_or(Reason::Segments)
}

fn segments(glyph: Glyph) -> u8 {
    GLYPHS
        .into_iter()
        .find(|(_, g)| *g == glyph)
        .map_or(0, |(pattern, _)| pattern)
}

/// The decoder: collects positions 1 to 14 in order.
#[derive(Debug, Default)]
pub struct Lcd14 {
    held: [u8; FRAME],
    len: usize,
}

impl Decoder for Lcd14 {
    fn push<'b>(&mut self, bytes: &'b [u8]) -> Pushed<'b, Showing> {
        let (mut used, mut skipped) = (0, 0);
        let mut rest = bytes;
        while let Some((&byte, tail)) = rest.split_first() {
            rest = tail;
            let position = usize::from(byte >> 4);
            let broke_off = self.len > 0 && position != self.len + 1;
            if broke_off {
                skipped += self.len;
                self.len = 0;
            }
            match self.held.get_mut(self.len) {
                Some(slot) if position == self.len + 1 => {
                    *slot = byte;
                    self.len += 1;
                }
                _ => skipped += 1,
            }
            let outcome = if self.len == FRAME {
                self.len = 0;
                match decode(&self.held) {
                    Ok(showing) => {
                        used = FRAME;
                        Outcome::Got(showing)
                    }
                    Err(reason) => {
                        skipped += FRAME;
                        Outcome::Rejected(reason)
                    }
                }
            } else if broke_off {
                Outcome::Rejected(Reason::Sequence)
            } else {
                continue;
            };
            return Pushed {
                outcome,
                used,
                skipped,
                rest,
            };
        }
        Pushed {
            outcome: Outcome::Hungry,
            used,
            skipped,
            rest,
        }
    }
}

/// Decodes one whole frame.
///
/// # Errors
/// The first [`Reason`] why it is refused.
pub fn decode(frame: &[u8; FRAME]) -> Result<Showing, Reason> {
    if !frame
        .iter()
        .zip(1..)
        .all(|(byte, position)| byte >> 4 == position)
    {
        return Err(Reason::Sequence);
    }
    let [p1, p2, p3, p4, p5, p6, p7, p8, p9, p10, p11, p12, p13, p14] = frame.map(|b| b & 0x0F);

    let lit = Lit {
        ac: bit(p1, 3),
        dc: bit(p1, 2),
        micro: bit(p10, 3),
        nano: bit(p10, 2),
        kilo: bit(p10, 1),
        diode: bit(p10, 0),
        milli: bit(p11, 3),
        percent: bit(p11, 2),
        mega: bit(p11, 1),
        beep: bit(p11, 0),
        farad: bit(p12, 3),
        ohm: bit(p12, 2),
        ampere: bit(p13, 3),
        volt: bit(p13, 2),
        hertz: bit(p13, 1),
        celsius: bit(p14, 0),
        ..Lit::default()
    };
    let glyphs = [
        glyph((p2 & 7) << 4 | p3)?,
        glyph((p4 & 7) << 4 | p5)?,
        glyph((p6 & 7) << 4 | p7)?,
        glyph((p8 & 7) << 4 | p9)?,
    ];
    let behind = match (bit(p4, 3), bit(p6, 3), bit(p8, 3)) {
        (false, false, false) => 0,
        (true, false, false) => 3,
        (false, true, false) => 2,
        (false, false, true) => 1,
        _ => return Err(Reason::Points),
    };
    if p14 & 0x0E != 0 {
        return Err(Reason::Symbols);
    }
    let (function, prefix) = lit.meaning()?;
    Ok(Showing {
        function,
        shown: shown(glyphs, bit(p2, 3), behind, prefix)?,
        flags: Flags::NONE
            .with_if(Flags::AUTO_RANGE, bit(p1, 1))
            .with_if(Flags::RELATIVE, bit(p12, 1))
            .with_if(Flags::HOLD, bit(p12, 0))
            .with_if(Flags::LOW_BATTERY, bit(p13, 0)),
    })
}

/// What the four glyphs show: a number with leading blanks, overload, or nothing.
fn shown(glyphs: [Glyph; 4], minus: bool, behind: i8, prefix: i8) -> Result<Shown, Reason> {
    use Glyph::{Blank, Digit, L};
    match glyphs {
        [Digit(0), L, Blank, Blank] | [Blank, Digit(0), L, Blank] | [Blank, Blank, Digit(0), L] => {
            return Ok(Shown::Overload);
        }
        [Blank, Blank, Blank, Blank] if !minus && behind == 0 => return Ok(Shown::Blank),
        _ => {}
    }
    let mut mantissa = None;
    for (glyph, right) in glyphs.into_iter().zip([3_i8, 2, 1, 0]) {
        mantissa = match (glyph, mantissa) {
            (Digit(d), before) => Some(before.unwrap_or(0) * 10 + i32::from(d)),
            // A blank leads, and at least one digit stands left of the point.
            (Blank, None) if right > behind => None,
            _ => return Err(Reason::Digits),
        };
    }
    let mantissa = mantissa.ok_or(Reason::Digits)?;
    Ok(Shown::Value(Decimal::new(
        if minus { -mantissa } else { mantissa },
        prefix - behind,
    )))
}

/// The frame that shows this: blanks lead, and the greatest prefix that fits is lit.
///
/// # Errors
/// [`CannotShow`] says what this frame cannot show.
pub fn encode(showing: &Showing) -> Result<[u8; FRAME], CannotShow> {
    if !FLAGS.has(showing.flags) {
        return Err(CannotShow::Flags);
    }
    let overload_prefix = symbols::overload_prefix(showing.function).ok_or(CannotShow::Function)?;
    let (glyphs, minus, prefix, behind) = match showing.shown {
        Shown::Value(number) => {
            let (prefix, behind) =
                symbols::four_digits(showing.function, number).ok_or(CannotShow::Digits)?;
            (
                digits(number.mantissa.unsigned_abs(), behind),
                number.mantissa < 0,
                prefix,
                behind,
            )
        }
        Shown::Overload => (
            [Glyph::Blank, Glyph::Digit(0), Glyph::L, Glyph::Blank],
            false,
            overload_prefix,
            0,
        ),
        Shown::Blank => ([Glyph::Blank; 4], false, overload_prefix, 0),
    };
    let lit = Lit::of(showing.function, prefix).ok_or(CannotShow::Function)?;
    let flag = |f: Flags| showing.flags.has(f);
    let [s1, s2, s3, s4] = glyphs.map(segments);
    let nibbles = [
        pack(0, [lit.ac, lit.dc, flag(Flags::AUTO_RANGE), true]),
        u8::from(minus) << 3 | s1 >> 4,
        s1 & 0x0F,
        u8::from(behind == 3) << 3 | s2 >> 4,
        s2 & 0x0F,
        u8::from(behind == 2) << 3 | s3 >> 4,
        s3 & 0x0F,
        u8::from(behind == 1) << 3 | s4 >> 4,
        s4 & 0x0F,
        pack(0, [lit.micro, lit.nano, lit.kilo, lit.diode]),
        pack(0, [lit.milli, lit.percent, lit.mega, lit.beep]),
        pack(
            0,
            [lit.farad, lit.ohm, flag(Flags::RELATIVE), flag(Flags::HOLD)],
        ),
        pack(
            0,
            [lit.ampere, lit.volt, lit.hertz, flag(Flags::LOW_BATTERY)],
        ),
        pack(0, [false, false, false, lit.celsius]),
    ];
    let mut position = 0;
    Ok(nibbles.map(|n| {
        position += 0x10;
        position | n
    }))
}

/// Four glyphs of a number, blank left of its first digit, with at least one digit left of the
/// point.
fn digits(number: u32, behind: u8) -> [Glyph; 4] {
    let glyph = |unit: u32, right: u8| {
        if number < unit && right > behind {
            Glyph::Blank
        } else {
            Glyph::Digit(u8::try_from(number / unit % 10).unwrap_or(0))
        }
    };
    [glyph(1000, 3), glyph(100, 2), glyph(10, 1), glyph(1, 0)]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The patterns are the seven-segment shapes of the numerals as every such display draws them
    /// (segments a to g, clockwise from the top, g in the middle): a mistyped pattern shows here.
    #[test]
    fn patterns_are_the_seven_segment_shapes() {
        let bit = |segment: char| match segment {
            'a' => 0x10,
            'b' => 0x01,
            'c' => 0x04,
            'd' => 0x08,
            'e' => 0x40,
            'f' => 0x20,
            _ => 0x02,
        };
        let shapes = [
            "abcdef", "bc", "abdeg", "abcdg", "bcfg", "acdfg", "acdefg", "abc", "abcdefg",
            "abcdfg", "", "def",
        ];
        for ((pattern, glyph), shape) in GLYPHS.into_iter().zip(shapes) {
            let drawn: u8 = shape.chars().map(bit).sum();
            assert_eq!(pattern, drawn, "{glyph:?}");
        }
    }
}
