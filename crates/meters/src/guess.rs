//! Finds out what a meter on a serial port sends: by listening at one line setting after another,
//! with every driver whose meters talk by themselves. Nothing is sent, unless asking is allowed; then
//! a port that stays silent is asked who is there.

use std::path::Path;
use std::time::Duration;

use ohmtrail_core::reading::MeterId;
use ohmtrail_core::units::Micros;
use tokio::io::AsyncReadExt;
use tokio::time::{Instant, timeout_at};

use crate::driver::{Driver, Entry, HELD, Line, Outcome, Parity, Setup, Told, drivers};
use crate::link::{self, Manner, OpenError};
use crate::serial;
use crate::session::{Clock, SessionEvent};
use crate::spec::{DriverSpec, Place, StreamSpec};

/// What one driver made of what was heard at one line setting.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Tried {
    /// The driver.
    pub entry: &'static Entry,
    /// Values read.
    pub readings: u64,
    /// Bytes understood.
    pub used: u64,
    /// Whole frames refused.
    pub refused: u64,
}

/// What was heard at one line setting.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Heard {
    /// The setting.
    pub line: Line,
    /// Bytes that came.
    pub bytes: u64,
    /// What each driver made of them.
    pub tried: Vec<Tried>,
}

/// A guess needs this many values.
const READINGS: u64 = 2;

impl Heard {
    /// The driver that made most of it: at least two values, and more than half of the bytes
    /// understood, but for one frame that was cut at the beginning and one not ended yet.
    #[must_use]
    pub fn best(&self) -> Option<Tried> {
        let cut = 2 * crate::driver::FRAME as u64;
        self.tried
            .iter()
            .filter(|t| t.readings >= READINGS && 2 * t.used > self.bytes.saturating_sub(cut))
            .max_by_key(|t| t.used)
            .copied()
    }

    /// In a line of words.
    #[must_use]
    pub fn words(&self) -> String {
        if self.bytes == 0 {
            return format!("{}: silent", self.line);
        }
        let drivers: Vec<String> = self
            .tried
            .iter()
            .map(|t| match t.refused {
                0 => format!("{} {} values", t.entry.name, t.readings),
                n => format!("{} {} values, {n} frames refused", t.entry.name, t.readings),
            })
            .collect();
        format!(
            "{}: {} bytes; {}",
            self.line,
            self.bytes,
            drivers.join("; ")
        )
    }
}

/// Listens with every driver that can: sans-IO.
pub struct Ear {
    line: Line,
    bytes: u64,
    drivers: Vec<(Tried, Box<dyn Driver>)>,
}

impl Ear {
    /// An ear at a line of this setting.
    #[must_use]
    pub fn new(line: Line) -> Ear {
        let drivers = drivers()
            .iter()
            .filter(|entry| !entry.asked)
            .filter_map(|entry| {
                // One that needs a profile cannot be guessed.
                let driver = (entry.start)(&Setup::of(MeterId(0))).ok()?;
                let tried = Tried {
                    entry,
                    readings: 0,
                    used: 0,
                    refused: 0,
                };
                Some((tried, driver))
            })
            .collect();
        Ear {
            line,
            bytes: 0,
            drivers,
        }
    }

    /// Takes bytes.
    pub fn take(&mut self, bytes: &[u8], at: Micros) {
        self.bytes += bytes.len() as u64;
        for (tried, driver) in &mut self.drivers {
            let mut rest = bytes;
            loop {
                let pushed = driver.push(rest, at);
                rest = pushed.rest;
                tried.used += pushed.used as u64;
                match pushed.outcome {
                    Outcome::Hungry => break,
                    Outcome::Got(_) => tried.readings += 1,
                    Outcome::Rejected(reason) => {
                        tried.refused += u64::from(reason.frame_was_whole());
                    }
                }
            }
        }
    }

    /// What was made of it so far.
    #[must_use]
    pub fn heard(&self) -> Heard {
        Heard {
            line: self.line,
            bytes: self.bytes,
            tried: self.drivers.iter().map(|(tried, _)| *tried).collect(),
        }
    }
}

/// The line settings in the order in which they are tried: the drivers' own, then others that
/// meters' leads have (common practice, no published source).
#[must_use]
pub fn lines() -> Vec<Line> {
    let own = drivers().iter().filter(|d| !d.asked).map(|d| d.line);
    let others = [19_200, 4_800, 115_200, 38_400, 57_600, 1_200].map(Line::eight_bits);
    let odd = [2_400, 9_600].map(|baud| Line {
        baud,
        data_bits: 7,
        parity: Parity::Odd,
    });
    let mut lines = Vec::new();
    for line in own.chain(others).chain(odd) {
        if !lines.contains(&line) {
            lines.push(line);
        }
    }
    lines
}

/// How long each setting is listened at: two values of a meter that sends two a second.
const LISTEN: Duration = Duration::from_millis(1_600);
/// Settings after which a port that never gave a byte is called silent.
const SILENT: usize = 3;
/// Speeds at which a silent port is asked (common practice, no published source).
const ASK: [u32; 3] = [9_600, 115_200, 19_200];
/// How long each answer may take.
const ANSWER: Duration = Duration::from_millis(2_500);

/// What came of a guess.
#[derive(Debug, Clone)]
pub enum Guess {
    /// This driver, at this line setting.
    Found(Box<StreamSpec>),
    /// Nothing is sent. A meter that is asked may be there.
    Silent,
    /// Bytes come, and no driver understands them.
    NotUnderstood,
}

/// Listens at a port; tells after each setting what was heard there.
///
/// # Errors
/// [`OpenError`] if the port cannot be opened.
pub async fn listen(
    path: &Path,
    ask: bool,
    clock: Clock,
    mut tell: impl FnMut(String),
) -> Result<Guess, OpenError> {
    let spec = |entry: &'static Entry, line: Line| StreamSpec {
        place: Place::Serial {
            path: path.to_path_buf(),
            baud: None,
            line: Some(line),
        },
        driver: DriverSpec::of(entry),
    };
    let mut bytes = 0;
    for (nth, line) in lines().into_iter().enumerate() {
        if nth == SILENT && bytes == 0 {
            break;
        }
        let heard = at(path, line, clock).await?;
        tell(heard.words());
        bytes += heard.bytes;
        if let Some(best) = heard.best() {
            tell(format!(
                "chose {} at {line}: {} values, {} of {} bytes understood",
                best.entry.name, best.readings, best.used, heard.bytes
            ));
            return Ok(Guess::Found(Box::new(spec(best.entry, line))));
        }
    }
    if bytes > 0 {
        return Ok(Guess::NotUnderstood);
    }
    if !ask {
        return Ok(Guess::Silent);
    }
    for entry in drivers().iter().filter(|entry| entry.asked) {
        for baud in ASK {
            let spec = spec(entry, Line::eight_bits(baud));
            tell(format!("asking by {} at {}", entry.name, spec.line()));
            if answers(&spec, clock).await? {
                tell(format!(
                    "chose {} at {}: it answered",
                    entry.name,
                    spec.line()
                ));
                return Ok(Guess::Found(Box::new(spec)));
            }
        }
    }
    Ok(Guess::Silent)
}

/// Listens at one setting, until it is clear or the time is over.
async fn at(path: &Path, line: Line, clock: Clock) -> Result<Heard, OpenError> {
    let mut port = serial::open_port(path, line)?;
    let mut ear = Ear::new(line);
    let end = Instant::now() + LISTEN;
    let mut buffer = [0; HELD];
    loop {
        match timeout_at(end, port.read(&mut buffer)).await {
            Ok(Ok(count)) if count > 0 => {
                ear.take(buffer.get(..count).unwrap_or_default(), clock.now());
                let heard = ear.heard();
                if heard.best().is_some_and(|best| best.readings > READINGS) {
                    return Ok(heard);
                }
            }
            // Gone, or silent until the end: what was heard is the answer.
            _ => return Ok(ear.heard()),
        }
    }
}

/// Whether a meter that is asked says who it is.
async fn answers(spec: &StreamSpec, clock: Clock) -> Result<bool, OpenError> {
    let end = Instant::now() + ANSWER;
    let mut session = link::open(spec, MeterId(0), Manner::default(), clock).await?;
    while let Ok(Some(event)) = timeout_at(end, session.recv()).await {
        if let SessionEvent::Told {
            told: Told::Identity(_),
            ..
        } = event
        {
            return Ok(true);
        }
    }
    Ok(false)
}
