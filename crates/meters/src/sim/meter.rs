//! A simulated meter on a pseudo-terminal: a thread that writes one frame after another of what
//! the meter's face shows, at the meter's rate, until it is unplugged.

use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::thread::JoinHandle;
use std::time::Duration;

use ohmtrail_core::reading::{Flags, Function};

use super::display::DisplayModel;
use super::face::{Face, Moves};
use super::noise::Noise;
use super::pty::Pty;
use crate::driver::{Encode, Entry, FRAME};
use crate::profile::Profile;
use crate::showing::{CannotShow, Showing};

/// What a simulated meter is to be.
#[derive(Debug, Clone)]
pub struct SimConfig {
    /// The frame it sends; the driver must be able to encode.
    pub entry: &'static Entry,
    /// Its ranges and accuracy.
    pub profile: Profile,
    /// Chooses its errors, flicker and bounce.
    pub seed: u64,
    /// From one frame to the next.
    pub interval: Duration,
    /// What the display goes through when the probes move.
    pub moves: Moves,
}

/// Why a simulated meter cannot do what it is told.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum SimError {
    /// The driver has no encoder.
    #[error("frame {0} cannot be written, only read")]
    NoEncoder(&'static str),
    /// The meter has no such function, or its frame has not.
    #[error("the simulated meter has no function {}", .0.name())]
    NoFunction(Function),
    /// The frame cannot carry these annunciators.
    #[error(transparent)]
    CannotShow(#[from] CannotShow),
    /// No pseudo-terminal could be opened, or no thread started.
    #[error("no simulated port: {0}")]
    Io(#[from] io::Error),
}

/// What a simulated meter puts on the line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Speech {
    /// Its frames.
    #[default]
    Frames,
    /// Nothing: switched off, or its sending mode ended.
    Nothing,
    /// Random bytes, as a wrong speed gives them.
    Garbage,
    /// Its frames, if the host's port is set to this speed; else random bytes.
    AtSpeed(u32),
}

#[derive(Debug)]
struct State {
    face: Face,
    speech: Speech,
    unplugged: bool,
    sent: u64,
}

#[derive(Debug)]
struct Shared {
    state: Mutex<State>,
    wake: Condvar,
}

impl Shared {
    fn lock(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// A running simulated meter. Dropping it unplugs it.
#[derive(Debug)]
pub struct SimMeter {
    shared: Arc<Shared>,
    thread: Option<JoinHandle<()>>,
    path: PathBuf,
    encode: Encode,
}

impl SimMeter {
    /// Starts a meter with its probes in the air.
    ///
    /// # Errors
    /// [`SimError`] if the frame cannot be written or there is no pseudo-terminal.
    pub fn start(config: SimConfig) -> Result<SimMeter, SimError> {
        let encode = config
            .entry
            .encode
            .ok_or(SimError::NoEncoder(config.entry.name))?;
        let pty = Pty::open()?;
        let path = pty.path().to_path_buf();
        let display = DisplayModel::new(&config.profile, config.seed);
        let shared = Arc::new(Shared {
            state: Mutex::new(State {
                face: Face::new(display, Function::VoltsAc, config.moves, config.seed),
                speech: Speech::Frames,
                unplugged: false,
                sent: 0,
            }),
            wake: Condvar::new(),
        });
        let thread = std::thread::Builder::new()
            .name("sim-meter".into())
            .spawn({
                let shared = Arc::clone(&shared);
                let noise = Noise::of(config.seed, u64::MAX);
                move || talk(&pty, &shared, encode, config.interval, noise)
            })?;
        Ok(SimMeter {
            shared,
            thread: Some(thread),
            path,
            encode,
        })
    }

    /// The path that the host opens as its serial port.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Sets the function and moves the probes to a true value, in the function's base unit;
    /// infinity is an open circuit on ohms. Frames written from now on show it.
    ///
    /// # Errors
    /// [`SimError::NoFunction`] if the meter or its frame has no such function.
    pub fn set(&self, function: Function, value: f64) -> Result<(), SimError> {
        let mut state = self.shared.lock();
        let trial = Showing {
            function,
            shown: ohmtrail_core::reading::Shown::Overload,
            flags: Flags::NONE,
        };
        if !state.face.display().has(function) || (self.encode)(&trial).is_err() {
            return Err(SimError::NoFunction(function));
        }
        state.face.touch(function, value);
        Ok(())
    }

    /// Changes the true value under resting probes.
    pub fn change(&self, value: f64) {
        self.shared.lock().face.change(value);
    }

    /// Sets the annunciators.
    ///
    /// # Errors
    /// [`SimError::CannotShow`] if the frame does not carry them.
    pub fn set_flags(&self, flags: Flags) -> Result<(), SimError> {
        let mut state = self.shared.lock();
        (self.encode)(&Showing {
            function: state.face.function(),
            shown: ohmtrail_core::reading::Shown::Overload,
            flags,
        })?;
        state.face.set_flags(flags);
        Ok(())
    }

    /// Sets what it puts on the line.
    pub fn speak(&self, speech: Speech) {
        self.shared.lock().speech = speech;
    }

    /// How many frames it has written in whole.
    #[must_use]
    pub fn sent(&self) -> u64 {
        self.shared.lock().sent
    }

    /// Pulls the lead: the host's port hangs up.
    pub fn unplug(self) {
        drop(self);
    }
}

impl Drop for SimMeter {
    fn drop(&mut self) {
        self.shared.lock().unplugged = true;
        self.shared.wake.notify_all();
        if let Some(thread) = self.thread.take() {
            // A panic in the thread has been reported by the thread.
            let _ = thread.join();
        }
    }
}

/// The meter's thread: owns its side of the pair, and closes it when unplugged.
fn talk(pty: &Pty, shared: &Shared, encode: Encode, interval: Duration, mut noise: Noise) {
    let mut state = shared.lock();
    while !state.unplugged {
        let bytes = match state.speech {
            Speech::AtSpeed(speed) if pty.speed().is_ok_and(|host| host != speed) => {
                Some([(); FRAME].map(|()| noise.bits().to_le_bytes()[0]))
            }
            Speech::Frames | Speech::AtSpeed(_) => {
                let showing = state.face.next_frame();
                // What this frame cannot show is not sent; `set` and `set_flags` see to it that
                // only digits can be concerned.
                encode(&showing).ok()
            }
            Speech::Nothing => None,
            Speech::Garbage => Some([(); FRAME].map(|()| noise.bits().to_le_bytes()[0])),
        };
        if let Some(bytes) = bytes {
            match pty.write(&bytes) {
                Ok(FRAME) if matches!(state.speech, Speech::Frames | Speech::AtSpeed(_)) => {
                    state.sent += 1;
                }
                Ok(_) => {}
                Err(e) => {
                    tracing::warn!(error = %e, "simulated meter's line failed");
                    return;
                }
            }
        }
        state = shared
            .wake
            .wait_timeout_while(state, interval, |state| !state.unplugged)
            .unwrap_or_else(PoisonError::into_inner)
            .0;
    }
}
