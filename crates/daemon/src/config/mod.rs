//! The daemon's configuration: a TOML file, and options of the command line that go before it.
//!
//! Every key is a row of [`keys::KEYS`]; docs/configuration.md is written from them. A file is read
//! strictly: everything wrong with it is said at once, with line, key and what to do. It holds no
//! secret: sessions and pairing codes lie in the data folder, and only as hashes.

pub mod keys;
mod places;
mod read;
mod show;

use std::fmt;
use std::fs;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::time::Duration;

use ohmtrail_meters::spec::Spec;

use crate::auth::site::Origin;

use self::keys::KEYS;
pub use self::places::Places;
use self::read::{From, Tables, Value, Values};
pub use self::read::{Problem, full_name, wanted};
pub use self::show::{to_json, to_toml};

/// What the daemon is started with.
#[derive(Debug, Clone)]
pub struct Config {
    /// The folder of visits, photos and sessions.
    pub data: PathBuf,
    /// Where it is reached.
    pub listen: Listen,
    /// How long a pairing code can be used.
    pub code_lasts: Duration,
    /// How many tries a pairing code bears.
    pub code_attempts: u32,
    /// How long a session lasts.
    pub session_lasts: Duration,
    /// What one client may take from the others.
    pub limits: Limits,
    /// What is logged.
    pub log: Log,
    /// The meters that are connected to without being told.
    pub meters: Vec<Meter>,
}

/// Where the daemon is reached.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Listen {
    /// Addresses and ports to listen at; port 0 lets the system choose.
    pub addresses: Vec<SocketAddr>,
    /// Further origins of it.
    pub origins: Vec<Origin>,
    /// Whether programs on this machine need a session, too.
    pub pair_always: bool,
}

impl Listen {
    /// Whether it is reached from this machine only.
    #[must_use]
    pub fn is_loopback(&self) -> bool {
        self.addresses.iter().all(|a| a.ip().is_loopback())
    }

    /// Whether every request needs a session.
    #[must_use]
    pub fn needs_session(&self) -> bool {
        self.pair_always || !self.is_loopback() || !self.origins.is_empty()
    }
}

/// What one client may take from the others.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Limits {
    /// The longest body, bytes.
    pub body: usize,
    /// The longest photograph, bytes.
    pub photo: usize,
    /// For the head of a request.
    pub head_time: Duration,
    /// For its whole body.
    pub body_time: Duration,
    /// Without a byte taken of what is sent.
    pub stall: Duration,
    /// Connections at once.
    pub connections: usize,
    /// Connections at once from one address.
    pub connections_each: usize,
    /// Requests a second from one address.
    pub per_second: u32,
    /// Requests at once from one address.
    pub burst: u32,
}

/// What is logged.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Log {
    /// `error`, `warn`, `info`, `debug` or `trace`.
    pub level: String,
    /// Whether each line is a JSON object.
    pub json: bool,
}

/// A meter that is connected to without being told.
#[derive(Debug, Clone)]
pub struct Meter {
    /// What it is called.
    pub name: String,
    /// What it is on; may be empty.
    pub role: String,
    /// The meter.
    pub spec: Spec,
}

/// What the command line says in place of the file.
#[derive(Debug, Clone, Default)]
pub struct Flags {
    /// The data folder.
    pub data: Option<PathBuf>,
    /// Where to listen; empty leaves it to the file.
    pub listen: Vec<SocketAddr>,
}

/// A configuration with where each of its values comes from.
#[derive(Debug, Clone)]
pub struct Loaded {
    /// The configuration.
    pub config: Config,
    /// The file it was read from; none if there is none.
    pub file: Option<PathBuf>,
    tables: Tables,
}

/// Why there is no configuration.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ConfigError {
    /// The file cannot be read.
    #[error("{}: cannot be read: {source}; name another with --config", file.display())]
    Unreadable {
        /// The file.
        file: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// Something is wrong with it.
    #[error("{0}")]
    Wrong(Problems),
    /// There is no home folder, and none was named.
    #[error("no data folder: name one with --data, or set HOME or XDG_DATA_HOME")]
    NoHome,
}

/// Everything wrong with a file, in the order of its lines; never empty.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problems(pub Vec<Problem>);

impl fmt::Display for Problems {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (i, problem) in self.0.iter().enumerate() {
            if i > 0 {
                writeln!(f)?;
            }
            write!(f, "{problem}")?;
        }
        Ok(())
    }
}

impl Loaded {
    /// Reads the file that is named, else the one in its usual place, else none; the flags go
    /// before it.
    ///
    /// # Errors
    /// [`ConfigError`], with everything that is wrong.
    pub fn load(named: Option<&Path>, flags: &Flags, places: &Places) -> Result<Self, ConfigError> {
        let file = match named {
            Some(file) => Some(file.to_owned()),
            None => places.config(),
        };
        let Some(file) = file else {
            return Loaded::finish(Tables::defaults(), None, flags, places);
        };
        let text = fs::read_to_string(&file).map_err(|source| ConfigError::Unreadable {
            file: file.clone(),
            source,
        })?;
        Loaded::read(&file, &text, flags, places)
    }

    /// Reads a file's text.
    ///
    /// # Errors
    /// [`ConfigError`], with everything that is wrong.
    pub fn read(
        file: &Path,
        text: &str,
        flags: &Flags,
        places: &Places,
    ) -> Result<Self, ConfigError> {
        let (tables, problems) = read::tables(&file.display().to_string(), text);
        if !problems.is_empty() {
            return Err(ConfigError::Wrong(Problems(problems)));
        }
        Loaded::finish(tables, Some(file.to_owned()), flags, places)
    }

    fn finish(
        mut tables: Tables,
        file: Option<PathBuf>,
        flags: &Flags,
        places: &Places,
    ) -> Result<Self, ConfigError> {
        let folder = file
            .as_deref()
            .and_then(Path::parent)
            .unwrap_or(Path::new(""));
        let folder = folder.to_owned();
        settle_data(&mut tables, &folder, flags, places)?;
        if !flags.listen.is_empty() {
            let listen = flags.listen.iter().map(ToString::to_string).collect();
            set(
                &mut tables,
                "listen",
                "addresses",
                Value::Texts(listen),
                From::Flag,
            );
        }
        Ok(Loaded {
            config: config(&tables),
            file,
            tables,
        })
    }
}

/// The data folder: the flag's, the file's, or the usual one.
fn settle_data(
    tables: &mut Tables,
    folder: &Path,
    flags: &Flags,
    places: &Places,
) -> Result<(), ConfigError> {
    let given = tables.table_mut("").and_then(|t| match t.get("data") {
        Some((Value::Text(path), from)) => Some((PathBuf::from(path), from)),
        _ => None,
    });
    let (path, from) = match (&flags.data, given) {
        (Some(path), _) => (path.clone(), From::Flag),
        (None, Some((path, from))) => (places.expand(&path, folder), from),
        (None, None) => (places.data().ok_or(ConfigError::NoHome)?, From::Default),
    };
    let text = path.to_string_lossy().into_owned();
    set(tables, "", "data", Value::Text(text), from);
    Ok(())
}

fn set(tables: &mut Tables, table: &str, name: &str, value: Value, from: From) {
    let key = KEYS.iter().find(|k| k.table == table && k.name == name);
    if let (Some(key), Some(values)) = (key, tables.table_mut(table)) {
        values.set(key, value, from);
    }
}

/// The configuration of tables that were checked: each of its values is there and of its kind.
fn config(tables: &Tables) -> Config {
    let table = |name: &str| {
        let found = tables.single.iter().find(|(n, _)| *n == name);
        found.map(|(_, values)| values)
    };
    let get = |name, key| table(name).and_then(|t| t.get(key)).map(|(value, _)| value);
    let count = |name, key| match get(name, key) {
        Some(Value::Count(n)) => *n,
        _ => unreachable!("every count has a default"),
    };
    let small = |name, key| u32::try_from(count(name, key)).unwrap_or(u32::MAX);
    let large = |name, key| usize::try_from(count(name, key)).unwrap_or(usize::MAX);
    let seconds = |name, key| Duration::from_secs(count(name, key));
    let text = |name, key| get(name, key).map(text_of).unwrap_or_default();
    let texts = |name, key| match get(name, key) {
        Some(Value::Texts(list)) => list.clone(),
        _ => Vec::new(),
    };
    Config {
        data: PathBuf::from(text("", "data")),
        listen: Listen {
            addresses: parsed(texts("listen", "addresses")),
            origins: parsed(texts("listen", "origins")),
            pair_always: get("listen", "pair-always") == Some(&Value::Switch(true)),
        },
        code_lasts: seconds("pairing", "code-seconds"),
        code_attempts: small("pairing", "attempts"),
        session_lasts: Duration::from_secs(count("session", "days") * 86_400),
        limits: Limits {
            body: large("limits", "body-bytes"),
            photo: large("limits", "photo-bytes"),
            head_time: seconds("limits", "head-seconds"),
            body_time: seconds("limits", "body-seconds"),
            stall: seconds("limits", "stall-seconds"),
            connections: large("limits", "connections"),
            connections_each: large("limits", "connections-each"),
            per_second: small("limits", "requests-per-second"),
            burst: small("limits", "burst"),
        },
        log: Log {
            level: text("log", "level"),
            json: text("log", "format") == "json",
        },
        meters: tables.meters.iter().filter_map(meter).collect(),
    }
}

fn meter(values: &Values) -> Option<Meter> {
    let text = |key| values.get(key).map(|(value, _)| text_of(value));
    Some(Meter {
        name: text("name")?,
        role: text("role").unwrap_or_default(),
        spec: text("spec")?.parse().ok()?,
    })
}

fn text_of(value: &Value) -> String {
    match value {
        Value::Text(text) => text.clone(),
        _ => String::new(),
    }
}

/// Texts that were checked when they were read.
fn parsed<T: std::str::FromStr>(texts: Vec<String>) -> Vec<T> {
    texts.iter().filter_map(|text| text.parse().ok()).collect()
}

#[cfg(test)]
mod tests;
