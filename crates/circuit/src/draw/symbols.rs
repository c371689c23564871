//! The symbols of the trade, drawn by ourselves after the shapes that IEC 60617 and North American
//! ladder diagrams have in common.

use super::inside::{Level, Symbol};
use super::svg::{Svg, number};

/// Half of the room that a symbol takes along its line.
const HALF: f64 = 13.0;

/// How thick lines of the line circuit and of the control circuit are.
pub(super) fn weight(level: Level) -> f64 {
    match level {
        Level::Line => 2.4,
        Level::Control => 1.1,
    }
}

/// A place on the picture seen along a strand: `u` along it from its middle, `v` across it.
#[derive(Clone, Copy)]
struct Frame {
    x: f64,
    y: f64,
    upright: bool,
}

impl Frame {
    fn at(self, u: f64, v: f64) -> (f64, f64) {
        if self.upright {
            (self.x + v, self.y + u)
        } else {
            (self.x + u, self.y + v)
        }
    }

    fn line(self, svg: &mut Svg, points: &[(f64, f64)], weight: f64) {
        let points: Vec<_> = points.iter().map(|(u, v)| self.at(*u, *v)).collect();
        svg.path(&points, weight);
    }

    fn rect(self, svg: &mut Svg, half: (f64, f64), weight: f64) {
        let (u, v) = half;
        self.line(svg, &[(-u, -v), (u, -v), (u, v), (-u, v), (-u, -v)], weight);
    }

    /// Humps, the way windings are drawn.
    fn humps(self, svg: &mut Svg, weight: f64) {
        let (x, y) = self.at(-12.0, 0.0);
        let mut d = format!("M{} {}", number(x), number(y));
        for i in 0..4 {
            let (x, y) = self.at(-6.0 + 6.0 * f64::from(i), 0.0);
            let sweep = u8::from(!self.upright);
            d.push_str(&format!("A3 3.6 0 0 {sweep} {} {}", number(x), number(y)));
        }
        svg.raw_path(&d, weight);
    }
}

/// Draws a strand from one place to another, level or upright, its symbol in the middle.
pub(super) fn strand(
    svg: &mut Svg,
    symbol: Symbol,
    from: (f64, f64),
    to: (f64, f64),
    level: Level,
) {
    let upright = from.0 == to.0;
    let frame = Frame {
        x: f64::midpoint(from.0, to.0),
        y: f64::midpoint(from.1, to.1),
        upright,
    };
    let reach = if upright {
        to.1 - from.1
    } else {
        to.0 - from.0
    } / 2.0;
    let w = weight(level).min(1.6);
    let gap = match symbol {
        Symbol::Contact | Symbol::Capacitor => 3.0,
        Symbol::Switch | Symbol::Breaker => 10.0,
        Symbol::Overload | Symbol::Coil => 8.0,
        Symbol::Source => 7.0,
        Symbol::Resistor | Symbol::Winding | Symbol::Transformer => 12.0,
        Symbol::Fuse | Symbol::Link => 0.0,
    };
    frame.line(svg, &[(-reach, 0.0), (-gap, 0.0)], w);
    frame.line(svg, &[(gap, 0.0), (reach, 0.0)], w);
    match symbol {
        // Two bars: closed by a coil.
        Symbol::Contact => {
            for u in [-3.0, 3.0] {
                frame.line(svg, &[(u, -6.0), (u, 6.0)], w);
            }
        }
        // A blade on its rest: closed, and can open.
        Symbol::Switch => {
            frame.line(svg, &[(-10.0, 0.0), (11.0, -3.0)], w);
            frame.line(svg, &[(10.0, 0.0), (10.0, -5.0)], w);
        }
        // The blade with the cross of a circuit breaker.
        Symbol::Breaker => {
            frame.line(svg, &[(-10.0, 0.0), (10.0, -4.5)], w);
            frame.line(svg, &[(7.0, -3.0), (13.0, 3.0)], w);
            frame.line(svg, &[(7.0, 3.0), (13.0, -3.0)], w);
        }
        // A box with the wire through it.
        Symbol::Fuse => {
            frame.rect(svg, (HALF, 4.0), w);
            frame.line(svg, &[(-HALF, 0.0), (HALF, 0.0)], w);
        }
        Symbol::Link => frame.line(svg, &[(-HALF, 0.0), (HALF, 0.0)], w * 1.6),
        // The step of a thermal release.
        Symbol::Overload => frame.line(
            svg,
            &[
                (-8.0, 0.0),
                (-4.0, 0.0),
                (-4.0, -5.0),
                (4.0, -5.0),
                (4.0, 0.0),
                (8.0, 0.0),
            ],
            w,
        ),
        // A box with a slant: a coil that moves something.
        Symbol::Coil => {
            frame.rect(svg, (8.0, 5.0), w);
            frame.line(svg, &[(-5.0, 5.0), (5.0, -5.0)], w);
        }
        Symbol::Winding => frame.humps(svg, w),
        Symbol::Transformer => {
            frame.humps(svg, w);
            frame.line(svg, &[(-12.0, 3.0), (12.0, 3.0)], w);
        }
        // Two plates.
        Symbol::Capacitor => {
            for u in [-3.0, 3.0] {
                frame.line(svg, &[(u, -7.0), (u, 7.0)], w * 1.3);
            }
        }
        // A zigzag.
        Symbol::Resistor => {
            let zigzag: Vec<(f64, f64)> = (0..=6)
                .map(|i| {
                    let v = match i {
                        0 | 6 => 0.0,
                        i if i % 2 == 1 => -4.5,
                        _ => 4.5,
                    };
                    (-12.0 + 4.0 * f64::from(i), v)
                })
                .collect();
            frame.line(svg, &zigzag, w);
        }
        // A circle with a wave.
        Symbol::Source => {
            svg.circle(frame.x, frame.y, 7.0, w, false);
            let (x, y) = (frame.x, frame.y);
            svg.raw_path(
                &format!("M{} {y}q2 -5 4 0t4 0", number(x - 4.0), y = number(y)),
                w * 0.8,
            );
        }
    }
}

/// The symbol of ground, hanging from a place.
pub(super) fn ground(svg: &mut Svg, x: f64, y: f64) {
    svg.path(&[(x, y), (x, y + 5.0)], 1.4);
    for (i, half) in [6.0, 4.0, 2.0].into_iter().enumerate() {
        let y = y + 5.0 + 3.0 * i as f64;
        svg.path(&[(x - half, y), (x + half, y)], 1.4);
    }
}

/// A terminal's pad: a square in the line circuit, a ring in the control circuit.
pub(super) fn pad(svg: &mut Svg, x: f64, y: f64, level: Level) {
    match level {
        Level::Line => svg.square(x, y, 3.2),
        Level::Control => svg.circle(x, y, 3.0, 1.3, false),
    }
}
