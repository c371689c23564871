//! What a box may say to its host: whatever comes, the host takes kept items once and in order,
//! believes no answer that it did not ask for, and can talk to a sound box afterwards.

use ohmtrail_core::units::Micros;
use ohmtrail_link::frame::{FRAME, Frames, Got, Kind, Wire};
use ohmtrail_link::hello::{BoxHello, HostHello, Identity, Speaks};
use ohmtrail_link::host::{Event, HostEnd};
use ohmtrail_link::message::{Answer, Down, Light, Request, Up};
use ohmtrail_link::station::{Heard, StationEnd};

use crate::script::Script;

/// An invented box.
const WHO: Identity = Identity {
    id: 7,
    ring: 3,
    firmware: [1, 2, 3],
};

/// A host, what is known of it, and the line to it.
struct World {
    host: HostEnd,
    now: Micros,
    /// The session that it opened last.
    session: u32,
    asked: bool,
    /// The number of the newest item that it was told to count as stored.
    stored: Option<u32>,
    kept: Option<u32>,
    heard: Vec<u8>,
}

/// A script of a box: its frames, and time that passes. The same bytes go to the driver that reads a
/// box as a meter.
pub fn host(bytes: &[u8]) {
    let mut world = World {
        host: HostEnd::new(1),
        now: Micros(0),
        session: 0,
        asked: false,
        stored: None,
        kept: None,
        heard: Vec::new(),
    };
    let mut script = Script(bytes);
    world.passes(0);
    while let Some(act) = script.byte() {
        world.act(act, &mut script);
    }
    crate::meters::stream("probe-box", &world.heard);
    // A hello of another version is believed. Everything else is got over.
    if world.host.wake().is_none() {
        world.host = HostEnd::new(9);
    }
    world.talks();
}

impl World {
    fn act(&mut self, act: u8, script: &mut Script<'_>) {
        let mut wire = Wire::new();
        match act % 8 {
            0 => self.hears(script.piece()),
            1 => {
                // A body of any bytes fits a frame, or there is none.
                let _ = wire.plain(Kind::Up, script.piece());
                self.hears(wire.bytes());
            }
            2 => {
                let how = script.byte().unwrap_or_default();
                let speaks = Speaks {
                    schema: Speaks::OURS.schema ^ u64::from(how & 1),
                    ..Speaks::OURS
                };
                let hello = BoxHello {
                    speaks,
                    session: if how & 2 == 0 { self.session } else { 0 },
                    who: WHO,
                };
                let framed = wire.plain(Kind::BoxHello, &hello.encode());
                framed.expect("a hello fits");
                self.hears(wire.bytes());
            }
            3 => {
                if let Ok(up) = postcard::from_bytes::<Up>(script.piece()) {
                    let ours = self.in_session(up);
                    if wire.message(Kind::Up, &ours).is_ok() {
                        self.hears(wire.bytes());
                    }
                }
            }
            4 => self.passes(u64::from(script.byte().unwrap_or_default()) * 50_000),
            5 => {
                let request = postcard::from_bytes(script.piece()).unwrap_or(Request::Status);
                let may = self.host.may_ask();
                match self.host.ask(request) {
                    Ok(()) => self.asked = true,
                    Err(_) => assert!(!may || matches!(request, Request::LoadPiece { .. })),
                }
                self.passes(0);
            }
            6 => {
                let stored = script.number();
                self.host.collect(stored);
                self.stored = Some(stored);
                self.kept = None;
            }
            _ => {
                if let Some(number) = self.kept.take() {
                    self.host.stored(number);
                    self.stored = Some(number);
                }
            }
        }
    }

    /// A message as one of the session that is open.
    fn in_session(&self, mut up: Up) -> Up {
        let (Up::Here { session, .. }
        | Up::Live { session, .. }
        | Up::Kept { session, .. }
        | Up::Answer { session, .. }) = &mut up;
        *session = self.session;
        up
    }

    fn hears(&mut self, bytes: &[u8]) {
        self.heard.extend_from_slice(bytes);
        for byte in bytes {
            if let Some(event) = self.host.push(*byte, self.now) {
                self.check(event);
            }
        }
    }

    fn passes(&mut self, by: u64) {
        self.now = Micros(self.now.0 + by);
        if let Some(event) = self.host.tick(self.now) {
            self.check(event);
        }
        let mut said = Vec::new();
        while let Some(bytes) = self.host.poll(self.now) {
            assert!(!bytes.is_empty() && bytes.len() <= FRAME);
            said.push(bytes.to_vec());
            assert!(said.len() < 10, "it says more and more");
        }
        for frame in said {
            self.note_session(&frame);
        }
    }

    /// What the host says is whole, and of the session that it opened.
    fn note_session(&mut self, frame: &[u8]) {
        let mut frames = Frames::new();
        let last = frame.iter().map(|byte| frames.push(*byte)).last();
        assert_eq!(last, Some(Got::Frame), "a frame of the host's is damaged");
        match frames.frame().expect("a frame") {
            (Kind::HostHello, body) => {
                self.session = HostHello::decode(body).expect("a hello").session;
                assert_ne!(self.session, 0);
            }
            (Kind::Down, body) => {
                let down: Down<'_> = postcard::from_bytes(body).expect("a message");
                let (Down::Hear { session, .. } | Down::Ask { session, .. }) = down;
                assert_eq!(session, self.session);
            }
            (kind, _) => panic!("a host says {kind:?}"),
        }
    }

    fn check(&mut self, event: Event) {
        match event {
            Event::Kept {
                number, missing, ..
            } => {
                let stored = self.stored.expect("nobody collects");
                assert_eq!(number - missing, stored + 1, "out of order");
                self.kept = Some(number);
            }
            Event::Answer(_) | Event::NoAnswer => {
                assert!(self.asked, "nobody asked");
                self.asked = false;
            }
            Event::Restarted { unanswered } | Event::Silent { unanswered } => {
                assert_eq!(unanswered, self.asked, "what was asked is told of");
                self.asked = false;
            }
            Event::Mismatch { theirs, .. } => {
                assert_ne!(theirs, Speaks::OURS);
                self.asked = false;
            }
            Event::Behind { newest } => {
                assert!(self.stored.is_some_and(|stored| stored > newest));
            }
            Event::Greeted(_) | Event::Here { .. } | Event::Live(_) | Event::Damaged => {}
        }
    }

    /// The host talks to a sound box, on a line that loses nothing.
    fn talks(mut self) {
        let mut station = StationEnd::new(WHO);
        let mut asked = false;
        for _ in 0..400 {
            self.now = Micros(self.now.0 + 50_000);
            // What is not answered is asked again.
            asked &= self.host.tick(self.now).is_none();
            if !asked && self.host.may_ask() {
                asked = self.host.ask(Request::Status).is_ok();
            }
            let mut up = Vec::new();
            while let Some(bytes) = self.host.poll(self.now) {
                for byte in bytes {
                    if matches!(station.push(*byte, self.now), Heard::Ask(_)) {
                        up.extend_from_slice(station.answer(Answer::Done));
                    } else {
                        up.extend_from_slice(station.reply());
                    }
                }
            }
            if let Some(bytes) = station.poll(0, Light::Wait, 0, self.now) {
                up.extend_from_slice(bytes);
            }
            for byte in up {
                match self.host.push(byte, self.now) {
                    Some(Event::Answer(Answer::Done)) => return,
                    Some(Event::Restarted { .. } | Event::Silent { .. } | Event::NoAnswer) => {
                        asked = false;
                    }
                    _ => {}
                }
            }
        }
        panic!("the host does not get through to a sound box");
    }
}
