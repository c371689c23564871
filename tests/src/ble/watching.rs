//! The binary at work beside a test: its lines as they come.

use std::io::{BufRead, BufReader, Read, Write};
use std::process::{Child, ChildStdin, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use crate::cli::ohmtrail;
use serde_json::Value;

/// A line that is waited for comes within this time, or the test fails: far more than a loaded
/// machine needs.
const PATIENCE: Duration = Duration::from_secs(30);

/// How often it is looked at whether it has ended.
const LOOK: Duration = Duration::from_millis(5);

/// A running `ohmtrail … --json`.
pub struct Watching {
    child: Child,
    lines: Receiver<Value>,
    /// Everything that was seen so far.
    pub seen: Vec<Value>,
    errors: Option<JoinHandle<String>>,
    /// What is typed to it.
    stdin: Option<ChildStdin>,
}

impl Watching {
    /// `meters watch` of this meter.
    pub fn meter(bus: &str, spec: &str) -> Watching {
        Watching::run(bus, &["meters", "watch", "--json", "--meter", spec])
    }

    /// The binary with these arguments, on this bus.
    pub fn run(bus: &str, args: &[&str]) -> Watching {
        let mut child = ohmtrail()
            .args(args)
            .env("DBUS_SYSTEM_BUS_ADDRESS", bus)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the binary starts");
        let out = child.stdout.take().expect("a pipe");
        let mut err = child.stderr.take().expect("a pipe");
        let stdin = child.stdin.take();
        let (to, lines) = channel();
        std::thread::spawn(move || {
            for line in BufReader::new(out).lines().map_while(Result::ok) {
                let value = serde_json::from_str(&line).unwrap_or(Value::String(line));
                if to.send(value).is_err() {
                    return;
                }
            }
        });
        let errors = std::thread::spawn(move || {
            let mut text = String::new();
            // A program that is killed has said what it has said.
            let _ = err.read_to_string(&mut text);
            text
        });
        Watching {
            child,
            lines,
            seen: Vec::new(),
            errors: Some(errors),
            stdin,
        }
    }

    /// Types a line.
    pub fn say(&mut self, line: &str) {
        let stdin = self.stdin.as_mut().expect("it listens");
        writeln!(stdin, "{line}").expect("it listens");
    }

    /// The next line that is so; those before it are passed over.
    pub fn next(&mut self, what: &str, is: impl Fn(&Value) -> bool) -> Value {
        let until = Instant::now() + PATIENCE;
        loop {
            let left = until.saturating_duration_since(Instant::now());
            match self.lines.recv_timeout(left) {
                Ok(line) => {
                    self.seen.push(line.clone());
                    if is(&line) {
                        return line;
                    }
                }
                Err(why) => {
                    // What it logged tells more than the lines that it did not write.
                    let errors = self.errors();
                    panic!(
                        "no {what}: {why}: {:#?}
{errors}",
                        self.seen
                    )
                }
            }
        }
    }

    /// What it has said so far.
    pub fn so_far(&mut self) -> &[Value] {
        self.seen.extend(self.lines.try_iter());
        &self.seen
    }

    /// The next reading: function, digits, unit.
    pub fn reading(&mut self) -> (String, String, String) {
        let line = self.next("reading", |l| l["display"].is_string());
        let text = |key: &str| line[key].as_str().unwrap_or_default().to_owned();
        (text("function"), text("display"), text("unit"))
    }

    /// The next word on the link: `up`, `silent`, `away`…
    pub fn link(&mut self, which: &str) -> Value {
        self.next(which, |l| l["link"] == which)
    }

    /// Waits for its end; the code, and what it said on standard error.
    pub fn end(&mut self) -> (i32, String) {
        let until = Instant::now() + PATIENCE;
        loop {
            match self.child.try_wait().expect("it can be waited for") {
                Some(status) => return (status.code().unwrap_or(-1), self.errors()),
                None if Instant::now() > until => {
                    let errors = self.errors();
                    panic!("it does not end: {:#?}\n{errors}", self.seen)
                }
                None => std::thread::sleep(LOOK),
            }
        }
    }

    /// Ends it as a user does, with the interrupt key.
    pub fn interrupt(&mut self) -> (i32, String) {
        self.signal("-INT");
        self.end()
    }

    fn signal(&self, which: &str) {
        let done = std::process::Command::new("kill")
            .args([which, &self.child.id().to_string()])
            .status();
        assert!(done.expect("kill runs").success());
    }

    /// Kills it.
    pub fn kill(&mut self) -> String {
        self.child.kill().expect("it is killed");
        self.child.wait().expect("it ends");
        self.errors()
    }

    fn errors(&mut self) -> String {
        match self.errors.take() {
            Some(reader) => {
                let _ = self.child.kill();
                reader.join().expect("the reader ends")
            }
            None => String::new(),
        }
    }
}

impl Drop for Watching {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
