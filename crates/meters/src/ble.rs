//! A Bluetooth Low Energy meter without its radio: which of its characteristics to listen to, to
//! read or to write. A transport discovers them, and follows the [`Plan`].
//!
//! Either the characteristics describe themselves ([`gatt`]), or one of them is a pipe
//! of bytes for any other of the [drivers](crate::driver::drivers).
#![deny(clippy::indexing_slicing, clippy::unwrap_used, clippy::expect_used)]

use std::fmt;
use std::str::FromStr;

use ohmtrail_core::reading::Function;

use crate::driver::Entry;
use crate::gatt::{self, Reader};
use crate::showing::Reason;

/// A Bluetooth UUID.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Uuid(pub u128);

impl Uuid {
    /// 00000000-0000-1000-8000-00805F9B34FB, under which the 16-bit ones stand (TRADE 11).
    const BASE: u128 = 0x0000_0000_0000_1000_8000_0080_5F9B_34FB;

    /// The Bluetooth SIG's of this number.
    #[must_use]
    pub const fn short(number: u16) -> Uuid {
        Uuid(Uuid::BASE | (number as u128) << 96)
    }

    /// Its number, if it is one of the Bluetooth SIG's.
    #[must_use]
    pub fn number(self) -> Option<u16> {
        let number = self.0 >> 96;
        let rest = self.0 & ((1 << 96) - 1);
        u16::try_from(number).ok().filter(|_| rest == Uuid::BASE)
    }
}

impl fmt::Display for Uuid {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let part = |from: u32, bits: u32| self.0 >> from & ((1 << bits) - 1);
        write!(
            f,
            "{:08x}-{:04x}-{:04x}-{:04x}-{:012x}",
            part(96, 32),
            part(80, 16),
            part(64, 16),
            part(48, 16),
            part(0, 48)
        )
    }
}

impl fmt::Debug for Uuid {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

impl FromStr for Uuid {
    type Err = String;

    /// `2B18`, or the full form with its hyphens.
    fn from_str(text: &str) -> Result<Self, String> {
        let wrong =
            || format!("`{text}` is no UUID: write four hexadecimal digits, or 32 as 8-4-4-4-12");
        if !text.bytes().all(|b| b.is_ascii_hexdigit() || b == b'-') {
            return Err(wrong());
        }
        if text.len() == 4 {
            let number = u16::from_str_radix(text, 16).map_err(|_| wrong())?;
            return Ok(Uuid::short(number));
        }
        let parts: Vec<usize> = text.split('-').map(str::len).collect();
        if parts != [8, 4, 4, 4, 12] {
            return Err(wrong());
        }
        let number = u128::from_str_radix(&text.replace('-', ""), 16).map_err(|_| wrong())?;
        Ok(Uuid(number))
    }
}

/// What a profile says of a meter's characteristics.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Pipes {
    /// Only within this service.
    pub service: Option<Uuid>,
    /// The characteristic with the meter's bytes or values; none for every one that describes
    /// itself.
    pub characteristic: Option<Uuid>,
    /// The characteristic that takes questions.
    pub write: Option<Uuid>,
    /// What volts or amperes are, where the meter does not say.
    pub function: Option<Function>,
}

/// A characteristic as a transport discovered it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Found {
    /// Its service.
    pub service: Uuid,
    /// Itself.
    pub uuid: Uuid,
    /// Whether it notifies or indicates.
    pub notifies: bool,
    /// Whether it can be read.
    pub reads: bool,
    /// Whether it can be written.
    pub writes: bool,
    /// Its Presentation Format descriptor (0x2904), if it has one.
    pub format: Option<Vec<u8>>,
    /// What the meter calls it: its User Description descriptor (0x2901), if it has one.
    pub called: Option<String>,
}

/// What a transport is to do with a characteristic.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum How {
    /// Subscribe.
    Notify,
    /// Read it again and again, this many microseconds apart.
    Read {
        /// From one read to the next.
        every_us: u64,
    },
}

/// A characteristic that is wanted: its place among the found ones, and how.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Want {
    /// Its index in what was found.
    pub index: usize,
    /// How.
    pub how: How,
}

/// Why a meter's characteristics cannot be used.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum BleError {
    /// The named characteristic is not there.
    #[error("the meter has no characteristic {0}; check [ble] in its profile")]
    Missing(Uuid),
    /// It is there and gives nothing.
    #[error("characteristic {0} neither notifies nor can be read")]
    Deaf(Uuid),
    /// It takes no questions.
    #[error("characteristic {0} cannot be written")]
    ReadOnly(Uuid),
    /// The driver asks, and the profile does not say where.
    #[error("this driver asks its meter: say in [ble] with write = UUID where")]
    NoWrite,
    /// A driver of bytes, and the profile does not say where they come from.
    #[error("frame={0} reads a pipe of bytes: say in [ble] with characteristic = UUID which")]
    NoPipe(&'static str),
    /// No characteristic says what it is.
    #[error(
        "no characteristic describes itself: name one in [ble], with the driver that reads its bytes"
    )]
    Undescribed,
    /// Two of them measure the same: their values would be taken for one another's.
    #[error("both {1} and {2} give {function}: name one with characteristic=UUID", function = .0.name())]
    Several(Function, Uuid, Uuid),
    /// Those that describe themselves are refused; the first one for this reason.
    #[error("characteristic {0} describes itself, and is refused: {words}; for volts and amperes say function=volts-ac or another", words = .1.words())]
    Refused(Uuid, Reason),
}

/// From one read to the next of a characteristic that does not notify.
const READ_EVERY_US: u64 = 500_000;

/// How a meter's characteristics are used.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Plan {
    /// What to listen to or to read.
    pub wants: Vec<Want>,
    /// The characteristic that takes what the driver asks: its index in what was found.
    pub write: Option<usize>,
}

impl Plan {
    /// Decides what to listen to: for [`gatt`] the characteristics that describe
    /// themselves, for any other driver the pipe that feeds it.
    ///
    /// # Errors
    /// [`BleError`] says what is missing.
    pub fn new(pipes: &Pipes, entry: &Entry, found: &[Found]) -> Result<Plan, BleError> {
        let all: Vec<(usize, &Found)> = found
            .iter()
            .enumerate()
            .filter(|(_, f)| pipes.service.is_none_or(|s| s == f.service))
            .collect();
        let named = |uuid: Uuid| {
            let mut named = all.iter().filter(|f| f.1.uuid == uuid);
            named.next().copied().ok_or(BleError::Missing(uuid))
        };
        if *entry == gatt::ENTRY {
            let candidates = match pipes.characteristic {
                Some(uuid) => vec![named(uuid)?],
                None => all,
            };
            return Plan::described(pipes, &candidates);
        }
        let uuid = pipes.characteristic.ok_or(BleError::NoPipe(entry.name))?;
        let (index, source) = named(uuid)?;
        let how = how(source).ok_or(BleError::Deaf(uuid))?;
        let write = match pipes.write {
            Some(uuid) => {
                let (index, found) = named(uuid)?;
                if !found.writes {
                    return Err(BleError::ReadOnly(uuid));
                }
                Some(index)
            }
            None => None,
        };
        if entry.asked && write.is_none() {
            return Err(BleError::NoWrite);
        }
        Ok(Plan {
            wants: vec![Want { index, how }],
            write,
        })
    }

    fn described(pipes: &Pipes, candidates: &[(usize, &Found)]) -> Result<Plan, BleError> {
        let (mut wants, mut taken, mut refused) = (Vec::new(), Vec::new(), None);
        for (index, found) in candidates {
            let reader = match Reader::of(found.uuid, found.format.as_deref(), pipes.function) {
                None => continue,
                Some(Err(reason)) => {
                    refused.get_or_insert(BleError::Refused(found.uuid, reason));
                    continue;
                }
                Some(Ok(reader)) => reader,
            };
            let Some(how) = how(found) else { continue };
            let function = reader.function();
            if let Some((_, first)) = taken.iter().find(|(f, _)| *f == function) {
                return Err(BleError::Several(function, *first, found.uuid));
            }
            taken.push((function, found.uuid));
            wants.push(Want { index: *index, how });
        }
        if wants.is_empty() {
            return Err(refused.unwrap_or(BleError::Undescribed));
        }
        Ok(Plan { wants, write: None })
    }
}

/// A notification is better than a read: it comes when there is something new.
fn how(found: &Found) -> Option<How> {
    match (found.notifies, found.reads) {
        (true, _) => Some(How::Notify),
        (false, true) => Some(How::Read {
            every_us: READ_EVERY_US,
        }),
        (false, false) => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn uuids_are_short_or_whole() {
        let short: Result<Uuid, _> = "2b18".parse();
        assert_eq!(short, Ok(Uuid::short(0x2B18)));
        let whole: Result<Uuid, _> = "00002B18-0000-1000-8000-00805F9B34FB".parse();
        assert_eq!(whole, short);
        assert_eq!(
            Uuid::short(0x2B18).to_string(),
            "00002b18-0000-1000-8000-00805f9b34fb"
        );
        assert_eq!(Uuid::short(0x2B18).number(), Some(0x2B18));
        let private: Uuid = match "0000fff1-0000-1000-8000-00805f9b34fc".parse() {
            Ok(uuid) => uuid,
            Err(e) => panic!("{e}"),
        };
        assert_eq!(private.number(), None);
        for text in [
            "",
            "2b1",
            "2b180",
            "xyzw",
            "00002B18000010008000-00805F9B34FB",
            "+2b1",
        ] {
            assert!(text.parse::<Uuid>().is_err(), "{text}");
        }
    }
}
