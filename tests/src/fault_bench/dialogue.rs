//! `ohmtrail isolate --stdio`, kept running: one process holds one dialogue after another.

use std::io::{BufRead, BufReader, BufWriter, Write};
use std::process::{Child, ChildStdin, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::Duration;

use serde_json::Value;

use crate::cli::{ohmtrail, workspace};

/// How long the process may think about one line.
const PATIENCE: Duration = Duration::from_secs(60);

/// A process that dialogues are held with.
pub struct Dialogue {
    child: Child,
    input: BufWriter<ChildStdin>,
    lines: Receiver<String>,
}

impl Dialogue {
    /// Starts the binary on a sheet, with a meter of that profile.
    ///
    /// # Panics
    /// If it does not start.
    #[must_use]
    pub fn start(sheet: &str, profile: &str) -> Self {
        let mut child = ohmtrail()
            .args(["isolate", "--stdio", "--many", "--clock", "asked"])
            .args(["--sheet", sheet, "--profile"])
            .arg(workspace().join(profile))
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .expect("the binary starts");
        let output = child.stdout.take().expect("its output is piped");
        let (send, lines) = channel();
        std::thread::spawn(move || {
            for line in BufReader::new(output).lines() {
                let Ok(line) = line else { break };
                if send.send(line).is_err() {
                    break;
                }
            }
        });
        Dialogue {
            input: BufWriter::new(child.stdin.take().expect("its input is piped")),
            child,
            lines,
        }
    }

    /// Says a line.
    ///
    /// # Errors
    /// In words, if the process is gone.
    pub fn say(&mut self, line: &Value) -> Result<(), String> {
        let said = writeln!(self.input, "{line}").and_then(|()| self.input.flush());
        said.map_err(|e| format!("the process takes no line: {e}"))
    }

    /// Hears the next line.
    ///
    /// # Errors
    /// In words, if none comes or it is no JSON object.
    pub fn hear(&mut self) -> Result<Value, String> {
        let line = self
            .lines
            .recv_timeout(PATIENCE)
            .map_err(|e| format!("the process says nothing: {e}"))?;
        serde_json::from_str(&line).map_err(|e| format!("{e} in {line}"))
    }
}

impl Drop for Dialogue {
    fn drop(&mut self) {
        // It may be gone already.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
