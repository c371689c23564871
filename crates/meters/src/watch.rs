//! Decides from times alone when a meter is up, silent, or sends bytes that are no frames: the
//! sans-IO part of a session.

use ohmtrail_core::units::Micros;

use crate::session::SessionEvent;
use crate::showing::Reason;

/// What is likely wrong when bytes come and nothing is understood.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Likely {
    /// No whole frame at all.
    SpeedOrFrameType,
    /// Whole frames that are all refused, the last one for this reason.
    Refused(Reason),
}

impl Likely {
    /// In words, with what to do.
    #[must_use]
    pub fn words(self) -> String {
        match self {
            Likely::SpeedOrFrameType => {
                "bytes but no frame: wrong speed or wrong frame type; check frame= and baud=".into()
            }
            Likely::Refused(reason) => format!("whole frames, all refused: {}", reason.words()),
        }
    }
}

/// How long a session waits before it says that something is wrong.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Patience {
    /// Without a byte: silent. Microseconds.
    pub silence_us: u64,
    /// With bytes but no frame: garbage. Microseconds.
    pub garbage_us: u64,
}

impl Patience {
    /// With meters that talk by themselves, two to five times a second (common practice, no
    /// published source): a silent one is told of within 2 s.
    pub const TALKS: Patience = Patience {
        silence_us: 1_800_000,
        garbage_us: 3_000_000,
    };
    /// With meters that are asked, and may take seconds to answer: longer than the driver waits.
    pub const ASKED: Patience = Patience {
        silence_us: 6_000_000,
        garbage_us: 6_000_000,
    };
}

impl Default for Patience {
    fn default() -> Self {
        Patience::TALKS
    }
}

/// Fewer bytes than this without a frame are not called garbage: a frame may have been cut.
const GARBAGE_BYTES: u64 = 2 * crate::driver::FRAME as u64;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Link {
    Opened,
    Up,
    Silent,
    Garbage,
}

/// Decides when a meter is up, silent or sends garbage. Sans-IO: times are arguments.
#[derive(Debug)]
pub struct Watch {
    patience: Patience,
    link: Link,
    last_byte: Micros,
    last_frame: Micros,
    undecoded: u64,
    undecoded_since: Option<Micros>,
    refused: Option<Reason>,
}

impl Watch {
    /// A watch over a port opened at this time.
    #[must_use]
    pub fn new(patience: Patience, opened: Micros) -> Self {
        Watch {
            patience,
            link: Link::Opened,
            last_byte: opened,
            last_frame: opened,
            undecoded: 0,
            undecoded_since: None,
            refused: None,
        }
    }

    /// Bytes came.
    pub fn bytes(&mut self, count: usize, at: Micros) {
        if self.link == Link::Silent && at.since(self.last_byte) >= self.patience.silence_us {
            // What was left undecoded before the silence says nothing about what comes now.
            self.understood();
        }
        self.last_byte = at;
        self.undecoded += count as u64;
        self.undecoded_since.get_or_insert(at);
    }

    /// Bytes were understood, though they gave no reading.
    pub fn understood(&mut self) {
        self.undecoded = 0;
        self.undecoded_since = None;
        self.refused = None;
    }

    /// The port was opened anew, after it was away.
    pub fn reopened(&mut self, at: Micros) {
        self.understood();
        self.link = Link::Opened;
        self.last_byte = at;
    }

    /// A frame gave a reading: says whether the meter came up by it.
    pub fn frame(&mut self, at: Micros) -> Option<SessionEvent> {
        self.understood();
        let gap_us = at.since(self.last_frame);
        self.last_frame = at;
        if self.link == Link::Up {
            return None;
        }
        self.link = Link::Up;
        Some(SessionEvent::Up { at, gap_us })
    }

    /// A frame was refused.
    pub fn refused(&mut self, reason: Reason) {
        if reason.frame_was_whole() {
            self.refused = Some(reason);
        }
    }

    /// What has to be said at this time; at most once per change.
    pub fn tick(&mut self, now: Micros) -> Option<SessionEvent> {
        if self.link != Link::Silent && now.since(self.last_byte) >= self.patience.silence_us {
            self.link = Link::Silent;
            return Some(SessionEvent::Silent {
                at: now,
                since: self.last_byte,
            });
        }
        let since = self.undecoded_since?;
        if self.link != Link::Garbage
            && self.undecoded >= GARBAGE_BYTES
            && now.since(since) >= self.patience.garbage_us
        {
            self.link = Link::Garbage;
            return Some(SessionEvent::Garbage {
                at: now,
                since,
                bytes: self.undecoded,
                likely: match self.refused {
                    Some(reason) => Likely::Refused(reason),
                    None => Likely::SpeedOrFrameType,
                },
            });
        }
        None
    }

    /// When [`tick`](Watch::tick) may next have something to say if no byte comes.
    #[must_use]
    pub fn deadline(&self) -> Option<Micros> {
        let silence = (self.link != Link::Silent)
            .then(|| Micros(self.last_byte.0.saturating_add(self.patience.silence_us)));
        let garbage = (self.link != Link::Garbage && self.undecoded >= GARBAGE_BYTES)
            .then_some(self.undecoded_since)
            .flatten()
            .map(|since| Micros(since.0.saturating_add(self.patience.garbage_us)));
        silence.into_iter().chain(garbage).min()
    }
}
