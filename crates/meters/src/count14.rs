//! The count frame: range, five digits of 22,000 counts, function, status, four bytes of options,
//! carriage return and line feed; every byte but the last two has 0x30 in its top bits. 19200
//! bit/s, 7 data bits, odd parity. From the display chip's public datasheet, from memory;
//! docs/meters.md has the map.
#![deny(clippy::indexing_slicing, clippy::unwrap_used, clippy::expect_used)]

use ohmtrail_core::reading::{Decimal, Flags, Function, Shown};

use crate::bits::{bit, pack};
use crate::driver::{About, Decoder, Entry, FRAME, Line, Parity, Pushed, Talks};
use crate::showing::{CannotShow, Reason, Showing};
use crate::window::Window;

const ABOUT: About = About {
    functions: &[
        Function::VoltsAc,
        Function::VoltsDc,
        Function::Ohms,
        Function::Farads,
        Function::AmpsAc,
        Function::AmpsDc,
        Function::Hertz,
        Function::Continuity,
        Function::Diode,
    ],
    untold: &[
        "low input impedance, blank display",
        "temperature and duty cycle: their scale is not listed",
        "the meter's category and accuracy",
        "whether two bits of a byte were damaged on their way: there is parity and no checksum",
    ],
};

/// This frame's row of the table of drivers.
pub const ENTRY: Entry = Entry::chip(
    "count14",
    "14-byte count frame",
    Line {
        baud: 19200,
        data_bits: 7,
        parity: Parity::Odd,
    },
    ABOUT,
    |setup| Talks::<Count14>::start(setup, ABOUT),
    encode,
);

/// The most counts that the display shows.
const COUNTS: i32 = 22_000;

/// What a function code measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    Volts,
    Amps,
    Only(Function),
}

/// One function code: what it measures, and the power of ten of the last digit by range code.
struct Row {
    code: u8,
    kind: Kind,
    last_digit: &'static [Option<i8>],
    /// The range code that an overload is written with.
    top: u8,
}

/// The listed functions. Full scale 2.2 V of 22,000 counts has its last digit at 10^-4 V, and so
/// on. Continuity and diode test have the first range of ohms and of volts (from memory).
const ROWS: [Row; 9] = [
    Row {
        code: 0x3B,
        kind: Kind::Volts,
        last_digit: &[Some(-4), Some(-3), Some(-2), Some(-1), Some(-5)],
        top: 3,
    },
    Row {
        code: 0x30,
        kind: Kind::Amps,
        last_digit: &[Some(-3)],
        top: 0,
    },
    Row {
        code: 0x3F,
        kind: Kind::Amps,
        last_digit: &[Some(-6), Some(-5)],
        top: 1,
    },
    Row {
        code: 0x3D,
        kind: Kind::Amps,
        last_digit: &[Some(-8), Some(-7)],
        top: 1,
    },
    Row {
        code: 0x33,
        kind: Kind::Only(Function::Ohms),
        last_digit: &[
            Some(-2),
            Some(-1),
            Some(0),
            Some(1),
            Some(2),
            Some(3),
            Some(4),
        ],
        top: 6,
    },
    Row {
        code: 0x35,
        kind: Kind::Only(Function::Continuity),
        last_digit: &[Some(-2)],
        top: 0,
    },
    Row {
        code: 0x31,
        kind: Kind::Only(Function::Diode),
        last_digit: &[Some(-4)],
        top: 0,
    },
    Row {
        code: HERTZ_OR_DUTY,
        kind: Kind::Only(Function::Hertz),
        last_digit: &[
            Some(-2),
            Some(-1),
            None,
            Some(0),
            Some(1),
            Some(2),
            Some(3),
            Some(4),
        ],
        top: 7,
    },
    Row {
        code: 0x36,
        kind: Kind::Only(Function::Farads),
        last_digit: &[
            Some(-12),
            Some(-11),
            Some(-10),
            Some(-9),
            Some(-8),
            Some(-7),
            Some(-6),
            Some(-5),
        ],
        top: 7,
    },
];

/// The fixed top bits of every byte but the last two.
const TOP: u8 = 0x03;
const HERTZ_OR_DUTY: u8 = 0x32;
const TEMPERATURE: u8 = 0x34;

/// The decoder: a window over the last fourteen bytes.
#[derive(Debug, Default)]
pub struct Count14 {
    window: Window,
}

impl Decoder for Count14 {
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
        range,
        d1,
        d2,
        d3,
        d4,
        d5,
        code,
        status,
        o1,
        o2,
        o3,
        o4,
        b'\r',
        b'\n',
    ] = frame
    else {
        return Err(Reason::Layout);
    };
    let body = [range, d1, d2, d3, d4, d5, code, status, o1, o2, o3, o4];
    if body.into_iter().any(|byte| byte & 0xF0 != 0x30) {
        return Err(Reason::Layout);
    }
    let mut counts = 0;
    for digit in [d1, d2, d3, d4, d5] {
        if !digit.is_ascii_digit() {
            return Err(Reason::Digits);
        }
        counts = counts * 10 + i32::from(digit - b'0');
    }
    // Option 1 bit 0 says that the chip is sending (from memory); it is no annunciator.
    if bit(o2, 0) || bit(o4, 3) {
        return Err(Reason::Symbols);
    }
    if code == TEMPERATURE {
        return Err(Reason::NotCarried);
    }
    let row = ROWS
        .iter()
        .find(|row| row.code == code)
        .ok_or(Reason::FunctionCode)?;
    // Judge tells hertz (1) from duty cycle (0), from memory; elsewhere it has no listed meaning.
    match (code == HERTZ_OR_DUTY, bit(status, 3)) {
        (true, false) => return Err(Reason::NotCarried),
        (false, true) => return Err(Reason::Symbols),
        _ => {}
    }
    let (dc, ac) = (bit(o3, 3), bit(o3, 2));
    let function = match (row.kind, ac, dc) {
        (Kind::Volts, true, false) => Function::VoltsAc,
        (Kind::Volts, false, true) => Function::VoltsDc,
        (Kind::Amps, true, false) => Function::AmpsAc,
        (Kind::Amps, false, true) => Function::AmpsDc,
        (Kind::Only(function), false, false) => function,
        _ => return Err(Reason::AcDc),
    };
    let exponent = row
        .last_digit
        .get(usize::from(range & 0x0F))
        .copied()
        .flatten()
        .ok_or(Reason::Range)?;
    if bit(o3, 0) {
        return Err(Reason::NotCarried);
    }
    let (overload, underload) = (bit(status, 0), bit(o2, 3));
    let shown = match (overload, underload) {
        (true, true) => return Err(Reason::Flags),
        (true, false) => Shown::Overload,
        (false, true) => Shown::Blank,
        (false, false) if counts > COUNTS => return Err(Reason::Digits),
        (false, false) => Shown::Value(Decimal::new(
            if bit(status, 2) { -counts } else { counts },
            exponent,
        )),
    };
    let extremes = [bit(o1, 3), bit(o1, 2), bit(o2, 2), bit(o2, 1)];
    let extreme = match extremes {
        [false, false, false, false] => Flags::NONE,
        [true, false, false, false] => Flags::MAXIMUM,
        [false, true, false, false] => Flags::MINIMUM,
        [false, false, true, false] => Flags::PEAK.with(Flags::MAXIMUM),
        [false, false, false, true] => Flags::PEAK.with(Flags::MINIMUM),
        _ => return Err(Reason::Flags),
    };
    Ok(Showing {
        function,
        shown,
        flags: extreme
            .with_if(Flags::LOW_BATTERY, bit(status, 1))
            .with_if(Flags::RELATIVE, bit(o1, 1))
            .with_if(Flags::AUTO_RANGE, bit(o3, 1))
            .with_if(Flags::HOLD, bit(o4, 1))
            .with_if(Flags::LOW_PASS, bit(o4, 0)),
    })
}

/// The frame that shows this; the bar graph is off.
///
/// # Errors
/// [`CannotShow`] says what this frame cannot show.
pub fn encode(showing: &Showing) -> Result<[u8; FRAME], CannotShow> {
    let (kind, ac, dc) = match showing.function {
        Function::VoltsAc => (Kind::Volts, true, false),
        Function::VoltsDc => (Kind::Volts, false, true),
        Function::AmpsAc => (Kind::Amps, true, false),
        Function::AmpsDc => (Kind::Amps, false, true),
        other => (Kind::Only(other), false, false),
    };
    let mut rows = ROWS.iter().filter(|row| row.kind == kind).peekable();
    let first = *rows.peek().ok_or(CannotShow::Function)?;
    let (row, range, mantissa, overload) = match showing.shown {
        Shown::Value(number) if number.mantissa.unsigned_abs() <= COUNTS.unsigned_abs() => {
            let (row, range) = rows
                .find_map(|row| {
                    let range = row
                        .last_digit
                        .iter()
                        .position(|exponent| *exponent == Some(number.exponent))?;
                    Some((row, u8::try_from(range).ok()?))
                })
                .ok_or(CannotShow::Digits)?;
            (row, range, number.mantissa, false)
        }
        Shown::Value(_) => return Err(CannotShow::Digits),
        Shown::Overload => (first, first.top, 0, true),
        Shown::Blank => return Err(CannotShow::Blank),
    };
    let flag = |f: Flags| showing.flags.has(f);
    let (max, min, peak) = (
        flag(Flags::MAXIMUM),
        flag(Flags::MINIMUM),
        flag(Flags::PEAK),
    );
    if flag(Flags::LOW_IMPEDANCE) || (max && min) || (peak && !max && !min) {
        return Err(CannotShow::Flags);
    }
    let size = mantissa.unsigned_abs();
    let digit = |unit: u32| b'0' + u8::try_from(size / unit % 10).unwrap_or(0);
    let hertz = row.code == HERTZ_OR_DUTY;
    Ok([
        b'0' + range,
        digit(10_000),
        digit(1000),
        digit(100),
        digit(10),
        digit(1),
        row.code,
        pack(
            TOP,
            [hertz, mantissa < 0, flag(Flags::LOW_BATTERY), overload],
        ),
        pack(
            TOP,
            [max && !peak, min && !peak, flag(Flags::RELATIVE), false],
        ),
        pack(TOP, [false, max && peak, min && peak, false]),
        pack(TOP, [dc, ac, flag(Flags::AUTO_RANGE), false]),
        pack(TOP, [false, true, flag(Flags::HOLD), flag(Flags::LOW_PASS)]),
        b'\r',
        b'\n',
    ])
}
