//! How a meter is named on the command line: `serial:PATH,frame=NAME`, `tcp:HOST:PORT,frame=NAME`,
//! `ble:NAME`, `keyed`, `replay:FILE`.

mod error;
mod parse;
#[cfg(test)]
mod tests;

pub use error::SpecError;

use std::fmt;
use std::path::PathBuf;
use std::sync::Arc;

use ohmtrail_core::reading::{Function, MeterId};

use crate::ble::Uuid;
use crate::driver::{CannotStart, Driver, Entry, Line, Setup, driver};
use crate::link::{Manner, OpenError, Stream};
use crate::profile::Profile;
use crate::replay::Pace;
use crate::{gatt, radio, serial, tcp};

/// A meter as named.
#[derive(Debug, Clone)]
#[non_exhaustive]
pub enum Spec {
    /// `serial:PATH,frame=NAME[,baud=N]…`, `tcp:HOST:PORT,frame=NAME…` or `ble:NAME…`.
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
    /// A Bluetooth Low Energy meter.
    Ble {
        /// Its address, or else the name that it advertises.
        which: String,
        /// The characteristic to read, if not the profile's or the one that describes itself.
        characteristic: Option<Uuid>,
    },
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Place::Serial { path, .. } => path.display().fmt(f),
            Place::Tcp { host, port } => write!(f, "{host}:{port}"),
            Place::Ble { which, .. } => write!(f, "ble:{which}"),
        }
    }
}

/// What reads a byte stream.
#[derive(Debug, Clone)]
pub struct DriverSpec {
    /// The driver.
    pub entry: &'static Entry,
    /// What the meter is set to, where it can be told; for [`gatt`] what volts and amperes are.
    pub function: Option<Function>,
    /// The profile file, if one was named.
    pub profile: Option<PathBuf>,
    loaded: Option<Arc<Profile>>,
    /// Whether nobody named the driver, so that the profile may.
    assumed: bool,
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
            assumed: false,
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
        let profile = self.loaded.as_deref();
        // Nobody sets a meter that describes itself; it is said what its volts are.
        let (function, volts) = if *self.entry == gatt::ENTRY {
            (None, self.function)
        } else {
            (wanted.or(self.function), None)
        };
        (self.entry.start)(&Setup {
            meter,
            function,
            volts,
            profile,
        })
    }

    /// Takes over what the loaded profile says of the driver.
    ///
    /// # Errors
    /// [`SpecError::OtherFrame`] if the profile is of a meter that sends another frame.
    pub fn with_profile(mut self, profile: &Profile) -> Result<Self, SpecError> {
        let named = profile.driver.as_deref();
        if self.assumed
            && let Some(entry) = named.and_then(driver)
        {
            self.entry = entry;
        }
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
            Place::Tcp { .. } | Place::Ble { .. } => (None, None),
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
            Place::Ble {
                which,
                characteristic,
            } => {
                let profile = self.driver.loaded.as_ref().and_then(|p| p.ble);
                let mut pipes = profile.unwrap_or_default();
                pipes.characteristic = characteristic.or(pipes.characteristic);
                pipes.function = self.driver.function.or(pipes.function);
                let wanted = radio::Wanted {
                    which: which.clone(),
                    pipes,
                    entry: self.driver.entry,
                };
                Box::new(radio::connect(wanted).await?)
            }
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
