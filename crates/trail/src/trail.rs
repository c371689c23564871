//! A trail that is open for writing: its file, its lock, and recovery when it is opened.

use std::fs::{self, File, OpenOptions};
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};

use ohmtrail_core::units::Micros;
use rustix::fs::{FlockOperation, flock};

use crate::error::{Damage, Error, What};
use crate::event::{Entry, Event};
use crate::hash::Hash;
use crate::reader::{Body, CutNote, Reader, Record};
use crate::verify::Skipped;
use crate::writer::{Receipt, Writer};

/// A trail that is open for writing. One program writes to a trail at a time; a second one gets
/// [`Error::Held`].
///
/// What survives:
///
/// | after | the program is killed | the power fails |
/// |---|---|---|
/// | [`append`](Trail::append) | may be lost | may be lost |
/// | [`commit`](Trail::commit), [`take`](Trail::take) | kept | kept, if the disk keeps what it acknowledged |
///
/// An append that was cut off leaves a torn tail. It is cut back to the last whole record when
/// the trail is opened next, the cut bytes are kept in a file beside it, and the trail notes it.
///
/// After a failed write or sync the trail takes nothing more and says why ([`Error::Closed`]).
/// What was committed stays; what was appended since may be there or not: open the trail anew and
/// see. Dropping a trail commits what is pending, as far as that works; [`close`](Trail::close)
/// tells whether it did.
#[derive(Debug)]
pub struct Trail {
    writer: Writer<File>,
}

/// What was found when a trail was opened.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Recovery {
    /// Damage before the last whole record. It is left in the file as it is.
    pub damage: Vec<Damage>,
    /// The torn tail that was cut off.
    pub cut: Option<Cut>,
    /// Records of a newer program, passed over.
    pub skipped: Vec<Skipped>,
}

/// A torn tail that was cut off.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Cut {
    /// Where it was: bytes from the start of the trail.
    pub offset: u64,
    /// How many bytes it had.
    pub bytes: u64,
    /// The file that keeps them.
    pub kept: PathBuf,
}

impl Trail {
    /// Begins a trail with its `Opened` entry, which is on disk when this returns, the file's name
    /// in its folder too.
    ///
    /// # Errors
    /// [`Error::NotOpened`] for any other entry, [`Error::Exists`] if there is such a file, and
    /// what the system refuses; a file that could not be begun is removed again.
    pub fn create(path: impl AsRef<Path>, opened: &Entry) -> Result<Trail, Error> {
        let path = path.as_ref();
        if !matches!(opened.event, Event::Opened(_)) {
            return Err(Error::NotOpened);
        }
        let file = OpenOptions::new()
            .read(true)
            .write(true)
            .create_new(true)
            .open(path)
            .map_err(|source| match source.kind() {
                io::ErrorKind::AlreadyExists => Error::Exists {
                    path: path.to_path_buf(),
                },
                _ => Error::io(path, "creating")(source),
            })?;
        lock(&file, path)?;
        let mut trail = Trail {
            writer: Writer::begin(file, path),
        };
        let begun = trail.take(opened).and_then(|_| sync_folder(path));
        if let Err(error) = begun {
            // Nobody was told of this trail, and its name should be free for a second try.
            let _ = fs::remove_file(path);
            return Err(error);
        }
        Ok(trail)
    }

    /// Opens a trail to go on with it: returns its entries, and what had to be recovered.
    ///
    /// Damage in the middle is left as it is and named. A torn tail is cut back to the last whole
    /// record, after its bytes were stored in `<file name>.cut-<n>`, and a note of it is appended.
    ///
    /// # Errors
    /// [`Error::Held`] if another program writes to it, [`Error::NeverBegun`],
    /// [`Error::NotATrail`] and [`Error::NewerFormat`] by its contents, and what the system
    /// refuses. The file is then as it was.
    pub fn open(path: impl AsRef<Path>) -> Result<(Trail, Vec<Entry>, Recovery), Error> {
        let (trail, records, recovery) = Trail::open_records(path)?;
        let entry = |record: Record| match record.body {
            Body::Entry(entry) => Some(entry),
            _ => None,
        };
        let entries = records.into_iter().filter_map(entry).collect();
        Ok((trail, entries, recovery))
    }

    /// As [`open`](Trail::open), with every record that holds an entry: its number and hash, too.
    ///
    /// # Errors
    /// As [`open`](Trail::open).
    pub fn open_records(path: impl AsRef<Path>) -> Result<(Trail, Vec<Record>, Recovery), Error> {
        let path = path.as_ref();
        let mut file = OpenOptions::new()
            .read(true)
            .write(true)
            .open(path)
            .map_err(Error::io(path, "opening"))?;
        lock(&file, path)?;
        let mut bytes = Vec::new();
        file.read_to_end(&mut bytes)
            .map_err(Error::io(path, "reading"))?;
        let mut reader = Reader::of(bytes, path)?;
        let mut records = Vec::new();
        let mut recovery = Recovery::default();
        for item in reader.by_ref() {
            match item {
                Ok(record) => match record.body {
                    Body::Entry(_) => records.push(record),
                    Body::Cut(_) => {}
                    Body::Unknown { kind, version } => recovery.skipped.push(Skipped {
                        record: record.number,
                        kind,
                        version,
                    }),
                },
                // It is cut off below.
                Err(damage) if damage.what == What::Tail => {}
                Err(damage) => recovery.damage.push(damage),
            }
        }
        if reader.whole_records() == 0 {
            return Err(Error::NeverBegun {
                path: path.to_path_buf(),
            });
        }
        let mut writer = resume(file, path, &reader);
        if !reader.tail().is_empty() {
            recovery.cut = Some(cut_tail(&mut writer, reader.tail(), reader.end() as u64)?);
        }
        Ok((Trail { writer }, records, recovery))
    }

    /// Appends an entry to the pending group. It is on disk after the next [`commit`](Trail::commit).
    ///
    /// # Errors
    /// [`Error::Closed`] after an earlier failure; [`Error::TooLong`] and [`Error::Encode`] for
    /// this entry alone.
    pub fn append(&mut self, entry: &Entry) -> Result<Receipt, Error> {
        self.writer.append(entry)
    }

    /// Writes the pending group and waits until it is on disk. Returns the head hash.
    ///
    /// # Errors
    /// [`Error::Io`] closes the trail; [`Error::Closed`] after an earlier failure.
    pub fn commit(&mut self) -> Result<Hash, Error> {
        self.writer.commit()
    }

    /// Appends an entry, with everything pending before it, and returns when it is on disk: for
    /// takes, and whatever else somebody is told of.
    ///
    /// # Errors
    /// As [`append`](Trail::append) and [`commit`](Trail::commit).
    pub fn take(&mut self, entry: &Entry) -> Result<Receipt, Error> {
        let receipt = self.append(entry)?;
        self.commit()?;
        Ok(receipt)
    }

    /// Whether the pending group has waited long enough ([`COMMIT_AFTER_US`](crate::COMMIT_AFTER_US))
    /// to be committed now. `now` is on the steady clock of the entries.
    #[must_use]
    pub fn commit_due(&self, now: Micros) -> bool {
        self.writer.commit_due(now)
    }

    /// The hash of the last record that is on disk: what papers print.
    #[must_use]
    pub fn head(&self) -> Hash {
        self.writer.head()
    }

    /// The trail's file.
    #[must_use]
    pub fn path(&self) -> &Path {
        self.writer.path()
    }

    /// Commits what is pending, takes the padding off the file, and lets go of it. Returns the head
    /// hash.
    ///
    /// # Errors
    /// As [`commit`](Trail::commit).
    pub fn close(mut self) -> Result<Hash, Error> {
        let head = self.writer.commit()?;
        self.writer.trim()?;
        Ok(head)
    }
}

impl Drop for Trail {
    fn drop(&mut self) {
        // Who wants to know closes the trail.
        let _ = self.writer.commit().and_then(|_| self.writer.trim());
    }
}

fn lock(file: &File, path: &Path) -> Result<(), Error> {
    flock(file, FlockOperation::NonBlockingLockExclusive).map_err(|errno| match errno {
        rustix::io::Errno::WOULDBLOCK => Error::Held {
            path: path.to_path_buf(),
        },
        errno => Error::io(path, "locking")(errno.into()),
    })
}

/// A writer at the end of what `reader` has read to its end.
fn resume(file: File, path: &Path, reader: &Reader) -> Writer<File> {
    let (end, len) = (reader.end() as u64, reader.file_len() as u64);
    Writer::resume(file, path, end, len, reader.next_number(), reader.head())
}

/// Keeps `torn` aside, cuts it off the trail at `offset`, and notes it there.
fn cut_tail(writer: &mut Writer<File>, torn: &[u8], offset: u64) -> Result<Cut, Error> {
    let (number, kept) = keep_aside(writer.path(), torn)?;
    writer.cut_to(offset)?;
    let bytes = torn.len() as u64;
    writer.append_cut(&CutNote {
        bytes,
        hash: Hash::of(torn).0,
        number,
    })?;
    writer.commit()?;
    Ok(Cut {
        offset,
        bytes,
        kept,
    })
}

/// Stores `torn` in the first free `<path>.cut-<n>`.
fn keep_aside(path: &Path, torn: &[u8]) -> Result<(u32, PathBuf), Error> {
    let doing = "keeping the torn tail aside";
    let mut number = 1;
    loop {
        let mut name = path.as_os_str().to_owned();
        name.push(format!(".cut-{number}"));
        let kept = PathBuf::from(name);
        match OpenOptions::new().write(true).create_new(true).open(&kept) {
            Ok(mut file) => {
                file.write_all(torn)
                    .and_then(|()| file.sync_all())
                    .map_err(Error::io(&kept, doing))?;
                sync_folder(&kept)?;
                return Ok((number, kept));
            }
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => number += 1,
            Err(error) => return Err(Error::io(&kept, doing)(error)),
        }
    }
}

/// Puts the name of a new file on disk.
pub(crate) fn sync_folder(path: &Path) -> Result<(), Error> {
    let folder = match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    File::open(folder)
        .and_then(|folder| folder.sync_all())
        .map_err(Error::io(folder, "putting a new name on disk"))
}
