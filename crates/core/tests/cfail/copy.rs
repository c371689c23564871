//! An open gate cannot be copied out of the machine.
use ohmtrail_core::gates::{Gates, ProvedDead};

fn keep<'a>(gates: &Gates<'a>) -> Option<ProvedDead<'a>> {
    let dead = gates.proved_dead()?;
    Some(*dead)
}

fn main() {}
