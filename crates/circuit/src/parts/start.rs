//! What starts a motor that its run capacitor alone does not: the relay that takes the start
//! capacitor out again.

use super::{Kind, Unit, fault, param, terminal};
use crate::network::{Element, Node, OPEN_OHMS};

/// A potential relay: its contact opens on the volts across a running motor's start winding.
#[derive(Debug, Clone)]
pub struct StartRelay {
    /// The part.
    pub part: usize,
    /// Its contact's element, closed at rest.
    pub contact: usize,
    /// Its coil's ends.
    pub coil: [Node; 2],
    /// The least coil volts at which its contact opens.
    pub pick_up_volts: f64,
    /// The coil volts under which it closes again.
    pub drop_out_volts: f64,
    /// Ohms of the closed contact.
    pub closed_ohms: f64,
    /// Its contact stays as it is.
    pub stuck: bool,
}

/// Resistance of the closed contact, ohms (common practice, no published source).
const CONTACT_OHMS: f64 = 0.02;

pub(super) const POTENTIAL_RELAY: Kind = Kind {
    name: "potential-relay",
    about: "potential relay: its contact is closed at standstill and opens on the volts that the running motor's start winding makes",
    terminals: &[
        terminal("1", "contact, to the start capacitor"),
        terminal("2", "contact and coil, to the start winding"),
        terminal("5", "coil, to the motor's common"),
    ],
    internals: 0,
    // Of the size that such relays are marked with (from memory).
    params: &[
        param(
            "pick-up",
            Unit::Volt,
            None,
            0.04,
            "coil volts at which the hot relay opens its contact",
        ),
        param(
            "drop-out",
            Unit::Volt,
            Some(90.0),
            0.10,
            "coil volts under which it closes its contact again (from memory)",
        ),
        param(
            "continuous",
            Unit::Volt,
            Some(332.0),
            0.0,
            "the most volts that its coil bears (from memory)",
        ),
        param(
            "coil-ohms",
            Unit::Ohm,
            Some(10e3),
            0.08,
            "copper of the coil (from memory)",
        ),
        param(
            "coil-henries",
            Unit::Henry,
            Some(40.0),
            0.10,
            "inductance of the coil (from memory)",
        ),
    ],
    links: &[],
    faults: &[
        fault(
            "contact-open",
            0.015,
            "contact stays open: the start capacitor never comes in",
        ),
        fault(
            "welded",
            0.010,
            "contact welded: the start capacitor stays in",
        ),
        fault(
            "coil-open",
            0.008,
            "coil open: the start capacitor stays in",
        ),
    ],
    looks: &[],
    source: false,
    build: |b| {
        let contact = b.contact(b.t(0), b.t(1), CONTACT_OHMS, "contact-open");
        let coil = [b.t(1), b.t(2)];
        let ohms = b.under("coil-open", OPEN_OHMS, b.value("coil-ohms"));
        let henries = b.under("coil-open", 0.0, b.value("coil-henries"));
        b.push(Element::Coil {
            ends: coil,
            ohms,
            henries,
        });
        let relay = StartRelay {
            part: b.part,
            contact,
            coil,
            pick_up_volts: b.value("pick-up"),
            drop_out_volts: b.value("drop-out"),
            closed_ohms: CONTACT_OHMS,
            stuck: ["contact-open", "welded", "coil-open"]
                .iter()
                .any(|f| b.has(f)),
        };
        b.assembly.start_relays.push(relay);
    },
};
