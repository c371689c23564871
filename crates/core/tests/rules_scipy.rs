//! The core's numbers against scipy, over grids and pseudo-random draws.
//!
//! `tests/reference/make.py` computes the same quantities by other means (logarithms of the
//! distribution function, root finding, numeric integration). `cargo xtask test` makes the Python
//! environment and names it in `OHMTRAIL_PYTHON`; with `OHMTRAIL_WITHOUT_PYTHON=1` this is left
//! out, and says so.

use std::io::Write;
use std::process::{Command, Stdio};

use ohmtrail_core::accuracy::{Accuracy, Measured, Quantity, standard_uncertainty};
use ohmtrail_core::class::Class;
use ohmtrail_core::cooldown::{Given, Reference, Sample, outlook};
use ohmtrail_core::leads::Leads;
use ohmtrail_core::math::phi_between;
use ohmtrail_core::reading::Decimal;
use ohmtrail_core::rules::insulation::{Insulation, to_40};
use ohmtrail_core::rules::temperature::{Metal, resistance_at, temperature};
use ohmtrail_core::rules::under_load::{Feed, capacitance};
use ohmtrail_core::rules::winding::name_terminals;
use ohmtrail_core::rules::{discharge, unbalance};
use ohmtrail_core::source::{Source, Status};
use ohmtrail_core::units::{Amps, Celsius, Farads, Hertz, Micros, Ohms, Ratio, Volts};
use ohmtrail_core::verdict::{Bands, Limit};
use serde_json::{Value, json};

/// How far the core may be from the reference: relative, and absolute where that is larger.
const BUDGET: &[(&str, f64, f64)] = &[
    // Both sides lose z^2 * 1e-16 in the tails, z up to 37.
    ("between", 2e-12, 1e-300),
    // Kept as binary32, whose least normal number is 1.2e-38.
    ("bands", 2e-7, 2e-38),
    // The reference subtracts distribution functions near one.
    ("within", 1e-11, 1e-14),
    ("uncertainty", 1e-13, 0.0),
    ("resistance", 1e-13, 0.0),
    // Root finding to 1e-10 K.
    ("temperature", 0.0, 2e-9),
    ("insulation", 1e-12, 0.0),
    ("capacitance", 1e-12, 0.0),
    ("discharge", 1e-11, 1e-15),
    ("derating", 1e-13, 0.0),
    // The reference's uncertainty is a numeric difference.
    ("unbalance", 1e-6, 1e-9),
    // A grid of time constants against a finer and wider one.
    ("cooldown", 3e-4, 1e-5),
    // The reference is a sum over a grid, coarse on the diagonal where start meets run.
    ("naming", 0.0, 0.01),
];

/// A small generator for repeatable draws (xorshift64*), so that the points differ from row to
/// row without a grid's regularity.
struct Draw(u64);

impl Draw {
    fn unit(&mut self) -> f64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        (self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 11) as f64 / (1u64 << 53) as f64
    }

    fn from(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }
}

/// JSON has no infinity.
fn number(x: f64) -> Value {
    if x == f64::INFINITY {
        json!("inf")
    } else if x == f64::NEG_INFINITY {
        json!("-inf")
    } else {
        json!(x)
    }
}

/// One kind of comparison: the questions, and the core's answers.
#[derive(Default)]
struct Kind {
    cases: Vec<Value>,
    answers: Vec<Vec<f64>>,
}

impl Kind {
    fn add(&mut self, case: Value, answer: impl Into<Vec<f64>>) {
        self.cases.push(case);
        self.answers.push(answer.into());
    }
}

fn of_between(draw: &mut Draw) -> Kind {
    let mut kind = Kind::default();
    let mut add = |a: f64, b: f64| {
        kind.add(json!({"a": number(a), "b": number(b)}), [phi_between(a, b)]);
    };
    for _ in 0..2000 {
        let a = draw.from(-37.0, 37.0);
        add(a, a + draw.from(1e-3, 10.0));
    }
    for i in -36..=36 {
        add(f64::NEG_INFINITY, f64::from(i));
        add(f64::from(i), f64::INFINITY);
    }
    kind
}

fn of_bands(draw: &mut Draw) -> Kind {
    let mut kind = Kind::default();
    for i in 0..1500 {
        let mut edges = [(); 4].map(|()| draw.from(0.0, 100.0) as f32);
        edges.sort_by(f32::total_cmp);
        match i % 4 {
            1 => edges[3] = f32::INFINITY,
            2 => edges[0] = f32::NEG_INFINITY,
            3 => edges[1] = edges[0],
            _ => {}
        }
        let (value, u) = (draw.from(-10.0, 110.0), draw.from(0.05, 20.0));
        let bands = Bands {
            bottom: Class::Short,
            top: Class::Open,
            edges,
        };
        let likely = bands.judge(value, u);
        let order = [
            Class::Short,
            Class::Low,
            Class::Within,
            Class::High,
            Class::Open,
        ];
        let shown = edges.map(|e| number(f64::from(e)));
        kind.add(
            json!({"edges": shown, "value": value, "u": u}),
            order.map(|class| f64::from(likely.of(class))),
        );
    }
    kind
}

fn of_within(draw: &mut Draw) -> Kind {
    let mut kind = Kind::default();
    let source = Source::new("a drawn limit", Status::Computed);
    for i in 0..1000 {
        let low = draw.from(0.0, 50.0);
        let high = low + draw.from(0.1, 50.0);
        let m = Measured::new(draw.from(-5.0, 105.0), draw.from(0.5, 10.0));
        let (lower, upper) = match i % 3 {
            0 => (Some(low), Some(high)),
            1 => (None, Some(high)),
            _ => (Some(low), None),
        };
        let limit = Limit::new(lower, upper, source);
        kind.add(
            json!({"value": m.value, "u": m.u, "lower": number(limit.low()), "upper": number(limit.high())}),
            [limit.p_within(m).expect("a sound limit")],
        );
    }
    kind
}

fn of_uncertainty(draw: &mut Draw) -> Kind {
    let mut kind = Kind::default();
    for _ in 0..500 {
        let mantissa = draw.from(-6000.0, 6000.0) as i32;
        let exponent = draw.from(-13.0, 7.0) as i8;
        let accuracy = Accuracy::new(draw.from(0.0, 5.0), draw.from(0.0, 10.0));
        kind.add(
            json!({"mantissa": mantissa, "exponent": exponent, "percent": accuracy.percent, "counts": accuracy.counts}),
            [standard_uncertainty(
                Decimal::new(mantissa, exponent),
                &accuracy,
            )],
        );
    }
    kind
}

fn of_temperatures(draw: &mut Draw) -> (Kind, Kind) {
    let (mut there, mut back) = (Kind::default(), Kind::default());
    for metal in [Metal::Copper, Metal::Aluminium] {
        for _ in 0..200 {
            let r = draw.from(0.1, 200.0);
            let (from, to) = (draw.from(-30.0, 150.0), draw.from(-30.0, 150.0));
            let at = Quantity::new(Celsius(from), 0.5);
            let moved = resistance_at(Quantity::new(Ohms(r), 0.01), at, Celsius(to), metal)
                .expect("a resistance");
            there.add(
                json!({"r": r, "from": from, "to": to, "k": metal.k()}),
                [moved.value.get()],
            );
            let r2 = r * draw.from(0.7, 1.6);
            let now = Quantity::new(Ohms(r2), 0.01);
            let t = temperature(now, Quantity::new(Ohms(r), 0.01), at, metal).expect("a rise");
            back.add(
                json!({"r1": r, "t1": from, "r2": r2, "k": metal.k()}),
                [t.value.get()],
            );
        }
    }
    (there, back)
}

fn of_insulation() -> Kind {
    let mut kind = Kind::default();
    for tenths in (100..=850).step_by(5) {
        let t = f64::from(tenths) / 10.0;
        for insulation in [Insulation::Thermoplastic, Insulation::Thermosetting] {
            let thermoplastic = insulation == Insulation::Thermoplastic;
            let factor = to_40(Celsius(t), insulation).expect("in the stated range");
            kind.add(
                json!({"t": t, "thermoplastic": thermoplastic}),
                [factor.get()],
            );
        }
    }
    kind
}

fn of_capacitance(draw: &mut Draw) -> Kind {
    let mut kind = Kind::default();
    for _ in 0..300 {
        let (i, v) = (draw.from(0.1, 30.0), draw.from(100.0, 480.0));
        let f = draw.from(45.0, 65.0);
        let c = capacitance(
            Quantity::new(Amps(i), 0.0),
            Quantity::new(Volts(v), 0.0),
            Quantity::new(Hertz(f), 0.0),
            Feed::Mains,
        )
        .expect("positive quantities");
        kind.add(json!({"i": i, "v": v, "f": f}), [c.value.get()]);
    }
    kind
}

fn of_discharge(draw: &mut Draw) -> Kind {
    let mut kind = Kind::default();
    for _ in 0..200 {
        let (r, c) = (draw.from(5e3, 5e4), draw.from(1e-6, 1e-4));
        let (from, to) = (draw.from(100.0, 700.0), draw.from(0.5, 90.0));
        let t = discharge::seconds(Ohms(r), Farads(c), Volts(from), Volts(to))
            .expect("positive quantities");
        kind.add(json!({"r": r, "c": c, "from": from, "to": to}), [t]);
    }
    kind
}

fn of_derating() -> Kind {
    let mut kind = Kind::default();
    for i in 0..=500 {
        let share = f64::from(i) / 10_000.0;
        let factor = unbalance::derating(Ratio(share)).expect("up to 5 %");
        kind.add(json!({"share": share}), [factor.get()]);
    }
    kind
}

fn of_unbalance(draw: &mut Draw) -> Kind {
    let mut kind = Kind::default();
    while kind.cases.len() < 300 {
        let v = [(); 3].map(|()| draw.from(180.0, 500.0));
        let u = [(); 3].map(|()| draw.from(0.05, 3.0));
        // A numeric difference has no meaning where two deviations are equally large.
        let mean = v.iter().sum::<f64>() / 3.0;
        let mut off = v.map(|x| (x - mean).abs());
        off.sort_by(f64::total_cmp);
        if off[2] - off[1] < 0.01 {
            continue;
        }
        let quantity = |i: usize| Quantity::new(Volts(v[i]), u[i]);
        let got = unbalance::of_three([0, 1, 2].map(quantity)).expect("three voltages");
        kind.add(
            json!({"v": v, "u": u}),
            [got.share.value.get(), got.share.u],
        );
    }
    kind
}

fn of_naming(draw: &mut Draw) -> Kind {
    let mut kind = Kind::default();
    for i in 0..30 {
        // Far enough from zero that "both at least nothing" cuts nothing off.
        let (run, start) = (draw.from(3.0, 5.0), draw.from(4.0, 8.0));
        let mut read = |r: f64| (r + draw.from(-0.3, 0.3), draw.from(0.1, 0.6));
        let (cs, cr, sr) = (read(start), read(run), read(run + start));
        let [ab, bc, ac] = [[cs, sr, cr], [cr, cs, sr], [sr, cr, cs]][i % 3];
        let leads = Quantity::new(Ohms(0.2), 0.05);
        let ohms = |(value, u): (f64, f64)| Quantity::new(Ohms(value), u);
        let naming = name_terminals(ohms(ab), ohms(bc), ohms(ac), &Leads::Shorted(leads))
            .expect("three readings");
        kind.add(
            json!({"ab": ab, "bc": bc, "ac": ac, "leads": [0.2, 0.05]}),
            naming.ways.map(|(_, p)| p),
        );
    }
    kind
}

/// S-R readings of a compressor that cools from 85 to 125 °C, and what is told of it.
fn of_cooldown(draw: &mut Draw) -> Kind {
    let mut kind = Kind::default();
    while kind.cases.len() < 40 {
        let metal = if kind.cases.len() % 5 == 0 {
            Metal::Aluminium
        } else {
            Metal::Copper
        };
        let (ambient, u_a) = (draw.from(15.0, 42.0), draw.from(0.1, 2.0));
        let (cold, u_cold) = (draw.from(0.8, 6.0), draw.from(0.001, 0.05));
        let (cold_at, u_at) = (draw.from(0.0, 40.0), draw.from(0.1, 2.0));
        let (hot, tau) = (draw.from(85.0, 125.0), draw.from(1800.0, 5400.0));
        let step = if draw.unit() < 0.5 { 0.01 } else { 0.001 };
        let count = 2 + (draw.unit() * 6.0) as usize;
        let mut at = draw.from(0.0, 600.0);
        let mut samples = Vec::new();
        for _ in 0..count {
            let winding = ambient + (hot - ambient) * (-at / tau).exp();
            let ohms = cold * (metal.k() + winding) / (metal.k() + cold_at);
            let ohms = ohms + draw.from(-1.0, 1.0) * step;
            let u = draw.from(1.0, 8.0) * step;
            samples.push(Sample {
                at: Micros((at * 1e6) as u64),
                ohms: Quantity::new(Ohms(ohms), u),
                step: Ohms(step),
            });
            at += draw.from(60.0, 900.0);
        }
        let last = samples.last().map_or(0, |s| s.at.0);
        let (open, now) = (Micros(last), Micros(last + 300_000_000));
        let given = Given {
            reference: Some(Reference {
                ohms: Quantity::new(Ohms(cold), u_cold),
                at: Quantity::new(Celsius(cold_at), u_at),
                metal,
            }),
            ambient: Some(Quantity::new(Celsius(ambient), u_a)),
            samples: &samples,
            ..Given::new(Micros(0), open)
        };
        let out = outlook(&given, now).expect("sound numbers");
        let (Some(window), Some(winding), Some(still_open), Some(tau)) =
            (out.window, out.winding, out.still_open, out.tau)
        else {
            continue;
        };
        let edges = [window.early, window.middle, window.late];
        let [Some(early), Some(middle), Some(late)] = edges else {
            continue;
        };
        let after = |at: Micros| at.since(open) as f64 / 1e6;
        let column = |of: fn(&Sample) -> f64| samples.iter().map(of).collect::<Vec<_>>();
        kind.add(
            json!({
                "ambient": [ambient, u_a], "cold": [cold, u_cold], "cold_at": [cold_at, u_at],
                "k": metal.k(), "open": open.0 as f64 / 1e6, "now": now.0 as f64 / 1e6,
                "samples": [
                    column(|s| s.at.0 as f64 / 1e6), column(|s| s.ohms.value.get()),
                    column(|s| s.ohms.u), column(|s| s.step.get()),
                ],
            }),
            [
                winding.value.get(),
                winding.u,
                after(early),
                after(middle),
                after(late),
                still_open,
                tau.mean,
            ],
        );
    }
    kind
}

/// Asks the reference for all kinds at once.
fn ask(python: &std::ffi::OsStr, questions: &Value) -> Value {
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/reference/make.py");
    let mut child = Command::new(python)
        .arg(script)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("the Python that OHMTRAIL_PYTHON names starts");
    let mut stdin = child.stdin.take().expect("a piped standard input");
    let text = questions.to_string();
    let writer = std::thread::spawn(move || stdin.write_all(text.as_bytes()));
    let output = child.wait_with_output().expect("the reference ends");
    writer
        .join()
        .expect("the writer ends")
        .expect("the reference reads everything");
    assert!(output.status.success(), "the reference failed");
    serde_json::from_slice(&output.stdout).expect("the reference writes JSON")
}

#[test]
fn the_core_agrees_with_scipy() {
    let Some(python) = std::env::var_os("OHMTRAIL_PYTHON") else {
        assert!(
            std::env::var_os("OHMTRAIL_WITHOUT_PYTHON").is_some_and(|v| v == "1"),
            "no Python with scipy: run `cargo xtask test`, which makes one, or set \
             OHMTRAIL_WITHOUT_PYTHON=1 to leave this comparison out"
        );
        println!("left out: the comparison with scipy (OHMTRAIL_WITHOUT_PYTHON=1)");
        return;
    };
    let draw = &mut Draw(0x9E37_79B9_7F4A_7C15);
    let (resistance, temperature) = of_temperatures(draw);
    let kinds = [
        ("between", of_between(draw)),
        ("bands", of_bands(draw)),
        ("within", of_within(draw)),
        ("uncertainty", of_uncertainty(draw)),
        ("resistance", resistance),
        ("temperature", temperature),
        ("insulation", of_insulation()),
        ("capacitance", of_capacitance(draw)),
        ("discharge", of_discharge(draw)),
        ("derating", of_derating()),
        ("unbalance", of_unbalance(draw)),
        ("naming", of_naming(draw)),
        ("cooldown", of_cooldown(draw)),
    ];
    let questions: serde_json::Map<String, Value> = kinds
        .iter()
        .map(|(name, kind)| ((*name).to_owned(), json!(kind.cases)))
        .collect();
    let reference = ask(&python, &Value::Object(questions));
    let mut failures = Vec::new();
    for (name, kind) in &kinds {
        let (_, relative, absolute) = BUDGET
            .iter()
            .find(|(n, ..)| n == name)
            .expect("a budget for every kind");
        let wanted = reference[name].as_array().expect("a list of results");
        assert_eq!(wanted.len(), kind.cases.len(), "{name}");
        let mut worst = (0.0, 0.0);
        for ((case, got), want) in kind.cases.iter().zip(&kind.answers).zip(wanted) {
            let want = match want {
                Value::Array(many) => many.iter().filter_map(Value::as_f64).collect(),
                one => vec![one.as_f64().expect("a number")],
            };
            assert_eq!(want.len(), got.len(), "{name}: {case}");
            for (got, want) in got.iter().zip(&want) {
                let off = (got - want).abs();
                worst.0 = f64::max(worst.0, off);
                worst.1 = f64::max(worst.1, if *want == 0.0 { 0.0 } else { off / want.abs() });
                // A NaN is within no budget.
                if off.is_nan() || off > f64::max(relative * want.abs(), *absolute) {
                    failures.push(format!("{name} {case}: {got:e}, scipy {want:e}"));
                }
            }
        }
        println!(
            "{name:12} {:5} points, worst {:.1e} absolute, {:.1e} relative",
            kind.cases.len(),
            worst.0,
            worst.1
        );
    }
    failures.truncate(20);
    assert!(failures.is_empty(), "{}", failures.join("\n"));
}
