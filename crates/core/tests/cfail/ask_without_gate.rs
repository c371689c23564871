//! No ask behind a gate can be built without the gate's value.
use ohmtrail_core::gates::{
    DeadAsk, Discharged, Energise, InsulationAsk, InsulationReady, LiftAsk, Loose, LooseAsk,
    Measure, PointId, PowerOn, ProvedDead, TouchAsk,
};
use ohmtrail_core::reading::Function;

const POINTS: [PointId; 2] = [PointId(1), PointId(2)];

fn nothing() {
    let _ = DeadAsk::ohms(POINTS);
    let _ = LiftAsk::new(PointId(1));
    let _ = PowerOn::new(Energise::Breaker);
    let _ = LiftAsk(());
}

fn only_dead(dead: &ProvedDead<'_>) {
    let _ = DeadAsk::ohms(dead, POINTS);
    let _ = TouchAsk::new(dead, PointId(1));
}

fn only_discharged(discharged: &Discharged<'_, Measure>) {
    let _ = LooseAsk::new(Function::Farads, discharged, POINTS);
}

fn unprepared(dead: &ProvedDead<'_>, discharged: &Discharged<'_, Measure>) {
    let _ = InsulationAsk::new(dead, discharged, POINTS);
}

fn not_there_yet(dead: Option<&ProvedDead<'_>>, discharged: &Discharged<'_, Measure>) {
    let _ = DeadAsk::farads(dead, discharged, POINTS);
}

fn wrong_gate(loose: &Loose<'_>, discharged: &Discharged<'_, Measure>, _: &InsulationReady) {
    let _ = DeadAsk::ohms(loose, discharged, POINTS);
}

fn main() {}
