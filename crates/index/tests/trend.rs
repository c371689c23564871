//! Lines, crossings and shares against scipy; and how often the interval of a crossing holds the true
//! one, by drawing.
//!
//! `cargo xtask test` makes the Python environment and names it in `OHMTRAIL_PYTHON`; with
//! `OHMTRAIL_WITHOUT_PYTHON=1` the comparison is left out, and says so.

use std::io::Write;
use std::process::{Command, Stdio};

use ohmtrail_index::{At, Line, Share};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde_json::{Value, json};

fn unit(rng: &mut ChaCha8Rng) -> f64 {
    (rng.next_u64() >> 11) as f64 / (1_u64 << 53) as f64
}

/// A draw of the standard normal distribution (Box and Muller).
fn normal(rng: &mut ChaCha8Rng) -> f64 {
    let (a, b) = (1.0 - unit(rng), unit(rng));
    (-2.0 * a.ln()).sqrt() * (std::f64::consts::TAU * b).cos()
}

/// Capacitances in microfarads over some years: from 35, losing up to 2 in a year.
fn draw(rng: &mut ChaCha8Rng) -> (Vec<At>, f64) {
    let n = 3 + (rng.next_u64() % 12) as usize;
    let slope = -2.0 * unit(rng);
    let scatter = 3.0 * unit(rng);
    let values = (0..n)
        .map(|i| {
            let t = i as f64 + 0.5 * unit(rng);
            let u = 0.05 + 0.5 * unit(rng);
            let y = 35.0 + slope * t + scatter * u * normal(rng);
            At { t, y, u }
        })
        .collect();
    (values, 32.9)
}

fn ask(question: &Value) -> Option<Value> {
    let Some(python) = std::env::var_os("OHMTRAIL_PYTHON") else {
        assert!(
            std::env::var_os("OHMTRAIL_WITHOUT_PYTHON").is_some(),
            "OHMTRAIL_PYTHON names the Python with scipy; `cargo xtask test` makes it"
        );
        eprintln!("left out: no Python");
        return None;
    };
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/reference/make.py");
    let mut child = Command::new(python)
        .arg(script)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("Python starts");
    let mut to = child.stdin.take().expect("its input");
    to.write_all(question.to_string().as_bytes())
        .expect("it is asked");
    drop(to);
    let done = child.wait_with_output().expect("it ends");
    assert!(done.status.success(), "the reference failed");
    Some(serde_json::from_slice(&done.stdout).expect("JSON"))
}

fn near(what: &str, ours: f64, theirs: &Value, relative: f64) {
    let theirs = theirs.as_f64().expect(what);
    let budget = relative * (1.0 + theirs.abs());
    assert!(
        (ours - theirs).abs() <= budget,
        "{what}: {ours} and {theirs}"
    );
}

#[test]
fn lines_crossings_and_shares_are_those_of_scipy() {
    let mut rng = ChaCha8Rng::seed_from_u64(7);
    let drawn: Vec<(Vec<At>, f64)> = (0..300).map(|_| draw(&mut rng)).collect();
    let shares: Vec<(i64, i64)> = (1..=40)
        .flat_map(|n| [0, n / 3, n / 2, n].map(|k| (k, n)))
        .chain([(37, 100_000), (99_999, 100_000)])
        .collect();
    let lines: Vec<Value> = drawn
        .iter()
        .map(|(values, limit)| {
            let column = |of: fn(&At) -> f64| values.iter().map(of).collect::<Vec<_>>();
            json!({
                "t": column(|v| v.t), "y": column(|v| v.y), "u": column(|v| v.u),
                "limit": limit, "at": 20.0,
            })
        })
        .collect();
    let share_cases: Vec<Value> = shares
        .iter()
        .map(|(k, n)| json!({"k": k, "n": n}))
        .collect();
    let Some(answer) = ask(&json!({"lines": lines, "shares": share_cases})) else {
        return;
    };
    let mut sloped = 0;
    for ((values, limit), theirs) in drawn.iter().zip(answer["lines"].as_array().expect("lines")) {
        let line = Line::through(values).expect("a line");
        // curve_fit works by steps; its slope is good to about 1e-7 of the values.
        near("slope", line.slope, &theirs["slope"], 1e-6);
        near("u of slope", line.u_slope, &theirs["u_slope"], 1e-5);
        near("chi2", line.chi2, &theirs["chi2"], 1e-6);
        near("coverage factor", line.k, &theirs["k"], 1e-9);
        near("height", line.height(20.0), &theirs["height"], 1e-6);
        near(
            "u of height",
            line.u_height(20.0),
            &theirs["u_height"],
            1e-5,
        );
        assert_eq!(
            line.is_sloped(),
            theirs["sloped"].as_bool().expect("sloped")
        );
        let crossing = line.crosses(*limit);
        assert_eq!(crossing.is_some(), line.is_sloped());
        if let Some(crossing) = crossing {
            sloped += 1;
            // Where the slope is hardly significant the far end runs off, and its digits with it.
            let margin = 1.0 - (line.k * line.u_slope / line.slope).powi(2);
            near("crossing", crossing.at, &theirs["at"], 1e-5);
            near("begin", crossing.from, &theirs["from"], 1e-5 / margin);
            near("end", crossing.to, &theirs["to"], 1e-5 / margin);
        }
    }
    assert!((100..300).contains(&sloped), "{sloped} of 300 are sloped");
    for ((k, n), theirs) in shares
        .iter()
        .zip(answer["shares"].as_array().expect("shares"))
    {
        let ours = Share::of(*k, *n);
        near("share from", ours.from, &theirs["from"], 1e-12);
        near("share to", ours.to, &theirs["to"], 1e-12);
    }
}

/// How often the interval of the crossing holds the true one, of 4,000 drawn histories of six visits.
fn held(scatter: f64, seed: u64) -> f64 {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let (slope, limit) = (-0.4, 32.9);
    let truth = (limit - 35.0) / slope;
    let draws = 4000;
    let held = (0..draws)
        .filter(|_| {
            let values: Vec<At> = (0..6)
                .map(|i| {
                    let (t, u) = (f64::from(i), 0.02 + 0.01 * f64::from(i % 3));
                    let y = 35.0 + slope * t + scatter * u * normal(&mut rng);
                    At { t, y, u }
                })
                .collect();
            let crossing = Line::through(&values).and_then(|line| line.crosses(limit));
            let crossing = crossing.expect("a steep line crosses");
            crossing.from <= truth && truth <= crossing.to
        })
        .count();
    held as f64 / f64::from(draws)
}

/// The standard deviation of such a count is 0.35 %.
#[test]
fn the_interval_of_a_crossing_holds_the_true_one_as_often_as_it_says() {
    // Scattered as stated: the interval is never narrower for values that happen to agree.
    let stated = held(1.0, 1);
    assert!((0.95..=1.0).contains(&stated), "{stated}");
    // Scattered three times as far as stated: the scatter itself tells.
    let wider = held(3.0, 2);
    assert!((0.935..0.97).contains(&wider), "{wider}");
}

#[test]
fn what_bears_no_line_has_none() {
    let at = |t: f64, y: f64| At { t, y, u: 0.1 };
    assert_eq!(Line::through(&[]), None);
    assert_eq!(Line::through(&[at(0.0, 1.0), at(1.0, 2.0)]), None);
    let same_day = [at(1.0, 1.0), at(1.0, 2.0), at(1.0, 3.0)];
    assert_eq!(Line::through(&same_day), None);
    let exact = At {
        t: 2.0,
        y: 1.0,
        u: 0.0,
    };
    assert_eq!(Line::through(&[at(0.0, 1.0), at(1.0, 2.0), exact]), None);
    // A flat line has no slope, and crosses nothing.
    let flat = Line::through(&[at(0.0, 1.0), at(1.0, 1.1), at(2.0, 1.0), at(3.0, 1.05)]);
    let flat = flat.expect("a line");
    assert!(!flat.is_sloped());
    assert_eq!(flat.crosses(0.5), None);
}
