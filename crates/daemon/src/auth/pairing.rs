//! Pairing: a code that whoever stands at the daemon reads out, and that makes one session. It is
//! used once, lasts minutes, and bears few wrong guesses.
//!
//! The code's hash lies in a private file of the data folder: who may write there may pair, be it
//! the daemon at its console or `ohmtrail config pair` beside a daemon without one.

use std::fs;
use std::io::{self, ErrorKind};
use std::path::{Path, PathBuf};
use std::time::Duration;

use serde::{Deserialize, Serialize};

use super::files;
use super::token::Code;

/// The code's file in the data folder.
const FILE: &str = "pairing.json";
/// The lock that the daemon and the command line share.
const LOCK: &str = "pairing.lock";

/// The pairing of a data folder.
#[derive(Debug, Clone)]
pub struct Pairing {
    folder: PathBuf,
    lasts: Duration,
    attempts: u32,
}

/// A moment that no set clock moves: time since the machine was started, and which start that was.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Moment {
    /// Names this start of the machine.
    pub boot: String,
    /// Seconds since then, sleep included.
    pub seconds: u64,
}

impl Moment {
    /// Now.
    ///
    /// # Errors
    /// What the system says.
    pub fn now() -> io::Result<Self> {
        let boot = fs::read_to_string("/proc/sys/kernel/random/boot_id")?;
        let time = rustix::time::clock_gettime(rustix::time::ClockId::Boottime);
        Ok(Moment {
            boot: boot.trim().to_owned(),
            seconds: u64::try_from(time.tv_sec).unwrap_or(0),
        })
    }
}

/// What is kept of a code.
#[derive(Debug, Serialize, Deserialize)]
struct Kept {
    hash: String,
    made: Moment,
    attempts_left: u32,
}

/// Why a code was refused.
#[derive(Debug, thiserror::Error)]
pub enum Refused {
    /// There is no code that could be used now.
    #[error("no pairing code is open")]
    NoCode,
    /// It cannot be a code at all: no try is counted.
    #[error("that is not a code: it is eight letters and digits, as ABCD-2345")]
    NotACode,
    /// It is not the code.
    #[error("that is not the code; {left} more tries before it is void")]
    Wrong {
        /// The tries left.
        left: u32,
    },
    /// The system refuses.
    #[error("the code cannot be checked: {0}")]
    System(#[from] io::Error),
}

impl Pairing {
    /// The pairing of that data folder; a code lasts that long and bears that many tries.
    #[must_use]
    pub fn of(data: &Path, lasts: Duration, attempts: u32) -> Self {
        Pairing {
            folder: data.to_owned(),
            lasts,
            attempts,
        }
    }

    /// Makes a new code, in place of one that was open, and returns the only copy.
    ///
    /// # Errors
    /// What the system says.
    pub fn open(&self, now: Moment) -> io::Result<Code> {
        files::private_folder(&self.folder)?;
        let _lock = files::lock(&self.folder, LOCK)?;
        let code = Code::draw()?;
        self.keep(&Kept {
            hash: code.hash().to_string(),
            made: now,
            attempts_left: self.attempts,
        })?;
        Ok(code)
    }

    /// Uses the code up, if that is it. A try is counted before it is known whether it is right.
    ///
    /// # Errors
    /// [`Refused`] if there is no code, or this is not it.
    pub fn redeem(&self, code: &Code, now: &Moment) -> Result<(), Refused> {
        if !self.folder.join(FILE).is_file() {
            return Err(Refused::NoCode);
        }
        let _lock = files::lock(&self.folder, LOCK)?;
        let mut kept = self.kept()?;
        let open = kept.made.boot == now.boot
            && now.seconds >= kept.made.seconds
            && now.seconds - kept.made.seconds < self.lasts.as_secs()
            && kept.attempts_left > 0;
        if !open {
            self.close()?;
            return Err(Refused::NoCode);
        }
        kept.attempts_left -= 1;
        self.keep(&kept)?;
        // The comparison of hashes takes the same time wherever they differ.
        let is_it = blake3::Hash::from_hex(&kept.hash).is_ok_and(|hash| hash == code.hash());
        if is_it || kept.attempts_left == 0 {
            self.close()?;
        }
        if is_it {
            Ok(())
        } else {
            Err(Refused::Wrong {
                left: kept.attempts_left,
            })
        }
    }

    fn kept(&self) -> Result<Kept, Refused> {
        match fs::read(self.folder.join(FILE)) {
            Err(e) if e.kind() == ErrorKind::NotFound => Err(Refused::NoCode),
            Err(e) => Err(e.into()),
            // A file that is not understood opens nothing.
            Ok(bytes) => serde_json::from_slice(&bytes).map_err(|_| Refused::NoCode),
        }
    }

    fn keep(&self, kept: &Kept) -> io::Result<()> {
        files::replace(&self.folder.join(FILE), &serde_json::to_vec(kept)?)
    }

    fn close(&self) -> io::Result<()> {
        match fs::remove_file(self.folder.join(FILE)) {
            Err(e) if e.kind() == ErrorKind::NotFound => Ok(()),
            done => done,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(seconds: u64) -> Moment {
        Moment {
            boot: "this one".to_owned(),
            seconds,
        }
    }

    fn other() -> Code {
        Code::draw().expect("random bits")
    }

    fn left(refused: Result<(), Refused>) -> Option<u32> {
        match refused {
            Err(Refused::Wrong { left }) => Some(left),
            Err(Refused::NoCode) => None,
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn a_code_is_used_once() {
        let data = tempfile::tempdir().expect("a folder");
        let pairing = Pairing::of(data.path(), Duration::from_secs(300), 5);
        assert_eq!(left(pairing.redeem(&other(), &at(9))), None, "none is open");
        let code = pairing.open(at(10)).expect("made");
        let text = fs::read_to_string(data.path().join(FILE)).expect("a file");
        assert!(!text.contains(&code.reveal()) && !text.contains(&code.reveal().replace('-', "")));
        pairing.redeem(&code, &at(309)).expect("in time");
        assert_eq!(left(pairing.redeem(&code, &at(309))), None);
    }

    #[test]
    fn a_code_expires_and_does_not_outlast_a_start_of_the_machine() {
        let data = tempfile::tempdir().expect("a folder");
        let pairing = Pairing::of(data.path(), Duration::from_secs(300), 5);
        let code = pairing.open(at(10)).expect("made");
        assert_eq!(left(pairing.redeem(&code, &at(310))), None, "too late");
        assert_eq!(
            left(pairing.redeem(&code, &at(20))),
            None,
            "and gone for good"
        );
        let code = pairing.open(at(10)).expect("made");
        let restarted = Moment {
            boot: "the next one".to_owned(),
            seconds: 20,
        };
        assert_eq!(left(pairing.redeem(&code, &restarted)), None);
    }

    #[test]
    fn wrong_guesses_are_few_and_also_across_a_restart_of_the_daemon() {
        let data = tempfile::tempdir().expect("a folder");
        let pairing = || Pairing::of(data.path(), Duration::from_secs(300), 3);
        let code = pairing().open(at(10)).expect("made");
        assert_eq!(left(pairing().redeem(&other(), &at(11))), Some(2));
        assert_eq!(left(pairing().redeem(&other(), &at(11))), Some(1));
        assert_eq!(left(pairing().redeem(&other(), &at(11))), Some(0));
        assert_eq!(
            left(pairing().redeem(&code, &at(11))),
            None,
            "void, though right"
        );
    }

    #[test]
    fn a_new_code_voids_the_one_before() {
        let data = tempfile::tempdir().expect("a folder");
        let pairing = Pairing::of(data.path(), Duration::from_secs(300), 3);
        let old = pairing.open(at(10)).expect("made");
        let new = pairing.open(at(20)).expect("made");
        assert_eq!(left(pairing.redeem(&old, &at(21))), Some(2));
        pairing.redeem(&new, &at(22)).expect("the new one");
    }

    #[test]
    fn a_file_that_is_no_code_opens_nothing() {
        let data = tempfile::tempdir().expect("a folder");
        let pairing = Pairing::of(data.path(), Duration::from_secs(300), 3);
        fs::write(data.path().join(FILE), "{\"hash\":\"\"}").expect("written");
        assert_eq!(left(pairing.redeem(&other(), &at(1))), None);
    }

    #[test]
    fn the_machines_own_moment_goes_on() {
        let (a, b) = (
            Moment::now().expect("a moment"),
            Moment::now().expect("a moment"),
        );
        assert_eq!(a.boot, b.boot);
        assert!(b.seconds >= a.seconds);
    }
}
