//! Files on the host, by semihosting: they outlive a killed emulator as flash outlives a cut of
//! power.

use cortex_m_semihosting::{nr, syscall, syscall1};

/// A file.
pub struct File {
    handle: usize,
}

impl File {
    /// Opens a file of the emulator's folder, with its zero byte at the end; makes one of 255s of
    /// this length if there is none.
    pub fn open(name: &'static [u8], length: u32) -> Option<File> {
        debug_assert!(name.last() == Some(&0));
        if let Some(file) = File::with(name, nr::open::RW_BINARY)
            && file.length() >= length
        {
            return Some(file);
        }
        let file = File::with(name, nr::open::RW_TRUNC_BINARY)?;
        file.fill(0, length).then_some(file)
    }

    fn with(name: &'static [u8], mode: usize) -> Option<File> {
        // SAFETY: the call reads the name, whose length without its zero byte is given.
        let handle = unsafe { syscall!(OPEN, name.as_ptr(), mode, name.len().wrapping_sub(1)) };
        (handle != usize::MAX).then_some(File { handle })
    }

    fn length(&self) -> u32 {
        // SAFETY: the call reads the handle.
        let length = unsafe { syscall!(FLEN, self.handle) };
        if length == usize::MAX {
            0
        } else {
            length as u32
        }
    }

    fn seek(&self, at: u32) -> bool {
        // SAFETY: the call reads the handle and the place.
        unsafe { syscall!(SEEK, self.handle, at as usize) == 0 }
    }

    /// Reads; whether all of it was there.
    pub fn read(&self, at: u32, into: &mut [u8]) -> bool {
        // SAFETY: the call writes into the slice, whose length is given.
        self.seek(at) && unsafe { syscall!(READ, self.handle, into.as_mut_ptr(), into.len()) == 0 }
    }

    /// Writes; whether all of it was written.
    pub fn write(&self, at: u32, bytes: &[u8]) -> bool {
        // SAFETY: the call reads the slice, whose length is given.
        self.seek(at) && unsafe { syscall!(WRITE, self.handle, bytes.as_ptr(), bytes.len()) == 0 }
    }

    /// Fills a range with 255s.
    pub fn fill(&self, from: u32, to: u32) -> bool {
        let blank = [0xFF; 256];
        let mut at = from;
        while at < to {
            let length = to.saturating_sub(at).min(256);
            let Some(part) = blank.get(..length as usize) else {
                return false;
            };
            if !self.write(at, part) {
                return false;
            }
            at = at.saturating_add(length);
        }
        true
    }
}

/// Seconds since 1970, by the host's clock.
pub fn time() -> u32 {
    // SAFETY: the call reads nothing.
    unsafe { syscall1!(TIME, 0) as u32 }
}

/// Reads a file of the emulator's folder, with its zero byte at the end, from its beginning; how
/// many bytes it is. None if it is not there or is larger than the room.
#[allow(dead_code, reason = "only the counting program reads whole files")]
pub fn read_all(name: &'static [u8], into: &mut [u8]) -> Option<usize> {
    let file = File::with(name, nr::open::R_BINARY)?;
    let length = file.length() as usize;
    file.read(0, into.get_mut(..length)?).then_some(length)
}
