//! What the stand-in is doing, and what was asked of it.

use std::collections::{BTreeMap, BTreeSet};

use crate::meter::Meter;
use crate::tree::Tree;

/// A method that a client called.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Call {
    /// The object.
    pub path: String,
    /// The interface's last word and the method: `Device1.Connect`.
    pub method: String,
}

/// An error that the service answers with.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Refusal {
    /// Its name on the bus: `org.bluez.Error.Failed`.
    pub name: String,
    /// Its words.
    pub words: String,
}

impl Refusal {
    /// An error of the Bluetooth service's own.
    #[must_use]
    pub fn bluez(name: &str, words: &str) -> Refusal {
        Refusal {
            name: format!("org.bluez.Error.{name}"),
            words: words.to_owned(),
        }
    }

    /// An error of the bus's.
    pub(crate) fn bus(name: &str, words: &str) -> Refusal {
        Refusal {
            name: format!("org.freedesktop.DBus.Error.{name}"),
            words: words.to_owned(),
        }
    }
}

/// How things stand.
#[derive(Debug, Default)]
pub struct Now {
    /// The objects.
    pub tree: Tree,
    /// What was called so far, oldest first.
    pub calls: Vec<Call>,
    /// What was written, oldest first: the characteristic's UUID and the bytes.
    pub written: Vec<(String, Vec<u8>)>,
    /// The clients that scan.
    pub scanning: BTreeSet<String>,
    /// Who is subscribed to which object.
    pub subscribed: BTreeMap<String, BTreeSet<String>>,
    /// The addresses of meters that are linked.
    pub linked: BTreeSet<String>,
    /// What a read of an object gives.
    pub(crate) values: BTreeMap<String, Vec<u8>>,
    pub(crate) meters: Vec<Meter>,
    /// The addresses of meters that are in reach.
    pub(crate) in_reach: BTreeSet<String>,
    /// What the next calls of a method are refused with, by its last word.
    pub(crate) refusals: BTreeMap<String, Vec<Refusal>>,
    /// Whether services are kept back when a link is made.
    pub(crate) hold_services: bool,
    /// Links whose services are kept back.
    pub(crate) held: BTreeSet<String>,
}

impl Now {
    /// How often a method was called: `Device1.Connect`.
    #[must_use]
    pub fn count(&self, method: &str) -> usize {
        self.calls.iter().filter(|c| c.method == method).count()
    }

    /// Whether anyone is subscribed to anything that a link carries.
    #[must_use]
    pub fn is_subscribed(&self) -> bool {
        let mut all = self.subscribed.iter();
        all.any(|(path, clients)| !clients.is_empty() && self.is_linked(path))
    }

    /// Whether there is a link to the meter whose object this is.
    pub(crate) fn is_linked(&self, path: &str) -> bool {
        self.meter_at(path)
            .is_some_and(|m| self.linked.contains(&m.address))
    }

    pub(crate) fn meter_at(&self, path: &str) -> Option<&Meter> {
        self.meters.iter().find(|m| {
            let own = m.path();
            path == own || path.strip_prefix(&own).is_some_and(|r| r.starts_with('/'))
        })
    }

    pub(crate) fn refused(&mut self, method: &str) -> Option<Refusal> {
        let waiting = self.refusals.get_mut(method)?;
        if waiting.is_empty() {
            None
        } else {
            Some(waiting.remove(0))
        }
    }
}
