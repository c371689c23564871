//! Why a spec was not understood.

use ohmtrail_core::reading::Function;

use crate::driver::{CannotStart, drivers};
use crate::profile::ProfileError;

/// Why a spec was not understood.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum SpecError {
    /// The kind before the colon is not known.
    #[error(
        "`{0}`: no such kind of meter; use serial:PATH,frame=NAME or tcp:HOST:PORT,frame=NAME or ble:NAME or keyed or replay:FILE"
    )]
    Kind(String),
    /// No path or file after the colon.
    #[error("`{0}`: a path is missing after the colon")]
    NoPath(String),
    /// No host and port after `tcp:`.
    #[error("`{0}`: write a host and a port, such as tcp:192.0.2.7:5025")]
    NoPort(String),
    /// A characteristic is no UUID.
    #[error("characteristic={0}")]
    Characteristic(String),
    /// A stream without a frame.
    #[error("{place}: frame= is missing; one of {}", names())]
    NoFrame {
        /// The port as named.
        place: String,
    },
    /// No driver of that name.
    #[error("frame={name}: no such frame; one of {}", names())]
    Frame {
        /// The name as given.
        name: String,
    },
    /// The speed is no number.
    #[error("baud={0}: a speed is a whole number from 50 to 4000000")]
    Baud(String),
    /// No function of that name.
    #[error("function={name}: no such function; one of {}", functions())]
    Function {
        /// The name as given.
        name: String,
    },
    /// The pace is not known.
    #[error("pace={0}: use original or fast")]
    Pace(String),
    /// A setting that this kind does not have.
    #[error("`{setting}`: not a setting of {kind}; it has {known}")]
    Setting {
        /// The setting as given.
        setting: String,
        /// The kind of meter.
        kind: &'static str,
        /// The settings it has.
        known: &'static str,
    },
    /// A setting given twice.
    #[error("{0}= is given twice")]
    Twice(&'static str),
    /// The profile is of another kind of meter.
    #[error("the spec says frame={spec}, and the profile is of a meter that sends {profile}")]
    OtherFrame {
        /// The spec's frame.
        spec: &'static str,
        /// The profile's frame.
        profile: String,
    },
    /// The driver does not start so.
    #[error(transparent)]
    Driver(#[from] CannotStart),
    /// The profile was not understood.
    #[error(transparent)]
    Profile(#[from] ProfileError),
}

fn names() -> String {
    let names: Vec<&str> = drivers().iter().map(|entry| entry.name).collect();
    names.join(", ")
}

fn functions() -> String {
    Function::ALL.map(Function::name).join(", ")
}
