//! Wire ends that went back: each is held against the wire map before power is given again.

use ohmtrail_core::gates::Gate;
use ohmtrail_core::units::Micros;
use ohmtrail_trail::event::{Act, Request};
use ohmtrail_words::Said;

use crate::gate::{Way, Wish, there};
use crate::prove::Needs;
use crate::record::{Record, Wire};
use crate::visit::{Purpose, Visit};

impl Record {
    /// The wire ends that are back and were not checked since, in the order in which they were lifted.
    pub fn unchecked(&self) -> impl Iterator<Item = &Wire> {
        let wires = self.wires.iter().enumerate();
        // One that was lifted again has a later line of its own.
        let last = |at: usize, end: &str| self.wires.iter().skip(at + 1).all(|w| w.end != end);
        let open = wires.filter(move |(at, w)| last(*at, &w.end));
        open.map(|(_, w)| w)
            .filter(|w| w.back_on.is_some() && !w.checked)
    }

    /// What a request says of the check of a wire end that is passed over.
    pub(crate) fn pass_over_wire(&mut self, request: &Request) {
        if let Request::Act {
            act: Act::CheckWire(end),
        } = request
        {
            self.unseen.insert(end.clone());
        }
    }
}

impl Visit<'_> {
    /// Every wire end that went back was seen in its place; or its check was passed over, with a reason:
    /// then it stays unchecked in the trail and on the papers.
    pub(crate) fn towards_seen_wires(&self, now: Micros) -> Way {
        let record = &self.record;
        let next = record.unchecked().find(|w| !record.unseen.contains(&w.end));
        let Some(wire) = next else {
            return Way::There;
        };
        there!(self.towards(Gate::DischargedToTouch, now));
        let why = Said::message("why-check-wire")
            .with("end", wire.end.clone())
            .with(
                "mark",
                Said::told_of_sheet(&wire.mark, &self.book.sheet.glossary),
            )
            .with("at", wire.back_on.clone().unwrap_or_default());
        Way::Ask(Wish {
            request: Request::Act {
                act: Act::CheckWire(wire.end.clone()),
            },
            why,
            minutes: 0.5,
            purpose: Purpose::Prove(Needs::Touch),
        })
    }
}
