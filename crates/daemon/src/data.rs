//! The data folder: made if need be, and looked through before anything is opened in it, so that what
//! another user made there is named with what to do, and not visit by visit.

use std::fs;
use std::io;
use std::os::unix::fs::MetadataExt;
use std::path::{Path, PathBuf};

use rustix::fs::{Access, access};

/// Why the data folder cannot be used.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum DataError {
    /// Something in it is another user's.
    #[error(
        "{}: it belongs to user {owner}, and this daemon runs as user {us}, who may not use it; \
         give the folder to this user with `chown -R {us} {}`, run the daemon as user {owner}, or \
         choose another folder with --data",
        path.display(), folder.display()
    )]
    Others {
        /// What.
        path: PathBuf,
        /// The data folder.
        folder: PathBuf,
        /// The number of the user whose it is.
        owner: u32,
        /// The number of the user who runs the daemon.
        us: u32,
    },
    /// The system refuses.
    #[error("{}: the data folder cannot be used: {source}; choose another with --data", path.display())]
    System {
        /// What.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
}

/// Makes the folder, if it is not there, and sees that this user may read and change what is in it.
///
/// # Errors
/// [`DataError`].
pub fn hold(folder: &Path) -> Result<(), DataError> {
    let us = us().map_err(|source| system(folder, source))?;
    if let Err(source) = fs::create_dir_all(folder) {
        return Err(match holder(folder) {
            Some((path, owner)) if denied(&source) && owner != us => DataError::Others {
                path,
                folder: folder.to_path_buf(),
                owner,
                us,
            },
            _ => system(folder, source),
        });
    }
    look_through(folder, folder, us)?;
    let owner = fs::metadata(folder).map_err(|source| system(folder, source))?;
    if us == 0 && owner.uid() != us {
        tracing::warn!(
            folder = %folder.display(),
            owner = owner.uid(),
            "the data folder is another user's: what is made now belongs to root, and a daemon of \
             that user will not be able to use it"
        );
    }
    Ok(())
}

/// Everything under a folder, but not what a link leads to.
fn look_through(path: &Path, folder: &Path, us: u32) -> Result<(), DataError> {
    let failed = |source| system(path, source);
    let about = fs::symlink_metadata(path).map_err(failed)?;
    if about.is_symlink() {
        return Ok(());
    }
    let mut wanted = Access::READ_OK | Access::WRITE_OK;
    if about.is_dir() {
        wanted |= Access::EXEC_OK;
    }
    if let Err(errno) = access(path, wanted) {
        let owner = about.uid();
        if owner != us && denied(&errno.into()) {
            return Err(DataError::Others {
                path: path.to_path_buf(),
                folder: folder.to_path_buf(),
                owner,
                us,
            });
        }
        if about.is_dir() {
            return Err(failed(errno.into()));
        }
        // A file of our own that we may not change was closed on purpose; what needs it says so.
    }
    if about.is_dir() {
        for entry in fs::read_dir(path).map_err(failed)? {
            look_through(&entry.map_err(failed)?.path(), folder, us)?;
        }
    }
    Ok(())
}

/// The nearest thing on the way to a path that is there, and whose it is.
fn holder(path: &Path) -> Option<(PathBuf, u32)> {
    path.ancestors().find_map(|path| {
        let about = fs::symlink_metadata(path).ok()?;
        Some((path.to_path_buf(), about.uid()))
    })
}

fn denied(error: &io::Error) -> bool {
    error.kind() == io::ErrorKind::PermissionDenied
}

fn system(path: &Path, source: io::Error) -> DataError {
    DataError::System {
        path: path.to_path_buf(),
        source,
    }
}

/// The number of the user who runs this: that of the process's own entry in /proc (proc(5)).
fn us() -> io::Result<u32> {
    Ok(fs::metadata("/proc/self")?.uid())
}
