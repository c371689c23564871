//! Bytes of meters: whatever comes, every byte is accounted for, memory is bounded, and the next
//! good frames are read.

use std::sync::LazyLock;

use ohmtrail_core::reading::{Decimal, Flags, Function, MeterId, Reading, Shown};
use ohmtrail_core::units::Micros;
use ohmtrail_meters::driver::{Driver, Entry, FRAME, HELD, Line, Outcome, Setup, driver};
use ohmtrail_meters::gatt::electrical::defined;
use ohmtrail_meters::gatt::{Presentation, Reader};
use ohmtrail_meters::guess::Ear;
use ohmtrail_meters::profile::Profile;
use ohmtrail_meters::showing::Showing;

/// The profile that the driver for lines is started with; invented.
const LINES: &str = include_str!("lines.toml");

/// The first byte says in what pieces the rest comes.
fn pieces(bytes: &[u8]) -> impl Iterator<Item = &[u8]> {
    let (size, rest) = match bytes {
        [first, rest @ ..] => (usize::from(first % 32) + 1, rest),
        [] => (1, bytes),
    };
    rest.chunks(size)
}

fn start(entry: &Entry, profile: Option<&Profile>) -> Box<dyn Driver> {
    let setup = Setup {
        profile,
        ..Setup::of(MeterId(1))
    };
    (entry.start)(&setup).expect("the driver starts")
}

/// Pushes one piece; gives its readings and how many of its bytes were decided.
fn push(driver: &mut dyn Driver, piece: &[u8], at: Micros) -> (Vec<Reading>, usize) {
    let (mut readings, mut decided) = (Vec::new(), 0);
    let mut rest = piece;
    // Each push that is not the last one gives something up or takes something in.
    for _ in 0..=2 * (piece.len() + HELD) {
        let before = rest.len();
        let pushed = driver.push(rest, at);
        assert!(pushed.rest.len() <= before, "bytes appear from nowhere");
        decided += pushed.used + pushed.skipped;
        rest = pushed.rest;
        match pushed.outcome {
            Outcome::Hungry => {
                assert!(rest.is_empty(), "hungry, with bytes left");
                return (readings, decided);
            }
            Outcome::Got(reading) => readings.push(reading),
            Outcome::Rejected(_) => {}
        }
    }
    panic!(
        "{} never has enough of {piece:?}",
        std::any::type_name::<dyn Driver>()
    );
}

/// Pushes all pieces, asking and listening between as a session does.
fn push_all<'b>(driver: &mut dyn Driver, pieces: impl Iterator<Item = &'b [u8]>) {
    let (mut pushed, mut decided) = (0, 0);
    let mut now = Micros(0);
    for piece in pieces {
        now = driver
            .wake()
            .filter(|wake| *wake > now)
            .unwrap_or(Micros(now.0 + 1000));
        let _ = driver.poll(now);
        let (readings, more) = push(driver, piece, now);
        pushed += piece.len();
        decided += more;
        assert!(decided <= pushed, "more bytes decided than came");
        assert!(pushed - decided <= HELD, "{} bytes held", pushed - decided);
        for reading in readings {
            assert_eq!((reading.at, reading.meter), (now, MeterId(1)));
        }
        let mut told = 0;
        while driver.told().is_some() {
            told += 1;
            assert!(told < 1000, "it tells without end");
        }
    }
}

/// A display chip's frames: after anything at all, the second of two good frames is read.
pub fn frames(name: &str, bytes: &[u8]) {
    let entry = driver(name).expect("a driver");
    let mut driver = start(entry, None);
    push_all(driver.as_mut(), pieces(bytes));
    let (showing, frame) = good(entry);
    let twice = [frame, frame].concat();
    let (readings, _) = push(driver.as_mut(), &twice, Micros(u64::MAX / 2));
    let read = readings.last().expect("the second good frame is read");
    let read = (read.function, read.shown, read.flags);
    assert_eq!(read, (showing.function, showing.shown, showing.flags));
}

/// A frame that every meter of that kind can send.
fn good(entry: &Entry) -> (Showing, [u8; FRAME]) {
    let encode = entry.encode.expect("chips' frames can be written");
    let values = [(1234, -1), (2384, -1), (1234, -3), (1234, 0)];
    let functions = [Function::VoltsAc, Function::VoltsDc, Function::Ohms];
    for function in functions {
        for (mantissa, exponent) in values {
            let showing = Showing {
                function,
                shown: Shown::Value(Decimal::new(mantissa, exponent)),
                flags: Flags::AUTO_RANGE,
            };
            if let Ok(frame) = encode(&showing) {
                return (showing, frame);
            }
        }
    }
    panic!("{} has no such frame", entry.name);
}

/// Answers of a meter that is asked, or lines of one that talks.
pub fn answers(name: &str, bytes: &[u8]) {
    let entry = driver(name).expect("a driver");
    static PROFILE: LazyLock<Profile> =
        LazyLock::new(|| Profile::parse("lines.toml", LINES).expect("a profile"));
    let mut driver = start(entry, (name == "lines").then(|| &*PROFILE));
    push_all(driver.as_mut(), pieces(bytes));
}

/// Bytes as they come, to the driver of that name.
pub fn stream(name: &str, bytes: &[u8]) {
    let mut driver = start(driver(name).expect("a driver"), None);
    push_all(driver.as_mut(), bytes.chunks(50));
}

/// A characteristic of a meter that describes itself: seven bytes of descriptor, then the value; or
/// a number that the Bluetooth SIG defines.
pub fn characteristic(bytes: &[u8]) {
    let told = [None, Some(Function::VoltsAc), Some(Function::AmpsDc)];
    for told in told {
        if let Some((descriptor, value)) = bytes.split_at_checked(7)
            && let Ok(presentation) = Presentation::read(descriptor)
            && let Ok(reader) = Reader::described(&presentation, told)
            && let Ok(showing) = reader.read(value)
        {
            assert_eq!(showing.function, reader.function());
        }
        if let [low, high, value @ ..] = bytes
            && let Some(by) = defined(u16::from_le_bytes([*low, *high]))
            && let Ok(reader) = Reader::defined(by, told)
            && let Ok(showing) = reader.read(value)
        {
            assert_eq!(showing.function, reader.function());
        }
    }
}

/// What is guessed of a line by listening.
pub fn guess(bytes: &[u8]) {
    let mut ear = Ear::new(Line::eight_bits(9600));
    let mut now = Micros(0);
    for piece in pieces(bytes) {
        now = Micros(now.0 + 50_000);
        ear.take(piece, now);
    }
    let heard = ear.heard();
    assert!(!heard.words().is_empty());
    let _ = heard.best();
}
