//! Standard output: text or JSON. A reader that goes away early (`| head`) is no error: what
//! follows is dropped, and the exit code stays that of the result.

use std::io::{self, BufWriter, ErrorKind, Stdout, Write};

use serde::Serialize;
use serde_json::Value;

use crate::exit::Exit;
use crate::fail::Fail;

/// The output of a command.
pub struct Out {
    to: BufWriter<Stdout>,
    json: bool,
    closed: bool,
}

impl Out {
    /// Standard output, in JSON or text.
    pub fn stdout(json: bool) -> Self {
        Out {
            to: BufWriter::new(io::stdout()),
            json,
            closed: false,
        }
    }

    /// Whether JSON was asked for.
    pub fn json(&self) -> bool {
        self.json
    }

    /// Whether nobody reads any more: an endless command ends then.
    pub fn closed(&self) -> bool {
        self.closed
    }

    /// A line of text.
    pub fn line(&mut self, text: &str) -> Result<(), Fail> {
        writeln!(self, "{text}").map_err(refused)
    }

    /// A line of text that JSON has no place for.
    pub fn line_unless_json(&mut self, text: &str) -> Result<(), Fail> {
        if self.json { Ok(()) } else { self.line(text) }
    }

    /// A JSON document over several lines.
    pub fn document(&mut self, of: &impl Serialize) -> Result<(), Fail> {
        let value = serde_json::to_value(of);
        let value = value.map_err(|e| Fail::new(Exit::System, format!("no JSON: {e}")))?;
        writeln!(self, "{value:#}").map_err(refused)
    }

    /// A JSON line.
    pub fn json_line(&mut self, value: &Value) -> Result<(), Fail> {
        writeln!(self, "{value}").map_err(refused)
    }

    /// Hands on what was written so far.
    pub fn finish(&mut self) -> Result<(), Fail> {
        self.flush().map_err(refused)
    }

    fn heed<T>(&mut self, done: io::Result<T>, dropped: T) -> io::Result<T> {
        match done {
            Err(e) if e.kind() == ErrorKind::BrokenPipe => {
                self.closed = true;
                Ok(dropped)
            }
            done => done,
        }
    }
}

fn refused(e: io::Error) -> Fail {
    Fail::new(
        Exit::System,
        format!("standard output cannot be written: {e}"),
    )
}

impl Write for Out {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        if self.closed {
            return Ok(bytes.len());
        }
        let done = self.to.write(bytes);
        self.heed(done, bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        if self.closed {
            return Ok(());
        }
        let done = self.to.flush();
        self.heed(done, ())
    }
}
