//! QEMU's mps2-an386.

use core::convert::Infallible;
use core::ptr::{read_volatile, write_volatile};

use ohmtrail_core::units::Micros;

/// A CMSDK UART.
pub struct Uart {
    base: usize,
}

impl Uart {
    const STATE: usize = 0x04;
    const CTRL: usize = 0x08;
    const BAUDDIV: usize = 0x10;

    fn new(base: usize) -> Self {
        let uart = Uart { base };
        uart.set(Self::BAUDDIV, 217);
        uart.set(Self::CTRL, 3);
        uart
    }

    fn get(&self, at: usize) -> u32 {
        // SAFETY: a register of a device that is there, see the board's memory map.
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
        Ok(self.get(Self::STATE) & 2 != 0)
    }
}

impl embedded_io::Read for Uart {
    fn read(&mut self, buf: &mut [u8]) -> Result<usize, Infallible> {
        let Some(slot) = buf.first_mut() else {
            return Ok(0);
        };
        while self.get(Self::STATE) & 2 == 0 {}
        *slot = self.get(0) as u8;
        Ok(1)
    }
}

impl embedded_io::Write for Uart {
    fn write(&mut self, buf: &[u8]) -> Result<usize, Infallible> {
        let Some(byte) = buf.first() else {
            return Ok(0);
        };
        while self.get(Self::STATE) & 1 != 0 {}
        self.set(0, u32::from(*byte));
        Ok(1)
    }

    fn flush(&mut self) -> Result<(), Infallible> {
        Ok(())
    }
}

/// The board.
pub struct Board {
    /// To the host.
    pub link: Uart,
    timer: u64,
    last: u32,
}

impl Board {
    const TIMER: usize = 0x4000_0000;

    /// The board, set up.
    pub fn take() -> Self {
        // SAFETY: registers of the board's first timer.
        unsafe {
            write_volatile((Self::TIMER + 8) as *mut u32, u32::MAX);
            write_volatile((Self::TIMER + 4) as *mut u32, u32::MAX);
            write_volatile(Self::TIMER as *mut u32, 1);
        }
        Board {
            link: Uart::new(0x4000_4000),
            timer: 0,
            last: u32::MAX,
        }
    }

    /// Time since the start.
    pub fn now(&mut self) -> Micros {
        // SAFETY: as above.
        let value = unsafe { read_volatile((Self::TIMER + 4) as *const u32) };
        self.timer += u64::from(self.last.wrapping_sub(value));
        self.last = value;
        Micros(self.timer / 25)
    }
}
