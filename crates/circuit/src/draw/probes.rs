//! The picture of probe points: the parts that a check touches, their terminals, and where each of
//! the two probes goes. As wide as a phone.
//!
//! A terminal is a level line through its part's box. Probes on terminals come from the left, the
//! wires leave to the right, and a lifted end is drawn off its terminal. Probe A is a circle, probe
//! B a square, each with its letter; the clamp is a ring around its wire.

use ohmtrail_core::reading::Function;
use ohmtrail_words::Tongue;

use super::card::{Card, Marker, WIDTH};
use super::inside::Insides;
use super::place::part_of;
use super::said::in_language;
use super::svg::{Anchor, Svg, Text, id, wrap};
use crate::sheet::{Check, PointId, Question, Sheet};

/// Free room at the edges.
const MARGIN: f64 = 10.0;
/// Size of the words under the picture.
const WORDS: f64 = 13.0;

/// One measurement to be drawn.
#[derive(Debug, Clone, Copy)]
pub struct Probing<'a> {
    /// The meter's function.
    pub function: Function,
    /// Where the probes go; for amps both ends of the wire in the clamp.
    pub points: [PointId; 2],
    /// The wire ends that are lifted.
    pub lifted: &'a [PointId],
}

impl<'a> Probing<'a> {
    /// What a check of the sheet measures; none for a look.
    #[must_use]
    pub fn of(sheet: &'a Sheet, check: &Check) -> Option<Self> {
        let Question::Measure {
            function, points, ..
        } = check.question
        else {
            return None;
        };
        let lift = check.lift.and_then(|l| sheet.lifts.get(l));
        Some(Probing {
            function,
            points,
            lifted: lift.map_or(&[], |l| l.ends.as_slice()),
        })
    }

    /// Whether the meter's clamp goes around a wire, instead of two probes on two points.
    #[must_use]
    pub fn clamped(&self) -> bool {
        self.function == Function::AmpsAc
    }
}

/// The part at a point: a terminal's own, or the one that a wire's end sits on.
fn part_at(sheet: &Sheet, point: PointId) -> usize {
    part_of(sheet, seat(sheet, point))
}

/// The terminal at a point.
fn seat(sheet: &Sheet, point: PointId) -> PointId {
    sheet.wire_of_end(point).map_or(point, |wire| {
        wire.terminals[usize::from(wire.ends[1] == point)]
    })
}

/// Where a probe goes, in words.
fn place_words(t: Tongue, sheet: &Sheet, point: PointId, lifted: &[PointId]) -> String {
    let at = sheet.point_name(seat(sheet, point));
    match sheet.wire_of_end(point) {
        Some(wire) => {
            let id = match (lifted.contains(&point), wire.mark.is_empty()) {
                (true, true) => "draw-end-off",
                (true, false) => "draw-end-off-marked",
                (false, true) => "draw-end-on",
                (false, false) => "draw-end-on-marked",
            };
            let named = [
                ("mark", wire.mark.as_str()),
                ("wire", &wire.name),
                ("at", at),
            ];
            t.tell(id, &named)
        }
        None => t.tell("draw-terminal", &[("at", at)]),
    }
}

/// Draws where the probes of a measurement go, with words in that language.
///
/// Ids are `probe-a`, `probe-b` or `clamp`, and `probing-terminal-NAME`, `probing-end-NAME` for
/// terminals and wires' ends, with names as [`super::id`] writes them. The class of a lifted end's
/// group is `end lifted`.
#[must_use]
pub fn probes(sheet: &Sheet, probing: &Probing<'_>, tongue: Tongue) -> String {
    let t = tongue;
    let sheet = &*in_language(sheet, t);
    let [a, b] = probing.points;
    let mut captions: Vec<(Option<Marker>, String)> = Vec::new();
    if probing.clamped() {
        let words = sheet.wire_of_end(a).map_or_else(
            || t.say("draw-clamp"),
            |wire| {
                let mark = if wire.mark.is_empty() { "" } else { ", " };
                let wire = format!("{}{mark}{}", wire.name, wire.mark);
                t.tell("draw-clamp-around", &[("wire", &wire)])
            },
        );
        captions.push((Some(Marker::Clamp), words));
    } else {
        for (marker, point) in [(Marker::A, a), (Marker::B, b)] {
            let words = place_words(t, sheet, point, probing.lifted);
            captions.push((Some(marker), words));
        }
    }
    if !probing.lifted.is_empty() {
        let ends: Vec<&str> = probing
            .lifted
            .iter()
            .map(|e| sheet.point_name(*e))
            .collect();
        captions.push((None, t.tell("draw-lifted", &[("ends", &ends.join(", "))])));
    }
    let mut parts = vec![part_at(sheet, a)];
    if !probing.clamped() && !parts.contains(&part_at(sheet, b)) {
        parts.push(part_at(sheet, b));
    }
    let named = [
        ("function", probing.function.name()),
        ("one", sheet.point_name(a)),
        ("other", sheet.point_name(b)),
    ];
    let title = t.tell("draw-probing", &named);
    let marks = if probing.clamped() {
        vec![(Marker::Clamp, a)]
    } else {
        vec![(Marker::A, a), (Marker::B, b)]
    };
    picture(t, sheet, &title, &parts, &marks, probing.lifted, &captions)
}

/// Draws what a check of the sheet is about: its probes, or the part that is looked at. `None` if
/// there is no such check.
#[must_use]
pub fn check(sheet: &Sheet, number: usize, tongue: Tongue) -> Option<String> {
    let check = sheet.checks.get(number)?;
    if let Some(probing) = Probing::of(sheet, check) {
        return Some(probes(sheet, &probing, tongue));
    }
    let Question::Look { part, look } = check.question else {
        return None;
    };
    let title = tongue.tell("draw-look", &[("look", &sheet.look_name(part, look))]);
    let captions = [(None, sheet.said(&check.why).to(tongue))];
    let sheet = &*in_language(sheet, tongue);
    let parts = [part];
    Some(picture(tongue, sheet, &title, &parts, &[], &[], &captions))
}

fn picture(
    t: Tongue,
    sheet: &Sheet,
    title: &str,
    parts: &[usize],
    marks: &[(Marker, PointId)],
    lifted: &[PointId],
    captions: &[(Option<Marker>, String)],
) -> String {
    let insides = Insides::of(sheet);
    let cards: Vec<Card<'_>> = parts
        .iter()
        .map(|p| Card::of(t, sheet, &insides, *p, marks, lifted))
        .collect();
    let width = cards.iter().map(|c| c.width).fold(WIDTH, f64::max);
    let wrapped: Vec<Vec<String>> = captions
        .iter()
        .map(|(_, words)| wrap(words, WORDS, width - MARGIN - 46.0))
        .collect();
    let head = wrap(title, WORDS * 1.06, width - 2.0 * MARGIN);
    let mut height = MARGIN + 17.0 * head.len() as f64;
    height += cards.iter().map(|c| c.height).sum::<f64>();
    height += wrapped
        .iter()
        .map(|lines| 17.0 * lines.len() as f64 + 8.0)
        .sum::<f64>()
        + MARGIN;
    let desc: Vec<String> = captions
        .iter()
        .map(|(marker, words)| match marker {
            Some(marker) => format!("{}: {words}", t.say(marker.words())),
            None => words.clone(),
        })
        .collect();
    let mut svg = Svg::new("probing-", width, height, title, &desc.join("; "));
    let mut y = MARGIN;
    for line in &head {
        svg.text(MARGIN, y + 12.0, &Text::new(line, WORDS).bold());
        y += 17.0;
    }
    for card in &cards {
        card.draw(&mut svg, y);
        y += card.height;
    }
    for ((marker, _), lines) in captions.iter().zip(&wrapped) {
        y += 4.0;
        if let Some(marker) = marker {
            marker.draw(&mut svg, MARGIN + 12.0, y + 10.0);
        }
        for line in lines {
            y += 17.0;
            svg.text(MARGIN + 32.0, y - 3.0, &Text::new(line, WORDS));
        }
        y += 4.0;
    }
    svg.finish()
}

impl Marker {
    /// What it is, by its message.
    fn words(self) -> &'static str {
        match self {
            Marker::A => "draw-circle",
            Marker::B => "draw-square",
            Marker::Clamp => "draw-ring",
        }
    }

    /// Draws it around a place.
    pub(super) fn draw(self, svg: &mut Svg, x: f64, y: f64) {
        let letter = match self {
            Marker::A => {
                svg.circle(x, y, 9.0, 2.2, false);
                "A"
            }
            Marker::B => {
                svg.rect([x - 8.5, y - 8.5, 17.0, 17.0], 0.0, 2.2);
                "B"
            }
            Marker::Clamp => {
                svg.circle(x, y, 9.0, 3.4, false);
                return;
            }
        };
        let text = Text::new(letter, 12.5).bold().anchor(Anchor::Middle);
        svg.text(x, y + 4.4, &text);
    }
}

/// The id of a name in this picture.
pub(super) fn own_id(what: &str, name: &str) -> String {
    format!("probing-{what}-{}", id(name))
}
