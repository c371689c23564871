//! How a spec's text is read.

use std::path::PathBuf;
use std::str::FromStr;

use ohmtrail_core::reading::{Function, MeterId};

use super::{DriverSpec, Place, Spec, SpecError, StreamSpec};
use crate::driver::{CannotStart, Entry, driver};
use crate::gatt;
use crate::replay::Pace;

/// Puts a setting in its place, once.
fn once<T>(slot: &mut Option<T>, name: &'static str, value: T) -> Result<(), SpecError> {
    match slot.replace(value) {
        None => Ok(()),
        Some(_) => Err(SpecError::Twice(name)),
    }
}

impl FromStr for Spec {
    type Err = SpecError;

    fn from_str(text: &str) -> Result<Self, SpecError> {
        let (head, settings) = match text.split_once(',') {
            Some((head, settings)) => (head, settings.split(',')),
            None => (text, "".split(',')),
        };
        let settings = settings.filter(|s| !s.is_empty());
        let (kind, path) = match head.split_once(':') {
            Some((kind, path)) => (kind, Some(path)),
            None => (head, None),
        };
        let path = || match path {
            Some(path) if !path.is_empty() => Ok(path),
            _ => Err(SpecError::NoPath(text.to_string())),
        };
        match kind {
            "serial" => {
                let place = Place::Serial {
                    path: PathBuf::from(path()?),
                    baud: None,
                    line: None,
                };
                stream(head, place, settings)
            }
            "tcp" => {
                let (host, port) = path()?
                    .rsplit_once(':')
                    .and_then(|(host, port)| Some((host, port.parse().ok()?)))
                    .filter(|(host, port)| !host.is_empty() && *port != 0)
                    .ok_or_else(|| SpecError::NoPort(head.to_owned()))?;
                // An IPv6 address stands in brackets.
                let host = host
                    .trim_start_matches('[')
                    .trim_end_matches(']')
                    .to_owned();
                stream(head, Place::Tcp { host, port }, settings)
            }
            "ble" => {
                let which = path()?.to_owned();
                let place = Place::Ble {
                    which,
                    characteristic: None,
                };
                stream(head, place, settings)
            }
            "keyed" if head == "keyed" => {
                let mut profile = None;
                for setting in settings {
                    match setting.split_once('=') {
                        Some(("profile", file)) => {
                            once(&mut profile, "profile", PathBuf::from(file))?;
                        }
                        _ => return Err(unknown(setting, "keyed", "profile=FILE")),
                    }
                }
                Ok(Spec::Keyed { profile })
            }
            "replay" => {
                let file = PathBuf::from(path()?);
                let mut pace = None;
                let mut reads = Reads::default();
                for setting in settings {
                    match setting.split_once('=') {
                        Some(("pace", "original")) => once(&mut pace, "pace", Pace::Original)?,
                        Some(("pace", "fast")) => once(&mut pace, "pace", Pace::Fast)?,
                        Some(("pace", other)) => return Err(SpecError::Pace(other.into())),
                        _ if reads.takes(setting)? => {}
                        _ => {
                            let known =
                                "pace=original|fast, frame=NAME, function=NAME and profile=FILE";
                            return Err(unknown(setting, "replay", known));
                        }
                    }
                }
                let driver = match (&reads.entry, &reads.function, &reads.profile) {
                    (None, None, None) => None,
                    _ => Some(reads.driver(head)?),
                };
                Ok(Spec::Replay {
                    file,
                    pace: pace.unwrap_or_default(),
                    driver,
                })
            }
            _ => Err(SpecError::Kind(head.to_string())),
        }
    }
}

fn unknown(setting: &str, kind: &'static str, known: &'static str) -> SpecError {
    SpecError::Setting {
        setting: setting.to_string(),
        kind,
        known,
    }
}

/// The settings of a driver, as they are collected.
#[derive(Default)]
struct Reads {
    entry: Option<&'static Entry>,
    function: Option<Function>,
    profile: Option<PathBuf>,
}

impl Reads {
    /// Takes a setting if it is one of a driver's.
    fn takes(&mut self, setting: &str) -> Result<bool, SpecError> {
        match setting.split_once('=') {
            Some(("frame", name)) => {
                let entry = driver(name).ok_or_else(|| SpecError::Frame {
                    name: name.to_string(),
                })?;
                once(&mut self.entry, "frame", entry)?;
            }
            Some(("function", name)) => {
                let function = Function::by_name(name).ok_or_else(|| SpecError::Function {
                    name: name.to_string(),
                })?;
                once(&mut self.function, "function", function)?;
            }
            Some(("profile", file)) => once(&mut self.profile, "profile", PathBuf::from(file))?,
            _ => return Ok(false),
        }
        Ok(true)
    }

    fn driver(self, place: &str) -> Result<DriverSpec, SpecError> {
        let entry = self.entry.ok_or_else(|| SpecError::NoFrame {
            place: place.to_string(),
        })?;
        Ok(DriverSpec {
            function: self.function,
            profile: self.profile,
            ..DriverSpec::of(entry)
        })
    }
}

fn stream<'a>(
    head: &str,
    mut place: Place,
    settings: impl Iterator<Item = &'a str>,
) -> Result<Spec, SpecError> {
    let mut reads = Reads::default();
    for setting in settings {
        if reads.takes(setting)? {
            continue;
        }
        match (setting.split_once('='), &mut place) {
            (Some(("baud", text)), Place::Serial { baud, .. }) => match text.parse() {
                Ok(speed @ 50..=4_000_000) => once(baud, "baud", speed)?,
                _ => return Err(SpecError::Baud(text.to_string())),
            },
            (_, Place::Serial { .. }) => {
                let known = "frame=NAME, baud=N, function=NAME and profile=FILE";
                return Err(unknown(setting, "serial", known));
            }
            (Some(("characteristic", text)), Place::Ble { characteristic, .. }) => {
                let uuid = text.parse().map_err(SpecError::Characteristic)?;
                once(characteristic, "characteristic", uuid)?;
            }
            (_, Place::Ble { .. }) => {
                let known = "frame=NAME, characteristic=UUID, function=NAME and profile=FILE";
                return Err(unknown(setting, "ble", known));
            }
            (_, Place::Tcp { .. }) => {
                let known = "frame=NAME, function=NAME and profile=FILE";
                return Err(unknown(setting, "tcp", known));
            }
        }
    }
    // A Bluetooth Low Energy meter may describe itself, or its profile does.
    let assumed = matches!(place, Place::Ble { .. }) && reads.entry.is_none();
    if assumed {
        reads.entry = Some(&gatt::ENTRY);
    }
    let driver = DriverSpec {
        assumed,
        ..reads.driver(head)?
    };
    // Whether the driver can be told the function shows before anything is opened; what drives an
    // assumed one is known with its profile.
    let started = driver.start(MeterId(0), None);
    if let (false, Err(why @ (CannotStart::Function(..) | CannotStart::NotVolts(..)))) =
        (assumed && driver.profile.is_some(), started)
    {
        return Err(why.into());
    }
    Ok(Spec::Stream(StreamSpec { place, driver }))
}
