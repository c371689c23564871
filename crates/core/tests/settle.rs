//! Settling: single cases, and thousands of simulated series with fixed seeds, in which the share
//! of false takes is measured and held to a bound. The kinds of trouble are those of the trade
//! (common practice, no published source); the series are invented.

use ohmtrail_core::reading::{Decimal, Flags, Function, MeterId, Reading, Shown};
use ohmtrail_core::settle::{GAP, Settler, State, Why};
use ohmtrail_core::units::Micros;

/// SplitMix64 (Steele, Lea, Flood 2014): a seed gives the same series for ever.
struct Random(u64);

impl Random {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }
    /// In 0 to 1.
    fn share(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1u64 << 53) as f64
    }
    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.share()
    }
    /// About normal, standard deviation 1 (sum of twelve, Irwin-Hall).
    fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.share()).sum::<f64>() - 6.0
    }
    fn chance(&mut self, p: f64) -> bool {
        self.share() < p
    }
}

const METER: MeterId = MeterId(1);

fn reading(function: Function, shown: Shown, seconds: f64) -> Reading {
    Reading {
        function,
        shown,
        flags: Flags::AUTO_RANGE,
        meter: METER,
        at: Micros((seconds * 1e6) as u64 + 1_000_000),
    }
}

/// A display of 4000 counts that ranges by itself: the finest range that holds the value.
fn display(value: f64, finest: i8) -> Shown {
    (finest..finest + 6)
        .find_map(|exponent| {
            let counts = (value / 10f64.powi(exponent.into())).round();
            (counts.abs() < 4000.0).then(|| Shown::Value(Decimal::new(counts as i32, exponent)))
        })
        .unwrap_or(Shown::Overload)
}

fn number(mantissa: i32, exponent: i8) -> Shown {
    Shown::Value(Decimal::new(mantissa, exponent))
}

/// Feeds a display that is the same for `seconds`, at `rate` a second; gives the last state.
fn hold(settler: &mut Settler, from: f64, seconds: f64, rate: f64, shown: Shown) -> State {
    let mut state = State::Unsettled {
        why: Why::Gathering,
    };
    let n = (seconds * rate) as usize;
    for i in 0..=n {
        state = settler.push(&reading(Function::Ohms, shown, from + i as f64 / rate));
    }
    state
}

#[test]
fn slow_and_fast_meters_settle_on_what_they_showed() {
    for rate in [2.0, 3.0, 4.0, 10.0, 40.0, 200.0] {
        let mut settler = Settler::new();
        let early = hold(&mut settler, 0.0, 0.8, rate, number(22, -1));
        assert!(early.settled().is_none(), "{rate}");
        let late = hold(&mut settler, 0.9, 2.0, rate, number(22, -1));
        let settled = late.settled().unwrap_or_else(|| panic!("{rate}: {late:?}"));
        assert_eq!(settled.shown, number(22, -1));
        assert_eq!(settled.spread, 0);
        assert!(settled.at.since(settled.since) >= 1_000_000);
        assert!(settled.count >= 6);
    }
}

#[test]
fn the_median_is_a_value_that_was_shown_and_an_outlier_breaks() {
    let mut settler = Settler::new();
    let shown = [7, 8, 7, 9, 7, 8, 7, 8, 8, 7, 8, 7];
    let mut state = None;
    for (i, m) in shown.into_iter().enumerate() {
        state = settler
            .push(&reading(Function::Ohms, number(m, -1), i as f64 / 10.0))
            .settled()
            .copied();
    }
    let settled = state.unwrap();
    // 7, 7, 7, 7, 7, 8, 8, 8, 8, 8, 9 are in the last second.
    assert_eq!((settled.shown, settled.spread), (number(8, -1), 2));
    assert_eq!(settled.count, 11);
    let left = settler.push(&reading(Function::Ohms, Shown::Overload, 1.3));
    assert_eq!(left, State::Broken { why: Why::Flicker });
    let next = settler.push(&reading(Function::Ohms, Shown::Overload, 1.4));
    assert!(matches!(next, State::Unsettled { .. }));
}

#[test]
fn a_steady_overload_is_a_take_and_takes_longer() {
    let mut settler = Settler::new();
    let early = hold(&mut settler, 0.0, 2.8, 10.0, Shown::Overload);
    assert!(early.settled().is_none());
    let late = hold(&mut settler, 2.9, 0.3, 10.0, Shown::Overload);
    assert_eq!(late.settled().unwrap().shown, Shown::Overload);
}

#[test]
fn a_new_setting_or_a_gap_begins_anew() {
    let settled = || {
        let mut settler = Settler::new();
        let state = hold(&mut settler, 0.0, 1.5, 10.0, number(100, -1));
        assert!(state.settled().is_some());
        settler
    };
    let base = reading(Function::Ohms, number(100, -1), 1.6);
    let gap = Micros(base.at.0 + GAP);
    let cases = [
        (
            Reading {
                function: Function::Continuity,
                ..base
            },
            Why::Changed,
        ),
        (
            Reading {
                meter: MeterId(2),
                ..base
            },
            Why::Changed,
        ),
        (
            Reading {
                flags: Flags::RELATIVE,
                ..base
            },
            Why::Changed,
        ),
        (
            Reading {
                flags: Flags::HOLD,
                ..base
            },
            Why::NotLive,
        ),
        (
            Reading {
                flags: Flags::MAXIMUM,
                ..base
            },
            Why::NotLive,
        ),
        (
            Reading {
                shown: Shown::Blank,
                ..base
            },
            Why::Blank,
        ),
        (
            Reading {
                shown: number(1000, -2),
                ..base
            },
            Why::Range,
        ),
        (Reading { at: gap, ..base }, Why::Gap),
        (
            Reading {
                at: Micros(5),
                ..base
            },
            Why::Gap,
        ),
    ];
    for (odd, why) in cases {
        let mut settler = settled();
        assert_eq!(settler.push(&odd), State::Broken { why });
        let again = settler.push(&Reading {
            at: Micros(odd.at.0 + 100_000),
            ..odd
        });
        assert!(again.settled().is_none(), "{why:?}");
    }
    // A held display never settles, however still it stands.
    let mut settler = Settler::new();
    for i in 0..100 {
        let held = Reading {
            flags: Flags::HOLD,
            ..reading(Function::VoltsAc, number(0, -1), f64::from(i) / 10.0)
        };
        assert_eq!(settler.push(&held), State::Unsettled { why: Why::NotLive });
    }
    // A low battery that comes on changes the value's worth, not the series.
    let mut settler = settled();
    let low = Reading {
        flags: Flags::LOW_BATTERY,
        ..base
    };
    assert!(
        settler
            .push(&low)
            .settled()
            .unwrap()
            .flags
            .has(Flags::LOW_BATTERY)
    );
    let mut settler = settled();
    settler.reset();
    assert!(settler.push(&base).settled().is_none());
}

#[test]
fn extreme_digits_do_no_harm() {
    let mut settler = Settler::new();
    for i in 0..200 {
        let m = if i % 2 == 0 { i32::MIN } else { i32::MAX };
        let state = settler.push(&reading(
            Function::Ohms,
            number(m, i8::MAX),
            f64::from(i) / 20.0,
        ));
        assert!(state.settled().is_none());
    }
    let last = Reading {
        at: Micros(u64::MAX),
        ..reading(Function::Ohms, Shown::Overload, 0.0)
    };
    assert!(settler.push(&last).settled().is_none());
}

/// A leaky capacitor late in its charge, or a winding that cools: 0.3 % a second lies within the
/// spread of one second and goes one way.
#[test]
fn a_slow_ramp_drifts_and_the_same_noise_without_it_settles() {
    for (per_second, settles) in [(9.0, false), (-9.0, false), (0.0, true)] {
        for rate in [2.0, 4.0, 10.0, 40.0] {
            let random = &mut Random(11);
            let mut settler = Settler::new();
            let (mut taken, mut drifting) = (false, false);
            for i in 0..(20.0 * rate) as u32 {
                let t = f64::from(i) / rate;
                let counts = 3000.0 + per_second * t + 0.5 * random.normal();
                let shown = number(counts.round() as i32, 0);
                let state = settler.push(&reading(Function::Ohms, shown, t));
                taken |= state.settled().is_some();
                drifting |= state == State::Unsettled { why: Why::Drifting };
            }
            assert_eq!(taken, settles, "{per_second} counts/s at {rate}/s");
            // A slow meter's window is so long that the spread tells first.
            assert_eq!(drifting, !settles && rate > 3.0, "{per_second} at {rate}/s");
        }
    }
}

const RATES: [f64; 5] = [2.0, 3.0, 4.0, 10.0, 40.0];
const SERIES: u64 = 4000;

/// Runs `SERIES` series; gives the share of them in which `one` finds a false take.
fn false_takes(name: &str, one: impl Fn(&mut Random, f64) -> bool) -> f64 {
    let mut wrong = [0u32; RATES.len()];
    for seed in 0..SERIES {
        let which = (seed % RATES.len() as u64) as usize;
        wrong[which] += u32::from(one(&mut Random(seed), RATES[which]));
    }
    let all: u32 = wrong.iter().sum();
    println!("{name}: {all} of {SERIES}; at {RATES:?} readings a second {wrong:?}");
    f64::from(all) / SERIES as f64
}

/// Whether a value lies where the true one may be shown.
fn is_off(shown: Shown, truth: f64) -> bool {
    shown
        .decimal()
        .is_none_or(|d| (d.value() - truth).abs() > 0.01 * truth + 3.0 * d.resolution())
}

#[test]
fn bouncing_probes_give_the_true_value_in_time() {
    let missed = std::cell::Cell::new(0u32);
    let share = false_takes("bounce", |random, rate| {
        let truth = random.between(0.5, 3000.0);
        let touch = random.between(0.0, 1.5);
        let steady = touch + random.between(0.2, 2.0);
        let mut settler = Settler::new();
        let (mut wrong, mut taken) = (false, false);
        for i in 0..(14.0 * rate) as u32 {
            let t = f64::from(i) / rate;
            let shown = if t < touch || (t < steady && random.chance(0.4)) {
                Shown::Overload
            } else if t < steady {
                display(truth * random.between(1.0, 30.0), -1)
            } else {
                display(truth + 0.05 * random.normal(), -1)
            };
            if let Some(take) = settler.push(&reading(Function::Ohms, shown, t)).settled() {
                wrong |= is_off(take.shown, truth);
                // What the slowest window and the longest wait add up to.
                taken |= t <= steady + 8.0;
            }
        }
        missed.set(missed.get() + u32::from(!taken));
        wrong
    });
    assert!(share <= 0.001, "{share}");
    assert_eq!(missed.get(), 0);
}

#[test]
fn a_capacitor_that_charges_on_ohms_is_no_resistance() {
    let share = false_takes("charging ramp", |random, rate| {
        // Constant current into C: the display climbs as t / C, past every range.
        let farads = random.between(3e-6, 80e-6);
        let leak = random.between(20e6, 1e9);
        let mut settler = Settler::new();
        (1..(60.0 * rate) as u32).any(|i| {
            let t = f64::from(i) / rate;
            let ohms = leak * (1.0 - (-t / (leak * farads)).exp());
            let shown = display(ohms * (1.0 + 0.0005 * random.normal()), -1);
            let state = settler.push(&reading(Function::Ohms, shown, t));
            state.settled().is_some_and(|s| s.shown != Shown::Overload)
        })
    });
    assert!(share <= 0.001, "{share}");
}

#[test]
fn overload_flicker_is_no_take() {
    let share = false_takes("overload flicker", |random, rate| {
        let overloads = random.between(0.3, 0.7);
        let truth = random.between(38.0e6, 39.9e6);
        let mut settler = Settler::new();
        (0..(20.0 * rate) as u32).any(|i| {
            let shown = if random.chance(overloads) {
                Shown::Overload
            } else {
                display(truth * (1.0 + 0.001 * random.normal()), 1)
            };
            let t = f64::from(i) / rate;
            settler
                .push(&reading(Function::Ohms, shown, t))
                .settled()
                .is_some()
        })
    });
    // Measured: 4.7 %, nearly all at 2 to 4 readings a second, where six numbers in a row come by
    // chance. What is taken then is a number that did stand there for that long.
    assert!(share <= 0.06, "{share}");
}

#[test]
fn mains_pickup_on_open_leads_is_no_resistance() {
    let share = false_takes("mains pickup", |random, rate| {
        let base = random.between(1e6, 30e6);
        let depth = random.between(0.1, 0.6);
        let beat = random.between(0.1, 3.0);
        let phase = random.between(0.0, 6.3);
        let mut settler = Settler::new();
        (0..(20.0 * rate) as u32).any(|i| {
            let t = f64::from(i) / rate;
            let wave = (core::f64::consts::TAU * beat * t + phase).sin();
            let ohms = base * (1.0 + depth * wave + 0.02 * random.normal());
            let state = settler.push(&reading(Function::Ohms, display(ohms, -1), t));
            state.settled().is_some_and(|s| s.shown != Shown::Overload)
        })
    });
    assert!(share <= 0.002, "{share}");
}

#[test]
fn ghost_volts_that_wander_are_no_voltage() {
    let share = false_takes("ghost volts", |random, rate| {
        let mut volts = random.between(15.0, 70.0);
        let wander = random.between(0.03, 0.1);
        let mut settler = Settler::new();
        (0..(20.0 * rate) as u32).any(|i| {
            // A random walk: so many per cent in a second, whatever the rate.
            volts *= 1.0 + wander * random.normal() / rate.sqrt();
            let t = f64::from(i) / rate;
            let state = settler.push(&reading(Function::VoltsAc, display(volts, -2), t));
            state.settled().is_some()
        })
    });
    // Measured: 0.4 %.
    assert!(share <= 0.01, "{share}");
}

#[test]
fn a_sound_series_is_always_taken() {
    for function in [
        Function::VoltsAc,
        Function::Ohms,
        Function::AmpsAc,
        Function::Farads,
    ] {
        let missed = false_takes(function.name(), |random, rate| {
            let truth = random.between(100.0, 3000.0);
            let noise = truth * ohmtrail_core::settle::spread(function) / 12.0;
            let mut settler = Settler::new();
            !(0..(6.0 * rate) as u32).any(|i| {
                let t = f64::from(i) / rate;
                let shown = display(truth + noise * random.normal(), 0);
                let state = settler.push(&reading(function, shown, t));
                state.settled().is_some_and(|s| !is_off(s.shown, truth))
            })
        });
        assert!(missed <= 0.001, "{} {missed}", function.name());
    }
}
