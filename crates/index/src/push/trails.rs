//! Trails to a store. A state of a trail is one object that is put as a whole, after the photographs that it
//! names; nothing that is there is changed. What is there is asked anew with each push, and nothing about it
//! is kept here: a push that was cut goes on by being made again.

use std::collections::{BTreeSet, HashMap};
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::sync::atomic::{AtomicU32, Ordering};
use std::thread;

use ohmtrail_trail::{Body, Damage, Hash, What, photos, read};

use super::keys::{PHOTOS, State, TRAILS, photo_of};
use super::s3::{Bucket, Listed, Refused};
use crate::error::Error;
use crate::files::{Listing, absolute};
use crate::gather::{Problem, say_damage};

/// How many are on the line at once.
pub(crate) const AT_ONCE: usize = 8;
/// After how many failures of the line in a row it is given up.
const GIVEN_UP: u32 = 16;

/// What a push of trails did.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct PushedTrails {
    /// Trails that lie here.
    pub trails: u64,
    /// States of trails that were put.
    pub put: u64,
    /// Trails whose state was there.
    pub there: u64,
    /// Photographs that were put.
    pub photographs: u64,
    /// Bytes of all that was put.
    pub bytes: u64,
    /// What is wrong with which trails. None of it stops the rest.
    pub problems: Vec<Problem>,
}

/// Brings the trails in these folders, with their photographs, to a store.
///
/// # Errors
/// [`Error`] if the store cannot be listed. What fails of one trail is one of the problems.
pub fn push_trails(bucket: &Bucket, folders: &[PathBuf]) -> Result<PushedTrails, Error> {
    let listing = Listing::of(&absolute(folders)?);
    let mut there = There::default();
    for under in [TRAILS, PHOTOS] {
        for Listed { key, bytes } in bucket.list(under)? {
            if let Some(state) = State::of_key(&key) {
                there.is(state);
            }
            there.photographs.extend(photo_of(&key).map(|hash| hash.0));
            there.objects.insert(key, bytes);
        }
    }
    let line = Line {
        bucket,
        there: Mutex::new(there),
        failed: AtomicU32::new(0),
    };
    let mut pushed = PushedTrails {
        trails: listing.trails.len() as u64,
        problems: listing.unread,
        ..PushedTrails::default()
    };
    let mut left = 0_u64;
    let paths: Vec<PathBuf> = listing.trails.into_keys().collect();
    for one in at_once(&paths, |path| line.trail(path)) {
        match one {
            Some(one) => {
                pushed.put += one.put;
                pushed.there += one.there;
                pushed.photographs += one.photographs;
                pushed.bytes += one.bytes;
                pushed.problems.extend(one.problems);
            }
            None => left += 1,
        }
    }
    if left > 0 {
        pushed.problems.push(Problem {
            path: PathBuf::from(bucket.name()),
            what: format!(
                "the line failed {GIVEN_UP} times in a row and was given up: {left} trails were not looked at; \
                 push again"
            ),
        });
    }
    pushed.problems.sort_by(|a, b| a.path.cmp(&b.path));
    Ok(pushed)
}

/// Does something with each of them, some at a time; what comes of it is in the order of `all`.
pub(crate) fn at_once<T: Sync, D: Send>(all: &[T], one: impl Fn(&T) -> D + Sync) -> Vec<D> {
    let next = Mutex::new(all.iter().enumerate());
    let done = Mutex::new(Vec::with_capacity(all.len()));
    thread::scope(|scope| {
        for _ in 0..AT_ONCE.min(all.len()) {
            scope.spawn(|| {
                loop {
                    let Some((n, item)) = next.lock().ok().and_then(|mut next| next.next()) else {
                        return;
                    };
                    let result = one(item);
                    if let Ok(mut done) = done.lock() {
                        done.push((n, result));
                    }
                }
            });
        }
    });
    let mut done = done.into_inner().unwrap_or_default();
    done.sort_by_key(|(n, _)| *n);
    done.into_iter().map(|(_, result)| result).collect()
}

/// A trail's state, and what it takes to put it.
pub(crate) struct Read {
    pub(crate) state: State,
    pub(crate) head: Hash,
    /// The hash of each record that was read, in their order; of a sound trail, of all of them.
    pub(crate) hashes: Vec<Hash>,
    pub(crate) bytes: Vec<u8>,
    pub(crate) photographs: BTreeSet<[u8; 32]>,
    pub(crate) damage: Vec<Damage>,
}

impl Read {
    /// Reads a trail; none if its first record does not say which trail it is.
    pub(crate) fn of(mut reader: ohmtrail_trail::Reader) -> Option<Read> {
        let mut first = None;
        let mut hashes = Vec::new();
        let mut photographs = BTreeSet::new();
        let mut damage = Vec::new();
        for item in reader.by_ref() {
            match item {
                Ok(record) => {
                    if record.number == 0 {
                        first = Some(record.hash);
                    }
                    hashes.push(record.hash);
                    if let Body::Entry(entry) = &record.body {
                        photographs.extend(entry.event.photographs());
                    }
                }
                Err(found) => damage.push(found),
            }
        }
        let bytes = reader.whole_bytes().to_vec();
        // What follows the last whole record is not put, and harms nothing before it.
        let is_sound = damage.iter().all(|d| d.what == What::Tail);
        Some(Read {
            state: State {
                trail: first?,
                records: reader.whole_records(),
                hash: match is_sound {
                    true => reader.head(),
                    false => Hash::of(&bytes),
                },
                is_sound,
            },
            head: reader.head(),
            hashes,
            bytes,
            photographs,
            damage,
        })
    }

    /// Whether one of its records has that hash.
    pub(crate) fn holds(&self, head: &Hash) -> bool {
        self.hashes.contains(head)
    }

    /// Those of these states that this sound trail never was, though it has as many records or more: another
    /// course of the trail.
    pub(crate) fn others<'s>(&self, states: impl IntoIterator<Item = &'s State>) -> Vec<&'s State> {
        let records = self.hashes.len();
        let is_other = |state: &&State| {
            let last = usize::try_from(state.records)
                .ok()
                .filter(|n| *n <= records);
            let was = |n: usize| n.checked_sub(1).and_then(|at| self.hashes.get(at));
            state.is_sound && last.is_some_and(|n| was(n) != Some(&state.hash))
        };
        states.into_iter().filter(is_other).collect()
    }
}

/// What is said of a trail that has two courses in a store; nothing of one.
pub(crate) fn two_courses(state: &State, others: &[&State]) -> Option<String> {
    let (first, more) = others.split_first()?;
    let more = match more.len() {
        0 => String::new(),
        n => format!(" and {n} more"),
    };
    Some(format!(
        "the store has two courses of this trail, and neither leads up to the other: {} and {}{more}; one of \
         the two was changed: look at both, and take the wrong one away there",
        state.key(),
        first.key()
    ))
}

/// What the store has.
#[derive(Default)]
struct There {
    objects: HashMap<String, u64>,
    photographs: BTreeSet<[u8; 32]>,
    /// The states of each trail.
    states: HashMap<[u8; 32], Vec<State>>,
}

impl There {
    fn is(&mut self, state: State) {
        let of = self.states.entry(state.trail.0).or_default();
        if !of.contains(&state) {
            of.push(state);
        }
    }
}

struct Line<'b> {
    bucket: &'b Bucket,
    there: Mutex<There>,
    /// Failures of the line in a row.
    failed: AtomicU32,
}

impl Line<'_> {
    /// Brings one trail; none if the line was given up.
    fn trail(&self, path: &Path) -> Option<PushedTrails> {
        if self.failed.load(Ordering::Relaxed) >= GIVEN_UP {
            return None;
        }
        let mut done = PushedTrails::default();
        let problem = |what: String| Problem {
            path: path.to_path_buf(),
            what,
        };
        let trail = match read(path) {
            Ok(reader) => Read::of(reader),
            Err(error) => {
                let what = error.to_string();
                let named = format!("{}: ", path.display());
                let what = what.strip_prefix(&named).unwrap_or(&what).to_owned();
                done.problems.push(problem(what));
                return Some(done);
            }
        };
        let Some(trail) = trail else {
            let what = "not pushed: its first record cannot be read, so that nobody knows which trail it is";
            done.problems.push(problem(what.to_owned()));
            return Some(done);
        };
        done.problems.extend(say_damage(&trail.damage).map(problem));
        let folder = path.with_extension("photos");
        for hash in &trail.photographs {
            match self.photograph(&folder, &Hash(*hash), &mut done) {
                Ok(()) => {}
                Err(Photograph::Here(what)) => done.problems.push(problem(what)),
                Err(Photograph::Line(refused)) => {
                    let what = format!("not pushed, for its photograph was not: {}", refused.why);
                    done.problems.push(problem(what));
                    return Some(done);
                }
            }
        }
        done.problems.extend(self.courses(&trail).map(problem));
        let key = trail.state.key();
        let bytes = trail.bytes.len() as u64;
        if self.has(&key, bytes) {
            done.there += 1;
            return Some(done);
        }
        match self.put(&key, &trail.bytes) {
            Ok(()) => {
                done.put += 1;
                done.bytes += bytes;
            }
            Err(refused) => done
                .problems
                .push(problem(format!("not pushed: {}", refused.why))),
        }
        Some(done)
    }

    /// What is said of a trail that the store has another course of. Nothing is lost with it: each state is an
    /// object of its own.
    fn courses(&self, trail: &Read) -> Option<String> {
        if !trail.state.is_sound {
            return None;
        }
        let mut there = self.there.lock().ok()?;
        there.is(trail.state.clone());
        let states = there.states.get(&trail.state.trail.0)?;
        two_courses(&trail.state, &trail.others(states))
    }

    fn photograph(
        &self,
        folder: &Path,
        hash: &Hash,
        done: &mut PushedTrails,
    ) -> Result<(), Photograph> {
        let key = |end: &str| format!("{PHOTOS}{hash}.{end}");
        for path in photos::files(folder, hash) {
            let end = path.extension().and_then(|end| end.to_str());
            let size = fs::metadata(&path).map_or(0, |about| about.len());
            if end.is_some_and(|end| self.has(&key(end), size)) {
                return Ok(());
            }
        }
        let bytes = match photos::load(folder, hash) {
            Ok(bytes) => bytes,
            Err(_) if self.has_photograph(hash) => return Ok(()),
            Err(error) => return Err(Photograph::Here(error.to_string())),
        };
        let end = photos::media_type(&bytes).and_then(photos::end_of);
        let key = key(end.unwrap_or("jpg"));
        self.put(&key, &bytes).map_err(Photograph::Line)?;
        done.photographs += 1;
        done.bytes += bytes.len() as u64;
        Ok(())
    }

    fn has(&self, key: &str, bytes: u64) -> bool {
        let there = self.there.lock();
        there.is_ok_and(|there| there.objects.get(key) == Some(&bytes))
    }

    fn has_photograph(&self, hash: &Hash) -> bool {
        let there = self.there.lock();
        there.is_ok_and(|there| there.photographs.contains(&hash.0))
    }

    fn put(&self, key: &str, bytes: &[u8]) -> Result<(), Refused> {
        let done = self.bucket.put(key, bytes);
        match &done {
            Ok(()) => {
                self.failed.store(0, Ordering::Relaxed);
                if let Ok(mut there) = self.there.lock() {
                    there.objects.insert(key.to_owned(), bytes.len() as u64);
                }
            }
            Err(refused) if refused.is_passing => {
                self.failed.fetch_add(1, Ordering::Relaxed);
            }
            Err(_) => {}
        }
        done
    }
}

/// Why a photograph is not in the store.
enum Photograph {
    /// It is not here either, or not as it was.
    Here(String),
    /// It could not be put.
    Line(Refused),
}
