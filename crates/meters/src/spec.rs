//! How a meter is named on the command line: `serial:PATH,frame=NAME`, `tcp:HOST:PORT,frame=NAME`,
//! `keyed`, `replay:FILE`.

use std::fmt;
use std::path::PathBuf;
use std::str::FromStr;
use std::sync::Arc;

use ohmtrail_core::reading::{Function, MeterId};

use crate::driver::{CannotStart, Driver, Entry, Line, Setup, driver, drivers};
use crate::link::{Manner, OpenError, Stream};
use crate::profile::{Profile, ProfileError};
use crate::replay::Pace;
use crate::{serial, tcp};

/// A meter as named.
#[derive(Debug, Clone)]
#[non_exhaustive]
pub enum Spec {
    /// `serial:PATH,frame=NAME[,baud=N]…` or `tcp:HOST:PORT,frame=NAME…`.
    Stream(StreamSpec),
    /// `keyed[,profile=FILE]`: values are typed.
    Keyed {
        /// The profile file, if one was named.
        profile: Option<PathBuf>,
    },
    /// `replay:FILE[,pace=original|fast]`: readings out of a trail; with `frame=NAME` the bytes that
    /// were kept, through that driver again.
    Replay {
        /// The trail.
        file: PathBuf,
        /// How fast.
        pace: Pace,
        /// What reads the bytes; none for the readings as they were kept.
        driver: Option<DriverSpec>,
    },
}

/// A meter at the end of a byte stream.
#[derive(Debug, Clone)]
pub struct StreamSpec {
    /// Where it is.
    pub place: Place,
    /// What reads it.
    pub driver: DriverSpec,
}

/// Where a byte stream comes from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Place {
    /// A serial port.
    Serial {
        /// The port.
        path: PathBuf,
        /// The speed, if not the frame's or the profile's own.
        baud: Option<u32>,
        /// The line's other settings, if not the frame's own.
        line: Option<Line>,
    },
    /// A TCP port.
    Tcp {
        /// The host's name or address.
        host: String,
        /// The port.
        port: u16,
    },
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Place::Serial { path, .. } => path.display().fmt(f),
            Place::Tcp { host, port } => write!(f, "{host}:{port}"),
        }
    }
}

/// What reads a byte stream.
#[derive(Debug, Clone)]
pub struct DriverSpec {
    /// The driver.
    pub entry: &'static Entry,
    /// What the meter is set to, where it can be told.
    pub function: Option<Function>,
    /// The profile file, if one was named.
    pub profile: Option<PathBuf>,
    loaded: Option<Arc<Profile>>,
}

impl DriverSpec {
    /// A driver without a profile, for a meter that is set by hand.
    #[must_use]
    pub const fn of(entry: &'static Entry) -> Self {
        DriverSpec {
            entry,
            function: None,
            profile: None,
            loaded: None,
        }
    }

    /// Starts the driver; `wanted` goes before the spec's own function.
    ///
    /// # Errors
    /// [`CannotStart`] if the driver needs more, or cannot be told this function.
    pub fn start(
        &self,
        meter: MeterId,
        wanted: Option<Function>,
    ) -> Result<Box<dyn Driver>, CannotStart> {
        (self.entry.start)(&Setup {
            meter,
            function: wanted.or(self.function),
            profile: self.loaded.as_deref(),
        })
    }

    /// Takes over what the loaded profile says of the driver.
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
        self.loaded = Some(Arc::new(profile.clone()));
        Ok(self)
    }
}

impl StreamSpec {
    /// The settings to open a serial port with: the spec's, else the loaded profile's speed, else
    /// the frame's own.
    #[must_use]
    pub fn line(&self) -> Line {
        let (baud, line) = match &self.place {
            Place::Serial { baud, line, .. } => (*baud, *line),
            Place::Tcp { .. } => (None, None),
        };
        let line = line.unwrap_or(self.driver.entry.line);
        let profile = self.driver.loaded.as_ref().and_then(|p| p.baud);
        Line {
            baud: baud.or(profile).unwrap_or(line.baud),
            ..line
        }
    }

    /// How a session with this kind of meter is held.
    #[must_use]
    pub fn manner(&self) -> Manner {
        Manner {
            patience: self.driver.entry.patience,
            raw: false,
        }
    }

    /// Opens the stream, for who wants its bytes. To be called within a tokio runtime with I/O and
    /// time enabled.
    ///
    /// # Errors
    /// [`OpenError`] says in which way it cannot be opened.
    pub async fn connect(&self) -> Result<Box<dyn Stream>, OpenError> {
        Ok(match &self.place {
            Place::Serial { path, .. } => Box::new(serial::open_port(path, self.line())?),
            Place::Tcp { host, port } => Box::new(tcp::connect(host, *port).await?),
        })
    }
}

impl Spec {
    /// What reads the bytes, if bytes are read.
    fn driver_mut(&mut self) -> Option<&mut DriverSpec> {
        match self {
            Spec::Stream(stream) => Some(&mut stream.driver),
            Spec::Replay { driver, .. } => driver.as_mut(),
            Spec::Keyed { .. } => None,
        }
    }

    /// The meter's profile: the file's if one was named, else the cautious default. The driver
    /// takes over what the profile says of it.
    ///
    /// # Errors
    /// [`SpecError`] if the file is not a profile, or of a meter with another frame.
    pub fn load_profile(&mut self) -> Result<Profile, SpecError> {
        let file = match &mut *self {
            Spec::Keyed { profile } => profile.clone(),
            other => other.driver_mut().and_then(|d| d.profile.clone()),
        };
        let Some(file) = file else {
            return Ok(Profile::cautious());
        };
        let profile = Profile::load(&file)?;
        if let Some(driver) = self.driver_mut() {
            *driver = driver.clone().with_profile(&profile)?;
        }
        Ok(profile)
    }
}

/// Why a spec was not understood.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum SpecError {
    /// The kind before the colon is not known.
    #[error(
        "`{0}`: no such kind of meter; use serial:PATH,frame=NAME or tcp:HOST:PORT,frame=NAME or keyed or replay:FILE"
    )]
    Kind(String),
    /// No path or file after the colon.
    #[error("`{0}`: a path is missing after the colon")]
    NoPath(String),
    /// No host and port after `tcp:`.
    #[error("`{0}`: write a host and a port, such as tcp:192.0.2.7:5025")]
    NoPort(String),
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
            (_, Place::Tcp { .. }) => {
                let known = "frame=NAME, function=NAME and profile=FILE";
                return Err(unknown(setting, "tcp", known));
            }
        }
    }
    let driver = reads.driver(head)?;
    // Whether the driver can be told the function shows before anything is opened.
    if let Err(why @ CannotStart::Function(..)) = driver.start(MeterId(0), None) {
        return Err(why.into());
    }
    Ok(Spec::Stream(StreamSpec { place, driver }))
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
        let Spec::Stream(serial) = spec else {
            panic!("not serial: {spec:?}")
        };
        assert_eq!(serial.place.to_string(), "/dev/ttyUSB0");
        assert_eq!(serial.driver.entry.name, "count14");
        // The speed is the spec's, the rest the frame's own.
        assert_eq!(serial.line().to_string(), "9600 7O1");
        assert_eq!(serial.driver.profile, Some(PathBuf::from("my.toml")));
        let spec = "tcp:[2001:db8::7]:5025,frame=scpi,function=ohms"
            .parse()
            .unwrap();
        let Spec::Stream(tcp) = spec else {
            panic!("not tcp: {spec:?}")
        };
        let (host, port) = ("2001:db8::7".to_owned(), 5025);
        assert_eq!(tcp.place, Place::Tcp { host, port });
        assert_eq!(tcp.driver.function, Some(Function::Ohms));
        assert!(matches!(
            "keyed".parse().unwrap(),
            Spec::Keyed { profile: None }
        ));
        let replay = "replay:visit.trail,pace=fast".parse().unwrap();
        let Spec::Replay { file, pace, driver } = replay else {
            panic!("not replay: {replay:?}")
        };
        assert_eq!((file, pace), (PathBuf::from("visit.trail"), Pace::Fast));
        assert!(driver.is_none());
        let again = "replay:visit.trail,frame=lcd14".parse().unwrap();
        let Spec::Replay {
            driver: Some(driver),
            ..
        } = again
        else {
            panic!("no driver: {again:?}")
        };
        assert_eq!(driver.entry.name, "lcd14");
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
        assert!(error("tcp:bench:5025").contains("one of lcd14"));
        assert!(error("tcp:bench,frame=scpi").contains("a host and a port"));
        assert!(error("tcp:bench:99999,frame=scpi").contains("a host and a port"));
        assert!(error("tcp:bench:5025,frame=scpi,baud=9600").contains("not a setting of tcp"));
        assert!(error("tcp:b:1,frame=scpi,function=volts").contains("volts-ac, volts-dc"));
        assert!(error("tcp:b:1,frame=scpi,function=megohms").contains("cannot ask for megohms"));
        assert!(error("serial:/dev/x,frame=lcd14,function=ohms").contains("set by hand"));
        assert!(error("replay:f,function=ohms").contains("frame= is missing"));
        assert!(error("keyed:x").contains("no such kind of meter"));
        assert!(error("replay:f,pace=slow").contains("original or fast"));
        assert!(error("ble:00").contains("no such kind of meter"));
        assert!(error("").contains("no such kind of meter"));
    }

    #[test]
    fn a_profile_of_another_frame_is_refused() {
        let Spec::Stream(serial) = "serial:/dev/x,frame=lcd14".parse().unwrap() else {
            panic!("not serial")
        };
        let count = Profile::simulated("count14").unwrap();
        let refused = serial
            .driver
            .with_profile(&count)
            .map_err(|e| e.to_string());
        assert_eq!(
            refused.err().as_deref(),
            Some("the spec says frame=lcd14, and the profile is of a meter that sends count14")
        );
    }
}
