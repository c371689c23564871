//! Nobody makes a level of their own.
use ohmtrail_core::gates::Level;
use ohmtrail_core::units::Volts;

enum Anything {}

impl Level for Anything {
    const AT_MOST: Volts = Volts(1e9);
    const LASTS: u64 = u64::MAX;
}

fn main() {}
