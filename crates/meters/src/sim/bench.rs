//! A simulated bench meter that is asked in SCPI: commands in, answers out, with the faults that
//! such meters and their lines have. Sans-IO: an answer's delay is part of the answer.

use std::collections::VecDeque;
use std::time::Duration;

use ohmtrail_core::reading::Function;

use crate::scpi::words::{WORDS, path_is};

/// What goes wrong.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[non_exhaustive]
pub enum Fault {
    /// Nothing.
    #[default]
    None,
    /// Values take this long.
    Slow(Duration),
    /// The next value is answered by a function name.
    WrongAnswer,
    /// The next value is sent twice, in one piece.
    Twice,
    /// The next value breaks off in its middle, and the line is closed.
    CloseMidLine,
    /// Nothing is answered.
    Mute,
    /// The meter cannot tell its function: `FUNCtion?` is an error.
    NoFunctionQuery,
    /// The meter knows neither `CONFigure` nor `FUNCtion?`: only `MEASure?`.
    MeasureOnly,
    /// A line that nobody asked for goes before each answer.
    Chatter,
    /// The next value is a line that does not end.
    Endless,
}

/// An answer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reply {
    /// How long it takes.
    pub after: Duration,
    /// What is sent.
    pub bytes: Vec<u8>,
    /// Whether the line is closed then.
    pub close: bool,
}

/// Messages that an error queue of this depth holds; the last is then replaced by -350 (about 20,
/// second hand; the number from memory).
const QUEUE: usize = 20;

/// The meter.
#[derive(Debug)]
pub struct Bench {
    function: Function,
    value: f64,
    fahrenheit: bool,
    errors: VecDeque<(i32, String)>,
    fault: Fault,
    held: Vec<u8>,
    heard: Vec<String>,
}

impl Default for Bench {
    /// On direct volts, at 0 V.
    fn default() -> Self {
        Bench {
            function: Function::VoltsDc,
            value: 0.0,
            fahrenheit: false,
            errors: VecDeque::new(),
            fault: Fault::None,
            held: Vec::new(),
            heard: Vec::new(),
        }
    }
}

impl Bench {
    /// Turns it to a function, as a hand at its front would, and puts it to a true value in the
    /// function's base unit; infinity is an overload, not-a-number is no data.
    pub fn turn(&mut self, function: Function, value: f64) {
        self.function = function;
        self.value = value;
    }

    /// Sets what goes wrong.
    pub fn fault(&mut self, fault: Fault) {
        self.fault = fault;
    }

    /// Shows temperatures in degrees Fahrenheit, or Celsius again.
    pub fn show_fahrenheit(&mut self, fahrenheit: bool) {
        self.fahrenheit = fahrenheit;
    }

    /// Puts an error into the queue.
    pub fn error(&mut self, number: i32, text: &str) {
        if self.errors.len() == QUEUE {
            self.errors.pop_back();
            self.errors.push_back((-350, "Queue overflow".to_owned()));
        } else {
            self.errors.push_back((number, text.to_owned()));
        }
    }

    /// The function it is on.
    #[must_use]
    pub fn function(&self) -> Function {
        self.function
    }

    /// Every command it has heard.
    #[must_use]
    pub fn heard(&self) -> &[String] {
        &self.heard
    }

    /// Takes bytes; gives the answers to the commands that became whole.
    pub fn take(&mut self, bytes: &[u8]) -> Vec<Reply> {
        let mut replies = Vec::new();
        for byte in bytes {
            if *byte != b'\n' {
                self.held.push(*byte);
                continue;
            }
            let line = std::mem::take(&mut self.held);
            let line = String::from_utf8_lossy(&line).trim().to_owned();
            if !line.is_empty() {
                self.heard.push(line.clone());
                replies.extend(self.line(&line));
            }
        }
        replies
    }

    /// One program message: units behind semicolons, one response message.
    fn line(&mut self, line: &str) -> Option<Reply> {
        let mut slow = Duration::ZERO;
        let mut answers = Vec::new();
        let mut is_value = false;
        for unit in line.split(';') {
            let unit = unit.trim().trim_start_matches(':');
            let (header, _) = unit.split_once(' ').unwrap_or((unit, ""));
            match self.unit(header) {
                Ok(Some(Answer::Text(text))) => answers.push(text),
                Ok(Some(Answer::Value)) => {
                    is_value = true;
                    if let Fault::Slow(time) = self.fault {
                        slow += time;
                    }
                    answers.push(self.number());
                }
                Ok(None) => {}
                Err((number, text)) => self.error(number, &format!("{text}; {header}")),
            }
        }
        if answers.is_empty() {
            return None;
        }
        let mut bytes = answers.join(";").into_bytes();
        bytes.push(b'\n');
        let mut close = false;
        match self.fault {
            Fault::Mute => return None,
            Fault::Chatter => bytes = [b"* ready *\n".as_slice(), &bytes].concat(),
            Fault::WrongAnswer if is_value => bytes = b"\"VOLT\"\n".to_vec(),
            Fault::Twice if is_value => bytes = bytes.repeat(2),
            Fault::Endless if is_value => bytes = vec![b'7'; 10_000],
            Fault::CloseMidLine if is_value => {
                bytes.truncate(bytes.len() / 2);
                close = true;
            }
            _ => {}
        }
        let once = [
            Fault::WrongAnswer,
            Fault::Twice,
            Fault::Endless,
            Fault::CloseMidLine,
        ];
        if is_value && once.contains(&self.fault) {
            self.fault = Fault::None;
        }
        Some(Reply {
            after: slow,
            bytes,
            close,
        })
    }

    fn unit(&mut self, header: &str) -> Result<Option<Answer>, (i32, &'static str)> {
        const UNDEFINED: (i32, &str) = (-113, "Undefined header");
        let text = |text: &str| Ok(Some(Answer::Text(text.to_owned())));
        let is = |path: &str| path_is(path, header);
        if header.eq_ignore_ascii_case("*IDN?") {
            return text("an invented maker,bench meter,0,sim");
        }
        if header.eq_ignore_ascii_case("*CLS") {
            self.errors.clear();
            return Ok(None);
        }
        if is("SYSTem:ERRor?") || is("SYSTem:ERRor:NEXT?") {
            let (number, words) = self
                .errors
                .pop_front()
                .unwrap_or_else(|| (0, "No error".to_owned()));
            return Ok(Some(Answer::Text(format!("{number:+},\"{words}\""))));
        }
        if is("READ?") {
            return Ok(Some(Answer::Value));
        }
        if is("UNIT:TEMPerature?") {
            return text(if self.fahrenheit { "F" } else { "C" });
        }
        let mute = matches!(self.fault, Fault::NoFunctionQuery | Fault::MeasureOnly);
        if is("FUNCtion?") || is("SENSe:FUNCtion?") {
            let word = WORDS.iter().find(|word| word.function == self.function);
            return match (mute, word.and_then(|word| word.sensor.first())) {
                (false, Some(path)) => {
                    let short: String = path.chars().filter(|c| !c.is_lowercase()).collect();
                    text(&format!("\"{short}\""))
                }
                (false, None) => text("\"PER\""),
                (true, _) => Err(UNDEFINED),
            };
        }
        let (root, tail) = header.split_once(':').ok_or(UNDEFINED)?;
        let (tail, asked) = match tail.strip_suffix('?') {
            Some(tail) => (tail, true),
            None => (tail, false),
        };
        let known = if asked {
            path_is("MEASure", root)
        } else {
            path_is("CONFigure", root) && self.fault != Fault::MeasureOnly
        };
        let function = WORDS
            .iter()
            .find(|word| known && word.sensor.iter().any(|path| path_is(path, tail)))
            .map(|word| word.function)
            .ok_or(UNDEFINED)?;
        self.function = function;
        Ok(asked.then_some(Answer::Value))
    }

    /// The value in NR3 with nine digits, as TRADE 12 shows it.
    fn number(&self) -> String {
        if self.value.is_nan() {
            return "+9.91000000E+37".to_owned();
        }
        if self.value.is_infinite() {
            return format!("{}9.90000000E+37", if self.value < 0.0 { '-' } else { '+' });
        }
        let text = format!("{:+.8E}", self.value);
        match text.split_once('E') {
            Some((digits, power)) => match power.strip_prefix('-') {
                Some(power) => format!("{digits}E-{power:0>2}"),
                None => format!("{digits}E+{power:0>2}"),
            },
            None => text,
        }
    }
}

enum Answer {
    Text(String),
    Value,
}
