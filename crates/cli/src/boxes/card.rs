//! The card: what each number means that a box shows.

use ohmtrail_box::parts;
use ohmtrail_circuit::sheet::{Question, Sheet};
use ohmtrail_core::gates::{GatePlan, Pair};
use ohmtrail_link::card::Step;
use ohmtrail_link::load::Test;
use serde::Serialize;

/// One line of it.
#[derive(Debug, Clone, Serialize)]
pub struct Line {
    /// The number that the box shows.
    pub number: u16,
    /// Whether it is a fault's number, shown when one is found.
    pub fault: bool,
    /// What it means.
    pub words: String,
}

fn line(step: Step, words: impl Into<String>) -> Line {
    Line {
        number: step.number(),
        fault: false,
        words: words.into(),
    }
}

/// The lines of the tests of parts: each test's measurements begin at the same number.
pub fn tests(tests: &[Test]) -> Vec<Line> {
    let mut lines = Vec::new();
    if !tests.is_empty() {
        for step in [Step::LayOnBench, Step::ProveMeter, Step::Drain] {
            lines.push(line(step, step.words()));
        }
        lines.push(line(
            Step::Charge(0),
            "read DC volts at points 1 and 2 of the part",
        ));
    }
    for (nth, test) in tests.iter().enumerate() {
        for n in 0..=u8::MAX {
            let Some(measure) = parts::measure(test, n) else {
                break;
            };
            let step = Step::Part(n);
            let words = format!(
                "test {}: {}, {}",
                nth + 1,
                measure.function.name(),
                measure.words
            );
            lines.push(line(step, words));
        }
    }
    lines
}

/// The lines of a sheet: acts, pairs that must read dead, lifted sets, asks, and faults.
pub fn sheet(plan: &GatePlan<'_>, sheet: &Sheet) -> Vec<Line> {
    let name = |point: u16| sheet.point_name(usize::from(point)).to_owned();
    let pair = |pair: Pair| format!("{} and {}", name(pair[0].0), name(pair[1].0));
    let mut lines = Vec::new();
    let acts = [
        Step::ProveMeter,
        Step::Drain,
        Step::OpenBreaker,
        Step::LockDisconnect,
        Step::LockAndTag,
        Step::PutBack,
        Step::Insulate,
        Step::FitCovers,
        Step::ClearPeople,
        Step::CloseBreaker,
        Step::Cool,
        Step::Rest,
        Step::ReadLine,
    ];
    lines.extend(acts.map(|step| line(step, step.words())));
    for (n, source) in (0..).zip(plan.sources) {
        let poles: Vec<String> = source.poles.iter().map(|p| name(p.0)).collect();
        let step = Step::OpenSource(n);
        lines.push(line(
            step,
            format!("{}, at {}", step.words(), poles.join(", ")),
        ));
    }
    for (n, points) in (0..).zip(plan.capacitors) {
        let step = Step::Charge(n);
        lines.push(line(step, format!("{}: {}", step.words(), pair(*points))));
    }
    for (n, lift) in (1..).zip(&sheet.lifts) {
        let ends: Vec<&str> = lift.ends.iter().map(|p| sheet.point_name(*p)).collect();
        let step = Step::Lift(n);
        lines.push(line(step, format!("{}: {}", step.words(), ends.join(", "))));
        for (nth, end) in (0..).zip(ends) {
            let step = Step::VoltsAtEnd(n, nth);
            lines.push(line(step, format!("{}: {end}", step.words())));
        }
    }
    for (n, points) in (0..).zip(plan.pairs()) {
        for step in [Step::DeadAc(n), Step::DeadDc(n)] {
            lines.push(line(step, format!("{}: {}", step.words(), pair(points))));
        }
    }
    // The box's inputs have one resistance.
    let checks = sheet.checks.iter().filter(|c| !c.is_low_impedance());
    for (n, check) in (0..).zip(checks) {
        let words = match &check.question {
            Question::Measure {
                function, points, ..
            } => format!(
                "{} between {} and {}",
                function.name(),
                sheet.point_name(points[0]),
                sheet.point_name(points[1])
            ),
            Question::Look { part, look } => {
                format!("look: {}: {}", sheet.look_name(*part, look), look.words)
            }
        };
        lines.push(line(Step::Ask(n), words));
        if let Question::Measure {
            function, points, ..
        } = &check.question
            && function.injects()
        {
            let step = Step::VoltsAt(n);
            let ends = points.map(|p| sheet.point_name(p));
            lines.push(line(
                step,
                format!("{}: {}", step.words(), ends.join(" and ")),
            ));
            let step = Step::VoltsToGround(n);
            lines.push(line(step, format!("{}: {}", step.words(), ends[0])));
        }
    }
    for (n, fault) in (1..).zip(&sheet.faults) {
        lines.push(Line {
            number: n,
            fault: true,
            words: format!("fault {}: {}", fault.name, fault.words),
        });
    }
    lines
}
