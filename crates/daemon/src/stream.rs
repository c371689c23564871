//! What is sent to those who watch: frames of server-sent events, made once for all of them; the
//! log of a visit's events, in full; and a channel in which a slow watcher skips.
//!
//! Nobody waits for a watcher. The channel holds the last [`CHANNEL`] frames, and one who has fallen
//! further behind is told how many were skipped. Events of a trail are not lost by that: they are
//! read again from the log, by their numbers.

use std::sync::{PoisonError, RwLock};

use axum::body::Bytes;
use serde::Serialize;
use tokio::sync::broadcast;

/// Frames that a watcher may fall behind before it skips.
pub const CHANNEL: usize = 1024;

/// One frame.
#[derive(Debug, Clone)]
pub struct Frame {
    /// The number of the record, for an event of the trail.
    pub record: Option<u32>,
    /// The frame as it goes over the wire.
    pub bytes: Bytes,
}

impl Frame {
    /// A frame of this kind; with the number of its record if it is an event of a trail.
    #[must_use]
    pub fn new(kind: &str, record: Option<u32>, data: &impl Serialize) -> Self {
        // A type of this program always has a JSON form.
        let data = serde_json::to_string(data).unwrap_or_else(|_| "null".to_owned());
        let bytes = match record {
            Some(number) => format!("id: {number}\nevent: {kind}\ndata: {data}\n\n"),
            None => format!("event: {kind}\ndata: {data}\n\n"),
        };
        Frame {
            record,
            bytes: Bytes::from(bytes),
        }
    }
}

/// What a visit's watchers get.
#[derive(Debug)]
pub struct Log {
    kept: RwLock<Vec<Frame>>,
    channel: broadcast::Sender<Frame>,
}

impl Default for Log {
    fn default() -> Self {
        Log {
            kept: RwLock::default(),
            channel: broadcast::Sender::new(CHANNEL),
        }
    }
}

impl Log {
    /// Adds an event of the trail, which is on disk. One that is there already is left out.
    pub fn keep(&self, frame: Frame) {
        {
            let mut kept = self.kept.write().unwrap_or_else(PoisonError::into_inner);
            let last = kept.last().and_then(|f| f.record);
            if frame.record.is_none() || frame.record <= last {
                return;
            }
            kept.push(frame.clone());
        }
        self.pass(frame);
    }

    /// Passes a frame on that is not kept.
    pub fn pass(&self, frame: Frame) {
        // Nobody may be watching.
        let _ = self.channel.send(frame);
    }

    /// The kept frames from that record on, at most so many.
    #[must_use]
    pub fn from(&self, record: u32, most: usize) -> Vec<Frame> {
        let kept = self.kept.read().unwrap_or_else(PoisonError::into_inner);
        let start = kept.partition_point(|f| f.record < Some(record));
        kept.iter().skip(start).take(most).cloned().collect()
    }

    /// The number of the last kept frame's record.
    #[must_use]
    pub fn last(&self) -> Option<u32> {
        let kept = self.kept.read().unwrap_or_else(PoisonError::into_inner);
        kept.last().and_then(|f| f.record)
    }

    /// Whether nothing is kept yet.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        let kept = self.kept.read().unwrap_or_else(PoisonError::into_inner);
        kept.is_empty()
    }

    /// Watches, from now on.
    #[must_use]
    pub fn watch(&self) -> broadcast::Receiver<Frame> {
        self.channel.subscribe()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn event(record: u32) -> Frame {
        Frame::new("took", Some(record), &record)
    }

    #[test]
    fn a_frame_is_as_the_standard_has_it() {
        // WHATWG HTML, 9.2.5: fields, one a line, ended by an empty line.
        assert_eq!(
            event(7).bytes,
            Bytes::from("id: 7\nevent: took\ndata: 7\n\n")
        );
        let live = Frame::new("reading", None, &"a\nb");
        assert_eq!(
            live.bytes,
            Bytes::from("event: reading\ndata: \"a\\nb\"\n\n")
        );
    }

    #[test]
    fn what_was_told_is_kept_once_and_found_by_its_number() {
        let log = Log::default();
        for record in [0, 1, 3, 3, 2, 7] {
            log.keep(event(record));
        }
        let numbers = |from, most| -> Vec<u32> {
            let frames = log.from(from, most);
            frames.iter().filter_map(|f| f.record).collect()
        };
        assert_eq!(numbers(0, 9), [0, 1, 3, 7]);
        assert_eq!(numbers(2, 1), [3]);
        assert!(numbers(8, 9).is_empty());
    }
}
