//! Where a driver runs: beside its session, so that one that panics or never returns harms nothing
//! but its own.
//!
//! A turn takes microseconds, and a thread of its own for it costs two switches between threads, which
//! is more than all else that is done for a reading. So one turn at a time runs on a worker of the
//! runtime: the lane. A driver that hangs there keeps that worker, and the lane with it, for good; from
//! then on every turn has a thread of its own, and so has any turn while the lane is taken. A program
//! loses one worker at most.

use std::sync::{Arc, LazyLock, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use ohmtrail_core::reading::{Function, Reading};
use ohmtrail_core::units::Micros;
use tokio::runtime::{Handle, RuntimeFlavor};
use tokio::sync::Notify;

use crate::driver::{Driver, Outcome, Told};
use crate::session::DriverFault;

/// A driver that has not returned after this long hangs. No decoder here needs a thousandth of it.
const HANG: Duration = Duration::from_millis(1_200);

/// What a driver is given in one turn.
#[derive(Debug, Default)]
pub(crate) enum Given {
    /// Nothing but the time.
    #[default]
    Nothing,
    /// Bytes, and when they came.
    Bytes(Vec<u8>, Micros),
    /// What is to be measured from now on.
    Wanted(Function),
}

/// What came of one push.
#[derive(Debug)]
pub(crate) struct Step {
    /// Bytes that were understood.
    pub used: usize,
    /// Bytes that were given up.
    pub skipped: usize,
    /// What it was.
    pub outcome: Outcome<Reading>,
}

/// What came of one turn.
#[derive(Debug)]
pub(crate) struct Turn {
    /// When its bytes came.
    pub at: Micros,
    /// What came of them, in order.
    pub steps: Vec<Step>,
    /// What the meter said of itself.
    pub told: Vec<Told>,
    /// What is to be sent.
    pub ask: Option<Vec<u8>>,
    /// When the driver wants its next turn.
    pub wake: Option<Micros>,
}

/// A driver, and whether it is still sound.
pub(crate) struct Host {
    driver: Option<Box<dyn Driver>>,
}

impl Host {
    pub(crate) fn new(driver: Box<dyn Driver>) -> Self {
        Host {
            driver: Some(driver),
        }
    }

    /// Gives the driver its turn. After an error there is no driver any more.
    pub(crate) async fn turn(&mut self, given: Given, now: Micros) -> Result<Turn, DriverFault> {
        let mut driver = self.driver.take().ok_or(DriverFault::Hung)?;
        let work = move || {
            let turn = turn(driver.as_mut(), given, now);
            (driver, turn)
        };
        let hung = Arc::new(Notify::new());
        let done = match Lane::enter(&hung) {
            Some(lane) => {
                let in_the_lane = tokio::spawn(async move {
                    let _until_it_returns = lane;
                    work()
                });
                // A timer for each turn would wake another worker each time.
                tokio::select! {
                    biased;
                    done = in_the_lane => Some(done),
                    () = hung.notified() => None,
                }
            }
            None => {
                let apart = tokio::task::spawn_blocking(work);
                tokio::time::timeout(HANG, apart).await.ok()
            }
        };
        match done {
            Some(Ok((driver, Some(turn)))) => {
                self.driver = Some(driver);
                Ok(turn)
            }
            Some(Ok((_, None))) | None => Err(DriverFault::Hung),
            Some(Err(_)) => Err(DriverFault::Panicked),
        }
    }
}

/// The turn that is in the lane.
struct Taken {
    runtime: Handle,
    since: Instant,
    /// Told when it hangs.
    hung: Arc<Notify>,
}

/// None while the lane is free.
static TAKEN: Mutex<Option<Taken>> = Mutex::new(None);
/// Whether there is a thread that nudges.
static NUDGED: LazyLock<bool> = LazyLock::new(|| {
    let nudging = std::thread::Builder::new().name("nudge".to_owned());
    nudging.spawn(nudge).is_ok()
});
/// How often it does.
const NUDGE: Duration = Duration::from_millis(100);

fn taken() -> MutexGuard<'static, Option<Taken>> {
    TAKEN.lock().unwrap_or_else(PoisonError::into_inner)
}

/// A turn in the lane; free again when dropped.
struct Lane;

impl Lane {
    /// Enters the lane; none if it is taken, or this runtime cannot spare a worker.
    fn enter(hung: &Arc<Notify>) -> Option<Lane> {
        let runtime = Handle::current();
        let spares = runtime.runtime_flavor() == RuntimeFlavor::MultiThread
            && runtime.metrics().num_workers() > 1;
        if !spares || !*NUDGED {
            return None;
        }
        let mut taken = taken();
        if taken.is_some() {
            return None;
        }
        *taken = Some(Taken {
            runtime,
            since: Instant::now(),
            hung: Arc::clone(hung),
        });
        Some(Lane)
    }
}

impl Drop for Lane {
    fn drop(&mut self) {
        *taken() = None;
    }
}

/// Says which turn hangs. A worker that hangs may have been the only one that waited for the system's
/// events and timers: a task from outside makes the runtime wake another one.
fn nudge() {
    loop {
        std::thread::sleep(NUDGE);
        if let Some(taken) = taken().as_ref() {
            taken.runtime.spawn(async {});
            if taken.since.elapsed() > HANG {
                taken.hung.notify_one();
            }
        }
    }
}

/// One turn; none if the driver goes round in circles.
fn turn(driver: &mut dyn Driver, given: Given, now: Micros) -> Option<Turn> {
    let mut turn = Turn {
        at: now,
        steps: Vec::new(),
        told: Vec::new(),
        ask: None,
        wake: None,
    };
    match given {
        Given::Nothing => {}
        Given::Wanted(function) => {
            if let Err(why) = driver.measure(function) {
                turn.told.push(Told::CannotSet(why));
            }
        }
        Given::Bytes(bytes, at) => {
            turn.at = at;
            push(driver, &bytes, at, &mut turn.steps)?;
        }
    }
    tell(driver, &mut turn.told)?;
    turn.ask = driver.poll(now).map(<[u8]>::to_vec);
    tell(driver, &mut turn.told)?;
    turn.wake = driver.wake();
    Some(turn)
}

/// More than a driver can have to say in one turn, whatever the bytes.
const MOST: usize = 4 * crate::driver::HELD;

fn push(driver: &mut dyn Driver, bytes: &[u8], at: Micros, steps: &mut Vec<Step>) -> Option<()> {
    let mut rest = bytes;
    while steps.len() < MOST {
        let pushed = driver.push(rest, at);
        rest = pushed.rest;
        steps.push(Step {
            used: pushed.used,
            skipped: pushed.skipped,
            outcome: pushed.outcome,
        });
        if pushed.outcome == Outcome::Hungry {
            return Some(());
        }
    }
    None
}

fn tell(driver: &mut dyn Driver, told: &mut Vec<Told>) -> Option<()> {
    while told.len() < MOST {
        match driver.told() {
            Some(one) => told.push(one),
            None => return Some(()),
        }
    }
    None
}
