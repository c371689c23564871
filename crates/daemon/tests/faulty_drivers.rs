//! Drivers that panic and drivers that never return: each is started again with its port, and
//! neither the other meters nor the visit notices more than a gap.

mod common;

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};
use std::time::Duration;

use common::{House, PATIENCE};
use ohmtrail_core::reading::Reading;
use ohmtrail_core::units::Micros;
use ohmtrail_daemon::clock::Clocks;
use ohmtrail_daemon::meters::{Meter, Standing, What};
use ohmtrail_meters::driver::{CannotStart, Driver, Entry, Pushed, Setup, driver};
use ohmtrail_meters::profile::Profile;
use ohmtrail_meters::sim::face::Moves;
use ohmtrail_meters::sim::meter::{SimConfig, SimMeter};
use ohmtrail_meters::spec::{DriverSpec, Place, Spec, StreamSpec};

const FRAME: &str = "count14";
/// Bytes come so often before the driver fails.
const PUSHES: u32 = 6;

static PANICS: AtomicU32 = AtomicU32::new(0);
static HANGS: AtomicU32 = AtomicU32::new(0);
/// A driver hangs, from when it begins to.
static HANGING: AtomicBool = AtomicBool::new(false);
/// Lets the thread of the driver that hangs end with the test.
static LET_GO: AtomicBool = AtomicBool::new(false);

/// Ends the hang also when the test fails: the runtime waits for its threads, and would never say why.
struct LetGo;

impl Drop for LetGo {
    fn drop(&mut self) {
        LET_GO.store(true, Ordering::SeqCst);
    }
}

/// A good driver, but in its first life.
struct Faulty {
    inner: Box<dyn Driver>,
    left: Option<u32>,
    fail: fn(),
}

impl Driver for Faulty {
    fn push<'b>(&mut self, bytes: &'b [u8], at: Micros) -> Pushed<'b, Reading> {
        if let Some(left) = &mut self.left {
            *left = left.saturating_sub(1);
            if *left == 0 {
                (self.fail)();
            }
        }
        self.inner.push(bytes, at)
    }
}

fn start(setup: &Setup, lives: &AtomicU32, fail: fn()) -> Result<Box<dyn Driver>, CannotStart> {
    // The first one is started to see whether it starts, and never used.
    let life = lives.fetch_add(1, Ordering::SeqCst);
    let inner = (driver(FRAME).expect("built in").start)(setup)?;
    Ok(Box::new(Faulty {
        inner,
        left: (life <= 2).then_some(PUSHES),
        fail,
    }))
}

fn panics(setup: &Setup) -> Result<Box<dyn Driver>, CannotStart> {
    start(setup, &PANICS, || {
        panic!("a driver that panics, as the test wants")
    })
}

fn hangs(setup: &Setup) -> Result<Box<dyn Driver>, CannotStart> {
    start(setup, &HANGS, || {
        HANGING.store(true, Ordering::SeqCst);
        while !LET_GO.load(Ordering::SeqCst) {
            std::thread::sleep(Duration::from_millis(20));
        }
    })
}

type Start = fn(&Setup) -> Result<Box<dyn Driver>, CannotStart>;

fn plug(house: &House, name: &str, start: Option<Start>) -> (SimMeter, Arc<Meter>) {
    let good = driver(FRAME).expect("built in");
    let sim = SimMeter::start(SimConfig {
        entry: good,
        profile: Profile::simulated(FRAME).expect("built in"),
        seed: 1,
        interval: Duration::from_millis(40),
        moves: Moves::default(),
    })
    .expect("a simulated meter");
    let entry: &'static Entry = match start {
        Some(start) => Box::leak(Box::new(Entry { start, ..*good })),
        None => good,
    };
    let spec = Spec::Stream(StreamSpec {
        place: Place::Serial {
            path: sim.path().to_owned(),
            baud: None,
            line: None,
        },
        driver: DriverSpec::of(entry),
    });
    let added = house
        .context
        .meters
        .add(Some(name.to_owned()), String::new(), spec);
    (sim, added.expect("added"))
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_driver_that_panics_or_hangs_is_started_again_and_nothing_else_notices() {
    let let_go = LetGo;
    let folder = tempfile::tempdir().expect("a folder");
    let house = House::open(folder.path(), Clocks::start());
    let mut news = house.context.meters.watch();
    let meters = [
        plug(&house, "good", None),
        plug(&house, "panics", Some(panics)),
        plug(&house, "hangs", Some(hangs)),
    ];
    let visit = house.visit().await;
    for (_, meter) in &meters {
        let meter = Arc::clone(meter);
        let joined = visit.with(move |keeper| keeper.join(&meter, "an invented role"));
        joined.await.expect("there").expect("joined");
    }
    // Until both have been away and are up again, and a while longer.
    let mut fell = [false; 3];
    let mut rose = [false; 3];
    let mut good_meanwhile = 0;
    let mut good_last = Micros(0);
    let mut longest_us = 0;
    let whole = async {
        while !(rose[1] && rose[2]) {
            let Ok(one) = news.recv().await else { continue };
            let which = usize::from(one.meter.0) - 1;
            match &one.what {
                What::State(state) if state.standing == Standing::Away => {
                    assert!(state.why.contains("driver"), "{}", state.why);
                    fell[which] = true;
                }
                What::State(state) if state.standing == Standing::Up => {
                    rose[which] = fell[which];
                }
                What::Reading(reading) if which == 0 => {
                    let hanging = HANGING.load(Ordering::SeqCst) && !rose[2];
                    good_meanwhile += usize::from(hanging);
                    if good_last != Micros(0) {
                        longest_us = longest_us.max(reading.at.since(good_last));
                    }
                    good_last = reading.at;
                }
                _ => {}
            }
        }
    };
    tokio::time::timeout(PATIENCE, whole)
        .await
        .expect("both are up again");
    assert!(!fell[0], "the good meter");
    // A hang is waited for more than a second, 25 frames.
    assert!(good_meanwhile >= 5, "{good_meanwhile} readings meanwhile");
    assert!(longest_us < 1_000_000, "{longest_us} us without a reading");
    assert!(meters[1].1.tally().readings > 0 && meters[2].1.tally().readings > 0);

    drop(let_go);
    house.stop().await;
    let entries = ohmtrail_trail::read(&visit.path).expect("a trail");
    let lost = entries
        .filter_map(|record| match record.expect("whole").body {
            ohmtrail_trail::Body::Entry(entry) => Some(entry.event),
            _ => None,
        })
        .filter(|event| matches!(event, ohmtrail_trail::event::Event::MeterLost { why, .. } if why.contains("driver")));
    assert_eq!(lost.count(), 2, "each failing driver's gap, once");
}
