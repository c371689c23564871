//! How long until the open overload of a hot compressor is expected to close.

use ohmtrail_core::accuracy::Quantity;
use ohmtrail_core::cooldown::{
    Advice, Given, LAW, NEWTON, Normal, Outlook, RESET, START, STILL_OPEN, Sample, TAU, Window,
    outlook,
};
use ohmtrail_core::reading::Function;
use ohmtrail_core::units::{Celsius, Micros, Ohms};
use ohmtrail_visit::{Cold, cooling_said};
use serde_json::{Value, json};

use super::Stop;
use super::answer::{Answer, Level};
use super::input::{Bench, LeadsArgs};
use super::number::{digits, show};
use super::winding::DEAD;
use crate::fail::Fail;

/// `check cooldown`.
#[derive(Debug, clap::Args)]
pub struct Cooldown {
    /// Readings of start to run, each with the minutes since switching off: 12=3.41Ohm
    #[arg(value_name = "MINUTES=OHMS")]
    readings: Vec<String>,
    /// Start to run when it was cold: 2.90Ohm@25Cel+-0.05, U of the ohms last
    #[arg(long, value_name = "OHMS@CELSIUS[+-U]")]
    cold: Option<String>,
    /// The ambient, measured
    #[arg(long, value_name = "CELSIUS", allow_hyphen_values = true)]
    ambient: Option<String>,
    /// Minutes after switching off at which common last read open; the first reading's if left out
    #[arg(long, value_name = "MINUTES")]
    open: Option<f64>,
    /// Minutes after switching off for which this is asked; the last reading's if left out
    #[arg(long, value_name = "MINUTES")]
    now: Option<f64>,
    /// The winding temperature at which this protector closes, as its maker states it: 70+-5Cel
    #[arg(long, value_name = "CELSIUS+-U")]
    reset: Option<String>,
    #[command(flatten)]
    leads: LeadsArgs,
}

/// Minutes as a moment.
fn moment(name: &str, minutes: f64) -> Result<Micros, Fail> {
    if (0.0..1e7).contains(&minutes) {
        Ok(Micros((minutes * 60e6) as u64))
    } else {
        Err(Fail::input(format!(
            "{name}: minutes since switching off are a number from 0"
        )))
    }
}

/// `70+-5Cel`, U expanded.
fn reset(text: &str) -> Result<Normal, Fail> {
    let plain = text.replace('\u{b1}', "+-");
    let parsed = plain
        .trim()
        .strip_suffix("Cel")
        .and_then(|t| t.split_once("+-"))
        .and_then(|(mean, u)| Some((mean.parse::<f64>().ok()?, u.parse::<f64>().ok()?)))
        .filter(|(mean, u)| mean.is_finite() && u.is_finite() && *u >= 0.0);
    match parsed {
        Some((mean, expanded)) => Ok(Normal {
            mean,
            sd: expanded / 2.0,
        }),
        None => Err(Fail::input(format!(
            "--reset {text}: write it with its expanded uncertainty, as 70+-5Cel"
        ))),
    }
}

impl Cooldown {
    /// Computes; nothing passes or fails by it.
    pub fn judge(&self, bench: &mut Bench) -> Result<Answer, Stop> {
        let cold = match &self.cold {
            Some(text) => Some(Cold::read(text).map_err(|e| Fail::input(format!("--cold: {e}")))?),
            None => None,
        };
        let mut read: Vec<(Micros, Quantity<Ohms>, Ohms)> = Vec::new();
        for text in &self.readings {
            let (minutes, ohms) = text
                .split_once('=')
                .and_then(|(m, ohms)| Some((m.trim().parse::<f64>().ok()?, ohms)))
                .ok_or_else(|| {
                    Fail::usage(format!(
                        "{text}: write a reading as MINUTES=OHMS, such as 12=3.41Ohm"
                    ))
                })?;
            let at = moment(text, minutes)?;
            let value = bench.read("start-run", ohms, Function::Ohms)?;
            let shown = bench.seen.last().and_then(|s| s.reading.shown.decimal());
            read.push((at, value, Ohms(shown.map_or(0.0, |d| d.resolution()))));
        }
        let ambient: Option<Quantity<Celsius>> = match &self.ambient {
            Some(text) => Some(bench.read("ambient", text, Function::Celsius)?),
            None => None,
        };
        let (leads, words) = self.leads.leads(bench)?;
        let mut samples = Vec::new();
        for (at, value, step) in read {
            let ohms = leads
                .take_off(value)
                .map_err(|why| Stop::Void("leads", why))?;
            samples.push(Sample { at, ohms, step });
        }
        let first = samples.iter().map(|s| s.at).min().unwrap_or_default();
        let last = samples.iter().map(|s| s.at).max().unwrap_or_default();
        let open = match self.open {
            Some(minutes) => moment("--open", minutes)?,
            None => first,
        };
        let now = match self.now {
            Some(minutes) => moment("--now", minutes)?,
            None => last.max(open),
        };
        let mut given = Given {
            reference: cold.as_ref().map(|c| c.reference),
            ambient,
            samples: &samples,
            ..Given::new(Micros(0), open)
        };
        if let Some(text) = &self.reset {
            given.reset = reset(text)?;
        }
        let out = outlook(&given, now)?;
        let mut answer = Answer::new(sentence(&cooling_said(&out, now).to_string()));
        if let Some(cold) = &cold {
            answer = answer.found(
                "cold-reference",
                cold.text.clone(),
                if cold.from.is_empty() {
                    "where it comes from is not said".to_owned()
                } else {
                    cold.from.clone()
                },
                Level::Note,
                None,
                json!({
                    "ohms": cold.reference.ohms.value.get(), "ohms_uncertainty": cold.reference.ohms.u,
                    "celsius": cold.reference.at.value.get(), "celsius_uncertainty": cold.reference.at.u,
                    "metal": cold.reference.metal, "assumed": cold.reference.ohms.assumed,
                }),
            );
        }
        answer = temperatures(answer, &given, &out);
        if !given.missing().nothing() {
            let missing: Vec<&str> = given.missing().words().collect();
            answer = answer.found(
                "missing",
                missing.join(", and "),
                "for a time",
                Level::Open,
                None,
                json!(missing),
            );
        }
        answer = expectation(answer, &given, &out, now);
        Ok(answer
            .leads(words)
            .unproven(&[
                "whether the protector has closed: only common to start and common to run say that",
                "what overheated the motor",
            ])
            .caution(DEAD)
            .caution("find the cause of the heat before a restart; local codes and licensed practice come first"))
    }
}

/// Begins with a capital, ends with a full stop.
fn sentence(words: &str) -> String {
    let mut letters = words.chars();
    let first = letters.next().map(char::to_uppercase);
    first
        .into_iter()
        .flatten()
        .chain(letters)
        .chain(['.'])
        .collect()
}

/// Each reading as a temperature, and what a tenth of an ohm is worth.
fn temperatures(mut answer: Answer, given: &Given<'_>, out: &Outlook) -> Answer {
    let (Some(reference), Some(slope)) = (given.reference, out.kelvins_per_ohm) else {
        return answer;
    };
    answer = answer.found(
        "tenth",
        format!("0.1 Ohm is {} K", digits(slope / 10.0)),
        "of start to run, in this winding",
        Level::Note,
        Some(LAW),
        json!({"kelvins_per_ohm": slope}),
    );
    for sample in given.samples {
        if let Ok(t) = reference.temperature(sample.ohms) {
            let minutes = sample.at.0 as f64 / 60e6;
            answer = answer.found(
                "winding",
                format!("{} \u{b1} {}", show(t.value.get(), "Cel"), show(2.0 * t.u, "Cel")),
                format!("{} minutes after switching off, by that reading alone", digits(minutes)),
                Level::Note,
                None,
                json!({"minutes": minutes, "value": t.value.get(), "uncertainty": t.u, "unit": "Cel"}),
            );
        }
    }
    answer
}

/// What is expected, with the priors that it rests on.
fn expectation(mut answer: Answer, given: &Given<'_>, out: &Outlook, now: Micros) -> Answer {
    if let Some(tau) = out.tau {
        let (mean, sd) = (tau.mean / 60.0, tau.sd / 60.0);
        answer = answer.found(
            "time-constant",
            format!("{} \u{b1} {} min", digits(mean), digits(2.0 * sd)),
            "of the cooling, learnt from the readings",
            Level::Note,
            Some(TAU.source),
            json!({"value": mean, "uncertainty": sd, "unit": "min"}),
        );
    }
    if let Some(p) = out.still_open {
        answer = answer.found(
            "still-open",
            show(p, "1"),
            "probability of a good protector when common last read open",
            if out.advice == Advice::StaysOpen {
                Level::Check
            } else {
                Level::Note
            },
            Some(STILL_OPEN.source),
            json!({"p": p, "at_ambient": out.at_ambient}),
        );
    }
    let window = out.window.map(|w| window(&w, now));
    let source = if given.reset == Normal::of(&RESET) {
        Some(RESET.source)
    } else {
        None
    };
    answer
        .found(
            "advice",
            match out.advice {
                Advice::Wait => "wait, without a time",
                Advice::WaitUntil => "wait",
                Advice::MeasureAgain => "measure common again",
                Advice::StaysOpen => "stays open",
                Advice::DoesNotFit => "wait: the readings do not fit",
            },
            format!(
                "closes at {} \u{b1} {} (nine in ten)",
                show(given.reset.mean, "Cel"),
                digits(1.645 * given.reset.sd)
            ),
            if out.advice == Advice::StaysOpen {
                Level::Check
            } else {
                Level::Open
            },
            source,
            json!({
                "advice": out.advice, "window": window, "closed": out.closed,
                "slowest_minutes": out.slowest.map(|at| at.0 as f64 / 60e6),
                "start": {"lower": START.lower, "upper": START.upper, "source": START.source.what},
            }),
        )
        .found(
            "law",
            "cooling of one body",
            "readings of the first minutes cool faster than it",
            Level::Note,
            Some(NEWTON),
            Value::Null,
        )
}

/// A window in minutes after switching off, and from now on.
fn window(window: &Window, now: Micros) -> Value {
    let after = |at: Option<Micros>| at.map(|at| (at.0 as f64 / 60e4).round() / 100.0);
    let left =
        |at: Option<Micros>| at.map(|at| ((at.0 as f64 - now.0 as f64) / 60e4).round() / 100.0);
    json!({
        "coverage": ohmtrail_core::cooldown::COVERAGE,
        "early_minutes": after(window.early),
        "middle_minutes": after(window.middle),
        "late_minutes": after(window.late),
        "from_now_minutes": [left(window.early), left(window.middle), left(window.late)],
    })
}
