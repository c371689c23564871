//! The gate before every power-on.

use ohmtrail_core::gates::*;
use ohmtrail_core::reading::Function;
use ohmtrail_core::units::Micros;

use super::bench::*;

fn dead() -> Bench {
    let mut bench = Bench::new(UNIT);
    bench.open(Gate::DischargedToTouch);
    bench
}

#[test]
fn rest_covers_and_people_each_by_itself() {
    let mut bench = Bench::new(UNIT);
    bench.take(Function::VoltsAc, 240.0, [L1, L2]);
    bench.act(Act::OpenBreaker);
    let opened_at = bench.now;
    let until = Micros(opened_at.0 + limits::COMPRESSOR_REST);
    assert_eq!(bench.next(Gate::ReadyToEnergise), Step::Wait { until });
    bench.act(Act::CoversOn);
    bench.act(Act::PeopleClear);
    assert!(bench.gates.ready_to_energise(bench.now).is_none());
    bench.now = until;
    bench.gates.on(&Event::Tick { at: until });
    let ready = bench.gates.ready_to_energise(until).unwrap();
    let ask = PowerOn::new(ready, Energise::Breaker).unwrap();
    assert_eq!((ask.starts(), ask.lifted()), (0, None));
    let out = bench.act(Act::CloseBreaker);
    assert!(out.shut.has(Gate::ReadyToEnergise));
    assert_eq!(bench.gates.starts(), 1);
    assert_eq!(bench.next(Gate::ReadyToEnergise), Step::FitCovers);
}

#[test]
fn lifted_ends_are_insulated_and_need_a_reason() {
    let mut bench = dead();
    bench.act(Act::Lift(WIRE));
    assert_eq!(bench.next(Gate::ReadyToEnergise), Step::Insulate(WIRE));
    bench.open(Gate::ReadyToEnergise);
    {
        let ready = bench.gates.ready_to_energise(bench.now).unwrap();
        assert_eq!(
            PowerOn::new(ready, Energise::Breaker).unwrap_err(),
            AskError::LeadsLifted
        );
        let reason = LiftedReason::RunTheRest;
        let ask = PowerOn::with_lifted(ready, Energise::Breaker, reason).unwrap();
        assert_eq!(ask.lifted(), Some(reason));
    }
    let out = bench.act(Act::PutBack(WIRE));
    assert_eq!(out.why, Some(Why::EndsChanged));
    bench.open(Gate::ReadyToEnergise);
    let ready = bench.gates.ready_to_energise(bench.now).unwrap();
    assert!(PowerOn::new(ready, Energise::Call).is_ok());
    assert_eq!(
        PowerOn::with_lifted(ready, Energise::Call, LiftedReason::ReadSupply).unwrap_err(),
        AskError::NoneLifted
    );
}

#[test]
fn what_tripped_is_checked_to_ground_first() {
    let mut bench = Bench::new(UNIT);
    let at = bench.tick();
    bench.gates.on(&Event::Tripped { protector: 0, at });
    assert_eq!(bench.next(Gate::ReadyToEnergise), Step::CheckGround(T1));
    bench.open(Gate::DischargedToMeasure);
    bench.act(Act::CoversOn);
    bench.act(Act::PeopleClear);
    bench.take(Function::Ohms, f64::INFINITY, [T1, GROUND]);
    bench.take(Function::VoltsAc, 0.1, [WIRE, GROUND]);
    // 2.0 Mohm with an uncertainty is not 2 Mohm for sure; 1.9 Mohm is a ground fault.
    for value in [2e6, 1.9e6, 0.0] {
        bench.take(Function::Ohms, value, [WIRE, GROUND]);
        assert_eq!(bench.next(Gate::ReadyToEnergise), Step::CheckGround(WIRE));
    }
    bench.open(Gate::ReadyToEnergise);
    let grounded = bench.take(Function::Ohms, 12.0, [GROUND, T1]);
    assert!(grounded.shut.has(Gate::ReadyToEnergise));
    let at = bench.tick();
    let out = bench.gates.on(&Event::Tripped { protector: 3, at });
    assert_eq!(out.not_counted, Some(NotCounted::Unknown));
}

#[test]
fn people_come_back_so_it_does_not_stay_open() {
    let mut bench = dead();
    bench.open(Gate::ReadyToEnergise);
    bench.now = Micros(bench.now.0 + limits::READY_LASTS + 1);
    assert!(bench.gates.ready_to_energise(bench.now).is_none());
    assert_eq!(bench.next(Gate::ReadyToEnergise), Step::ClearPeople);
}

#[test]
fn a_call_with_the_breaker_closed_is_a_start_and_its_end_a_stop() {
    let mut bench = dead();
    bench.open(Gate::ReadyToEnergise);
    bench.act(Act::CloseBreaker);
    bench.act(Act::CallOff);
    let until = Micros(bench.now.0 + limits::COMPRESSOR_REST);
    assert_eq!(bench.next(Gate::ReadyToEnergise), Step::Wait { until });
    bench.open(Gate::ReadyToEnergise);
    bench.act(Act::CallOn);
    assert_eq!(bench.gates.starts(), 2);
}

#[test]
fn a_stall_is_called_out_after_a_few_seconds() {
    let mut bench = dead();
    bench.open(Gate::ReadyToEnergise);
    bench.act(Act::CloseBreaker);
    let since = bench.tick();
    let at = |s: u64| Micros(since.0 + s * SECOND);
    assert_eq!(bench.gates.on(&Event::Stalled { at: since }).alarm, None);
    assert_eq!(bench.gates.on(&Event::Tick { at: at(5) }).alarm, None);
    let amps = seen(Function::AmpsAc, 96.0, [WIRE, WIRE], at(6));
    assert_eq!(
        bench.gates.on(&Event::Reading(amps)).alarm,
        Some(Alarm::StallHeld { since })
    );
    let out = bench.gates.on(&Event::Act {
        act: Act::OpenBreaker,
        at: at(7),
    });
    assert_eq!(out.alarm, None);
}

#[test]
fn more_lifted_ends_than_can_be_kept_stop_every_power_on() {
    let mut bench = dead();
    for n in 0..=MAX_LIFTED {
        let point = PointId(200 + u16::try_from(n).unwrap());
        let out = bench.act(Act::Lift(point));
        assert_eq!(out.not_counted.is_some(), n == MAX_LIFTED);
    }
    assert_eq!(bench.next(Gate::ReadyToEnergise), Step::Stop);
}
