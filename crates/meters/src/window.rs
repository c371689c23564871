//! The sliding window of the frames that are found by their end (carriage return, line feed):
//! the last fourteen bytes, judged anew at every byte. No byte is dropped before it has been
//! tried as the beginning of a frame, so no garbage can hide the frame behind it for long.
#![deny(clippy::indexing_slicing, clippy::unwrap_used, clippy::expect_used)]

use crate::driver::{FRAME, Outcome, Pushed};
use crate::showing::{Reason, Showing};

/// What the bytes in the window are.
pub(crate) enum Judged {
    /// The window does not end as a frame ends.
    NoEnd,
    /// A frame.
    Frame(Showing),
    /// It ends as a frame ends, and is refused.
    Refused(Reason),
}

impl From<Result<Showing, Reason>> for Judged {
    fn from(result: Result<Showing, Reason>) -> Self {
        match result {
            Ok(showing) => Judged::Frame(showing),
            Err(reason) => Judged::Refused(reason),
        }
    }
}

#[derive(Debug, Default)]
pub(crate) struct Window {
    held: [u8; FRAME],
    len: usize,
}

impl Window {
    pub(crate) fn push<'b>(
        &mut self,
        bytes: &'b [u8],
        judge: fn(&[u8; FRAME]) -> Judged,
    ) -> Pushed<'b, Showing> {
        let mut skipped = 0;
        let mut rest = bytes;
        while let Some((&byte, tail)) = rest.split_first() {
            rest = tail;
            if let Some(slot) = self.held.get_mut(self.len) {
                *slot = byte;
                self.len += 1;
            } else {
                self.held.rotate_left(1);
                if let Some(last) = self.held.last_mut() {
                    *last = byte;
                }
                skipped += 1;
            }
            if self.len < FRAME {
                continue;
            }
            let outcome = match judge(&self.held) {
                Judged::NoEnd => continue,
                Judged::Frame(showing) => {
                    self.len = 0;
                    Outcome::Got(showing)
                }
                // The bytes stay: a frame may begin among them.
                Judged::Refused(reason) => Outcome::Rejected(reason),
            };
            return Pushed {
                outcome,
                skipped,
                rest,
            };
        }
        Pushed {
            outcome: Outcome::Hungry,
            skipped,
            rest,
        }
    }
}
