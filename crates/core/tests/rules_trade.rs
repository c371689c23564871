//! Worked values of the trade, each with where it comes from, and its own check values, which are
//! common practice with no published source.

use ohmtrail_core::accuracy::{
    Accuracy, AccuracyTable, Cautious, Circuit, Measured, Quantity, Spec, Void,
    side_by_side_uncertainty, standard_uncertainty,
};
use ohmtrail_core::class::Class;
use ohmtrail_core::leads::Leads;
use ohmtrail_core::reading::{Decimal, Flags, Function, MeterId, Reading, Shown};
use ohmtrail_core::rules::capacitor::{self, Basis, Known, Tolerance};
use ohmtrail_core::rules::insulation::{self, Hermetic, Instrument, Insulation, Winding};
use ohmtrail_core::rules::supply::{self, Compressor, Place};
use ohmtrail_core::rules::temperature::{Metal, resistance_at, rise, share_of_reference};
use ohmtrail_core::rules::under_load::{Feed, capacitance};
use ohmtrail_core::rules::winding::{
    Names, Pairs, Path, Pattern, SumOutcome, Terminal, name_terminals, pattern, sum_rule,
};
use ohmtrail_core::rules::{
    RuleError, all, control, current, discharge, drop, three_phase, unbalance,
};
use ohmtrail_core::source::Status;
use ohmtrail_core::units::{Amps, Celsius, Farads, Hertz, Micros, Ohms, Ratio, Volts};
use ohmtrail_core::verdict::{Decision, Verdict};

fn near(got: f64, want: f64, within: f64) {
    assert!((got - want).abs() <= within, "{got}, not {want}");
}

fn volts(value: f64, u: f64) -> Quantity<Volts> {
    Quantity::new(Volts(value), u)
}

fn ohms(value: f64, u: f64) -> Quantity<Ohms> {
    Quantity::new(Ohms(value), u)
}

fn microfarads(value: f64, u: f64) -> Quantity<Farads> {
    Quantity::new(Farads(value * 1e-6), u * 1e-6)
}

/// A reading through a meter of unstated accuracy.
fn shown<Q: ohmtrail_core::accuracy::Unit>(
    function: Function,
    mantissa: i32,
    exponent: i8,
) -> Quantity<Q> {
    let reading = Reading {
        function,
        shown: Shown::Value(Decimal::new(mantissa, exponent)),
        flags: Flags::NONE,
        meter: MeterId(1),
        at: Micros(0),
    };
    Quantity::read(&reading, function, Circuit::Dead, &Cautious).expect("a good reading")
}

// ---- The trade's own check values: common practice, no published source. ----

/// Common practice, no published source: 2.2, 0.7 and 2.9 ohm are continuous and consistent, and
/// the terminals are told by them.
#[test]
fn windings_of_2_2_and_0_7_and_2_9_ohm_are_consistent_and_named() {
    let read = |mantissa| shown::<Ohms>(Function::Ohms, mantissa, -1);
    let pairs = Pairs {
        common_start: read(22),
        common_run: read(7),
        start_run: read(29),
    };
    let zeroed = Leads::Zeroed { step: Ohms(0.1) };
    let sum = sum_rule(&pairs, &zeroed).expect("three readings");
    assert_eq!(sum.outcome, SumOutcome::Consistent);
    near(sum.residual.value.get(), 0.0, 1e-12);

    // Common at B, run at A, start at C.
    let naming = name_terminals(read(7), read(22), read(29), &zeroed).expect("three readings");
    assert_eq!(
        naming.names,
        Names {
            common: Terminal::B,
            start: Terminal::C,
            run: Terminal::A
        }
    );
    assert!(
        naming.p > 0.95 && !naming.ambiguous && !naming.inconsistent,
        "{naming:?}"
    );
}

/// Common practice, no published source: 211 V on 208/230 V equipment is good.
#[test]
fn at_211_volts_208_230_equipment_is_good() {
    let v = shown::<Volts>(Function::VoltsAc, 2110, -1);
    let window = supply::window("208/230").expect("a usual plate");
    let verdict =
        supply::against_plate(v, window, Some(Compressor::WeldedSinglePhase)).expect("a voltage");
    assert_eq!(verdict.operate.class, Class::Within);
    for v in [
        verdict.operate,
        verdict.rated,
        verdict.compressor.expect("208/230 V"),
    ] {
        assert_eq!(v.decision, Decision::Pass);
        assert!(v.p_within.is_some_and(|p| p > 0.999) && v.measured.assumed);
    }
}

/// Common practice, no published source: a capacitor at zero has failed, whether its value is
/// marked or only asked for by the motor's plate.
#[test]
fn a_capacitor_at_zero_has_failed() {
    let zero = shown::<Farads>(Function::Farads, 0, -8);
    let marked = Known {
        marked: Some(Farads(45e-6)),
        tolerance: Some(Tolerance::symmetric(Ratio(0.06))),
        plate: None,
    };
    let verdict = capacitor::section(zero, &marked).expect("a reading");
    assert_eq!(
        (verdict.basis, verdict.replace.decision),
        (Basis::Marking, Decision::Fail)
    );
    assert_eq!(verdict.replace.class, Class::Absent);

    let plate = Known {
        plate: Some(Farads(5e-6)),
        ..Known::default()
    };
    let verdict = capacitor::section(zero, &plate).expect("a reading");
    assert_eq!(
        (verdict.basis, verdict.replace.decision),
        (Basis::Plate, Decision::Check)
    );
    assert_eq!(verdict.gone.map(|v| v.decision), Some(Decision::Fail));
}

/// Common practice, no published source: 55 microfarad marked ±10 % reaches from 49.5 to 60.5.
#[test]
fn a_marking_of_55_microfarad_10_percent_reaches_from_49_5_to_60_5() {
    let limit = capacitor::marked_limits(Farads(55e-6), Tolerance::symmetric(Ratio(0.10)))
        .expect("a marking");
    near(limit.low(), 49.5e-6, 1e-18);
    near(limit.high(), 60.5e-6, 1e-18);
    assert_eq!(limit.source.status, Status::Plate);
    let start = Tolerance {
        minus: Ratio(0.0),
        plus: Ratio(0.20),
    };
    let limit = capacitor::marked_limits(Farads(100e-6), start).expect("a marking");
    near(limit.low(), 100e-6, 1e-18);
    near(limit.high(), 120e-6, 1e-18);
}

// ---- Supply ----

/// ANSI C84.1 at the equipment (second hand) and its per-unit form; the 197 V warning of a
/// compressor bulletin (second hand) is a warning and no failure.
#[test]
fn supply_windows_are_those_of_their_tables() {
    let ansi = |v, nominal| {
        let r = supply::against_ansi(volts(v, 0.1), Volts(nominal), Place::Utilization)
            .expect("a voltage");
        (r.a.decision, r.b.decision)
    };
    assert_eq!(ansi(240.0, 240.0), (Decision::Pass, Decision::Pass));
    assert_eq!(ansi(212.0, 240.0), (Decision::Fail, Decision::Pass));
    assert_eq!(ansi(200.0, 240.0), (Decision::Fail, Decision::Fail));
    // From memory: 208Y/120 never fails alone.
    assert_eq!(ansi(170.0, 208.0), (Decision::Check, Decision::Check));
    assert_eq!(ansi(600.0 * 0.89, 600.0), (Decision::Fail, Decision::Pass));

    let window = supply::window("208-230").expect("a usual plate");
    let low = supply::against_plate(
        volts(192.0, 0.5),
        window,
        Some(Compressor::WeldedSinglePhase),
    )
    .expect("a voltage");
    assert_eq!(low.operate.decision, Decision::Pass);
    assert_eq!(low.compressor.map(|v| v.decision), Some(Decision::Check));
    let off = supply::against_plate(volts(3.0, 0.5), window, None).expect("a voltage");
    assert_eq!(
        (off.operate.class, off.operate.decision),
        (Class::Absent, Decision::Fail)
    );
    // 0.9 of 208 is 187, 1.1 of 230 is 253.
    let limit = supply::against_rated(volts(220.0, 1.0), Volts(208.0), Volts(230.0))
        .expect("a voltage")
        .limit;
    near(limit.low(), 187.2, 1e-9);
    near(limit.high(), 253.0, 1e-9);
    let start = supply::starting(volts(170.0, 1.0), Volts(208.0)).expect("a voltage");
    assert_eq!(start.decision, Decision::Check);
}

/// Worked values published with NEMA MG-1's definition (second hand): 462/463/455 is 1.1 %,
/// 203/210/212 is 2.5 % (2.56 %, cut off where it was printed), 480/476/472 is 0.84 %.
#[test]
fn unbalance_has_its_published_worked_values() {
    for (v, percent, odd) in [
        ([462.0, 463.0, 455.0], 1.1, 2),
        ([203.0, 210.0, 212.0], 2.5, 0),
        ([480.0, 476.0, 472.0], 0.84, 0),
    ] {
        let r = unbalance::of_voltages(v.map(|x| volts(x, 0.1))).expect("three voltages");
        near(r.unbalance.share.value.get() * 100.0, percent, 0.061);
        assert_eq!(r.unbalance.odd, odd);
    }
    let six = unbalance::of_voltages([volts(200.0, 0.1), volts(220.0, 0.1), volts(220.0, 0.1)])
        .expect("three voltages");
    assert_eq!((six.run.decision, six.derate), (Decision::Fail, None));
    assert_eq!(six.rated.decision, Decision::Check);
    assert_eq!(
        unbalance::derating(Ratio(0.051)),
        Err(RuleError::OutOfDomain)
    );
    // 2 p^2: 18 % more rise at 3 %.
    near(
        unbalance::extra_rise(Ratio(0.03)).expect("a share").get(),
        0.18,
        1e-12,
    );
    // A gain error that three readings share says nothing about their unbalance.
    let accuracy = Accuracy::new(2.0, 5.0);
    let d = Decimal::new(4600, -1);
    assert!(side_by_side_uncertainty(d, &accuracy) < standard_uncertainty(d, &accuracy) / 10.0);
}

/// Common practice, no published source: up to 0.1 V good, above 0.3 V replace, poles 50 mV apart.
#[test]
fn contact_drop_needs_a_load_and_never_fails_alone() {
    let amps = |x| Quantity::new(Amps(x), 0.1);
    let across = |v, i| drop::across_pole(volts(v, 0.005), amps(i), Volts(240.0));
    let good = across(0.05, 20.0).expect("a drop");
    assert_eq!(good.good.decision, Decision::Pass);
    near(good.resistance.get(), 0.0025, 1e-12);
    let worn = across(0.5, 20.0).expect("a drop");
    assert_eq!(
        (worn.worn.decision, worn.worn.class),
        (Decision::Check, Class::High)
    );
    assert_eq!(across(239.0, 20.0).expect("a drop").worn.class, Class::Open);
    assert_eq!(across(0.05, 0.0), Err(RuleError::NoLoad));
    let apart = drop::poles_apart(volts(0.05, 0.001), volts(0.15, 0.001)).expect("two drops");
    assert_eq!(apart.decision, Decision::Check);
    assert_eq!(
        drop::open_or_closed(Volts(240.0)).judge(0.2, 0.05).best().0,
        Class::Within
    );
}

/// IEC 60947-4-1 (from memory): a 24 V coil closes from 20.4 to 26.4 V.
#[test]
fn a_coil_closes_at_85_percent() {
    let coil = |v| control::at_coil(volts(v, 0.1), Volts(24.0)).expect("a voltage");
    near(coil(24.0).limit.low(), 20.4, 1e-12);
    near(coil(24.0).limit.high(), 26.4, 1e-12);
    assert_eq!(coil(24.0).decision, Decision::Pass);
    assert_eq!(
        (coil(18.0).class, coil(18.0).decision),
        (Class::Low, Decision::Check)
    );
    assert_eq!(coil(1.0).class, Class::Absent);
    let secondary = |v, load| control::at_secondary(volts(v, 0.1), load).expect("a voltage");
    assert_eq!(secondary(27.0, control::Load::Off).decision, Decision::Pass);
    assert_eq!(secondary(18.0, control::Load::On).decision, Decision::Check);
}

// ---- Capacitors ----

/// Worked example of the design notes (computed): 8.30 A through a clamp of ±(2 % + 5) and
/// 380.0 V on a meter of ±(1 % + 3) give U = 3.3 %, too wide for ±6 %.
#[test]
fn capacitance_under_load_carries_its_uncertainty() {
    let read = |m, e, p, c| {
        let d = Decimal::new(m, e);
        (d.value(), standard_uncertainty(d, &Accuracy::new(p, c)))
    };
    let (i, u_i) = read(830, -2, 2.0, 5.0);
    let (v, u_v) = read(3800, -1, 1.0, 3.0);
    let of = |f: f64, feed| {
        capacitance(
            Quantity::new(Amps(i), u_i),
            volts(v, u_v),
            Quantity::new(Hertz(f), 0.0),
            feed,
        )
    };
    let c = of(60.0, Feed::Mains).expect("positive quantities");
    near(c.value.get() * 1e6, 2652.58 * 8.30 / 380.0, 1e-3);
    near(2.0 * c.u / c.value.get(), 0.033, 0.0005);
    let at_50 = of(50.0, Feed::Mains)
        .expect("positive quantities")
        .value
        .get();
    near(at_50 * 1e6, 3183.10 * 8.30 / 380.0, 1e-3);
    assert_eq!(
        of(60.0, Feed::Inverter),
        Err(RuleError::Void(Void::NotSinusoidal))
    );
    let known = |marked| Known {
        marked: Some(Farads(marked)),
        tolerance: Some(Tolerance::symmetric(Ratio(0.06))),
        plate: None,
    };
    let judged = |marked| capacitor::section(c, &known(marked)).expect("a section");
    // 57.9 against 55 ±6 %: near the limit, and the meters are too coarse for it.
    assert_eq!(judged(55e-6).replace.decision, Decision::NotJudged);
    assert!(judged(55e-6).replace.too_close());
    // Far out it fails with any meter.
    assert_eq!(judged(80e-6).replace.decision, Decision::Fail);
}

#[test]
fn a_section_is_held_against_the_best_that_is_known() {
    let c = microfarads(41.0, 0.1);
    let tolerance = Some(Tolerance::symmetric(Ratio(0.06)));
    let (marked, plate) = (Some(Farads(45e-6)), Some(Farads(40e-6)));
    let basis = |marked, tolerance, plate| {
        let known = Known {
            marked,
            tolerance,
            plate,
        };
        let v = capacitor::section(c, &known).expect("a section");
        (v.basis, v.replace.decision, v.warn.map(|w| w.decision))
    };
    assert_eq!(
        basis(marked, tolerance, plate),
        (Basis::Marking, Decision::Fail, None)
    );
    assert_eq!(
        basis(marked, None, plate),
        (Basis::MarkedValue, Decision::Pass, Some(Decision::Check))
    );
    assert_eq!(
        basis(None, None, plate),
        (Basis::Plate, Decision::Pass, Some(Decision::Pass))
    );
    assert_eq!(
        basis(None, None, None),
        (Basis::UsualRange, Decision::Pass, None)
    );
}

// ---- Windings ----

#[test]
fn the_sum_rule_takes_the_leads_into_account_or_does_not_judge() {
    let read = |r| ohms(r, 0.02);
    let pairs = Pairs {
        common_start: read(2.4),
        common_run: read(0.9),
        start_run: read(3.1),
    };
    let outcome = |leads| sum_rule(&pairs, &leads).expect("three readings").outcome;
    assert_eq!(
        outcome(Leads::Zeroed { step: Ohms(0.01) }),
        SumOutcome::Inconsistent
    );
    assert_eq!(outcome(Leads::Shorted(read(0.2))), SumOutcome::Consistent);
    assert_eq!(outcome(Leads::Unknown), SumOutcome::Consistent);
    assert_eq!(outcome(Leads::FromSum(read(0.2))), SumOutcome::NotJudged);
    let bad = Pairs {
        common_start: read(-1.0),
        ..pairs
    };
    assert_eq!(sum_rule(&bad, &Leads::Unknown), Err(RuleError::Negative));
}

/// Compressor test manual (verified) and topology: what open pairs mean.
#[test]
fn open_pairs_have_their_meanings_and_a_hot_protector_is_not_a_failure() {
    let closed = Path::Closed(ohms(2.0, 0.1));
    let of = |cs: bool, cr: bool, sr: bool, cooled| {
        let path = |open| if open { Path::Open } else { closed };
        pattern(
            &Pairs {
                common_start: path(cs),
                common_run: path(cr),
                start_run: path(sr),
            },
            cooled,
        )
    };
    assert_eq!(of(true, true, false, false), Pattern::ProtectorTripped);
    assert_eq!(of(true, true, false, true), Pattern::CommonStaysOpen);
    assert_eq!(of(true, false, true, true), Pattern::StartOpen);
    assert_eq!(of(false, true, true, true), Pattern::RunOpen);
    assert_eq!(of(true, true, true, true), Pattern::AllOpen);
    assert_eq!(of(false, false, false, true), Pattern::Closed);
    assert_eq!(of(true, false, false, true), Pattern::Contradiction);
}

#[test]
fn terminals_are_named_from_any_order_and_alike_windings_are_ambiguous() {
    let leads = Leads::Zeroed { step: Ohms(0.1) };
    let read = |r| ohms(r, 0.05);
    let (cs, cr, sr) = (read(2.2), read(0.7), read(2.9));
    use Terminal::{A, B, C};
    for ([ab, bc, ac], (common, start, run)) in [
        ([cs, sr, cr], (A, B, C)),
        ([cr, sr, cs], (A, C, B)),
        ([cs, cr, sr], (B, A, C)),
        ([cr, cs, sr], (B, C, A)),
        ([sr, cr, cs], (C, A, B)),
        ([sr, cs, cr], (C, B, A)),
    ] {
        let naming = name_terminals(ab, bc, ac, &leads).expect("three readings");
        assert_eq!(naming.names, Names { common, start, run });
        assert!(naming.p > 0.999);
        let sum: f64 = naming.ways.iter().map(|(_, p)| p).sum();
        near(sum, 1.0, 1e-12);
    }
    let alike = name_terminals(read(2.0), read(4.0), read(2.0), &leads).expect("three readings");
    assert!(alike.ambiguous && alike.names.common == A, "{alike:?}");
    near(alike.p, 0.5, 1e-9);
    let odd = name_terminals(read(2.0), read(9.0), read(3.0), &leads).expect("three readings");
    assert!(odd.inconsistent);
}

/// Temperature factors to 25 °C (computed from K = 234.5 and 225), and the rise by resistance.
#[test]
fn winding_temperature_has_its_worked_factors() {
    for (metal, rows) in [
        (
            Metal::Copper,
            [
                (0.0, 1.1066),
                (20.0, 1.0196),
                (40.0, 0.9454),
                (80.0, 0.8251),
            ],
        ),
        (
            Metal::Aluminium,
            [
                (0.0, 1.1111),
                (20.0, 1.0204),
                (40.0, 0.9434),
                (80.0, 0.8197),
            ],
        ),
    ] {
        for (t, factor) in rows {
            let at = Quantity::new(Celsius(t), 0.0);
            let r = resistance_at(ohms(1.0, 0.0), at, Celsius(25.0), metal).expect("a winding");
            near(r.value.get(), factor, 5e-5);
        }
    }
    let at_25 = Quantity::new(Celsius(25.0), 0.0);
    let (dt, _) =
        rise(ohms(1.3, 0.0), ohms(1.0, 0.0), at_25, at_25, Metal::Copper).expect("two resistances");
    near(dt.get(), 0.3 * 259.5, 1e-9);
    let share = share_of_reference(ohms(2.0, 0.0), at_25, ohms(2.5, 0.0), at_25, Metal::Copper)
        .expect("two resistances");
    near(share.value.get(), 0.8, 1e-12);
    let impossible = Quantity::new(Celsius(-240.0), 0.0);
    assert_eq!(
        resistance_at(ohms(1.0, 0.0), impossible, Celsius(25.0), Metal::Copper),
        Err(RuleError::OutOfDomain)
    );
}

/// Common practice, no published source: spread of three-phase windings, 5 and 10 %.
#[test]
fn three_phase_windings_are_alike() {
    let of = |a, b, c| three_phase::spread([ohms(a, 0.001), ohms(b, 0.001), ohms(c, 0.001)]);
    let good = of(1.00, 1.01, 1.02).expect("three pairs");
    near(good.spread.value.get(), 0.02 / 1.01, 1e-12);
    assert_eq!(good.warn.decision, Decision::Pass);
    let bad = of(1.0, 1.0, 0.8).expect("three pairs");
    assert_eq!(
        (bad.warn.decision, bad.reject.decision),
        (Decision::Check, Decision::Check)
    );
    assert_eq!(of(0.0, 1.0, 1.0), Err(RuleError::NotPositive));
}

// ---- Insulation ----

/// IEEE 43-2013 (second hand): 5 megohm at 40 °C, halving for every 10 K; the two-part correction
/// is from memory and meets the other at 40 °C.
#[test]
fn open_motors_are_judged_at_40_degrees() {
    let of = |r, t, winding| {
        insulation::open_motor(ohms(r, 0.0), Celsius(t), winding, Insulation::Thermoplastic)
            .expect("an insulation")
    };
    near(of(8e6, 20.0, Winding::RandomWound).measured.value, 2e6, 1.0);
    assert_eq!(of(8e6, 20.0, Winding::RandomWound).decision, Decision::Fail);
    assert_eq!(of(8e6, 40.0, Winding::RandomWound).decision, Decision::Pass);
    near(
        of(8e6, 40.0, Winding::Old(Volts(480.0))).limit.low(),
        1.48e6,
        1e-3,
    );
    // A correction from memory never condemns.
    let by_memory = insulation::open_motor(
        ohms(1e5, 0.0),
        Celsius(20.0),
        Winding::RandomWound,
        Insulation::Thermosetting,
    );
    assert_eq!(by_memory.map(|v| v.decision), Ok(Decision::Check));
    // 30 % of operating uncertainty: a reading at the limit is a coin toss.
    near(
        of(5e6, 40.0, Winding::RandomWound)
            .p_within
            .expect("judged"),
        0.5,
        1e-9,
    );
    // Surely met from 5/0.7 on: 97 % and more of the normal distribution.
    assert!(
        of(7.15e6, 40.0, Winding::RandomWound)
            .p_within
            .expect("judged")
            > 0.95
    );
    for insulation in [Insulation::Thermoplastic, Insulation::Thermosetting] {
        let factor = |t| {
            insulation::to_40(Celsius(t), insulation)
                .expect("in range")
                .get()
        };
        near(factor(40.0), 1.0, 1e-12);
        assert!(factor(60.0) > 1.0 && factor(20.0) < 1.0);
        assert_eq!(
            insulation::to_40(Celsius(5.0), insulation),
            Err(RuleError::OutOfDomain)
        );
    }
}

/// Compressor service handbook (verified): under 2 megohm is a ground fault. Common practice: from
/// 2 to 20 heat the crankcase and repeat. Nothing but a sure ground fault condemns.
#[test]
fn a_hermetic_compressor_is_never_condemned_on_the_middle_band() {
    let of = |r| insulation::hermetic(ohms(r, 0.0), Instrument::InsulationTester);
    for (r, asks) in [
        (0.0, Hermetic::GroundFault),
        (1e6, Hermetic::GroundFault),
        (1.9e6, Hermetic::HeatAndRepeat),
        (2.1e6, Hermetic::HeatAndRepeat),
        (19e6, Hermetic::HeatAndRepeat),
        (30e6, Hermetic::Poor),
        (70e6, Hermetic::Watch),
        (500e6, Hermetic::Good),
    ] {
        let v = of(r).expect("an insulation");
        assert_eq!(v.asks_for, asks, "{r}");
        assert_eq!(
            v.ground.decision == Decision::Fail,
            asks == Hermetic::GroundFault
        );
    }
    assert_eq!(of(1e5).expect("an insulation").ground.class, Class::Short);
    assert_eq!(of(7e6).expect("an insulation").ground.class, Class::Low);
    // An ohmmeter finds a dead ground and proves nothing else.
    let by_ohmmeter = |r| {
        insulation::hermetic(ohms(r, 0.1), Instrument::Ohmmeter)
            .expect("a resistance")
            .asks_for
    };
    assert_eq!(by_ohmmeter(3.0), Hermetic::GroundFault);
    assert_eq!(by_ohmmeter(40e6), Hermetic::NotProved);
    let large = insulation::large_hermetic(ohms(80e6, 0.0), ohms(90e6, 0.0)).expect("two readings");
    assert!(large.rises);
    assert_eq!(large.at_60_s.decision, Decision::Pass);
    assert_eq!(of(-1e6), Err(RuleError::Negative));
}

// ---- Current, discharge ----

/// Trade page on RLA (second hand): above RLA warns and no more, above MCC fails.
#[test]
fn above_rla_warns_and_above_mcc_fails() {
    let ratings = current::Ratings {
        rla: Some(Amps(14.0)),
        mcc: Some(Amps(21.8)),
        lra: Some(Amps(77.0)),
        curve: None,
    };
    let of = |i| current::compressor(Quantity::new(Amps(i), 0.1), &ratings).expect("a current");
    let decisions = |i| {
        let v = of(i);
        [v.rla, v.mcc, v.locked].map(|v| v.map(|v| v.decision))
    };
    let some = |all: [Decision; 3]| all.map(Some);
    use Decision::{Check, Fail, Pass};
    assert_eq!(decisions(12.0), some([Pass, Pass, Check]));
    assert_eq!(decisions(17.0), some([Check, Pass, Check]));
    assert_eq!(decisions(24.0), some([Check, Fail, Check]));
    assert_eq!(decisions(76.0), some([Check, Fail, Pass]));
    assert_eq!(of(0.0).mcc.map(|v| v.class), Some(Class::Absent));
    let curve = current::Ratings {
        curve: Some(current::Curve {
            amps: Amps(10.0),
            tolerance: Ratio(0.1),
        }),
        ..current::Ratings::default()
    };
    let off = current::compressor(Quantity::new(Amps(13.0), 0.1), &curve).expect("a current");
    assert_eq!(off.curve.map(|v| v.decision), Some(Fail));
    let none = current::Ratings::default();
    assert_eq!(
        current::compressor(Quantity::new(Amps(1.0), 0.1), &none),
        Err(RuleError::NotPositive)
    );
    let fan = current::motor(Quantity::new(Amps(1.8), 0.02), Amps(1.4)).expect("a current");
    assert_eq!((fan.class, fan.decision), (Class::High, Check));
}

/// Discharge from 622 V to 50 V (computed table): 45 uF through 20 kohm takes 2.3 s.
#[test]
fn discharge_takes_its_computed_time_and_34_volts_is_the_limit() {
    for (c, r, t) in [
        (5e-6, 20e3, 0.25),
        (10e-6, 15e3, 0.38),
        (45e-6, 20e3, 2.3),
        (45e-6, 10e3, 1.1),
        (80e-6, 15e3, 3.0),
    ] {
        let s = discharge::seconds(Ohms(r), Farads(c), Volts(622.0), Volts(50.0)).expect("a time");
        near(s, t, 0.05);
    }
    let left = |v| discharge::left(volts(v, 0.1)).expect("a voltage");
    assert!(left(0.2).under_touch() && left(0.2).under_measure());
    assert!(left(20.0).under_touch() && !left(20.0).under_measure());
    assert!(!left(33.9).under_touch(), "within the guard band");
    assert!(!left(-60.0).under_touch(), "the other way round is as much");
}

// ---- Verdicts from readings ----

#[test]
fn an_overload_counts_only_where_the_range_reaches_the_limit() {
    let limit = insulation::HERMETIC_GROUND.limit();
    let bands = insulation::hermetic_bands();
    let reading = Reading {
        function: Function::Megohms,
        shown: Shown::Overload,
        flags: Flags::NONE,
        meter: MeterId(1),
        at: Micros(0),
    };
    let spec = |range| {
        [Spec {
            function: Function::Megohms,
            accuracy: Accuracy::up_to(5.0, 5.0, range),
        }]
    };
    let of = |range: f64| {
        Verdict::read(
            &reading,
            Function::Megohms,
            Circuit::Dead,
            &spec(range),
            limit,
            &bands,
        )
    };
    assert_eq!(of(1e6).void, Some(Void::OutOfRange));
    assert_eq!((of(1e9).void, of(1e9).decision), (None, Decision::Pass));
    assert_eq!(of(1e9).class, Class::Within);
    let live = Verdict::read(
        &reading,
        Function::Megohms,
        Circuit::Live,
        &spec(1e9),
        limit,
        &bands,
    );
    assert_eq!(
        (live.void, live.decision),
        (Some(Void::LiveCircuit), Decision::NotJudged)
    );
    assert!(Cautious.assumed());
}

#[test]
fn every_row_has_a_name_a_limit_and_a_source() {
    let rows: Vec<_> = all().collect();
    assert!(rows.len() > 60, "{}", rows.len());
    for row in &rows {
        assert_eq!(
            rows.iter().filter(|r| r.id == row.id).count(),
            1,
            "{}",
            row.id
        );
        assert!(row.lower.is_some() || row.upper.is_some(), "{}", row.id);
        assert!(
            row.limit().is_sound() && !row.source.what.is_empty(),
            "{}",
            row.id
        );
        // No habit and no memory condemns alone, however far out the value is.
        let far = row.upper.map_or(-1e12, |upper| upper + 1e12);
        let decision = row.judge(Measured::new(far, 1e-9)).decision;
        let expected = if row.source.status.may_condemn() {
            Decision::Fail
        } else {
            Decision::Check
        };
        assert_eq!(decision, expected, "{}", row.id);
    }
}
