//! One part in the picture of probe points: its terminals one under another, what is between them,
//! the wires on them, and the probes.

use ohmtrail_words::Tongue;

use super::inside::{Insides, Level, Strand, Tip};
use super::probes::own_id;
use super::svg::{Svg, Text, text_width, wrap};
use super::symbols;
use crate::sheet::{PointId, Sheet};

/// The width that a phone has.
pub(super) const WIDTH: f64 = 380.0;
/// Where the box begins: the probes come from the left of it.
const LEFT: f64 = 52.0;
/// The height of a wire's row.
const ROW: f64 = 34.0;
/// From the box to where a wire's words begin.
const WIRE: f64 = 66.0;
/// Size of names and words.
const SIZE: f64 = 12.0;
/// Between two strands.
const COLUMN: f64 = 24.0;

/// What is held where.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Marker {
    A,
    B,
    Clamp,
}

/// A wire on a terminal.
struct Lead {
    /// From the card's top.
    y: f64,
    end: PointId,
    lines: Vec<String>,
    lifted: bool,
    level: Level,
}

/// A terminal, or a joint inside.
struct Bar {
    tip: Tip,
    name: &'static str,
    /// The terminal's point; none for a joint.
    point: Option<PointId>,
    y: f64,
    bonded: bool,
    leads: Vec<Lead>,
    level: Level,
}

/// A part's picture.
pub(super) struct Card<'s> {
    tongue: Tongue,
    sheet: &'s Sheet,
    head: Vec<String>,
    bars: Vec<Bar>,
    /// Each strand with its column.
    strands: Vec<(Strand, usize)>,
    marks: Vec<(Marker, PointId)>,
    columns: f64,
    right: f64,
    top: f64,
    pub width: f64,
    pub height: f64,
}

impl<'s> Card<'s> {
    /// Measures a part's picture.
    pub fn of(
        tongue: Tongue,
        sheet: &'s Sheet,
        insides: &Insides,
        part: usize,
        marks: &[(Marker, PointId)],
        lifted: &[PointId],
    ) -> Self {
        let p = &sheet.parts[part];
        let head = wrap(
            &format!("{}: {}", p.name, p.words),
            SIZE * 1.06,
            WIDTH - 20.0,
        );
        let top = 17.0 * head.len() as f64 + 10.0;
        let names = p.kind.terminals.iter().map(|t| text_width(t.name, SIZE));
        let columns = LEFT + 14.0 + names.fold(20.0, f64::max) + 14.0;
        let strands = &insides.strands[part];
        let mut tips: Vec<Tip> = (0..p.kind.terminals.len()).map(Tip::Terminal).collect();
        let mut more: Vec<Tip> = strands.iter().flat_map(|s| s.tips).collect();
        more.retain(|t| !matches!(t, Tip::Terminal(_)));
        more.sort_unstable();
        more.dedup();
        tips.extend(more);
        // Columns first: they decide how much room is left for the wires' words.
        let order = |tip: Tip| tips.iter().position(|t| *t == tip).unwrap_or_default();
        let strands = in_columns(strands, order);
        let count = strands.iter().map(|(_, c)| c + 1).max().unwrap_or(0);
        let right = columns + COLUMN * count as f64 + 6.0;
        let room = (WIDTH - right - WIRE - 6.0).max(96.0);
        let mut y = top + 24.0;
        let mut bars = Vec::new();
        for tip in tips {
            let mut bar = Bar {
                tip,
                name: "",
                point: None,
                y,
                bonded: false,
                leads: Vec::new(),
                level: Level::Line,
            };
            match tip {
                Tip::Terminal(t) => {
                    let point = p.first_point + t;
                    bar.name = p.kind.terminals[t].name;
                    bar.bonded = p.kind.terminals[t].bonded;
                    bar.point = Some(point);
                    bar.level = insides.levels[point];
                    bar.leads = leads(tongue, sheet, point, lifted, room);
                    y = place_leads(&mut bar, y, marks);
                }
                Tip::Ground => {
                    bar.name = "middle";
                    y += 30.0;
                }
                Tip::Inner(_) => y += 22.0,
            }
            bars.push(bar);
        }
        Card {
            tongue,
            sheet,
            head,
            bars,
            strands,
            marks: marks.to_vec(),
            columns,
            right,
            top,
            width: right + WIRE + room + 6.0,
            height: y + 4.0,
        }
    }

    /// Draws it from that height on.
    pub fn draw(&self, svg: &mut Svg, top: f64) {
        for (i, line) in self.head.iter().enumerate() {
            let y = top + 15.0 + 17.0 * i as f64;
            svg.text(10.0, y, &Text::new(line, SIZE).bold());
        }
        let bottom = self.height - 10.0;
        svg.rect(
            [LEFT, top + self.top, self.right - LEFT, bottom - self.top],
            0.0,
            1.6,
        );
        for (strand, column) in &self.strands {
            self.strand(svg, top, strand, *column);
        }
        for bar in &self.bars {
            self.bar(svg, top, bar);
        }
    }

    fn strand(&self, svg: &mut Svg, top: f64, strand: &Strand, column: usize) {
        let x = self.columns + COLUMN * (column as f64 + 0.5);
        let bar = |tip: Tip| self.bars.iter().find(|b| b.tip == tip);
        let [Some(a), Some(b)] = strand.tips.map(bar) else {
            return;
        };
        let (a, b) = if a.y <= b.y { (a, b) } else { (b, a) };
        // A joint inside takes the circuit of what it is joined to.
        let level = if a.point.is_some() { a.level } else { b.level };
        symbols::strand(svg, strand.symbol, (x, top + a.y), (x, top + b.y), level);
        for bar in [a, b] {
            svg.circle(x, top + bar.y, 2.2, 0.0, true);
        }
    }

    fn bar(&self, svg: &mut Svg, top: f64, bar: &Bar) {
        let y = top + bar.y;
        let Some(point) = bar.point else {
            svg.path(&[(self.columns + 4.0, y), (self.right - 8.0, y)], 1.2);
            svg.text(LEFT + 8.0, y + 4.0, &Text::new(bar.name, SIZE));
            return;
        };
        let name = self.sheet.point_name(point);
        let words = self.sheet.points.get(point).map_or("", |p| p.1.as_str());
        svg.open(
            &own_id("terminal", name),
            "terminal",
            &self
                .tongue
                .tell("draw-terminal-is", &[("name", name), ("words", words)]),
        );
        svg.path(&[(LEFT, y), (self.right, y)], 1.2);
        symbols::pad(svg, LEFT, y, bar.level);
        symbols::pad(svg, self.right, y, bar.level);
        svg.text(LEFT + 8.0, y - 4.0, &Text::new(bar.name, SIZE).bold());
        if bar.bonded {
            symbols::ground(svg, self.right + 14.0, y);
            svg.path(&[(self.right, y), (self.right + 14.0, y)], 1.4);
        }
        if let [first, .., last] = bar.leads.as_slice() {
            svg.path(
                &[(self.right, top + first.y), (self.right, top + last.y)],
                4.0,
            );
        }
        svg.close();
        for lead in &bar.leads {
            self.lead(svg, top, lead);
        }
        for (marker, at) in &self.marks {
            if *at == point {
                open_marker(svg, self.tongue, *marker);
                marker.draw(svg, LEFT - 32.0, y);
                tip(svg, (LEFT - 22.0, y), (LEFT - 4.0, y));
                svg.close();
            }
        }
    }

    fn lead(&self, svg: &mut Svg, top: f64, lead: &Lead) {
        let y = top + lead.y;
        let (x, weight) = (self.right, symbols::weight(lead.level));
        svg.open(
            &own_id("end", self.sheet.point_name(lead.end)),
            if lead.lifted { "end lifted" } else { "end" },
            &lead.lines.join(" "),
        );
        // Where a probe meets the wire's end.
        let meet = if lead.lifted {
            let off = (x + 40.0, y - 9.0);
            svg.path(&[(x + WIRE - 4.0, y), (x + 50.0, y), off], weight);
            svg.circle(off.0, off.1, 2.6, 1.4, false);
            off
        } else {
            svg.path(&[(x, y), (x + WIRE - 4.0, y)], weight);
            (x + 36.0, y)
        };
        for (i, line) in lead.lines.iter().enumerate() {
            svg.text(x + WIRE, y + 4.0 + 13.0 * i as f64, &Text::new(line, 11.0));
        }
        svg.close();
        for (marker, at) in &self.marks {
            if *at != lead.end {
                continue;
            }
            open_marker(svg, self.tongue, *marker);
            if *marker == Marker::Clamp {
                marker.draw(svg, x + 34.0, y);
            } else {
                let from = (x + 15.0, meet.1 - if lead.lifted { 4.0 } else { 15.0 });
                marker.draw(svg, from.0, from.1);
                let start = (from.0 + 9.5, from.1 + if lead.lifted { 1.0 } else { 4.0 });
                tip(svg, start, (meet.0 - 3.0, meet.1));
            }
            svg.close();
        }
    }
}

fn open_marker(svg: &mut Svg, t: Tongue, marker: Marker) {
    let (id, title) = match marker {
        Marker::A => ("probe-a", "draw-probe-a"),
        Marker::B => ("probe-b", "draw-probe-b"),
        Marker::Clamp => ("clamp", "draw-clamp-ring"),
    };
    svg.open(id, "probe", &t.say(title));
}

/// A probe's tip: a line that ends in a point.
fn tip(svg: &mut Svg, from: (f64, f64), to: (f64, f64)) {
    svg.path(&[from, to], 2.2);
    let (dx, dy) = (to.0 - from.0, to.1 - from.1);
    let long = dx.hypot(dy).max(1.0);
    let (dx, dy) = (dx / long, dy / long);
    svg.solid(&[
        to,
        (to.0 - 7.0 * dx - 3.5 * dy, to.1 - 7.0 * dy + 3.5 * dx),
        (to.0 - 7.0 * dx + 3.5 * dy, to.1 - 7.0 * dy - 3.5 * dx),
    ]);
}

/// The wires on a terminal, in words.
fn leads(t: Tongue, sheet: &Sheet, point: PointId, lifted: &[PointId], room: f64) -> Vec<Lead> {
    let mut leads = Vec::new();
    for wire in &sheet.wires {
        for end in 0..2 {
            if wire.terminals[end] != point {
                continue;
            }
            let off = lifted.contains(&wire.ends[end]);
            let mark = if wire.mark.is_empty() {
                String::new()
            } else {
                format!(", {}", wire.mark)
            };
            let to = sheet.point_name(wire.terminals[1 - end]);
            let mut lines = wrap(&format!("{}{mark}", wire.name), 11.0, room);
            lines.extend(wrap(&t.tell("draw-to", &[("at", to)]), 11.0, room));
            if off {
                lines.push(t.say("draw-is-lifted"));
            }
            leads.push(Lead {
                y: 0.0,
                end: wire.ends[end],
                lines,
                lifted: off,
                level: Level::Line,
            });
        }
    }
    leads
}

/// Puts a terminal's wires one under another; returns where the next terminal begins.
fn place_leads(bar: &mut Bar, y: f64, marks: &[(Marker, PointId)]) -> f64 {
    let mut next = y;
    let level = bar.level;
    for (i, lead) in bar.leads.iter_mut().enumerate() {
        let probed = marks.iter().any(|(_, at)| *at == lead.end);
        // A probe on the wire's end stands above it.
        if probed && i > 0 {
            next += 10.0;
        }
        lead.y = next;
        lead.level = level;
        next += (13.0 * lead.lines.len() as f64 + 8.0).max(ROW);
    }
    if let Some(first) = bar.leads.first() {
        bar.y = first.y;
    }
    next.max(y + ROW)
}

/// Puts strands side by side so that none lies on another.
fn in_columns(strands: &[Strand], order: impl Fn(Tip) -> usize) -> Vec<(Strand, usize)> {
    let mut placed: Vec<(Strand, usize)> = Vec::new();
    let span = |s: &Strand| {
        let [a, b] = s.tips.map(&order);
        (a.min(b), a.max(b))
    };
    for strand in strands {
        let (from, to) = span(strand);
        let clash = |column: usize| {
            placed.iter().any(|(other, c)| {
                let (a, b) = span(other);
                *c == column && a <= to && from <= b
            })
        };
        let column = (0..).find(|c| !clash(*c)).unwrap_or_default();
        placed.push((*strand, column));
    }
    placed
}
