//! Lines of text out of a byte stream, within bounded memory: shared by the drivers whose meters
//! write lines.
#![deny(clippy::indexing_slicing, clippy::unwrap_used, clippy::expect_used)]

/// The longest line that is read, in bytes, its end included.
pub(crate) const LONGEST: usize = 512;

/// What a push cut off.
#[derive(Debug, PartialEq, Eq)]
pub(crate) enum Cut {
    /// Every byte was used, and no line is whole yet.
    Hungry,
    /// A line without its end and the blanks around it, and how many bytes it was with it.
    Line(Vec<u8>, usize),
    /// A line longer than [`LONGEST`]: its bytes so far are skipped, and the rest of it will be.
    Overlong,
}

/// A cut, the bytes given up before it, and the bytes not used yet.
#[derive(Debug, PartialEq, Eq)]
pub(crate) struct Pushed<'b> {
    pub cut: Cut,
    pub skipped: usize,
    pub rest: &'b [u8],
}

/// Collects bytes until a line is whole.
#[derive(Debug)]
pub(crate) struct Lines {
    end: u8,
    held: Vec<u8>,
    /// Within an overlong line, whose rest is passed over.
    passing: bool,
}

impl Lines {
    /// Lines that end with this byte, a line feed or a carriage return. Blanks around a line are
    /// cut off, the other one of these two with them.
    pub(crate) fn ending(end: u8) -> Self {
        Lines {
            end,
            held: Vec::new(),
            passing: false,
        }
    }

    /// Takes bytes until a line is whole or all are used.
    pub(crate) fn push<'b>(&mut self, bytes: &'b [u8]) -> Pushed<'b> {
        let mut skipped = 0;
        let mut rest = bytes;
        while !rest.is_empty() {
            let ended = rest.iter().position(|byte| *byte == self.end);
            let take = ended.map_or(rest.len(), |at| at + 1);
            let (piece, tail) = rest.split_at_checked(take).unwrap_or((rest, &[]));
            rest = tail;
            if self.passing {
                skipped += piece.len();
                self.passing = ended.is_none();
                continue;
            }
            let long = self.held.len() + piece.len();
            if long > LONGEST {
                self.held.clear();
                self.passing = ended.is_none();
                return Pushed {
                    cut: Cut::Overlong,
                    skipped: skipped + long,
                    rest,
                };
            }
            self.held.extend_from_slice(piece);
            if ended.is_some() {
                let line = std::mem::take(&mut self.held);
                return Pushed {
                    cut: Cut::Line(line.trim_ascii().to_vec(), long),
                    skipped,
                    rest,
                };
            }
        }
        Pushed {
            cut: Cut::Hungry,
            skipped,
            rest,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cuts(lines: &mut Lines, mut bytes: &[u8]) -> (Vec<Cut>, usize) {
        let (mut cuts, mut skipped) = (Vec::new(), 0);
        loop {
            let pushed = lines.push(bytes);
            skipped += pushed.skipped;
            bytes = pushed.rest;
            match pushed.cut {
                Cut::Hungry => return (cuts, skipped),
                cut => cuts.push(cut),
            }
        }
    }

    #[test]
    fn lines_are_cut_at_their_ends_wherever_the_bytes_are_split() {
        let text = b"one\r\ntwo\n\nthree";
        let line = |text: &[u8], bytes| Cut::Line(text.to_vec(), bytes);
        let expected = vec![line(b"one", 5), line(b"two", 4), line(b"", 1)];
        for split in 0..text.len() {
            let mut lines = Lines::ending(b'\n');
            let (first, second) = text.split_at(split);
            let (mut got, _) = cuts(&mut lines, first);
            got.extend(cuts(&mut lines, second).0);
            assert_eq!(got, expected, "split at {split}");
        }
        let mut lines = Lines::ending(b'\r');
        let (got, _) = cuts(&mut lines, b"one\r\ntwo\r");
        assert_eq!(got, [line(b"one", 4), line(b"two", 5)]);
    }

    #[test]
    fn an_overlong_line_is_given_up_once_and_whole() {
        let mut lines = Lines::ending(b'\n');
        let mut text = vec![b'x'; 3 * LONGEST];
        text.extend(b"\nnext\n");
        let (mut got, mut skipped) = (Vec::new(), 0);
        for piece in text.chunks(100) {
            let (more, less) = cuts(&mut lines, piece);
            got.extend(more);
            skipped += less;
            assert!(lines.held.len() <= LONGEST);
        }
        assert_eq!(got, [Cut::Overlong, Cut::Line(b"next".to_vec(), 5)]);
        assert_eq!(skipped, 3 * LONGEST + 1);
    }
}
