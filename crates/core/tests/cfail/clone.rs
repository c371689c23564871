//! An open gate cannot be cloned, and neither can the machine that holds it.
use ohmtrail_core::gates::{Discharged, Gates, Loose, Measure, ProvedDead, ReadyToEnergise};

fn gates(gates: Gates<'_>) {
    let _ = gates.clone();
}
fn dead(dead: ProvedDead<'_>) {
    let _ = dead.clone();
}
fn discharged(discharged: Discharged<'_, Measure>) {
    let _ = discharged.clone();
}
fn loose(loose: Loose<'_>) {
    let _ = loose.clone();
}
fn ready(ready: ReadyToEnergise) {
    let _ = ready.clone();
}

fn main() {}
