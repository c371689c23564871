//! The stand-in's hands.

use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use ohmtrail_bluez_stand_in::{Bus, Characteristic, Meter, Now, StandIn};

use super::{
    ADDRESS, CALLED, HUNDREDTHS_OF_CELSIUS, Hands, NAME, SERVICE, TEMPERATURE, TENTHS_OF_VOLTS,
    VOLTS,
};

/// The pace of a meter that streams.
const PACE: Duration = Duration::from_millis(100);

/// The invented meter, for the stand-in. That in the emulated machine's reach is `tests/ble-vm/meter.py`.
#[must_use]
pub fn meter() -> Meter {
    let volts = Characteristic::new(VOLTS, &["read", "notify"])
        .with(0x2901, CALLED)
        .with(0x2904, &TENTHS_OF_VOLTS)
        .with(0x2902, &[0, 0])
        .showing(&0_i32.to_le_bytes());
    let temperature =
        Characteristic::new(TEMPERATURE, &["read"]).showing(&HUNDREDTHS_OF_CELSIUS.to_le_bytes());
    Meter::new(ADDRESS, NAME, SERVICE, vec![volts, temperature])
}

/// A bus with the stand-in and the invented meter.
pub struct Stand {
    bus: Bus,
    /// The service, unless it was killed.
    service: Arc<Mutex<Option<StandIn>>>,
    /// What the meter streams.
    streamed: Arc<Mutex<Vec<i32>>>,
}

impl Default for Stand {
    fn default() -> Stand {
        let bus = Bus::start();
        let service = StandIn::start(&bus.address(), vec![meter()]);
        let stand = Stand {
            bus,
            service: Arc::new(Mutex::new(Some(service))),
            streamed: Arc::default(),
        };
        let service = Arc::downgrade(&stand.service);
        let streamed = Arc::clone(&stand.streamed);
        std::thread::spawn(move || {
            for turn in 0.. {
                std::thread::sleep(PACE);
                let Some(service) = service.upgrade() else {
                    return;
                };
                let values = held(&streamed).clone();
                // Which of them it is the turn of, if there are any.
                let turn = usize::checked_rem(turn, values.len());
                if let (Some(service), Some(turn)) = (&*held(&service), turn) {
                    notify(service, values[turn]);
                }
            }
        });
        stand
    }
}

/// A value; there is nothing to notify before there was a link.
fn notify(service: &StandIn, tenths: i32) {
    if service.look(Now::is_subscribed) {
        service.notify(ADDRESS, VOLTS, &tenths.to_le_bytes());
    }
}

fn held<T>(of: &Mutex<T>) -> MutexGuard<'_, T> {
    of.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Stand {
    fn with<T>(&self, act: impl FnOnce(&StandIn) -> T) -> T {
        act(held(&self.service).as_ref().expect("the service runs"))
    }

    /// Waits until the meter has no link any more.
    ///
    /// # Panics
    /// If it keeps it.
    pub fn until_unlinked(&self) {
        self.with(|service| service.wait("the link to end", |now| now.linked.is_empty()));
    }
}

impl Hands for Stand {
    fn bus(&self) -> String {
        self.bus.address()
    }

    fn send(&mut self, tenths: &[i32]) {
        self.with(|service| {
            for tenths in tenths {
                notify(service, *tenths);
            }
        });
    }

    fn stream(&mut self, tenths: &[i32]) {
        tenths.clone_into(&mut held(&self.streamed));
    }

    fn drop_link(&mut self) {
        self.with(|service| service.drop_link(ADDRESS));
    }

    fn reach(&mut self, near: bool) {
        self.with(|service| service.reach(ADDRESS, near));
    }

    fn kill(&mut self) {
        *held(&self.service) = None;
    }

    fn start(&mut self) {
        let service = StandIn::restarted(&self.bus.address(), vec![meter()]);
        *held(&self.service) = Some(service);
    }
}
