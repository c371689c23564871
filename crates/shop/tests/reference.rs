//! The figures against numpy and scipy, which come to them by other means, and what must hold of any
//! table. `cargo xtask test` makes the Python environment and names it in `OHMTRAIL_PYTHON`; with
//! `OHMTRAIL_WITHOUT_PYTHON=1` the comparison is left out, and says so. All values are invented.

use std::io::Write;
use std::process::{Command, Stdio};

use ohmtrail_shop::drift::{Against, DriftError, Reference, WEIGHT, chart};
use ohmtrail_shop::repeat::{Standing, StudyError, repeat};
use ohmtrail_shop::table::{Checked, Measured};
use proptest::prelude::*;
use serde_json::{Value, json};

/// A pseudo-random walk through (0, 1): Park and Miller's generator.
struct Draw(u64);

impl Draw {
    fn next(&mut self) -> f64 {
        self.0 = self.0 * 48_271 % 2_147_483_647;
        self.0 as f64 / 2_147_483_647.0
    }

    /// About normal, of deviation 1: the sum of twelve.
    fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.next()).sum::<f64>() - 6.0
    }
}

/// Microfarads of invented capacitors: deviations of parts, people, people with parts, repeats.
fn measured(draw: &mut Draw, design: [usize; 3], deviations: [f64; 4]) -> Vec<Measured> {
    let [parts, people, times] = design;
    let [of_part, of_person, of_both, of_repeat] = deviations;
    let by: Vec<f64> = (0..people).map(|_| of_person * draw.normal()).collect();
    let mut all = Vec::new();
    for part in 0..parts {
        let value = 35.0 + of_part * draw.normal();
        for (person, off) in by.iter().enumerate() {
            let way = of_both * draw.normal();
            for _ in 0..times {
                all.push(Measured {
                    part: format!("can {part}"),
                    person: format!("person {person}"),
                    value: value + off + way + of_repeat * draw.normal(),
                });
            }
        }
    }
    all
}

fn checked(values: &[f64]) -> Vec<Checked> {
    let each = values.iter().enumerate();
    each.map(|(n, value)| Checked {
        when: format!("day {n}"),
        value: *value,
        step: 0.0,
    })
    .collect()
}

/// As a display of such steps shows it.
fn displayed(values: &[f64], step: f64) -> Vec<Checked> {
    checked(values)
        .into_iter()
        .map(|c| Checked {
            value: (c.value / step).round() * step,
            step,
            ..c
        })
        .collect()
}

const KNOWN: Reference = Reference {
    value: 35.2,
    u: 0.0,
    permitted: None,
};

fn python(asked: &Value) -> Option<Value> {
    if std::env::var_os("OHMTRAIL_WITHOUT_PYTHON").is_some() {
        eprintln!("left out: OHMTRAIL_WITHOUT_PYTHON is set");
        return None;
    }
    let python = std::env::var_os("OHMTRAIL_PYTHON")
        .expect("OHMTRAIL_PYTHON names a Python with scipy: run cargo xtask test");
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/reference.py");
    let mut child = Command::new(python)
        .arg(script)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("Python starts");
    let mut input = child.stdin.take().expect("its input");
    input
        .write_all(asked.to_string().as_bytes())
        .expect("it reads");
    drop(input);
    let done = child.wait_with_output().expect("it ends");
    assert!(done.status.success());
    Some(serde_json::from_slice(&done.stdout).expect("JSON"))
}

#[track_caller]
fn near(ours: f64, theirs: &Value, relative: f64) {
    let theirs = theirs.as_f64().expect("a number");
    let off = (ours - theirs).abs();
    assert!(off <= relative * theirs.abs().max(1e-9), "{ours} {theirs}");
}

/// Both sides take squares of values around 35 apart to some 1e-3.
const BUDGET: f64 = 1e-8;

#[test]
fn squares_chances_and_charts_agree_with_scipy() {
    let mut draw = Draw(20_261);
    let designs = [[10, 3, 2], [5, 2, 3], [2, 4, 2], [12, 1, 3], [3, 2, 10]];
    let tables: Vec<Vec<Measured>> = designs
        .iter()
        .flat_map(|design| [[1.0, 0.2, 0.1, 0.3], [0.5, 0.0, 0.0, 0.2]].map(|d| (design, d)))
        .map(|(design, deviations)| measured(&mut draw, *design, deviations))
        .collect();
    let mut walks: Vec<Vec<f64>> = [0.0, 0.002, 0.02]
        .iter()
        .map(|slope| {
            let value = |n: usize| 35.2 + slope * n as f64;
            (0..60).map(|n| value(n) + 0.05 * draw.normal()).collect()
        })
        .collect();
    // A reading of another part, in the baseline and behind it.
    walks[0][7] += 1.0;
    walks[0][41] -= 1.0;
    let number = |name: &str| name.split(' ').nth(1).and_then(|n| n.parse::<u32>().ok());
    let studies: Vec<Value> = tables
        .iter()
        .map(|table| {
            json!({
                "values": table.iter().map(|m| m.value).collect::<Vec<_>>(),
                "part": table.iter().map(|m| number(&m.part)).collect::<Vec<_>>(),
                "person": table.iter().map(|m| number(&m.person)).collect::<Vec<_>>(),
            })
        })
        .collect();
    let charts: Vec<Value> = walks
        .iter()
        .map(|walk| json!({"values": walk, "baseline": 25, "weight": WEIGHT}))
        .collect();
    let Some(theirs) = python(&json!({"studies": studies, "charts": charts})) else {
        return;
    };
    for (table, theirs) in tables
        .iter()
        .zip(theirs["studies"].as_array().expect("a list"))
    {
        let ours = repeat(table, None).expect("a study");
        let line = |of: &str| ours.lines.iter().find(|l| l.of == of);
        for (nth, of) in ["parts", "people", "parts with people", "repeats"]
            .iter()
            .enumerate()
        {
            let Some(line) = line(of) else {
                assert_eq!(ours.design[1], 1, "{of} is left out");
                continue;
            };
            near(line.squares, &theirs["squares"][nth], BUDGET);
            assert_eq!(theirs["freedom"][nth], line.freedom);
        }
        if let Some(both) = line("parts with people") {
            let (_, by_chance) = both.ratio.expect("a ratio");
            near(by_chance, &theirs["by_chance"], 1e-6);
            assert_eq!(ours.pooled, by_chance > 0.25);
        }
        if !ours.pooled {
            for end in 0..2 {
                let ours = ours.repeatability_interval[end];
                near(ours, &theirs["interval"][end], 1e-6);
            }
        }
    }
    for (walk, theirs) in walks
        .iter()
        .zip(theirs["charts"].as_array().expect("a list"))
    {
        let ours = chart(&checked(walk), 25, KNOWN).expect("a chart");
        near(ours.center, &theirs["center"], 1e-12);
        near(ours.deviation, &theirs["deviation"], 1e-7);
        for (nth, point) in ours.points.iter().enumerate() {
            near(point.mean, &theirs["mean"][nth], 1e-12);
            near(point.mean_limit, &theirs["limit"][nth], 1e-7);
        }
    }
}

/// Expected mean squares: over many studies the parts of the scatter come out as they were put in.
#[test]
fn scatter_comes_out_as_it_was_put_in() {
    let mut draw = Draw(7);
    let deviations = [1.0, 0.4, 0.0, 0.3];
    let studies = 400;
    let (mut parts, mut people, mut repeats) = (0.0, 0.0, 0.0);
    for _ in 0..studies {
        let table = measured(&mut draw, [10, 3, 3], deviations);
        let found = repeat(&table, None).expect("a study");
        parts += found.parts.powi(2);
        people += found.reproducibility.expect("people").powi(2);
        repeats += found.repeatability.powi(2);
    }
    // Of the means of 400, the widest (people, two degrees of freedom) scatters by about 5 %; cut
    // off at zero they come out somewhat high.
    let is = |sum: f64, put: f64, within: f64| {
        let mean = sum / f64::from(studies);
        assert!((mean / put.powi(2) - 1.0).abs() < within, "{mean} {put}");
    };
    is(parts, 1.0, 0.1);
    is(people, 0.4, 0.25);
    // Small interactions are pooled, so that repeats come out low by some percent.
    is(repeats, 0.3, 0.05);
}

#[test]
fn a_poor_meter_is_called_one() {
    let mut draw = Draw(99);
    let good = measured(&mut draw, [10, 3, 3], [2.0, 0.01, 0.0, 0.02]);
    let found = repeat(&good, Some(4.2)).expect("a study");
    assert_eq!(found.standing, Standing::TellsApart, "{found:?}");
    assert!(found.groups >= 5);
    let poor = measured(&mut draw, [10, 3, 3], [0.2, 0.3, 0.0, 0.5]);
    let found = repeat(&poor, None).expect("a study");
    assert_eq!(found.standing, Standing::DoesNotTellApart);
    assert_eq!(found.groups, 1);
    // A tolerance that is wide for the parts may be narrow for the meter.
    let found = repeat(&good, Some(0.1)).expect("a study");
    assert_eq!(found.standing, Standing::DoesNotTellApart);
}

#[test]
fn what_is_no_study_is_refused_with_what_is_missing() {
    let mut draw = Draw(3);
    let full = measured(&mut draw, [3, 2, 2], [1.0, 0.1, 0.0, 0.1]);
    let mut missing = full.clone();
    missing.remove(5);
    let Err(StudyError::Uneven { part, person, .. }) = repeat(&missing, None) else {
        panic!("uneven");
    };
    assert_eq!((part.as_str(), person.as_str()), ("can 1", "person 0"));
    let once: Vec<Measured> = full.iter().step_by(2).cloned().collect();
    assert_eq!(repeat(&once, None), Err(StudyError::Once));
    assert_eq!(repeat(&full[..4], None), Err(StudyError::Parts(1)));
    assert_eq!(repeat(&[], None), Err(StudyError::Parts(0)));
    let flat: Vec<Measured> = full
        .iter()
        .map(|m| Measured {
            value: 35.0,
            ..m.clone()
        })
        .collect();
    assert_eq!(repeat(&flat, None), Err(StudyError::NoScatter));
    // Parts and people differ, and whoever measures again reads the same: how well it repeats is hidden.
    let mut agree = full.clone();
    for pair in agree.chunks_mut(2) {
        pair[1].value = pair[0].value;
    }
    assert_eq!(repeat(&agree, None), Err(StudyError::NoScatter));
    agree[1].value += 0.1;
    assert!(repeat(&agree, None).is_ok());
    for width in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        assert_eq!(repeat(&full, Some(width)), Err(StudyError::Tolerance));
    }
}

#[test]
fn a_shift_is_found_where_it_began_and_a_quiet_meter_is_left_alone() {
    let mut draw = Draw(11);
    let mut values: Vec<f64> = (0..50).map(|_| 35.2 + 0.05 * draw.normal()).collect();
    let quiet = chart(&checked(&values), 25, KNOWN).expect("a chart");
    assert_eq!((quiet.drifted_at, quiet.since), (None, None));
    assert_eq!(quiet.against, Against::NotKnown);
    // One and a half deviations, from the 31st reading on.
    for value in &mut values[30..] {
        *value += 0.075;
    }
    let known = Reference {
        permitted: Some(0.02),
        ..KNOWN
    };
    let found = chart(&checked(&values), 25, known).expect("a chart");
    let (at, since) = (
        found.drifted_at.expect("found"),
        found.since.expect("since"),
    );
    assert!((26..=32).contains(&since) && at < 45, "{since} {at}");
    assert!((found.error - 0.075).abs() < found.expanded, "{found:?}");
    assert_eq!(found.against, Against::Outside);
    // Permitted, it is a drift all the same.
    let wide = Reference {
        permitted: Some(0.5),
        ..KNOWN
    };
    let found = chart(&checked(&values), 25, wide).expect("a chart");
    assert_eq!(found.against, Against::Within);
    assert!(found.drifted_at.is_some());
    // A reference that is known no better than that says nothing.
    let vague = Reference { u: 0.2, ..known };
    let found = chart(&checked(&values), 25, vague).expect("a chart");
    assert_eq!(found.against, Against::TooCloseToCall);
}

/// A meter so steady that its display hides the scatter: a digit that flickers is no drift, a shift of
/// three digits is one.
#[test]
fn a_step_of_the_display_is_no_scatter() {
    let mut draw = Draw(17);
    let values: Vec<f64> = (0..60).map(|_| 35.204 + 0.0015 * draw.normal()).collect();
    let steady = displayed(&values, 0.01);
    assert!(
        steady
            .iter()
            .any(|c| (c.value - steady[0].value).abs() > 0.005)
    );
    let found = chart(&steady, 25, KNOWN).expect("a chart");
    assert_eq!((found.step, found.deviation), (Some(0.01), 0.01));
    assert_eq!((found.drifted_at, found.excursions.len()), (None, 0));
    assert!(found.points.iter().all(|p| !p.value_out));
    // The step is in what is said of the error.
    assert!(found.expanded > 0.005, "{found:?}");
    let flat = displayed(&[35.204; 30], 0.01);
    let found = chart(&flat, 25, KNOWN).expect("a chart");
    assert_eq!((found.step, found.drifted_at), (Some(0.01), None));
    let shifted: Vec<f64> = (0..60).map(|n| if n < 40 { 35.2 } else { 35.23 }).collect();
    let found = chart(&displayed(&shifted, 0.01), 25, KNOWN).expect("a chart");
    assert!(found.drifted_at.is_some_and(|at| at >= 40), "{found:?}");
}

/// A meter that went off and was put right again, or came back by itself: the time between is named.
#[test]
fn a_drift_that_passed_is_not_forgotten() {
    let mut draw = Draw(23);
    let mut values: Vec<f64> = (0..90).map(|_| 35.2 + 0.05 * draw.normal()).collect();
    for value in &mut values[40..55] {
        *value += 0.15;
    }
    let found = chart(&checked(&values), 25, KNOWN).expect("a chart");
    assert_eq!(found.drifted_at, None);
    let longest = found.excursions.iter().max_by_key(|e| e.to - e.from);
    let longest = longest.expect("named");
    assert!((40..=45).contains(&longest.from), "{longest:?}");
    assert!((54..=62).contains(&longest.to), "{longest:?}");
    assert!(found.error.abs() < found.expanded, "{found:?}");
}

/// One reading of something else moves neither the mean nor the baseline; two of them do.
#[test]
fn a_reading_that_is_out_alone_counts_when_it_is_confirmed() {
    let mut draw = Draw(29);
    let quiet: Vec<f64> = (0..50).map(|_| 35.2 + 0.05 * draw.normal()).collect();
    let of = |values: &[f64]| chart(&checked(values), 25, KNOWN).expect("a chart");
    let mut wild = quiet.clone();
    wild[12] = 40.0;
    wild[49] = 33.0;
    let (before, after) = (of(&quiet), of(&wild));
    assert!(after.deviation < 1.3 * before.deviation, "{after:?}");
    let out: Vec<usize> = (0..50).filter(|n| after.points[*n].left_out).collect();
    assert_eq!(out, [12, 49]);
    assert_eq!(after.drifted_at, None);
    assert!((after.error - before.error).abs() < 0.02, "{after:?}");
    wild[48] = 33.0;
    let twice = of(&wild);
    assert_eq!(twice.drifted_at, Some(48), "{twice:?}");
    // Where nearly all of a baseline is wild there is none.
    let mut nothing = quiet[..10].to_vec();
    nothing[4] = 90.0;
    assert!(matches!(
        chart(&checked(&nothing), 10, KNOWN),
        Err(DriftError::Wild { left: 9, .. })
    ));
}

/// The error that is told is the present one, also while the meter goes on drifting.
#[test]
fn the_error_is_the_present_one() {
    let mut draw = Draw(31);
    let going: Vec<f64> = (0..80_i32)
        .map(|n| 35.2 + 0.01 * f64::from((n - 30).max(0)) + 0.02 * draw.normal())
        .collect();
    let found = chart(&checked(&going), 25, KNOWN).expect("a chart");
    // 0.49 at the last reading; a weighted mean follows a line four readings behind.
    assert!((found.error - (0.49 - 0.04)).abs() < 0.03, "{found:?}");
}

#[test]
fn what_is_no_chart_is_refused() {
    let values: Vec<f64> = (0..30).map(|n| 35.2 + 0.01 * f64::from(n % 3)).collect();
    let all = checked(&values);
    assert!(matches!(chart(&all, 9, KNOWN), Err(DriftError::Few { .. })));
    assert!(matches!(
        chart(&all, 31, KNOWN),
        Err(DriftError::Few { .. })
    ));
    let flat = checked(&[35.2; 20]);
    assert_eq!(chart(&flat, 20, KNOWN), Err(DriftError::NoScatter));
    for wrong in [f64::NAN, -0.1, f64::INFINITY] {
        let known = Reference { u: wrong, ..KNOWN };
        assert!(matches!(chart(&all, 20, known), Err(DriftError::Number(_))));
        let known = Reference {
            permitted: Some(wrong),
            ..KNOWN
        };
        assert!(matches!(chart(&all, 20, known), Err(DriftError::Number(_))));
    }
}

/// How often a meter that has not drifted is called out: within 40 readings after a baseline of 25,
/// seldom; a shift of three deviations is called out soon.
#[test]
fn false_alarms_are_few_and_shifts_are_found() {
    let mut draw = Draw(5);
    let (mut false_alarms, mut found) = (0, 0);
    for _ in 0..500 {
        let mut values: Vec<f64> = (0..65).map(|_| draw.normal()).collect();
        let quiet = chart(&checked(&values), 25, KNOWN).expect("a chart");
        false_alarms += u32::from(quiet.drifted_at.is_some());
        for value in &mut values[40..] {
            *value += 3.0;
        }
        let shifted = chart(&checked(&values), 25, KNOWN).expect("a chart");
        found += u32::from(shifted.drifted_at.is_some_and(|at| (40..46).contains(&at)));
    }
    assert!(false_alarms <= 50, "{false_alarms} of 500");
    assert!(found >= 450, "{found} of 500");
}

proptest! {
    /// Another unit, or another zero, changes no share.
    #[test]
    fn shares_know_no_unit(seed in 1u64..1_000_000, scale in 1e-6f64..1e6, zero in -50.0f64..50.0) {
        let table = measured(&mut Draw(seed), [4, 2, 2], [1.0, 0.3, 0.1, 0.2]);
        let other: Vec<Measured> = table
            .iter()
            .map(|m| Measured { value: (m.value - 35.0 + zero) * scale, ..m.clone() })
            .collect();
        let (one, two) = (repeat(&table, None).unwrap(), repeat(&other, None).unwrap());
        prop_assert!((one.share - two.share).abs() < 1e-6, "{} {}", one.share, two.share);
        prop_assert!((one.gauge * scale / two.gauge - 1.0).abs() < 1e-6);
        prop_assert_eq!(one.pooled, two.pooled);
    }
}
