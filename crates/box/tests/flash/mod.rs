//! A flash that dies within a write or an erasure, and keeps whatever it had come to.
#![allow(dead_code)]

use embedded_storage::nor_flash::{
    ErrorType, NorFlash, NorFlashErrorKind, ReadNorFlash, check_erase, check_read, check_write,
};

const PAGES: usize = 8;
const PAGE: usize = 512;

/// Numbers at random from a seed (xorshift64*).
pub struct Dice(pub u64);

impl Dice {
    /// A number under `n`.
    pub fn below(&mut self, n: u64) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut x = self.0;
        x = (x ^ (x >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        x = (x ^ (x >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        (x ^ (x >> 31)) % n.max(1)
    }
}

/// The flash.
pub struct Mortal {
    bytes: Vec<u8>,
    wear: [u32; PAGES],
    left: Option<u64>,
    dead: bool,
    lives: u32,
    dice: Dice,
}

impl Mortal {
    pub fn new(seed: u64) -> Self {
        // What a foreign flash holds is not to be trusted either.
        let mut dice = Dice(seed ^ 0xF1A5);
        let bytes = (0..PAGES * PAGE).map(|_| dice.below(256) as u8).collect();
        Mortal {
            bytes,
            wear: [0; PAGES],
            left: None,
            dead: false,
            lives: 0,
            dice,
        }
    }

    /// The power goes within the word after so many.
    pub fn die_after(&mut self, words: u64) {
        self.left = Some(words);
    }

    pub fn is_dead(&self) -> bool {
        self.dead
    }

    /// The power comes back.
    pub fn revive(&mut self) {
        self.dead = false;
        self.left = None;
        self.lives += 1;
    }

    /// How often the power came back.
    pub fn lives(&self) -> u32 {
        self.lives
    }

    /// How often each page was erased.
    pub fn wear(&self) -> [u32; PAGES] {
        self.wear
    }

    /// Whether the power lasts for another word.
    fn lasts(&mut self) -> bool {
        match &mut self.left {
            None => true,
            Some(0) => {
                self.dead = true;
                false
            }
            Some(left) => {
                *left -= 1;
                true
            }
        }
    }
}

impl ErrorType for Mortal {
    type Error = NorFlashErrorKind;
}

impl ReadNorFlash for Mortal {
    const READ_SIZE: usize = 1;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), NorFlashErrorKind> {
        check_read(self, offset, bytes.len())?;
        let at = offset as usize;
        bytes.copy_from_slice(&self.bytes[at..at + bytes.len()]);
        Ok(())
    }

    fn capacity(&self) -> usize {
        self.bytes.len()
    }
}

impl NorFlash for Mortal {
    const WRITE_SIZE: usize = 4;
    const ERASE_SIZE: usize = PAGE;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), NorFlashErrorKind> {
        check_erase(self, from, to)?;
        if self.dead {
            return Err(NorFlashErrorKind::Other);
        }
        for page in from as usize / PAGE..to as usize / PAGE {
            self.wear[page] += 1;
            for word in 0..PAGE / 4 {
                let at = page * PAGE + word * 4;
                if self.lasts() {
                    self.bytes[at..at + 4].fill(0xFF);
                    continue;
                }
                // The rest of the page is anything between what it was and blank.
                for byte in &mut self.bytes[at..(page + 1) * PAGE] {
                    match self.dice.below(3) {
                        0 => {}
                        1 => *byte = 0xFF,
                        _ => *byte |= self.dice.below(256) as u8,
                    }
                }
                return Err(NorFlashErrorKind::Other);
            }
        }
        Ok(())
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), NorFlashErrorKind> {
        check_write(self, offset, bytes.len())?;
        if self.dead {
            return Err(NorFlashErrorKind::Other);
        }
        for (word, chunk) in bytes.chunks(4).enumerate() {
            let at = offset as usize + word * 4;
            assert_eq!(
                &self.bytes[at..at + 4],
                &[0xFF; 4],
                "a word is written once between erasures"
            );
            if self.lasts() {
                self.bytes[at..at + 4].copy_from_slice(chunk);
                continue;
            }
            // This word is undefined; those after it were perhaps written before it.
            for (i, byte) in bytes[word * 4..].iter().enumerate() {
                let slot = &mut self.bytes[at + i];
                match self.dice.below(4) {
                    0 => *slot &= byte | self.dice.below(256) as u8,
                    1 if i >= 4 => *slot = *byte,
                    _ if i < 4 => *slot = *byte | self.dice.below(256) as u8,
                    _ => {}
                }
            }
            return Err(NorFlashErrorKind::Other);
        }
        Ok(())
    }
}
