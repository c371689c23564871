//! Low enough to touch is not low enough for ohms.
use ohmtrail_core::gates::{DeadAsk, Discharged, PointId, ProvedDead, Touch};

fn ohms(dead: &ProvedDead<'_>, discharged: &Discharged<'_, Touch>) {
    let _ = DeadAsk::ohms(dead, discharged, [PointId(1), PointId(2)]);
}

fn main() {}
