//! What a meter's task has to tell.

use std::sync::{Arc, OnceLock};

use ohmtrail_core::reading::{MeterId, Reading};
use ohmtrail_trail::{Displayed, rfc3339};
use serde::Serialize;
use utoipa::ToSchema;

use super::{Standing, State};
use crate::clock::Clocks;
use crate::stream::Frame;

/// What was heard of a meter.
#[derive(Debug, Clone, PartialEq)]
pub enum What {
    /// One reading.
    Reading(Reading),
    /// It is not read any more, and why.
    Lost(String),
    /// It is read again, after so many microseconds.
    Back(u64),
    /// It stands otherwise than before.
    State(State),
    /// It said something that is no value.
    Told(String),
}

/// A frame that whoever needs it first makes, for all.
#[derive(Debug, Clone, Default)]
pub struct Once(Arc<OnceLock<Frame>>);

/// One piece of news of a meter.
#[derive(Debug, Clone)]
pub struct News {
    /// The meter's number in the daemon.
    pub meter: MeterId,
    /// Its name.
    pub name: String,
    /// What.
    pub what: What,
    pub(super) frame: Once,
}

/// A reading as it is streamed.
#[derive(Debug, Serialize, ToSchema)]
pub struct ReadingNews {
    /// The meter's name.
    pub meter: String,
    /// What it was set to.
    pub function: &'static str,
    /// The digits, `OL` for an overload, empty for a blank display.
    pub display: String,
    /// Their UCUM unit, prefix included.
    pub unit: String,
    /// The annunciators.
    pub flags: Vec<&'static str>,
    /// When, by the wall clock.
    pub at: Option<String>,
    /// When, by the daemon's steady clock.
    pub steady_us: u64,
}

impl ReadingNews {
    /// A reading of the meter of that name.
    #[must_use]
    pub fn of(meter: &str, reading: &Reading, clocks: &Clocks) -> Self {
        let shown = Displayed::of(reading.function, reading.shown);
        ReadingNews {
            meter: meter.to_owned(),
            function: reading.function.name(),
            display: shown.digits,
            unit: shown.unit,
            flags: reading.flags.names().collect(),
            at: rfc3339(clocks.wall_at(reading.at)),
            steady_us: reading.at.0,
        }
    }
}

/// How a meter stands, as it is streamed.
#[derive(Debug, Serialize, ToSchema)]
pub struct MeterNews {
    /// The meter's name.
    pub meter: String,
    /// How it stands.
    pub standing: Standing,
    /// Why; empty while it is up.
    pub why: String,
    /// Since when, by the daemon's steady clock.
    pub since_us: u64,
}

impl MeterNews {
    /// How a meter stands.
    #[must_use]
    pub fn of(meter: &str, state: &State) -> Self {
        MeterNews {
            meter: meter.to_owned(),
            standing: state.standing,
            why: state.why.clone(),
            since_us: state.since.0,
        }
    }
}

#[derive(Serialize)]
struct ToldNews<'a> {
    meter: &'a str,
    words: &'a str,
}

impl News {
    /// The frame for those who watch; none for what only visits are told.
    #[must_use]
    pub fn frame(&self, clocks: &Clocks) -> Option<Frame> {
        let make = || match &self.what {
            What::Reading(reading) => Frame::new(
                "reading",
                None,
                &ReadingNews::of(&self.name, reading, clocks),
            ),
            What::State(state) => Frame::new("meter", None, &MeterNews::of(&self.name, state)),
            What::Told(words) => Frame::new(
                "told",
                None,
                &ToldNews {
                    meter: &self.name,
                    words,
                },
            ),
            What::Lost(_) | What::Back(_) => Frame::new("gap", None, &self.name),
        };
        match self.what {
            What::Lost(_) | What::Back(_) => None,
            _ => Some(self.frame.0.get_or_init(make).clone()),
        }
    }
}
