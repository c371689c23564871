//! Where the words of each wire go: level over one of its lines, or upright beside one, where
//! nothing else is. If there is no such place, the channel at one of its ends is made higher.

use super::svg::text_width;

/// Size of a wire's label.
pub(super) const SIZE: f64 = 10.5;
/// The height of its letters' box.
const TALL: f64 = 11.5;

/// A box that is taken, or a label's own.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Area {
    pub left: f64,
    pub top: f64,
    pub right: f64,
    pub bottom: f64,
}

impl Area {
    pub fn meets(&self, other: &Area) -> bool {
        self.left < other.right
            && other.left < self.right
            && self.top < other.bottom
            && other.top < self.bottom
    }
}

/// A line of a wire, from point to point.
pub(super) type Line = [(f64, f64); 2];

/// The area that a line takes.
pub(super) fn along(line: &Line, half: f64) -> Area {
    let [(ax, ay), (bx, by)] = *line;
    Area {
        left: ax.min(bx) - half,
        right: ax.max(bx) + half,
        top: ay.min(by) - half,
        bottom: ay.max(by) + half,
    }
}

/// A label in its place.
#[derive(Debug, Clone)]
pub(super) struct Label {
    pub text: String,
    pub area: Area,
    pub turned: bool,
    /// It ends at its line, not begins.
    pub ends: bool,
}

impl Label {
    /// Where its base line begins, or ends.
    pub fn start(&self) -> (f64, f64) {
        if self.turned {
            (self.area.right - 2.5, self.area.bottom - 1.0)
        } else if self.ends {
            (self.area.right - 1.0, self.area.bottom - 2.5)
        } else {
            (self.area.left + 1.0, self.area.bottom - 2.5)
        }
    }
}

/// Finds a place for a wire's label.
///
/// `lines` are its own, `taken` everything else's areas (its own lines too: a label does not lie
/// on the wire that it names).
pub(super) fn find(text: &str, lines: &[Line], taken: &[Area], picture: &Area) -> Option<Label> {
    let long = text_width(text, SIZE) + 2.0;
    let free = |area: &Area| {
        area.left >= picture.left
            && area.right <= picture.right
            && area.top >= picture.top
            && area.bottom <= picture.bottom
            && taken.iter().all(|t| !t.meets(area))
    };
    let made = |area, turned, ends| Label {
        text: text.to_owned(),
        area,
        turned,
        ends,
    };
    let level = |line: &&Line| line[0].1 == line[1].1;
    // Over a level line, from its middle outwards.
    for line in lines.iter().filter(level) {
        let (left, right) = (line[0].0.min(line[1].0), line[0].0.max(line[1].0));
        let y = line[0].1 - 2.0;
        let slack = right - left - long;
        if slack < 0.0 {
            continue;
        }
        for step in steps(slack) {
            let x = left + step;
            let area = Area {
                left: x,
                right: x + long,
                top: y - TALL,
                bottom: y,
            };
            if free(&area) {
                return Some(made(area, false, false));
            }
        }
    }
    // Level, beside an upright line; then upright beside it.
    for turned in [false, true] {
        let (wide, tall) = if turned { (TALL, long) } else { (long, TALL) };
        for line in lines.iter().filter(|l| !level(l)) {
            let (top, bottom) = (line[0].1.min(line[1].1), line[0].1.max(line[1].1));
            let slack = bottom - top - tall - 4.0;
            if slack < 0.0 {
                continue;
            }
            for step in steps(slack) {
                let x = line[0].0;
                for (left, ends) in [(x + 2.0, false), (x - 2.0 - wide, !turned)] {
                    let area = Area {
                        left,
                        right: left + wide,
                        top: top + 2.0 + step,
                        bottom: top + 2.0 + step + tall,
                    };
                    if free(&area) {
                        return Some(made(area, turned, ends));
                    }
                }
            }
        }
    }
    None
}

/// Places from the middle of a slack outwards.
fn steps(slack: f64) -> impl Iterator<Item = f64> {
    let middle = slack / 2.0;
    let count = (middle / 4.0).floor() as i32;
    std::iter::once(middle).chain((1..=count).flat_map(move |i| {
        let by = 4.0 * f64::from(i);
        [middle - by, middle + by]
    }))
}

/// The length that a label needs upright, with some room around.
pub(super) fn zone(text: &str) -> f64 {
    text_width(text, SIZE) + 12.0
}
