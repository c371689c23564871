//! What can go wrong with an index.

use std::io;
use std::path::PathBuf;

/// Why the index cannot do what it was asked.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    /// There is no such file.
    #[error("{}: there is no index here; make one with `ohmtrail index rebuild`", path.display())]
    Missing {
        /// Where it was looked for.
        path: PathBuf,
    },
    /// The file is something else.
    #[error("{name}: not an index of trails; name another file, this one is left as it is")]
    NotAnIndex {
        /// Which index.
        name: String,
    },
    /// It was made by another version of the program.
    #[error(
        "{name}: an index of version {found}, and this program's is {ours}; make it anew with \
         `ohmtrail index rebuild`"
    )]
    OtherVersion {
        /// Which index.
        name: String,
        /// Its version.
        found: i64,
        /// This program's.
        ours: i64,
    },
    /// The index of a database was made by another version of the program.
    #[error(
        "{name}: an index of version {found}, and this program's is {ours}; use the program that made it, or \
         make it anew from all the trails: `ohmtrail index fetch` brings those of the store into a folder, \
         `ohmtrail index rebuild FOLDER --database …` reads them"
    )]
    OtherVersionThere {
        /// Which database, without its password.
        name: String,
        /// Its version.
        found: i64,
        /// This program's.
        ours: i64,
    },
    /// Made anew from these trails, the index of a database would lack visits.
    #[error(
        "{name}: {visits} of its visits are not in these folders, or have more records there than here; \
         nothing was changed. `ohmtrail index fetch` brings the trails of the store into a folder; \
         --drop-others makes the index anew without them"
    )]
    WouldDrop {
        /// Which database, without its password.
        name: String,
        /// How many visits.
        visits: u64,
    },
    /// Another program is writing to it, or reads it while another index is to take its place.
    #[error("{name}: another program is using it; try again when that one is done")]
    Held {
        /// Which index.
        name: String,
    },
    /// Its file is damaged.
    #[error("{name}: the file is damaged: {what}; make it anew with `ohmtrail index rebuild`")]
    Damaged {
        /// Which index.
        name: String,
        /// What was found.
        what: String,
    },
    /// There is no index in the database.
    #[error("{name}: there is no index in this database; `ohmtrail index push` makes it")]
    Empty {
        /// Which database, without its password.
        name: String,
    },
    /// An address is none that can be used, or a file that belongs to it is not.
    #[error("{0}")]
    Address(String),
    /// The database does not take some rows, and may take others.
    #[error("{name}: {why}")]
    NotTaken {
        /// Which database, without its password.
        name: String,
        /// What it said.
        why: String,
    },
    /// The database or the store refused, or cannot be reached.
    #[error("{name}: {why}")]
    Store {
        /// Which.
        name: String,
        /// What it said.
        why: String,
    },
    /// A file or folder cannot be used.
    #[error("{}: {doing}: {source}", path.display())]
    Io {
        /// Which.
        path: PathBuf,
        /// What was being done.
        doing: &'static str,
        /// What the system said.
        source: io::Error,
    },
    /// It was never told where the trails are.
    #[error("{name}: it was not told where the trails are; name their folder")]
    NoFolders {
        /// Which index.
        name: String,
    },
    /// There is no such unit in it.
    #[error("there is no unit \"{unit}\" in the index{near}")]
    NoUnit {
        /// The unit that was asked for.
        unit: String,
        /// What may have been meant.
        near: String,
    },
}

impl Error {
    pub(crate) fn io(
        path: impl Into<PathBuf>,
        doing: &'static str,
    ) -> impl FnOnce(io::Error) -> Error {
        let path = path.into();
        move |source| Error::Io {
            path,
            doing,
            source,
        }
    }
}
