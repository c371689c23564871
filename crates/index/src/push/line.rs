//! The line to a store that several threads use: when it is given up, and when the store refuses whatever is
//! asked of it.

use std::path::PathBuf;
use std::sync::atomic::{AtomicU32, Ordering};
use std::sync::{Mutex, OnceLock};
use std::thread;

use super::s3::{Bucket, Refused};
use crate::error::Error;
use crate::gather::Problem;

/// How many are on the line at once.
const AT_ONCE: usize = 8;
/// After how many failures of the line in a row it is given up.
const GIVEN_UP: u32 = 16;

/// A line to a store.
pub(crate) struct Line<'b> {
    bucket: &'b Bucket,
    /// Failures in a row.
    failed: AtomicU32,
    /// Why the store refuses everything.
    refused: OnceLock<String>,
}

impl<'b> Line<'b> {
    pub(crate) fn to(bucket: &'b Bucket) -> Line<'b> {
        Line {
            bucket,
            failed: AtomicU32::new(0),
            refused: OnceLock::new(),
        }
    }

    /// What an object is called, with the store's name.
    pub(crate) fn address(&self, key: &str) -> String {
        format!("{}{key}", self.bucket.name())
    }

    /// Whether anything more is to be sent over it.
    pub(crate) fn is_up(&self) -> bool {
        self.failed.load(Ordering::Relaxed) < GIVEN_UP && self.refused.get().is_none()
    }

    pub(crate) fn put(&self, key: &str, bytes: &[u8]) -> Result<(), Refused> {
        self.counted(self.bucket.put(key, bytes))
    }

    pub(crate) fn get(&self, key: &str, bytes: u64) -> Result<Vec<u8>, Refused> {
        self.counted(self.bucket.get(key, bytes))
    }

    fn counted<T>(&self, done: Result<T, Refused>) -> Result<T, Refused> {
        match &done {
            Ok(_) => self.failed.store(0, Ordering::Relaxed),
            Err(refused) if refused.is_passing => {
                self.failed.fetch_add(1, Ordering::Relaxed);
            }
            Err(refused) if refused.is_for_all => {
                // The first one that is told is as good as any.
                let _ = self.refused.set(refused.why.clone());
            }
            Err(_) => {}
        }
        done
    }

    /// What is to be said at the end, where so many trails were not looked at.
    pub(crate) fn end(&self, left: u64) -> Result<Option<Problem>, Error> {
        if let Some(why) = self.refused.get() {
            return Err(Error::Store {
                name: self.bucket.name().to_owned(),
                why: why.clone(),
            });
        }
        Ok((left > 0).then(|| Problem {
            path: PathBuf::from(self.bucket.name()),
            what: format!(
                "the line failed {GIVEN_UP} times in a row and was given up: {left} trails were not looked at; \
                 do the same again"
            ),
        }))
    }
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
