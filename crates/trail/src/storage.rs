//! The little that the writer asks of a file, so that tests can hand it one that fails.

use std::fs::File;
use std::io;
use std::os::unix::fs::FileExt;

/// A file to write to. Implemented by [`File`], and in tests by storage that dies.
pub(crate) trait Storage {
    /// Writes some of `bytes` at `offset`; returns how many.
    fn write_at(&mut self, bytes: &[u8], offset: u64) -> io::Result<usize>;
    /// Makes the file this long.
    fn set_len(&mut self, len: u64) -> io::Result<()>;
    /// Returns when everything written is on the disk (`fdatasync`).
    fn sync(&mut self) -> io::Result<()>;

    /// Writes all of `bytes` at `offset`.
    fn write_all_at(&mut self, mut bytes: &[u8], mut offset: u64) -> io::Result<()> {
        while !bytes.is_empty() {
            match self.write_at(bytes, offset) {
                Ok(0) => return Err(io::ErrorKind::WriteZero.into()),
                Ok(n) => {
                    bytes = bytes.get(n..).unwrap_or_default();
                    offset += n as u64;
                }
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(error) => return Err(error),
            }
        }
        Ok(())
    }
}

impl Storage for File {
    fn write_at(&mut self, bytes: &[u8], offset: u64) -> io::Result<usize> {
        FileExt::write_at(self, bytes, offset)
    }

    fn set_len(&mut self, len: u64) -> io::Result<()> {
        File::set_len(self, len)
    }

    fn sync(&mut self) -> io::Result<()> {
        self.sync_data()
    }
}
