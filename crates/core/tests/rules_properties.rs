//! What holds for every value: probabilities are probabilities, and no number panics.

use ohmtrail_core::accuracy::{Measured, Quantity, Unit};
use ohmtrail_core::class::Class;
use ohmtrail_core::leads::{Leads, estimate_from_sum};
use ohmtrail_core::reading::{Decimal, Shown};
use ohmtrail_core::rules::capacitor::{self, Known, Tolerance};
use ohmtrail_core::rules::insulation::{self, Instrument, Insulation, Winding};
use ohmtrail_core::rules::supply::{self, Place};
use ohmtrail_core::rules::temperature::{self, Metal};
use ohmtrail_core::rules::under_load::{Feed, capacitance};
use ohmtrail_core::rules::winding::{Pairs, name_terminals, sum_rule};
use ohmtrail_core::rules::{control, current, discharge, drop, three_phase, unbalance};
use ohmtrail_core::source::{Source, Status};
use ohmtrail_core::units::{Amps, Celsius, Farads, Hertz, Ohms, Ratio, Volts};
use ohmtrail_core::verdict::{Bands, Decision, Limit, Verdict};
use proptest::prelude::*;

/// Any number at all: NaN, infinite, subnormal, and the ordinary ones often.
fn any_number() -> impl Strategy<Value = f64> {
    prop_oneof![
        any::<u64>().prop_map(f64::from_bits),
        -1e3..1e3,
        prop::sample::select(vec![
            0.0,
            -0.0,
            f64::NAN,
            f64::INFINITY,
            f64::NEG_INFINITY,
            f64::MIN_POSITIVE,
            5e-324,
            f64::MAX,
            f64::MIN,
            -234.5,
            -225.0,
        ]),
    ]
}

fn any_edges() -> impl Strategy<Value = [f32; 4]> {
    [(); 4].map(|()| any_number().prop_map(|x| x as f32))
}

fn ordered_bands() -> impl Strategy<Value = Bands> {
    [(); 4].map(|()| -100.0f32..100.0).prop_map(|mut edges| {
        edges.sort_by(f32::total_cmp);
        Bands {
            bottom: Class::Absent,
            top: Class::Open,
            edges,
        }
    })
}

/// Unit sums of six binary32 numbers, each rounded once.
const SUM: f32 = 4e-7;

fn is_a_distribution(likely: ohmtrail_core::class::Likely) -> bool {
    likely.0.iter().all(|p| (0.0..=1.0).contains(p))
        && (likely.0.iter().sum::<f32>() - 1.0).abs() <= SUM
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]

    #[test]
    fn bands_give_a_distribution_for_any_numbers(
        edges in any_edges(), value in any_number(), u in any_number(),
        mantissa in any::<i32>(), exponent in any::<i8>(),
    ) {
        let bands = Bands { bottom: Class::Short, top: Class::Short, edges };
        prop_assert!(is_a_distribution(bands.judge(value, u)));
        let shown = Shown::Value(Decimal::new(mantissa, exponent));
        prop_assert!(bands.judge_shown(shown, u).is_ok_and(is_a_distribution));
        prop_assert!(bands.judge_shown(Shown::Overload, u).is_ok_and(is_a_distribution));
    }

    /// A larger value is never less probably above any edge.
    #[test]
    fn probabilities_are_monotone(
        bands in ordered_bands(), value in -120.0..120.0, step in 0.0..20.0, u in 0.0..30.0,
    ) {
        let above = |value: f64| {
            let l = bands.judge(value, u);
            let [a, w, h] = [Class::Open, Class::High, Class::Within].map(|c| l.of(c));
            [a, a + w, a + w + h, a + w + h + l.of(Class::Low)]
        };
        for (here, there) in above(value).into_iter().zip(above(value + step)) {
            prop_assert!(there >= here - SUM, "{here} {there}");
        }
    }

    /// Mirrored bands give a mirrored value the mirrored classes.
    #[test]
    fn probabilities_are_symmetric(bands in ordered_bands(), value in -120.0..120.0, u in 0.01..30.0) {
        let [a, b, c, d] = bands.edges;
        let mirror = Bands { edges: [-d, -c, -b, -a], ..bands };
        let (here, there) = (bands.judge(value, u), mirror.judge(-value, u));
        for (one, other) in [
            (Class::Absent, Class::Open),
            (Class::Low, Class::High),
            (Class::Within, Class::Within),
            (Class::High, Class::Low),
            (Class::Open, Class::Absent),
        ] {
            prop_assert!((here.of(one) - there.of(other)).abs() <= SUM);
        }
    }

    /// The decision and the conformity probability never contradict each other.
    #[test]
    fn a_decision_agrees_with_its_probability(
        lower in -50.0..50.0, width in 0.0..50.0, value in -100.0..150.0, u in 0.0..10.0,
    ) {
        let limit = Limit::new(Some(lower), Some(lower + width), Source::new("x", Status::Plate));
        let m = Measured::new(value, u);
        let p = limit.p_within(m).expect("a sound limit");
        prop_assert!((0.0..=1.0).contains(&p));
        match limit.decide(m) {
            Decision::Pass => prop_assert!(p > 0.954),
            Decision::Fail => prop_assert!(p < 0.0228),
            Decision::ConditionalPass => prop_assert!(p >= 0.477),
            Decision::ConditionalFail => prop_assert!(p <= 0.5),
            Decision::NotJudged => prop_assert!(4.0 * u > width / 2.0),
            Decision::Check => prop_assert!(false, "a plate may condemn"),
        }
    }

    #[test]
    fn no_rule_panics_on_any_number(x in [any_number(), any_number(), any_number()], u in any_number(), y in any_number()) {
        fn q<Q: Unit>(x: f64, u: f64) -> Quantity<Q> { Quantity::new(Q::from_number(x), u) }
        let [a, b, c] = x;
        let sound = |v: &Verdict| v.void.is_some() || is_a_distribution(v.likely);
        for window in supply::WINDOWS {
            let r = supply::against_plate(q(a, u), window, Some(supply::Compressor::ThreePhase));
            prop_assert!(r.is_err() || r.is_ok_and(|v| sound(&v.operate) && sound(&v.rated)));
        }
        let r = supply::against_ansi(q(a, u), Volts(b), Place::Service);
        prop_assert!(r.is_err() || r.is_ok_and(|v| sound(&v.a) && sound(&v.b)));
        let r = supply::against_rated(q(a, u), Volts(b), Volts(c));
        prop_assert!(r.is_err() || r.is_ok_and(|v| sound(&v)));
        let r = drop::across_pole(q(a, u), q(b, u), Volts(c));
        prop_assert!(r.is_err() || r.is_ok_and(|v| sound(&v.worn)));
        let r = unbalance::of_voltages([q(a, u), q(b, u), q(c, u)]);
        prop_assert!(r.is_err() || r.is_ok_and(|v| v.unbalance.share.value.get() >= 0.0));
        let _ = (unbalance::derating(Ratio(a)), unbalance::extra_rise(Ratio(a)));
        let r = control::at_coil(q(a, u), Volts(b));
        prop_assert!(r.is_err() || r.is_ok_and(|v| sound(&v)));
        let known = Known {
            marked: Some(Farads(b)),
            tolerance: Some(Tolerance { minus: Ratio(c), plus: Ratio(y) }),
            plate: None,
        };
        for known in [known, Known { tolerance: None, ..known }, Known { marked: None, plate: Some(Farads(b)), ..known }] {
            let r = capacitor::section(q(a, u), &known);
            prop_assert!(r.is_err() || r.is_ok_and(|v| sound(&v.replace)));
        }
        let r = capacitance(q::<Amps>(a, u), q(b, u), q::<Hertz>(c, u), Feed::Mains);
        prop_assert!(r.is_err() || r.is_ok_and(|c| c.measured().is_sound()));
        let pairs = Pairs { common_start: q::<Ohms>(a, u), common_run: q(b, u), start_run: q(c, u) };
        for leads in [Leads::Unknown, Leads::Shorted(q(y, u)), Leads::FromSum(q(y, u)), Leads::Zeroed { step: Ohms(y) }] {
            let r = sum_rule(&pairs, &leads);
            prop_assert!(r.is_err() || r.is_ok_and(|v| (0.0..=1.0).contains(&v.p)));
            let r = name_terminals(q(a, u), q(b, u), q(c, u), &leads);
            prop_assert!(r.is_err() || r.is_ok_and(|n| (1.0/6.0 - 1e-9..=1.0 + 1e-9).contains(&n.p)));
            let r = leads.take_off(q(a, u));
            prop_assert!(r.is_err() || r.is_ok_and(|r| r.measured().is_sound()));
        }
        let r = estimate_from_sum(q(a, u), q(b, u), q(c, u));
        prop_assert!(r.is_err() || r.is_ok_and(|e| e.leads.measured().is_sound()));
        for metal in [Metal::Copper, Metal::Aluminium] {
            let at: Quantity<Celsius> = q(b, u);
            let r = temperature::resistance_at(q(a, u), at, Celsius(c), metal);
            prop_assert!(r.is_err() || r.is_ok_and(|r| r.measured().is_sound()));
            let r = temperature::temperature(q(a, u), q(c, u), at, metal);
            prop_assert!(r.is_err() || r.is_ok_and(|t| t.measured().is_sound()));
            let _ = temperature::rise(q(a, u), q(c, u), at, q(y, u), metal);
            let _ = temperature::share_of_reference(q(a, u), at, q(c, u), q(y, u), metal);
        }
        let _ = three_phase::spread([q(a, u), q(b, u), q(c, u)]);
        for insulation in [Insulation::Thermoplastic, Insulation::Thermosetting] {
            let r = insulation::open_motor(q(a, u), Celsius(b), Winding::Old(Volts(c)), insulation);
            prop_assert!(r.is_err() || r.is_ok_and(|v| sound(&v)));
        }
        for instrument in [Instrument::InsulationTester, Instrument::Ohmmeter] {
            let r = insulation::hermetic(q(a, u), instrument);
            prop_assert!(r.is_err() || r.is_ok_and(|v| sound(&v.ground)));
        }
        let _ = insulation::large_hermetic(q(a, u), q(b, u));
        let ratings = current::Ratings {
            rla: Some(Amps(b)),
            mcc: Some(Amps(c)),
            lra: None,
            curve: Some(current::Curve { amps: Amps(b), tolerance: Ratio(y) }),
        };
        let r = current::compressor(q(a, u), &ratings);
        prop_assert!(r.is_err() || r.is_ok_and(|v| v.mcc.as_ref().is_some_and(sound)));
        let r = discharge::left(q(a, u));
        prop_assert!(r.is_err() || r.is_ok_and(|v| sound(&v.touch)));
        let _ = discharge::seconds(Ohms(a), Farads(b), Volts(c), Volts(y));
    }
}
