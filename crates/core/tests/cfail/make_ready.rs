//! Nor with every field named.
use ohmtrail_core::gates::ReadyToEnergise;
use ohmtrail_core::units::Micros;

fn main() {
    let _ = ReadyToEnergise {
        at: Micros(0),
        lifted: 0,
        starts: 0,
        epoch: 0,
    };
}
