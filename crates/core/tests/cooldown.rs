//! Cooling behind an open protector: worked values, what is said with less, and a simulation in
//! which the stated intervals must hold as often as they say.

use ohmtrail_core::accuracy::{Accuracy, Quantity, standard_uncertainty};
use ohmtrail_core::cooldown::{
    Advice, COVERAGE, Given, NEWTON, Normal, Outlook, RESET, RULES, Reference, START, STILL_OPEN,
    Sample, TAU, outlook,
};
use ohmtrail_core::math::root_sum_square;
use ohmtrail_core::reading::Decimal;
use ohmtrail_core::rules::temperature::Metal;
use ohmtrail_core::rules::{RuleError, all};
use ohmtrail_core::source::Status;
use ohmtrail_core::units::{Celsius, Micros, Ohms};
use proptest::prelude::*;

fn minutes(m: f64) -> Micros {
    Micros((m * 60e6) as u64)
}

fn in_minutes(at: Micros) -> f64 {
    at.0 as f64 / 60e6
}

fn reference(ohms: f64, u: f64, at: f64, u_at: f64) -> Reference {
    Reference {
        ohms: Quantity::new(Ohms(ohms), u),
        at: Quantity::new(Celsius(at), u_at),
        metal: Metal::Copper,
    }
}

/// A display of this many decimals, ±(percent + counts), leads zeroed at that step.
fn sample(at: f64, ohms: f64, decimals: i8, accuracy: &Accuracy) -> Sample {
    let step = 10f64.powi(-i32::from(decimals));
    let shown = Decimal::new((ohms / step).round() as i32, -decimals);
    let u = standard_uncertainty(shown, accuracy);
    Sample {
        at: minutes(at),
        ohms: Quantity::new(
            Ohms(shown.value()),
            root_sum_square([u, step / 12f64.sqrt()]),
        ),
        step: Ohms(step),
    }
}

fn air(at: f64) -> Option<Quantity<Celsius>> {
    Some(Quantity::new(Celsius(at), 0.7))
}

const METER: Accuracy = Accuracy::new(0.5, 3.0);

/// Hand arithmetic with the law's 234.5 (second hand, a heating-test clause of the UL type): a
/// tenth of an ohm on 2.9 is 8.9 K in a winding that has them at 25 °C, and 11.9 K in one that has
/// them at 110 °C. Aluminium at 25 °C: 8.6 K.
#[test]
fn a_tenth_of_an_ohm_on_2_9_is_9_to_12_kelvins() {
    let cold = reference(2.9, 0.0, 25.0, 0.0).kelvins_per_ohm();
    assert!(cold.is_ok_and(|k| (0.1 * k - 259.5 / 29.0).abs() < 1e-12));
    // 2.9 ohm at 110 °C was 2.9 * 259.5 / 344.5 at 25 °C.
    let hot = reference(2.9 * 259.5 / 344.5, 0.0, 25.0, 0.0);
    let worth = hot.kelvins_per_ohm().map(|k| 0.1 * k);
    assert!(worth.is_ok_and(|k| (k - 344.5 / 29.0).abs() < 1e-12 && k > 11.0 && k < 12.0));
    let aluminium = Reference {
        metal: Metal::Aluminium,
        ..reference(2.9, 0.0, 25.0, 0.0)
    };
    assert!(
        aluminium
            .kelvins_per_ohm()
            .is_ok_and(|k| (0.1 * k - 250.0 / 29.0).abs() < 1e-12)
    );
}

/// The uncertainty of one reading by hand: 3.60 ohm of a meter of ±(0.5 % + 3) with steps of
/// 0.01 and zeroed leads against 2.90 ohm ± 0.02 (u) at 25 °C ± 1 K (u), copper.
/// a = 0.048, u = hypot(0.048/sqrt 3, 0.01/sqrt 12), with the zero's own step 0.02815; in kelvins
/// 259.5/2.9 * 0.02815 = 2.519; the reference 322.14*0.02/2.9 = 2.222 and 3.6/2.9 * 1 = 1.241.
#[test]
fn one_reading_has_its_uncertainty_by_hand() {
    let given = Given {
        reference: Some(reference(2.9, 0.02, 25.0, 1.0)),
        samples: &[sample(0.0, 3.6, 2, &METER)],
        ..Given::new(Micros(0), Micros(0))
    };
    let out = outlook(&given, Micros(0)).expect("sound numbers");
    let winding = out.winding.expect("a reference and a reading");
    let mean = 3.6 / 2.9 * 259.5 - 234.5;
    assert!((winding.value.get() - mean).abs() < 1e-9);
    let u_ohms = root_sum_square([
        0.048 / 3f64.sqrt(),
        0.01 / 12f64.sqrt(),
        0.01 / 12f64.sqrt(),
    ]);
    let by_hand = root_sum_square([
        259.5 / 2.9 * u_ohms,
        3.6 / 2.9 * 259.5 * 0.02 / 2.9,
        3.6 / 2.9,
    ]);
    assert!(
        (winding.u - by_hand).abs() < 1e-9,
        "{} {by_hand}",
        winding.u
    );
    assert!((winding.u - 3.58).abs() < 0.02, "{}", winding.u);
    // Leads that nobody measured are worth more than all of it: 0.144 ohm (0 to 0.5, rectangular).
    let coarse = 259.5 / 2.9 * 0.5 / 12f64.sqrt();
    assert!(coarse > 12.0 && coarse < 13.0);
    assert_eq!((out.advice, out.window), (Advice::Wait, None));
}

/// A whole set of givens that cools from 112 °C with 50 minutes in air of 33 °C.
fn cooling(times: &[f64]) -> Vec<Sample> {
    let cold = 2.9;
    times
        .iter()
        .map(|t| {
            let winding = 33.0 + 79.0 * (-t / 50.0_f64).exp();
            sample(
                *t,
                cold * (234.5 + winding) / 259.5,
                3,
                &Accuracy::new(0.1, 3.0),
            )
        })
        .collect()
}

fn known(samples: &[Sample]) -> Given<'_> {
    Given {
        reference: Some(reference(2.9, 0.005, 25.0, 0.5)),
        ambient: air(33.0),
        samples,
        ..Given::new(Micros(0), Micros(0))
    }
}

fn at(given: &Given<'_>, m: f64) -> Outlook {
    outlook(given, minutes(m)).expect("sound numbers")
}

/// With less than all three, no time, whatever else there is; and it says what is missing.
#[test]
fn with_less_it_says_wait_and_no_time() {
    let two = cooling(&[0.0, 15.0]);
    let all = known(&two);
    let one = cooling(&[0.0]);
    for (given, missing) in [
        (
            Given {
                reference: None,
                ..all
            },
            "cold reference",
        ),
        (
            Given {
                ambient: None,
                ..all
            },
            "ambient",
        ),
        (
            Given {
                samples: &one,
                ..all
            },
            "second reading",
        ),
        (
            Given {
                samples: &[],
                ..all
            },
            "two readings",
        ),
    ] {
        let out = at(&given, 20.0);
        assert_eq!(out.advice, Advice::Wait, "{missing}");
        assert_eq!((out.window, out.closed), (None, None), "{missing}");
        let words: Vec<&str> = out.missing.words().collect();
        assert!(words.len() == 1 && words[0].contains(missing), "{words:?}");
    }
    let out = at(&all, 20.0);
    assert_eq!(out.advice, Advice::WaitUntil);
    assert!(out.missing.nothing() && out.window.is_some());
}

/// Newton's law by hand: from 112 °C with 50 minutes in 33 °C, 75 °C is reached after
/// 50 ln(79/42) = 31.6 minutes. With good readings the middle of the window is there, a little
/// later for what is known besides: it was open at the start, so the lowest resets are likelier.
#[test]
fn the_window_is_where_newton_has_it() {
    let samples = cooling(&[0.0, 5.0, 10.0, 15.0, 20.0]);
    let given = known(&samples);
    let out = at(&given, 20.0);
    let window = out.window.expect("a window");
    let [early, middle, late] =
        [window.early, window.middle, window.late].map(|t| in_minutes(t.expect("within a day")));
    let newton = 50.0 * (79.0_f64 / 42.0).ln();
    assert!((middle - newton).abs() < 2.0, "{middle} {newton}");
    // The tenths of the reset temperature: 75 ± 1.2816 * 9.12.
    let tenth = 1.281_55 * Normal::of(&RESET).sd;
    let edge = |reset: f64| 50.0 * (79.0 / (reset - 33.0)).ln();
    assert!((early - edge(75.0 + tenth)).abs() < 2.5, "{early}");
    assert!((late - edge(75.0 - tenth)).abs() < 4.0, "{late}");
    let tau = out.tau.expect("a time constant");
    assert!(
        (tau.mean / 60.0 - 50.0).abs() < 2.0 * tau.sd / 60.0,
        "{tau:?}"
    );
    // Learnt: well under the prior's spread.
    assert!(tau.sd < 8.0 * 60.0, "{tau:?}");
    // Read open again later, the window moves on; closed is never said, only how probable it is.
    let later = Given {
        open: minutes(40.0),
        ..given
    };
    let moved = at(&later, 40.0)
        .window
        .and_then(|w| w.middle)
        .map(in_minutes);
    assert!(moved.is_some_and(|m| m > 40.0 && m > middle), "{moved:?}");
    assert_eq!(at(&given, late + 1.0).advice, Advice::MeasureAgain);
    assert!(
        at(&given, late + 1.0)
            .closed
            .is_some_and(|p| p > 0.89 && p < 1.0)
    );
}

/// Open when hardly any good protector still would be: evidence for a failed one, and not before.
#[test]
fn an_open_that_stays_is_told_from_one_that_waits() {
    let times: Vec<f64> = (0..8).map(|k| f64::from(k) * 45.0).collect();
    let samples = cooling(&times);
    let mut first = None;
    for (k, t) in times.iter().enumerate() {
        let given = Given {
            open: minutes(*t),
            ..known(&samples[..=k])
        };
        let out = at(&given, *t);
        let winding = 33.0 + 79.0 * (-t / 50.0_f64).exp();
        if out.advice == Advice::StaysOpen {
            first.get_or_insert(*t);
            // Never while the winding is over the lowest usual reset temperature.
            assert!(winding < 62.0, "{t} minutes, {winding} °C");
        }
    }
    assert!(first.is_some_and(|t| t < 240.0), "{first:?}");
    let cold = Given {
        open: minutes(315.0),
        ..known(&samples)
    };
    let out = at(&cold, 315.0);
    assert!(
        out.at_ambient && out.still_open.is_some_and(|p| p < 1e-4),
        "{out:?}"
    );
    // A hot one is never evidence, however often it is read.
    let hot = cooling(&[0.0, 2.0, 4.0, 6.0, 8.0]);
    let out = at(
        &Given {
            open: minutes(8.0),
            ..known(&hot)
        },
        8.0,
    );
    assert!(
        !out.at_ambient && out.still_open.is_some_and(|p| p > 0.5),
        "{out:?}"
    );
}

/// Without any reading of S-R, the priors alone: the slowest of them decides. In air of
/// 33 + 2 * 0.7 °C it is 90 ln(100.6/25.6) = 123.2 minutes.
#[test]
fn a_long_wait_is_evidence_too() {
    let waited = |m: f64| {
        let given = Given {
            ambient: air(33.0),
            ..Given::new(Micros(0), minutes(m))
        };
        at(&given, m).advice
    };
    for (m, advice) in [
        (0.0, Advice::Wait),
        (60.0, Advice::Wait),
        (120.0, Advice::Wait),
        (130.0, Advice::StaysOpen),
        (720.0, Advice::StaysOpen),
    ] {
        assert_eq!(waited(m), advice, "{m} minutes");
    }
    // Without the ambient nothing is known of that.
    let blind = Given::new(Micros(0), minutes(720.0));
    assert_eq!(at(&blind, 720.0).advice, Advice::Wait);
}

/// A unit that was powered in between, or a wrong ambient, does not cool as the law has it.
#[test]
fn readings_that_do_not_cool_are_not_fitted() {
    let mut samples = cooling(&[0.0, 10.0, 20.0]);
    samples[2] = sample(20.0, 4.2, 3, &Accuracy::new(0.1, 3.0));
    let out = at(&known(&samples), 20.0);
    assert_eq!((out.advice, out.window), (Advice::DoesNotFit, None));
    assert_eq!((out.still_open, out.tau), (None, None));
    assert!(out.winding.is_some());
}

#[test]
fn an_ambient_near_the_reset_has_no_late_edge() {
    let hot = |t: f64| {
        sample(
            t,
            2.9 * (234.5 + 66.0 + 50.0 * (-t / 50.0_f64).exp()) / 259.5,
            3,
            &METER,
        )
    };
    let samples = [hot(0.0), hot(10.0), hot(20.0)];
    let out = at(
        &Given {
            ambient: air(66.0),
            ..known(&samples)
        },
        20.0,
    );
    assert!(
        out.window
            .is_some_and(|w| w.early.is_some() && w.late.is_none()),
        "{out:?}"
    );
}

#[test]
fn numbers_that_are_none_are_refused() {
    let samples = cooling(&[0.0, 10.0]);
    let all = known(&samples);
    let wrong = |given: Given<'_>| outlook(&given, Micros(0)).map(|o| o.advice);
    assert_eq!(
        wrong(Given {
            ambient: air(f64::NAN),
            ..all
        }),
        Err(RuleError::NotFinite)
    );
    let none = Some(reference(0.0, 0.01, 25.0, 1.0));
    assert_eq!(
        wrong(Given {
            reference: none,
            ..all
        }),
        Err(RuleError::NotPositive)
    );
    let frozen = Some(reference(2.9, 0.01, -234.5, 1.0));
    assert_eq!(
        wrong(Given {
            reference: frozen,
            ..all
        }),
        Err(RuleError::OutOfDomain)
    );
    let zero = [sample(0.0, 0.0, 2, &METER)];
    assert_eq!(
        wrong(Given {
            samples: &zero,
            ..all
        }),
        Err(RuleError::NotPositive)
    );
}

/// The priors are rows with their status; none of them can condemn.
#[test]
fn the_rows_are_listed_and_cannot_condemn() {
    for rule in RULES {
        assert!(all().any(|r| r.id == rule.id), "{}", rule.id);
        assert!(!rule.source.status.may_condemn(), "{}", rule.id);
    }
    assert_eq!(NEWTON.status, Status::Computed);
    assert_eq!((TAU.lower, TAU.upper), (Some(30.0), Some(90.0)));
}

/// A small generator for repeatable draws (xorshift64*), normal by Box and Muller.
struct Draw(u64);

impl Draw {
    fn unit(&mut self) -> f64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        ((self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 11) as f64 + 0.5) / (1u64 << 53) as f64
    }

    fn normal(&mut self) -> f64 {
        (-2.0 * self.unit().ln()).sqrt() * (std::f64::consts::TAU * self.unit()).cos()
    }

    fn within(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    fn of(&mut self, rule: &ohmtrail_core::rules::Rule) -> f64 {
        let law = Normal::of(rule);
        law.mean + law.sd * self.normal()
    }
}

/// What one drawn compressor said, and when it really closed, minutes.
struct Drawn {
    out: Outlook,
    closes: f64,
    winding: f64,
}

/// A compressor from the priors, its errors from what the instruments state, read through a
/// display; the law of cooling and the law of resistance in full, nothing linear. `share`: the
/// standard uncertainty of its cold reference. None if its protector would have closed before the
/// last reading of C.
fn drawn(draw: &mut Draw, share: f64) -> Option<Drawn> {
    let ambient = draw.within(20.0, 42.0);
    let air = ambient + 0.7 * draw.normal();
    let start = draw.of(&START);
    let reset = draw.of(&RESET);
    let spread = (3.0_f64.ln() / 2.0) / 1.644_853_6;
    let tau = (2700.0_f64.ln() / 2.0 + spread * draw.normal()).exp();
    let winding = |t: f64| ambient + (start - ambient) * (-t / tau).exp();
    let open = draw.within(0.0, 25.0);
    if winding(open) <= reset || reset <= ambient + 0.5 {
        return None;
    }
    // The winding, and what was noted of it when it was cold.
    let (cold, cold_at) = (draw.within(1.2, 6.0), draw.within(5.0, 35.0));
    let (u_cold, u_at) = (share * cold, 1.0);
    let noted = reference(
        cold + u_cold * draw.normal(),
        u_cold,
        cold_at + u_at * draw.normal(),
        u_at,
    );
    let (decimals, accuracy) = if draw.unit() < 0.5 {
        (2, Accuracy::new(0.5, 3.0))
    } else {
        (3, Accuracy::new(0.2, 10.0))
    };
    // One meter: its gain and its offset are the same in every reading.
    let (gain, offset) = (draw.within(-1.0, 1.0), draw.within(-1.0, 1.0));
    let step = 10f64.powi(-i32::from(decimals));
    let count = 2 + (draw.unit() * 5.0) as usize;
    let samples: Vec<Sample> = (0..count)
        .map(|k| {
            let t = open * k as f64 / (count - 1) as f64;
            // The law of one body is off by a kelvin at each reading.
            let mean = winding(t) + draw.normal();
            let ohms = cold * (234.5 + mean) / (234.5 + cold_at);
            let read =
                ohms * (1.0 + gain * accuracy.percent / 100.0) + offset * accuracy.counts * step;
            let shown = Decimal::new((read / step).round() as i32, -decimals);
            Sample {
                at: minutes(t),
                ohms: Quantity::new(Ohms(shown.value()), standard_uncertainty(shown, &accuracy)),
                step: Ohms(step),
            }
        })
        .collect();
    let given = Given {
        reference: Some(noted),
        ambient: Some(Quantity::new(Celsius(air), 0.7)),
        samples: &samples,
        ..Given::new(Micros(0), minutes(open))
    };
    Some(Drawn {
        out: at(&given, open),
        closes: tau * ((start - ambient) / (reset - ambient)).ln(),
        winding: winding(open),
    })
}

/// How many of `n` hold, within three and a half standard deviations of the binomial law.
fn holds(share: f64, held: usize, n: usize) -> bool {
    let expected = share * n as f64;
    let sd = (share * (1.0 - share) * n as f64).sqrt();
    (held as f64 - expected).abs() <= 3.5 * sd
}

/// Over drawn compressors, half of them with a cold reference that is known to 0.4 %, half to 4 %
/// (13 K in a hot winding, more than the reset temperature is uncertain by): the window has the
/// closing in four of five, half of them before its middle, a tenth before its early edge; the
/// winding's temperature is within two standard uncertainties in about 95 of 100; next to none
/// are called misfits.
#[test]
fn the_stated_intervals_hold_as_often_as_they_say() {
    const N: usize = 800;
    let mut draw = Draw(0x9E37_79B9_7F4A_7C15);
    for share in [0.004, 0.04] {
        let (mut n, mut misfits, mut wrong) = (0, 0, 0);
        let (mut inside, mut before, mut early, mut warm) = (0, 0, 0, 0);
        while n < N {
            let Some(Drawn {
                out,
                closes,
                winding,
            }) = drawn(&mut draw, share)
            else {
                continue;
            };
            n += 1;
            if out.advice == Advice::DoesNotFit {
                misfits += 1;
                continue;
            }
            wrong += usize::from(out.advice == Advice::StaysOpen);
            let Some(window) = out.window else {
                continue;
            };
            let passed = |edge: Option<Micros>| edge.is_some_and(|e| in_minutes(e) < closes);
            early += usize::from(!passed(window.early));
            before += usize::from(!passed(window.middle));
            inside += usize::from(passed(window.early) && !passed(window.late));
            let now = out.winding.expect("a winding's temperature");
            warm += usize::from((now.value.get() - winding).abs() <= 2.0 * now.u);
        }
        println!(
            "{share}: inside {inside}, by the middle {before}, by the early edge {early}, warm \
             {warm}, misfits {misfits}, called failed {wrong}, of {n}"
        );
        let told = n - misfits - wrong;
        assert!(holds(COVERAGE, inside, told), "{inside} of {told}");
        assert!(holds(0.5, before, told), "{before} of {told}");
        let tail = (1.0 - COVERAGE) / 2.0;
        assert!(holds(tail, early, told), "{early} of {told}");
        // Rectangular errors have a little more than 95.4 % within two standard deviations.
        assert!(warm as f64 / told as f64 > 0.93, "{warm} of {told}");
        assert!(misfits <= 6, "{misfits}");
        // None of them had failed. One whose reset is low by chance may be suspected.
        let limit = STILL_OPEN.upper.unwrap_or(0.0);
        assert!((wrong as f64) <= limit * n as f64, "{wrong}");
    }
}

proptest! {
    /// Whatever is given, probabilities are probabilities and edges are in order.
    #[test]
    fn whatever_is_given_the_answer_is_in_order(
        ohms in prop::collection::vec(0.0_f64..1e4, 0..40),
        times in prop::collection::vec(any::<u32>(), 40),
        cold in (1e-3_f64..1e4, 0.0_f64..1e3, -230.0_f64..400.0, 0.0_f64..100.0),
        air in (-60.0_f64..120.0, 0.0_f64..60.0),
        (now, open) in (any::<u64>(), any::<u32>()),
    ) {
        let samples: Vec<Sample> = ohms.iter().zip(&times).map(|(r, t)| Sample {
            at: Micros(u64::from(*t) * 1000),
            ohms: Quantity::new(Ohms(*r), r * 0.01),
            step: Ohms(0.01),
        }).collect();
        let given = Given {
            reference: Some(reference(cold.0, cold.1, cold.2, cold.3)),
            ambient: Some(Quantity::new(Celsius(air.0), air.1)),
            samples: &samples,
            ..Given::new(Micros(0), Micros(u64::from(open)))
        };
        if let Ok(out) = outlook(&given, Micros(now)) {
            for p in [out.closed, out.still_open].into_iter().flatten() {
                prop_assert!((0.0..=1.0).contains(&p), "{}", p);
            }
            if let Some(w) = out.window {
                let edges = [w.early, w.middle, w.late];
                prop_assert!(edges.is_sorted_by(|a, b| match (a, b) {
                    (Some(a), Some(b)) => a <= b,
                    (_, None) => true,
                    (None, Some(_)) => false,
                }), "{:?}", edges);
            }
            prop_assert!(out.window.is_none() || out.missing.nothing());
        }
    }
}
