//! Guessing a frame by listening at a pseudo-terminal, and putting kept bytes through a driver again.

use std::path::Path;
use std::time::Duration;

use ohmtrail_core::reading::{Function, MeterId, Reading};
use ohmtrail_core::units::Micros;
use ohmtrail_meters::driver::{Line, driver};
use ohmtrail_meters::guess::{Ear, Guess, lines, listen};
use ohmtrail_meters::link::{self, Manner};
use ohmtrail_meters::profile::Profile;
use ohmtrail_meters::replay::{self, Pace};
use ohmtrail_meters::session::{Clock, Session, SessionEvent};
use ohmtrail_meters::sim::bench_port::BenchPort;
use ohmtrail_meters::sim::face::Moves;
use ohmtrail_meters::sim::meter::{SimConfig, SimMeter, Speech};
use ohmtrail_meters::sim::noise::Noise;
use ohmtrail_meters::spec::{Spec, StreamSpec};

fn sim(frame: &str) -> SimMeter {
    let meter = SimMeter::start(SimConfig {
        entry: driver(frame).unwrap(),
        profile: Profile::simulated(frame).unwrap(),
        seed: 7,
        interval: Duration::from_millis(60),
        moves: Moves::NONE,
    })
    .unwrap();
    meter.set(Function::VoltsAc, 238.4).unwrap();
    meter
}

async fn guess(path: &Path, ask: bool) -> (Guess, Vec<String>) {
    let mut told = Vec::new();
    let guess = listen(path, ask, Clock::start(), |words| told.push(words))
        .await
        .unwrap();
    (guess, told)
}

/// Each frame is found at its own speed, and at one that is not its own, which only the port's
/// setting tells.
#[tokio::test]
async fn a_frame_is_guessed_by_listening() {
    for (frame, speed) in [
        ("lcd14", 2_400),
        ("ascii14", 2_400),
        ("count14", 19_200),
        ("lcd14", 9_600),
    ] {
        let meter = sim(frame);
        meter.speak(Speech::AtSpeed(speed));
        let (guess, told) = guess(meter.path(), false).await;
        let Guess::Found(spec) = guess else {
            panic!("{frame}: {guess:?} {told:?}")
        };
        assert_eq!(spec.driver.entry.name, frame, "{told:?}");
        assert_eq!(spec.line().baud, speed, "{told:?}");
        // It tells what it tried, and why it chose.
        let last = told.last().unwrap();
        assert!(
            last.starts_with(&format!("chose {frame} at {speed}")),
            "{last}"
        );
        let settings = lines().iter().position(|l| l.baud == speed).unwrap() + 1;
        assert_eq!(told.len(), settings + 1, "{told:?}");
        assert!(
            told[0].contains("lcd14") && told[0].contains("count14"),
            "{told:?}"
        );
    }
}

/// A silent port is not sent a byte, unless asking is allowed.
#[tokio::test]
async fn a_silent_port_is_asked_only_if_allowed() {
    let bench = BenchPort::pty().unwrap();
    let path = bench.path().unwrap();
    let (silent, told) = guess(path, false).await;
    assert!(matches!(silent, Guess::Silent), "{silent:?}");
    assert!(told.iter().all(|t| t.ends_with(": silent")), "{told:?}");
    assert_eq!(bench.bench().heard().len(), 0);
    let (found, told) = guess(path, true).await;
    let Guess::Found(spec) = found else {
        panic!("{found:?} {told:?}")
    };
    assert_eq!(spec.driver.entry.name, "scpi");
}

/// Random bytes, and frames of no kind, are not guessed to be anything.
#[test]
fn noise_is_no_frame() {
    let mut noise = Noise::new(0xBAD);
    for _ in 0..300 {
        let mut ear = Ear::new(Line::eight_bits(2_400));
        for _ in 0..40 {
            ear.take(&noise.bits().to_le_bytes(), Micros(0));
        }
        assert_eq!(ear.heard().best(), None, "{}", ear.heard().words());
    }
}

fn stream(text: &str) -> StreamSpec {
    match text.parse().unwrap() {
        Spec::Stream(stream) => stream,
        other => panic!("{other:?}"),
    }
}

/// What was read while the bytes were kept is read again from the bytes, for a meter that talks and
/// for one that is asked, whose line broke once.
#[tokio::test]
async fn kept_bytes_give_the_same_readings_again() {
    let talks = sim("count14");
    let asked = BenchPort::tcp("127.0.0.1:0".parse().unwrap()).unwrap();
    asked.bench().turn(Function::Ohms, 2.2);
    let on_pty = format!("serial:{},frame=count14", talks.path().display());
    let on_tcp = format!("tcp:{},frame=scpi", asked.address().unwrap());
    for text in [on_pty, on_tcp] {
        let spec = stream(&text);
        let manner = Manner {
            raw: true,
            ..spec.manner()
        };
        let mut session = link::keep(&spec, MeterId(1), manner, Clock::start())
            .await
            .unwrap();
        let (mut live, mut pieces) = (Vec::new(), Vec::new());
        while live.len() < 25 {
            match next(&mut session).await {
                SessionEvent::Reading(r) => {
                    live.push(r);
                    if live.len() == 10 {
                        asked
                            .bench()
                            .fault(ohmtrail_meters::sim::bench::Fault::CloseMidLine);
                    }
                }
                SessionEvent::Heard(piece) => pieces.push(piece),
                _ => {}
            }
        }
        let start = move || spec.driver.start(MeterId(1), None).unwrap();
        let mut session = replay::bytes(pieces, start, Pace::Fast);
        let mut again: Vec<Reading> = Vec::new();
        while let Some(event) = session.recv().await {
            if let SessionEvent::Reading(r) = event {
                again.push(r);
            }
        }
        assert_eq!(again, live, "{text}");
    }
}

async fn next(session: &mut Session) -> SessionEvent {
    tokio::time::timeout(Duration::from_secs(60), session.recv())
        .await
        .expect("no event in a minute")
        .expect("the session ended")
}
