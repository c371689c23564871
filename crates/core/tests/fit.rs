//! What may be fitted in place of what: worked cases with their sources, and what holds for every
//! part.

use ohmtrail_core::fit::capacitor::{Bank, Capacitor, Protection, bank, one_can};
use ohmtrail_core::fit::contactor::{Contactor, Load, contactor};
use ohmtrail_core::fit::motor::{Enclosure, Motor, Rotation, magnetic_poles, motor};
use ohmtrail_core::fit::numbered::{Numbered, numbered};
use ohmtrail_core::fit::relay::{Relay, relay};
use ohmtrail_core::fit::transformer::{Transformer, transformer};
use ohmtrail_core::fit::{Aspect, Duty, MOST_ROWS, Mains, Outcome, Reason, Report, Span, rules};
use ohmtrail_core::rules::capacitor::Tolerance;
use ohmtrail_core::units::{
    Amps, Celsius, Farads, Metres, PerMinute, Ratio, VoltAmps, Volts, Watts,
};
use proptest::prelude::*;

fn share(percent: f64) -> Option<Tolerance> {
    Some(Tolerance::symmetric(Ratio(percent / 100.0)))
}

fn run(microfarads: f64, percent: f64, volts: f64) -> Capacitor {
    Capacitor {
        farads: Some(Farads(microfarads * 1e-6)),
        tolerance: share(percent),
        volts: Some(Volts(volts)),
        mains: Some(Mains::BOTH),
        duty: Some(Duty::Continuous),
        ..Capacitor::default()
    }
}

fn why(report: &Report, aspect: Aspect) -> (Outcome, Reason) {
    let row = report.row(aspect).expect("compared");
    (row.outcome, row.reason)
}

fn near(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-12 * b.abs()
}

/// Second hand (a capacitor leaflet): 440 V replaces 370 V, never the reverse.
#[test]
fn volts_go_up_never_down() {
    let up = bank(&run(45.0, 6.0, 370.0), &[run(45.0, 6.0, 440.0)]);
    assert_eq!(up.report.outcome(), Outcome::Fits);
    let down = bank(&run(45.0, 6.0, 440.0), &[run(45.0, 6.0, 370.0)]);
    assert_eq!(
        why(&down.report, Aspect::Volts),
        (Outcome::Refused, Reason::Below)
    );
}

/// A published exercise for students: 0.100, 0.0100 and 0.001000 microfarad in parallel are 0.111.
#[test]
fn capacitance_adds_in_parallel() {
    let pieces = [
        run(0.1, 5.0, 440.0),
        run(0.01, 5.0, 440.0),
        run(0.001, 5.0, 440.0),
    ];
    let sum = bank(&run(0.111, 5.0, 440.0), &pieces);
    assert!(near(sum.whole.farads.expect("a sum").get(), 0.111e-6));
    assert_eq!(sum.report.outcome(), Outcome::Fits);
}

/// By hand: 35 ± 5 % and 10 ± 10 % are 45 ± (1.75 + 1.0) microfarad at worst, 6.11 %; as independent
/// deviations sqrt(1.75² + 1.0²) = 2.0156, 4.48 % (JCGM 100:2008, 5.1.2). Against ± 6 % the worst
/// case decides.
#[test]
fn the_worst_case_decides() {
    let pieces = [run(35.0, 5.0, 440.0), run(10.0, 10.0, 440.0)];
    let sum = bank(&run(45.0, 6.0, 440.0), &pieces);
    let worst = sum.whole.tolerance.expect("worked out");
    assert!(near(worst.minus.get(), 2.75 / 45.0) && near(worst.plus.get(), 2.75 / 45.0));
    let likely = sum.statistical.expect("worked out");
    assert!(near(likely.plus.get(), f64::hypot(1.75, 1.0) / 45.0));
    assert_eq!(
        why(&sum.report, Aspect::Tolerance),
        (Outcome::Refused, Reason::OnlyStatistically)
    );
    // Against ± 10 % both hold.
    let wide = bank(&run(45.0, 10.0, 440.0), &pieces);
    assert_eq!(
        why(&wide.report, Aspect::Tolerance),
        (Outcome::Fits, Reason::Within)
    );
    // Each side by itself: -0/+20 % is not within ± 10 %, nor the reverse.
    let lop = Capacitor {
        tolerance: Some(Tolerance {
            minus: Ratio(0.0),
            plus: Ratio(0.2),
        }),
        ..run(45.0, 10.0, 440.0)
    };
    for (was, is) in [(lop, run(45.0, 10.0, 440.0)), (run(45.0, 10.0, 440.0), lop)] {
        assert_eq!(
            why(&bank(&was, &[is]).report, Aspect::Tolerance).0,
            Outcome::Refused
        );
    }
}

#[test]
fn each_piece_bears_the_volts_and_the_weakest_counts() {
    let pieces = [run(35.0, 5.0, 440.0), run(10.0, 5.0, 370.0)];
    let sum = bank(&run(45.0, 6.0, 440.0), &pieces);
    assert_eq!(
        why(&sum.report, Aspect::Volts),
        (Outcome::Refused, Reason::Below)
    );
    let unmarked = Capacitor {
        volts: None,
        ..run(10.0, 5.0, 440.0)
    };
    let sum = bank(&run(45.0, 6.0, 440.0), &[run(35.0, 5.0, 440.0), unmarked]);
    assert_eq!(
        why(&sum.report, Aspect::Volts),
        (Outcome::Unknown, Reason::CandidateNotKnown)
    );
}

#[test]
fn another_capacitance_is_refused_or_left_to_the_maker() {
    let was = run(40.0, 6.0, 440.0);
    let of = |farads, percent| {
        why(
            &bank(&was, &[run(farads, percent, 440.0)]).report,
            Aspect::Capacitance,
        )
    };
    assert_eq!(of(40.0, 6.0), (Outcome::Fits, Reason::Same));
    // 41 ± 3 % is 39.77 to 42.23, within 37.6 to 42.4.
    assert_eq!(of(41.0, 3.0), (Outcome::Unknown, Reason::InsideTheBand));
    assert_eq!(of(41.0, 5.0), (Outcome::Refused, Reason::Above));
    assert_eq!(of(35.0, 5.0), (Outcome::Refused, Reason::Below));
    assert_eq!(of(f64::NAN, 5.0).0, Outcome::Unknown);
}

/// Common practice, no published source: without a marked tolerance 6 % warns and 10 % is the end.
#[test]
fn a_tolerance_that_nobody_can_read() {
    let was = Capacitor {
        tolerance: None,
        ..run(45.0, 6.0, 440.0)
    };
    for (percent, said) in [
        (6.0, (Outcome::Fits, Reason::UnmarkedWithin)),
        (10.0, (Outcome::Unknown, Reason::UnmarkedWider)),
        (15.0, (Outcome::Refused, Reason::Above)),
    ] {
        let report = bank(&was, &[run(45.0, percent, 440.0)]).report;
        assert_eq!(why(&report, Aspect::Tolerance), said, "{percent}");
        assert_eq!(
            report.row(Aspect::Tolerance).expect("a row").rule,
            rules::TOLERANCE_UNMARKED.id
        );
    }
}

/// IEC 60252-1 and 60252-2 have different duties; temperature, protection, life and frequency are
/// asked for where the failed part bears them (from memory).
#[test]
fn the_other_markings_of_a_capacitor() {
    let was = Capacitor {
        hottest: Some(Celsius(70.0)),
        coldest: Some(Celsius(-25.0)),
        protection: Some(Protection::S2),
        hours: Some(10_000.0),
        mains: Some(Mains::SIXTY),
        ..run(45.0, 6.0, 440.0)
    };
    let refused = |change: fn(&mut Capacitor), aspect| {
        let mut is = was;
        change(&mut is);
        let row = why(&bank(&was, &[is]).report, aspect);
        assert_eq!(row.0, Outcome::Refused, "{aspect:?} {row:?}");
    };
    refused(|c| c.hottest = Some(Celsius(55.0)), Aspect::Hottest);
    refused(|c| c.coldest = Some(Celsius(-10.0)), Aspect::Coldest);
    refused(|c| c.protection = Some(Protection::S0), Aspect::Protection);
    refused(|c| c.hours = Some(3_000.0), Aspect::Life);
    refused(|c| c.mains = Some(Mains::FIFTY), Aspect::Frequency);
    refused(|c| c.duty = Some(Duty::Intermittent), Aspect::Duty);
    let start = Capacitor {
        duty: Some(Duty::Intermittent),
        ..was
    };
    assert_eq!(
        why(&bank(&start, &[was]).report, Aspect::Duty),
        (Outcome::Unknown, Reason::RunForStart)
    );
    // What the failed part does not bear is not asked for.
    assert!(
        bank(&run(45.0, 6.0, 440.0), &[was])
            .report
            .row(Aspect::Hottest)
            .is_none()
    );
    assert_eq!(one_can(Some(false)), (Outcome::Refused, Reason::NoCommon));
    assert_eq!(one_can(None).0, Outcome::Unknown);
    assert_eq!(one_can(Some(true)).0, Outcome::Fits);
}

fn two_poles() -> Contactor {
    Contactor {
        poles: Some(2),
        volts: Some(Volts(240.0)),
        full_load: Some(Amps(30.0)),
        locked_rotor: Some(Amps(150.0)),
        resistive: Some(Amps(40.0)),
        coil: Some(Span::at(Volts(24.0))),
        coil_mains: Some(Mains::SIXTY),
        ambient: Some(Celsius(65.0)),
    }
}

/// A leg without a pole stays live; of one pole, what is fed past it is looked for first.
#[test]
fn poles_of_a_contactor() {
    let one = Contactor {
        poles: Some(1),
        ..two_poles()
    };
    let three = Contactor {
        poles: Some(3),
        ..two_poles()
    };
    let of =
        |was: &Contactor, is: &Contactor| why(&contactor(was, &Load::default(), is), Aspect::Poles);
    assert_eq!(
        of(&two_poles(), &one),
        (Outcome::Refused, Reason::LegStaysLive)
    );
    assert_eq!(
        of(&one, &two_poles()),
        (Outcome::Unknown, Reason::FeedPastThePole)
    );
    assert_eq!(of(&two_poles(), &three), (Outcome::Fits, Reason::Better));
}

/// The load's plate comes before what was on the failed contactor.
#[test]
fn amps_of_a_contactor() {
    let load = Load {
        full_load: Some(Amps(33.0)),
        locked_rotor: Some(Amps(160.0)),
        ..Load::default()
    };
    let report = contactor(&two_poles(), &load, &two_poles());
    assert_eq!(
        why(&report, Aspect::FullLoadAmps),
        (Outcome::Refused, Reason::Below)
    );
    assert_eq!(
        why(&report, Aspect::LockedRotorAmps),
        (Outcome::Refused, Reason::Below)
    );
    let heaters = Contactor {
        full_load: None,
        locked_rotor: None,
        ..two_poles()
    };
    assert_eq!(
        why(
            &contactor(&two_poles(), &Load::default(), &heaters),
            Aspect::FullLoadAmps
        ),
        (Outcome::Unknown, Reason::OnlyResistive)
    );
    // A compressor's locked-rotor amps are never taken for granted.
    let unread = Contactor {
        locked_rotor: None,
        ..two_poles()
    };
    let compressor = Load {
        hermetic: true,
        ..Load::default()
    };
    assert_eq!(
        why(
            &contactor(&unread, &compressor, &two_poles()),
            Aspect::LockedRotorAmps
        ),
        (Outcome::Unknown, Reason::OriginalNotKnown)
    );
    // Heaters alone ask for nothing that is stated for motors.
    let load = Load {
        resistive: Some(Amps(38.0)),
        ..Load::default()
    };
    let report = contactor(&two_poles(), &load, &heaters);
    assert_eq!(report.outcome(), Outcome::Fits, "{report:?}");
    let load = Load {
        resistive: Some(Amps(42.0)),
        ..Load::default()
    };
    assert_eq!(
        contactor(&two_poles(), &load, &heaters).outcome(),
        Outcome::Refused
    );
}

/// From memory, IEC 60947-4-1: a contactor closes at 85 to 110 % of its coil's rating.
#[test]
fn coils() {
    let on = |volts: f64| Contactor {
        coil: Some(Span::at(Volts(volts))),
        ..two_poles()
    };
    let of = |was: f64, is: &Contactor| {
        why(
            &contactor(&on(was), &Load::default(), is),
            Aspect::CoilVolts,
        )
    };
    assert_eq!(of(24.0, &on(24.0)).0, Outcome::Fits);
    assert_eq!(of(24.0, &on(120.0)), (Outcome::Refused, Reason::Above));
    assert_eq!(of(120.0, &on(24.0)), (Outcome::Refused, Reason::Below));
    assert_eq!(
        of(230.0, &on(240.0)),
        (Outcome::Unknown, Reason::CoilCloses)
    );
    let both = Contactor {
        coil: Some(Span {
            low: Volts(208.0),
            high: Volts(240.0),
        }),
        ..two_poles()
    };
    assert_eq!(of(208.0, &both), (Outcome::Fits, Reason::Within));
    let fifty = Contactor {
        coil_mains: Some(Mains::FIFTY),
        ..two_poles()
    };
    assert_eq!(
        why(
            &contactor(&two_poles(), &Load::default(), &fifty),
            Aspect::CoilFrequency
        )
        .0,
        Outcome::Refused
    );
}

fn forty() -> Transformer {
    Transformer {
        volt_amps: Some(VoltAmps(40.0)),
        primary: [Volts(208.0), Volts(240.0)].into_iter().collect(),
        secondary: Some(Volts(24.0)),
        mains: Some(Mains::SIXTY),
        class_two: Some(true),
        thermal_class: Some(Celsius(130.0)),
    }
}

#[test]
fn transformers() {
    let refused = |change: fn(&mut Transformer), aspect| {
        let mut is = forty();
        change(&mut is);
        assert_eq!(
            why(&transformer(&forty(), &is), aspect).0,
            Outcome::Refused,
            "{aspect:?}"
        );
    };
    refused(|t| t.volt_amps = Some(VoltAmps(20.0)), Aspect::VoltAmps);
    refused(
        |t| t.primary = [Volts(240.0)].into_iter().collect(),
        Aspect::PrimaryVolts,
    );
    refused(|t| t.secondary = Some(Volts(120.0)), Aspect::SecondaryVolts);
    refused(|t| t.class_two = Some(false), Aspect::ClassTwo);
    refused(
        |t| t.thermal_class = Some(Celsius(105.0)),
        Aspect::ThermalClass,
    );
    // Flux is as U / f: one for 60 Hz alone saturates at 50, one for 50 Hz serves at 60.
    let at_fifty = Transformer {
        mains: Some(Mains::FIFTY),
        ..forty()
    };
    assert_eq!(
        why(&transformer(&at_fifty, &forty()), Aspect::Frequency).0,
        Outcome::Refused
    );
    assert_eq!(
        why(&transformer(&forty(), &at_fifty), Aspect::Frequency).0,
        Outcome::Fits
    );
}

fn fan() -> Motor<'static> {
    Motor {
        power: Some(Watts(186.5)),
        volts: Some(Span {
            low: Volts(208.0),
            high: Volts(230.0),
        }),
        phases: Some(1),
        mains: Some(Mains::SIXTY),
        speed: Some(PerMinute(1075.0)),
        speeds: Some(2),
        amps: Some(Amps(1.4)),
        rotation: Some(Rotation::Clockwise),
        shaft: Some(Metres(0.0127)),
        shaft_length: Some(Metres(0.1)),
        frame: Some("48Y"),
        enclosure: Some(Enclosure::Closed),
        duty: Some(Duty::Continuous),
        ambient: Some(Celsius(60.0)),
        thermal_class: Some(Celsius(130.0)),
    }
}

/// Synchronous speed is 120 f / p: at 60 Hz 3600, 1800, 1200 and 900 per minute for 2, 4, 6 and 8
/// poles, at 50 Hz 3000, 1500, 1000 and 750 (IEC 60034-1 and NEMA MG-1 tables, from memory).
#[test]
fn poles_by_speed() {
    for (speed, hertz, poles) in [
        (3450.0, 60.0, Some(2)),
        (1725.0, 60.0, Some(4)),
        (1140.0, 60.0, Some(6)),
        (1075.0, 60.0, Some(6)),
        (825.0, 60.0, Some(8)),
        (2850.0, 50.0, Some(2)),
        (1425.0, 50.0, Some(4)),
        (940.0, 50.0, Some(6)),
        (1200.0, 60.0, Some(6)),
        (3700.0, 60.0, None),
        (0.0, 60.0, None),
        (1075.0, f64::NAN, None),
    ] {
        assert_eq!(
            magnetic_poles(PerMinute(speed), hertz),
            poles,
            "{speed} at {hertz}"
        );
    }
}

#[test]
fn motors() {
    let of = |change: fn(&mut Motor<'static>), aspect| {
        let mut is = fan();
        change(&mut is);
        why(&motor(&fan(), None, &is), aspect)
    };
    let refused = |reason| (Outcome::Refused, reason);
    assert_eq!(
        of(|m| m.power = Some(Watts(124.3)), Aspect::Power),
        refused(Reason::Below)
    );
    // A quarter to a third of a horsepower is one size up.
    assert_eq!(
        of(|m| m.power = Some(Watts(248.6)), Aspect::Power),
        (Outcome::Unknown, Reason::OneSizeUp)
    );
    assert_eq!(
        of(|m| m.power = Some(Watts(373.0)), Aspect::Power),
        refused(Reason::Above)
    );
    assert_eq!(
        of(|m| m.volts = Some(Span::at(Volts(460.0))), Aspect::Volts),
        refused(Reason::Different)
    );
    assert_eq!(
        of(|m| m.volts = Some(Span::at(Volts(230.0))), Aspect::Volts),
        (Outcome::Unknown, Reason::NearTheRating)
    );
    assert_eq!(
        of(|m| m.phases = Some(3), Aspect::Phases).0,
        Outcome::Refused
    );
    assert_eq!(
        of(|m| m.speed = Some(PerMinute(825.0)), Aspect::Speed),
        refused(Reason::Below)
    );
    assert_eq!(
        of(|m| m.speed = Some(PerMinute(1110.0)), Aspect::Speed),
        (Outcome::Fits, Reason::Within)
    );
    assert_eq!(
        of(|m| m.speeds = Some(1), Aspect::Speeds).0,
        Outcome::Refused
    );
    assert_eq!(
        of(|m| m.amps = Some(Amps(1.9)), Aspect::FullLoadAmps),
        (Outcome::Unknown, Reason::CircuitToBeChecked)
    );
    let more = Motor {
        amps: Some(Amps(1.9)),
        ..fan()
    };
    for (allowed, outcome) in [(2.0, Outcome::Fits), (1.5, Outcome::Refused)] {
        let report = motor(&fan(), Some(Amps(allowed)), &more);
        assert_eq!(why(&report, Aspect::FullLoadAmps).0, outcome, "{allowed}");
    }
    assert_eq!(
        of(
            |m| m.rotation = Some(Rotation::Counterclockwise),
            Aspect::Rotation
        )
        .0,
        Outcome::Refused
    );
    assert_eq!(
        of(
            |m| m.rotation = Some(Rotation::Reversible),
            Aspect::Rotation
        ),
        (Outcome::Fits, Reason::Reversible)
    );
    assert_eq!(
        of(|m| m.shaft = Some(Metres(0.0159)), Aspect::Shaft).0,
        Outcome::Refused
    );
    assert_eq!(
        of(|m| m.shaft_length = Some(Metres(0.05)), Aspect::ShaftLength).0,
        Outcome::Refused
    );
    assert_eq!(
        of(|m| m.frame = Some("56"), Aspect::Frame).0,
        Outcome::Refused
    );
    assert_eq!(
        of(|m| m.frame = Some("48y"), Aspect::Frame).0,
        Outcome::Fits
    );
    assert_eq!(
        of(|m| m.enclosure = Some(Enclosure::Open), Aspect::Enclosure).0,
        Outcome::Refused
    );
    assert_eq!(
        of(|m| m.duty = Some(Duty::Intermittent), Aspect::Duty).0,
        Outcome::Refused
    );
    assert_eq!(
        of(
            |m| m.thermal_class = Some(Celsius(105.0)),
            Aspect::ThermalClass
        )
        .0,
        Outcome::Refused
    );
    assert_eq!(
        of(|m| m.ambient = None, Aspect::Hottest),
        (Outcome::Unknown, Reason::CandidateNotKnown)
    );
}

fn board() -> Numbered<'static> {
    Numbered {
        number: Some("B-7"),
        replaces: None,
    }
}

fn start_relay() -> Relay {
    Relay {
        pick_up: Some(Span {
            low: Volts(168.0),
            high: Volts(182.0),
        }),
        drop_out: Some(Volts(90.0)),
        continuous: Some(Volts(332.0)),
        contact: Some(Amps(35.0)),
        mains: Some(Mains::SIXTY),
    }
}

#[test]
fn potential_relays() {
    let refused = |change: fn(&mut Relay), aspect| {
        let mut is = start_relay();
        change(&mut is);
        assert_eq!(
            why(&relay(&start_relay(), &is), aspect).0,
            Outcome::Refused,
            "{aspect:?}"
        );
    };
    refused(|r| r.pick_up = Some(Span::at(Volts(190.0))), Aspect::PickUp);
    refused(|r| r.pick_up = Some(Span::at(Volts(150.0))), Aspect::PickUp);
    refused(|r| r.drop_out = Some(Volts(120.0)), Aspect::DropOut);
    refused(
        |r| r.continuous = Some(Volts(256.0)),
        Aspect::ContinuousVolts,
    );
    let narrow = Relay {
        pick_up: Some(Span::at(Volts(175.0))),
        ..start_relay()
    };
    assert_eq!(relay(&start_relay(), &narrow).outcome(), Outcome::Fits);
}

#[test]
fn numbers_of_makers() {
    let of = |number, replaces| Numbered { number, replaces };
    let was = of(Some("CX 40-1"), None);
    for (is, outcome, reason) in [
        (of(Some("cx40-1"), None), Outcome::Fits, Reason::Same),
        (
            of(Some("DX 9"), Some("CX 36-1,cx 40-1")),
            Outcome::Fits,
            Reason::Replaces,
        ),
        (of(None, Some("CX40-1")), Outcome::Fits, Reason::Replaces),
        (
            of(Some("CX 401"), None),
            Outcome::Unknown,
            Reason::OtherNumber,
        ),
        (
            of(Some("CX 40-11"), Some("CX 40,1")),
            Outcome::Unknown,
            Reason::OtherNumber,
        ),
        (of(None, None), Outcome::Unknown, Reason::CandidateNotKnown),
        (
            of(Some(" "), Some(", ")),
            Outcome::Unknown,
            Reason::CandidateNotKnown,
        ),
    ] {
        assert_eq!(
            why(&numbered(&was, &is), Aspect::Number),
            (outcome, reason),
            "{is:?}"
        );
    }
    // Nobody knows what failed: no list names it.
    for unread in [None, Some(""), Some("\u{2009}")] {
        let report = numbered(&of(unread, None), &of(Some("CX 40-1"), Some(",")));
        assert_eq!(
            why(&report, Aspect::Number),
            (Outcome::Unknown, Reason::OriginalNotKnown)
        );
    }
}

/// No kind has more criteria than a report has room for, and each equal part fits.
#[test]
fn the_same_part_fits_and_every_criterion_has_room() {
    let reports = [
        motor(&fan(), None, &fan()),
        contactor(&two_poles(), &Load::default(), &two_poles()),
        transformer(&forty(), &forty()),
        relay(&start_relay(), &start_relay()),
        numbered(&board(), &board()),
    ];
    for report in reports {
        assert_eq!(report.outcome(), Outcome::Fits, "{report:?}");
        assert!(report.rows().len() < MOST_ROWS);
        assert!(
            report.rows().iter().all(|row| row.reason == Reason::Same),
            "{report:?}"
        );
    }
    // Of parts that nobody read, nothing is said.
    for report in [
        motor(&Motor::default(), None, &fan()),
        contactor(&Contactor::default(), &Load::default(), &two_poles()),
        transformer(&Transformer::default(), &forty()),
        relay(&Relay::default(), &start_relay()),
        numbered(&Numbered::default(), &board()),
        bank(&Capacitor::default(), &[]).report,
    ] {
        assert_eq!(report.outcome(), Outcome::Unknown, "{report:?}");
    }
}

fn any_capacitor() -> impl Strategy<Value = Capacitor> {
    (
        1.0..200.0f64,
        (0.0..0.3f64, 0.0..0.3f64),
        100.0..700.0f64,
        prop::option::of(-40.0..100.0f64),
        prop::sample::select(vec![Mains::FIFTY, Mains::SIXTY, Mains::BOTH]),
    )
        .prop_map(
            |(microfarads, (minus, plus), volts, hottest, mains)| Capacitor {
                tolerance: Some(Tolerance {
                    minus: Ratio(minus),
                    plus: Ratio(plus),
                }),
                hottest: hottest.map(Celsius),
                mains: Some(mains),
                ..run(microfarads, 0.0, volts)
            },
        )
}

proptest! {
    /// A capacitor equal to the failed one always fits.
    #[test]
    fn an_equal_one_fits(was in any_capacitor()) {
        prop_assert_eq!(bank(&was, &[was]).report.outcome(), Outcome::Fits);
    }

    /// More volts never turn what fits into what does not.
    #[test]
    fn more_volts_are_never_worse(was in any_capacitor(), is in any_capacitor(), more in 0.0..500.0f64) {
        let mut is = Capacitor { farads: was.farads, tolerance: was.tolerance, ..is };
        let before = bank(&was, &[is]).report.outcome();
        is.volts = is.volts.map(|v| Volts(v.get() + more));
        prop_assert!(bank(&was, &[is]).report.outcome() <= before);
    }

    /// Pieces that deviate as they like, each within its own tolerance, stay within the worst case;
    /// at their limits they reach it.
    #[test]
    fn the_worst_case_encloses_every_draw(
        pieces in prop::collection::vec(any_capacitor(), 1..5),
        draws in prop::collection::vec(prop::collection::vec(0.0..=1.0f64, 5), 400),
    ) {
        let Bank { whole, statistical, .. } = bank(&run(1.0, 6.0, 440.0), &pieces);
        let (sum, worst) = (whole.farads.unwrap().get(), whole.tolerance.unwrap());
        let (low, high) = (sum * (1.0 - worst.minus.get()), sum * (1.0 + worst.plus.get()));
        let at = |unit: &[f64]| -> f64 {
            pieces.iter().zip(unit).map(|(piece, u)| {
                let t = piece.tolerance.unwrap();
                let deviation = u * (t.plus.get() + t.minus.get()) - t.minus.get();
                piece.farads.unwrap().get() * (1.0 + deviation)
            }).sum()
        };
        for draw in &draws {
            let c = at(draw);
            prop_assert!(c >= low * (1.0 - 1e-12) && c <= high * (1.0 + 1e-12), "{c} {low} {high}");
        }
        prop_assert!((at(&[0.0; 5]) - low).abs() < 1e-12 * sum);
        prop_assert!((at(&[1.0; 5]) - high).abs() < 1e-12 * sum);
        let likely = statistical.unwrap();
        prop_assert!(likely.plus.get() <= worst.plus.get() + 1e-12);
    }

    /// Whatever the numbers, something is said of each criterion and nothing panics; what is no
    /// number never fits.
    #[test]
    fn any_numbers(a in any::<f64>(), b in any::<f64>(), c in any::<f64>()) {
        let odd = Capacitor {
            farads: Some(Farads(a)),
            tolerance: Some(Tolerance { minus: Ratio(b), plus: Ratio(c) }),
            volts: Some(Volts(b)),
            ..run(45.0, 6.0, 440.0)
        };
        let outcome = bank(&run(45.0, 6.0, 440.0), &[odd, odd]).report.outcome();
        if !(a.is_finite() && b.is_finite() && c.is_finite() && a > 0.0) {
            prop_assert_ne!(outcome, Outcome::Fits);
        }
        let m = Motor { power: Some(Watts(a)), speed: Some(PerMinute(b)), amps: Some(Amps(c)), ..fan() };
        let _ = motor(&m, None, &fan()).outcome();
        let _ = motor(&fan(), Some(Amps(a)), &m).outcome();
    }
}
