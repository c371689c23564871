//! Small private files: only the user who runs the daemon may read them, and one is always whole.

use std::fs::{self, DirBuilder, File, OpenOptions};
use std::io::{self, Write};
use std::os::unix::fs::{DirBuilderExt, OpenOptionsExt, PermissionsExt};
use std::path::Path;

/// Makes a folder that only its owner may enter; one that is there is closed to others.
pub(super) fn private_folder(folder: &Path) -> io::Result<()> {
    DirBuilder::new()
        .recursive(true)
        .mode(0o700)
        .create(folder)?;
    fs::set_permissions(folder, fs::Permissions::from_mode(0o700))
}

/// Writes a file that only its owner may read, in place of what was there: the old one or the new
/// one is read afterwards, never a part.
pub(crate) fn replace(file: &Path, bytes: &[u8]) -> io::Result<()> {
    let folder = file.parent().unwrap_or(Path::new("."));
    let beside = file.with_extension("new");
    let mut new = OpenOptions::new()
        .write(true)
        .create(true)
        .truncate(true)
        .mode(0o600)
        .open(&beside)?;
    new.write_all(bytes)?;
    new.sync_all()?;
    fs::rename(&beside, file)?;
    File::open(folder)?.sync_all()
}

/// Holds a lock of a folder's as long as the file is held: programs that change the same files wait
/// for each other.
pub(super) fn lock(folder: &Path, name: &str) -> io::Result<File> {
    let file = OpenOptions::new()
        .write(true)
        .create(true)
        .truncate(false)
        .mode(0o600)
        .open(folder.join(name))?;
    rustix::fs::flock(&file, rustix::fs::FlockOperation::LockExclusive)?;
    Ok(file)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn files_and_folders_are_their_owners_alone() {
        let dir = tempfile::tempdir().expect("a folder");
        let folder = dir.path().join("a/b");
        private_folder(&folder).expect("made");
        private_folder(&folder).expect("once more");
        let file = folder.join("x.json");
        replace(&file, b"one").expect("written");
        replace(&file, b"two").expect("replaced");
        assert_eq!(fs::read(&file).expect("read"), b"two");
        let mode = |p: &Path| fs::metadata(p).expect("there").permissions().mode() & 0o777;
        assert_eq!((mode(&folder), mode(&file)), (0o700, 0o600));
        assert_eq!(
            fs::read_dir(&folder).expect("a folder").count(),
            1,
            "nothing is left over"
        );
    }
}
