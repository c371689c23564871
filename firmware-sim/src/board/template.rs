//! A template for a board of your own: the box over the traits of embedded-hal, embedded-io and
//! embedded-storage. Give [`Wired`] your chip's peripherals in [`take`]; everything else is the
//! same code that runs under QEMU.
//!
//! The front end is a converter behind an isolated, rated module: see docs/hobby-guide.md for what
//! such a box may touch. This file compiles and drives no chip by itself: [`take`] gives none.

use core::convert::Infallible;

use embedded_hal::digital::{InputPin, OutputPin};
use embedded_hal::i2c::I2c;
use embedded_io::{Read, ReadReady, Write};
use embedded_storage::nor_flash::{ErrorType, NorFlash, ReadNorFlash};
use ohmtrail_box::board::{Board, Shows, Store};
use ohmtrail_box::front::{FrontEnd, Range, Sample};
use ohmtrail_core::accuracy::{Accuracy, Spec};
use ohmtrail_core::reading::Function;
use ohmtrail_core::units::Micros;
use ohmtrail_link::message::{Button, Refusal};

use crate::stack;

/// The converter's address on its bus, and the codes that it gives at nothing and at full scale:
/// put your calibration here (docs/hobby-guide.md works one through).
const CONVERTER: u8 = 0x48;
static FRONT: FrontEnd = FrontEnd {
    functions: &[(
        Function::Ohms,
        &[Range {
            exponent: -1,
            offset: 0,
            gain: 65536 / 4,
            full: 6000,
        }],
    )],
    accuracy: &[Spec {
        function: Function::Ohms,
        accuracy: Accuracy::up_to(1.0, 3.0, 600.0),
    }],
    leads_ohms: [0.1, 0.02],
    period_us: 100_000,
};

/// The box on real peripherals.
pub struct Wired<Port, Bus, Out, In, Flash, Clock> {
    /// The serial port to the host.
    pub port: Port,
    /// The bus that the converter is on.
    pub bus: Bus,
    /// The matrix: five columns, then seven rows.
    pub matrix: [Out; 12],
    /// The buttons, low while pressed: yes, no, skip, stop, next, go.
    pub buttons: [In; 6],
    /// Whether each was pressed when it was last looked at.
    pub pressed: [bool; 6],
    /// Flash for kept items.
    pub flash: Flash,
    /// Microseconds since the start.
    pub clock: Clock,
    /// The column that is lit now.
    pub column: usize,
    /// When the next sample is due.
    pub due: Micros,
}

impl<Port, Bus, Out, In, Flash, Clock> Board for Wired<Port, Bus, Out, In, Flash, Clock>
where
    Port: Read + ReadReady + Write,
    Bus: I2c,
    Out: OutputPin,
    In: InputPin,
    Flash: NorFlash,
    Clock: FnMut() -> Micros,
{
    type Flash = Flash;

    fn flash(&mut self) -> &mut Flash {
        &mut self.flash
    }

    fn front(&self) -> &'static FrontEnd {
        &FRONT
    }

    fn now(&mut self) -> Micros {
        (self.clock)()
    }

    fn hear(&mut self) -> Option<u8> {
        let mut byte = [0];
        let ready = self.port.read_ready().unwrap_or(false);
        (ready && self.port.read(&mut byte).ok()? == 1).then_some(byte[0])
    }

    fn say(&mut self, bytes: &[u8]) {
        // What a broken line loses is sent again.
        let _ = self.port.write_all(bytes);
    }

    fn measure(&mut self, _function: Function) {
        // One function; a front end of several switches its ranges here.
    }

    fn sample(&mut self) -> Option<Sample> {
        let now = self.now();
        if now < self.due {
            return None;
        }
        self.due = Micros(now.0.saturating_add(u64::from(FRONT.period_us)));
        let mut code = [0; 2];
        self.bus.write_read(CONVERTER, &[0], &mut code).ok()?;
        Some(Sample {
            range: 0,
            code: i32::from(i16::from_be_bytes(code)),
        })
    }

    fn button(&mut self) -> Option<Button> {
        const BUTTONS: [Button; 6] = [
            Button::Yes,
            Button::No,
            Button::Skip,
            Button::Stop,
            Button::Next,
            Button::Go,
        ];
        for ((pin, was), button) in self.buttons.iter_mut().zip(&mut self.pressed).zip(BUTTONS) {
            let is = pin.is_low().unwrap_or(false);
            let fresh = is && !*was;
            *was = is;
            if fresh {
                return Some(button);
            }
        }
        None
    }

    fn show(&mut self, shows: &Shows) {
        // One column at a time, the next one at each step.
        self.column = (self.column + 1) % 5;
        let rows = shows.frame.get(self.column).copied().unwrap_or(0);
        let (columns, pins) = self.matrix.split_at_mut(5);
        for (n, pin) in columns.iter_mut().enumerate() {
            let _ = pin.set_state((n == self.column).into());
        }
        for (n, pin) in pins.iter_mut().enumerate() {
            let _ = pin.set_state((rows & (1 << n) != 0).into());
        }
        // `shows.hz` goes to a timer that drives a buzzer.
    }

    fn stack(&mut self) -> [u32; 2] {
        stack::deepest()
    }
}

/// What a board is made of.
pub struct Parts<B, S> {
    /// The board.
    pub board: B,
    /// Its memory for a load.
    pub store: S,
    /// Its number: most chips have one of their own.
    pub id: u64,
    /// Something that differs from start to start: noise of a converter, or a counter.
    pub drawn: u32,
}

/// Nothing is wired: write your chip's peripherals in place of these.
pub enum Unwired {}

/// Your board. This template has no chip, and gives none.
pub fn take()
-> Option<Parts<Wired<Unwired, Unwired, Unwired, Unwired, Unwired, fn() -> Micros>, Unwired>> {
    None
}

impl embedded_io::ErrorType for Unwired {
    type Error = Infallible;
}

impl Read for Unwired {
    fn read(&mut self, _: &mut [u8]) -> Result<usize, Infallible> {
        match *self {}
    }
}

impl ReadReady for Unwired {
    fn read_ready(&mut self) -> Result<bool, Infallible> {
        match *self {}
    }
}

impl Write for Unwired {
    fn write(&mut self, _: &[u8]) -> Result<usize, Infallible> {
        match *self {}
    }

    fn flush(&mut self) -> Result<(), Infallible> {
        match *self {}
    }
}

impl embedded_hal::i2c::ErrorType for Unwired {
    type Error = Infallible;
}

impl I2c for Unwired {
    fn transaction(
        &mut self,
        _: u8,
        _: &mut [embedded_hal::i2c::Operation<'_>],
    ) -> Result<(), Infallible> {
        match *self {}
    }
}

impl embedded_hal::digital::ErrorType for Unwired {
    type Error = Infallible;
}

impl OutputPin for Unwired {
    fn set_low(&mut self) -> Result<(), Infallible> {
        match *self {}
    }

    fn set_high(&mut self) -> Result<(), Infallible> {
        match *self {}
    }
}

impl InputPin for Unwired {
    fn is_high(&mut self) -> Result<bool, Infallible> {
        match *self {}
    }

    fn is_low(&mut self) -> Result<bool, Infallible> {
        match *self {}
    }
}

impl ErrorType for Unwired {
    type Error = Infallible;
}

impl ReadNorFlash for Unwired {
    const READ_SIZE: usize = 1;

    fn read(&mut self, _: u32, _: &mut [u8]) -> Result<(), Infallible> {
        match *self {}
    }

    fn capacity(&self) -> usize {
        match *self {}
    }
}

impl NorFlash for Unwired {
    const WRITE_SIZE: usize = 4;
    const ERASE_SIZE: usize = 4096;

    fn erase(&mut self, _: u32, _: u32) -> Result<(), Infallible> {
        match *self {}
    }

    fn write(&mut self, _: u32, _: &[u8]) -> Result<(), Infallible> {
        match *self {}
    }
}

impl Store for Unwired {
    fn load(&self) -> Option<(&[u8], u32)> {
        match *self {}
    }

    fn begin(&mut self, _: u32) -> Result<(), Refusal> {
        match *self {}
    }

    fn piece(&mut self, _: u32, _: &[u8]) -> Result<(), Refusal> {
        match *self {}
    }

    fn end(&mut self, _: u32, _: u32) -> Result<(), Refusal> {
        match *self {}
    }
}
