//! Why a visit cannot be read, before it is put into a language: what was found by this program, with the
//! file and the system's own answer.

use std::fmt::Display;

use ohmtrail_trail::{Error, FORMAT};
use ohmtrail_words::Said;

use crate::sheets::SheetsError;

/// A trail's error.
#[must_use]
pub fn of_trail(error: &Error) -> Said {
    let of =
        |id, path: &std::path::Path| Said::message(id).with("path", path.display().to_string());
    match error {
        Error::Io {
            path,
            doing,
            source,
        } => of("trail-io", path)
            .with("doing", *doing)
            .with("why", other(source)),
        Error::Exists { path } => of("trail-exists", path),
        Error::Held { path } => of("trail-held", path),
        Error::NotATrail { path } => of("trail-no-trail", path),
        Error::NeverBegun { path } => of("trail-never-begun", path),
        Error::NewerFormat { path, version } => of("trail-newer", path)
            .with("version", version.to_string())
            .with("known", FORMAT.to_string()),
        Error::Closed { path, because } => {
            of("trail-closed", path).with("because", Said::phrase(because.as_str()))
        }
        _ => other(error),
    }
}

/// Why a sheet cannot be had.
#[must_use]
pub fn of_sheet(error: &SheetsError) -> Said {
    match error {
        SheetsError::Changed(name) => Said::message("sheet-changed").with("sheet", name.clone()),
        _ => other(error),
    }
}

/// What has English words only.
#[must_use]
pub fn other(error: &impl Display) -> Said {
    Said::phrase(error.to_string())
}

#[cfg(test)]
mod tests {
    use std::io;
    use std::path::PathBuf;

    use ohmtrail_words::{Tongue, runs};

    use super::*;

    #[test]
    fn a_trails_errors_are_said_as_it_says_them() {
        let path = || PathBuf::from("an-invented.trail");
        let system = io::Error::from(io::ErrorKind::PermissionDenied);
        let all = [
            Error::Io {
                path: path(),
                doing: "reading",
                source: system,
            },
            Error::Exists { path: path() },
            Error::Held { path: path() },
            Error::NotATrail { path: path() },
            Error::NeverBegun { path: path() },
            Error::NewerFormat {
                path: path(),
                version: 9,
            },
            Error::Closed {
                path: path(),
                because: "no room".to_owned(),
            },
        ];
        for error in &all {
            let said = of_trail(error);
            assert_eq!(said.to_string(), error.to_string());
            let spanish = said.marked(Tongue::Spanish);
            let own: Vec<_> = runs(&spanish).filter(|r| r.other.is_none()).collect();
            assert!(own.iter().any(|r| r.words.contains(' ')), "{spanish}");
        }
        let changed = SheetsError::Changed("an-invented-sheet".to_owned());
        assert_eq!(of_sheet(&changed).to_string(), changed.to_string());
    }
}
