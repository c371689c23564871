//! Photographs beside a trail, each under the BLAKE3 hash of its bytes: a photograph that the
//! trail names can't be changed unseen.

use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use crate::hash::Hash;

/// Media types, and the ends of file names that go with them. The end is for other programs
/// only: the name is the hash.
const ENDS: [(&str, &str); 4] = [
    ("image/jpeg", "jpg"),
    ("image/png", "png"),
    ("image/webp", "webp"),
    ("image/heic", "heic"),
];

/// Why a photograph could not be stored or read.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum PhotoError {
    /// The media type is none that a photograph can have.
    #[error("{media_type}: not a photograph; JPEG, PNG, WebP and HEIC are")]
    MediaType {
        /// The media type as given.
        media_type: String,
    },
    /// The system refused an operation.
    #[error("{path}: {source}")]
    Io {
        /// The file or folder.
        path: PathBuf,
        /// The system's answer.
        source: io::Error,
    },
    /// There is no photograph of that hash.
    #[error("{folder}: no photograph {hash}; look for it where the trail was before")]
    Missing {
        /// The photo folder.
        folder: PathBuf,
        /// The hash.
        hash: Hash,
    },
    /// The file is not what was stored.
    #[error("{path}: changed since it was stored; its hash does not fit its name")]
    Changed {
        /// The file.
        path: PathBuf,
    },
}

/// What the bytes of a photograph are, by how they begin; none if they are no photograph.
#[must_use]
pub fn media_type(bytes: &[u8]) -> Option<&'static str> {
    let at = |from: usize, what: &[u8]| bytes.get(from..from + what.len()) == Some(what);
    if at(0, &[0xFF, 0xD8, 0xFF]) {
        Some("image/jpeg")
    } else if at(0, b"\x89PNG\r\n\x1a\n") {
        Some("image/png")
    } else if at(0, b"RIFF") && at(8, b"WEBP") {
        Some("image/webp")
    } else if at(4, b"ftyphei") || at(4, b"ftypmif1") {
        Some("image/heic")
    } else {
        None
    }
}

/// Stores a photograph in `folder`, which is made if need be, and returns its hash when it is on
/// disk. Storing one twice keeps it once.
///
/// # Errors
/// For a media type that is none of a photograph, and for what the system refuses.
pub fn store(folder: &Path, bytes: &[u8], media_type: &str) -> Result<Hash, PhotoError> {
    let Some((_, end)) = ENDS.iter().find(|(media, _)| *media == media_type) else {
        return Err(PhotoError::MediaType {
            media_type: media_type.to_owned(),
        });
    };
    let hash = Hash::of(bytes);
    match load(folder, &hash) {
        Ok(_) => return Ok(hash),
        // A damaged one is replaced by the right bytes.
        Err(PhotoError::Missing { .. } | PhotoError::Changed { .. }) => {}
        Err(error) => return Err(error),
    }
    let path = folder.join(format!("{hash}.{end}"));
    let part = folder.join(format!("{hash}.part"));
    write(folder, &part, &path, bytes).map_err(|source| PhotoError::Io { path, source })?;
    Ok(hash)
}

/// The files that a photograph of that hash may be, as far as they are there.
#[must_use]
pub fn files(folder: &Path, hash: &Hash) -> Vec<PathBuf> {
    let named = ENDS.map(|(_, end)| folder.join(format!("{hash}.{end}")));
    named.into_iter().filter(|path| path.is_file()).collect()
}

/// The end of the file name that goes with a media type.
#[must_use]
pub fn end_of(media_type: &str) -> Option<&'static str> {
    let mut ends = ENDS.iter();
    ends.find(|(media, _)| *media == media_type)
        .map(|(_, end)| *end)
}

/// Reads a photograph and checks it against its hash.
///
/// # Errors
/// If there is none, if it was changed, or if it can't be read.
pub fn load(folder: &Path, hash: &Hash) -> Result<Vec<u8>, PhotoError> {
    let mut missing = PhotoError::Missing {
        folder: folder.to_path_buf(),
        hash: *hash,
    };
    for (_, end) in ENDS {
        let path = folder.join(format!("{hash}.{end}"));
        match fs::read(&path) {
            Ok(bytes) if Hash::of(&bytes) == *hash => return Ok(bytes),
            Ok(_) => missing = PhotoError::Changed { path },
            Err(error) if error.kind() == io::ErrorKind::NotFound => {}
            Err(source) => return Err(PhotoError::Io { path, source }),
        }
    }
    Err(missing)
}

/// Under a passing name first, so that a file of the final name is whole.
fn write(folder: &Path, part: &Path, path: &Path, bytes: &[u8]) -> io::Result<()> {
    fs::create_dir_all(folder)?;
    let mut file = File::create(part)?;
    file.write_all(bytes)?;
    file.sync_all()?;
    fs::rename(part, path)?;
    File::open(folder)?.sync_all()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn photographs_are_told_by_their_first_bytes() {
        // The signatures of ISO/IEC 10918-5 (JFIF), ISO/IEC 15948 (PNG), RFC 9649 (WebP) and
        // ISO/IEC 23008-12 (HEIF).
        assert_eq!(media_type(b"\xFF\xD8\xFF\xE0 JFIF"), Some("image/jpeg"));
        assert_eq!(media_type(b"\x89PNG\r\n\x1a\n...."), Some("image/png"));
        assert_eq!(media_type(b"RIFF....WEBPVP8 "), Some("image/webp"));
        assert_eq!(media_type(b"\0\0\0\x18ftypheic"), Some("image/heic"));
        for bad in [&b""[..], b"<svg>", b"GIF89a", b"\x89PNG", b"RIFF....WAVE"] {
            assert_eq!(media_type(bad), None, "{bad:?}");
        }
    }
}
