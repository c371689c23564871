//! How a meter is named on the command line: `serial:PATH,frame=NAME`, `keyed`, `replay:FILE`.

use std::path::PathBuf;
use std::str::FromStr;

use crate::driver::{Entry, driver, drivers};
use crate::profile::{Profile, ProfileError};
use crate::replay::Pace;

/// A meter as named.
#[derive(Debug, Clone)]
#[non_exhaustive]
pub enum Spec {
    /// `serial:PATH,frame=NAME[,baud=N][,profile=FILE]`.
    Serial(SerialSpec),
    /// `keyed[,profile=FILE]`: values are typed.
    Keyed {
        /// The profile file, if one was named.
        profile: Option<PathBuf>,
    },
    /// `replay:FILE[,pace=original|fast]`: readings out of a trail.
    Replay {
        /// The trail.
        file: PathBuf,
        /// How fast.
        pace: Pace,
    },
}

/// A meter on a serial port.
#[derive(Debug, Clone)]
pub struct SerialSpec {
    /// The port.
    pub path: PathBuf,
    /// The driver.
    pub entry: &'static Entry,
    /// The speed, if not the frame's own.
    pub baud: Option<u32>,
    /// The profile file, if one was named.
    pub profile: Option<PathBuf>,
    loaded: Option<u32>,
}

impl SerialSpec {
    /// The speed to open at: the spec's, else the loaded profile's, else none for the frame's own.
    #[must_use]
    pub fn baud(&self) -> Option<u32> {
        self.baud.or(self.loaded)
    }

    /// Takes over what the loaded profile says of the line.
    ///
    /// # Errors
    /// [`SpecError::OtherFrame`] if the profile is of a meter that sends another frame.
    pub fn with_profile(mut self, profile: &Profile) -> Result<Self, SpecError> {
        if let Some(name) = &profile.driver
            && name != self.entry.name
        {
            return Err(SpecError::OtherFrame {
                spec: self.entry.name,
                profile: name.clone(),
            });
        }
        self.loaded = profile.baud;
        Ok(self)
    }
}

impl Spec {
    /// The meter's profile: the file's if one was named, else the cautious default. A serial spec
    /// takes over the profile's speed.
    ///
    /// # Errors
    /// [`SpecError`] if the file is not a profile, or of a meter with another frame.
    pub fn load_profile(&mut self) -> Result<Profile, SpecError> {
        let file = match self {
            Spec::Serial(serial) => serial.profile.clone(),
            Spec::Keyed { profile } => profile.clone(),
            Spec::Replay { .. } => None,
        };
        let profile = match file {
            Some(file) => Profile::load(&file)?,
            None => Profile::cautious(),
        };
        if let Spec::Serial(serial) = self {
            *serial = serial.clone().with_profile(&profile)?;
        }
        Ok(profile)
    }
}

/// Why a spec was not understood.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum SpecError {
    /// The kind before the colon is not known.
    #[error("`{0}`: no such kind of meter; use serial:PATH,frame=NAME or keyed or replay:FILE")]
    Kind(String),
    /// No path or file after the colon.
    #[error("`{0}`: a path is missing after the colon")]
    NoPath(String),
    /// A serial spec without a frame.
    #[error("serial:{path}: frame= is missing; one of {}", names())]
    NoFrame {
        /// The port.
        path: String,
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
    /// The profile was not understood.
    #[error(transparent)]
    Profile(#[from] ProfileError),
}

fn names() -> String {
    let names: Vec<&str> = drivers().iter().map(|entry| entry.name).collect();
    names.join(", ")
}

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
            "serial" => serial(path()?, settings).map(Spec::Serial),
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
                for setting in settings {
                    match setting.split_once('=') {
                        Some(("pace", "original")) => once(&mut pace, "pace", Pace::Original)?,
                        Some(("pace", "fast")) => once(&mut pace, "pace", Pace::Fast)?,
                        Some(("pace", other)) => return Err(SpecError::Pace(other.into())),
                        _ => return Err(unknown(setting, "replay", "pace=original|fast")),
                    }
                }
                Ok(Spec::Replay {
                    file,
                    pace: pace.unwrap_or_default(),
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

fn serial<'a>(
    path: &str,
    settings: impl Iterator<Item = &'a str>,
) -> Result<SerialSpec, SpecError> {
    let (mut entry, mut baud, mut profile) = (None, None, None);
    for setting in settings {
        match setting.split_once('=') {
            Some(("frame", name)) => {
                let found = driver(name).ok_or_else(|| SpecError::Frame {
                    name: name.to_string(),
                })?;
                once(&mut entry, "frame", found)?;
            }
            Some(("baud", text)) => match text.parse() {
                Ok(speed @ 50..=4_000_000) => once(&mut baud, "baud", speed)?,
                _ => return Err(SpecError::Baud(text.to_string())),
            },
            Some(("profile", file)) => once(&mut profile, "profile", PathBuf::from(file))?,
            _ => {
                return Err(unknown(
                    setting,
                    "serial",
                    "frame=NAME, baud=N and profile=FILE",
                ));
            }
        }
    }
    Ok(SerialSpec {
        path: PathBuf::from(path),
        entry: entry.ok_or_else(|| SpecError::NoFrame {
            path: path.to_string(),
        })?,
        baud,
        profile,
        loaded: None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn error(text: &str) -> String {
        match text.parse::<Spec>() {
            Ok(spec) => panic!("{text} was understood as {spec:?}"),
            Err(e) => e.to_string(),
        }
    }

    #[test]
    fn specs_name_a_port_a_frame_and_a_profile() {
        let spec = "serial:/dev/ttyUSB0,frame=count14,baud=9600,profile=my.toml"
            .parse()
            .unwrap();
        let Spec::Serial(serial) = spec else {
            panic!("not serial: {spec:?}")
        };
        assert_eq!(serial.path, PathBuf::from("/dev/ttyUSB0"));
        assert_eq!(serial.entry.name, "count14");
        assert_eq!(serial.baud(), Some(9600));
        assert_eq!(serial.profile, Some(PathBuf::from("my.toml")));
        assert!(matches!(
            "keyed".parse().unwrap(),
            Spec::Keyed { profile: None }
        ));
        let replay = "replay:visit.trail,pace=fast".parse().unwrap();
        let Spec::Replay { file, pace } = replay else {
            panic!("not replay: {replay:?}")
        };
        assert_eq!((file, pace), (PathBuf::from("visit.trail"), Pace::Fast));
    }

    #[test]
    fn errors_name_the_setting_and_what_there_is() {
        assert!(error("serial:/dev/ttyUSB0").contains("one of lcd14, ascii14, count14"));
        assert!(error("serial:/dev/x,frame=morse").starts_with("frame=morse: no such frame"));
        assert!(error("serial:,frame=lcd14").contains("path is missing"));
        assert!(error("serial").contains("path is missing"));
        assert!(error("serial:/dev/x,frame=lcd14,baud=fast").starts_with("baud=fast"));
        assert!(error("serial:/dev/x,frame=lcd14,frame=lcd14").contains("given twice"));
        assert!(error("serial:/dev/x,frame=lcd14,parity=odd").contains("`parity=odd`"));
        assert!(error("keyed:x").contains("no such kind of meter"));
        assert!(error("replay:f,pace=slow").contains("original or fast"));
        assert!(error("ble:00").contains("no such kind of meter"));
        assert!(error("").contains("no such kind of meter"));
    }

    #[test]
    fn a_profile_of_another_frame_is_refused() {
        let Spec::Serial(serial) = "serial:/dev/x,frame=lcd14".parse().unwrap() else {
            panic!("not serial")
        };
        let count = Profile::simulated("count14").unwrap();
        let refused = serial.with_profile(&count).map_err(|e| e.to_string());
        assert_eq!(
            refused.err().as_deref(),
            Some("the spec says frame=lcd14, and the profile is of a meter that sends count14")
        );
    }
}
