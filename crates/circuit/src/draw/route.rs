//! Orthogonal ways for the wires, between rows of boxes.
//!
//! A wire leaves its terminal into the channel above or below the row, runs level there, and
//! passes rows between it and its other end through the gaps between their boxes. Upright lines
//! stand on places of a grid that differ for terminals of the upper edge, terminals of the lower
//! edge, even rows' gaps and odd rows' gaps, so that lines of two wires never lie on one another
//! and any order of level lines in a channel is possible: it is chosen for few crossings.

use super::place::{Box, EndOf, GRID, Placed, part_of};
use crate::sheet::Sheet;

/// Free room at the picture's edges.
pub(super) const MARGIN: f64 = 14.0;

/// A wire's passage through a row.
#[derive(Debug, Clone, Copy)]
struct Lane {
    wire: usize,
    row: usize,
    /// The gap before that box of the row.
    gap: usize,
    x: f64,
}

/// A level run of a wire in a channel, and where its two ends go from it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Run {
    pub channel: usize,
    pub from: Stem,
    pub to: Stem,
    /// Counted from the top of its channel.
    pub track: usize,
}

/// An upright line that a run begins or ends with.
#[derive(Debug, Clone, Copy)]
pub(super) struct Stem {
    pub x: f64,
    /// Towards the row above the channel.
    pub up: bool,
    /// The box whose pin it ends on; a passage through a row has none.
    pub pin: Option<usize>,
}

impl Run {
    fn left(&self) -> f64 {
        self.from.x.min(self.to.x)
    }

    fn right(&self) -> f64 {
        self.from.x.max(self.to.x)
    }

    pub fn straight(&self) -> bool {
        self.from.x == self.to.x
    }
}

/// Every wire's way.
pub(super) struct Routed {
    /// The runs of each wire, from its first end to its second.
    pub runs: Vec<Vec<Run>>,
    /// How many level lines each channel has over one another.
    pub tracks: Vec<usize>,
    /// The picture's width.
    pub width: f64,
}

/// The channel that a terminal's pins of a wire's end are in, its box and whether they are on the
/// upper edge.
fn seat(sheet: &Sheet, boxes: &[Box], wire: usize, end: usize) -> (usize, bool) {
    let part = part_of(sheet, sheet.wires[wire].terminals[end]);
    let b = &boxes[part];
    let upper = b
        .top
        .iter()
        .any(|s| s.pins.iter().any(|p| p.of == EndOf::Wire(wire, end)));
    (part, upper)
}

/// Where a wire's end is, from the picture's left edge.
fn pin_x(b: &Box, wire: usize, end: usize) -> f64 {
    b.top
        .iter()
        .chain(&b.bottom)
        .flat_map(|s| &s.pins)
        .find(|p| p.of == EndOf::Wire(wire, end))
        .map_or(b.x, |p| b.x + p.x)
}

/// Finds every wire's way, and moves the boxes so that there is room for it.
pub(super) fn route(sheet: &Sheet, placed: &mut Placed) -> Routed {
    let seats: Vec<[(usize, bool); 2]> = (0..sheet.wires.len())
        .map(|w| [0, 1].map(|end| seat(sheet, &placed.boxes, w, end)))
        .collect();
    let channel =
        |boxes: &[Box], (part, upper): (usize, bool)| boxes[part].row + usize::from(!upper);
    let mut lanes: Vec<Lane> = Vec::new();
    for (w, ends) in seats.iter().enumerate() {
        let [a, b] = ends.map(|s| channel(&placed.boxes, s));
        for row in a.min(b)..a.max(b) {
            // Beside its own box, a wire turns towards its other end.
            let around = ends.iter().position(|s| placed.boxes[s.0].row == row);
            let desired = match around {
                Some(end) => {
                    let own = &placed.boxes[ends[end].0];
                    let other = &placed.boxes[ends[1 - end].0];
                    let side = if other.middle < own.middle { -1.0 } else { 1.0 };
                    own.middle + side * (own.width / 2.0 + 1.0)
                }
                None => placed.passes[w][row],
            };
            lanes.push(Lane {
                wire: w,
                row,
                gap: gap_at(placed, row, desired),
                x: desired,
            });
        }
    }
    settle(placed, &mut lanes);
    let width = stand(placed, &mut lanes);
    let mut runs: Vec<Vec<Run>> = seats
        .iter()
        .enumerate()
        .map(|(w, ends)| runs_of(placed, &lanes, w, *ends))
        .collect();
    straighten(&mut placed.boxes, &mut runs);
    let tracks = (0..=placed.rows.len())
        .map(|c| tracks(&mut runs, c))
        .collect();
    Routed {
        runs,
        tracks,
        width,
    }
}

/// The gap of a row nearest to a place: the number of the box after it.
fn gap_at(placed: &Placed, row: usize, x: f64) -> usize {
    let boxes = placed.rows[row].iter().map(|p| &placed.boxes[*p]);
    boxes.filter(|b| b.middle < x).count()
}

/// Moves boxes and lanes of each row towards what they are wired to, a few times from the top to
/// the bottom and back, never past one another.
fn settle(placed: &mut Placed, lanes: &mut [Lane]) {
    let order = placed.rows.clone();
    for (row, boxes) in order.iter().enumerate() {
        let items = items(placed, lanes, row);
        let wanted: Vec<f64> = items
            .iter()
            .map(|i| match i {
                Item::Box(p) => placed.boxes[*p].middle,
                Item::Lane(l) => lanes[*l].x,
            })
            .collect();
        let widths: Vec<f64> = items.iter().map(|i| room(placed, *i)).collect();
        let at = spread(&wanted, &widths);
        for (item, x) in items.iter().zip(at) {
            match item {
                Item::Box(p) => placed.boxes[*p].middle = x,
                Item::Lane(l) => lanes[*l].x = x,
            }
        }
        debug_assert!(boxes.len() <= items.len());
    }
}

/// What stands in a row.
#[derive(Debug, Clone, Copy)]
enum Item {
    Box(usize),
    Lane(usize),
}

/// The room that it takes.
fn room(placed: &Placed, item: Item) -> f64 {
    match item {
        Item::Box(p) => placed.boxes[p].width + GRID,
        Item::Lane(_) => GRID,
    }
}

/// A row's boxes and lanes from the left.
fn items(placed: &Placed, lanes: &[Lane], row: usize) -> Vec<Item> {
    let boxes = &placed.rows[row];
    let mut all = Vec::new();
    for gap in 0..=boxes.len() {
        let mut here: Vec<usize> = (0..lanes.len())
            .filter(|l| lanes[*l].row == row && lanes[*l].gap == gap)
            .collect();
        here.sort_by(|a, b| lanes[*a].x.total_cmp(&lanes[*b].x).then(a.cmp(b)));
        all.extend(here.into_iter().map(Item::Lane));
        all.extend(boxes.get(gap).map(|p| Item::Box(*p)));
    }
    all
}

/// Places for items of these widths, in their order, as near to what they want as can be (least
/// squares under the distances, by pooling neighbours that are too near).
fn spread(wanted: &[f64], widths: &[f64]) -> Vec<f64> {
    // Offsets that make "at least so far apart" into "not descending".
    let mut offsets = Vec::with_capacity(widths.len());
    let mut at = 0.0;
    for (i, w) in widths.iter().enumerate() {
        at += if i == 0 {
            0.0
        } else {
            (widths[i - 1] + w) / 2.0
        };
        offsets.push(at);
    }
    // Blocks of (sum, weight, count).
    let mut blocks: Vec<(f64, f64, usize)> = Vec::new();
    for ((want, offset), width) in wanted.iter().zip(&offsets).zip(widths) {
        let weight = width.max(1.0);
        blocks.push(((want - offset) * weight, weight, 1));
        while let [.., (s1, w1, n1), (s2, w2, n2)] = blocks[..]
            && s1 / w1 > s2 / w2
        {
            blocks.pop();
            blocks.pop();
            blocks.push((s1 + s2, w1 + w2, n1 + n2));
        }
    }
    let level = blocks
        .into_iter()
        .flat_map(|(sum, weight, count)| std::iter::repeat_n(sum / weight, count));
    level.zip(offsets).map(|(l, o)| l + o).collect()
}

/// Puts boxes and lanes on their places of the grid; returns the picture's width.
fn stand(placed: &mut Placed, lanes: &mut [Lane]) -> f64 {
    let mut left = f64::INFINITY;
    for row in 0..placed.rows.len() {
        // Lanes of even rows at a quarter of the grid, of odd rows at three quarters.
        let shift = GRID * if row % 2 == 0 { 0.25 } else { 0.75 };
        let mut free = f64::NEG_INFINITY;
        for item in items(placed, lanes, row) {
            let half = room(placed, item) / 2.0;
            match item {
                Item::Box(p) => {
                    let b = &mut placed.boxes[p];
                    let x = ((b.middle - b.width / 2.0) / GRID).round() * GRID;
                    let least = ((free + GRID / 2.0) / GRID).ceil() * GRID;
                    b.x = x.max(least);
                    free = b.x + 2.0 * half - GRID / 2.0;
                    left = left.min(b.x - GRID / 2.0);
                }
                Item::Lane(l) => {
                    let x = ((lanes[l].x - shift) / GRID).round() * GRID + shift;
                    let least = ((free + GRID / 2.0 - shift) / GRID).ceil() * GRID + shift;
                    lanes[l].x = x.max(least);
                    free = lanes[l].x + GRID / 2.0;
                    left = left.min(lanes[l].x - GRID / 2.0);
                }
            }
        }
    }
    let move_by = ((MARGIN - left) / GRID).ceil() * GRID;
    let mut right = 0.0_f64;
    for b in &mut placed.boxes {
        b.x += move_by;
        b.middle = b.x + b.width / 2.0;
        right = right.max(b.x + b.width);
    }
    for lane in lanes {
        lane.x += move_by;
        right = right.max(lane.x);
    }
    right + MARGIN
}

fn runs_of(placed: &Placed, lanes: &[Lane], wire: usize, ends: [(usize, bool); 2]) -> Vec<Run> {
    let boxes = &placed.boxes;
    let channel = |(part, upper): (usize, bool)| boxes[part].row + usize::from(!upper);
    let pin = |end: usize| {
        let (part, upper) = ends[end];
        Stem {
            x: pin_x(&boxes[part], wire, end),
            // A pin on the upper edge lies below its channel.
            up: !upper,
            pin: Some(part),
        }
    };
    let (first, last) = (channel(ends[0]), channel(ends[1]));
    let down = first <= last;
    let mut own: Vec<&Lane> = lanes.iter().filter(|l| l.wire == wire).collect();
    own.sort_by_key(|l| l.row);
    if !down {
        own.reverse();
    }
    let mut runs = Vec::new();
    let mut from = pin(0);
    let mut at = first;
    for lane in own {
        let stem = |up| Stem {
            x: lane.x,
            up,
            pin: None,
        };
        runs.push(Run {
            channel: at,
            from,
            to: stem(!down),
            track: 0,
        });
        from = stem(down);
        at = if down { at + 1 } else { at - 1 };
    }
    runs.push(Run {
        channel: at,
        from,
        to: pin(1),
        track: 0,
    });
    runs
}

/// Takes out small steps: a pin moves along its edge, or a passage within its gap, under the line
/// that comes to it, where there is room.
fn straighten(boxes: &mut [Box], runs: &mut [Vec<Run>]) {
    // From the first end to the second, and back: a step that cannot go one way may go the other.
    for (backwards, _) in [(false, 0), (true, 0), (false, 1)] {
        for w in 0..runs.len() {
            for i in 0..runs[w].len() {
                let r = if backwards { runs[w].len() - 1 - i } else { i };
                let run = runs[w][r];
                let small = (run.from.x - run.to.x).abs() <= GRID * 0.75;
                if run.straight() || !small {
                    continue;
                }
                // Which end moves, and where to.
                let (stem, at_end, target) = if backwards {
                    (run.from, 0, run.to.x)
                } else {
                    (run.to, 1, run.from.x)
                };
                match stem.pin {
                    Some(part) => {
                        if pin_fits(&boxes[part], stem.up, (w, at_end), target)
                            && clear(runs, w, run.channel, target)
                        {
                            move_pin(&mut boxes[part], (w, at_end), target);
                            set(runs, w, r, at_end, target);
                        }
                    }
                    None => {
                        let beyond = if stem.up {
                            run.channel - 1
                        } else {
                            run.channel + 1
                        };
                        let row = run.channel.min(beyond);
                        if in_gap(boxes, row, stem.x, target)
                            && clear(runs, w, run.channel, target)
                            && clear(runs, w, beyond, target)
                        {
                            set(runs, w, r, at_end, target);
                        }
                    }
                }
            }
        }
    }
}

/// Whether a pin can stand there on its edge: upper or lower, other pins not too near.
fn pin_fits(b: &Box, lower: bool, own: (usize, usize), x: f64) -> bool {
    let slots = if lower { &b.bottom } else { &b.top };
    x >= b.x + 6.0
        && x <= b.x + b.width - 6.0
        && slots
            .iter()
            .flat_map(|s| &s.pins)
            .all(|p| p.of == EndOf::Wire(own.0, own.1) || (b.x + p.x - x).abs() >= 12.0)
}

fn move_pin(b: &mut Box, own: (usize, usize), x: f64) {
    let left = b.x;
    for pin in b
        .top
        .iter_mut()
        .chain(&mut b.bottom)
        .flat_map(|s| &mut s.pins)
    {
        if pin.of == EndOf::Wire(own.0, own.1) {
            pin.x = x - left;
        }
    }
}

/// Whether no upright line of another wire in that channel is near.
fn clear(runs: &[Vec<Run>], wire: usize, channel: usize, x: f64) -> bool {
    let others = runs.iter().enumerate().filter(|(w, _)| *w != wire);
    others
        .flat_map(|(_, own)| own)
        .filter(|r| r.channel == channel)
        .all(|r| (r.from.x - x).abs() >= 4.0 && (r.to.x - x).abs() >= 4.0)
}

/// Whether a passage through a row can move from one place to another without meeting a box.
fn in_gap(boxes: &[Box], row: usize, from: f64, to: f64) -> bool {
    let (low, high) = (from.min(to) - 8.0, from.max(to) + 8.0);
    boxes
        .iter()
        .filter(|b| b.row == row)
        .all(|b| high <= b.x || low >= b.x + b.width)
}

/// Moves an end of a run, and the end of the next run that is the same line.
fn set(runs: &mut [Vec<Run>], wire: usize, run: usize, end: usize, x: f64) {
    let own = &mut runs[wire];
    let last = own.len() - 1;
    if end == 1 {
        own[run].to.x = x;
        if run < last {
            own[run + 1].from.x = x;
        }
    } else {
        own[run].from.x = x;
        if run > 0 {
            own[run - 1].to.x = x;
        }
    }
}

/// How many crossings there are between two runs if `a` lies over `b`.
fn crossings(a: &Run, b: &Run) -> usize {
    let within = |x: f64, r: &Run| r.left() < x && x < r.right();
    let downward = [a.from, a.to]
        .iter()
        .filter(|s| !s.up && within(s.x, b))
        .count();
    let upward = [b.from, b.to]
        .iter()
        .filter(|s| s.up && within(s.x, a))
        .count();
    downward + upward
}

/// Whether two runs lie too near to share a track.
fn meet(a: &Run, b: &Run) -> bool {
    a.left() < b.right() + GRID / 2.0 && b.left() < a.right() + GRID / 2.0
}

/// Gives the runs of a channel their tracks; returns how many there are.
fn tracks(runs: &mut [Vec<Run>], channel: usize) -> usize {
    let mut order: Vec<(usize, usize)> = Vec::new();
    for (w, own) in runs.iter().enumerate() {
        for (r, run) in own.iter().enumerate() {
            if run.channel == channel && !run.straight() {
                order.push((w, r));
            }
        }
    }
    order.sort_by(|a, b| {
        let at = |(w, r): &(usize, usize)| &runs[*w][*r];
        at(a).left().total_cmp(&at(b).left()).then(a.cmp(b))
    });
    let get = |(w, r): (usize, usize)| runs[w][r];
    // Neighbours change places as long as that saves a crossing.
    for _ in 0..order.len() {
        let mut changed = false;
        for i in 1..order.len() {
            let (a, b) = (get(order[i - 1]), get(order[i]));
            if crossings(&b, &a) < crossings(&a, &b) {
                order.swap(i - 1, i);
                changed = true;
            }
        }
        if !changed {
            break;
        }
    }
    // As far up as those before it allow.
    let mut set: Vec<Run> = Vec::new();
    let mut most = 0;
    for (w, r) in order {
        let mut run = runs[w][r];
        run.track = set
            .iter()
            .filter(|other| meet(other, &run))
            .map(|other| other.track + 1)
            .max()
            .unwrap_or(0);
        most = most.max(run.track + 1);
        runs[w][r].track = run.track;
        set.push(run);
    }
    most
}
