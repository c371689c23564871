//! Every key of the configuration: its kind, its default and its words. Reading, `config show` and
//! docs/configuration.md all go by this one table.

use std::net::SocketAddr;

use ohmtrail_meters::spec::Spec;

use crate::auth::site::Origin;

/// What a key's value is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// A text.
    Text,
    /// A path: from the configuration file's folder if relative, `~/` is the home folder.
    Path,
    /// A list of texts.
    Texts,
    /// One of these words.
    OneOf(&'static [&'static str]),
    /// A whole number of this unit.
    Count {
        /// The least.
        min: u64,
        /// The most.
        max: u64,
        /// What is counted.
        unit: &'static str,
    },
    /// `true` or `false`.
    Switch,
}

/// One key.
#[derive(Debug, Clone, Copy)]
pub struct Key {
    /// The table it stands in; empty for the top of the file.
    pub table: &'static str,
    /// Its name.
    pub name: &'static str,
    /// What its value is.
    pub kind: Kind,
    /// What holds if it is not given, as TOML; none if there is no such thing.
    pub default: Option<&'static str>,
    /// What it does.
    pub words: &'static str,
    /// What else is asked of each of its texts.
    pub check: Option<Check>,
}

/// Why a text will not do, if it will not.
pub type Check = fn(&str) -> Result<(), String>;

/// The table whose rows are one each for a meter: `[[meter]]`.
pub const METER: &str = "meter";

/// Every table, in the order of the page.
pub const TABLES: [(&str, &str); 7] = [
    ("", "The top of the file."),
    ("listen", "Where the daemon is reached."),
    (
        "pairing",
        "How a phone is let in where the daemon listens beyond this machine.",
    ),
    ("session", "What pairing gives."),
    ("limits", "What one client may take from the others."),
    ("log", "What is written to standard error."),
    (
        METER,
        "One `[[meter]]` for each meter that the daemon connects to by itself.",
    ),
];

const fn key(table: &'static str, name: &'static str, kind: Kind, words: &'static str) -> Key {
    Key {
        table,
        name,
        kind,
        default: None,
        words,
        check: None,
    }
}

impl Key {
    const fn or(mut self, default: &'static str) -> Self {
        self.default = Some(default);
        self
    }

    const fn checked(mut self, check: Check) -> Self {
        self.check = Some(check);
        self
    }
}

const fn count(min: u64, max: u64, unit: &'static str) -> Kind {
    Kind::Count { min, max, unit }
}

/// Every key.
pub static KEYS: &[Key] = &[
    key(
        "",
        "data",
        Kind::Path,
        "The folder of visits, photos and sessions. Without it `$XDG_DATA_HOME/ohmtrail`, that is \
         `~/.local/share/ohmtrail`.",
    ),
    key(
        "listen",
        "addresses",
        Kind::Texts,
        "Addresses and ports to listen at. An address beyond this machine (as `0.0.0.0:8740`) makes \
         every request need a session, by pairing.",
    )
    .or(r#"["127.0.0.1:8740"]"#)
    .checked(address),
    key(
        "listen",
        "origins",
        Kind::Texts,
        "Further origins that the daemon is reached under, as `http://truck.example:8740`. Its \
         addresses and `localhost` are known without. Naming one makes every request need a session: \
         something forwards to the daemon then, and what it forwards looks as if it came from this \
         machine.",
    )
    .or("[]")
    .checked(origin),
    key(
        "listen",
        "pair-always",
        Kind::Switch,
        "Whether programs on this machine need a session, too: for a machine that others use.",
    )
    .or("false"),
    key(
        "pairing",
        "code-seconds",
        count(30, 3600, "seconds"),
        "How long a pairing code can be used.",
    )
    .or("300"),
    key(
        "pairing",
        "attempts",
        count(1, 20, "tries"),
        "How many tries a code bears before it is void.",
    )
    .or("5"),
    key(
        "session",
        "days",
        count(1, 366, "days"),
        "How long a session lasts from pairing, at most.",
    )
    .or("30"),
    key(
        "limits",
        "body-bytes",
        count(1024, 67_108_864, "bytes"),
        "The longest body of a request.",
    )
    .or("1048576"),
    key(
        "limits",
        "photo-bytes",
        count(65_536, 67_108_864, "bytes"),
        "The longest photograph.",
    )
    .or("16777216"),
    key(
        "limits",
        "head-seconds",
        count(1, 120, "seconds"),
        "How long a client may take to send the head of a request, and how long a connection may be \
         idle between two.",
    )
    .or("10"),
    key(
        "limits",
        "body-seconds",
        count(1, 600, "seconds"),
        "How long a client may take to send the whole body of a request.",
    )
    .or("30"),
    key(
        "limits",
        "stall-seconds",
        count(1, 600, "seconds"),
        "How long a client may take nothing of what is being sent to it, before its connection is \
         closed.",
    )
    .or("20"),
    key(
        "limits",
        "connections",
        count(4, 4096, "connections"),
        "The most connections at once.",
    )
    .or("256"),
    key(
        "limits",
        "connections-each",
        count(2, 4096, "connections"),
        "The most connections at once from one address.",
    )
    .or("64"),
    key(
        "limits",
        "requests-per-second",
        count(1, 100_000, "requests"),
        "How many requests one address may make steadily. A live stream is one request.",
    )
    .or("100"),
    key(
        "limits",
        "burst",
        count(1, 100_000, "requests"),
        "How many requests one address may make at once.",
    )
    .or("400"),
    key(
        "log",
        "level",
        Kind::OneOf(&["error", "warn", "info", "debug", "trace"]),
        "How much is written. `-q` and `-v` on the command line go before it.",
    )
    .or(r#""info""#),
    key(
        "log",
        "format",
        Kind::OneOf(&["text", "json"]),
        "Lines for people, or a JSON object on each line.",
    )
    .or(r#""text""#),
    key(
        METER,
        "name",
        Kind::Text,
        "What the meter is called. Needed; no two are the same.",
    )
    .checked(name),
    key(
        METER,
        "spec",
        Kind::Text,
        "The meter as on the command line, as `serial:/dev/ttyUSB0,frame=lcd14`: docs/meters.md. \
         Needed.",
    )
    .checked(spec),
    key(
        METER,
        "role",
        Kind::Text,
        "What it is on, as `volts at the contactor`.",
    )
    .or(r#""""#),
];

/// The keys of a table.
pub fn of(table: &str) -> impl Iterator<Item = &'static Key> {
    KEYS.iter().filter(move |key| key.table == table)
}

fn address(text: &str) -> Result<(), String> {
    match text.parse::<SocketAddr>() {
        Ok(_) => Ok(()),
        Err(_) => Err(format!(
            "`{text}` is no address with a port: write it as `127.0.0.1:8740` or `[::1]:8740`"
        )),
    }
}

fn origin(text: &str) -> Result<(), String> {
    text.parse::<Origin>().map(|_| ())
}

fn spec(text: &str) -> Result<(), String> {
    text.parse::<Spec>().map(|_| ()).map_err(|e| e.to_string())
}

/// A name that can stand in an address and a log line.
fn name(text: &str) -> Result<(), String> {
    let letters = |c: char| c.is_ascii_alphanumeric() || matches!(c, '-' | '_' | '.');
    if text.is_empty() || text.len() > 40 || !text.chars().all(letters) {
        return Err(format!(
            "`{text}` is no name: use 1 to 40 letters, digits, `-`, `_` and `.`"
        ));
    }
    Ok(())
}
