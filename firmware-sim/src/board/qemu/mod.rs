//! QEMU's mps2-an386: its first UART is the link, its second the front end and the panel, and two
//! files on the host are its flash.

mod disk;
mod flash;
mod panel;
mod uart;

use core::ptr::{read_volatile, write_volatile};

use embedded_io::{Read as _, ReadReady as _, Write as _};
use ohmtrail_box::board::{Board, Shows};
use ohmtrail_box::front::{FrontEnd, Range, Sample};
use ohmtrail_core::accuracy::{Accuracy, Spec};
use ohmtrail_core::reading::Function;
use ohmtrail_core::units::Micros;
use ohmtrail_link::message::Button;

use self::flash::{FileFlash, FileStore};
use self::panel::Panel;
use self::uart::Uart;
use crate::stack;

/// A range whose codes are four to a count, and begin at 12: a converter has an offset.
const fn range(exponent: i8) -> Range {
    Range {
        exponent,
        offset: 12,
        gain: 65536 / 4,
        full: 6000,
    }
}

const fn spec(function: Function, percent: f64, counts: f64, top: f64) -> Spec {
    Spec {
        function,
        accuracy: Accuracy::up_to(percent, counts, top),
    }
}

/// The invented front end: 10 samples a second; what a calibrated one might hold.
static FRONT: FrontEnd = FrontEnd {
    functions: &[
        (Function::VoltsAc, &[range(-2), range(-1)]),
        (Function::VoltsDc, &[range(-2), range(-1)]),
        (
            Function::Ohms,
            &[
                range(-2),
                range(-1),
                range(0),
                range(1),
                range(2),
                range(3),
                range(4),
            ],
        ),
        (Function::Farads, &[range(-9), range(-8), range(-7)]),
        (Function::AmpsAc, &[range(-2), range(-1)]),
        (Function::Celsius, &[range(-1)]),
    ],
    accuracy: &[
        spec(Function::VoltsAc, 1.0, 3.0, 600.0),
        spec(Function::VoltsDc, 0.5, 3.0, 600.0),
        spec(Function::Ohms, 0.8, 2.0, 60e6),
        spec(Function::Farads, 2.0, 5.0, 600e-6),
        spec(Function::AmpsAc, 1.5, 5.0, 600.0),
        spec(Function::Celsius, 0.5, 5.0, 600.0),
    ],
    leads_ohms: [0.0, 0.01],
    period_us: 100_000,
};

/// The board.
pub struct Qemu {
    link: Uart,
    panel: Panel,
    flash: FileFlash,
    clock: Clock,
}

/// What the board is made of.
pub struct Parts {
    /// The board.
    pub board: Qemu,
    /// Its memory for a load.
    pub store: FileStore,
    /// Its number.
    pub id: u64,
    /// Something that differs from start to start.
    pub drawn: u32,
}

/// The board, set up. To be called once; none if its flash cannot be had.
pub fn take() -> Option<Parts> {
    Some(Parts {
        board: Qemu {
            link: Uart::new(uart::FIRST),
            panel: Panel::new(Uart::new(uart::SECOND)),
            flash: FileFlash::open()?,
            clock: Clock::start(),
        },
        store: FileStore::open()?,
        id: 0x0B0C_5EED_0000_0001,
        drawn: disk::time(),
    })
}

impl Board for Qemu {
    type Flash = FileFlash;

    fn flash(&mut self) -> &mut FileFlash {
        &mut self.flash
    }

    fn front(&self) -> &'static FrontEnd {
        &FRONT
    }

    fn now(&mut self) -> Micros {
        self.clock.now()
    }

    fn hear(&mut self) -> Option<u8> {
        if !self.link.read_ready().ok()? {
            return None;
        }
        let mut byte = [0];
        self.link.read(&mut byte).ok()?;
        let [byte] = byte;
        Some(byte)
    }

    fn say(&mut self, bytes: &[u8]) {
        // This port cannot fail.
        let _ = self.link.write_all(bytes);
    }

    fn measure(&mut self, function: Function) {
        self.panel.tell_function(function);
    }

    fn sample(&mut self) -> Option<Sample> {
        self.panel.sample()
    }

    fn button(&mut self) -> Option<Button> {
        self.panel.button()
    }

    fn show(&mut self, shows: &Shows) {
        self.panel.show(shows);
    }

    fn stack(&mut self) -> [u32; 2] {
        stack::deepest()
    }
}

/// The board's first timer, counting down at 25 MHz.
struct Clock {
    ticks: u64,
    last: u32,
}

impl Clock {
    const CTRL: *mut u32 = 0x4000_0000 as *mut u32;
    const VALUE: *mut u32 = 0x4000_0004 as *mut u32;
    const RELOAD: *mut u32 = 0x4000_0008 as *mut u32;

    fn start() -> Self {
        // SAFETY: registers of a timer that this board has and nothing else uses.
        unsafe {
            write_volatile(Self::RELOAD, u32::MAX);
            write_volatile(Self::VALUE, u32::MAX);
            write_volatile(Self::CTRL, 1);
        }
        Clock {
            ticks: 0,
            last: u32::MAX,
        }
    }

    /// Asked more often than the timer turns over, which takes 171 s.
    fn now(&mut self) -> Micros {
        // SAFETY: as above.
        let value = unsafe { read_volatile(Self::VALUE) };
        let passed = u64::from(self.last.wrapping_sub(value));
        self.ticks = self.ticks.wrapping_add(passed);
        self.last = value;
        Micros(self.ticks / 25)
    }
}
