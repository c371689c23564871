//! What must hold for every picture of every built-in sheet, read back from the SVG with an XML
//! parser (roxmltree) and checked as geometry.

use std::collections::BTreeMap;
use std::time::Instant;

use ohmtrail_words::Tongue;
use roxmltree::{Document, Node};

use super::label::{Area, along};
use super::place::EndOf;
use super::schematic::Sketch;
use super::{Probing, check, id, probes, schematic};
use crate::parts::{KINDS, Kind};
use crate::sheet::{BUILTIN, Sheet, read_builtin, read_text, unit_words};

fn sheets() -> Vec<Sheet> {
    let mut all: Vec<Sheet> = BUILTIN
        .iter()
        .map(|(name, _)| read_builtin(name).expect("built in").expect("sound"))
        .collect();
    all.push(small());
    all
}

fn small() -> Sheet {
    read_text("small", include_str!("../../tests/small-sheet.toml")).expect("sound")
}

/// A numeric attribute.
fn number(node: &Node<'_, '_>, name: &str) -> f64 {
    node.attribute(name)
        .and_then(|v| v.parse().ok())
        .unwrap_or_else(|| panic!("{name} of {node:?}"))
}

/// The area of a text's letters: no face that is in use is much wider than this.
fn text_area(node: &Node<'_, '_>) -> Area {
    let size = number(node, "font-size");
    let bold = if node.attribute("font-weight").is_some() {
        1.06
    } else {
        1.0
    };
    let letters = node.text().unwrap_or_default().chars();
    let ems: f64 = letters
        .map(|c| if "mwMW".contains(c) { 0.95 } else { 0.58 })
        .sum();
    let long = ems * size * bold;
    let (x, y) = (number(node, "x"), number(node, "y"));
    let left = match node.attribute("text-anchor") {
        Some("middle") => x - long / 2.0,
        Some("end") => x - long,
        _ => x,
    };
    if node.attribute("transform").is_some() {
        // A quarter turn about its place: it reads upwards.
        return Area {
            left: x - 0.72 * size,
            right: x + 0.15 * size,
            top: y - (left - x) - long,
            bottom: y - (left - x),
        };
    }
    Area {
        left,
        right: left + long,
        top: y - 0.72 * size,
        bottom: y + 0.15 * size,
    }
}

/// The area that an element takes; a path's by the points it names.
fn area(node: &Node<'_, '_>) -> Option<Area> {
    let around = |points: Vec<(f64, f64)>| {
        let (first, rest) = points.split_first().expect("a point");
        let mut a = Area {
            left: first.0,
            right: first.0,
            top: first.1,
            bottom: first.1,
        };
        for (x, y) in rest {
            a.left = a.left.min(*x);
            a.right = a.right.max(*x);
            a.top = a.top.min(*y);
            a.bottom = a.bottom.max(*y);
        }
        a
    };
    Some(match node.tag_name().name() {
        "text" => text_area(node),
        "rect" => {
            let (x, y) = (number(node, "x"), number(node, "y"));
            around(vec![
                (x, y),
                (x + number(node, "width"), y + number(node, "height")),
            ])
        }
        "circle" => {
            let (x, y, r) = (number(node, "cx"), number(node, "cy"), number(node, "r"));
            around(vec![(x - r, y - r), (x + r, y + r)])
        }
        "polygon" => around(
            node.attribute("points")
                .expect("points")
                .split(' ')
                .map(|p| {
                    let (x, y) = p.split_once(',').expect("a pair");
                    (x.parse().expect("x"), y.parse().expect("y"))
                })
                .collect(),
        ),
        "path" => {
            let d = node.attribute("d").expect("commands");
            if d.contains(['A', 'q']) {
                let (x, y) = d[1..].split_once(' ').expect("a start");
                let y: String = y
                    .chars()
                    .take_while(|c| c.is_ascii_digit() || *c == '.')
                    .collect();
                around(vec![(x.parse().expect("x"), y.parse().expect("y"))])
            } else {
                around(
                    d.split(['M', 'L'])
                        .skip(1)
                        .map(|p| {
                            let (x, y) = p.split_once(' ').expect("a pair");
                            (x.parse().expect("x"), y.parse().expect("y"))
                        })
                        .collect(),
                )
            }
        }
        _ => return None,
    })
}

/// What must hold for any picture: it is XML, it refers to nothing outside and runs nothing, its
/// ids are single, it says what it is, nothing leaves it, and no two texts lie on one another.
/// Returns how often each id is there, and the picture's width.
fn sound(name: &str, svg: &str) -> (BTreeMap<String, usize>, f64) {
    let document = Document::parse(svg).unwrap_or_else(|e| panic!("{name}: {e}"));
    let root = document.root_element();
    assert_eq!(root.tag_name().name(), "svg");
    let view: Vec<f64> = root
        .attribute("viewBox")
        .expect("a view box")
        .split(' ')
        .map(|v| v.parse().expect("a number"))
        .collect();
    let named = |tag: &str| {
        let found = root
            .children()
            .find(|n| n.has_tag_name(("http://www.w3.org/2000/svg", tag)));
        found
            .and_then(|n| n.text().map(str::to_owned))
            .unwrap_or_default()
    };
    assert!(
        named("title").len() > 3 && named("desc").len() > 10,
        "{name}"
    );
    let mut ids = BTreeMap::new();
    let mut texts: Vec<(Area, &str)> = Vec::new();
    for node in root.descendants().filter(Node::is_element) {
        let tag = node.tag_name().name();
        assert!(
            !["script", "image", "use", "a", "foreignObject"].contains(&tag),
            "{name}: <{tag}>"
        );
        for attribute in node.attributes() {
            assert!(
                !attribute.name().starts_with("on") && !attribute.name().contains("href"),
                "{name}: {attribute:?}"
            );
            if ["fill", "stroke", "color"].contains(&attribute.name()) {
                assert!(
                    ["none", "currentColor"].contains(&attribute.value()),
                    "{name}: {attribute:?}"
                );
            }
        }
        if let Some(id) = node.attribute("id") {
            assert!(!id.contains(char::is_whitespace), "{name}: {id:?}");
            *ids.entry(id.to_owned()).or_insert(0) += 1;
        }
        let Some(area) = area(&node) else { continue };
        assert!(
            area.left >= 0.0 && area.right <= view[2] && area.top >= 0.0 && area.bottom <= view[3],
            "{name}: {node:?} takes {area:?}, the picture is {view:?}"
        );
        if tag == "text" {
            let text = node.text().unwrap_or_default();
            assert!(
                number(&node, "font-size") >= 9.0,
                "{name}: {text} is too small"
            );
            for (other, words) in &texts {
                assert!(
                    !other.meets(&area),
                    "{name}: \"{text}\" lies on \"{words}\": {area:?} {other:?}"
                );
            }
            texts.push((area, text));
        }
    }
    for (id, count) in &ids {
        assert_eq!(*count, 1, "{name}: {id}");
    }
    (ids, view[2])
}

#[test]
fn a_schematic_has_every_part_terminal_and_wire_once() {
    for sheet in sheets() {
        let svg = schematic(&sheet, Tongue::English);
        let (ids, width) = sound(&sheet.name, &svg);
        let mut known = 0;
        for part in &sheet.parts {
            assert!(ids.contains_key(&format!("part-{}", id(&part.name))));
            for (i, _) in part.kind.terminals.iter().enumerate() {
                let name = sheet.point_name(part.first_point + i);
                assert!(
                    ids.contains_key(&format!("terminal-{}", id(name))),
                    "{name}"
                );
                known += 1;
            }
            known += 1;
        }
        for wire in &sheet.wires {
            assert!(ids.contains_key(&format!("wire-{}", id(&wire.name))));
            known += 1;
            let words = format!(">{}<", super::svg::escape(&super::schematic::words(wire)));
            assert_eq!(svg.matches(&words).count(), 1, "{words}");
        }
        // Title, description and key besides.
        assert_eq!(ids.len(), known + 3, "{}", sheet.name);
        // A phone shows it at two thirds or so.
        assert!(width <= 720.0, "{}: {width} wide", sheet.name);
    }
}

#[test]
fn no_wire_runs_through_a_box_along_another_or_through_a_label() {
    for sheet in sheets() {
        geometry(&sheet);
    }
}

/// Boxes are apart, wires keep clear of boxes and of one another and end on their terminals, labels
/// keep clear of everything.
fn geometry(sheet: &Sheet) {
    let sketch = Sketch::of(sheet);
    let name = &sheet.name;
    let boxes: Vec<(usize, Area)> = sketch
        .boxes
        .iter()
        .map(|b| {
            (
                b.part,
                Area {
                    left: b.x,
                    top: b.y,
                    right: b.x + b.width,
                    bottom: b.y + b.height,
                },
            )
        })
        .collect();
    for (i, (part, a)) in boxes.iter().enumerate() {
        for (other, b) in &boxes[i + 1..] {
            assert!(!a.meets(b), "{name}: boxes {part} and {other}");
        }
    }
    for (w, lines) in sketch.wires.iter().enumerate() {
        let wire = &sheet.wires[w].name;
        assert!(!lines.is_empty(), "{name}: {wire} has no line");
        for line in lines {
            let [(ax, ay), (bx, by)] = *line;
            assert!(ax == bx || ay == by, "{name}: {wire} slants: {line:?}");
            for (part, area) in &boxes {
                // It ends on the edge of a box.
                let thin = along(line, -0.01);
                assert!(
                    !(thin.left < area.right
                        && area.left < thin.right.max(thin.left)
                        && thin.top.min(thin.bottom) < area.bottom
                        && area.top < thin.bottom.max(thin.top)
                        && !(ay == area.top
                            || ay == area.bottom
                            || by == area.top
                            || by == area.bottom)),
                    "{name}: {wire} runs through {}",
                    sheet.parts[*part].name
                );
            }
            for (o, others) in sketch.wires.iter().enumerate().skip(w + 1) {
                for other in others {
                    let upright = |l: &super::label::Line| l[0].0 == l[1].0;
                    if upright(line) == upright(other) {
                        assert!(
                            !along(line, 1.4).meets(&along(other, 1.4)),
                            "{name}: {wire} and {} lie on one another: {line:?} {other:?}",
                            sheet.wires[o].name
                        );
                    }
                }
            }
        }
        // From terminal to terminal.
        let ends = [lines[0][0], lines[lines.len() - 1][1]];
        for (end, at) in ends.into_iter().enumerate() {
            let part = super::place::part_of(sheet, sheet.wires[w].terminals[end]);
            let b = sketch.boxes.iter().find(|b| b.part == part).expect("a box");
            let pin = |slots: &[super::place::Slot], y: f64| {
                slots
                    .iter()
                    .flat_map(|s| &s.pins)
                    .any(|p| p.of == EndOf::Wire(w, end) && (b.x + p.x, y) == at)
            };
            assert!(
                pin(&b.top, b.y) || pin(&b.bottom, b.y + b.height),
                "{name}: end {end} of {wire} is not on its terminal"
            );
        }
    }
    assert_eq!(sketch.labels.len(), sheet.wires.len(), "{}", sheet.name);
    let taken = super::schematic::taken(&sketch.boxes, &sketch.wires);
    for (i, label) in sketch.labels.iter().enumerate() {
        for other in &sketch.labels[i + 1..] {
            assert!(!label.area.meets(&other.area), "{label:?} {other:?}");
        }
        for area in &taken {
            assert!(
                !label.area.meets(area),
                "{}: {label:?} {area:?}",
                sheet.name
            );
        }
    }
}

#[test]
fn the_same_sheet_gives_the_same_bytes_in_less_than_a_second() {
    for sheet in sheets() {
        let first = schematic(&sheet, Tongue::English);
        // The best of some runs: other tests run beside this one.
        let took = (0..4)
            .map(|_| {
                let begun = Instant::now();
                assert_eq!(first, schematic(&sheet, Tongue::English), "{}", sheet.name);
                begun.elapsed()
            })
            .min()
            .expect("some runs");
        assert!(took.as_millis() < 1000, "{}: {took:?}", sheet.name);
    }
}

#[test]
fn every_check_has_its_picture() {
    for sheet in sheets() {
        for (number, asked) in sheet.checks.iter().enumerate() {
            let svg = check(&sheet, number, Tongue::English).expect("a picture");
            let name = format!("{} check {number}", sheet.name);
            let (ids, width) = sound(&name, &svg);
            assert!(width <= 520.0, "{name}: {width} wide");
            let Some(probing) = Probing::of(&sheet, asked) else {
                assert!(!ids.contains_key("probe-a"), "{name}");
                continue;
            };
            let clamp = probing.clamped();
            for (id, there) in [("probe-a", !clamp), ("probe-b", !clamp), ("clamp", clamp)] {
                assert_eq!(ids.contains_key(id), there, "{name}: {id}");
            }
            let document = Document::parse(&svg).expect("XML");
            // A lifted end that is in the picture is drawn lifted, and no other.
            let mut ends = 0;
            for end in sheet.wires.iter().flat_map(|w| w.ends) {
                let own = format!("probing-end-{}", id(sheet.point_name(end)));
                let drawn = document
                    .descendants()
                    .find(|n| n.attribute("id") == Some(&own));
                let Some(drawn) = drawn else { continue };
                let lifted = drawn.attribute("class") == Some("end lifted");
                assert_eq!(lifted, probing.lifted.contains(&end), "{name}: {own}");
                ends += 1;
            }
            assert!(ends > 0, "{name}: no wire");
        }
        assert!(check(&sheet, sheet.checks.len(), Tongue::English).is_none());
    }
}

/// A name may hold what XML cannot.
#[test]
fn names_are_escaped() {
    let text = include_str!("../../tests/small-sheet.toml");
    let part = "cap";
    let odd = "<b> \\\"&' \\u0007\u{1f50c}";
    let text = text
        .replace(&format!("\"{part}\""), &format!("\"{odd}\""))
        .replace(&format!("\"{part}."), &format!("\"{odd}."));
    let sheet = read_text("odd", &text).unwrap_or_else(|e| panic!("{e}"));
    sound("odd names", &schematic(&sheet, Tongue::English));
    for number in 0..sheet.checks.len() {
        sound(
            "odd names",
            &check(&sheet, number, Tongue::English).expect("a picture"),
        );
    }
}

/// Probes may go where no check of the sheet goes.
#[test]
fn any_two_points_can_be_probed() {
    let sheet = small();
    let lifted = [sheet.wires[0].ends[1]];
    let svg = probes(
        &sheet,
        &Probing {
            function: ohmtrail_core::reading::Function::Ohms,
            points: [sheet.wires[0].ends[1], sheet.wires[0].terminals[1]],
            lifted: &lifted,
        },
        Tongue::English,
    );
    let (ids, _) = sound("any two", &svg);
    assert!(ids.contains_key("probe-a") && ids.contains_key("probe-b"));
    assert!(svg.contains("lifted off"), "{svg}");
}

/// A sheet with these kinds, their terminals wired to one another at random.
fn random(kinds: &[&Kind], seed: usize) -> Sheet {
    let mut text = "name = \"random\"\ntitle = \"Every kind, wired at random\"\n".to_owned();
    let mut terminals = Vec::new();
    for k in kinds {
        text += &format!("[[part]]\nname = \"the-{0}\"\nkind = \"{0}\"\n", k.name);
        for p in k.params {
            let unit = unit_words(p.unit).split(' ').next().unwrap_or_default();
            let unit = if unit == "a" { "" } else { unit };
            text += &format!("{} = \"0.5 {unit}\"\n", p.name);
        }
        let open = k.terminals.iter().filter(|t| !t.bonded);
        terminals.extend(open.map(|t| format!("the-{}.{}", k.name, t.name)));
    }
    // A linear congruential sequence is random enough to wire by.
    let mut state = seed;
    let mut next = |below: usize| {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) % below
    };
    for (i, from) in terminals.iter().enumerate() {
        let to = loop {
            let to = next(terminals.len());
            if to != i {
                break &terminals[to];
            }
        };
        text += &format!(
            "[[wire]]\nname = \"wire-{i}\"\nfrom = \"{from}\"\nto = \"{to}\"\nmark = \"blue\"\n"
        );
    }
    text += &format!(
        "[dead]\nline = [\"{0}\"]\nload = [\"{0}\"]\nground = \"{0}\"\n",
        terminals[0]
    );
    read_text("random", &text).unwrap_or_else(|e| panic!("{e}"))
}

/// Whatever kinds there are, and however they are wired: jumpers from a part to itself, wires
/// against the grain, wires to rows far off.
#[test]
fn every_kind_is_drawn_however_it_is_wired() {
    // Kinds that name another part cannot stand alone.
    let kinds: Vec<&Kind> = KINDS
        .iter()
        .copied()
        .filter(|k| k.links.is_empty() && !k.terminals.is_empty())
        .collect();
    for (seed, some) in kinds.chunks(9).enumerate() {
        let sheet = random(some, seed + 1);
        geometry(&sheet);
        sound("random", &schematic(&sheet, Tongue::English));
    }
}
