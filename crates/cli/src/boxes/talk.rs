//! A conversation with a box over its port.

use std::path::{Path, PathBuf};
use std::time::Duration;

use ohmtrail_core::units::Micros;
use ohmtrail_link::hello::{Identity, Speaks};
use ohmtrail_link::host::{Event, HostEnd};
use ohmtrail_link::message::{Answer, Request};
use ohmtrail_meters::driver::driver;
use ohmtrail_meters::link::Stream;
use ohmtrail_meters::session::Clock;
use ohmtrail_meters::spec::{DriverSpec, Place, StreamSpec};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::time::timeout;

use crate::exit::Exit;
use crate::fail::Fail;

/// A box that does not greet within this time is not there.
const GREETS: u64 = 5_000_000;

/// The conversation.
pub struct Talk {
    path: PathBuf,
    port: Box<dyn Stream>,
    /// The host's end of the link.
    pub end: HostEnd,
    clock: Clock,
    buffer: Vec<u8>,
}

impl Talk {
    /// Opens the port and greets.
    pub async fn to(path: &Path) -> Result<(Talk, Identity), Fail> {
        let entry = driver("probe-box").ok_or_else(|| Fail::usage("no driver for a box"))?;
        let spec = StreamSpec {
            place: Place::Serial {
                path: path.to_owned(),
                baud: None,
                line: None,
            },
            driver: DriverSpec::of(entry),
        };
        let port = spec
            .connect()
            .await
            .map_err(|e| Fail::new(Exit::Meter, e))?;
        let session = getrandom::u32()
            .map_err(|e| Fail::new(Exit::System, format!("no random numbers: {e}")))?;
        let mut talk = Talk {
            path: path.to_owned(),
            port,
            end: HostEnd::new(session),
            clock: Clock::start(),
            buffer: Vec::new(),
        };
        while talk.clock.now().0 < GREETS {
            match talk.next().await? {
                Some(Event::Greeted(who)) => return Ok((talk, who)),
                Some(Event::Mismatch { theirs, firmware }) => {
                    return Err(talk.mismatch(theirs, firmware));
                }
                _ => {}
            }
        }
        Err(talk.fail("no box answers: check its power, its lead and the port"))
    }

    fn fail(&self, what: &str) -> Fail {
        Fail::new(Exit::Meter, format!("{}: {what}", self.path.display()))
    }

    fn mismatch(&self, theirs: Speaks, firmware: [u8; 3]) -> Fail {
        let ours = Speaks::OURS;
        let [major, minor, patch] = firmware;
        self.fail(&format!(
            "the box (firmware {major}.{minor}.{patch}) speaks protocol {} with schema {:016x}, this \
             program protocol {} with schema {:016x}: give both the same version",
            theirs.protocol, theirs.schema, ours.protocol, ours.schema
        ))
    }

    /// The box answered something else than what was asked.
    pub fn unexpected(&self) -> Fail {
        self.fail("the box gave an answer to another question: ask again")
    }

    /// What comes next within a tenth of a second, or nothing.
    pub async fn next(&mut self) -> Result<Option<Event>, Fail> {
        if let Some(event) = self.end.tick(self.clock.now()) {
            return Ok(Some(event));
        }
        loop {
            while !self.buffer.is_empty() {
                let byte = self.buffer.remove(0);
                if let Some(event) = self.end.push(byte, self.clock.now()) {
                    return Ok(Some(event));
                }
            }
            while let Some(bytes) = self.end.poll(self.clock.now()) {
                let written = self.port.write_all(bytes).await;
                written.map_err(|e| gone(&self.path, &e))?;
            }
            let mut bytes = [0; 512];
            let wait = Duration::from_micros(self.wait());
            match timeout(wait, self.port.read(&mut bytes)).await {
                Ok(Ok(0)) => return Err(self.fail("the box is gone")),
                Ok(Ok(count)) => self.buffer.extend(bytes.iter().take(count)),
                Ok(Err(e)) => return Err(gone(&self.path, &e)),
                Err(_) => return Ok(None),
            }
        }
    }

    /// Microseconds until something is to be sent, at most a tenth of a second.
    fn wait(&self) -> u64 {
        let now = self.clock.now();
        let wake = self.end.wake().unwrap_or(Micros(u64::MAX));
        wake.since(now).clamp(1_000, 100_000)
    }

    /// Asks, and waits for the answer. What else comes meanwhile is passed over.
    pub async fn ask(&mut self, request: Request<'_>) -> Result<Answer, Fail> {
        self.end
            .ask(request)
            .map_err(|e| self.fail(&e.to_string()))?;
        loop {
            match self.next().await? {
                Some(Event::Answer(Answer::Refused(refusal))) => {
                    return Err(Fail::new(
                        Exit::Open,
                        format!("{}: {}", self.path.display(), refusal.words()),
                    ));
                }
                Some(Event::Answer(answer)) => return Ok(answer),
                Some(Event::NoAnswer | Event::Silent { .. }) => {
                    return Err(self.fail("the box does not answer"));
                }
                Some(Event::Restarted { .. }) => {
                    return Err(self.fail("the box started again in the middle: ask again"));
                }
                _ => {}
            }
        }
    }
}

fn gone(path: &Path, error: &std::io::Error) -> Fail {
    Fail::new(
        Exit::Meter,
        format!("{}: the box is gone: {error}", path.display()),
    )
}
