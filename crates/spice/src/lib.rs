//! ngspice, a general circuit simulator, kept running: circuits and commands go in, the values
//! that it prints come out. For tests and benches; the product never runs it.
//!
//! ngspice is started in its pipe mode and reads commands from its standard input. A circuit is
//! given in a temporary file, which it reads several times faster than lines on its input; it stays
//! loaded until the next one, and commands can change its values and solve it as often as they like.
#![forbid(unsafe_code)]
#![deny(missing_docs)]

use std::io::{BufRead, BufReader, BufWriter, Read, Write};
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::sync::{Arc, Mutex};
use std::time::Duration;

/// The environment variable that names ngspice to tests; `cargo xtask test` sets it.
pub const NAMED_BY: &str = "OHMTRAIL_NGSPICE";

/// How long ngspice may be silent before it counts as stuck.
const PATIENCE: Duration = Duration::from_secs(60);

/// How much of what ngspice says about errors is kept.
const KEPT: usize = 4000;

/// Why ngspice gave no values.
#[derive(Debug, thiserror::Error)]
pub enum SpiceError {
    /// It does not start.
    #[error("{program} does not start: {why}; run `cargo xtask test`, which installs ngspice")]
    Start {
        /// The program.
        program: String,
        /// Why.
        why: std::io::Error,
    },
    /// It ended, or does not answer.
    #[error("ngspice does not answer ({why}); it said: {said}")]
    Silent {
        /// What happened.
        why: String,
        /// The last that it said about errors.
        said: String,
    },
    /// It printed another number of values than was asked for.
    #[error("ngspice printed {printed} values, not {wanted}; it said: {said}")]
    Count {
        /// How many it printed.
        printed: usize,
        /// How many were asked for.
        wanted: usize,
        /// The last that it said about errors.
        said: String,
    },
}

/// A running ngspice.
#[derive(Debug)]
pub struct Ngspice {
    child: Child,
    input: BufWriter<ChildStdin>,
    lines: Receiver<String>,
    errors: Arc<Mutex<String>>,
    circuit: tempfile::NamedTempFile,
    loaded: bool,
    turn: u64,
}

impl Ngspice {
    /// The program that `OHMTRAIL_NGSPICE` names, else `ngspice`.
    #[must_use]
    pub fn program() -> String {
        std::env::var(NAMED_BY).unwrap_or_else(|_| "ngspice".to_owned())
    }

    /// Starts the program of that name.
    ///
    /// # Errors
    /// [`SpiceError::Start`].
    pub fn start(program: &str) -> Result<Self, SpiceError> {
        let spawned = Command::new(program)
            .arg("-p")
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn();
        let fail = |why| SpiceError::Start {
            program: program.to_owned(),
            why,
        };
        let mut child = spawned.map_err(fail)?;
        let (Some(input), Some(output), Some(errors)) =
            (child.stdin.take(), child.stdout.take(), child.stderr.take())
        else {
            return Err(fail(std::io::Error::other("its pipes are missing")));
        };
        // Threads of their own read what it says, so that neither side waits for the other.
        let (send, lines) = channel();
        std::thread::spawn(move || {
            for line in BufReader::new(output).lines() {
                let Ok(line) = line else { break };
                if send.send(line).is_err() {
                    break;
                }
            }
        });
        let kept = Arc::new(Mutex::new(String::new()));
        let keep = Arc::clone(&kept);
        std::thread::spawn(move || {
            let mut errors = errors;
            let mut room = [0; 1024];
            while let Ok(n @ 1..) = errors.read(&mut room) {
                if let Ok(mut kept) = keep.lock() {
                    kept.push_str(&String::from_utf8_lossy(&room[..n]));
                    if kept.len() > 2 * KEPT {
                        *kept = last(&kept).to_owned();
                    }
                }
            }
        });
        let mut ngspice = Ngspice {
            child,
            input: BufWriter::new(input),
            lines,
            errors: kept,
            circuit: tempfile::NamedTempFile::new().map_err(fail)?,
            loaded: false,
            turn: 0,
        };
        ngspice.say("set numdgt=15\n")?;
        Ok(ngspice)
    }

    /// Loads a circuit in place of the one before: its title line and its element lines, without
    /// `.end`.
    ///
    /// # Errors
    /// [`SpiceError::Silent`], also if the file cannot be written.
    pub fn load(&mut self, circuit: &str) -> Result<(), SpiceError> {
        let written = std::fs::write(self.circuit.path(), format!("{circuit}\n.end\n"));
        if let Err(why) = written {
            return Err(self.silent(&why));
        }
        let commands = format!(
            "{}source {}\n",
            if self.loaded { "remcirc\n" } else { "" },
            self.circuit.path().display()
        );
        self.loaded = true;
        self.say(&commands)
    }

    /// Runs commands on the circuit that is loaded, and returns the values that they print, in
    /// order: real and imaginary.
    ///
    /// # Errors
    /// [`SpiceError`]; [`SpiceError::Count`] if there are not `wanted` of them.
    pub fn run(&mut self, commands: &str, wanted: usize) -> Result<Vec<(f64, f64)>, SpiceError> {
        self.turn += 1;
        let end = format!("turn {} is over", self.turn);
        self.say(commands)?;
        self.say(&format!("echo {end}\n"))?;
        if let Err(why) = self.input.flush() {
            return Err(self.silent(&why));
        }
        let mut values = Vec::with_capacity(wanted);
        loop {
            let line = match self.lines.recv_timeout(PATIENCE) {
                Ok(line) => line,
                Err(why) => return Err(self.silent(&why)),
            };
            if line.contains(&end) {
                break;
            }
            values.extend(value(&line));
        }
        if values.len() == wanted {
            Ok(values)
        } else {
            Err(SpiceError::Count {
                printed: values.len(),
                wanted,
                said: self.said(),
            })
        }
    }

    fn say(&mut self, commands: &str) -> Result<(), SpiceError> {
        let written = self.input.write_all(commands.as_bytes());
        written.map_err(|why| self.silent(&why))
    }

    fn silent(&self, why: &dyn std::fmt::Display) -> SpiceError {
        SpiceError::Silent {
            why: why.to_string(),
            said: self.said(),
        }
    }

    fn said(&self) -> String {
        let said = self.errors.lock();
        said.map_or_else(|_| String::new(), |said| last(&said).trim().to_owned())
    }
}

impl Drop for Ngspice {
    fn drop(&mut self) {
        // It may be gone already.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// The end of a text, at most [`KEPT`] bytes.
fn last(text: &str) -> &str {
    let from = text.len().saturating_sub(KEPT);
    (from..=text.len())
        .find_map(|at| text.get(at..))
        .unwrap_or_default()
}

/// The value in a line such as `v(n1)-v(n2) = 1.5e+00,2.0e-01`; none in any other line.
fn value(line: &str) -> Option<(f64, f64)> {
    let (name, value) = line.split_once(" = ")?;
    if !name.contains('(') {
        return None;
    }
    let mut parts = value.split(',').map(|part| part.trim().parse().ok());
    let real = parts.next()??;
    Some((real, parts.next().flatten().unwrap_or(0.0)))
}

#[cfg(test)]
mod tests {
    use super::value;

    #[test]
    fn a_value_is_told_from_other_words() {
        assert_eq!(value("v(a)-v(b) = 1.5e+00"), Some((1.5, 0.0)));
        assert_eq!(value("(v(a)-v(b))/2 = 1.5e+00,-2.0e-01"), Some((1.5, -0.2)));
        assert_eq!(value("No. of Data Rows : 1"), None);
        assert_eq!(value("Doing analysis at TEMP = 27.000000 and TNOM"), None);
    }
}
