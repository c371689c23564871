//! A UART of the CMSDK kind.

use core::convert::Infallible;
use core::ptr::{read_volatile, write_volatile};

/// The first UART.
pub const FIRST: usize = 0x4000_4000;
/// The second.
pub const SECOND: usize = 0x4000_5000;

const STATE: usize = 0x04;
const CTRL: usize = 0x08;
const BAUDDIV: usize = 0x10;
const TX_FULL: u32 = 1;
const RX_FULL: u32 = 2;

/// A UART.
pub struct Uart {
    base: usize,
}

impl Uart {
    /// The UART at this address, which is [`FIRST`] or [`SECOND`], at 115 200 bit/s.
    pub fn new(base: usize) -> Self {
        let uart = Uart { base };
        uart.set(BAUDDIV, 25_000_000 / 115_200);
        uart.set(CTRL, 3);
        uart
    }

    fn get(&self, at: usize) -> u32 {
        // SAFETY: a register of a UART that this board has.
        unsafe { read_volatile((self.base + at) as *const u32) }
    }

    fn set(&self, at: usize, value: u32) {
        // SAFETY: as above.
        unsafe { write_volatile((self.base + at) as *mut u32, value) }
    }
}

impl embedded_io::ErrorType for Uart {
    type Error = Infallible;
}

impl embedded_io::ReadReady for Uart {
    fn read_ready(&mut self) -> Result<bool, Infallible> {
        Ok(self.get(STATE) & RX_FULL != 0)
    }
}

impl embedded_io::Read for Uart {
    fn read(&mut self, buf: &mut [u8]) -> Result<usize, Infallible> {
        let Some(slot) = buf.first_mut() else {
            return Ok(0);
        };
        while self.get(STATE) & RX_FULL == 0 {}
        *slot = self.get(0) as u8;
        Ok(1)
    }
}

impl embedded_io::Write for Uart {
    fn write(&mut self, buf: &[u8]) -> Result<usize, Infallible> {
        for byte in buf {
            while self.get(STATE) & TX_FULL != 0 {}
            self.set(0, u32::from(*byte));
        }
        Ok(buf.len())
    }

    fn flush(&mut self) -> Result<(), Infallible> {
        Ok(())
    }
}
