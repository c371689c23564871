//! What is said to a visit over the API, and why it may come to nothing.

use std::fmt;

use ohmtrail_core::reading::{Flags, Function};
use ohmtrail_meters::keyed::{self, KeyedError};
use ohmtrail_paper::tag;
use ohmtrail_trail::Hash;
use ohmtrail_visit::{Input, Refusal, Stage, Taken, not_open};
use ohmtrail_words::{Said as Sentence, Tongue};
use serde::Serialize;
use utoipa::ToSchema;

use super::keeper::Keeper;
use super::tell::{Now, TrailLine};
use crate::desk::DeskError;

/// Why something said to a visit came to nothing.
#[derive(Debug)]
#[non_exhaustive]
pub enum SayError {
    /// The visit refuses it; nothing has changed.
    Refused(Refusal),
    /// It could not be put on disk.
    Trail(String),
    /// Not the open ask.
    NotOpen {
        /// The ask named.
        ask: u32,
        /// The one that is open.
        open: Option<u32>,
    },
    /// The ask is none that a meter answers.
    NoMeasurement(u32),
    /// A name that is not known.
    Unknown {
        /// Of what.
        kind: &'static str,
        /// The name.
        name: String,
        /// The names there are.
        known: Vec<String>,
    },
    /// No meter is set to what is asked, or several are.
    WhichMeter {
        /// The meters of the visit.
        known: Vec<String>,
    },
    /// The meter is not read.
    MeterAway {
        /// The meter.
        name: String,
        /// Why.
        why: String,
    },
    /// A replay can be no evidence of a real unit.
    Replayed(String),
    /// A value, a function or a flag that is not understood.
    Value(Sentence),
}

impl SayError {
    /// Why, before it is put into a language.
    #[must_use]
    pub fn said(&self) -> Sentence {
        let message = Sentence::message;
        match self {
            SayError::Refused(refusal) => refusal.said(),
            SayError::Trail(why) => message("refused-not-kept").with("why", why.clone()),
            SayError::NotOpen { ask, open } => not_open(*ask, *open),
            SayError::NoMeasurement(ask) => {
                message("refused-no-measurement").with("ask", ask.to_string())
            }
            SayError::Unknown { kind, name, known } => message("refused-no-such")
                .with("kind", *kind)
                .with("name", name.clone())
                .with("known", known.join(", ")),
            SayError::WhichMeter { known } => {
                message("refused-which-meter").with("known", known.join(", "))
            }
            SayError::MeterAway { name, why } => message("refused-meter-away")
                .with("name", name.clone())
                .with("why", Sentence::phrase(why.clone())),
            SayError::Replayed(name) => message("refused-replayed").with("name", name.clone()),
            SayError::Value(why) => why.clone(),
        }
    }
}

impl fmt::Display for SayError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.said().fmt(f)
    }
}

impl std::error::Error for SayError {}

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

/// Why what was typed is no value.
fn keyed_said(error: &KeyedError) -> Sentence {
    let of = |id, text: &String| Sentence::message(id).with("text", text.clone());
    match error {
        KeyedError::NotANumber(text) => of("keyed-no-number", text),
        KeyedError::Comma(text) => of("keyed-comma", text),
        KeyedError::TooLong(text) => of("keyed-too-long", text),
        KeyedError::TwoUnits(one, other) => Sentence::message("keyed-two-units")
            .with("one", one.clone())
            .with("other", other.clone()),
        // The page offers no unit that these are about.
        other => Sentence::phrase(other.to_string()),
    }
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
            SayError::Value("say what the meter was set to: the function is missing".into())
        })?;
        let shown = keyed::parse(&typed.display, &typed.unit, function);
        let shown = shown.map_err(|e| SayError::Value(keyed_said(&e)))?;
        self.tell(Input::Take(Taken {
            ask,
            meter: Some(meter),
            function: Some(function),
            points,
            shown,
            flags: typed.flags,
        }))
    }

    /// Hangs the tag, in a language, and ends the visit; gives the tag.
    ///
    /// # Errors
    /// [`SayError`]; the unit must have been left.
    pub fn close(&mut self, tongue: Tongue) -> Result<String, SayError> {
        if self.desk.visit.stage() != Stage::Left {
            return Err(SayError::Refused(Refusal::NotLeft));
        }
        self.flush()?;
        let head = self.desk.head().unwrap_or(Hash([0; 32]));
        let card = tag(self.book, self.desk.visit.record(), &head, tongue).text();
        self.say(Input::Tagged(card.clone()))?;
        self.say(Input::Close)?;
        self.show();
        Ok(card)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_no_value_is_refused_as_the_commands_have_it() {
        for typed in ["", "two hundred", "1,238.4", "1234567890"] {
            let error = keyed::parse(typed, "V", Function::VoltsAc).expect_err(typed);
            assert_eq!(keyed_said(&error).to_string(), error.to_string());
            assert_ne!(keyed_said(&error).to(Tongue::Spanish), error.to_string());
        }
    }
}
