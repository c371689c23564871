//! What is said to a visit over the API, and why it may come to nothing.

use ohmtrail_core::reading::{Flags, Function};
use ohmtrail_meters::keyed;
use ohmtrail_paper::tag;
use ohmtrail_trail::Hash;
use ohmtrail_visit::{Input, Refusal, Stage, Taken};
use serde::Serialize;
use utoipa::ToSchema;

use super::keeper::Keeper;
use super::tell::{Now, TrailLine};
use crate::desk::DeskError;

/// Why something said to a visit came to nothing.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum SayError {
    /// The visit refuses it; nothing has changed.
    #[error(transparent)]
    Refused(Refusal),
    /// It could not be put on disk.
    #[error("it could not be kept: {0}")]
    Trail(String),
    /// Not the open ask.
    #[error("ask {ask} is not open{}", open.map_or_else(String::new, |open| format!(": {open} is")))]
    NotOpen {
        /// The ask named.
        ask: u32,
        /// The one that is open.
        open: Option<u32>,
    },
    /// The ask is none that a meter answers.
    #[error("ask {0} is no measurement")]
    NoMeasurement(u32),
    /// A name that is not known.
    #[error("there is no {kind} \"{name}\"; there are: {}", known.join(", "))]
    Unknown {
        /// Of what.
        kind: &'static str,
        /// The name.
        name: String,
        /// The names there are.
        known: Vec<String>,
    },
    /// No meter is set to what is asked, or several are.
    #[error("no meter alone is set to what is asked; of the visit are: {}", known.join(", "))]
    WhichMeter {
        /// The meters of the visit.
        known: Vec<String>,
    },
    /// The meter is not read.
    #[error("the meter \"{name}\" is away: {why}")]
    MeterAway {
        /// The meter.
        name: String,
        /// Why.
        why: String,
    },
    /// A replay can be no evidence of a real unit.
    #[error("the meter \"{0}\" replays a trail: nothing of it is measured at this unit now")]
    Replayed(String),
    /// A value, a function or a flag that is not understood.
    #[error("{0}")]
    Value(String),
}

impl From<DeskError> for SayError {
    fn from(error: DeskError) -> Self {
        match error {
            DeskError::Refused(refusal) => SayError::Refused(refusal),
            DeskError::Trail(error) => SayError::Trail(error.to_string()),
        }
    }
}

/// What came of what was said.
#[derive(Debug, Serialize, ToSchema)]
pub struct Said {
    /// What it brought about, on disk already. What the visit then asked for by itself is in `now`.
    pub events: Vec<TrailLine>,
    /// How the visit stands.
    pub now: Now,
}

/// Where a typed value was read.
#[derive(Debug, Clone)]
pub enum Place {
    /// On the points of the open ask.
    Ask(u32),
    /// Between two points, unasked.
    Points([String; 2]),
}

/// A value as it was read off a display.
#[derive(Debug, Clone)]
pub struct Typed {
    /// Where.
    pub place: Place,
    /// What the meter was set to; none for what was asked.
    pub function: Option<Function>,
    /// The digits, or `OL`.
    pub display: String,
    /// Their UCUM unit.
    pub unit: String,
    /// The annunciators.
    pub flags: Flags,
    /// The meter of the visit; none for one that is not connected.
    pub meter: Option<String>,
}

impl Keeper<'_> {
    /// Says something, lets the visit go on, and gives what came of it.
    ///
    /// # Errors
    /// [`SayError`].
    pub fn tell(&mut self, input: Input) -> Result<Said, SayError> {
        self.heard_alarm();
        let events = self.say(input)?;
        self.answered(events)
    }

    /// How the visit stands after these events.
    ///
    /// # Errors
    /// [`SayError::Trail`].
    pub fn answered(&mut self, events: Vec<TrailLine>) -> Result<Said, SayError> {
        self.go_on()?;
        self.show();
        Ok(Said {
            events,
            now: self.now(),
        })
    }

    /// Takes a typed value.
    ///
    /// # Errors
    /// [`SayError`].
    pub fn typed(&mut self, typed: Typed) -> Result<Said, SayError> {
        let meter = match &typed.meter {
            None => self.keyed()?,
            Some(name) => {
                let known = || self.meters.values().map(|j| j.meter.name.clone()).collect();
                let joined = self.meters.values().find(|j| j.meter.name == *name);
                let joined = joined.ok_or_else(|| SayError::Unknown {
                    kind: "meter of the visit",
                    name: name.clone(),
                    known: known(),
                })?;
                joined.id
            }
        };
        let (ask, points) = match typed.place {
            Place::Ask(ask) => (Some(ask), None),
            Place::Points(points) => (None, Some(points)),
        };
        let asked = ask.and_then(|ask| self.desk.visit.record().ask(ask));
        let wanted = asked.and_then(|a| a.request.measurement());
        let wanted = wanted.map(|m| m.function);
        let function = typed.function.or(wanted).ok_or_else(|| {
            SayError::Value("say what the meter was set to: the function is missing".to_owned())
        })?;
        let shown = keyed::parse(&typed.display, &typed.unit, function);
        let shown = shown.map_err(|e| SayError::Value(e.to_string()))?;
        self.tell(Input::Take(Taken {
            ask,
            meter: Some(meter),
            function: Some(function),
            points,
            shown,
            flags: typed.flags,
        }))
    }

    /// Hangs the tag and ends the visit; gives the tag.
    ///
    /// # Errors
    /// [`SayError`]; the unit must have been left.
    pub fn close(&mut self) -> Result<String, SayError> {
        if self.desk.visit.stage() != Stage::Left {
            return Err(SayError::Refused(Refusal::NotLeft));
        }
        self.flush()?;
        let head = self.desk.head().unwrap_or(Hash([0; 32]));
        let card = tag(self.book, self.desk.visit.record(), &head).text();
        self.say(Input::Tagged(card.clone()))?;
        self.say(Input::Close)?;
        self.show();
        Ok(card)
    }
}
