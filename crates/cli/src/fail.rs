//! An error that ends the program: what, where, what to do, and the exit code.

use std::fmt;

use crate::exit::Exit;

/// Why a command ended early.
#[derive(Debug)]
pub struct Fail {
    /// The exit code.
    pub exit: Exit,
    message: String,
}

impl Fail {
    /// A failure with its message, which says what, where and what to do.
    pub fn new(exit: Exit, message: impl fmt::Display) -> Self {
        Fail {
            exit,
            message: message.to_string(),
        }
    }

    /// A file, a sheet or a typed value was not understood.
    pub fn input(message: impl fmt::Display) -> Self {
        Fail::new(Exit::Input, message)
    }

    /// The command line does not fit together.
    pub fn usage(message: impl fmt::Display) -> Self {
        Fail::new(Exit::Usage, message)
    }
}

impl fmt::Display for Fail {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.message)
    }
}

impl From<ohmtrail_daemon::meters::ReplayError> for Fail {
    fn from(error: ohmtrail_daemon::meters::ReplayError) -> Self {
        use ohmtrail_daemon::meters::ReplayError as E;
        match error {
            E::Trail(error) => error.into(),
            E::Driver(error) => Fail::usage(error),
            other => Fail::input(other),
        }
    }
}

impl From<ohmtrail_trail::Error> for Fail {
    fn from(error: ohmtrail_trail::Error) -> Self {
        use ohmtrail_trail::Error as E;
        let exit = match &error {
            E::Io { source, .. } if source.kind() == std::io::ErrorKind::NotFound => Exit::Input,
            E::NotATrail { .. } | E::NewerFormat { .. } | E::Exists { .. } => Exit::Input,
            E::NeverBegun { .. } => Exit::Damaged,
            _ => Exit::System,
        };
        Fail::new(exit, error)
    }
}

impl From<ohmtrail_index::Error> for Fail {
    fn from(error: ohmtrail_index::Error) -> Self {
        use ohmtrail_index::Error as E;
        let exit = match &error {
            E::Io { source, .. } if source.kind() == std::io::ErrorKind::NotFound => Exit::Input,
            E::Missing { .. } | E::NotAnIndex { .. } | E::OtherVersion { .. } => Exit::Input,
            E::OtherVersionThere { .. } | E::WouldDrop { .. } => Exit::Input,
            E::NoUnit { .. } | E::Empty { .. } => Exit::Input,
            E::NoFolders { .. } | E::Address(_) => Exit::Usage,
            E::Damaged { .. } => Exit::Damaged,
            _ => Exit::System,
        };
        Fail::new(exit, error)
    }
}

impl From<ohmtrail_index::ExportError> for Fail {
    fn from(error: ohmtrail_index::ExportError) -> Self {
        use ohmtrail_index::ExportError as E;
        match error {
            E::Index(error) => error.into(),
            other => Fail::new(Exit::System, other),
        }
    }
}
