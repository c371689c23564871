//! `ohmtrail bench sorted`: a tray that was written down, by verdict; its yield, labels and plots.

use std::fs;
use std::path::{Path, PathBuf};

use clap::ValueEnum;
use ohmtrail_core::reading::Function;
use ohmtrail_core::verdict::Decision;
use ohmtrail_paper::{Label, Sheet, distribution, labels_pdf};
use ohmtrail_shop::tray::record::{self, Row};
use ohmtrail_shop::tray::sorted::{CONFIDENCE, Sorted, Spread};
use serde_json::json;

use crate::check::number::show;
use crate::exit::Exit;
use crate::fail::Fail;
use crate::out::Out;

/// Which tray, and what is made of it.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The CSV that `bench tray` wrote
    #[arg(value_name = "FILE")]
    record: PathBuf,
    /// Write a sheet of labels, in the order of the verdicts: a PDF
    #[arg(long, value_name = "PATH")]
    labels: Option<PathBuf>,
    /// The sheet of paper of the labels
    #[arg(long, value_enum, default_value = "a4")]
    size: Size,
    /// Draw where the values of one step lie: an SVG
    #[arg(long, value_name = "PATH")]
    plot: Option<PathBuf>,
    /// Which step is drawn; without it, the first
    #[arg(long, value_name = "NAME", requires = "plot")]
    step: Option<String>,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Size {
    /// ISO A4
    A4,
    /// US letter
    Letter,
}

/// Reads the tray, says what it came to, and writes what was asked for.
pub fn run(args: &Args, out: &mut Out) -> Result<Exit, Fail> {
    let name = args.record.display().to_string();
    let bytes = fs::read(&args.record).map_err(|e| Fail::input(format!("{name}: {e}")))?;
    let rows = record::read(&name, &bytes).map_err(Fail::input)?;
    let sorted = Sorted::of(&rows);
    if let Some(path) = &args.labels {
        let sheet = match args.size {
            Size::A4 => Sheet::A4,
            Size::Letter => Sheet::Letter,
        };
        let labels = labels(&sorted, &name);
        let pdf = labels_pdf(&format!("Labels of {name}"), &labels, sheet, None)
            .map_err(|e| Fail::new(Exit::System, e))?;
        keep(path, &pdf)?;
    }
    if let Some(path) = &args.plot {
        keep(path, plot(&sorted, args.step.as_deref(), &name)?.as_bytes())?;
    }
    tell(&rows, out)
}

fn keep(path: &Path, bytes: &[u8]) -> Result<(), Fail> {
    fs::write(path, bytes).map_err(|e| Fail::new(Exit::System, format!("{}: {e}", path.display())))
}

fn unit(function: &str) -> &'static str {
    Function::by_name(function).map_or("1", Function::ucum)
}

/// A value as its display showed it, and the limits.
fn in_words(row: &Row) -> String {
    let shown = format!("{}: {} {}", row.step, row.display, row.unit);
    let unit = unit(&row.function);
    match (row.low, row.high) {
        (Some(low), Some(high)) => format!("{shown} ({} to {})", show(low, unit), show(high, unit)),
        (Some(low), None) => format!("{shown} (at least {})", show(low, unit)),
        (None, Some(high)) => format!("{shown} (at most {})", show(high, unit)),
        (None, None) => shown,
    }
}

/// What is on each label, and in which record more stands.
fn labels(sorted: &Sorted, record: &str) -> Vec<Label> {
    let each = sorted.parts.iter().map(|part| Label {
        head: format!("{}: {}", part.part, part.decision.words()),
        lines: part
            .rows
            .iter()
            .map(in_words)
            .chain([record.to_owned()])
            .collect(),
    });
    each.collect()
}

/// The picture of one step's values, in the unit that the largest of them is shown in.
fn plot(sorted: &Sorted, step: Option<&str>, name: &str) -> Result<String, Fail> {
    let named = |s: &&Spread| step.is_none_or(|step| s.step == step);
    let spread = sorted.spreads.iter().find(named).ok_or_else(|| {
        let all: Vec<&str> = sorted.spreads.iter().map(|s| s.step.as_str()).collect();
        Fail::input(format!(
            "{name}: --step: no values of such a step; one of {}",
            all.join(", ")
        ))
    })?;
    let base = unit(&spread.function);
    let largest = spread.values.iter().fold(0.0_f64, |a, b| a.max(b.abs()));
    let shown = show(largest, base);
    let (digits, prefixed) = shown.split_once(' ').unwrap_or((&shown, base));
    let scale = digits
        .parse::<f64>()
        .ok()
        .filter(|d| *d > 0.0 && largest > 0.0);
    // Prefixes are powers of ten; the digits are rounded.
    let scale = scale.map_or(1.0, |d| 10f64.powf((d / largest).log10().round()));
    let scaled: Vec<f64> = spread.values.iter().map(|v| v * scale).collect();
    let (low, high) = spread.limits.unwrap_or((None, None));
    let limits = (low.map(|v| v * scale), high.map(|v| v * scale));
    distribution(&spread.step, prefixed, &scaled, limits)
        .ok_or_else(|| Fail::input(format!("{name}: no value to draw")))
}

/// Says what a tray came to.
pub fn tell(rows: &[Row], out: &mut Out) -> Result<Exit, Fail> {
    let sorted = Sorted::of(rows);
    let exit = match sorted.worst() {
        Some(Decision::Fail | Decision::ConditionalFail) => Exit::Fails,
        Some(Decision::Pass | Decision::ConditionalPass) => Exit::Done,
        _ => Exit::Open,
    };
    if out.json() {
        out.json_line(&json!({ "sorted": sorted }))?;
        return Ok(exit);
    }
    for (decision, count) in &sorted.counts {
        let of = sorted.parts.iter().filter(|p| p.decision == *decision);
        let parts: Vec<String> = of.map(|p| p.part.to_string()).collect();
        out.line(&format!(
            "{}: {count}: part {}",
            decision.words(),
            parts.join(", ")
        ))?;
    }
    let [low, high] = sorted.interval.map(|share| share * 100.0);
    out.line(&format!(
        "yield: {:.1} % pass of {}, {low:.1} to {high:.1} % at {:.0} %",
        sorted.share * 100.0,
        sorted.parts.len(),
        CONFIDENCE * 100.0
    ))?;
    for spread in &sorted.spreads {
        let unit = unit(&spread.function);
        let deviation = spread.deviation.map_or_else(String::new, |d| {
            format!(", standard deviation {}", show(d, unit))
        });
        out.line(&format!(
            "{}: mean {}{deviation}",
            spread.step,
            show(spread.mean, unit)
        ))?;
    }
    Ok(exit)
}
