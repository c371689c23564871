//! Where the values of a tray lie, in one picture.

use plotters::prelude::*;

const WIDTH: i32 = 720;
const HEIGHT: i32 = 300;
/// Above and below the bars, and beside them.
const TOP: i32 = 40;
const BOTTOM: i32 = 40;
const SIDE: i32 = 40;
/// About as wide as a letter of the font.
const LETTER: i32 = 7;
/// As many bars as the root of the values, within this.
const BARS: (usize, usize) = (5, 30);

/// The values of many parts as bars, with the limits as lines, as SVG; none without a value. Values and
/// limits are numbers in `unit` already.
#[must_use]
pub fn distribution(
    heading: &str,
    unit: &str,
    values: &[f64],
    limits: (Option<f64>, Option<f64>),
) -> Option<String> {
    let sound: Vec<f64> = values.iter().copied().filter(|v| v.is_finite()).collect();
    if sound.is_empty() {
        return None;
    }
    let edges = sound.iter().copied().chain(limits.0).chain(limits.1);
    let (low, high) = edges.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| {
        (a.min(v), b.max(v))
    });
    // A tray of like parts has a width too.
    let room = ((high - low) * 0.05)
        .max(high.abs() * 1e-3)
        .max(f64::MIN_POSITIVE);
    // Amounts have no side below zero.
    let low = if low >= 0.0 {
        (low - room).max(0.0)
    } else {
        low - room
    };
    let high = high + room;
    let count = (sound.len() as f64).sqrt().ceil() as usize;
    let bars = bars(&sound, low, high, count.clamp(BARS.0, BARS.1));
    draw(heading, unit, &bars, (low, high), limits)
}

/// Four digits.
fn short(x: f64) -> String {
    let before = if x == 0.0 {
        0.0
    } else {
        x.abs().log10().floor()
    };
    let decimals = (3.0 - before).clamp(0.0, 9.0) as usize;
    format!("{x:.decimals$}")
}

/// How many values each bar has.
fn bars(values: &[f64], low: f64, high: f64, count: usize) -> Vec<usize> {
    let mut bars = vec![0; count];
    for value in values {
        let nth = ((value - low) / (high - low) * count as f64) as usize;
        if let Some(bar) = bars.get_mut(nth.min(count - 1)) {
            *bar += 1;
        }
    }
    bars
}

fn draw(
    heading: &str,
    unit: &str,
    bars: &[usize],
    (low, high): (f64, f64),
    limits: (Option<f64>, Option<f64>),
) -> Option<String> {
    let mut svg = String::new();
    {
        let size = (WIDTH as u32, HEIGHT as u32);
        let root = SVGBackend::with_string(&mut svg, size).into_drawing_area();
        root.fill(&WHITE).ok()?;
        let font = || ("sans-serif", 12).into_font().color(&BLACK);
        let write = |text: String, x: i32, y: i32| root.draw(&Text::new(text, (x, y), font())).ok();
        let wide = f64::from(WIDTH - 2 * SIDE);
        let x = |value: f64| SIDE + ((value - low) / (high - low) * wide).round() as i32;
        let floor = HEIGHT - BOTTOM;
        let most = bars.iter().copied().max().unwrap_or(1).max(1);
        let each = (high - low) / bars.len() as f64;
        for (nth, bar) in bars.iter().enumerate().filter(|(_, bar)| **bar > 0) {
            let tall = *bar as f64 / most as f64 * f64::from(floor - TOP);
            let from = x(low + each * nth as f64);
            let to = x(low + each * (nth + 1) as f64) - 1;
            let corners = [(from, floor - tall.round() as i32), (to, floor)];
            root.draw(&Rectangle::new(corners, RGBColor(120, 120, 120).filled()))
                .ok()?;
            write(bar.to_string(), from + 2, floor - tall.round() as i32 - 14)?;
        }
        root.draw(&PathElement::new(
            [(SIDE, floor), (WIDTH - SIDE, floor)],
            BLACK,
        ))
        .ok()?;
        write(format!("{heading}, {unit}"), SIDE, 4)?;
        // Beside its line, away from the other's.
        let beside = |text: &str, at: i32, left: bool| {
            let wide = i32::try_from(text.len()).unwrap_or(0) * LETTER;
            let from = if left { at - wide - 4 } else { at + 4 };
            from.clamp(2, WIDTH - wide)
        };
        for (limit, name) in [(limits.0, "lower"), (limits.1, "upper")] {
            let Some(limit) = limit else { continue };
            let line = PathElement::new(
                [(x(limit), TOP - 16), (x(limit), floor)],
                BLACK.stroke_width(2),
            );
            root.draw(&line).ok()?;
            let text = format!("{name} limit {}", short(limit));
            let from = beside(&text, x(limit), name == "lower");
            write(text, from, floor + 20)?;
        }
        write(short(low), SIDE, floor + 4)?;
        write(short(high), WIDTH - SIDE - 40, floor + 4)?;
        root.present().ok()?;
    }
    Some(svg)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_value_is_in_a_bar() {
        let values: Vec<f64> = (0..100).map(|n| 34.0 + 0.02 * f64::from(n)).collect();
        let drawn = bars(&values, 34.0, 35.98, 10);
        assert_eq!(drawn.iter().sum::<usize>(), 100);
        assert!(drawn.iter().all(|bar| (9..=11).contains(bar)), "{drawn:?}");
        let svg = distribution("section 1", "uF", &values, (Some(32.9), Some(37.1)));
        let svg = svg.expect("a picture");
        assert!(svg.contains("lower limit 32.9") && svg.contains("upper limit 37.1"));
        assert!(svg.contains("section 1, uF"), "{svg}");
        // Like parts, one part, no part.
        assert!(distribution("a", "V", &[24.0; 8], (None, None)).is_some());
        assert!(distribution("a", "V", &[0.0], (None, None)).is_some());
        assert_eq!(distribution("a", "V", &[f64::NAN], (None, None)), None);
    }
}
