//! Where the parts go: layers and their order come from a layered (Sugiyama) layout, rows and
//! terminals' sides are made of them.

use dagre::graph::{Graph, GraphOptions};
use dagre::{EdgeLabel, LayoutOptions, NodeLabel};

use super::inside::{Insides, Strand, Tip};
use super::svg::text_width;
use crate::sheet::{Part, Sheet};

/// Every upright line stands on a grid of this many units; which places of it depends on what the
/// line is, so that no two of different kinds ever lie on one another.
pub(super) const GRID: f64 = 16.0;
/// A row that would be wider is broken in two: a phone is narrow.
const WIDEST_ROW: f64 = 520.0;
/// The layout's columns are drawn together until their middles are no farther apart; what then
/// lies on one another is put side by side again, in its order.
const NARROW: f64 = 330.0;
/// Height of a strand inside a box.
pub(super) const STRAND: f64 = 17.0;
/// Size of a part's name.
pub(super) const NAME: f64 = 13.0;
/// Size of a terminal's name.
pub(super) const SMALL: f64 = 11.0;
/// Size of the names beside strands.
pub(super) const STRAND_NAME: f64 = 10.0;
/// Room between two boxes of a row that no wire passes.
const BETWEEN: f64 = 24.0;

/// What ends on a terminal.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum EndOf {
    /// The end (0 or 1) of a wire.
    Wire(usize, usize),
    /// Ground, inside the part.
    Ground,
    /// Nothing.
    Nothing,
}

/// A place on a box's edge where something ends.
#[derive(Debug, Clone, Copy)]
pub(super) struct Pin {
    pub of: EndOf,
    /// From the box's left edge, then from the picture's.
    pub x: f64,
}

/// A terminal on a box's edge.
#[derive(Debug, Clone)]
pub(super) struct Slot {
    /// Its number in the kind.
    pub terminal: usize,
    /// Its middle, like a pin's.
    pub x: f64,
    pub width: f64,
    pub pins: Vec<Pin>,
}

/// A part's box.
#[derive(Debug, Clone)]
pub(super) struct Box {
    pub part: usize,
    pub row: usize,
    /// Its middle while boxes are moved.
    pub middle: f64,
    pub x: f64,
    pub y: f64,
    pub width: f64,
    pub height: f64,
    pub top: Vec<Slot>,
    pub bottom: Vec<Slot>,
}

/// Where everything is, before the wires have their ways.
pub(super) struct Placed {
    /// By part.
    pub boxes: Vec<Box>,
    /// The parts of each row, from the left.
    pub rows: Vec<Vec<usize>>,
    /// Where the layout would have each wire pass a row, by wire and row.
    pub passes: Vec<Vec<f64>>,
}

/// The part that a terminal is of.
pub(super) fn part_of(sheet: &Sheet, point: usize) -> usize {
    sheet
        .parts
        .partition_point(|p| p.first_point <= point)
        .saturating_sub(1)
}

/// The parts at a wire's ends.
pub(super) fn ends_of(sheet: &Sheet, wire: usize) -> [usize; 2] {
    sheet.wires[wire].terminals.map(|t| part_of(sheet, t))
}

/// Places the parts.
pub(super) fn place(sheet: &Sheet, insides: &Insides) -> Placed {
    // A first guess of the sides gives the boxes' widths; the rows then decide.
    let guess: Vec<usize> = vec![0; sheet.parts.len()];
    let mut boxes = boxes(sheet, insides, &guess, true);
    let mut laid = lay(sheet, &boxes);
    laid.narrow(NARROW);
    let rows = rows(&laid, &boxes);
    let mut row_of = vec![0; sheet.parts.len()];
    for (r, row) in rows.iter().enumerate() {
        for &part in row {
            row_of[part] = r;
        }
    }
    boxes = self::boxes(sheet, insides, &row_of, false);
    for b in &mut boxes {
        b.middle = laid.middles[b.part].0;
    }
    let passes = sheet
        .wires
        .iter()
        .enumerate()
        .map(|(w, _)| {
            let ends = ends_of(sheet, w).map(|p| laid.middles[p]);
            (0..rows.len())
                .map(|r| {
                    let y = rows[r].first().map_or(0.0, |p| laid.middles[*p].1);
                    pass(&laid.ways[w], ends, y)
                })
                .collect()
        })
        .collect();
    order_pins(sheet, &mut boxes);
    Placed {
        boxes,
        rows,
        passes,
    }
}

/// What the library says: the middle of every part, the way of every wire.
struct Laid {
    middles: Vec<(f64, f64)>,
    ways: Vec<Vec<(f64, f64)>>,
}

impl Laid {
    /// Draws everything together sideways until no two middles are farther apart than `most`.
    fn narrow(&mut self, most: f64) {
        let xs = || self.middles.iter().map(|m| m.0);
        let left = xs().fold(f64::INFINITY, f64::min);
        let right = xs().fold(f64::NEG_INFINITY, f64::max);
        let share = (most / (right - left).max(1.0)).min(1.0);
        let all = self.ways.iter_mut().flatten().chain(&mut self.middles);
        for point in all {
            point.0 = left + (point.0 - left) * share;
        }
    }
}

fn lay(sheet: &Sheet, boxes: &[Box]) -> Laid {
    let name = |n: usize| format!("{n:05}");
    let mut graph: Graph<NodeLabel, EdgeLabel> = Graph::with_options(GraphOptions {
        directed: true,
        multigraph: true,
        compound: false,
    });
    for b in boxes {
        let label = NodeLabel {
            width: b.width,
            height: b.height,
            ..NodeLabel::default()
        };
        graph.set_node(name(b.part), Some(label));
    }
    let mut edges = Vec::new();
    for w in 0..sheet.wires.len() {
        let [from, to] = ends_of(sheet, w);
        // Sources stand on top whichever way their wires are written.
        let source = |p: usize| sheet.parts[p].kind.source;
        let turned = source(to) && !source(from);
        let (from, to) = if turned { (to, from) } else { (from, to) };
        if from != to {
            graph.set_edge(
                name(from),
                name(to),
                Some(EdgeLabel::default()),
                Some(name(w).as_str()),
            );
            edges.push((w, from, to));
        }
    }
    dagre::layout(
        &mut graph,
        Some(LayoutOptions {
            nodesep: 20.0,
            edgesep: 12.0,
            ranksep: 40.0,
            ..LayoutOptions::default()
        }),
    );
    let middles = boxes
        .iter()
        .map(|b| {
            let node = graph.node(&name(b.part));
            let at = |f: fn(&NodeLabel) -> Option<f64>| node.and_then(f).unwrap_or_default();
            (at(|n| n.x), at(|n| n.y))
        })
        .collect();
    let mut ways = vec![Vec::new(); sheet.wires.len()];
    for (w, from, to) in edges {
        if let Some(edge) = graph.edge(&name(from), &name(to), Some(name(w).as_str())) {
            ways[w] = edge.points.iter().map(|p| (p.x, p.y)).collect();
        }
    }
    Laid { middles, ways }
}

/// Where a way crosses a height; outside it, where a straight line between its ends would.
fn pass(way: &[(f64, f64)], ends: [(f64, f64); 2], y: f64) -> f64 {
    let along = |a: (f64, f64), b: (f64, f64)| {
        let (low, high) = (a.1.min(b.1), a.1.max(b.1));
        (low <= y && y <= high && high > low).then(|| a.0 + (b.0 - a.0) * (y - a.1) / (b.1 - a.1))
    };
    way.windows(2)
        .find_map(|pair| along(pair[0], pair[1]))
        .or_else(|| along(ends[0], ends[1]))
        .unwrap_or(f64::midpoint(ends[0].0, ends[1].0))
}

/// The layers from the top, each from the left, the widest broken in two.
fn rows(laid: &Laid, boxes: &[Box]) -> Vec<Vec<usize>> {
    let mut parts: Vec<usize> = (0..boxes.len()).collect();
    let key = |p: &usize| laid.middles[*p];
    parts.sort_by(|a, b| {
        let ((ax, ay), (bx, by)) = (key(a), key(b));
        ay.total_cmp(&by).then(ax.total_cmp(&bx)).then(a.cmp(b))
    });
    let mut rows: Vec<Vec<usize>> = Vec::new();
    for part in parts {
        let same = rows
            .last()
            .and_then(|r| r.first())
            .is_some_and(|first| (key(first).1 - key(&part).1).abs() < 1.0);
        match rows.last_mut() {
            Some(row) if same => row.push(part),
            _ => rows.push(vec![part]),
        }
    }
    rows.into_iter()
        .flat_map(|row| {
            let wide: f64 = row.iter().map(|p| boxes[*p].width + BETWEEN).sum();
            let pieces = ((wide / WIDEST_ROW).ceil() as usize).clamp(1, row.len());
            // Neighbours go to different pieces: each piece keeps the breadth of the row.
            (0..pieces)
                .map(|i| row.iter().copied().skip(i).step_by(pieces).collect())
                .collect::<Vec<Vec<usize>>>()
        })
        .collect()
}

/// The boxes of all parts. A terminal stands on the edge that most of its wires leave towards.
fn boxes(sheet: &Sheet, insides: &Insides, row: &[usize], guess: bool) -> Vec<Box> {
    sheet
        .parts
        .iter()
        .enumerate()
        .map(|(part, p)| {
            let (mut top, mut bottom) = (Vec::new(), Vec::new());
            for (terminal, t) in p.kind.terminals.iter().enumerate() {
                let point = p.first_point + terminal;
                let mut pins = Vec::new();
                let mut up = 0i32;
                for (w, wire) in sheet.wires.iter().enumerate() {
                    for end in 0..2 {
                        if wire.terminals[end] != point {
                            continue;
                        }
                        pins.push(EndOf::Wire(w, end));
                        let other = part_of(sheet, wire.terminals[1 - end]);
                        up += match (row[other], row[part]) {
                            // Not known yet: wires are written away from the source.
                            _ if guess => 2 * end as i32 - 1,
                            (o, own) if o < own => 1,
                            (o, own) if o > own => -1,
                            _ => 0,
                        };
                    }
                }
                let first_up = match pins.first() {
                    Some(EndOf::Wire(w, end)) => {
                        let other = part_of(sheet, sheet.wires[*w].terminals[1 - end]);
                        row[other] < row[part]
                    }
                    _ => false,
                };
                if t.bonded {
                    pins.push(EndOf::Ground);
                }
                if pins.is_empty() {
                    pins.push(EndOf::Nothing);
                }
                let slot = Slot {
                    terminal,
                    x: 0.0,
                    width: (text_width(t.name, SMALL) + 6.0).max(GRID * pins.len() as f64),
                    pins: pins.into_iter().map(|of| Pin { of, x: 0.0 }).collect(),
                };
                // Ground hangs below.
                let up = !t.bonded && (up > 0 || (up == 0 && first_up));
                if up { &mut top } else { &mut bottom }.push(slot);
            }
            let mut made = Box {
                part,
                row: row[part],
                middle: 0.0,
                x: 0.0,
                y: 0.0,
                width: 0.0,
                height: 0.0,
                top,
                bottom,
            };
            measure(&mut made, &p.name, inner_width(p, &insides.strands[part]));
            made
        })
        .collect()
}

/// The room in which a box's name and the label under it go.
pub(super) const HEAD: f64 = 33.0;
/// The room of the terminals' names on an edge.
pub(super) const EDGE: f64 = 17.0;

/// The width that the strands of a part take with the names beside them, and how many there are.
fn inner_width(part: &Part, strands: &[Strand]) -> (f64, usize) {
    if strands.is_empty() {
        return (0.0, 0);
    }
    let widest = |side: usize| {
        let names = strands.iter().map(|s| tip_name(part, left_first(s)[side]));
        names
            .map(|n| text_width(n, STRAND_NAME))
            .fold(0.0, f64::max)
    };
    (widest(0) + widest(1) + 72.0, strands.len())
}

/// What a tip is called beside its strand.
pub(super) fn tip_name(part: &Part, tip: Tip) -> &'static str {
    match tip {
        Tip::Terminal(t) => part.kind.terminals.get(t).map_or("", |t| t.name),
        Tip::Inner(_) => "",
        Tip::Ground => "middle",
    }
}

fn measure(b: &mut Box, name: &str, (inner, strands): (f64, usize)) {
    let edge = |slots: &[Slot]| slots.iter().map(|s| s.width).sum::<f64>() + 8.0;
    let wide = edge(&b.top)
        .max(edge(&b.bottom))
        .max(text_width(name, NAME) * 1.06 + 12.0)
        .max(inner);
    b.width = (wide / GRID).ceil() * GRID;
    let edges = [&b.top, &b.bottom].iter().filter(|s| !s.is_empty()).count();
    b.height = HEAD + EDGE * edges as f64 + STRAND * strands as f64 + 6.0;
    // Bottom pins on whole steps of the grid, top pins between them.
    let (width, free) = (b.width, |slots: &[Slot]| b.width - edge(slots));
    let (free_top, free_bottom) = (free(&b.top), free(&b.bottom));
    for (slots, free, shift) in [
        (&mut b.top, free_top, GRID / 2.0),
        (&mut b.bottom, free_bottom, 0.0),
    ] {
        let share = free / slots.len().max(1) as f64;
        let mut at = 4.0;
        for slot in slots.iter_mut() {
            slot.x = at + (slot.width + share) / 2.0;
            at += slot.width + share;
            let many = slot.pins.len() as f64;
            let first = slot.x - GRID * (many - 1.0) / 2.0;
            let first = ((first - shift) / GRID).round() * GRID + shift;
            // On the edge proper, corners left free.
            let most = width - GRID / 2.0 - GRID * (many - 1.0);
            let first = if first < GRID / 2.0 {
                first + GRID
            } else if first > most {
                first - GRID
            } else {
                first
            };
            for (i, pin) in slot.pins.iter_mut().enumerate() {
                pin.x = first + GRID * i as f64;
            }
        }
    }
}

/// Orders the wires on each terminal by where they lead, so that fewer cross.
fn order_pins(sheet: &Sheet, boxes: &mut [Box]) {
    let middles: Vec<f64> = boxes.iter().map(|b| b.middle).collect();
    for b in boxes {
        for slot in b.top.iter_mut().chain(&mut b.bottom) {
            let places: Vec<f64> = slot.pins.iter().map(|p| p.x).collect();
            slot.pins.sort_by(|a, b| {
                let to = |pin: &Pin| match pin.of {
                    EndOf::Wire(w, end) => {
                        middles[part_of(sheet, sheet.wires[w].terminals[1 - end])]
                    }
                    EndOf::Ground | EndOf::Nothing => f64::INFINITY,
                };
                to(a).total_cmp(&to(b))
            });
            for (pin, x) in slot.pins.iter_mut().zip(places) {
                pin.x = x;
            }
        }
    }
}

/// The tips of a strand from left to right: terminals in their order, then joints, then ground.
pub(super) fn left_first(strand: &Strand) -> [Tip; 2] {
    let mut tips = strand.tips;
    tips.sort_unstable();
    tips
}
