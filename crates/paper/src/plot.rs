//! Where the values of a visit lie within their limits, in one picture.

use ohmtrail_visit::{Record, Took, said_shown};
use ohmtrail_words::Tongue;
use plotters::prelude::*;

/// How far beyond its limits a value is drawn; one farther out stands at that edge.
const BEYOND: f64 = 0.5;
/// The height of a row.
const ROW: u32 = 20;
const WIDTH: u32 = 720;
const LABELS: u32 = 250;

/// A value on the way from its lower limit, 0, to its upper one, 1.
struct Dot {
    label: String,
    share: f64,
    /// Half of its 95 % interval.
    half: f64,
}

fn dot(t: Tongue, took: &Took) -> Option<Dot> {
    let verdict = took.take.verdict.as_ref().filter(|_| took.counts())?;
    let (low, high) = (verdict.lower?, verdict.upper?);
    let span = high - low;
    let share = (took.take.value - low) / span;
    (span > 0.0 && share.is_finite()).then(|| Dot {
        label: t.tell(
            "paper-take",
            &[
                ("take", &took.take.take.to_string()),
                (
                    "shown",
                    &said_shown(took.take.function, took.take.shown).to(t),
                ),
            ],
        ),
        share,
        half: 1.96 * took.take.uncertainty / span,
    })
}

/// The picture of every judged value that has two limits, and what it shows in words; none if there
/// is no such value.
pub(crate) fn within_limits(t: Tongue, record: &Record) -> Option<(String, String)> {
    let dots: Vec<Dot> = record.takes.iter().filter_map(|k| dot(t, k)).collect();
    if dots.is_empty() {
        return None;
    }
    let out = |d: &&Dot| !(0.0..=1.0).contains(&d.share);
    let outside: Vec<&str> = dots.iter().filter(out).map(|d| d.label.as_str()).collect();
    let outside = if outside.is_empty() {
        t.say("paper-none")
    } else {
        outside.join("; ")
    };
    let count = dots.len().to_string();
    let words = t.tell("paper-plot", &[("count", &count), ("outside", &outside)]);
    Some((draw(t, &dots)?, words))
}

fn draw(t: Tongue, dots: &[Dot]) -> Option<String> {
    let mut svg = String::new();
    {
        let rows = u32::try_from(dots.len()).ok()?;
        let size = (WIDTH, rows.checked_mul(ROW)?.checked_add(40)?);
        let root = SVGBackend::with_string(&mut svg, size).into_drawing_area();
        root.fill(&WHITE).ok()?;
        let wide = f64::from(WIDTH - LABELS - 20);
        let x = |share: f64| {
            let edge = share.clamp(-BEYOND, 1.0 + BEYOND) + BEYOND;
            // Within the picture by the clamp.
            LABELS as i32 + (edge / (1.0 + 2.0 * BEYOND) * wide).round() as i32
        };
        let bottom = (rows * ROW) as i32;
        let band = Rectangle::new(
            [(x(0.0), 0), (x(1.0), bottom)],
            RGBColor(226, 236, 226).filled(),
        );
        root.draw(&band).ok()?;
        for limit in [0.0, 1.0] {
            let line = PathElement::new([(x(limit), 0), (x(limit), bottom)], BLACK);
            root.draw(&line).ok()?;
        }
        let font = || ("sans-serif", 12).into_font().color(&BLACK);
        for (row, dot) in dots.iter().enumerate() {
            let y = (row as u32 * ROW + ROW / 2) as i32;
            root.draw(&Text::new(dot.label.clone(), (4, y - 7), font()))
                .ok()?;
            let ends = [(x(dot.share - dot.half), y), (x(dot.share + dot.half), y)];
            root.draw(&PathElement::new(ends, BLACK)).ok()?;
            // By shape: a filled dot within, an open square outside.
            if (0.0..=1.0).contains(&dot.share) {
                root.draw(&Circle::new((x(dot.share), y), 4, BLACK.filled()))
                    .ok()?;
            } else {
                let at = x(dot.share);
                let square = [(at - 4, y - 4), (at + 4, y + 4)];
                root.draw(&Rectangle::new(square, WHITE.filled())).ok()?;
                root.draw(&Rectangle::new(square, BLACK.stroke_width(2)))
                    .ok()?;
            }
        }
        for (limit, words) in [(0.0, "paper-lower-limit"), (1.0, "paper-upper-limit")] {
            let at = (x(limit) - 28, bottom + 8);
            root.draw(&Text::new(t.say(words), at, font())).ok()?;
        }
        root.present().ok()?;
    }
    Some(svg)
}
