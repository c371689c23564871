//! Frames: a kind, a body and a CRC-32, stuffed so that a zero byte ends a frame and is in none.
//!
//! ```text
//! COBS( kind: 1 byte | body: at most 176 bytes | CRC-32 of kind and body: 4 bytes, little-endian ) 00
//! ```
//!
//! The stuffing is Consistent Overhead Byte Stuffing (Cheshire and Baker, IEEE/ACM Transactions on
//! Networking 7(2), 1999); the check is CRC-32/ISO-HDLC (reflected 0xEDB88320, the one of ISO/IEC
//! 3309). An empty frame, a lone zero byte, says nothing: each side sends one first, so that what
//! noise left on the line ends there.

use cobs::{DecodeResult, DecoderState};
use crc::{CRC_32_ISO_HDLC, Crc, NoTable};
use serde::Serialize;

/// The longest body, in bytes.
pub const BODY: usize = 176;
/// Kind, body and check.
const PLAIN: usize = 1 + BODY + 4;
/// The longest frame on the line, the zero byte that ends it included.
pub const FRAME: usize = PLAIN + 2;

const CHECK: Crc<u32, NoTable> = Crc::<u32, NoTable>::new(&CRC_32_ISO_HDLC);

/// The CRC-32 of these bytes.
#[must_use]
pub fn crc32(bytes: &[u8]) -> u32 {
    CHECK.checksum(bytes)
}

/// Carries a CRC-32 on over more bytes: `crc32_more(0, a)` is [`crc32`] of `a`, and of `a` then
/// `b` it is `crc32_more(crc32_more(0, a), b)`.
#[must_use]
pub fn crc32_more(before: u32, bytes: &[u8]) -> u32 {
    // The catalogue's algorithm reflects and inverts at both ends, so what it starts with is the
    // check so far, bits turned round and inverted.
    let mut digest = CHECK.digest_with_initial((!before).reverse_bits());
    digest.update(bytes);
    digest.finalize()
}

/// What a frame carries. The numbers are on the wire for ever.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[repr(u8)]
pub enum Kind {
    /// The host greets: [`crate::hello::HostHello`].
    HostHello = 0x48,
    /// The box greets: [`crate::hello::BoxHello`].
    BoxHello = 0x42,
    /// From the host to the box: [`crate::message::Down`].
    Down = 0x44,
    /// From the box to the host: [`crate::message::Up`].
    Up = 0x55,
}

impl Kind {
    /// The kind of that number.
    #[must_use]
    pub const fn of(byte: u8) -> Option<Kind> {
        match byte {
            0x48 => Some(Kind::HostHello),
            0x42 => Some(Kind::BoxHello),
            0x44 => Some(Kind::Down),
            0x55 => Some(Kind::Up),
            _ => None,
        }
    }
}

/// A message that does not fit a frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TooLong;

impl core::fmt::Display for TooLong {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        write!(
            f,
            "a message of more than {BODY} bytes does not fit a frame"
        )
    }
}

impl core::error::Error for TooLong {}

/// A frame, ready for the line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wire {
    bytes: [u8; FRAME],
    len: usize,
}

impl Wire {
    /// Nothing to send.
    #[must_use]
    pub const fn new() -> Self {
        Wire {
            bytes: [0; FRAME],
            len: 0,
        }
    }

    /// What to send.
    #[must_use]
    pub fn bytes(&self) -> &[u8] {
        self.bytes.get(..self.len).unwrap_or_default()
    }

    /// Whether there is nothing to send.
    #[must_use]
    pub const fn is_empty(&self) -> bool {
        self.len == 0
    }

    /// Frames a message.
    ///
    /// # Errors
    /// [`TooLong`]; then there is nothing to send.
    pub fn message<T: Serialize>(&mut self, kind: Kind, message: &T) -> Result<(), TooLong> {
        self.frame(kind, |body| {
            postcard::to_slice(message, body).map_or(None, |used| Some(used.len()))
        })
    }

    /// Frames bytes.
    ///
    /// # Errors
    /// [`TooLong`]; then there is nothing to send.
    pub fn plain(&mut self, kind: Kind, body: &[u8]) -> Result<(), TooLong> {
        self.frame(kind, |room| {
            room.get_mut(..body.len())?.copy_from_slice(body);
            Some(body.len())
        })
    }

    fn frame(
        &mut self,
        kind: Kind,
        fill: impl FnOnce(&mut [u8]) -> Option<usize>,
    ) -> Result<(), TooLong> {
        self.len = 0;
        let mut plain = [0; PLAIN];
        let written = write(&mut plain, kind, fill).ok_or(TooLong)?;
        let plain = plain.get(..written).ok_or(TooLong)?;
        let stuffed = cobs::try_encode(plain, &mut self.bytes).map_err(|_| TooLong)?;
        *self.bytes.get_mut(stuffed).ok_or(TooLong)? = 0;
        self.len = stuffed.saturating_add(1);
        Ok(())
    }
}

impl Default for Wire {
    fn default() -> Self {
        Wire::new()
    }
}

/// Kind, body and check, unstuffed; how many bytes it is.
fn write(
    plain: &mut [u8; PLAIN],
    kind: Kind,
    fill: impl FnOnce(&mut [u8]) -> Option<usize>,
) -> Option<usize> {
    let (first, rest) = plain.split_first_mut()?;
    *first = kind as u8;
    let length = fill(rest.get_mut(..BODY)?)?;
    let whole = length.checked_add(1)?;
    let check = crc32(plain.get(..whole)?);
    let end = whole.checked_add(4)?;
    plain
        .get_mut(whole..end)?
        .copy_from_slice(&check.to_le_bytes());
    Some(end)
}

/// What came of one byte.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Got {
    /// No frame has ended.
    Nothing,
    /// A frame has ended and is whole: [`Frames::frame`].
    Frame,
    /// A frame has ended and is damaged, longer than any, or of no kind that is known: all of its
    /// bytes are dropped.
    Damaged,
}

/// Takes frames out of a byte stream within fixed memory. Any bytes whatever may be pushed; after
/// damage the next zero byte begins anew.
#[derive(Debug)]
pub struct Frames {
    state: DecoderState,
    plain: heapless::Vec<u8, PLAIN>,
    /// What is gathered cannot be a frame any more.
    spoilt: bool,
    /// How many bytes came since the last frame ended.
    since: usize,
}

impl Default for Frames {
    fn default() -> Self {
        Frames::new()
    }
}

impl Frames {
    /// Nothing gathered.
    #[must_use]
    pub const fn new() -> Self {
        Frames {
            state: DecoderState::Idle,
            plain: heapless::Vec::new(),
            spoilt: false,
            since: 0,
        }
    }

    /// Takes a byte in.
    pub fn push(&mut self, byte: u8) -> Got {
        if self.since == 0 {
            self.plain.clear();
            self.spoilt = false;
        }
        self.since = self.since.saturating_add(1);
        match self.state.feed(byte) {
            Ok(DecodeResult::NoData | DecodeResult::DataStart) => {}
            Ok(DecodeResult::DataContinue(data)) => self.spoilt |= self.plain.push(data).is_err(),
            Ok(DecodeResult::DataComplete) => {}
            Err(_) => self.spoilt = true,
        }
        if byte != 0 {
            return Got::Nothing;
        }
        self.state = DecoderState::Idle;
        let empty = self.since == 1;
        self.since = 0;
        if empty {
            Got::Nothing
        } else if !self.spoilt && self.frame().is_some() {
            Got::Frame
        } else {
            self.plain.clear();
            Got::Damaged
        }
    }

    /// How many bytes are gathered towards a frame that has not ended; none just after one ended.
    #[must_use]
    pub const fn gathered(&self) -> usize {
        self.since
    }

    /// The frame that has just ended, if it is whole.
    #[must_use]
    pub fn frame(&self) -> Option<(Kind, &[u8])> {
        let (plain, check) = self.plain.split_last_chunk::<4>()?;
        let (kind, body) = plain.split_first()?;
        (u32::from_le_bytes(*check) == crc32(plain)).then_some(())?;
        Some((Kind::of(*kind)?, body))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The check value of the catalogue of parametrised CRC algorithms for CRC-32/ISO-HDLC.
    #[test]
    fn the_check_is_the_catalogues() {
        assert_eq!(crc32(b"123456789"), 0xCBF4_3926);
        assert_eq!(crc32_more(crc32_more(0, b"1234"), b"56789"), 0xCBF4_3926);
        assert_eq!(crc32_more(0, b"123456789"), 0xCBF4_3926);
    }

    fn frames(bytes: &[u8]) -> (usize, usize) {
        let mut frames = Frames::new();
        let mut seen = (0, 0);
        for byte in bytes {
            match frames.push(*byte) {
                Got::Nothing => {}
                Got::Frame => seen.0 += 1,
                Got::Damaged => seen.1 += 1,
            }
        }
        seen
    }

    #[test]
    fn every_length_comes_back_and_no_zero_is_inside() {
        for length in 0..=BODY {
            for fill in [0_u8, 1, 0xFF] {
                let body = [fill; BODY];
                let body = &body[..length];
                let mut wire = Wire::new();
                wire.plain(Kind::Up, body).expect("it fits");
                let bytes = wire.bytes();
                assert_eq!(bytes.iter().position(|b| *b == 0), Some(bytes.len() - 1));
                let mut frames = Frames::new();
                for byte in &bytes[..bytes.len() - 1] {
                    assert_eq!(frames.push(*byte), Got::Nothing);
                }
                assert_eq!(frames.push(0), Got::Frame, "{length} of {fill}");
                assert_eq!(frames.frame(), Some((Kind::Up, body)));
            }
        }
        let mut wire = Wire::new();
        assert_eq!(wire.plain(Kind::Up, &[0; BODY + 1]), Err(TooLong));
        assert!(wire.is_empty());
    }

    #[test]
    fn every_flipped_bit_and_every_cut_is_found() {
        let mut wire = Wire::new();
        let body = [0, 1, 2, 0, 0, 255, 7, 0];
        wire.plain(Kind::Down, &body).expect("it fits");
        let good = wire.bytes();
        for at in 0..good.len() {
            for bit in 0..8 {
                let mut bad = [0_u8; FRAME];
                let bad = &mut bad[..good.len()];
                bad.copy_from_slice(good);
                bad[at] ^= 1 << bit;
                let mut frames = Frames::new();
                let whole = bad.iter().any(|b| {
                    frames.push(*b) == Got::Frame && frames.frame() == Some((Kind::Down, &body[..]))
                });
                assert!(!whole, "bit {bit} of byte {at}");
            }
            // A cut frame, then a whole one: the cut one costs nothing else.
            if at + 1 == good.len() {
                continue;
            }
            let mut line = heapless::Vec::<u8, { 3 * FRAME }>::new();
            line.extend_from_slice(&good[..at]).expect("room");
            line.push(0).expect("room");
            line.extend_from_slice(good).expect("room");
            assert_eq!(frames(&line).0, 1, "cut at {at}");
        }
    }

    #[test]
    fn noise_without_an_end_is_bounded_and_forgotten_at_the_next_zero() {
        let mut frames = Frames::new();
        for _ in 0..100_000 {
            assert_eq!(frames.push(0xFF), Got::Nothing);
        }
        assert_eq!(frames.push(0), Got::Damaged);
        let mut wire = Wire::new();
        wire.plain(Kind::Up, b"after").expect("it fits");
        let last = wire.bytes().iter().map(|b| frames.push(*b)).last();
        assert_eq!(last, Some(Got::Frame));
    }
}
