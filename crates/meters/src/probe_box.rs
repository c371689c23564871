//! The probe box as a meter: its live values. What it keeps is left with it, for who collects it.
#![deny(clippy::indexing_slicing, clippy::unwrap_used, clippy::expect_used)]

use std::collections::VecDeque;

use ohmtrail_core::reading::{Function, MeterId, Reading};
use ohmtrail_core::units::Micros;
use ohmtrail_link::frame::FRAME;
use ohmtrail_link::host::{Event, HostEnd};
use ohmtrail_link::message::{Answer, Live, Request};

use crate::driver::{
    About, CannotSet, CannotStart, Driver, Entry, Line, Outcome, Pushed, Setup, Told,
};
use crate::session::Patience;
use crate::showing::{Reason, Showing};

/// What a box can measure; a box has those that its front end has.
const FUNCTIONS: [Function; 8] = [
    Function::VoltsAc,
    Function::VoltsDc,
    Function::Ohms,
    Function::Farads,
    Function::AmpsAc,
    Function::AmpsDc,
    Function::Celsius,
    Function::Hertz,
];

const ABOUT: About = About {
    functions: &FUNCTIONS,
    untold: &[
        "the front end's category and accuracy",
        "which points its probes are on",
    ],
};

/// This driver's row of the table of drivers.
pub const ENTRY: Entry = Entry {
    name: "probe-box",
    what: "the probe box, asked in its own frames",
    line: Line::eight_bits(115_200),
    about: ABOUT,
    patience: Patience::ASKED,
    asked: true,
    start: |setup| Ok(Box::new(ProbeBox::start(setup)?)),
    encode: None,
};

/// The session that a driver opens. It asks for nothing but a function, so that it does no harm if
/// one before it had the same number.
const SESSION: u32 = 1;
/// What the box told and nobody asked for yet; more is dropped, oldest first.
const TOLD: usize = 16;

/// The driver.
#[derive(Debug)]
struct ProbeBox {
    meter: MeterId,
    end: HostEnd,
    /// Bytes of a frame that has not ended.
    held: usize,
    /// What has come since the last zero is no frame.
    passing: bool,
    wanted: Option<Function>,
    /// The wanted function is not set yet.
    unset: bool,
    now: Micros,
    told: VecDeque<Told>,
}

impl ProbeBox {
    fn start(setup: &Setup) -> Result<ProbeBox, CannotStart> {
        if let Some(function) = setup.function
            && !FUNCTIONS.contains(&function)
        {
            return Err(CannotStart::Function(CannotSet::Function(function)));
        }
        Ok(ProbeBox {
            meter: setup.meter,
            end: HostEnd::new(SESSION),
            held: 0,
            passing: false,
            wanted: setup.function,
            unset: setup.function.is_some(),
            now: Micros(0),
            told: VecDeque::new(),
        })
    }

    fn tell(&mut self, told: Told) {
        if self.told.len() == TOLD {
            self.told.pop_front();
        }
        self.told.push_back(told);
    }

    /// What an event means to a meter's driver.
    fn heard(&mut self, event: Event, at: Micros) -> Option<Outcome<Reading>> {
        match event {
            Event::Live(live) => return Some(Outcome::Got(self.reading(live, at))),
            Event::Damaged => return Some(Outcome::Rejected(Reason::Layout)),
            Event::Greeted(who) => {
                let [major, minor, patch] = who.firmware;
                self.tell(Told::Identity([
                    String::new(),
                    "probe box".to_owned(),
                    format!("{:016x}", who.id),
                    format!("{major}.{minor}.{patch}"),
                ]));
                self.unset = self.wanted.is_some();
            }
            Event::Mismatch { theirs, .. } => self.tell(Told::Error {
                number: -1,
                text: format!(
                    "the box speaks protocol {} with schema {:016x}, and this program another: \
                     give both the same version",
                    theirs.protocol, theirs.schema
                ),
            }),
            Event::Answer(Answer::Refused(refusal)) => self.tell(Told::Error {
                number: -2,
                text: refusal.words().to_owned(),
            }),
            Event::NoAnswer => self.tell(Told::NoAnswer("measure")),
            Event::Answer(_)
            | Event::Restarted { .. }
            | Event::Silent { .. }
            | Event::Here { .. }
            | Event::Kept { .. }
            | Event::Behind { .. } => {}
        }
        None
    }

    fn reading(&self, live: Live, at: Micros) -> Reading {
        Showing {
            function: live.function,
            shown: live.shown,
            flags: live.flags,
        }
        .reading(self.meter, at)
    }
}

impl Driver for ProbeBox {
    fn push<'b>(&mut self, bytes: &'b [u8], at: Micros) -> Pushed<'b, Reading> {
        self.now = self.now.max(at);
        let (mut used, mut skipped) = (0, 0);
        let mut rest = bytes;
        while let Some((byte, after)) = rest.split_first() {
            rest = after;
            self.held += 1;
            let event = self.end.push(*byte, at);
            if *byte == 0 || self.held > FRAME || self.passing {
                let damaged = self.passing || event == Some(Event::Damaged);
                if damaged || *byte != 0 {
                    skipped += self.held;
                } else {
                    used += self.held;
                }
                self.held = 0;
                self.passing = *byte != 0;
            }
            if let Some(outcome) = event.and_then(|event| self.heard(event, at)) {
                return Pushed {
                    outcome,
                    used,
                    skipped,
                    rest,
                };
            }
        }
        Pushed {
            outcome: Outcome::Hungry,
            used,
            skipped,
            rest,
        }
    }

    fn poll(&mut self, now: Micros) -> Option<&[u8]> {
        self.now = self.now.max(now);
        if let Some(event) = self.end.tick(now) {
            // Time brings no reading.
            let _ = self.heard(event, now);
        }
        if self.unset
            && let Some(function) = self.wanted
            && self.end.ask(Request::Measure(function)).is_ok()
        {
            self.unset = false;
        }
        self.end.poll(now)
    }

    fn wake(&self) -> Option<Micros> {
        self.end.wake()
    }

    fn told(&mut self) -> Option<Told> {
        self.told.pop_front()
    }

    fn measure(&mut self, function: Function) -> Result<(), CannotSet> {
        if !FUNCTIONS.contains(&function) {
            return Err(CannotSet::Function(function));
        }
        self.wanted = Some(function);
        self.unset = true;
        Ok(())
    }

    fn about(&self) -> About {
        ABOUT
    }
}
