//! A browser for the whole-system tests: Chromium without a window, driven by a script of
//! `tests/browser`. The script is the technician's eyes and thumb; their other hand, on the unit and on the
//! meters, is here. The two speak JSON lines: the script says what the hand is to do, and is told what
//! came of it.

use std::io::{BufRead, BufReader, Write};
use std::path::PathBuf;
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};
use std::sync::{Condvar, Mutex, PoisonError};

use serde_json::Value;

use crate::cli::workspace;

/// A script that runs. Dropping it kills it, and the browser with it.
pub struct Script {
    child: Child,
    to: ChildStdin,
    from: BufReader<ChildStdout>,
    _turn: Turn,
}

/// Browsers that may run at once: more on a small machine would each be slower than anyone's patience.
const AT_ONCE: usize = 2;
static RUNNING: Mutex<usize> = Mutex::new(0);
static ENDED: Condvar = Condvar::new();

/// One of these; given back when it is dropped.
struct Turn;

impl Turn {
    fn wait() -> Turn {
        let running = RUNNING.lock().unwrap_or_else(PoisonError::into_inner);
        let running = ENDED.wait_while(running, |running| *running >= AT_ONCE);
        *running.unwrap_or_else(PoisonError::into_inner) += 1;
        Turn
    }
}

impl Drop for Turn {
    fn drop(&mut self) {
        *RUNNING.lock().unwrap_or_else(PoisonError::into_inner) -= 1;
        ENDED.notify_one();
    }
}

/// The browser that `OHMTRAIL_CHROMIUM` names, else the system's.
#[must_use]
pub fn chromium() -> PathBuf {
    let named = std::env::var_os("OHMTRAIL_CHROMIUM");
    named.map_or_else(|| "/usr/bin/chromium".into(), PathBuf::from)
}

impl Script {
    /// Starts a script with what it is to know.
    ///
    /// # Panics
    /// If it does not start, or its libraries are not there.
    #[must_use]
    pub fn start(name: &str, told: &Value) -> Self {
        let folder = workspace().join("tests/browser");
        assert!(
            folder.join("node_modules").is_dir(),
            "the browser's libraries are not there: run `cargo xtask test`, or `npm ci` in tests/browser"
        );
        assert!(
            chromium().is_file(),
            "{} is not there: install chromium, or name it in OHMTRAIL_CHROMIUM",
            chromium().display()
        );
        let turn = Turn::wait();
        let mut child = Command::new("node")
            .arg(folder.join(name))
            .arg(told.to_string())
            .env("OHMTRAIL_CHROMIUM", chromium())
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .expect("node is there");
        let to = child.stdin.take().expect("piped");
        let from = BufReader::new(child.stdout.take().expect("piped"));
        Script {
            child,
            to,
            from,
            _turn: turn,
        }
    }

    /// What the script says next; none when it has ended, and then it has ended well.
    ///
    /// # Panics
    /// If the script failed: what was wrong is on standard error.
    pub fn says(&mut self) -> Option<Value> {
        let mut line = String::new();
        self.from.read_line(&mut line).expect("text");
        if line.is_empty() {
            let status = self.child.wait().expect("it ends");
            assert!(status.success(), "the browser's script failed: {status}");
            return None;
        }
        Some(serde_json::from_str(&line).unwrap_or_else(|e| panic!("{e}: {line}")))
    }

    /// Tells it what came of what it said.
    ///
    /// # Panics
    /// If it does not listen.
    pub fn tell(&mut self, what: &Value) {
        writeln!(self.to, "{what}").expect("it listens");
    }
}

impl Drop for Script {
    fn drop(&mut self) {
        // It may have ended.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
