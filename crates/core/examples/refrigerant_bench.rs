//! Saturation by the core's series and by CoolProp, side by side on the same points in the same run:
//! `cargo xtask bench refrigerant`. Fails where the goal is missed: 20 times CoolProp's high-level call rate,
//! and within 0.1 K of its figures.

use std::fmt::Write as _;
use std::hint::black_box;
use std::io::{BufRead, BufReader, Write};
use std::process::{Command, ExitCode, Stdio};
use std::time::Instant;

use ohmtrail_core::accuracy::Quantity;
use ohmtrail_core::refrigerant::{Point, Refrigerant, pressure, temperature};
use ohmtrail_core::units::{Celsius, Pascals};

/// The project's own goals.
const GOAL: f64 = 20.0;
const KELVINS: f64 = 0.1;
/// Rounds, and the median of them; each side takes its turn in every one.
const ROUNDS: usize = 5;
/// How often ours goes through the points in a round, to be longer than the clock's step.
const OFTEN: u32 = 200;

/// Answers a line of `name direction quality values…` with the seconds of a high-level call, those of a
/// low-level one, and the values found.
const SCRIPT: &str = r"
import sys, time
import CoolProp.CoolProp as CP
FLUIDS = {'R-290': 'Propane', 'R-454B': 'R32[0.82925]&R1234yf[0.17075]'}
for line in sys.stdin:
    name, out, quality, *values = line.split()
    fluid, q, values = FLUIDS.get(name, name.replace('-', '')), float(quality), [float(v) for v in values]
    have = 'P' if out == 'T' else 'T'
    start = time.perf_counter()
    found = [CP.PropsSI(out, have, v, 'Q', q, fluid) for v in values]
    high = (time.perf_counter() - start) / len(values)
    state = CP.AbstractState('HEOS', fluid.replace('[0.82925]', '').replace('[0.17075]', ''))
    if '&' in fluid: state.set_mole_fractions([0.82925, 0.17075])
    start = time.perf_counter()
    for v in values:
        if out == 'T': state.update(CP.PQ_INPUTS, v, q); state.T()
        else: state.update(CP.QT_INPUTS, q, v); state.p()
    low = (time.perf_counter() - start) / len(values)
    print(high, low, *found, flush=True)
";

fn main() -> ExitCode {
    let Some(python) = std::env::var_os("OHMTRAIL_PYTHON") else {
        eprintln!("OHMTRAIL_PYTHON is not set: run `cargo xtask bench refrigerant`");
        return ExitCode::FAILURE;
    };
    let mut child = Command::new(python)
        .args(["-c", SCRIPT])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("Python starts");
    let mut to = child.stdin.take().expect("a pipe");
    let mut from = BufReader::new(child.stdout.take().expect("a pipe"));
    println!(
        "{:<9} {:<12} {:>9} {:>12} {:>12} {:>8} {:>8} {:>9}",
        "", "", "ours ns", "high us", "low us", "ratio", "to low", "off"
    );
    let (mut least, mut worst) = (f64::INFINITY, 0.0_f64);
    for refrigerant in Refrigerant::ALL {
        for (direction, words) in [("T", "temperature"), ("P", "pressure")] {
            let found = row(refrigerant, direction, &mut to, &mut from);
            println!(
                "{:<9} {words:<12} {:>9.1} {:>12.2} {:>12.2} {:>8.0} {:>8.1} {:>7.3} K",
                refrigerant.name(),
                found.ours * 1e9,
                found.high * 1e6,
                found.low * 1e6,
                found.high / found.ours,
                found.low / found.ours,
                found.off
            );
            least = least.min(found.high / found.ours);
            worst = worst.max(found.off);
        }
    }
    drop(to);
    child.wait().expect("Python ends");
    let held = least >= GOAL && worst <= KELVINS;
    println!(
        "least ratio to the high-level call {least:.0}, goal {GOAL}; most off {worst:.3} K, goal {KELVINS}: {}",
        if held { "held" } else { "MISSED" }
    );
    if held {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    }
}

/// Seconds a call, and the worst difference.
struct Row {
    ours: f64,
    high: f64,
    low: f64,
    off: f64,
}

fn row(
    refrigerant: Refrigerant,
    direction: &str,
    to: &mut impl Write,
    from: &mut impl BufRead,
) -> Row {
    // Where the trade works; a mixture's solver is slow, so fewer points serve it.
    let step = if refrigerant == Refrigerant::R454B {
        10
    } else {
        1
    };
    let celsius: Vec<f64> = (-40..=60).step_by(step).map(f64::from).collect();
    let at = |t: f64| pressure(refrigerant, Point::Dew, Celsius(t)).expect("within");
    let pascals: Vec<f64> = celsius.iter().map(|t| at(*t).get()).collect();
    let forward = direction == "T";
    let asked: Vec<f64> = if forward {
        pascals.clone()
    } else {
        celsius.iter().map(|t| t + 273.15).collect()
    };
    let mut line = format!("{} {direction} 1", refrigerant.name());
    for value in &asked {
        write!(line, " {value}").expect("a string grows");
    }
    let (mut ours, mut high, mut low, mut off) = (Vec::new(), Vec::new(), Vec::new(), 0.0_f64);
    for _ in 0..ROUNDS {
        writeln!(to, "{line}").expect("Python listens");
        let mut said = String::new();
        from.read_line(&mut said).expect("Python answers");
        let mut numbers = said
            .split_whitespace()
            .map(|x| x.parse::<f64>().expect("numbers"));
        high.push(numbers.next().expect("seconds"));
        low.push(numbers.next().expect("seconds"));
        let theirs: Vec<f64> = numbers.collect();
        assert_eq!(theirs.len(), asked.len(), "a value for each");
        let start = Instant::now();
        for _ in 0..OFTEN {
            for (t, p) in celsius.iter().zip(&pascals) {
                if forward {
                    let p = Quantity::new(Pascals(black_box(*p)), 0.0);
                    black_box(temperature(refrigerant, Point::Dew, p)).expect("within");
                } else {
                    black_box(pressure(refrigerant, Point::Dew, Celsius(black_box(*t))))
                        .expect("within");
                }
            }
        }
        ours.push(start.elapsed().as_secs_f64() / f64::from(OFTEN) / asked.len() as f64);
        for ((t, p), theirs) in celsius.iter().zip(&pascals).zip(theirs) {
            // A pressure's difference counts as what it is in temperature.
            let p = if forward { *p } else { theirs };
            let p = Quantity::new(Pascals(p), 0.0);
            let found = temperature(refrigerant, Point::Dew, p).expect("within");
            let wanted = if forward { theirs - 273.15 } else { *t };
            off = off.max((found.value.get() - wanted).abs());
        }
    }
    Row {
        ours: median(ours),
        high: median(high),
        low: median(low),
        off,
    }
}

fn median(mut of: Vec<f64>) -> f64 {
    of.sort_by(f64::total_cmp);
    of[of.len() / 2]
}
