//! The schematic of a whole sheet.

use ohmtrail_words::Tongue;

use super::inside::{Insides, Level, Tip};
use super::label::{self, Area, Label, Line};
use super::place::{
    self, Box, EDGE, EndOf, HEAD, NAME, Placed, SMALL, STRAND, STRAND_NAME, Slot, left_first,
    tip_name,
};
use super::route::{self, MARGIN, Routed, Run};
use super::said::in_language;
use super::svg::{Anchor, Svg, Text, id, text_width, wrap};
use super::symbols;
use crate::sheet::{Sheet, Wire};

/// Between two level lines.
const TRACK: f64 = 15.0;
/// Between a row and the first level line.
const STUB: f64 = 18.0;
/// The room of a ground symbol under a box.
const GROUND: f64 = 20.0;
/// The least width, so that title and key have room.
const LEAST_WIDTH: f64 = 320.0;
/// Size of the title.
const TITLE: f64 = 14.0;

/// The schematic's geometry.
pub(super) struct Sketch {
    pub insides: Insides,
    pub boxes: Vec<Box>,
    /// The lines of each wire, from its first end to its second.
    pub wires: Vec<Vec<Line>>,
    /// One for each wire.
    pub labels: Vec<Label>,
    pub title: Vec<String>,
    /// The key's top.
    pub key: f64,
    pub width: f64,
    pub height: f64,
}

/// Draws the schematic of a sheet, with words in that language.
///
/// Every part, terminal and wire is a group with an id: `part-NAME`, `terminal-PART.TERMINAL`,
/// `wire-NAME`, the names as [`super::id`] writes them, so that a page can point at one.
#[must_use]
pub fn schematic(sheet: &Sheet, tongue: Tongue) -> String {
    let sheet = &*in_language(sheet, tongue);
    draw(tongue, sheet, &Sketch::of(sheet))
}

impl Sketch {
    pub fn of(sheet: &Sheet) -> Self {
        let insides = Insides::of(sheet);
        let mut placed = place::place(sheet, &insides);
        let routed = route::route(sheet, &mut placed);
        let width = routed.width.max(LEAST_WIDTH);
        let title = wrap(&sheet.title, TITLE * 1.06, width - 2.0 * MARGIN);
        let begin = MARGIN + 18.0 * title.len() as f64 + 8.0;
        // Room for labels at the channels' upper and lower side, grown until each has its place.
        let mut zones = vec![[0.0_f64; 2]; placed.rows.len() + 1];
        let mut forced: Vec<Option<[usize; 2]>> = vec![None; sheet.wires.len()];
        loop {
            let end = heights(&mut placed, &routed, begin, &zones);
            let wires: Vec<Vec<Line>> = routed
                .runs
                .iter()
                .map(|runs| lines(&placed, &routed, runs, &zones))
                .collect();
            let picture = Area {
                left: 1.0,
                top: begin,
                right: width - 1.0,
                bottom: end,
            };
            let (labels, missing) = label(sheet, &placed, &wires, &picture, &forced);
            if missing.is_empty() || missing.iter().all(|w| forced[*w].is_some()) {
                return Sketch {
                    insides,
                    boxes: placed.boxes,
                    wires,
                    labels,
                    title,
                    key: end + 6.0,
                    width,
                    height: end + 6.0 + key_height(),
                };
            }
            for wire in missing {
                let Some(run) = routed.runs[wire].first() else {
                    continue;
                };
                let side = usize::from(!run.from.up);
                forced[wire] = Some([run.channel, side]);
                let zone = &mut zones[run.channel][side];
                *zone = zone.max(label::zone(&words(&sheet.wires[wire])));
            }
        }
    }
}

/// What is written along a wire: its name and its mark.
pub(super) fn words(wire: &Wire) -> String {
    if wire.mark.is_empty() {
        wire.name.clone()
    } else {
        format!("{}, {}", wire.name, wire.mark)
    }
}

/// Whether a row has ground symbols under it.
fn grounded(placed: &Placed, row: usize) -> bool {
    placed.rows.get(row).is_some_and(|parts| {
        parts.iter().any(|p| {
            let pins = placed.boxes[*p].bottom.iter().flat_map(|s| &s.pins);
            pins.into_iter().any(|pin| pin.of == EndOf::Ground)
        })
    })
}

/// The room over and under the level lines of a channel.
fn margins(placed: &Placed, channel: usize, zones: &[[f64; 2]]) -> [f64; 2] {
    let over: f64 = match channel.checked_sub(1) {
        Some(row) if grounded(placed, row) => GROUND + 12.0,
        Some(_) => STUB,
        None => 14.0,
    };
    let under: f64 = if channel < placed.rows.len() {
        12.0
    } else {
        6.0
    };
    let [a, b] = zones[channel];
    [over.max(a), under.max(b)]
}

/// Stacks channels and rows; returns where the last channel ends.
fn heights(placed: &mut Placed, routed: &Routed, begin: f64, zones: &[[f64; 2]]) -> f64 {
    let mut y = begin;
    for channel in 0..=placed.rows.len() {
        let [over, under] = margins(placed, channel, zones);
        let tracks = routed.tracks[channel];
        let inner = channel > 0 && channel < placed.rows.len();
        if tracks > 0 || inner {
            y += over + TRACK * tracks.saturating_sub(1) as f64 + under;
        } else if channel > 0 {
            y += if grounded(placed, channel - 1) {
                GROUND
            } else {
                4.0
            };
        }
        let Some(row) = placed.rows.get(channel) else {
            break;
        };
        let mut tall = 0.0_f64;
        for &part in row {
            placed.boxes[part].y = y;
            tall = tall.max(placed.boxes[part].height);
        }
        y += tall;
    }
    y
}

/// The top of a channel.
fn channel_top(placed: &Placed, channel: usize, routed: &Routed, zones: &[[f64; 2]]) -> f64 {
    let Some(row) = placed.rows.get(channel) else {
        // Under the last row.
        return placed.rows.last().map_or(0.0, |row| bottom(placed, row));
    };
    match channel.checked_sub(1) {
        Some(above) => bottom(placed, &placed.rows[above]),
        None => {
            let [over, under] = margins(placed, channel, zones);
            let lines = TRACK * routed.tracks[channel].saturating_sub(1) as f64;
            let top = row.first().map_or(0.0, |p| placed.boxes[*p].y);
            top - over - under - lines
        }
    }
}

fn bottom(placed: &Placed, row: &[usize]) -> f64 {
    row.iter()
        .map(|p| placed.boxes[*p].y + placed.boxes[*p].height)
        .fold(0.0, f64::max)
}

/// The lines of a wire.
fn lines(placed: &Placed, routed: &Routed, runs: &[Run], zones: &[[f64; 2]]) -> Vec<Line> {
    let edge = |part: usize, upper: bool| {
        let b = &placed.boxes[part];
        if upper { b.y } else { b.y + b.height }
    };
    let level = |run: &Run| {
        let [over, _] = margins(placed, run.channel, zones);
        channel_top(placed, run.channel, routed, zones) + over + TRACK * run.track as f64
    };
    let mut points: Vec<(f64, f64)> = Vec::new();
    if let Some(run) = runs.first()
        && let Some(part) = run.from.pin
    {
        points.push((run.from.x, edge(part, !run.from.up)));
    }
    for run in runs {
        if !run.straight() {
            let y = level(run);
            points.push((run.from.x, y));
            points.push((run.to.x, y));
        }
    }
    if let Some(run) = runs.last()
        && let Some(part) = run.to.pin
    {
        points.push((run.to.x, edge(part, !run.to.up)));
    }
    points.windows(2).map(|p| [p[0], p[1]]).collect()
}

/// What is taken before any label is placed: boxes, ground symbols, wires.
pub(super) fn taken(boxes: &[Box], wires: &[Vec<Line>]) -> Vec<Area> {
    let mut taken: Vec<Area> = boxes
        .iter()
        .map(|b| Area {
            left: b.x - 2.0,
            top: b.y - 4.0,
            right: b.x + b.width + 2.0,
            bottom: b.y + b.height + 4.0,
        })
        .collect();
    for b in boxes {
        for pin in b.bottom.iter().flat_map(|s| &s.pins) {
            if pin.of == EndOf::Ground {
                let x = b.x + pin.x;
                let y = b.y + b.height;
                taken.push(Area {
                    left: x - 7.0,
                    top: y,
                    right: x + 7.0,
                    bottom: y + GROUND - 4.0,
                });
            }
        }
    }
    taken.extend(wires.iter().flatten().map(|line| label::along(line, 1.4)));
    taken
}

/// A label for each wire; those without a place are returned as well.
fn label(
    sheet: &Sheet,
    placed: &Placed,
    wires: &[Vec<Line>],
    picture: &Area,
    forced: &[Option<[usize; 2]>],
) -> (Vec<Label>, Vec<usize>) {
    let mut taken = taken(&placed.boxes, wires);
    let mut labels: Vec<Option<Label>> = vec![None; wires.len()];
    let mut missing = Vec::new();
    // Those that the channels were made higher for come first: they have one place only.
    let mut order: Vec<usize> = (0..wires.len()).collect();
    order.sort_by_key(|w| forced[*w].is_none());
    for w in order {
        let text = words(&sheet.wires[w]);
        let first = forced[w].and_then(|_| wires[w].get(..1));
        // Right under another wire's level line a label would be taken for that wire's.
        let mut apart = taken.clone();
        let others = wires.iter().enumerate().filter(|(o, _)| *o != w);
        apart.extend(
            others
                .flat_map(|(_, lines)| lines)
                .filter(|line| line[0].1 == line[1].1)
                .map(|line| {
                    let mut under = label::along(line, 1.4);
                    under.bottom += 8.0;
                    under
                }),
        );
        let found = first
            .and_then(|line| label::find(&text, line, &taken, picture))
            .or_else(|| label::find(&text, &wires[w], &apart, picture))
            .or_else(|| label::find(&text, &wires[w], &taken, picture));
        match found {
            Some(found) => {
                taken.push(found.area);
                labels[w] = Some(found);
            }
            None => missing.push(w),
        }
    }
    (labels.into_iter().flatten().collect(), missing)
}

fn level_words(has: [bool; 2]) -> &'static str {
    match has {
        [true, true] => "line and control",
        [false, true] => "control",
        _ => "line voltage",
    }
}

fn draw(t: Tongue, sheet: &Sheet, sketch: &Sketch) -> String {
    let named = [
        ("sheet", sheet.name.as_str()),
        ("parts", &sheet.parts.len().to_string()),
        ("wires", &sheet.wires.len().to_string()),
    ];
    let desc = t.tell("draw-schematic", &named);
    let mut svg = Svg::new("", sketch.width, sketch.height, &sheet.title, &desc);
    for (i, line) in sketch.title.iter().enumerate() {
        let y = MARGIN + 12.0 + 18.0 * i as f64;
        svg.text(MARGIN, y, &Text::new(line, TITLE).bold());
    }
    for (w, wire) in sheet.wires.iter().enumerate() {
        draw_wire(&mut svg, t, sheet, sketch, w, wire);
    }
    for b in &sketch.boxes {
        draw_part(&mut svg, t, sheet, &sketch.insides, b);
    }
    draw_key(&mut svg, t, sketch);
    svg.finish()
}

fn level_name(level: Level) -> &'static str {
    match level {
        Level::Line => "line",
        Level::Control => "control",
    }
}

fn draw_wire(svg: &mut Svg, t: Tongue, sheet: &Sheet, sketch: &Sketch, w: usize, wire: &Wire) {
    let level = sketch.insides.levels[wire.ends[0]];
    let [from, to] = wire.terminals.map(|t| sheet.point_name(t));
    let mark = if wire.mark.is_empty() {
        String::new()
    } else {
        format!(", {}", wire.mark)
    };
    let id_of_level = match level {
        Level::Line => "draw-wire-line",
        Level::Control => "draw-wire-control",
    };
    let named = [
        ("wire", format!("{}{mark}", wire.name)),
        ("from", from.to_owned()),
        ("to", to.to_owned()),
    ];
    let named = named
        .each_ref()
        .map(|(name, value)| (*name, value.as_str()));
    let title = t.tell(id_of_level, &named);
    svg.open(
        &format!("wire-{}", id(&wire.name)),
        &format!("wire {}", level_name(level)),
        &title,
    );
    let mut points: Vec<(f64, f64)> = sketch.wires[w].iter().map(|l| l[0]).collect();
    points.extend(sketch.wires[w].last().map(|l| l[1]));
    svg.path(&points, symbols::weight(level));
    if let Some(label) = sketch.labels.get(w) {
        let (x, y) = label.start();
        let text = Text {
            turned: label.turned,
            anchor: if label.ends {
                Anchor::End
            } else {
                Anchor::Start
            },
            ..Text::new(&label.text, label::SIZE)
        };
        svg.text(x, y, &text);
    }
    svg.close();
}

fn draw_part(svg: &mut Svg, t: Tongue, sheet: &Sheet, insides: &Insides, b: &Box) {
    let part = &sheet.parts[b.part];
    let has = insides.of_part(sheet, b.part);
    let class = format!("part {}", level_words(has));
    let mut title = format!("{}: {}", part.name, part.words);
    if let Some(about) = t.phrase(part.kind.about) {
        title += &format!(" ({about})");
    }
    svg.open(&format!("part-{}", id(&part.name)), &class, &title);
    let only_control = has == [false, true];
    let (radius, weight) = if only_control { (8.0, 1.1) } else { (0.0, 2.4) };
    svg.rect([b.x, b.y, b.width, b.height], radius, weight);
    let middle = b.x + b.width / 2.0;
    let mut y = b.y + if b.top.is_empty() { 0.0 } else { EDGE };
    let name = Text::new(&part.name, NAME).bold().anchor(Anchor::Middle);
    svg.text(middle, y + 15.0, &name);
    let words = t.phrase_or_own(level_words(has));
    let words = Text::new(&words, 10.0).anchor(Anchor::Middle);
    svg.text(middle, y + 27.0, &words);
    y += HEAD;
    inside(svg, sheet, insides, b, y);
    for (slots, upper) in [(&b.top, true), (&b.bottom, false)] {
        for slot in slots {
            draw_terminal(svg, sheet, insides, b, slot, upper);
        }
    }
    svg.close();
}

/// What lies between the terminals: a line of it for each.
fn inside(svg: &mut Svg, sheet: &Sheet, insides: &Insides, b: &Box, top: f64) {
    let part = &sheet.parts[b.part];
    let strands = &insides.strands[b.part];
    let name = |tip: Tip| tip_name(part, tip);
    // As wide as the longest names beside it let it be.
    let widest = |side: usize| {
        let names = strands.iter().map(|s| name(left_first(s)[side]));
        names
            .map(|n| text_width(n, STRAND_NAME))
            .fold(0.0, f64::max)
    };
    let half = (b.width / 2.0 - 6.0).min(80.0);
    let middle = b.x + b.width / 2.0;
    let (left, right) = (
        middle - half + widest(0) + 4.0,
        middle + half - widest(1) - 4.0,
    );
    let mut joints: Vec<(usize, f64)> = Vec::new();
    for (i, strand) in strands.iter().enumerate() {
        let y = top + STRAND * (i as f64 + 0.5);
        let tips = left_first(strand);
        let level = tips
            .iter()
            .find_map(|t| match t {
                Tip::Terminal(t) => insides.levels.get(part.first_point + t).copied(),
                _ => None,
            })
            .unwrap_or(Level::Line);
        svg.text(
            left - 4.0,
            y + 3.3,
            &Text::new(name(tips[0]), STRAND_NAME).anchor(Anchor::End),
        );
        svg.text(right + 4.0, y + 3.3, &Text::new(name(tips[1]), STRAND_NAME));
        symbols::strand(svg, strand.symbol, (left, y), (right, y), level);
        if let Tip::Inner(joint) = tips[1] {
            joints.push((joint, y));
        }
    }
    // What ends at one joint inside is joined there.
    for joint in joints.iter().map(|(j, _)| *j) {
        let ys: Vec<f64> = joints
            .iter()
            .filter(|(j, _)| *j == joint)
            .map(|(_, y)| *y)
            .collect();
        let (Some(first), Some(last)) = (ys.first(), ys.last()) else {
            continue;
        };
        if first < last && joints.first().is_some_and(|(j, _)| *j == joint) {
            svg.path(&[(right, *first), (right, *last)], 1.4);
            for y in ys {
                svg.circle(right, y, 2.0, 0.0, true);
            }
            break;
        }
    }
}

fn draw_terminal(
    svg: &mut Svg,
    sheet: &Sheet,
    insides: &Insides,
    b: &Box,
    slot: &Slot,
    upper: bool,
) {
    let part = &sheet.parts[b.part];
    let point = part.first_point + slot.terminal;
    let terminal = &part.kind.terminals[slot.terminal];
    let title = format!(
        "terminal {}: {}",
        sheet.point_name(point),
        sheet.points[point].1
    );
    svg.open(
        &format!("terminal-{}", id(sheet.point_name(point))),
        "terminal",
        &title,
    );
    let level = insides.levels[point];
    let y = if upper { b.y } else { b.y + b.height };
    let pads: Vec<f64> = slot
        .pins
        .iter()
        .filter(|p| p.of != EndOf::Ground || slot.pins.len() == 1)
        .map(|p| b.x + p.x)
        .collect();
    if let [first, .., last] = pads[..] {
        svg.path(&[(first, y), (last, y)], 4.0);
    }
    for pin in &slot.pins {
        if pin.of == EndOf::Ground {
            symbols::ground(svg, b.x + pin.x, y);
        }
    }
    for x in pads {
        symbols::pad(svg, x, y, level);
    }
    let base = if upper {
        b.y + 14.0
    } else {
        b.y + b.height - 7.0
    };
    let name = Text::new(terminal.name, SMALL).anchor(Anchor::Middle);
    svg.text(b.x + slot.x, base, &name);
    svg.close();
}

const KEY: [(Level, &str); 2] = [
    (Level::Line, "draw-key-line"),
    (Level::Control, "draw-key-control"),
];

fn key_height() -> f64 {
    18.0 * (KEY.len() as f64 + 1.0) + MARGIN
}

fn draw_key(svg: &mut Svg, t: Tongue, sketch: &Sketch) {
    svg.open("key", "key", &t.say("draw-key"));
    for (i, (level, words)) in KEY.into_iter().enumerate() {
        let y = sketch.key + 10.0 + 18.0 * i as f64;
        svg.path(&[(MARGIN, y), (MARGIN + 40.0, y)], symbols::weight(level));
        symbols::pad(svg, MARGIN + 40.0, y, level);
        svg.text(MARGIN + 52.0, y + 4.0, &Text::new(&t.say(words), SMALL));
    }
    let y = sketch.key + 10.0 + 18.0 * KEY.len() as f64;
    symbols::ground(svg, MARGIN + 20.0, y - 7.0);
    svg.text(
        MARGIN + 52.0,
        y + 4.0,
        &Text::new(&t.say("draw-key-ground"), SMALL),
    );
    svg.close();
}
