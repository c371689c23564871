//! One ask of a compiled table: what is measured or looked at, and in which state of the unit.
//!
//! A record is [`ASK_BYTES`] bytes, numbers little-endian:
//!
//! | bytes | what |
//! |---|---|
//! | 0 | kind: the number of a [`Function`], or 255 for a look |
//! | 1 | power: 0 off, 1 on, 2 either |
//! | 2 | lifted set: an index into the table's lifts (0 is nothing lifted), or 255 for any |
//! | 3 | cooled: 0 as found, 1 cooled, 2 either |
//! | 4–5 | first test point, an index into the sheet's points; for a look, its index in the sheet's looks |
//! | 6–7 | second test point; 65535 for a look |
//! | 8–9 | minutes the ask takes by itself, in tenths |
//! | 10 | live outcomes: bit `c` is set if class `c` can be the outcome; 3 for a look (bit 0 no, bit 1 yes) |
//! | 11 | bottom class of the bands |
//! | 12 | top class of the bands |
//! | 13–28 | the four edges between bottom, low, within, high and top: f32, base units |
//! | 29–32 | number of the ask's first row in the table's rows |
//! | 33–34 | how many rows the ask has, 1 to 256 |

use crate::class::Class;
use crate::reading::Function;

/// The length of an encoded [`AskRecord`], in bytes.
pub const ASK_BYTES: usize = 35;

/// The lifted-set number of an ask that does not care what is lifted.
pub const ANY_LIFTED: u8 = 0xFF;

/// The point number that stands for no point.
pub const NO_POINT: u16 = 0xFFFF;

/// The outcomes of a look as live bits: bit 0 no, bit 1 yes.
pub const LOOK_LIVE: u8 = 0b11;

const LOOK: u8 = 0xFF;

/// What kind of ask it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// A measurement between two points.
    Measure(Function),
    /// Something to look at, listen to or feel; yes or no.
    Look,
}

/// The power an ask needs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[repr(u8)]
pub enum PowerNeed {
    /// Breaker open, locked, proved dead.
    Off = 0,
    /// Under power.
    On = 1,
    /// Either.
    Any = 2,
}

/// How warm the motors may be for an ask.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[repr(u8)]
pub enum Cooled {
    /// As found: they had no time to cool since they were last under power.
    AsFound = 0,
    /// They had.
    Cooled = 1,
    /// Either.
    Any = 2,
}

/// One ask, decoded.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AskRecord {
    /// Measurement or look.
    pub kind: Kind,
    /// The power it needs.
    pub power: PowerNeed,
    /// The lifted set it needs; 0 is nothing lifted, [`ANY_LIFTED`] any.
    pub lifted: u8,
    /// How warm the motors may be.
    pub cooled: Cooled,
    /// The first test point; for a look, its index among the sheet's looks.
    pub point_a: u16,
    /// The second test point; [`NO_POINT`] for a look.
    pub point_b: u16,
    /// The minutes it takes by itself, in tenths.
    pub tenths: u16,
    /// Which outcomes can be: bit `c` for class `c`; [`LOOK_LIVE`] for a look.
    pub live: u8,
    /// The class below the first edge.
    pub bottom: Class,
    /// The class above the last edge.
    pub top: Class,
    /// The edges between bottom, low, within, high and top, in base units.
    pub edges: [f32; 4],
    /// The number of its first row.
    pub first_row: u32,
    /// How many rows it has, 1 to 256.
    pub rows: u16,
}

impl AskRecord {
    /// The record as bytes.
    #[must_use]
    pub fn encode(&self) -> [u8; ASK_BYTES] {
        let kind = match self.kind {
            Kind::Measure(function) => function as u8,
            Kind::Look => LOOK,
        };
        let mut out = [0; ASK_BYTES];
        let head = [kind, self.power as u8, self.lifted, self.cooled as u8];
        let bytes = head
            .into_iter()
            .chain(self.point_a.to_le_bytes())
            .chain(self.point_b.to_le_bytes())
            .chain(self.tenths.to_le_bytes())
            .chain([self.live, self.bottom as u8, self.top as u8])
            .chain(self.edges.into_iter().flat_map(f32::to_le_bytes))
            .chain(self.first_row.to_le_bytes())
            .chain(self.rows.to_le_bytes());
        for (slot, byte) in out.iter_mut().zip(bytes) {
            *slot = byte;
        }
        out
    }

    /// The record in these bytes; none if there are not [`ASK_BYTES`] of them or a code is unknown.
    #[must_use]
    pub fn decode(bytes: &[u8]) -> Option<AskRecord> {
        if bytes.len() != ASK_BYTES {
            return None;
        }
        let mut rest = bytes;
        let [kind, power, lifted, cooled] = take(&mut rest)?;
        let point_a = u16::from_le_bytes(take(&mut rest)?);
        let point_b = u16::from_le_bytes(take(&mut rest)?);
        let tenths = u16::from_le_bytes(take(&mut rest)?);
        let [live, bottom, top] = take(&mut rest)?;
        let mut edges = [0.0; 4];
        for edge in &mut edges {
            *edge = f32::from_le_bytes(take(&mut rest)?);
        }
        Some(AskRecord {
            kind: match kind {
                LOOK => Kind::Look,
                code => Kind::Measure(
                    Function::ALL
                        .into_iter()
                        .find(|function| *function as u8 == code)?,
                ),
            },
            power: match power {
                0 => PowerNeed::Off,
                1 => PowerNeed::On,
                2 => PowerNeed::Any,
                _ => return None,
            },
            lifted,
            cooled: match cooled {
                0 => Cooled::AsFound,
                1 => Cooled::Cooled,
                2 => Cooled::Any,
                _ => return None,
            },
            point_a,
            point_b,
            tenths,
            live,
            bottom: class(bottom)?,
            top: class(top)?,
            edges,
            first_row: u32::from_le_bytes(take(&mut rest)?),
            rows: u16::from_le_bytes(take(&mut rest)?),
        })
    }

    /// The minutes the ask takes by itself.
    #[must_use]
    pub fn minutes(&self) -> f32 {
        f32::from(self.tenths) / 10.0
    }
}

fn class(code: u8) -> Option<Class> {
    Class::ALL.get(usize::from(code)).copied()
}

/// The next `N` bytes, taken off the front.
fn take<const N: usize>(rest: &mut &[u8]) -> Option<[u8; N]> {
    let (head, tail) = rest.split_first_chunk::<N>()?;
    *rest = tail;
    Some(*head)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sample() -> AskRecord {
        AskRecord {
            kind: Kind::Measure(Function::Farads),
            power: PowerNeed::Off,
            lifted: 2,
            cooled: Cooled::Any,
            point_a: 0x0102,
            point_b: 0x0304,
            tenths: 15,
            live: 0b10_1111,
            bottom: Class::Absent,
            top: Class::Short,
            edges: [1.0, 2.0, 3.0, f32::INFINITY],
            first_row: 0x0001_0203,
            rows: 256,
        }
    }

    #[test]
    fn a_record_has_the_documented_bytes() {
        let bytes = sample().encode();
        assert_eq!(&bytes[..13], &[3, 0, 2, 2, 2, 1, 4, 3, 15, 0, 0x2f, 0, 5]);
        assert_eq!(&bytes[13..17], &[0, 0, 0x80, 0x3f]);
        assert_eq!(&bytes[29..], &[3, 2, 1, 0, 0, 1]);
        assert_eq!(AskRecord::decode(&bytes), Some(sample()));
    }

    #[test]
    fn unknown_codes_and_wrong_lengths_are_refused() {
        let good = sample().encode();
        for (at, bad) in [(0, 13), (1, 3), (3, 3), (11, 6), (12, 6)] {
            let mut bytes = good;
            bytes[at] = bad;
            assert_eq!(AskRecord::decode(&bytes), None, "byte {at} as {bad}");
        }
        assert_eq!(AskRecord::decode(&good[1..]), None);
    }
}
