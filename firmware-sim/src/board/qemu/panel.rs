//! The front end and the panel, as lines of text on the second UART, so that a test chooses every
//! sample and every press and sees every light.
//!
//! | line | from | what |
//! |---|---|---|
//! | `s RANGE CODE` | test | a sample |
//! | `b NUMBER` | test | a button: 0 yes, 1 no, 2 skip, 3 stop, 4 next, 5 go |
//! | `q` | test | end the emulator |
//! | `f NUMBER` | box | the front end is set to this function |
//! | `l LIGHT NUMBER` | box | the light and the number changed |
//! | `.` | box | every line before was worked off |

use cortex_m_semihosting::debug::{EXIT_SUCCESS, exit};
use embedded_io::{Read as _, ReadReady as _, Write as _};
use ohmtrail_box::board::Shows;
use ohmtrail_box::front::Sample;
use ohmtrail_core::reading::Function;
use ohmtrail_link::message::{Button, Light};

use super::uart::Uart;

/// The panel.
pub struct Panel {
    uart: Uart,
    line: heapless::Vec<u8, 24>,
    sample: Option<Sample>,
    button: Option<Button>,
    /// A line was handed out and may not be worked off.
    owing: bool,
    shown: Option<(Light, u16)>,
}

impl Panel {
    /// The panel on this UART.
    pub fn new(uart: Uart) -> Self {
        Panel {
            uart,
            line: heapless::Vec::new(),
            sample: None,
            button: None,
            owing: false,
            shown: None,
        }
    }

    /// Reads on, unless something waits to be fetched.
    fn read(&mut self) {
        while self.sample.is_none() && self.button.is_none() {
            if !self.uart.read_ready().unwrap_or(false) {
                return;
            }
            let mut byte = [0];
            let _ = self.uart.read(&mut byte);
            match byte {
                [b'\n'] => {
                    self.obey();
                    self.line.clear();
                }
                // A line that is too long is of no kind.
                [byte] => drop(self.line.push(byte)),
            }
        }
    }

    fn obey(&mut self) {
        let Some((kind, rest)) = self.line.split_first() else {
            return;
        };
        let (first, rest) = number(rest);
        let (second, _) = number(rest);
        match (kind, first, second) {
            (b's', Some(range), Some(code)) => {
                self.sample = u8::try_from(range).ok().map(|range| Sample { range, code });
            }
            (b'b', Some(button), _) => {
                let buttons = [
                    Button::Yes,
                    Button::No,
                    Button::Skip,
                    Button::Stop,
                    Button::Next,
                    Button::Go,
                ];
                self.button = usize::try_from(button)
                    .ok()
                    .and_then(|b| buttons.get(b))
                    .copied();
            }
            (b'q', ..) => exit(EXIT_SUCCESS),
            _ => {}
        }
    }

    /// A sample, if one came.
    pub fn sample(&mut self) -> Option<Sample> {
        self.read();
        let sample = self.sample.take();
        self.owing |= sample.is_some();
        sample
    }

    /// A button, if one was pressed.
    pub fn button(&mut self) -> Option<Button> {
        self.read();
        let button = self.button.take();
        self.owing |= button.is_some();
        button
    }

    /// Says what the front end is set to.
    pub fn tell_function(&mut self, function: Function) {
        self.say(b'f', &[function as u16]);
    }

    /// Shows, if it changed; and says that what came was worked off.
    pub fn show(&mut self, shows: &Shows) {
        let now = (shows.light, shows.number);
        if self.shown != Some(now) {
            self.shown = Some(now);
            self.say(b'l', &[shows.light as u16, shows.number]);
        }
        if self.owing {
            self.owing = false;
            let _ = self.uart.write_all(b".\n");
        }
    }

    fn say(&mut self, what: u8, numbers: &[u16]) {
        let mut line = heapless::Vec::<u8, 24>::new();
        let _ = line.push(what);
        for number in numbers {
            let _ = line.push(b' ');
            let mut divisor = 10_000;
            let mut begun = false;
            while divisor > 0 {
                let digit = number / divisor % 10;
                begun |= digit > 0 || divisor == 1;
                if begun {
                    let _ = line.push(b'0'.wrapping_add(digit as u8));
                }
                divisor /= 10;
            }
        }
        let _ = line.push(b'\n');
        let _ = self.uart.write_all(&line);
    }
}

/// The number that a space and digits begin with, and what follows them.
fn number(bytes: &[u8]) -> (Option<i32>, &[u8]) {
    let Some((b' ', rest)) = bytes.split_first() else {
        return (None, bytes);
    };
    let (negative, mut rest) = match rest.split_first() {
        Some((b'-', digits)) => (true, digits),
        _ => (false, rest),
    };
    let mut found = None;
    while let Some((digit @ b'0'..=b'9', more)) = rest.split_first() {
        let so_far: i32 = found.unwrap_or(0);
        let digit = i32::from(digit.wrapping_sub(b'0'));
        found = Some(so_far.saturating_mul(10).saturating_add(digit));
        rest = more;
    }
    let signed = found.map(|n| if negative { n.saturating_neg() } else { n });
    (signed, rest)
}
