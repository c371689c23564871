//! A borrowed gate does not survive a revocation.
use ohmtrail_core::gates::{Event, Gates, ProvedDead};
use ohmtrail_core::reading::MeterId;

fn revoked(gates: &mut Gates<'_>) -> Option<MeterId> {
    let dead = gates.proved_dead()?;
    gates.revoke();
    Some(dead.meter())
}

fn told(gates: &mut Gates<'_>, event: &Event) -> Option<MeterId> {
    let dead: &ProvedDead<'_> = gates.proved_dead()?;
    gates.on(event);
    Some(dead.meter())
}

fn main() {}
