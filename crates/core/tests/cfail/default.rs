//! An open gate has no default.
use ohmtrail_core::gates::{Discharged, Loose, Measure, ProvedDead, ReadyToEnergise};

fn main() {
    let _ = ProvedDead::default();
    let _ = Discharged::<Measure>::default();
    let _ = Loose::default();
    let _ = ReadyToEnergise::default();
}
