//! Kept items in flash: a ring of pages that wear alike, and that survives the loss of power at
//! any write and in any erase.
//!
//! # Layout
//! Numbers are little-endian. A page begins with its head, 24 bytes:
//!
//! | bytes | what |
//! |---|---|
//! | 0–3 | `OHMr` |
//! | 4–7 | number of the page, one more than that of the page before it in time |
//! | 8–11 | number of its first item |
//! | 12–15 | how many times the box had started when the page was begun |
//! | 16–19 | number of the ring: drawn when the flash was empty |
//! | 20–23 | CRC-32 of bytes 0 to 19 |
//!
//! Records follow, each a multiple of four bytes:
//!
//! | bytes | what |
//! |---|---|
//! | 0–1 | length of the item, 1 to [`LONGEST`] |
//! | 2–3 | the same, every bit turned over |
//! | 4… | the item, in postcard, filled up with 255 |
//! | last 4 | CRC-32 of the item's number and of its bytes |
//!
//! # What survives
//! An item is kept once [`Ring::push`] has returned, and not before. A record that was being
//! written when the power went is found by its check, and its page is written no further; a page
//! whose erasure was interrupted held only items that a host has stored, and is left out with all
//! before it. Pages are erased in turn, only when a host has stored all of their items, and only
//! when they are needed again.

use embedded_storage::nor_flash::{NorFlash, ReadNorFlash};
use ohmtrail_link::frame::{crc32, crc32_more};
use ohmtrail_link::message::Item;

/// The most bytes of an encoded item.
pub const LONGEST: usize = 64;
/// The bytes of a page's head.
const HEAD: u32 = 24;
/// The bytes of a record beside its item.
const AROUND: usize = 8;
const RECORD: usize = LONGEST + AROUND;
const MARK: [u8; 4] = *b"OHMr";

/// Why the ring did not do what it was asked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RingError {
    /// The flash refused, or is too small: four pages at least, written in words of 1, 2 or 4.
    Flash,
    /// No page is free: a host must store items first.
    Full,
    /// The item does not fit a record.
    TooLong,
}

/// A page's head.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Head {
    page: u32,
    first: u32,
    boot: u32,
    ring: u32,
}

impl Head {
    fn encode(self) -> [u8; HEAD as usize] {
        let mut out = [0; HEAD as usize];
        let numbers = [self.page, self.first, self.boot, self.ring];
        let bytes = MARK
            .into_iter()
            .chain(numbers.into_iter().flat_map(u32::to_le_bytes));
        for (slot, byte) in out.iter_mut().zip(bytes) {
            *slot = byte;
        }
        if let Some((head, check)) = out.split_last_chunk_mut::<4>() {
            *check = crc32(head).to_le_bytes();
        }
        out
    }

    fn decode(bytes: &[u8; HEAD as usize]) -> Option<Head> {
        let (head, check) = bytes.split_last_chunk::<4>()?;
        let mut words = head
            .as_chunks::<4>()
            .0
            .iter()
            .map(|word| u32::from_le_bytes(*word));
        let marked = words.next()? == u32::from_le_bytes(MARK);
        (marked && crc32(head) == u32::from_le_bytes(*check)).then_some(())?;
        Some(Head {
            page: words.next()?,
            first: words.next()?,
            boot: words.next()?,
            ring: words.next()?,
        })
    }
}

/// What lies at a place in a page.
enum Found {
    /// A whole record, this long, with its item in the buffer up to this length.
    Record { bytes: u32, item: usize },
    /// Nothing was ever written from here on.
    Blank,
    /// Something that is no record of this number, or the end of the page.
    End,
}

/// The ring. It holds where things are; the flash is its caller's.
#[derive(Debug)]
pub struct Ring {
    pages: u32,
    page_bytes: u32,
    /// The slot that is written, and the head in it.
    active: u32,
    head: Head,
    /// Where the next record goes; the page's end where nothing more may be written to it.
    end: u32,
    /// The slot of the oldest page that is held, and the number of its first item.
    oldest_slot: u32,
    oldest: u32,
    next: u32,
    boot: u32,
    /// Where the item that will be asked for next lies: number, slot, place.
    cursor: Option<(u32, u32, u32)>,
}

impl Ring {
    /// Finds what is in the flash, and counts this start. An empty or foreign flash becomes an
    /// empty ring, with a number that `draw` gives.
    ///
    /// # Errors
    /// [`RingError::Flash`].
    pub fn open<F: NorFlash>(flash: &mut F, draw: impl FnOnce() -> u32) -> Result<Ring, RingError> {
        let page_bytes = u32::try_from(F::ERASE_SIZE).map_err(|_| RingError::Flash)?;
        let capacity = u32::try_from(flash.capacity()).map_err(|_| RingError::Flash)?;
        let pages = capacity.checked_div(page_bytes).unwrap_or(0);
        let words = [1, 2, 4].contains(&F::WRITE_SIZE) && F::READ_SIZE <= 4;
        if pages < 4 || page_bytes < 256 || !words {
            return Err(RingError::Flash);
        }
        let mut ring = Ring {
            pages,
            page_bytes,
            active: 0,
            head: Head {
                page: 0,
                first: 1,
                boot: 0,
                ring: 0,
            },
            end: 0,
            oldest_slot: 0,
            oldest: 1,
            next: 1,
            boot: 1,
            cursor: None,
        };
        let mut newest: Option<(u32, Head)> = None;
        for slot in 0..pages {
            if let Some(head) = ring.read_head(flash, slot)?
                && newest.is_none_or(|(_, known)| head.page > known.page)
            {
                newest = Some((slot, head));
            }
        }
        let Some((slot, head)) = newest else {
            ring.head.ring = draw();
            ring.begin_page(flash, 0)?;
            ring.oldest_slot = 0;
            return Ok(ring);
        };
        ring.active = slot;
        ring.head = head;
        let (next, end) = ring.scan(flash, slot, head)?;
        ring.next = next;
        ring.end = end;
        ring.oldest_slot = slot;
        ring.oldest = head.first;
        ring.find_oldest(flash)?;
        // Items of the newest page may be of later starts than the page.
        let last = ring.get(flash, ring.newest())?.map_or(0, |item| item.boot);
        ring.boot = last.max(head.boot).saturating_add(1);
        Ok(ring)
    }

    /// Goes back from the newest page for as long as pages and their items follow each other.
    fn find_oldest<F: NorFlash>(&mut self, flash: &mut F) -> Result<(), RingError> {
        let (mut slot, mut head) = (self.active, self.head);
        for _ in 1..self.pages {
            let before = self.before(slot);
            let Some(older) = self.read_head(flash, before)? else {
                break;
            };
            if older.page.checked_add(1) != Some(head.page) {
                break;
            }
            let (next, _) = self.scan(flash, before, older)?;
            if next != head.first {
                break;
            }
            (slot, head) = (before, older);
            self.oldest_slot = slot;
            self.oldest = head.first;
        }
        Ok(())
    }

    /// The number of the oldest item held; one more than the newest if none is.
    #[must_use]
    pub const fn oldest(&self) -> u32 {
        self.oldest
    }

    /// The number of the newest item; 0 if there never was one.
    #[must_use]
    pub const fn newest(&self) -> u32 {
        self.next.saturating_sub(1)
    }

    /// The number of the ring.
    #[must_use]
    pub const fn number(&self) -> u32 {
        self.head.ring
    }

    /// How many times the box has started and kept something.
    #[must_use]
    pub const fn boot(&self) -> u32 {
        self.boot
    }

    /// How many more of the longest items can be kept, at least.
    #[must_use]
    pub fn room(&self) -> u32 {
        let record = RECORD as u32;
        let per_page = self.page_bytes.saturating_sub(HEAD) / record;
        let held = self
            .active
            .saturating_add(self.pages)
            .saturating_sub(self.oldest_slot)
            .checked_rem(self.pages)
            .unwrap_or(0)
            .saturating_add(1);
        let free = self.pages.saturating_sub(held);
        let here = self.page_bytes.saturating_sub(self.end) / record;
        free.saturating_mul(per_page).saturating_add(here)
    }

    /// Keeps an item, and returns its number. When this returns, the item is in the flash.
    ///
    /// # Errors
    /// [`RingError`]; then nothing is kept, and the next item gets the number.
    pub fn push<F: NorFlash>(&mut self, flash: &mut F, item: &Item) -> Result<u32, RingError> {
        let number = self.next;
        let mut record = [0xFF; RECORD];
        let bytes = encode(&mut record, number, item).ok_or(RingError::TooLong)?;
        let record = record.get(..bytes).ok_or(RingError::TooLong)?;
        let length = u32::try_from(bytes).map_err(|_| RingError::TooLong)?;
        if self.end.saturating_add(length) > self.page_bytes {
            let slot = self.after(self.active);
            if slot == self.oldest_slot {
                return Err(RingError::Full);
            }
            self.begin_page(flash, slot)?;
        }
        let at = self.place(self.active, self.end);
        // Whatever happens now, this place is not written again.
        let end = self.end.saturating_add(length);
        self.end = self.page_bytes;
        flash.write(at, record).map_err(|_| RingError::Flash)?;
        self.end = end;
        self.next = self.next.saturating_add(1);
        Ok(number)
    }

    /// Erases a page and puts its head in.
    fn begin_page<F: NorFlash>(&mut self, flash: &mut F, slot: u32) -> Result<(), RingError> {
        let head = Head {
            page: self.head.page.saturating_add(1),
            first: self.next,
            boot: self.boot,
            ring: self.head.ring,
        };
        let from = self.place(slot, 0);
        let to = from.saturating_add(self.page_bytes);
        flash.erase(from, to).map_err(|_| RingError::Flash)?;
        flash
            .write(from, &head.encode())
            .map_err(|_| RingError::Flash)?;
        self.active = slot;
        self.head = head;
        self.end = HEAD;
        Ok(())
    }

    /// A host has stored every item up to this number: their pages may be used again.
    ///
    /// # Errors
    /// [`RingError::Flash`].
    pub fn stored<F: NorFlash>(&mut self, flash: &mut F, number: u32) -> Result<(), RingError> {
        while self.oldest_slot != self.active {
            let after = self.after(self.oldest_slot);
            let first = if after == self.active {
                self.head.first
            } else {
                match self.read_head(flash, after)? {
                    Some(head) => head.first,
                    None => return Err(RingError::Flash),
                }
            };
            if first > number.saturating_add(1) {
                break;
            }
            self.oldest_slot = after;
            self.oldest = first;
        }
        Ok(())
    }

    /// The item of that number; none if it is not held.
    ///
    /// # Errors
    /// [`RingError::Flash`].
    pub fn get<F: NorFlash>(
        &mut self,
        flash: &mut F,
        number: u32,
    ) -> Result<Option<Item>, RingError> {
        if number < self.oldest || number >= self.next {
            return Ok(None);
        }
        let (mut at_number, mut slot, mut at) = match self.cursor {
            Some((n, slot, at)) if n <= number && n >= self.oldest => (n, slot, at),
            _ => (self.oldest, self.oldest_slot, HEAD),
        };
        let mut buffer = [0; RECORD];
        // At most every page, and every record in it.
        for _ in 0..=self.next.saturating_sub(self.oldest) + self.pages {
            match self.look(flash, slot, at, at_number, &mut buffer)? {
                Found::Record { bytes, item } => {
                    at = at.saturating_add(bytes);
                    if at_number == number {
                        self.cursor = Some((number.saturating_add(1), slot, at));
                        let item = buffer.get(4..item.saturating_add(4)).unwrap_or_default();
                        return Ok(Item::decode(item));
                    }
                    at_number = at_number.saturating_add(1);
                }
                Found::Blank | Found::End => {
                    if slot == self.active {
                        break;
                    }
                    slot = self.after(slot);
                    at = HEAD;
                }
            }
        }
        Ok(None)
    }

    /// Whether every item that is held can be read.
    ///
    /// # Errors
    /// [`RingError::Flash`].
    pub fn is_whole<F: NorFlash>(&mut self, flash: &mut F) -> Result<bool, RingError> {
        for number in self.oldest..self.next {
            if self.get(flash, number)?.is_none() {
                return Ok(false);
            }
        }
        Ok(true)
    }

    /// The number after the last whole record of a page, and where the next record may go.
    fn scan<F: NorFlash>(
        &self,
        flash: &mut F,
        slot: u32,
        head: Head,
    ) -> Result<(u32, u32), RingError> {
        let mut buffer = [0; RECORD];
        let (mut number, mut at) = (head.first, HEAD);
        loop {
            match self.look(flash, slot, at, number, &mut buffer)? {
                Found::Record { bytes, .. } => {
                    number = number.saturating_add(1);
                    at = at.saturating_add(bytes);
                }
                Found::Blank => return Ok((number, at)),
                Found::End => return Ok((number, self.page_bytes)),
            }
        }
    }

    /// Looks for the record of this number at this place.
    fn look<F: NorFlash>(
        &self,
        flash: &mut F,
        slot: u32,
        at: u32,
        number: u32,
        buffer: &mut [u8; RECORD],
    ) -> Result<Found, RingError> {
        let mut word = [0; 4];
        if at.saturating_add(4) > self.page_bytes {
            return Ok(Found::End);
        }
        read(flash, self.place(slot, at), &mut word)?;
        let [a, b, c, d] = word;
        let length = usize::from(u16::from_le_bytes([a, b]));
        let turned = !u16::from_le_bytes([c, d]);
        let Some(bytes) = record_bytes(length)
            .filter(|bytes| usize::from(turned) == length && fits(at, *bytes, self.page_bytes))
        else {
            return Ok(if word == [0xFF; 4] && self.is_blank(flash, slot, at)? {
                Found::Blank
            } else {
                Found::End
            });
        };
        let Some(record) = buffer.get_mut(..bytes) else {
            return Ok(Found::End);
        };
        read(flash, self.place(slot, at), record)?;
        let (Some(item), Some(check)) = (
            record.get(4..length.saturating_add(4)),
            record.last_chunk::<4>(),
        ) else {
            return Ok(Found::End);
        };
        if u32::from_le_bytes(*check) == check_of(number, item) {
            let bytes = u32::try_from(bytes).unwrap_or(u32::MAX);
            return Ok(Found::Record {
                bytes,
                item: length,
            });
        }
        Ok(Found::End)
    }

    /// Whether a page was never written from this place on.
    fn is_blank<F: NorFlash>(
        &self,
        flash: &mut F,
        slot: u32,
        from: u32,
    ) -> Result<bool, RingError> {
        let mut at = from;
        let mut word = [0; 4];
        while at < self.page_bytes {
            read(flash, self.place(slot, at), &mut word)?;
            if word != [0xFF; 4] {
                return Ok(false);
            }
            at = at.saturating_add(4);
        }
        Ok(true)
    }

    fn read_head<F: NorFlash>(&self, flash: &mut F, slot: u32) -> Result<Option<Head>, RingError> {
        let mut bytes = [0; HEAD as usize];
        read(flash, self.place(slot, 0), &mut bytes)?;
        Ok(Head::decode(&bytes))
    }

    const fn place(&self, slot: u32, at: u32) -> u32 {
        slot.saturating_mul(self.page_bytes).saturating_add(at)
    }

    const fn after(&self, slot: u32) -> u32 {
        let next = slot.saturating_add(1);
        if next < self.pages { next } else { 0 }
    }

    const fn before(&self, slot: u32) -> u32 {
        match slot.checked_sub(1) {
            Some(before) => before,
            None => self.pages.saturating_sub(1),
        }
    }
}

fn read<F: ReadNorFlash>(flash: &mut F, at: u32, into: &mut [u8]) -> Result<(), RingError> {
    flash.read(at, into).map_err(|_| RingError::Flash)
}

fn fits(at: u32, bytes: usize, page: u32) -> bool {
    u32::try_from(bytes).is_ok_and(|bytes| at.saturating_add(bytes) <= page)
}

/// The bytes of a record with an item of this length; none if there is no such item.
fn record_bytes(length: usize) -> Option<usize> {
    if length == 0 || length > LONGEST {
        return None;
    }
    length
        .checked_next_multiple_of(4)
        .map(|l| l.saturating_add(AROUND))
}

fn check_of(number: u32, item: &[u8]) -> u32 {
    crc32_more(crc32(&number.to_le_bytes()), item)
}

/// Encodes a record; how many bytes it takes.
fn encode(record: &mut [u8; RECORD], number: u32, item: &Item) -> Option<usize> {
    let room = record.get_mut(4..4_usize.saturating_add(LONGEST))?;
    let length = item.encode(room)?;
    let check = check_of(number, room.get(..length)?);
    let bytes = record_bytes(length)?;
    let short = u16::try_from(length).ok()?;
    *record.first_chunk_mut::<2>()? = short.to_le_bytes();
    record
        .get_mut(2..4)?
        .copy_from_slice(&(!short).to_le_bytes());
    // What the encoder may have used as scratch is filled again.
    let used = length.saturating_add(4);
    record.get_mut(used..)?.fill(0xFF);
    *record.get_mut(..bytes)?.last_chunk_mut::<4>()? = check.to_le_bytes();
    Some(bytes)
}
