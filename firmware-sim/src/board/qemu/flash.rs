//! The flash: a file for the ring; a file for the load, read into memory at the start, which stands
//! in for flash that is read in place.

use core::slice;

use embedded_storage::nor_flash::{
    ErrorType, NorFlash, NorFlashErrorKind, ReadNorFlash, check_erase, check_read, check_write,
};
use ohmtrail_box::board::Store;
use ohmtrail_link::frame::crc32;
use ohmtrail_link::load::MOST;
use ohmtrail_link::message::Refusal;

use super::disk::File;

/// Sixteen pages of one KiB.
const RING: u32 = 16 * 1024;

/// The ring's flash.
pub struct FileFlash {
    file: File,
}

impl FileFlash {
    /// Opens it.
    pub fn open() -> Option<Self> {
        let file = File::open(b"ring.flash\0", RING)?;
        Some(FileFlash { file })
    }
}

fn done(done: bool) -> Result<(), NorFlashErrorKind> {
    if done {
        Ok(())
    } else {
        Err(NorFlashErrorKind::Other)
    }
}

impl ErrorType for FileFlash {
    type Error = NorFlashErrorKind;
}

impl ReadNorFlash for FileFlash {
    const READ_SIZE: usize = 1;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), NorFlashErrorKind> {
        check_read(self, offset, bytes.len())?;
        done(self.file.read(offset, bytes))
    }

    fn capacity(&self) -> usize {
        RING as usize
    }
}

impl NorFlash for FileFlash {
    const WRITE_SIZE: usize = 4;
    const ERASE_SIZE: usize = 1024;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), NorFlashErrorKind> {
        check_erase(self, from, to)?;
        done(self.file.fill(from, to))
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), NorFlashErrorKind> {
        check_write(self, offset, bytes.len())?;
        done(self.file.write(offset, bytes))
    }
}

/// Where the load is read in place: memory of the board beyond what the linker hands out.
const PLACE: *mut u8 = 0x2020_0000 as *mut u8;
/// Length and check before it in the file; all bits set while there is none.
const HEAD: u32 = 8;

/// The memory for a load.
pub struct FileStore {
    file: File,
    /// Length and check of the load that is there.
    load: Option<(u32, u32)>,
}

impl FileStore {
    /// Opens it, and finds the load that is in it.
    pub fn open() -> Option<Self> {
        let file = File::open(b"load.flash\0", HEAD + MOST)?;
        let mut store = FileStore { file, load: None };
        let mut head = [0; HEAD as usize];
        store.file.read(0, &mut head).then_some(())?;
        let [a, b, c, d, e, f, g, h] = head;
        let bytes = u32::from_le_bytes([a, b, c, d]);
        let crc = u32::from_le_bytes([e, f, g, h]);
        if bytes <= MOST {
            let whole = store.file.read(HEAD, room(bytes)) && crc32(place(bytes)) == crc;
            store.load = whole.then_some((bytes, crc));
        }
        Some(store)
    }
}

/// The memory, to be written.
fn room<'s>(bytes: u32) -> &'s mut [u8] {
    // SAFETY: the board has memory there, at least `MOST` bytes of it, that the linker knows nothing
    // of. There is one store; it calls this only while nobody reads (it is lent mutably), and lets
    // go of the slice before it returns.
    unsafe { slice::from_raw_parts_mut(PLACE, bytes.min(MOST) as usize) }
}

/// The memory, to be read for as long as the store is lent.
fn place<'s>(bytes: u32) -> &'s [u8] {
    // SAFETY: as above; nothing writes as long as the store is lent.
    unsafe { slice::from_raw_parts(PLACE, bytes.min(MOST) as usize) }
}

impl Store for FileStore {
    fn load(&self) -> Option<(&[u8], u32)> {
        self.load.map(|(bytes, crc)| (place(bytes), crc))
    }

    fn begin(&mut self, _bytes: u32) -> Result<(), Refusal> {
        self.load = None;
        if self.file.fill(0, HEAD) {
            Ok(())
        } else {
            Err(Refusal::Flash)
        }
    }

    fn piece(&mut self, at: u32, bytes: &[u8]) -> Result<(), Refusal> {
        let end = (at as usize).saturating_add(bytes.len());
        let room = room(MOST).get_mut(at as usize..end);
        for (slot, byte) in room.ok_or(Refusal::Flash)?.iter_mut().zip(bytes) {
            *slot = *byte;
        }
        if self.file.write(HEAD.saturating_add(at), bytes) {
            Ok(())
        } else {
            Err(Refusal::Flash)
        }
    }

    fn end(&mut self, bytes: u32, crc: u32) -> Result<(), Refusal> {
        if crc32(place(bytes)) != crc {
            return Err(Refusal::Check);
        }
        let mut head = [0; HEAD as usize];
        let numbers = bytes.to_le_bytes().into_iter().chain(crc.to_le_bytes());
        for (slot, byte) in head.iter_mut().zip(numbers) {
            *slot = byte;
        }
        if !self.file.write(0, &head) {
            return Err(Refusal::Flash);
        }
        self.load = Some((bytes, crc));
        Ok(())
    }
}
