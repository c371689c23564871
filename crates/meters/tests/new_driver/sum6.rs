//! The six-byte frame of an invented clamp: 02, what is measured, two bytes of four decimal digits,
//! the power of ten of the last digit, and the sum of the five.

use ohmtrail_core::reading::{Decimal, Flags, Function, Shown};
use ohmtrail_meters::driver::{About, Decoder, Entry, Line, Outcome, Pushed, Talks};
use ohmtrail_meters::session::Patience;
use ohmtrail_meters::showing::{Reason, Showing};

const ABOUT: About = About {
    functions: &[Function::AmpsAc, Function::VoltsAc],
    untold: &["hold, low battery", "the meter's category and accuracy"],
};

/// This frame's row of the table of drivers.
pub const ENTRY: Entry = Entry {
    name: "sum6",
    what: "6-byte frame with a sum",
    line: Line::eight_bits(9600),
    about: ABOUT,
    patience: Patience::TALKS,
    asked: false,
    start: |setup| Talks::<Sum6>::start(setup, ABOUT),
    encode: None,
};

const LENGTH: usize = 6;

/// The decoder: a window over the last six bytes, so that no garbage hides the frame behind it.
#[derive(Debug, Default)]
pub struct Sum6 {
    held: [u8; LENGTH],
    len: usize,
}

impl Decoder for Sum6 {
    fn push<'b>(&mut self, bytes: &'b [u8]) -> Pushed<'b, Showing> {
        let mut skipped = 0;
        let mut rest = bytes;
        while let Some((&byte, tail)) = rest.split_first() {
            rest = tail;
            let [_, b, c, d, e, f] = self.held;
            self.held = [b, c, d, e, f, byte];
            if self.len < LENGTH {
                self.len += 1;
            } else {
                skipped += 1;
            }
            if self.len < LENGTH || !is_frame(&self.held) {
                continue;
            }
            let (outcome, used) = match decode(&self.held) {
                Ok(showing) => {
                    self.len = 0;
                    (Outcome::Got(showing), LENGTH)
                }
                Err(reason) => (Outcome::Rejected(reason), 0),
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
            used: 0,
            skipped,
            rest,
        }
    }
}

fn is_frame(&[start, body @ .., sum]: &[u8; LENGTH]) -> bool {
    start == 0x02 && body.iter().fold(start, |n, byte| n.wrapping_add(*byte)) == sum
}

/// What a frame says. Whatever is not listed is refused with a reason.
fn decode(&[_, what, high, low, power, _]: &[u8; LENGTH]) -> Result<Showing, Reason> {
    let function = match what {
        b'A' => Function::AmpsAc,
        b'V' => Function::VoltsAc,
        _ => return Err(Reason::FunctionCode),
    };
    let mut number = 0;
    for digit in [high >> 4, high & 0x0F, low >> 4, low & 0x0F] {
        if digit > 9 {
            return Err(Reason::Digits);
        }
        number = number * 10 + i32::from(digit);
    }
    let power = i8::from_le_bytes([power]);
    if !(-3..=0).contains(&power) {
        return Err(Reason::Range);
    }
    Ok(Showing {
        function,
        shown: Shown::Value(Decimal::new(number, power)),
        flags: Flags::NONE,
    })
}
