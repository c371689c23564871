//! An open gate cannot be made: its fields are private, and there is no constructor.
use ohmtrail_core::gates::{Discharged, Loose, Measure, ProvedDead};
use ohmtrail_core::reading::MeterId;
use ohmtrail_core::units::Micros;

fn main() {
    let _ = Loose {
        meter: MeterId(1),
        at: Micros(0),
    };
    let _ = ProvedDead::new(MeterId(1));
    let _ = Discharged::<Measure>::new(MeterId(1));
}
