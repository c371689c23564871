//! Trails to a store. A state of a trail is one object that is put as a whole, after the photographs that it
//! names; nothing that is there is changed. What is there is asked anew with each push, and nothing about it
//! is kept here: a push that was cut goes on by being made again.

use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Mutex;

use ohmtrail_trail::{Body, Damage, Hash, What, photos, read};

use super::keys::{PHOTOS, State, TRAILS, photo_of};
use super::line::{Line, at_once};
use super::s3::{Bucket, Listed, Refused};
use crate::error::Error;
use crate::files::{Listing, absolute};
use crate::gather::{Problem, say_damage};

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
    /// Where the store has the state of each trail that it has: `s3://…`, by the trail's file here.
    pub addresses: BTreeMap<PathBuf, String>,
    /// What is wrong with which trails. None of it stops the rest.
    pub problems: Vec<Problem>,
}

/// Brings the trails in these folders, with their photographs, to a store.
///
/// # Errors
/// [`Error`] if the store cannot be listed, or refuses whatever is put; what was put until then stays. What fails of one trail is one of the problems.
pub fn push_trails(bucket: &Bucket, folders: &[PathBuf]) -> Result<PushedTrails, Error> {
    let listing = Listing::of(&absolute(folders)?);
    let mut there = There::default();
    for under in [TRAILS, PHOTOS] {
        for Listed { key, bytes } in bucket.list(under)? {
            if let Some(state) = State::of_key(&key) {
                there.is(state);
            }
            let photograph = photo_of(&key).map(|(hash, _)| hash.0);
            there.photographs.extend(photograph);
            there.objects.insert(key, bytes);
        }
    }
    let push = Push {
        line: Line::to(bucket),
        there: Mutex::new(there),
    };
    let mut pushed = PushedTrails {
        trails: listing.trails.len() as u64,
        problems: listing.unread,
        ..PushedTrails::default()
    };
    let mut left = 0_u64;
    let paths: Vec<PathBuf> = listing.trails.into_keys().collect();
    for one in at_once(&paths, |path| push.trail(path)) {
        match one {
            Some(one) => {
                pushed.put += one.put;
                pushed.there += one.there;
                pushed.photographs += one.photographs;
                pushed.bytes += one.bytes;
                pushed.addresses.extend(one.addresses);
                pushed.problems.extend(one.problems);
            }
            None => left += 1,
        }
    }
    pushed.problems.extend(push.line.end(left)?);
    pushed.problems.sort_by(|a, b| a.path.cmp(&b.path));
    Ok(pushed)
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

struct Push<'b> {
    line: Line<'b>,
    there: Mutex<There>,
}

impl Push<'_> {
    /// Brings one trail; none if the line was given up.
    fn trail(&self, path: &Path) -> Option<PushedTrails> {
        if !self.line.is_up() {
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
        } else if let Err(refused) = self.put(&key, &trail.bytes) {
            let what = format!("not pushed: {}", refused.why);
            done.problems.push(problem(what));
            return Some(done);
        } else {
            done.put += 1;
            done.bytes += bytes;
        }
        let address = self.line.address(&key);
        done.addresses.insert(path.to_path_buf(), address);
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
        // It has the end there that its file has here, whatever its bytes begin with: its name is its hash.
        let files = photos::files(folder, hash).into_iter().filter_map(|path| {
            let end = path.extension()?.to_str()?;
            Some((format!("{PHOTOS}{hash}.{end}"), path))
        });
        let files: Vec<(String, PathBuf)> = files.collect();
        for (key, path) in &files {
            let size = fs::metadata(path).map_or(0, |about| about.len());
            if self.has(key, size) {
                return Ok(());
            }
        }
        for (key, path) in &files {
            let Some(bytes) = fs::read(path).ok().filter(|b| Hash::of(b) == *hash) else {
                continue;
            };
            self.put(key, &bytes).map_err(Photograph::Line)?;
            done.photographs += 1;
            done.bytes += bytes.len() as u64;
            return Ok(());
        }
        match photos::load(folder, hash) {
            Err(error) if !self.has_photograph(hash) => Err(Photograph::Here(error.to_string())),
            _ => Ok(()),
        }
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
        self.line.put(key, bytes)?;
        if let Ok(mut there) = self.there.lock() {
            there.objects.insert(key.to_owned(), bytes.len() as u64);
        }
        Ok(())
    }
}

/// Why a photograph is not in the store.
enum Photograph {
    /// It is not here either, or not as it was.
    Here(String),
    /// It could not be put.
    Line(Refused),
}
