//! The walk to a dead and discharged unit, and everything that takes it back.

use ohmtrail_core::gates::*;
use ohmtrail_core::reading::{Flags, Function, MeterId};
use ohmtrail_core::units::{Micros, Volts};

use super::bench::*;

fn opened() -> Bench {
    let mut bench = Bench::new(UNIT);
    bench.open(Gate::DischargedToMeasure);
    bench
}

#[test]
fn the_steps_come_in_the_published_order() {
    let bench = {
        let mut bench = Bench::new(UNIT);
        bench.open(Gate::ProvedDead);
        bench
    };
    let (ac, dc) = (Function::VoltsAc, Function::VoltsDc);
    let read = |function, points| Step::ReadDead {
        function,
        points,
        at_most: limits::DEAD,
    };
    let pairs = [
        [L1, L2],
        [L1, GROUND],
        [L2, GROUND],
        [T1, T2],
        [T1, GROUND],
        [T2, GROUND],
        [R, GROUND],
    ];
    let mut expected = vec![
        Step::ReadLine([L1, L2]),
        Step::OpenBreaker,
        Step::LockAndTag,
        Step::OpenSource(0),
        Step::ProveMeter,
    ];
    expected.extend(pairs.map(|p| read(ac, p)));
    expected.extend(pairs.map(|p| read(dc, p)));
    expected.push(Step::ProveMeter);
    assert_eq!(bench.steps, expected);
    let dead = bench.gates.proved_dead().unwrap();
    assert_eq!(dead.pairs(), 7);
    assert_eq!(dead.meter(), METER);
    assert!(dead.meter_read());
    assert_eq!(dead.highest(), Volts(0.5));
}

#[test]
fn a_breaker_known_by_its_label_only_needs_a_disconnect_in_sight() {
    for (what, dead_line) in [("dead line", true), ("out of reach", false)] {
        let mut bench = Bench::new(UNIT);
        if dead_line {
            bench.take(Function::VoltsAc, 0.2, [L1, L2]);
        } else {
            bench.act(Act::CannotReadLine);
        }
        assert_eq!(bench.next(Gate::ProvedDead), Step::OpenBreaker, "{what}");
        bench.act(Act::OpenBreaker);
        assert_eq!(bench.next(Gate::ProvedDead), Step::LockDisconnect, "{what}");
        bench.act(Act::LockAndTag);
        bench.act(Act::OpenSource(0));
        bench.prove(120.0);
        let out = bench.take(Function::VoltsAc, 0.1, [L1, L2]);
        assert_eq!(out.not_counted, Some(NotCounted::NotIdentified), "{what}");
        bench.open(Gate::ProvedDead);
        assert!(bench.steps.contains(&Step::LockDisconnect), "{what}");
    }
}

#[test]
fn what_does_not_count_says_why_and_opens_nothing() {
    let mut bench = Bench::new(UNIT);
    bench.take(Function::VoltsAc, 240.0, [L1, L2]);
    bench.act(Act::OpenBreaker);
    let out = bench.take(Function::VoltsAc, 0.1, [L1, L2]);
    assert_eq!(out.not_counted, Some(NotCounted::NotLocked));
    bench.act(Act::LockAndTag);
    bench.act(Act::OpenSource(0));
    let out = bench.take(Function::VoltsAc, 0.1, [L1, L2]);
    assert_eq!(out.not_counted, Some(NotCounted::MeterNotProved));
    let out = bench.prove(0.4);
    assert_eq!(out.not_counted, Some(NotCounted::MeterNotProved));
    assert_eq!(bench.next(Gate::ProvedDead), Step::ProveMeter);
    bench.prove(121.0);
    let out = bench.take(Function::VoltsDc, 0.1, [L1, L2]);
    assert_eq!(out.not_counted, Some(NotCounted::AcFirst));
    let out = bench.take(Function::VoltsAc, 0.1, [L1, T1]);
    assert_eq!(out.not_counted, Some(NotCounted::NotAsked));
    for flag in [
        Flags::HOLD,
        Flags::RELATIVE,
        Flags::LOW_BATTERY,
        Flags::MINIMUM,
    ] {
        let at = bench.tick();
        let held = Seen {
            flags: flag,
            ..seen(Function::VoltsAc, 0.1, [L1, L2], at)
        };
        let out = bench.gates.on(&Event::Take(held));
        assert_eq!(out.not_counted, Some(NotCounted::NotLive));
    }
    // 0 V on a display of whole volts, ten counts: u = 5.8 V proves nothing.
    let at = bench.tick();
    let coarse = Seen {
        uncertainty: 5.8,
        ..seen(Function::VoltsAc, 0.0, [L1, L2], at)
    };
    assert_eq!(
        bench.gates.on(&Event::Take(coarse)).not_counted,
        Some(NotCounted::TooCoarse)
    );
    for uncertainty in [f64::NAN, f64::INFINITY] {
        let at = bench.tick();
        let unknown = Seen {
            uncertainty,
            ..seen(Function::VoltsAc, 0.0, [L1, L2], at)
        };
        let out = bench.gates.on(&Event::Take(unknown));
        assert_eq!(out.not_counted, Some(NotCounted::TooCoarse));
    }
    assert_eq!(
        bench.next(Gate::ProvedDead),
        Step::ReadDead {
            function: Function::VoltsAc,
            points: [L1, L2],
            at_most: limits::DEAD
        }
    );
    assert!(!bench.is_dead());
}

#[test]
fn a_live_value_sounds_the_alarm_within_one_reading_wherever_it_is() {
    let cases = [
        (Function::VoltsAc, 24.0, [CAP_C, GROUND]),
        (Function::VoltsAc, f64::NAN, [L1, L2]),
        (Function::VoltsAc, f64::INFINITY, [L1, L2]),
        (Function::VoltsAc, -11.0, [L1, L2]),
        (Function::VoltsAc, 120.0, [ELSEWHERE, GROUND]),
        (Function::AmpsAc, 0.8, [WIRE, WIRE]),
    ];
    for (function, value, points) in cases {
        let mut bench = opened();
        let epoch = bench.gates.epoch();
        let out = bench.reading(function, value, points);
        assert!(
            matches!(out.alarm, Some(Alarm::Live { seen }) if seen.points == Some(points)),
            "{function:?} {value}"
        );
        assert!(out.void);
        for gate in [
            Gate::ProvedDead,
            Gate::DischargedToTouch,
            Gate::DischargedToMeasure,
        ] {
            assert!(out.shut.has(gate));
        }
        assert!(bench.gates.open().is_empty());
        assert_ne!(bench.gates.epoch(), epoch);
    }
    // Probe points not known: the unit is said to be dead, so it is an alarm all the same.
    let mut bench = opened();
    let at = bench.tick();
    let anywhere = Seen {
        points: None,
        ..seen(Function::VoltsAc, 240.0, [L1, L2], at)
    };
    assert!(bench.gates.on(&Event::Reading(anywhere)).alarm.is_some());
}

/// The probes come off the known source after the meter is proved there: what it still shows of it is
/// no alarm. Another voltage is, and so is the same one once they were off.
#[test]
fn the_known_source_is_no_alarm_until_the_probes_are_off_it() {
    let proved = || {
        let mut bench = Bench::new(UNIT);
        bench.open(Gate::ProvedDead);
        // The proof at the end of the test was the last that was done.
        assert_eq!(bench.steps.last(), Some(&Step::ProveMeter));
        let at = bench.gates.proved_dead().expect("dead");
        assert!(at.until() == bench.now);
        bench
    };
    let mut bench = proved();
    for value in [120.0, 118.0, 124.0] {
        let out = bench.reading(Function::VoltsAc, value, [L1, L2]);
        assert!(out.alarm.is_none() && bench.is_dead(), "{value}");
    }
    bench.reading(Function::VoltsAc, 0.3, [L1, L2]);
    let out = bench.reading(Function::VoltsAc, 120.0, [L1, L2]);
    assert!(matches!(out.alarm, Some(Alarm::Live { .. })) && !bench.is_dead());

    let mut bench = proved();
    let out = bench.reading(Function::VoltsAc, 240.0, [L1, L2]);
    assert!(matches!(out.alarm, Some(Alarm::Live { .. })) && !bench.is_dead());

    // A take is none of the source, whatever it shows.
    let mut bench = proved();
    let out = bench.take(Function::VoltsAc, 120.0, [L1, L2]);
    assert!(matches!(out.alarm, Some(Alarm::Live { .. })) && !bench.is_dead());
}

#[test]
fn the_wrong_breaker_is_found_at_the_first_read() {
    let mut bench = Bench::new(UNIT);
    bench.take(Function::VoltsAc, 240.0, [L1, L2]);
    bench.act(Act::OpenBreaker);
    let out = bench.take(Function::VoltsAc, 239.0, [L1, L2]);
    assert!(matches!(out.alarm, Some(Alarm::Live { .. })));
    assert_eq!(bench.next(Gate::ProvedDead), Step::OpenBreaker);
    bench.open(Gate::ProvedDead);
    assert!(bench.is_dead());
}

#[test]
fn another_source_that_stays_live_is_found() {
    let mut bench = Bench::new(UNIT);
    while !matches!(bench.next(Gate::ProvedDead), Step::ReadDead { points, .. } if points == [R, GROUND])
    {
        let step = bench.next(Gate::ProvedDead);
        bench.answer(step);
    }
    // 24 V control, sagging to 18 V.
    let out = bench.reading(Function::VoltsAc, 18.0, [R, GROUND]);
    assert!(matches!(out.alarm, Some(Alarm::Live { .. })));
    assert!(!bench.is_dead());
}

#[test]
fn everything_that_revokes_does() {
    let at = |bench: &mut Bench| bench.tick();
    let mut bench = opened();
    let now = at(&mut bench);
    let events = [
        Event::MeterChanged {
            meter: CLAMP,
            at: now,
        },
        Event::LinkGap {
            meter: METER,
            at: now,
        },
        Event::Restart { at: now },
        // The clock stepped back: as good as a restart.
        Event::Tick { at: Micros(3) },
        Event::Act {
            act: Act::CloseBreaker,
            at: now,
        },
        Event::Act {
            act: Act::OpenBreaker,
            at: now,
        },
        Event::Act {
            act: Act::CallOn,
            at: now,
        },
        Event::Act {
            act: Act::CallOff,
            at: now,
        },
    ];
    for event in events {
        let mut bench = opened();
        bench.now = now;
        let out = bench.gates.on(&event);
        assert!(bench.gates.open().is_empty(), "{event:?}");
        assert!(out.shut.has(Gate::ProvedDead), "{event:?}");
        assert!(out.void && out.why.is_some(), "{event:?}");
    }
    let mut bench = opened();
    assert!(bench.gates.revoke().shut.has(Gate::ProvedDead));
    assert!(bench.gates.open().is_empty());
    // A gap of a meter that is not in use, and the same meter named again, change nothing.
    let mut bench = opened();
    let at = bench.tick();
    bench.gates.on(&Event::LinkGap { meter: CLAMP, at });
    bench.gates.on(&Event::MeterChanged { meter: METER, at });
    assert!(bench.is_dead());
}

#[test]
fn after_a_gap_the_lock_stays_and_after_a_restart_it_is_asked_for_again() {
    let mut bench = opened();
    let at = bench.tick();
    bench.gates.on(&Event::LinkGap { meter: METER, at });
    assert_eq!(bench.next(Gate::ProvedDead), Step::ProveMeter);
    let at = bench.tick();
    bench.gates.on(&Event::Restart { at });
    assert_eq!(bench.next(Gate::ProvedDead), Step::ReadLine([L1, L2]));
    bench.take(Function::VoltsAc, 0.0, [L1, L2]);
    bench.steps.clear();
    bench.open(Gate::ProvedDead);
    assert_eq!(
        bench.steps.get(..3),
        Some(&[Step::OpenBreaker, Step::LockDisconnect, Step::LockAndTag][..])
    );
}

#[test]
fn a_proof_too_long_ago_begins_the_test_anew() {
    let mut bench = Bench::new(UNIT);
    while bench.steps.last() != Some(&Step::ProveMeter) {
        let step = bench.next(Gate::ProvedDead);
        bench.answer(step);
    }
    let step = bench.next(Gate::ProvedDead);
    bench.answer(step);
    bench.now = Micros(bench.now.0 + limits::PROOF_LASTS);
    let out = bench.take(Function::VoltsAc, 0.1, [L1, GROUND]);
    assert_eq!(out.not_counted, Some(NotCounted::MeterNotProved));
    bench.steps.clear();
    bench.open(Gate::ProvedDead);
    assert_eq!(bench.steps.len(), 1 + 7 + 7 + 1);
}

#[test]
fn a_meter_that_fails_after_the_reads_proves_nothing() {
    let mut bench = Bench::new(UNIT);
    let mut proofs = 0;
    loop {
        let step = bench.next(Gate::ProvedDead);
        if step == Step::ProveMeter {
            proofs += 1;
            if proofs == 2 {
                break;
            }
        }
        bench.answer(step);
    }
    let out = bench.prove(0.2);
    assert_eq!(out.why, Some(Why::MeterFailed));
    assert!(!bench.is_dead());
    assert_eq!(bench.next(Gate::ProvedDead), Step::ProveMeter);
    bench.prove(120.0);
    assert!(!bench.is_dead());
    assert!(matches!(
        bench.next(Gate::ProvedDead),
        Step::ReadDead { .. }
    ));
}

#[test]
fn the_technicians_word_for_the_meter_is_recorded_as_such() {
    let mut bench = Bench::new(UNIT);
    loop {
        match bench.next(Gate::ProvedDead) {
            Step::Open => break,
            Step::ProveMeter => {
                let at = bench.tick();
                bench.gates.on(&Event::Proof {
                    meter: METER,
                    seen: None,
                    at,
                });
            }
            step => {
                bench.answer(step);
            }
        }
    }
    assert!(!bench.gates.proved_dead().unwrap().meter_read());
}

#[test]
fn two_levels_of_charge() {
    let mut bench = Bench::new(UNIT);
    bench.open(Gate::ProvedDead);
    bench.act(Act::Drain);
    // 33 V and u = 0.1: under 34 V with the uncertainty; to touch, not to measure.
    for pair in UNIT.capacitors {
        let out = bench.take(Function::VoltsDc, 33.0, *pair);
        assert_eq!(out.not_counted, Some(NotCounted::TooHigh));
        bench.act(Act::Drain);
    }
    let now = bench.now;
    assert!(bench.gates.discharged_to_touch(now).is_some());
    assert!(bench.gates.discharged_to_measure(now).is_none());
    // 33.9 V and u = 0.1 may be 34.1 V.
    bench.take(Function::VoltsDc, 33.9, [CAP_FAN, CAP_C]);
    assert!(bench.gates.discharged_to_touch(now).is_none());
    bench.act(Act::Drain);
    for pair in UNIT.capacitors {
        bench.take(Function::VoltsDc, 0.7, *pair);
    }
    let now = bench.now;
    let charge = bench.gates.discharged_to_measure(now).unwrap();
    assert!((charge.highest().0 - 0.9).abs() < 1e-12);
    // It recovers some volts: ohms are shut, touching is not; no alarm.
    let out = bench.take(Function::VoltsDc, 6.0, [CAP_C, CAP_HERM]);
    assert_eq!(out.alarm, None);
    assert!(out.shut.has(Gate::DischargedToMeasure) && !out.shut.has(Gate::DischargedToTouch));
    assert_eq!(bench.next(Gate::DischargedToMeasure), Step::Drain);
}

#[test]
fn charge_on_a_capacitor_that_was_drained_is_an_alarm() {
    let mut bench = opened();
    let out = bench.reading(Function::VoltsDc, 60.0, [CAP_C, CAP_HERM]);
    assert!(matches!(out.alarm, Some(Alarm::Charged { .. })));
    assert!(bench.gates.open().is_empty());
    bench.open(Gate::DischargedToMeasure);
}

#[test]
fn a_capacitor_is_read_again_before_touching() {
    let mut bench = opened();
    bench.now = Micros(bench.now.0 + limits::TOUCH_LASTS + 1);
    let now = bench.now;
    assert!(bench.gates.discharged_to_touch(now).is_none());
    assert!(bench.gates.discharged_to_measure(now).is_some());
    let step = bench.next(Gate::DischargedToTouch);
    assert!(matches!(step, Step::ReadCharge { .. }), "{step:?}");
    let out = bench.gates.on(&Event::Tick { at: now });
    assert_eq!(out.why, Some(Why::TooOld));
    assert!(out.shut.has(Gate::DischargedToTouch));
    bench.open(Gate::DischargedToTouch);
}

#[test]
fn ohms_without_the_gates_are_void() {
    let mut bench = Bench::new(UNIT);
    let out = bench.take(Function::Ohms, 2.2, [T1, WIRE]);
    assert!(out.void && out.not_counted == Some(NotCounted::NoGate));
    bench.open(Gate::ProvedDead);
    let out = bench.take(Function::Farads, 45e-6, [CAP_C, CAP_HERM]);
    assert!(out.void && out.not_counted == Some(NotCounted::NoGate));
    bench.open(Gate::DischargedToMeasure);
    let out = bench.take(Function::Ohms, 2.2, [T1, T2]);
    assert_eq!(out, Outcome::default());
}

#[test]
fn volts_come_first_where_the_proof_read_nothing() {
    let mut bench = opened();
    let work = [CAP_C, WIRE];
    let asks = |bench: &Bench| {
        let gates = &bench.gates;
        let dead = gates.proved_dead().unwrap();
        let low = gates.discharged_to_measure(bench.now).unwrap();
        let touch = gates.discharged_to_touch(bench.now).unwrap();
        (
            DeadAsk::ohms(dead, low, work).err(),
            LiftAsk::new(dead, touch, WIRE).err(),
        )
    };
    let first = |points| Some(AskError::VoltsFirst(points));
    let nothing = (first([CAP_C, GROUND]), first([WIRE, GROUND]));
    assert_eq!(asks(&bench), nothing);
    let out = bench.take(Function::Ohms, 2.2, work);
    assert!(out.void && out.not_counted == Some(NotCounted::VoltsFirst));
    // Direct volts show nothing of an alternating source, nor does a value that the meter may be
    // further off than the threshold, nor one that is no present value.
    bench.take(Function::VoltsDc, 0.1, [CAP_C, GROUND]);
    assert_eq!(asks(&bench), nothing);
    for (uncertainty, flags, why) in [
        (5.8, Flags::NONE, NotCounted::TooCoarse),
        (f64::NAN, Flags::NONE, NotCounted::TooCoarse),
        (0.05, Flags::HOLD, NotCounted::NotLive),
    ] {
        let at = bench.tick();
        let seen = Seen {
            uncertainty,
            flags,
            ..seen(Function::VoltsAc, 0.1, [CAP_C, GROUND], at)
        };
        let out = bench.gates.on(&Event::Take(seen));
        assert_eq!(out.not_counted, Some(why));
        assert_eq!(asks(&bench), nothing);
    }
    // Between two points of one live conductor stands no voltage: that alone shows nothing.
    bench.take(Function::VoltsAc, 0.1, work);
    assert_eq!(asks(&bench), nothing);
    // From one of them to ground, and between them, in either order of the points.
    assert_eq!(
        bench
            .take(Function::VoltsAc, 0.1, [GROUND, WIRE])
            .not_counted,
        None
    );
    assert_eq!(asks(&bench), (None, None));
    assert_eq!(
        bench.take(Function::Ohms, 2.2, [WIRE, CAP_C]),
        Outcome::default()
    );
    // What is shown for one pair is shown for no other: this one still wants its own volts.
    let gates = &bench.gates;
    let dead = gates.proved_dead().unwrap();
    assert_eq!(dead.to_read([WIRE, CAP_HERM]), Some([WIRE, CAP_HERM]));
    // One point that the proof read is to ground already.
    assert_eq!(dead.to_read([T1, CAP_HERM]), Some([T1, CAP_HERM]));
    assert_eq!(dead.to_read([L1, T2]), None);
    // A new proof begins anew.
    bench.gates.revoke();
    bench.open(Gate::DischargedToMeasure);
    assert_eq!(asks(&bench), nothing);
}

#[test]
fn a_live_conductor_behind_dead_poles_sounds_the_alarm_before_ohms() {
    let mut bench = opened();
    let out = bench.take(Function::VoltsAc, 118.0, [WIRE, GROUND]);
    assert!(matches!(out.alarm, Some(Alarm::Live { .. })));
    assert!(out.shut.has(Gate::ProvedDead));
    assert!(bench.gates.proved_dead().is_none());
}

#[test]
fn the_oldest_of_many_pairs_is_read_again() {
    let mut bench = opened();
    let shows = |bench: &Bench, n| {
        let dead = bench.gates.proved_dead().unwrap();
        dead.shows([T1, PointId(n)])
    };
    for n in 1000..1065 {
        bench.take(Function::VoltsAc, 0.1, [T1, PointId(n)]);
    }
    assert!(!shows(&bench, 1000));
    assert!((1001..1065).all(|n| shows(&bench, n)));
}

#[test]
fn asks_keep_to_their_scope() {
    let mut bench = opened();
    for points in [[CAP_C, WIRE], [WIRE, GROUND]] {
        bench.take(Function::VoltsAc, 0.1, points);
    }
    let now = bench.now;
    let dead = bench.gates.proved_dead().unwrap();
    let low = bench.gates.discharged_to_measure(now).unwrap();
    let touch = bench.gates.discharged_to_touch(now).unwrap();
    let ask = DeadAsk::ohms(dead, low, [CAP_C, WIRE]).unwrap();
    assert_eq!((ask.function(), ask.meter()), (Function::Ohms, METER));
    assert_eq!(ask.epoch(), bench.gates.epoch());
    let err = |points| DeadAsk::farads(dead, low, points).unwrap_err();
    assert_eq!(err([CAP_C, ELSEWHERE]), AskError::OutOfScope(ELSEWHERE));
    assert_eq!(err([CAP_C, PIN]), AskError::KeepOff(PIN));
    assert_eq!(err([CAP_C, CAP_C]), AskError::OnePoint);
    for function in [Function::VoltsAc, Function::AmpsAc, Function::Megohms] {
        assert_eq!(
            DeadAsk::new(function, dead, low, [CAP_C, WIRE]).unwrap_err(),
            AskError::WrongFunction(function)
        );
    }
    assert_eq!(LiftAsk::new(dead, touch, WIRE).unwrap().end(), WIRE);
    assert_eq!(
        TouchAsk::new(dead, touch, ELSEWHERE).unwrap_err(),
        AskError::OutOfScope(ELSEWHERE)
    );
    // One unit's proof and another part's discharge do not go together.
    let mut part = Bench::new(PART);
    part.open(Gate::DischargedToMeasure);
    let other = part.gates.discharged_to_measure(part.now).unwrap();
    assert_eq!(
        DeadAsk::ohms(dead, other, [CAP_C, CAP_HERM]).unwrap_err(),
        AskError::DifferentScope
    );
}

#[test]
fn live_asks_name_their_category() {
    let ask = |volts, meter| LiveAsk::new(&UNIT, Function::VoltsAc, [L1, L2], Volts(volts), meter);
    assert_eq!(ask(240.0, None).unwrap().needs(), Category::Iii600);
    assert_eq!(
        ask(440.0, Some(Category::Iii600)).unwrap().needs(),
        Category::Iii600
    );
    assert_eq!(
        ask(240.0, Some(Category::Iii300)).unwrap_err(),
        AskError::Category(Category::Iii600)
    );
    assert_eq!(ask(622.0, None).unwrap().needs(), Category::Iii1000);
    for function in Function::ALL.into_iter().filter(|f| f.injects()) {
        assert_eq!(
            LiveAsk::new(&UNIT, function, [L1, L2], Volts(240.0), None).unwrap_err(),
            AskError::WrongFunction(function)
        );
    }
    assert_eq!(
        LiveAsk::new(&UNIT, Function::VoltsAc, [L1, PIN], Volts(240.0), None).unwrap_err(),
        AskError::KeepOff(PIN)
    );
    assert!(LiveAsk::new(&UNIT, Function::AmpsAc, [WIRE, WIRE], Volts(240.0), None).is_ok());
}

#[test]
fn an_insulation_test_needs_more_and_leaves_a_charge() {
    let mut bench = opened();
    assert!(bench.gates.insulation_ready().is_none());
    let out = bench.take(Function::Megohms, 80e6, [WIRE, GROUND]);
    assert_eq!(out.not_counted, Some(NotCounted::NoGate));
    bench.act(Act::ElectronicsApart);
    assert!(bench.gates.insulation_ready().is_none());
    bench.act(Act::NoVacuum);
    bench.take(Function::VoltsAc, 0.1, [WIRE, GROUND]);
    {
        let gates = &bench.gates;
        let ask = InsulationAsk::new(
            gates.proved_dead().unwrap(),
            gates.discharged_to_measure(bench.now).unwrap(),
            gates.insulation_ready().unwrap(),
            [WIRE, GROUND],
        )
        .unwrap();
        assert_eq!(ask.points(), [WIRE, GROUND]);
    }
    let out = bench.take(Function::Megohms, 80e6, [WIRE, GROUND]);
    assert_eq!(out.not_counted, None);
    assert!(out.shut.has(Gate::DischargedToTouch));
    assert_eq!(out.why, Some(Why::InsulationTest));
    bench.steps.clear();
    bench.open(Gate::DischargedToMeasure);
    let tested = Step::ReadCharge {
        points: [WIRE, GROUND],
        at_most: limits::MEASURE,
    };
    assert_eq!(bench.steps.first(), Some(&Step::Drain));
    assert!(bench.steps.contains(&tested), "{:?}", bench.steps);
}

#[test]
fn a_loose_part_has_no_supply_but_may_hold_charge() {
    let mut bench = Bench::new(PART);
    assert_eq!(bench.next(Gate::ProvedDead), Step::NotForThis);
    bench.open(Gate::DischargedToMeasure);
    assert_eq!(
        bench.steps.get(..3),
        Some(&[Step::LayOnBench, Step::ProveMeter, Step::Drain][..])
    );
    let (gates, now) = (&bench.gates, bench.now);
    let loose = gates.loose().unwrap();
    let low = gates.discharged_to_measure(now).unwrap();
    assert!(LooseAsk::new(Function::Farads, loose, low, [CAP_C, CAP_HERM]).is_ok());
    assert_eq!(
        LooseAsk::new(Function::Farads, loose, low, [CAP_C, L1]).unwrap_err(),
        AskError::OutOfScope(L1)
    );
    let touch = gates.discharged_to_touch(now).unwrap();
    assert!(TouchAsk::loose(loose, touch, CAP_C).is_ok());
    let out = bench.reading(Function::VoltsAc, 230.0, [CAP_C, CAP_HERM]);
    assert!(matches!(out.alarm, Some(Alarm::Live { .. })));
    assert!(bench.gates.loose().is_none());
    let mut unit = Bench::new(UNIT);
    assert_eq!(unit.next(Gate::Loose), Step::NotForThis);
    assert_eq!(
        unit.act(Act::OnBench).not_counted,
        Some(NotCounted::Unknown)
    );
}

#[test]
fn a_take_of_another_meter_is_a_change_of_meter() {
    let mut bench = opened();
    let at = bench.tick();
    let other = Seen {
        meter: MeterId(7),
        ..seen(Function::Ohms, 2.0, [T1, WIRE], at)
    };
    let out = bench.gates.on(&Event::Take(other));
    assert_eq!(out.why, Some(Why::MeterChanged));
    assert!(out.void && out.not_counted == Some(NotCounted::NoGate));
    assert!(bench.gates.open().is_empty());
}

/// Poles are read against those of their own side, and each of them to ground.
#[test]
fn each_side_of_the_load_is_read_by_itself() {
    let plan = GatePlan {
        load: &[T1, T2, CAP_C, CAP_HERM],
        load_sides: &[0, 0, 1, 1],
        ..UNIT
    };
    let pairs: Vec<_> = plan.pairs().collect();
    let load = [
        [T1, T2],
        [T1, GROUND],
        [T2, GROUND],
        [CAP_C, CAP_HERM],
        [CAP_C, GROUND],
        [CAP_HERM, GROUND],
    ];
    assert_eq!(pairs[..3], [[L1, L2], [L1, GROUND], [L2, GROUND]]);
    assert_eq!(pairs[3..9], load);
    assert_eq!(pairs[9..], [[R, GROUND]]);
}

#[test]
fn plans_that_cannot_be_carried_out_are_refused() {
    let many: Vec<PointId> = (20..40).map(PointId).collect();
    let refused = |plan| Gates::new(plan).map(|_| ()).unwrap_err();
    assert_eq!(refused(GatePlan { load: &[], ..UNIT }), PlanError::OneSided);
    assert_eq!(
        refused(GatePlan {
            load_sides: &[0],
            ..UNIT
        }),
        PlanError::Sides
    );
    assert_eq!(
        refused(GatePlan {
            line: &many,
            ..UNIT
        }),
        PlanError::TooManyPairs
    );
    assert_eq!(
        refused(GatePlan {
            sources: &[OtherSource { poles: &[] }],
            ..UNIT
        }),
        PlanError::Degenerate
    );
    assert_eq!(
        refused(GatePlan {
            capacitors: &[[CAP_C, CAP_C]],
            ..UNIT
        }),
        PlanError::Degenerate
    );
}
