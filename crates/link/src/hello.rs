//! The greeting. Its layout never changes: numbers little-endian, nothing packed, so that every
//! version of a box and of a host can read who is at the other end; docs/probe-link.md has it.

use postcard_schema::key::hash::fnv1a64::hash_ty_path;

use crate::message::{Down, Up};

/// The version of what the messages mean. A change that the schema cannot show raises it.
pub const PROTOCOL: u16 = 1;

/// A hash over the names, order and types of every message: the same on two ends that were built
/// from the same messages.
pub const SCHEMA: u64 = {
    let down = u64::from_le_bytes(hash_ty_path::<Down<'static>>("down"));
    let up = u64::from_le_bytes(hash_ty_path::<Up>("up"));
    down ^ up.rotate_left(32)
};

/// What an end speaks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Speaks {
    /// See [`PROTOCOL`].
    pub protocol: u16,
    /// See [`SCHEMA`].
    pub schema: u64,
}

impl Speaks {
    /// What this build speaks.
    pub const OURS: Speaks = Speaks {
        protocol: PROTOCOL,
        schema: SCHEMA,
    };
}

/// The host's greeting.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct HostHello {
    /// What it speaks.
    pub speaks: Speaks,
    /// The session that it opens; never 0.
    pub session: u32,
}

/// Which box it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Identity {
    /// Its number, which is its own.
    pub id: u64,
    /// The number of its ring: takes are numbered from 1 in each.
    pub ring: u32,
    /// Its firmware.
    pub firmware: [u8; 3],
}

/// The box's greeting.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BoxHello {
    /// What it speaks.
    pub speaks: Speaks,
    /// The session that it answers; 0 where it has none.
    pub session: u32,
    /// Which box.
    pub who: Identity,
}

/// The length of the host's hello, in bytes.
pub const HOST_HELLO: usize = 14;
/// The length of the box's hello, in bytes.
pub const BOX_HELLO: usize = 29;

impl HostHello {
    /// As bytes.
    #[must_use]
    pub fn encode(&self) -> [u8; HOST_HELLO] {
        fill(head(self.speaks, self.session))
    }

    /// From bytes; none if they are too few.
    #[must_use]
    pub fn decode(bytes: &[u8]) -> Option<HostHello> {
        let mut rest = bytes;
        let (speaks, session) = take_head(&mut rest)?;
        Some(HostHello { speaks, session })
    }
}

impl BoxHello {
    /// As bytes.
    #[must_use]
    pub fn encode(&self) -> [u8; BOX_HELLO] {
        fill(
            head(self.speaks, self.session)
                .chain(self.who.id.to_le_bytes())
                .chain(self.who.ring.to_le_bytes())
                .chain(self.who.firmware),
        )
    }

    /// From bytes; none if they are too few.
    #[must_use]
    pub fn decode(bytes: &[u8]) -> Option<BoxHello> {
        let mut rest = bytes;
        let (speaks, session) = take_head(&mut rest)?;
        Some(BoxHello {
            speaks,
            session,
            who: Identity {
                id: u64::from_le_bytes(take(&mut rest)?),
                ring: u32::from_le_bytes(take(&mut rest)?),
                firmware: take(&mut rest)?,
            },
        })
    }
}

fn head(speaks: Speaks, session: u32) -> impl Iterator<Item = u8> {
    speaks
        .protocol
        .to_le_bytes()
        .into_iter()
        .chain(speaks.schema.to_le_bytes())
        .chain(session.to_le_bytes())
}

fn take_head(rest: &mut &[u8]) -> Option<(Speaks, u32)> {
    let speaks = Speaks {
        protocol: u16::from_le_bytes(take(rest)?),
        schema: u64::from_le_bytes(take(rest)?),
    };
    Some((speaks, u32::from_le_bytes(take(rest)?)))
}

fn fill<const N: usize>(bytes: impl Iterator<Item = u8>) -> [u8; N] {
    let mut out = [0; N];
    for (slot, byte) in out.iter_mut().zip(bytes) {
        *slot = byte;
    }
    out
}

fn take<const N: usize>(rest: &mut &[u8]) -> Option<[u8; N]> {
    let (head, tail) = rest.split_first_chunk::<N>()?;
    *rest = tail;
    Some(*head)
}

#[cfg(test)]
mod tests {
    use super::*;

    const OTHER: Speaks = Speaks {
        protocol: 0x0102,
        schema: 0x0304_0506_0708_090A,
    };

    /// These bytes are never edited: an older box or host sends them for ever.
    #[test]
    fn the_hellos_have_the_bytes_that_are_documented() {
        let host = HostHello {
            speaks: OTHER,
            session: 0x0B0C_0D0E,
        };
        let bytes = [2, 1, 10, 9, 8, 7, 6, 5, 4, 3, 14, 13, 12, 11];
        assert_eq!(host.encode(), bytes);
        assert_eq!(HostHello::decode(&bytes), Some(host));
        let answer = BoxHello {
            speaks: OTHER,
            session: 1,
            who: Identity {
                id: 2,
                ring: 3,
                firmware: [4, 5, 6],
            },
        };
        let bytes = [
            2, 1, 10, 9, 8, 7, 6, 5, 4, 3, 1, 0, 0, 0, 2, 0, 0, 0, 0, 0, 0, 0, 3, 0, 0, 0, 4, 5, 6,
        ];
        assert_eq!(answer.encode(), bytes);
        assert_eq!(BoxHello::decode(&bytes), Some(answer));
    }

    #[test]
    fn what_follows_is_passed_over_and_what_is_short_refused() {
        let mut longer = [9; HOST_HELLO + 5];
        assert!(HostHello::decode(&longer).is_some());
        longer[0] = 0;
        assert_eq!(HostHello::decode(&longer[..HOST_HELLO - 1]), None);
        assert_eq!(BoxHello::decode(&[9; BOX_HELLO - 1]), None);
    }
}
