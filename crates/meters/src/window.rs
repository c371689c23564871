//! The sliding window of the frames that are found by their end (carriage return, line feed):
//! the last fourteen bytes, judged anew at every byte. No byte is dropped before it has been
//! tried as the beginning of a frame, so no garbage can hide the frame behind it for long.
#![deny(clippy::indexing_slicing, clippy::unwrap_used, clippy::expect_used)]

use crate::driver::{FRAME, Outcome, Pushed};
use crate::showing::{Reason, Showing};

#[derive(Debug, Default)]
pub(crate) struct Window {
    held: [u8; FRAME],
    len: usize,
}

impl Window {
    pub(crate) fn push<'b>(
        &mut self,
        bytes: &'b [u8],
        decode: fn(&[u8; FRAME]) -> Result<Showing, Reason>,
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
            if self.len < FRAME || !self.held.ends_with(b"\r\n") {
                continue;
            }
            let (outcome, used) = match decode(&self.held) {
                Ok(showing) => {
                    self.len = 0;
                    (Outcome::Got(showing), FRAME)
                }
                // The bytes stay: a frame may begin among them.
                Err(reason) => (Outcome::Rejected(reason), 0),
            };
            return Pushed {
                outcome,
                used,
                skipped,
                rest,
            };
        }
        Pushed {
            outcome: Outcome::Hungry,
            used: 0,
            skipped,
            rest,
        }
    }
}
