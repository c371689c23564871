//! The take that is waited for: the probes are on the points, and the display is to stand still.

use ohmtrail_core::reading::{Flags, Function, MeterId, Reading};
use ohmtrail_core::settle::Settler;
use ohmtrail_core::units::Micros;
use ohmtrail_trail::event::{Act, Request};
use ohmtrail_visit::{Input, Taken};
use ohmtrail_words::Said;

use super::keeper::Keeper;
use super::say::SayError;
use crate::stream::Frame;

/// A display that has not stood still after so long is given up, microseconds.
const LONGEST_US: u64 = 120_000_000;

/// What a take that is waited for is of.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Of {
    /// The open ask of that number.
    Ask(u32),
    /// Two points, unasked; and whether the meter is in its low-impedance mode.
    Points([String; 2], bool),
}

impl Of {
    /// The ask that it answers.
    pub const fn ask(&self) -> Option<u32> {
        match self {
            Of::Ask(ask) => Some(*ask),
            Of::Points(..) => None,
        }
    }
}

/// A take that is waited for.
pub(super) struct Watching {
    /// What it is of.
    pub of: Of,
    /// The meter's number in the daemon.
    pub meter: MeterId,
    /// The meter's name.
    pub name: String,
    settler: Settler,
    /// Readings from before belong to other points.
    since: Micros,
}

impl Keeper<'_> {
    /// Waits for the display of a meter to stand still, and takes what it shows then in answer to
    /// the open ask. Without a meter's name, the one that is set to what is asked.
    ///
    /// # Errors
    /// [`SayError`].
    pub fn watch(&mut self, ask: u32, meter: Option<&str>) -> Result<(), SayError> {
        let open = self.desk.visit.record().open_ask();
        let asked = open.filter(|a| a.ask == ask).ok_or(SayError::NotOpen {
            ask,
            open: open.map(|a| a.ask),
        })?;
        let wanted = asked.request.measurement().map(|m| m.function);
        let proves = matches!(
            &asked.request,
            Request::Act {
                act: Act::ProveMeter
            }
        );
        if wanted.is_none() && !proves {
            return Err(SayError::NoMeasurement(ask));
        }
        let (meter, name) = self.choose(meter, wanted)?;
        self.wait(Of::Ask(ask), meter, name);
        Ok(())
    }

    /// Waits for the display of a meter to stand still, and takes what it shows then between two points,
    /// unasked.
    ///
    /// # Errors
    /// [`SayError`].
    pub fn watch_points(
        &mut self,
        meter: &str,
        points: [String; 2],
        low_impedance: bool,
    ) -> Result<(), SayError> {
        let (meter, name) = self.choose(Some(meter), None)?;
        self.wait(Of::Points(points, low_impedance), meter, name);
        Ok(())
    }

    fn wait(&mut self, of: Of, meter: MeterId, name: String) {
        self.heard_alarm();
        self.watching = Some(Watching {
            of,
            meter,
            name,
            settler: Settler::new(),
            since: self.context.clocks.now().steady,
        });
    }

    /// The meter to watch.
    fn choose(
        &self,
        named: Option<&str>,
        wanted: Option<Function>,
    ) -> Result<(MeterId, String), SayError> {
        let known = || self.meters.values().map(|j| j.meter.name.clone()).collect();
        let mut here = self.meters.iter().filter(|(_, j)| {
            let volts = |f: Function| matches!(f, Function::VoltsAc | Function::VoltsDc);
            match named {
                Some(name) => j.meter.name == name,
                None => j.latest.is_some_and(|r| match wanted {
                    Some(function) => r.function == function,
                    None => volts(r.function),
                }),
            }
        });
        let chosen = match (here.next(), here.next(), named) {
            (Some(one), None, _) => one,
            (None, _, Some(name)) => {
                return Err(SayError::Unknown {
                    kind: "meter of the visit",
                    name: name.to_owned(),
                    known: known(),
                });
            }
            // The only one there is: what it shows says whether it was set right.
            (None, ..) if self.meters.len() == 1 => match self.meters.iter().next() {
                Some(one) => one,
                None => return Err(SayError::WhichMeter { known: known() }),
            },
            _ => return Err(SayError::WhichMeter { known: known() }),
        };
        let (number, joined) = chosen;
        if joined.lost {
            return Err(SayError::MeterAway {
                name: joined.meter.name.clone(),
                why: joined.meter.state().why,
            });
        }
        Ok((*number, joined.meter.name.clone()))
    }

    /// Takes in a reading of the watched meter.
    pub(super) fn settle(&mut self, number: MeterId, reading: &Reading) -> Result<(), SayError> {
        let open = self.desk.visit.record().open;
        let withdrawn = |w: &Watching| w.of.ask().is_some() && w.of.ask() != open;
        if self.watching.as_ref().is_some_and(withdrawn) {
            // The ask was answered otherwise, or withdrawn.
            self.watching = None;
        }
        let Some(watching) = &mut self.watching else {
            return Ok(());
        };
        if watching.meter != number || reading.at < watching.since {
            return Ok(());
        }
        let Some(settled) = watching.settler.push(reading).settled().copied() else {
            return Ok(());
        };
        let of = watching.of.clone();
        self.watching = None;
        self.flush()?;
        let (ask, points, low) = match of {
            Of::Ask(ask) => (Some(ask), None, false),
            Of::Points(points, low) => (None, Some(points), low),
        };
        let taken = Taken {
            ask,
            meter: Some(reading.meter),
            function: Some(settled.function),
            points,
            shown: settled.shown,
            flags: settled.flags.with_if(Flags::LOW_IMPEDANCE, low),
        };
        match self.say(Input::Take(taken)) {
            Ok(_) => Ok(()),
            Err(SayError::Refused(refusal)) => {
                self.refuse(refusal.said());
                Ok(())
            }
            Err(other) => Err(other),
        }
    }

    /// The watched meter went away: the take in progress is void.
    pub(super) fn void_watching(&mut self, number: MeterId, why: &str) -> Result<(), SayError> {
        let Some(watching) = self.watching.take_if(|w| w.meter == number) else {
            return Ok(());
        };
        let away = Said::phrase("the meter went away while its display was waited for");
        let why = away.then(": ", Said::phrase(why));
        let Some(ask) = watching.of.ask() else {
            self.refuse(why);
            return Ok(());
        };
        if self.desk.visit.record().open == Some(ask) {
            let why = why.to_string();
            self.say(Input::GivenUp { ask, why })?;
        }
        Ok(())
    }

    /// A display that never stands still is not waited for any longer; the ask stays open.
    pub(super) fn give_up_watching(&mut self) {
        let now = self.context.clocks.now().steady;
        let long = |w: &mut Watching| now.since(w.since) > LONGEST_US;
        if self.watching.take_if(long).is_some() {
            self.refuse(
                "the display did not stand still in two minutes: look at the probes".into(),
            );
        }
    }

    /// Tells those who watch why a take did not come about.
    fn refuse(&mut self, why: Said) {
        let words = why.to_string();
        self.refused = Some(why);
        self.visit.log.pass(Frame::new("refused", None, &words));
    }

    /// Waits no longer.
    pub fn watch_no_more(&mut self) {
        self.watching = None;
    }
}
