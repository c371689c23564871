//! Trails back from a store: the longest sound state of each. A state counts as sound when every record of it
//! is linked and its name is what it holds. What lies here already is only ever made longer.

use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::fs::{self, File, OpenOptions, Permissions, TryLockError};
use std::io::{self, Read as _, Seek, SeekFrom, Write};
use std::iter;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};

use ohmtrail_trail::{Hash, photos, read, read_bytes};

use super::keys::{PHOTOS, State, TRAILS, photo_of};
use super::line::{Line, at_once};
use super::s3::{Bucket, Listed};
use super::trails::{Read, two_courses};
use crate::error::Error;
use crate::files::{Listing, absolute_path};
use crate::gather::{Problem, say_damage};

/// What a fetch did.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Fetched {
    /// Trails in the store.
    pub trails: u64,
    /// Trails that were brought.
    pub brought: u64,
    /// Trails that lay here and are longer now.
    pub grown: u64,
    /// Trails that lie here as far as the store has them.
    pub there: u64,
    /// Photographs that were brought.
    pub photographs: u64,
    /// What is wrong with which trails. None of it stops the rest.
    pub problems: Vec<Problem>,
}

/// Brings the trails of a store into a folder, with their photographs. A trail that does not lie there gets the
/// name `TRAIL.trail`, by the hash that is its name for ever.
///
/// # Errors
/// [`Error`] if the store cannot be listed or refuses whatever is asked of it, or the folder cannot be read.
/// What fails of one trail is one of the problems.
pub fn fetch(bucket: &Bucket, folder: &Path) -> Result<Fetched, Error> {
    fs::create_dir_all(folder).map_err(Error::io(folder, "making it"))?;
    let folder = absolute_path(folder)?;
    let mut states: BTreeMap<String, Vec<(State, u64)>> = BTreeMap::new();
    for Listed { key, bytes } in bucket.list(TRAILS)? {
        if let Some(state) = State::of_key(&key) {
            let of = states.entry(state.trail.to_string()).or_default();
            of.push((state, bytes));
        }
    }
    let mut photographs: HashMap<[u8; 32], Vec<(Listed, &str)>> = HashMap::new();
    for listed in bucket.list(PHOTOS)? {
        if let Some((hash, media_type)) = photo_of(&listed.key) {
            let of = photographs.entry(hash.0).or_default();
            of.push((listed, media_type));
        }
    }
    let listing = Listing::of(std::slice::from_ref(&folder));
    let mut lie: HashMap<String, Vec<PathBuf>> = HashMap::new();
    for path in listing.trails.into_keys() {
        // What cannot be read is named by an update of the index.
        if let Some(here) = read(&path).ok().and_then(Read::of) {
            lie.entry(here.state.trail.to_string())
                .or_default()
                .push(path);
        }
    }
    let fetching = Fetching {
        line: Line::to(bucket),
        folder,
        photographs,
        lie,
    };
    let mut fetched = Fetched {
        trails: states.len() as u64,
        problems: listing.unread,
        ..Fetched::default()
    };
    let states: Vec<(String, Vec<(State, u64)>)> = states.into_iter().collect();
    let mut left = 0;
    for one in at_once(&states, |(trail, states)| fetching.trail(trail, states)) {
        let Some(one) = one else {
            left += 1;
            continue;
        };
        fetched.brought += one.brought;
        fetched.grown += one.grown;
        fetched.there += one.there;
        fetched.photographs += one.photographs;
        fetched.problems.extend(one.problems);
    }
    fetched.problems.extend(fetching.line.end(left)?);
    Ok(fetched)
}

struct Fetching<'b> {
    line: Line<'b>,
    folder: PathBuf,
    /// The photographs of the store, with the media types of their ends: one may have several.
    photographs: HashMap<[u8; 32], Vec<(Listed, &'static str)>>,
    /// Where trails lie here, by their names for ever.
    lie: HashMap<String, Vec<PathBuf>>,
}

impl Fetching<'_> {
    /// Brings one trail; none if the line was given up.
    fn trail(&self, trail: &str, states: &[(State, u64)]) -> Option<Fetched> {
        if !self.line.is_up() {
            return None;
        }
        let mut done = Fetched::default();
        let lie = self.lie.get(trail).map_or(&[][..], Vec::as_slice);
        if let Err(problem) = self.bring(trail, states, lie, &mut done) {
            done.problems.push(problem);
        }
        Some(done)
    }

    /// Brings the longest sound state, or says why not.
    fn bring(
        &self,
        trail: &str,
        states: &[(State, u64)],
        lie: &[PathBuf],
        done: &mut Fetched,
    ) -> Result<(), Problem> {
        let all = || states.iter().map(|(state, _)| state);
        let courses = |of: &Read| {
            Some(Problem {
                path: PathBuf::from(self.line.address(&format!("{TRAILS}{trail}"))),
                what: two_courses(&of.state, &of.others(all()))?,
            })
        };
        // The longest one that lies here is the one that may grow.
        let here = lie
            .iter()
            .filter_map(|path| Some((path, Read::of(read(path).ok()?)?)));
        let here = here.max_by_key(|(_, here)| (here.state.is_sound, here.state.records));
        let mut states: Vec<&(State, u64)> = states.iter().collect();
        // Sound ones first, the longest first.
        states.sort_by_key(|(state, _)| (!state.is_sound, u32::MAX - state.records));
        // What lies here leads up to all that the store has, or is that.
        if let (Some((path, here)), Some((longest, _))) = (&here, states.first())
            && here.state.is_sound
            && longest.is_sound
            && here.holds(&longest.hash)
        {
            done.problems.extend(courses(here));
            done.there += 1;
            return self.photographs(path, &here.photographs, done);
        }
        for (state, bytes) in states {
            if !state.is_sound && here.is_some() {
                break;
            }
            let key = state.key();
            let at = || PathBuf::from(self.line.address(&key));
            let problem = |what: String| Problem { path: at(), what };
            let got = match self.line.get(&key, *bytes) {
                Ok(got) => got,
                Err(refused) if refused.is_missing => continue,
                Err(refused) => return Err(problem(format!("not brought: {}", refused.why))),
            };
            let whole = match whole(got, state) {
                Ok(whole) => whole,
                Err(why) => {
                    done.problems.push(problem(format!(
                        "rotten in the store: {why}; take it away there, and push again from where the trail \
                         lies"
                    )));
                    continue;
                }
            };
            if !state.is_sound {
                let what = say_damage(&whole.damage).unwrap_or_default();
                done.problems.push(problem(format!(
                    "brought as it is, for the store has no sound state of it: {what}"
                )));
            }
            if whole.state.is_sound {
                // The one that is brought is the longest, and what led up to it is in it.
                done.problems.extend(courses(&whole));
            }
            return match &here {
                Some((path, here)) => self.grow(path, here, &whole, done),
                None => self.begin(trail, &whole, done),
            };
        }
        match &here {
            Some((path, here)) => {
                done.there += 1;
                self.photographs(path, &here.photographs, done)
            }
            None => Err(Problem {
                path: PathBuf::from(self.line.address(&format!("{TRAILS}{trail}"))),
                what: "not brought: no state of it in the store is sound".to_owned(),
            }),
        }
    }

    /// A trail that does not lie here.
    fn begin(&self, trail: &str, whole: &Read, done: &mut Fetched) -> Result<(), Problem> {
        let path = self.folder.join(format!("{trail}.trail"));
        let problem = |what: String| Problem {
            path: path.clone(),
            what,
        };
        // Another fetch into this folder may have been quicker.
        let taken = |done: &mut Fetched| {
            let there = read(&path).ok().and_then(Read::of);
            if there.is_some_and(|there| there.holds(&whole.head)) {
                done.there += 1;
                return Ok(());
            }
            Err(problem(
                "not written over: what lies here under the trail's name is something else, or its first \
                 record cannot be read; move it away, and fetch again"
                    .to_owned(),
            ))
        };
        if path.exists() {
            return taken(done);
        }
        self.photographs(&path, &whole.photographs, done)?;
        match self.write_new(&path, &whole.bytes) {
            Ok(()) => {
                done.brought += 1;
                Ok(())
            }
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => taken(done),
            Err(error) => Err(problem(format!("cannot be written: {error}"))),
        }
    }

    /// A trail that lies here: it is made longer, or left.
    fn grow(
        &self,
        path: &Path,
        here: &Read,
        whole: &Read,
        done: &mut Fetched,
    ) -> Result<(), Problem> {
        let problem = |what: &str| Problem {
            path: path.to_path_buf(),
            what: what.to_owned(),
        };
        let key = whole.state.key();
        if !here.state.is_sound {
            return Err(problem(&format!(
                "damaged here, and left as it is; the store has it sound: move this file away, and fetch \
                 again ({key})"
            )));
        }
        if here.holds(&whole.head) {
            done.there += 1;
            return self.photographs(path, &here.photographs, done);
        }
        if !whole.holds(&here.head) {
            return Err(problem(&format!(
                "left as it is: the store has another course of this trail, and neither leads up to the \
                 other; one of the two was changed ({key})"
            )));
        }
        self.photographs(path, &whole.photographs, done)?;
        match lengthen(path, &here.bytes, &whole.bytes) {
            Ok(()) => {
                done.grown += 1;
                Ok(())
            }
            Err(why) => Err(problem(&format!("left as it is: {why}"))),
        }
    }

    /// Brings those photographs of a trail that do not lie beside it.
    fn photographs(
        &self,
        trail: &Path,
        named: &BTreeSet<[u8; 32]>,
        done: &mut Fetched,
    ) -> Result<(), Problem> {
        let folder = trail.with_extension("photos");
        for hash in named {
            let hash = Hash(*hash);
            if photos::load(&folder, &hash).is_ok() {
                continue;
            }
            let problem = |what: String| Problem {
                path: trail.to_path_buf(),
                what,
            };
            let mut is_rotten = false;
            let mut is_brought = false;
            for (Listed { key, bytes }, media_type) in
                self.photographs.get(&hash.0).into_iter().flatten()
            {
                let got = match self.line.get(key, *bytes) {
                    Ok(got) => got,
                    Err(refused) if refused.is_missing => continue,
                    Err(refused) => {
                        return Err(problem(format!("photograph {hash}: {}", refused.why)));
                    }
                };
                // The hash alone says whether it is whole.
                if Hash::of(&got) != hash {
                    is_rotten = true;
                    continue;
                }
                let stored = photos::store(&folder, &got, media_type);
                stored.map_err(|e| problem(e.to_string()))?;
                done.photographs += 1;
                is_brought = true;
                break;
            }
            if !is_brought {
                done.problems.push(problem(if is_rotten {
                    format!(
                        "its photograph {hash} is rotten in the store; take it away there, and push again from \
                         where it lies"
                    )
                } else {
                    format!("its photograph {hash} is neither here nor in the store")
                }));
            }
        }
        Ok(())
    }

    /// Writes a new file, which is there as a whole and on disk, or not at all.
    fn write_new(&self, path: &Path, bytes: &[u8]) -> io::Result<()> {
        let mut part = tempfile::Builder::new()
            .prefix(".fetch-")
            .suffix(".part")
            // As every other file: who may read it is for the mask to say.
            .permissions(Permissions::from_mode(0o666))
            .tempfile_in(&self.folder)?;
        part.write_all(bytes)?;
        part.as_file().sync_all()?;
        part.persist_noclobber(path).map_err(|e| e.error)?;
        File::open(&self.folder)?.sync_all()
    }
}

/// Puts what a trail lacks at its end, if it is still what was read here: `whole` begins with that.
fn lengthen(path: &Path, here: &[u8], whole: &[u8]) -> Result<(), String> {
    let refused = |e: io::Error| e.to_string();
    let mut options = OpenOptions::new();
    let mut file = options.read(true).write(true).open(path).map_err(refused)?;
    // Whoever goes on with the trail holds this lock.
    match file.try_lock() {
        Ok(()) => {}
        Err(TryLockError::WouldBlock) => {
            let why = "another program is going on with it; fetch again when that one is done";
            return Err(why.to_owned());
        }
        Err(TryLockError::Error(error)) => return Err(format!("it cannot be locked: {error}")),
    }
    let mut now = Vec::new();
    file.read_to_end(&mut now).map_err(refused)?;
    let (Some(behind), Some(more)) = (now.strip_prefix(here), whole.strip_prefix(here)) else {
        return Err("it was changed meanwhile; fetch again".to_owned());
    };
    // Zeros are padding. What of a fetch was cut is there as it is to be; everything else is somebody's.
    let padded = more.iter().chain(iter::repeat(&0));
    if !behind
        .iter()
        .zip(padded)
        .all(|(is, to_be)| *is == 0 || is == to_be)
    {
        return Err(
            "what follows its last whole record is not in the store; move this file away, and fetch again"
                .to_owned(),
        );
    }
    let written = file
        .seek(SeekFrom::Start(here.len() as u64))
        .and_then(|_| file.write_all(more))
        .and_then(|()| file.sync_all());
    written.map_err(|e| format!("it cannot be written: {e}; fetch again"))
}

/// What came of a state, if it is what its name says.
fn whole(got: Vec<u8>, state: &State) -> Result<Read, String> {
    let length = got.len();
    let reader = read_bytes(got, "the object").map_err(|e| e.to_string())?;
    let read = Read::of(reader).ok_or("its first record cannot be read")?;
    if state.is_sound && (!read.damage.is_empty() || read.bytes.len() != length) {
        return Err(say_damage(&read.damage).unwrap_or_else(|| "it is cut".to_owned()));
    }
    if read.state != *state {
        return Err("it is another state than its name says".to_owned());
    }
    Ok(read)
}
