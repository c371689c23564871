//! What the exit codes mean. Scripts rest on them: a number never changes its meaning.

use std::process::ExitCode;

use serde_json::json;

use crate::fail::Fail;
use crate::out::Out;

/// How the program ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Exit {
    /// Done; every value judged passes.
    Done = 0,
    /// A value judged is outside a limit that may condemn.
    Fails = 1,
    /// The command line was not understood.
    Usage = 2,
    /// A file, a sheet or a typed value was not understood.
    Input = 3,
    /// The meter cannot be reached, or is gone.
    Meter = 4,
    /// The trail is damaged.
    Damaged = 5,
    /// Nothing fails, and not everything passes.
    Open = 6,
    /// The system refused to read or write.
    System = 7,
}

impl Exit {
    /// Every exit code.
    pub const ALL: [Exit; 8] = [
        Exit::Done,
        Exit::Fails,
        Exit::Usage,
        Exit::Input,
        Exit::Meter,
        Exit::Damaged,
        Exit::Open,
        Exit::System,
    ];

    /// The code.
    pub const fn code(self) -> u8 {
        self as u8
    }

    /// The meaning in words.
    pub const fn words(self) -> &'static str {
        match self {
            Exit::Done => "done; every value judged passes",
            Exit::Fails => "a value judged fails",
            Exit::Usage => "the command line was not understood",
            Exit::Input => "a file, a sheet or a typed value was not understood",
            Exit::Meter => "the meter cannot be reached, or is gone",
            Exit::Damaged => "the trail is damaged",
            Exit::Open => "not judged: void, too close to call, or to be checked by other means",
            Exit::System => "the system refused to read or write",
        }
    }
}

impl From<Exit> for ExitCode {
    fn from(exit: Exit) -> Self {
        ExitCode::from(exit.code())
    }
}

/// The table for the help.
pub fn table() -> String {
    let mut table = String::from("Exit codes:");
    for exit in Exit::ALL {
        table.push_str(&format!("\n  {}  {}", exit.code(), exit.words()));
    }
    table
}

/// `ohmtrail exit-codes`.
pub fn run(out: &mut Out) -> Result<Exit, Fail> {
    if out.json() {
        let codes: Vec<_> = Exit::ALL
            .iter()
            .map(|exit| json!({"code": exit.code(), "words": exit.words()}))
            .collect();
        out.document(&json!({"exit_codes": codes}))?;
    } else {
        out.line(&table())?;
    }
    Ok(Exit::Done)
}
