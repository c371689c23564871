//! A Bluetooth Low Energy meter without its radio: which characteristics to listen to or to read,
//! and what comes of their values. A transport discovers, subscribes, and hands the payloads over
//! ([`Ble::take`]); it sends what [`Ble::poll`] asks for.
//!
//! Either the characteristics describe themselves ([`gatt`](crate::gatt)), or one of them is a pipe
//! of bytes for any of the [drivers](crate::driver::drivers).
#![deny(clippy::indexing_slicing, clippy::unwrap_used, clippy::expect_used)]

use std::fmt;
use std::str::FromStr;

use ohmtrail_core::reading::{Function, MeterId, Reading};
use ohmtrail_core::units::Micros;

use crate::driver::{CannotStart, Driver, Outcome, Told};
use crate::gatt::electrical::defined;
use crate::gatt::{Presentation, Reader};
use crate::showing::Reason;
use crate::spec::DriverSpec;

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
    /// No characteristic says what it is.
    #[error(
        "no characteristic describes itself: name one in [ble], with the driver that reads its bytes"
    )]
    Undescribed,
    /// Those that describe themselves are refused; the first one for this reason.
    #[error("characteristic {0} describes itself, and is refused: {words}; for volts and amperes say function = \"volts-ac\" or another in [ble]", words = .1.words())]
    Refused(Uuid, Reason),
    /// The driver does not start.
    #[error(transparent)]
    Driver(#[from] CannotStart),
}

/// From one read to the next of a characteristic that does not notify.
const READ_EVERY_US: u64 = 500_000;

/// A meter as its characteristics are used.
pub struct Ble {
    wants: Vec<Want>,
    meter: MeterId,
    kind: Kind,
}

enum Kind {
    Described(Vec<(usize, Reader)>),
    Pipe {
        driver: Box<dyn Driver>,
        from: usize,
        to: Option<usize>,
    },
}

impl Ble {
    /// Decides what to listen to: with a driver, the pipe that feeds it; without one, the
    /// characteristics that describe themselves, those that notify before those that are read.
    ///
    /// # Errors
    /// [`BleError`] says what is missing.
    pub fn new(
        meter: MeterId,
        pipes: &Pipes,
        driver: Option<&DriverSpec>,
        found: &[Found],
    ) -> Result<Ble, BleError> {
        let within = |f: &&(usize, &Found)| pipes.service.is_none_or(|s| s == f.1.service);
        let all: Vec<(usize, &Found)> = found.iter().enumerate().collect();
        let named = |uuid: Uuid| {
            let mut named = all.iter().filter(within).filter(|f| f.1.uuid == uuid);
            named.next().ok_or(BleError::Missing(uuid))
        };
        let Some(driver) = driver else {
            let candidates: Vec<&(usize, &Found)> = match pipes.characteristic {
                Some(uuid) => vec![named(uuid)?],
                None => all.iter().filter(within).collect(),
            };
            return Ble::described(meter, pipes, &candidates);
        };
        let uuid = pipes.characteristic.ok_or(BleError::Undescribed)?;
        let (from, source) = *named(uuid)?;
        let how = how(source).ok_or(BleError::Deaf(uuid))?;
        let to = match pipes.write {
            Some(uuid) => {
                let (index, found) = *named(uuid)?;
                if !found.writes {
                    return Err(BleError::ReadOnly(uuid));
                }
                Some(index)
            }
            None => None,
        };
        let started = driver.start(meter, None)?;
        if driver.entry.asked && to.is_none() {
            return Err(BleError::NoWrite);
        }
        Ok(Ble {
            wants: vec![Want { index: from, how }],
            meter,
            kind: Kind::Pipe {
                driver: started,
                from,
                to,
            },
        })
    }

    fn described(
        meter: MeterId,
        pipes: &Pipes,
        candidates: &[&(usize, &Found)],
    ) -> Result<Ble, BleError> {
        let (mut wants, mut readers, mut refused) = (Vec::new(), Vec::new(), None);
        for (index, found) in candidates {
            let reader = match (&found.format, found.uuid.number().and_then(defined)) {
                // The Bluetooth SIG's own definition is stricter than a descriptor beside it.
                (_, Some(by)) => Reader::defined(by, pipes.function),
                (Some(format), None) => {
                    Presentation::read(format).and_then(|by| Reader::described(&by, pipes.function))
                }
                (None, None) => continue,
            };
            match (reader, how(found)) {
                (Ok(reader), Some(how)) => {
                    readers.push((*index, reader));
                    wants.push(Want { index: *index, how });
                }
                (Ok(_), None) => {}
                (Err(reason), _) => {
                    refused.get_or_insert(BleError::Refused(found.uuid, reason));
                }
            }
        }
        if readers.is_empty() {
            return Err(refused.unwrap_or(BleError::Undescribed));
        }
        Ok(Ble {
            wants,
            meter,
            kind: Kind::Described(readers),
        })
    }

    /// What the transport is to listen to.
    #[must_use]
    pub fn wants(&self) -> &[Want] {
        &self.wants
    }

    /// Takes a notification's payload, or what was read: of the characteristic with this index, at
    /// this time. Values of others are nothing.
    pub fn take(&mut self, index: usize, value: &[u8], at: Micros) -> Vec<Outcome<Reading>> {
        match &mut self.kind {
            Kind::Described(readers) => readers
                .iter()
                .filter(|(i, _)| *i == index)
                .map(|(_, reader)| match reader.read(value) {
                    Ok(showing) => Outcome::Got(showing.reading(self.meter, at)),
                    Err(reason) => Outcome::Rejected(reason),
                })
                .collect(),
            Kind::Pipe { driver, from, .. } if *from == index => {
                let mut outcomes = Vec::new();
                let mut rest = value;
                loop {
                    let pushed = driver.push(rest, at);
                    rest = pushed.rest;
                    if pushed.outcome == Outcome::Hungry {
                        return outcomes;
                    }
                    outcomes.push(pushed.outcome);
                }
            }
            Kind::Pipe { .. } => Vec::new(),
        }
    }

    /// What to write now, and to which characteristic; for a driver that asks.
    pub fn poll(&mut self, now: Micros) -> Option<(usize, &[u8])> {
        match &mut self.kind {
            Kind::Pipe { driver, to, .. } => {
                let to = (*to)?;
                driver.poll(now).map(|bytes| (to, bytes))
            }
            Kind::Described(_) => None,
        }
    }

    /// When [`poll`](Ble::poll) wants to be called next.
    #[must_use]
    pub fn wake(&self) -> Option<Micros> {
        match &self.kind {
            Kind::Pipe { driver, to, .. } => to.and_then(|_| driver.wake()),
            Kind::Described(_) => None,
        }
    }

    /// What the meter said of itself, as [`Driver::told`].
    pub fn told(&mut self) -> Option<Told> {
        match &mut self.kind {
            Kind::Pipe { driver, .. } => driver.told(),
            Kind::Described(_) => None,
        }
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
