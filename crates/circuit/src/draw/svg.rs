//! Writes SVG: escaped text, ids that hold a name, shapes in the reader's own colour.
//!
//! Everything is drawn in `currentColor` without a background, so that a picture follows the page
//! it stands in, light or dark. There is no script and no reference to anything outside.

use std::fmt::Write as _;

/// Widths of characters of a sans-serif face, in ems: those of a wide face, so that a label's box is
/// never smaller than the label.
const CHARACTER: f64 = 0.62;
const WIDE: f64 = 1.0;

/// How a text stands to its place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Anchor {
    Start,
    Middle,
    End,
}

impl Anchor {
    fn name(self) -> &'static str {
        match self {
            Anchor::Start => "start",
            Anchor::Middle => "middle",
            Anchor::End => "end",
        }
    }
}

/// The room that a text takes, at a size.
pub(super) fn text_width(text: &str, size: f64) -> f64 {
    let ems: f64 = text
        .chars()
        .map(|c| match c {
            'm' | 'w' | 'M' | 'W' | '@' | '%' | '—' => WIDE,
            c if c.is_ascii() => CHARACTER,
            // Letters of other scripts may be as wide as they are high.
            _ => WIDE,
        })
        .sum();
    ems * size
}

/// Text as XML: markup escaped, what XML cannot hold replaced.
pub(super) fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&apos;"),
            '\n' | '\t' | '\r' => out.push(' '),
            c if c.is_control() || matches!(c, '\u{fffe}' | '\u{ffff}') => out.push('\u{fffd}'),
            c => out.push(c),
        }
    }
    out
}

/// A name as the tail of an id: what an id cannot hold becomes its code, `_20` for a blank.
#[must_use]
pub fn id(name: &str) -> String {
    let mut out = String::with_capacity(name.len());
    for c in name.chars() {
        if c.is_alphanumeric() || matches!(c, '-' | '.') {
            out.push(c);
        } else {
            let _ = write!(out, "_{:x}", u32::from(c));
        }
    }
    out
}

/// A number with no more digits than show.
pub(super) fn number(x: f64) -> String {
    let rounded = (x * 10.0).round() / 10.0;
    // No negative zero.
    format!("{}", rounded + 0.0)
}

/// An SVG text being written.
pub(super) struct Svg {
    out: String,
}

impl Svg {
    /// Begins a picture of that size, with its title and its description in words.
    pub fn new(prefix: &str, width: f64, height: f64, title: &str, desc: &str) -> Self {
        let mut out = String::new();
        let _ = write!(
            out,
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {w} {h}\" width=\"100%\" \
             style=\"max-width:{w}px\" role=\"img\" aria-labelledby=\"{prefix}title {prefix}desc\" \
             fill=\"none\" stroke=\"currentColor\" stroke-linecap=\"round\" \
             stroke-linejoin=\"round\" font-family=\"sans-serif\">\n\
             <title id=\"{prefix}title\">{}</title>\n<desc id=\"{prefix}desc\">{}</desc>\n\
             <style>@media (prefers-color-scheme:dark){{svg:root{{color:#eee;background:#111}}}}</style>\n",
            escape(title),
            escape(desc),
            w = number(width),
            h = number(height),
        );
        Svg { out }
    }

    /// Opens a group with an id, classes and a title.
    pub fn open(&mut self, id: &str, class: &str, title: &str) {
        let _ = writeln!(
            self.out,
            "<g id=\"{id}\" class=\"{class}\"><title>{}</title>",
            escape(title)
        );
    }

    /// Closes the group.
    pub fn close(&mut self) {
        self.out.push_str("</g>\n");
    }

    /// A line through these points.
    pub fn path(&mut self, points: &[(f64, f64)], weight: f64) {
        let mut d = String::new();
        for (i, (x, y)) in points.iter().enumerate() {
            let _ = write!(
                d,
                "{}{} {}",
                if i == 0 { "M" } else { "L" },
                number(*x),
                number(*y)
            );
        }
        self.raw_path(&d, weight);
    }

    /// A path from its commands.
    pub fn raw_path(&mut self, d: &str, weight: f64) {
        let _ = writeln!(
            self.out,
            "<path d=\"{d}\" stroke-width=\"{}\"/>",
            number(weight)
        );
    }

    /// A rectangle, its corners rounded by `radius`.
    pub fn rect(&mut self, at: [f64; 4], radius: f64, weight: f64) {
        let [x, y, w, h] = at.map(number);
        let _ = writeln!(
            self.out,
            "<rect x=\"{x}\" y=\"{y}\" width=\"{w}\" height=\"{h}\" rx=\"{}\" stroke-width=\"{}\"/>",
            number(radius),
            number(weight)
        );
    }

    /// A circle; `filled` is without an outline.
    pub fn circle(&mut self, x: f64, y: f64, radius: f64, weight: f64, filled: bool) {
        let fill = if filled {
            " fill=\"currentColor\" stroke=\"none\"".to_owned()
        } else {
            format!(" stroke-width=\"{}\"", number(weight))
        };
        let _ = writeln!(
            self.out,
            "<circle cx=\"{}\" cy=\"{}\" r=\"{}\"{fill}/>",
            number(x),
            number(y),
            number(radius)
        );
    }

    /// A filled square around a point.
    pub fn square(&mut self, x: f64, y: f64, half: f64) {
        let _ = writeln!(
            self.out,
            "<rect x=\"{}\" y=\"{}\" width=\"{s}\" height=\"{s}\" fill=\"currentColor\" stroke=\"none\"/>",
            number(x - half),
            number(y - half),
            s = number(2.0 * half)
        );
    }

    /// A filled shape.
    pub fn solid(&mut self, points: &[(f64, f64)]) {
        let list: Vec<String> = points
            .iter()
            .map(|(x, y)| format!("{},{}", number(*x), number(*y)))
            .collect();
        let _ = writeln!(
            self.out,
            "<polygon points=\"{}\" fill=\"currentColor\" stroke=\"none\"/>",
            list.join(" ")
        );
    }

    /// A text on its base line; `turned` reads upwards.
    pub fn text(&mut self, x: f64, y: f64, text: &Text<'_>) {
        let (x, y) = (number(x), number(y));
        let turn = if text.turned {
            format!(" transform=\"rotate(-90 {x} {y})\"")
        } else {
            String::new()
        };
        let bold = if text.bold {
            " font-weight=\"bold\""
        } else {
            ""
        };
        let _ = writeln!(
            self.out,
            "<text x=\"{x}\" y=\"{y}\" font-size=\"{}\" text-anchor=\"{}\" fill=\"currentColor\" stroke=\"none\"{bold}{turn}>{}</text>",
            number(text.size),
            text.anchor.name(),
            escape(text.text)
        );
    }

    /// Ends the picture.
    pub fn finish(mut self) -> String {
        self.out.push_str("</svg>\n");
        self.out
    }
}

/// A text and how it is set.
#[derive(Debug, Clone, Copy)]
pub(super) struct Text<'t> {
    pub text: &'t str,
    pub size: f64,
    pub anchor: Anchor,
    pub bold: bool,
    pub turned: bool,
}

impl<'t> Text<'t> {
    /// Upright text of that size that begins at its place.
    pub fn new(text: &'t str, size: f64) -> Self {
        Text {
            text,
            size,
            anchor: Anchor::Start,
            bold: false,
            turned: false,
        }
    }

    pub fn anchor(self, anchor: Anchor) -> Self {
        Text { anchor, ..self }
    }

    pub fn bold(self) -> Self {
        Text { bold: true, ..self }
    }
}

/// Breaks a text into lines of at most `width`, at blanks where there are some.
pub(super) fn wrap(text: &str, size: f64, width: f64) -> Vec<String> {
    let fits = |text: &str| text_width(text, size) <= width;
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        if let Some(line) = lines.last_mut()
            && fits(&format!("{line} {word}"))
        {
            line.push(' ');
            line.push_str(word);
            continue;
        }
        let mut line = String::new();
        for c in word.chars() {
            let longer = format!("{line}{c}");
            if !line.is_empty() && !fits(&longer) {
                lines.push(std::mem::take(&mut line));
            }
            line.push(c);
        }
        lines.push(line);
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_and_ids_hold_any_name() {
        assert_eq!(
            escape("a<b>&\"c'\u{1}"),
            "a&lt;b&gt;&amp;&quot;c&apos;\u{fffd}"
        );
        assert_eq!(id("fan motor.L_1"), "fan_20motor.L_5f1");
        assert_ne!(id("a b"), id("a_b"), "two names, two ids");
        assert_eq!(number(-0.01), "0");
    }

    #[test]
    fn wrapping_loses_no_letter() {
        let text = "a pressure switch of extraordinarylength";
        let lines = wrap(text, 10.0, 80.0);
        assert!(
            lines.iter().all(|l| text_width(l, 10.0) <= 80.0),
            "{lines:?}"
        );
        let joined: String = lines.concat().split_whitespace().collect();
        assert_eq!(joined, text.split_whitespace().collect::<String>());
    }
}
