//! Sessions end to end. The simulated meter writes its frames to a real pseudo-terminal, and the
//! serial driver reads them as it would hardware. What hangs on time alone runs over an in-memory
//! pipe under paused time.

use std::path::{Path, PathBuf};
use std::time::Duration;

use ohmtrail_core::accuracy::AccuracyTable;
use ohmtrail_core::reading::{Decimal, Flags, Function, MeterId, Reading, Shown};
use ohmtrail_core::units::Micros;
use ohmtrail_meters::driver::{FRAME, Setup, driver, drivers};
use ohmtrail_meters::keyed;
use ohmtrail_meters::link::{self, Manner, OpenError};
use ohmtrail_meters::profile::Profile;
use ohmtrail_meters::replay::{self, Pace};
use ohmtrail_meters::session::{Clock, Gone, Likely, Patience, Session, SessionEvent};
use ohmtrail_meters::showing::{Reason, Showing};
use ohmtrail_meters::sim::face::Moves;
use ohmtrail_meters::sim::meter::{SimConfig, SimError, SimMeter, Speech};
use ohmtrail_meters::spec::{Spec, StreamSpec};
use tokio::io::AsyncWriteExt;

/// Nothing here takes this long on any machine that still makes progress.
const FOR_EVER: Duration = Duration::from_secs(60);

/// Short, so that tests end soon; a slow machine only makes them later, not wrong.
const QUICK: Patience = Patience {
    silence_us: 300_000,
    garbage_us: 300_000,
};

const QUICKLY: Manner = Manner {
    patience: QUICK,
    raw: false,
};

fn sim(frame: &str, moves: Moves) -> SimMeter {
    sim_every(Duration::from_millis(5), frame, moves)
}

fn sim_every(interval: Duration, frame: &str, moves: Moves) -> SimMeter {
    SimMeter::start(SimConfig {
        entry: driver(frame).unwrap(),
        profile: Profile::simulated(frame).unwrap(),
        seed: 11,
        interval,
        moves,
    })
    .unwrap()
}

fn spec(path: &Path, frame: &str) -> StreamSpec {
    let text = format!("serial:{},frame={frame}", path.display());
    match text.parse().unwrap() {
        Spec::Stream(serial) => serial,
        other => panic!("{other:?}"),
    }
}

async fn next(session: &mut Session) -> SessionEvent {
    tokio::time::timeout(FOR_EVER, session.recv())
        .await
        .expect("no event in a minute")
        .expect("the session ended")
}

/// The next event that this picks; the others are passed over.
async fn find<T>(session: &mut Session, pick: impl Fn(&SessionEvent) -> Option<T>) -> T {
    loop {
        let event = next(session).await;
        if let Some(found) = pick(&event) {
            return found;
        }
        assert!(!matches!(event, SessionEvent::Gone { .. }), "{event:?}");
    }
}

async fn reading_on(session: &mut Session, function: Function) -> Reading {
    find(session, |event| match event {
        SessionEvent::Reading(r) if r.function == function => Some(*r),
        _ => None,
    })
    .await
}

async fn quick(path: &Path, frame: &str, clock: Clock) -> Session {
    let spec = spec(path, frame);
    link::open(&spec, MeterId(1), QUICKLY, clock).await.unwrap()
}

async fn open(path: &Path, frame: &str, meter: MeterId) -> Result<Session, OpenError> {
    link::open(&spec(path, frame), meter, Manner::default(), Clock::start()).await
}

/// Every frame, function and value: what the display shows is what the host reads.
#[tokio::test]
async fn what_the_simulated_meter_shows_comes_through_the_port() {
    for entry in drivers().iter().filter(|entry| entry.encode.is_some()) {
        let sim = sim(entry.name, Moves::NONE);
        let profile = Profile::simulated(entry.name).unwrap();
        let mut session = open(sim.path(), entry.name, MeterId(4)).await.unwrap();
        for function in entry.about.functions {
            let Some(top) = profile.top_of_range(*function) else {
                continue;
            };
            for value in [top / 3.0, top / 700.0] {
                sim.set(*function, value).unwrap();
                let near = |shown: Decimal| {
                    let half = profile
                        .accuracy_shown(*function, shown)
                        .unwrap()
                        .half_width(shown);
                    (shown.value() - value).abs() <= half * (1.0 + 1e-9)
                };
                // Frames of the value before may still be on their way.
                let reading = find(&mut session, |event| match event {
                    SessionEvent::Reading(r) if r.function == *function => {
                        r.shown.decimal().filter(|d| near(*d)).map(|_| *r)
                    }
                    _ => None,
                })
                .await;
                assert_eq!(reading.meter, MeterId(4));
                assert!(reading.flags.has(Flags::AUTO_RANGE));
            }
        }
        sim.set(Function::Ohms, f64::INFINITY).unwrap();
        find(&mut session, |event| match event {
            SessionEvent::Reading(r) if r.shown == Shown::Overload => Some(()),
            _ => None,
        })
        .await;
        let tally = session.tally();
        assert_eq!(tally.all_rejected(), 0, "{}: {tally:?}", entry.name);
        assert!(tally.readings > 10);
        let held = tally.bytes - tally.readings * FRAME as u64 - tally.skipped;
        assert!(held < FRAME as u64, "{}: {tally:?}", entry.name);
    }
}

/// The sequence after a move, digit for digit: the frames that the host reads are those of the
/// meter's face.
#[tokio::test]
async fn the_host_reads_the_faces_very_digits() {
    use ohmtrail_meters::sim::display::DisplayModel;
    use ohmtrail_meters::sim::face::Face;
    // Slow enough that the port's buffer holds seconds of frames, so that none is lost on a busy
    // machine.
    let sim = sim_every(Duration::from_millis(20), "count14", Moves::default());
    let profile = Profile::simulated("count14").unwrap();
    let mut session = open(sim.path(), "count14", MeterId(0)).await.unwrap();
    reading_on(&mut session, Function::VoltsAc).await;
    sim.set(Function::Ohms, 2.2).unwrap();
    let mut got = vec![reading_on(&mut session, Function::Ohms).await];
    for _ in 0..11 {
        got.push(reading_on(&mut session, Function::Ohms).await);
    }
    let display = DisplayModel::new(&profile, 11);
    let mut face = Face::new(display, Function::VoltsAc, Moves::default(), 11);
    face.touch(Function::Ohms, 2.2);
    let shown: Vec<Showing> = (0..12).map(|_| face.next_frame()).collect();
    let read: Vec<Showing> = got
        .iter()
        .map(|r| Showing {
            function: r.function,
            shown: r.shown,
            flags: r.flags,
        })
        .collect();
    assert_eq!(read, shown);
    assert!(got.is_sorted_by_key(|r| r.at));
}

/// Every time the reason is the right one; at least once in five it is there within a second, as a
/// busy machine may stall any one try.
#[tokio::test]
async fn an_unplugged_meter_is_gone_within_a_second() {
    let mut fastest = FOR_EVER;
    for _ in 0..5 {
        let sim = sim("lcd14", Moves::NONE);
        let mut session = quick(sim.path(), "lcd14", Clock::start()).await;
        reading_on(&mut session, Function::VoltsAc).await;
        sim.unplug();
        let begun = std::time::Instant::now();
        let why = loop {
            if let SessionEvent::Gone { why, .. } = next(&mut session).await {
                break why;
            }
        };
        assert_eq!(why, Gone::Unplugged);
        assert_eq!(session.recv().await, None);
        fastest = fastest.min(begun.elapsed());
    }
    assert!(fastest < Duration::from_secs(1), "{fastest:?}");
}

#[tokio::test]
async fn garbage_silence_and_recovery_are_told_apart() {
    let sim = sim("lcd14", Moves::NONE);
    let mut session = quick(sim.path(), "lcd14", Clock::start()).await;
    reading_on(&mut session, Function::VoltsAc).await;

    sim.speak(Speech::Garbage);
    let (likely, bytes) = find(&mut session, |event| match event {
        SessionEvent::Garbage { likely, bytes, .. } => Some((*likely, *bytes)),
        _ => None,
    })
    .await;
    assert_eq!(likely, Likely::SpeedOrFrameType);
    assert!(likely.words().contains("wrong speed or wrong frame type"));
    assert!(bytes >= 2 * FRAME as u64);

    sim.speak(Speech::Nothing);
    let (at, since) = find(&mut session, |event| match event {
        SessionEvent::Silent { at, since } => Some((*at, *since)),
        _ => None,
    })
    .await;
    assert!(at.since(since) >= QUICK.silence_us);

    sim.speak(Speech::Frames);
    let gap = find(&mut session, |event| match event {
        SessionEvent::Up { gap_us, .. } => Some(*gap_us),
        _ => None,
    })
    .await;
    assert!(gap >= QUICK.silence_us + QUICK.garbage_us);
    reading_on(&mut session, Function::VoltsAc).await;
}

/// A frame of another kind is bytes but no frame: the spec named the wrong one.
#[tokio::test]
async fn the_wrong_frame_type_is_garbage() {
    let sim = sim("count14", Moves::NONE);
    let mut session = quick(sim.path(), "lcd14", Clock::start()).await;
    let likely = find(&mut session, |event| match event {
        SessionEvent::Garbage { likely, .. } => Some(*likely),
        SessionEvent::Reading(r) => panic!("made up: {r:?}"),
        _ => None,
    })
    .await;
    assert_eq!(likely, Likely::SpeedOrFrameType);
}

#[tokio::test]
async fn a_port_that_cannot_be_opened_says_why() {
    let error = async |path: &Path| open(path, "lcd14", MeterId(0)).await.expect_err("opened");
    let missing = error(Path::new("/dev/no-such-port")).await;
    assert!(matches!(missing, OpenError::Missing(_)), "{missing}");
    assert!(missing.to_string().contains("no such port"));

    let file = tempfile::NamedTempFile::new().unwrap();
    let no_port = error(file.path()).await;
    assert!(matches!(no_port, OpenError::NotAPort(_)), "{no_port}");
    let null = error(Path::new("/dev/null")).await;
    assert!(matches!(null, OpenError::NotAPort(_)), "{null}");

    let sim = sim("lcd14", Moves::NONE);
    let mut first = quick(sim.path(), "lcd14", Clock::start()).await;
    reading_on(&mut first, Function::VoltsAc).await;
    let busy = error(sim.path()).await;
    assert!(matches!(busy, OpenError::Busy(_)), "{busy}");
    assert!(busy.to_string().contains("another program holds the port"));
    // The first goes on reading; when it lets go, the port is free again.
    reading_on(&mut first, Function::VoltsAc).await;
    drop(first);
    let path: PathBuf = sim.path().to_path_buf();
    let again = async {
        loop {
            match open(&path, "lcd14", MeterId(0)).await {
                Ok(session) => return session,
                Err(OpenError::Busy(_)) => tokio::time::sleep(Duration::from_millis(5)).await,
                Err(e) => panic!("{e}"),
            }
        }
    };
    let mut second = tokio::time::timeout(FOR_EVER, again).await.unwrap();
    reading_on(&mut second, Function::VoltsAc).await;
}

/// A port that its owner may not open is told from a busy one. The superuser may open any: then it
/// must open.
#[tokio::test]
async fn a_forbidden_port_says_so() {
    use std::os::unix::fs::PermissionsExt;
    let sim = sim("lcd14", Moves::NONE);
    let nobody = std::fs::Permissions::from_mode(0o000);
    std::fs::set_permissions(sim.path(), nobody).unwrap();
    let allowed = std::fs::File::open(sim.path()).is_ok();
    let opened = open(sim.path(), "lcd14", MeterId(0)).await;
    match opened {
        Ok(mut session) => {
            assert!(allowed);
            reading_on(&mut session, Function::VoltsAc).await;
        }
        Err(e) => {
            assert!(!allowed && matches!(e, OpenError::Permission(_)), "{e}");
            assert!(e.to_string().contains("dialout"));
        }
    }
}

#[test]
fn a_simulated_meter_refuses_what_it_cannot_show() {
    let sim = sim("lcd14", Moves::NONE);
    let refused = sim.set(Function::Megohms, 5e8);
    assert!(
        matches!(refused, Err(SimError::NoFunction(Function::Megohms))),
        "{refused:?}"
    );
    assert!(sim.set_flags(Flags::PEAK).is_err());
    assert!(sim.set_flags(Flags::HOLD).is_ok());
}

#[tokio::test(start_paused = true)]
async fn silence_is_said_once_and_the_zero_byte_read_ends_the_session() {
    let clock = Clock::start();
    let (host, meter) = tokio::io::duplex(64);
    let driver = (driver("lcd14").unwrap().start)(&Setup::of(MeterId(0))).unwrap();
    let mut session = link::over(host, driver, Manner::default(), clock);
    let silent = next(&mut session).await;
    assert_eq!(
        silent,
        SessionEvent::Silent {
            at: Micros(1_800_000),
            since: Micros(0)
        }
    );
    let quiet = tokio::time::timeout(Duration::from_secs(30), session.recv()).await;
    assert!(quiet.is_err(), "said again: {quiet:?}");
    drop(meter);
    let gone = next(&mut session).await;
    assert!(
        matches!(
            gone,
            SessionEvent::Gone {
                why: Gone::Unplugged,
                ..
            }
        ),
        "{gone:?}"
    );
    assert_eq!(session.recv().await, None);
}

/// Whole frames that are all refused are told apart from a wrong speed.
#[tokio::test(start_paused = true)]
async fn refused_frames_are_counted_and_named() {
    let clock = Clock::start();
    let (host, mut meter) = tokio::io::duplex(64);
    let driver = (driver("ascii14").unwrap().start)(&Setup::of(MeterId(0))).unwrap();
    let mut session = link::over(host, driver, Manner::default(), clock);
    tokio::spawn(async move {
        // 095.0 degrees Fahrenheit, five times a second.
        while meter.write_all(b"+0950 4\0\0\0\x01\0\r\n").await.is_ok() {
            tokio::time::sleep(Duration::from_millis(200)).await;
        }
    });
    let likely = find(&mut session, |event| match event {
        SessionEvent::Garbage { likely, .. } => Some(*likely),
        _ => None,
    })
    .await;
    assert_eq!(likely, Likely::Refused(Reason::NotCarried));
    assert!(
        likely
            .words()
            .contains("set the meter to another function or unit")
    );
    let tally = session.tally();
    assert!(tally.rejected(Reason::NotCarried) >= 10, "{tally:?}");
    assert_eq!(tally.all_rejected(), tally.rejected(Reason::NotCarried));
    assert_eq!(tally.readings, 0);
}

fn kept(times: &[u64]) -> Vec<(Micros, Reading)> {
    times
        .iter()
        .map(|t| {
            let at = Micros(*t);
            let showing = Showing::value(Function::VoltsAc, 2384, -1);
            (at, showing.reading(MeterId(2), at))
        })
        .collect()
}

#[tokio::test(start_paused = true)]
async fn a_replay_keeps_the_pauses_or_leaves_them_out() {
    let times = [5_000_000, 5_200_000, 65_200_000, 60_000_000];
    for (pace, took) in [(Pace::Original, 60_200_000), (Pace::Fast, 0)] {
        let clock = Clock::start();
        let mut session = replay::session(kept(&times), pace);
        assert!(matches!(next(&mut session).await, SessionEvent::Up { .. }));
        for (_, reading) in kept(&times) {
            // Longer than any test waits: time is paused and jumps.
            let event = session.recv().await;
            assert_eq!(event, Some(SessionEvent::Reading(reading)));
        }
        // The timer's grain is a millisecond.
        assert!(
            clock.now().0.abs_diff(took) < 5_000,
            "{pace:?} {:?}",
            clock.now()
        );
        let end = session.recv().await;
        assert!(
            matches!(end, Some(SessionEvent::Gone { why: Gone::End, .. })),
            "{end:?}"
        );
        assert_eq!(session.recv().await, None);
    }
}

#[tokio::test]
async fn typed_values_come_out_of_a_session() {
    let (mut keys, mut session) = keyed::session(MeterId(3));
    let typed = keys
        .enter("0.31", "uF", Function::Farads, Flags::NONE, Micros(8))
        .await
        .unwrap();
    assert_eq!(typed.shown, Shown::Value(Decimal::new(31, -8)));
    assert_eq!((typed.meter, typed.at), (MeterId(3), Micros(8)));
    assert!(
        keys.enter("0,31", "uF", Function::Farads, Flags::NONE, Micros(9))
            .await
            .is_err()
    );
    drop(keys);
    assert_eq!(session.recv().await, Some(SessionEvent::Reading(typed)));
    assert_eq!(session.recv().await, None);
}
