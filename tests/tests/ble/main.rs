//! Bluetooth Low Energy through the real transport: the built binary and its Bluetooth library,
//! against a stand-in of the Bluetooth service on a private bus. Every trait of the real service
//! that has caught a client out has a test here.

mod drift;
mod going;
mod pipes;
mod reading;
mod served;
mod trouble;
mod visit;

use ohmtrail_bluez_stand_in::{Bus, Characteristic, Meter, StandIn};

const ADDRESS: &str = "C0:FF:EE:00:00:01";
const NAME: &str = "Bench meter";
const SERVICE: &str = "7a2b0000-9c7e-4f1d-8b3a-5d6e7f809a0b";
const OHMS: &str = "7a2b0001-9c7e-4f1d-8b3a-5d6e7f809a0b";
const TEMPERATURE: &str = "00002a6e-0000-1000-8000-00805f9b34fb";
/// sint32, 10^-2 ohm, of the Bluetooth SIG.
const HUNDREDTHS_OF_OHMS: [u8; 7] = [0x10, 0xFE, 0x2A, 0x27, 0x01, 0x00, 0x00];
const FORMAT: u16 = 0x2904;
const DESCRIPTION: u16 = 0x2901;
const SETTINGS: u16 = 0x2902;

/// An invented ohmmeter that describes itself and notifies.
fn ohmmeter() -> Meter {
    let ohms = Characteristic::new(OHMS, &["read", "notify"])
        .with(SETTINGS, &[0, 0])
        .with(DESCRIPTION, b"Winding")
        .with(FORMAT, &HUNDREDTHS_OF_OHMS)
        .showing(&0_i32.to_le_bytes());
    Meter::new(ADDRESS, NAME, SERVICE, vec![ohms])
}

/// Hundredths of ohms as the meter sends them.
fn raw(hundredths: i32) -> [u8; 4] {
    hundredths.to_le_bytes()
}

fn by_address() -> String {
    format!("ble:{ADDRESS}")
}

/// A bus with the service and one ohmmeter.
fn bench() -> (Bus, StandIn) {
    bench_with(vec![ohmmeter()])
}

fn bench_with(meters: Vec<Meter>) -> (Bus, StandIn) {
    let bus = Bus::start();
    let service = StandIn::start(&bus.address(), meters);
    (bus, service)
}

fn subscribed(service: &StandIn) {
    service.wait("a subscription", |now| now.is_subscribed());
}
