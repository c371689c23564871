//! What outlives every load: the link, and the ring behind it.

use embedded_storage::nor_flash::NorFlash;
use ohmtrail_core::units::Micros;
use ohmtrail_link::hello::Identity;
use ohmtrail_link::station::StationEnd;

use crate::ring::{Ring, RingError};

/// The link and the ring.
#[derive(Debug)]
pub struct Keeper {
    /// The link.
    pub end: StationEnd,
    /// The ring.
    pub ring: Ring,
}

impl Keeper {
    /// Opens the ring in the board's flash. `id` is the box's own number; a ring's number is that
    /// of its first start, drawn by `draw` where the flash was empty.
    ///
    /// # Errors
    /// [`RingError::Flash`].
    pub fn open<F: NorFlash>(
        flash: &mut F,
        id: u64,
        firmware: [u8; 3],
        draw: impl FnOnce() -> u32,
    ) -> Result<Self, RingError> {
        let ring = Ring::open(flash, draw)?;
        let who = Identity {
            id,
            ring: ring.number(),
            firmware,
        };
        Ok(Keeper {
            end: StationEnd::new(who),
            ring,
        })
    }

    /// Frames the kept item that is to be sent now, if there is one and a host wants it.
    pub fn due<F: NorFlash>(&mut self, flash: &mut F, now: Micros) -> Option<&[u8]> {
        let (oldest, newest) = (self.ring.oldest(), self.ring.newest());
        let number = self.end.due(oldest, newest, now)?;
        // A flash that refuses is asked again at the next step.
        let item = self.ring.get(flash, number).ok()??;
        self.end.kept(oldest, number, item, now)
    }
}
