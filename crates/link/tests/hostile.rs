//! Whatever comes over the line, neither end is wedged: after any bytes a greeting and a request go
//! through, and nothing was obeyed that nobody asked for.

use ohmtrail_core::units::Micros;
use ohmtrail_link::frame::{Kind, Wire};
use ohmtrail_link::hello::{BoxHello, HostHello, Identity, Speaks};
use ohmtrail_link::host::{Event, HostEnd};
use ohmtrail_link::message::{Answer, Down, Light, Request, Walk};
use ohmtrail_link::station::{Heard, StationEnd};
use proptest::prelude::*;

const WHO: Identity = Identity {
    id: 7,
    ring: 3,
    firmware: [1, 2, 3],
};

/// Bytes as noise, as whole frames of every kind with any body, and as frames cut short or changed.
fn anything() -> impl Strategy<Value = Vec<u8>> {
    let kind = prop::sample::select(vec![Kind::HostHello, Kind::BoxHello, Kind::Down, Kind::Up]);
    let framed = (
        kind,
        prop::collection::vec(any::<u8>(), 0..64),
        any::<u16>(),
        any::<u8>(),
    )
        .prop_map(|(kind, body, cut, flip)| {
            let mut wire = Wire::new();
            wire.plain(kind, &body).expect("it fits");
            let mut bytes = wire.bytes().to_vec();
            match cut % 4 {
                0 => bytes.truncate(usize::from(cut) % bytes.len()),
                1 => {
                    let at = usize::from(cut) % bytes.len();
                    bytes[at] ^= flip;
                }
                _ => {}
            }
            bytes
        });
    let noise = prop::collection::vec(any::<u8>(), 0..300);
    prop::collection::vec(prop_oneof![framed, noise], 0..12).prop_map(|all| all.concat())
}

/// Runs both ends over a line without loss until the host has its answer.
fn asks(host: &mut HostEnd, station: &mut StationEnd, mut now: Micros) -> bool {
    let mut asked = false;
    for _ in 0..400 {
        now = Micros(now.0 + 50_000);
        let _ = host.tick(now);
        if host.may_ask() && !asked {
            host.ask(Request::Status).expect("it may be asked");
            asked = true;
        }
        let mut down = Vec::new();
        while let Some(bytes) = host.poll(now) {
            down.extend_from_slice(bytes);
        }
        let mut up = Vec::new();
        for byte in down {
            let answer = match station.push(byte, now) {
                Heard::Ask(Request::Status) => true,
                Heard::Ask(other) => panic!("nobody asked for {other:?}"),
                _ => false,
            };
            if answer {
                up.extend_from_slice(station.answer(Answer::Done));
            } else {
                up.extend_from_slice(station.reply());
            }
        }
        if let Some(bytes) = station.poll(0, Light::Wait, 0, now) {
            up.extend_from_slice(bytes);
        }
        for byte in up {
            match host.push(byte, now) {
                Some(Event::Answer(Answer::Done)) if asked => return true,
                Some(Event::Restarted { .. } | Event::Silent { .. } | Event::NoAnswer) => {
                    asked = false;
                }
                _ => {}
            }
        }
    }
    false
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]

    #[test]
    fn neither_end_is_wedged(to_box in anything(), to_host in anything()) {
        let mut host = HostEnd::new(99);
        let mut station = StationEnd::new(WHO);
        let now = Micros(1);
        for byte in to_box {
            let _ = station.push(byte, now);
            prop_assert!(station.reply().len() <= ohmtrail_link::frame::FRAME);
        }
        for byte in to_host {
            let _ = host.push(byte, now);
        }
        // A hello of another version is believed: it is what it says. All else is got over.
        let mut sane = host;
        if sane.wake().is_none() {
            sane = HostEnd::new(100);
        }
        prop_assert!(asks(&mut sane, &mut station, now));
    }

    /// Hostile bytes within a session, with the session's own number in whole frames.
    #[test]
    fn a_session_outlives_hostile_frames(
        bodies in prop::collection::vec(prop::collection::vec(any::<u8>(), 0..80), 1..12)
    ) {
        let mut host = HostEnd::new(5);
        let mut station = StationEnd::new(WHO);
        prop_assert!(asks(&mut host, &mut station, Micros(0)));
        let now = Micros(30_000_000);
        for body in bodies {
            let mut wire = Wire::new();
            wire.plain(Kind::Down, &body).expect("it fits");
            for byte in wire.bytes() {
                let heard = matches!(station.push(*byte, now), Heard::Ask(_));
                if heard {
                    let _ = station.answer(Answer::Done);
                }
            }
            wire.plain(Kind::Up, &body).expect("it fits");
            for byte in wire.bytes() {
                let _ = host.push(*byte, now);
            }
        }
        prop_assert!(asks(&mut host, &mut station, now));
    }
}

#[test]
fn an_end_that_speaks_something_else_is_told_so_and_is_not_misread() {
    let other = Speaks {
        schema: Speaks::OURS.schema ^ 1,
        ..Speaks::OURS
    };
    // An older box.
    let mut host = HostEnd::new(1);
    let mut wire = Wire::new();
    let hello = BoxHello {
        speaks: other,
        session: 1,
        who: WHO,
    };
    wire.plain(Kind::BoxHello, &hello.encode())
        .expect("it fits");
    let told: Vec<Event> = wire
        .bytes()
        .iter()
        .filter_map(|b| host.push(*b, Micros(0)))
        .collect();
    assert_eq!(
        told,
        [Event::Mismatch {
            theirs: other,
            firmware: WHO.firmware
        }]
    );
    assert!(!host.may_ask());
    assert_eq!(
        host.poll(Micros(10_000_000)),
        None,
        "nothing more is said to it"
    );
    // An older host: the box says who it is, and hears nothing of what follows.
    let mut station = StationEnd::new(WHO);
    let hello = HostHello {
        speaks: other,
        session: 9,
    };
    wire.plain(Kind::HostHello, &hello.encode())
        .expect("it fits");
    let mut replies = Vec::new();
    for byte in wire.bytes() {
        if station.push(*byte, Micros(0)) == Heard::Mismatch(other) {
            replies.extend_from_slice(station.reply());
        }
    }
    let mut newer = HostEnd::new(9);
    let heard: Vec<Event> = replies
        .iter()
        .filter_map(|b| newer.push(*b, Micros(0)))
        .collect();
    assert_eq!(heard, [Event::Greeted(WHO)], "its own hello is whole");
    let ask = Down::Ask {
        session: 9,
        number: 1,
        request: Request::Walk(Walk::Isolation),
    };
    wire.message(Kind::Down, &ask).expect("it fits");
    for byte in wire.bytes() {
        assert_eq!(station.push(*byte, Micros(0)), Heard::Nothing);
    }
}

#[test]
fn a_request_is_obeyed_once_though_its_answer_is_lost() {
    let mut host = HostEnd::new(4);
    let mut station = StationEnd::new(WHO);
    let (mut obeyed, mut answered) = (0, 0);
    let mut now = Micros(0);
    for turn in 0..200 {
        now = Micros(now.0 + 50_000);
        if host.may_ask() && answered == 0 {
            host.ask(Request::SelfTest).expect("it may be asked");
        }
        let mut down = Vec::new();
        while let Some(bytes) = host.poll(now) {
            down.extend_from_slice(bytes);
        }
        let mut up = Vec::new();
        for byte in down {
            if matches!(station.push(byte, now), Heard::Ask(_)) {
                obeyed += 1;
                up.extend_from_slice(station.answer(Answer::Done));
            } else {
                up.extend_from_slice(station.reply());
            }
        }
        // Everything from the box is lost for a while, but for the greeting.
        if turn > 2 && turn < 60 {
            continue;
        }
        for byte in up {
            if let Some(Event::Answer(_)) = host.push(byte, now) {
                answered += 1;
            }
        }
    }
    assert_eq!((obeyed, answered), (1, 1));
}
