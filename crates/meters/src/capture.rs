//! Bytes as they were on a line, kept as text with their times: one line for each piece, so that a
//! capture can be read, cut and put beside a bug report. docs/meters.md has the form.

use std::fmt::Write as _;
use std::io::{self, BufRead, Write};

use ohmtrail_core::reading::MeterId;
use ohmtrail_core::units::Micros;

use crate::session::Piece;

/// The first line of every capture.
const HEAD: &str = "# ohmtrail bytes 1";

/// Why a capture was not read.
#[derive(Debug, thiserror::Error)]
pub enum CaptureError {
    /// It could not be read at all.
    #[error(transparent)]
    Io(#[from] io::Error),
    /// The first line is not a capture's.
    #[error("line 1: no capture of bytes; the first line of one is `{HEAD}`")]
    NoCapture,
    /// A line that is not understood.
    #[error("line {line}: `{text}` is not METER MICROSECONDS < or > HEX")]
    Line {
        /// Its number.
        line: usize,
        /// Its beginning.
        text: String,
    },
}

/// Begins a capture.
///
/// # Errors
/// If `out` fails.
pub fn begin(out: &mut impl Write) -> io::Result<()> {
    writeln!(out, "{HEAD}")
}

/// Writes a piece: meter, microseconds, `<` from the meter or `>` to it, and the bytes in hex.
///
/// # Errors
/// If `out` fails.
pub fn write(out: &mut impl Write, meter: MeterId, piece: &Piece) -> io::Result<()> {
    let mut line = format!(
        "{} {} {}",
        meter.0,
        piece.at.0,
        if piece.sent { '>' } else { '<' }
    );
    for byte in &piece.bytes {
        // Writing to a String does not fail.
        let _ = write!(line, " {byte:02x}");
    }
    writeln!(out, "{line}")
}

/// Reads a capture whole. Lines that begin with `#` are notes. A last line without an end, as a
/// writer that was killed leaves it, is left out.
///
/// # Errors
/// [`CaptureError`] with the line.
pub fn read(mut from: impl BufRead) -> Result<Vec<(MeterId, Piece)>, CaptureError> {
    let mut pieces = Vec::new();
    let mut text = String::new();
    for number in 1.. {
        text.clear();
        if from.read_line(&mut text)? == 0 || !text.ends_with('\n') {
            break;
        }
        let line = text.trim_end();
        if number == 1 && line != HEAD {
            return Err(CaptureError::NoCapture);
        }
        if line.starts_with('#') || line.is_empty() {
            continue;
        }
        pieces.push(piece(line).ok_or_else(|| CaptureError::Line {
            line: number,
            text: line.chars().take(40).collect(),
        })?);
    }
    Ok(pieces)
}

fn piece(line: &str) -> Option<(MeterId, Piece)> {
    let mut words = line.split(' ');
    let meter = MeterId(words.next()?.parse().ok()?);
    let at = Micros(words.next()?.parse().ok()?);
    let sent = match words.next()? {
        ">" => true,
        "<" => false,
        _ => return None,
    };
    let bytes = words
        .map(|word| match word.as_bytes() {
            [a, b] if a.is_ascii_hexdigit() && b.is_ascii_hexdigit() => {
                u8::from_str_radix(word, 16).ok()
            }
            _ => None,
        })
        .collect::<Option<_>>()?;
    Some((meter, Piece { at, sent, bytes }))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_written_is_read() {
        let pieces = [
            (MeterId(1), 5, false, vec![0x1A, 0x20]),
            (MeterId(2), 70_000_000_000, true, b"*IDN?\n".to_vec()),
        ]
        .map(|(meter, at, sent, bytes)| {
            let at = Micros(at);
            (meter, Piece { at, sent, bytes })
        });
        let mut file = Vec::new();
        begin(&mut file).unwrap();
        for (meter, piece) in &pieces {
            write(&mut file, *meter, piece).unwrap();
        }
        assert_eq!(
            String::from_utf8_lossy(&file),
            "# ohmtrail bytes 1\n1 5 < 1a 20\n2 70000000000 > 2a 49 44 4e 3f 0a\n"
        );
        assert_eq!(read(file.as_slice()).unwrap(), pieces);
        // Killed in the middle of a line.
        let cut = &file[..file.len() - 3];
        assert_eq!(read(cut).unwrap(), pieces[..1]);
    }

    #[test]
    fn a_line_that_is_no_piece_is_named() {
        let error = |text: &str| match read(text.as_bytes()) {
            Ok(pieces) => panic!("{text}: {pieces:?}"),
            Err(e) => e.to_string(),
        };
        assert!(error("1 5 < 1a\n").contains("no capture"));
        for line in [
            "1 5 = 1a",
            "1 5 < 1",
            "1 5 < 1ag",
            "1 < 1a",
            "1 5 < +1",
            "x 5 < 1a",
        ] {
            let text = format!("{HEAD}\n# a note\n\n{line}\n");
            assert!(error(&text).starts_with("line 4: `"), "{line}");
        }
    }
}
