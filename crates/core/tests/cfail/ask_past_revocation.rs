//! Nor does an ask that was built from it.
use ohmtrail_core::gates::{DeadAsk, Energise, Event, Gates, Pair, PointId, PowerOn};
use ohmtrail_core::units::Micros;

fn measure(gates: &mut Gates<'_>, event: &Event, now: Micros) -> Option<Pair> {
    let dead = gates.proved_dead()?;
    let discharged = gates.discharged_to_measure(now)?;
    let ask = DeadAsk::ohms(dead, discharged, [PointId(1), PointId(2)]).ok()?;
    gates.on(event);
    Some(ask.points())
}

fn energise(gates: &mut Gates<'_>, now: Micros) -> Option<u16> {
    let ask = PowerOn::new(gates.ready_to_energise(now)?, Energise::Breaker).ok()?;
    gates.revoke();
    Some(ask.starts())
}

fn main() {}
