//! What a host may say to a box, loads and all, while its front end shows anything and any button is
//! pressed: the box goes on serving, an alarm is ended by hand only, and what it kept stays whole.

use std::collections::VecDeque;

use embedded_storage::nor_flash::{ErrorType, NorFlash, NorFlashErrorKind, ReadNorFlash};
use ohmtrail_box::board::{Board, Shows, Store};
use ohmtrail_box::front::{FrontEnd, Range, Sample};
use ohmtrail_box::isolation::Workspace;
use ohmtrail_box::keeper::Keeper;
use ohmtrail_box::serve::serve;
use ohmtrail_core::accuracy::{Accuracy, Spec};
use ohmtrail_core::reading::Function;
use ohmtrail_core::units::Micros;
use ohmtrail_link::frame::{Frames, Got, Kind, Wire, crc32};
use ohmtrail_link::hello::{HostHello, Speaks};
use ohmtrail_link::host::{Event, HostEnd};
use ohmtrail_link::load::MOST;
use ohmtrail_link::message::{Answer, Button, Down, Light, PIECE, Refusal, Request};

use crate::script::Script;

const PAGE: usize = 512;
const PAGES: usize = 8;

const fn range(exponent: i8) -> Range {
    Range {
        exponent,
        offset: 0,
        gain: 65_536,
        full: 19_999,
    }
}

const fn spec(function: Function) -> Spec {
    Spec {
        function,
        accuracy: Accuracy::up_to(1.0, 3.0, 1e9),
    }
}

/// An invented front end.
static FRONT: FrontEnd = FrontEnd {
    functions: &[
        (Function::VoltsAc, &[range(-2), range(-1)]),
        (Function::VoltsDc, &[range(-2), range(-1)]),
        (Function::Ohms, &[range(-1), range(0), range(3)]),
        (Function::Farads, &[range(-9), range(-7)]),
        (Function::AmpsAc, &[range(-2)]),
        (Function::Celsius, &[range(-1)]),
    ],
    accuracy: &[
        spec(Function::VoltsAc),
        spec(Function::VoltsDc),
        spec(Function::Ohms),
        spec(Function::Farads),
        spec(Function::AmpsAc),
        spec(Function::Celsius),
    ],
    leads_ohms: [0.0, 0.01],
    period_us: 100_000,
};

/// A script of a host, of a front end and of buttons, to a whole box.
pub fn station(bytes: &[u8]) {
    let mut bench = Bench::new(bytes);
    let mut keeper = open(&mut bench.flash);
    let mut store = Memory::default();
    let mut work = Box::new(Workspace::new());
    serve(
        &mut keeper,
        &mut bench,
        &mut store,
        &mut work,
        Bench::goes_on,
    );
    assert!(bench.answered, "the box does not answer a sound host");
    assert_eq!(keeper.ring.is_whole(&mut bench.flash), Ok(true));
    let again = open(&mut bench.flash);
    assert_eq!(
        again.ring.newest(),
        keeper.ring.newest(),
        "something was lost"
    );
}

fn open(flash: &mut Flash) -> Keeper {
    Keeper::open(flash, 7, [0, 0, 1], || 3).expect("a sound flash opens")
}

/// Everything around the box.
struct Bench<'b> {
    script: Script<'b>,
    flash: Flash,
    now: Micros,
    /// On the line to the box.
    line: VecDeque<u8>,
    /// On the line from it.
    said: Vec<u8>,
    session: u32,
    number: u16,
    sample: Sample,
    samples: u8,
    button: Option<Button>,
    /// How often something came that may end an alarm.
    hands: u32,
    /// That number when the alarm began.
    alarm: Option<u32>,
    /// The sound host, once the script is over.
    host: Option<HostEnd>,
    turns: u32,
    answered: bool,
}

impl<'b> Bench<'b> {
    fn new(bytes: &'b [u8]) -> Self {
        Bench {
            script: Script(bytes),
            flash: Flash(vec![0xFF; PAGE * PAGES]),
            now: Micros(0),
            line: VecDeque::new(),
            said: Vec::new(),
            session: 0,
            number: 0,
            sample: Sample { range: 0, code: 0 },
            samples: 0,
            button: None,
            hands: 0,
            alarm: None,
            host: None,
            turns: 0,
            answered: false,
        }
    }

    /// Asked before each step of the box: goes on with the script, then as a sound host.
    fn goes_on(&mut self) -> bool {
        if self.is_over() {
            return false;
        }
        self.now = Micros(self.now.0 + 100);
        if !self.line.is_empty() || self.samples > 0 || self.button.is_some() {
            return true;
        }
        if self.host.is_none() {
            self.said.clear();
            if let Some(act) = self.script.byte() {
                self.act(act);
                return true;
            }
            self.host = Some(HostEnd::new(u32::MAX));
        }
        self.talks();
        self.turns += 1;
        !self.is_over()
    }

    /// The sound host has its answer, or has waited long enough.
    fn is_over(&self) -> bool {
        self.answered || self.turns >= 400
    }

    fn act(&mut self, act: u8) {
        match act % 9 {
            0 => {
                self.hands += 1;
                let piece = self.script.piece();
                self.line.extend(piece);
            }
            1 => {
                self.hands += 1;
                let body = self.script.piece();
                self.frame(|wire| wire.plain(Kind::Down, body).is_ok());
            }
            2 => {
                self.session = u32::from(self.script.byte().unwrap_or_default());
                self.number = 0;
                let hello = HostHello {
                    speaks: Speaks::OURS,
                    session: self.session,
                };
                self.frame(|wire| wire.plain(Kind::HostHello, &hello.encode()).is_ok());
            }
            3 => {
                let range = self.script.byte().unwrap_or_default();
                let code = self.script.number() as i32;
                self.sample = Sample { range, code };
                self.samples = self.script.byte().unwrap_or_default();
            }
            4 => {
                const BUTTONS: [Button; 6] = [
                    Button::Yes,
                    Button::No,
                    Button::Skip,
                    Button::Stop,
                    Button::Next,
                    Button::Go,
                ];
                let nth = usize::from(self.script.byte().unwrap_or_default());
                self.button = Some(BUTTONS[nth % BUTTONS.len()]);
            }
            5 => {
                let by = u64::from(self.script.byte().unwrap_or_default()) * 50_000;
                self.now = Micros(self.now.0 + by);
            }
            6 => self.loads(),
            7 => {
                if let Ok(request) = postcard::from_bytes(self.script.piece()) {
                    self.asks(request);
                }
            }
            _ => {
                let hear = Down::Hear {
                    session: self.session,
                    stored: Some(self.script.number()),
                };
                self.frame(|wire| wire.message(Kind::Down, &hear).is_ok());
            }
        }
    }

    /// A load of any bytes, sent as a host sends one.
    fn loads(&mut self) {
        let load = self.script.long_piece();
        let bytes = u32::try_from(load.len()).expect("two bytes of length");
        let crc = crc32(load);
        self.asks(Request::LoadBegin { bytes, crc });
        for (nth, bytes) in (0..).step_by(PIECE).zip(load.chunks(PIECE)) {
            self.asks(Request::LoadPiece { at: nth, bytes });
        }
        self.asks(Request::LoadEnd);
    }

    fn asks(&mut self, request: Request<'_>) {
        self.hands += 1;
        self.number = self.number.wrapping_add(1);
        let ask = Down::Ask {
            session: self.session,
            number: self.number,
            request,
        };
        self.frame(|wire| wire.message(Kind::Down, &ask).is_ok());
    }

    fn frame(&mut self, fill: impl FnOnce(&mut Wire) -> bool) {
        let mut wire = Wire::new();
        if fill(&mut wire) {
            self.line.extend(wire.bytes());
        }
    }

    /// A turn of a sound host that wants to know how the box is.
    fn talks(&mut self) {
        self.now = Micros(self.now.0 + 50_000);
        let Some(host) = &mut self.host else { return };
        let _ = host.tick(self.now);
        for byte in std::mem::take(&mut self.said) {
            if let Some(Event::Answer(answer)) = host.push(byte, self.now) {
                self.answered |= matches!(answer, Answer::Status(_));
            }
        }
        if host.may_ask() {
            let _ = host.ask(Request::Status);
        }
        while let Some(bytes) = host.poll(self.now) {
            self.line.extend(bytes);
        }
    }
}

impl Board for Bench<'_> {
    type Flash = Flash;

    fn flash(&mut self) -> &mut Flash {
        &mut self.flash
    }

    fn front(&self) -> &'static FrontEnd {
        &FRONT
    }

    fn now(&mut self) -> Micros {
        self.now
    }

    fn hear(&mut self) -> Option<u8> {
        self.line.pop_front()
    }

    fn say(&mut self, bytes: &[u8]) {
        let mut frames = Frames::new();
        let last = bytes.iter().map(|byte| frames.push(*byte)).last();
        assert_eq!(last, Some(Got::Frame), "a frame of the box's is damaged");
        self.said.extend_from_slice(bytes);
    }

    fn measure(&mut self, function: Function) {
        assert!(
            FRONT.has(function),
            "{function:?} is none of the front end's"
        );
    }

    fn sample(&mut self) -> Option<Sample> {
        self.samples = self.samples.checked_sub(1)?;
        self.now = Micros(self.now.0 + u64::from(FRONT.period_us));
        Some(self.sample)
    }

    fn button(&mut self) -> Option<Button> {
        let button = self.button.take()?;
        self.hands += 1;
        Some(button)
    }

    fn show(&mut self, shows: &Shows) {
        match (shows.light, self.alarm) {
            (Light::Alarm, None) => self.alarm = Some(self.hands),
            (Light::Alarm, Some(_)) | (_, None) => {}
            (_, Some(hands)) => {
                assert_ne!(hands, self.hands, "an alarm ended by itself");
                self.alarm = None;
            }
        }
    }

    fn stack(&mut self) -> [u32; 2] {
        [0, 1024]
    }
}

/// Flash without faults: bits are cleared by writing and set by erasing.
struct Flash(Vec<u8>);

impl ErrorType for Flash {
    type Error = NorFlashErrorKind;
}

impl ReadNorFlash for Flash {
    const READ_SIZE: usize = 1;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), NorFlashErrorKind> {
        let at = offset as usize;
        bytes.copy_from_slice(&self.0[at..at + bytes.len()]);
        Ok(())
    }

    fn capacity(&self) -> usize {
        self.0.len()
    }
}

impl NorFlash for Flash {
    const WRITE_SIZE: usize = 4;
    const ERASE_SIZE: usize = PAGE;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), NorFlashErrorKind> {
        assert!((from as usize).is_multiple_of(PAGE) && (to as usize).is_multiple_of(PAGE));
        self.0[from as usize..to as usize].fill(0xFF);
        Ok(())
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), NorFlashErrorKind> {
        let at = offset as usize;
        assert!(at.is_multiple_of(4) && bytes.len().is_multiple_of(4));
        for (slot, byte) in self.0[at..at + bytes.len()].iter_mut().zip(bytes) {
            assert_eq!(*slot, 0xFF, "a word is written once between erasures");
            *slot = *byte;
        }
        Ok(())
    }
}

/// Memory for loads.
#[derive(Default)]
struct Memory {
    bytes: Vec<u8>,
    crc: Option<u32>,
}

impl Store for Memory {
    fn load(&self) -> Option<(&[u8], u32)> {
        Some((&self.bytes, self.crc?))
    }

    fn begin(&mut self, bytes: u32) -> Result<(), Refusal> {
        assert!(bytes <= MOST);
        self.crc = None;
        self.bytes = vec![0xFF; bytes as usize];
        Ok(())
    }

    fn piece(&mut self, at: u32, bytes: &[u8]) -> Result<(), Refusal> {
        let at = at as usize;
        self.bytes[at..at + bytes.len()].copy_from_slice(bytes);
        Ok(())
    }

    fn end(&mut self, bytes: u32, crc: u32) -> Result<(), Refusal> {
        assert_eq!(bytes as usize, self.bytes.len());
        if crc32(&self.bytes) != crc {
            return Err(Refusal::Check);
        }
        self.crc = Some(crc);
        Ok(())
    }
}
