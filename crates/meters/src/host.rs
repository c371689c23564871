//! Where a driver runs: beside the asynchronous tasks, so that one that panics or never returns
//! harms nothing but its own session.

use std::time::Duration;

use ohmtrail_core::reading::{Function, Reading};
use ohmtrail_core::units::Micros;

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
        let work = tokio::task::spawn_blocking(move || {
            let turn = turn(driver.as_mut(), given, now);
            (driver, turn)
        });
        match tokio::time::timeout(HANG, work).await {
            Ok(Ok((driver, Some(turn)))) => {
                self.driver = Some(driver);
                Ok(turn)
            }
            Ok(Ok((_, None))) => Err(DriverFault::Hung),
            Ok(Err(_)) => Err(DriverFault::Panicked),
            Err(_) => Err(DriverFault::Hung),
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
