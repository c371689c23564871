//! What the box shows and sounds: shapes on a matrix of 5 by 7 lights of one colour, numbers digit
//! by digit, and tones told by their rhythm. Nothing is told by colour.
//!
//! | light | shape | tone |
//! |---|---|---|
//! | wait | one dot that walks along the bottom row | none |
//! | pass | a closed ring, still | one short, rising pair |
//! | fail | a cross from corner to corner | three equal, low |
//! | unsure | a wave that sways | long and short in turn |
//! | void | the four corners | two short, low |
//! | alarm | the whole matrix and nothing, quickly | two heights in turn, without end |
//! | step | an arrow to the right, then the step's number | one short |
//! | full | a box filled from below | three short, then a pause, without end |
//! | found | an arrow down, then the fault's number | a rising row of four, the last one long |
//! | not found | a ring with a gap that turns | a falling row of four, the first one long |

use ohmtrail_link::message::Light;

/// The columns of the matrix, left to right; bit 0 is the top row, bit 6 the bottom row.
pub type Frame = [u8; 5];

/// A tone.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Note {
    /// Hertz; 0 is a pause.
    pub hz: u16,
    /// How long, milliseconds.
    pub ms: u16,
}

/// What a light looks and sounds like.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Pattern {
    /// The frames, shown in turn.
    pub frames: &'static [Frame],
    /// How long each stands, milliseconds.
    pub frame_ms: u16,
    /// The notes, one after another.
    pub notes: &'static [Note],
    /// Whether the notes begin anew when they are over.
    pub endless: bool,
    /// Whether a number follows the frames, digit by digit.
    pub number: bool,
}

const fn note(hz: u16, ms: u16) -> Note {
    Note { hz, ms }
}

const RING: Frame = [0x3E, 0x41, 0x41, 0x41, 0x3E];
const CROSS: Frame = [0x63, 0x14, 0x08, 0x14, 0x63];
const CORNERS: Frame = [0x41, 0x00, 0x00, 0x00, 0x41];
const NOTHING: Frame = [0; 5];
const ALL: Frame = [0x7F; 5];
const RIGHT: Frame = [0x08, 0x08, 0x2A, 0x1C, 0x08];
const DOWN: Frame = [0x10, 0x20, 0x7F, 0x20, 0x10];

const fn still(frames: &'static [Frame], notes: &'static [Note]) -> Pattern {
    Pattern {
        frames,
        frame_ms: 400,
        notes,
        endless: false,
        number: false,
    }
}

const WAIT: Pattern = Pattern {
    frame_ms: 250,
    ..still(
        &[
            [0x40, 0, 0, 0, 0],
            [0, 0x40, 0, 0, 0],
            [0, 0, 0x40, 0, 0],
            [0, 0, 0, 0x40, 0],
            [0, 0, 0, 0, 0x40],
        ],
        &[],
    )
};
const PASS: Pattern = still(&[RING], &[note(880, 80), note(1320, 120)]);
const FAIL: Pattern = still(
    &[CROSS],
    &[
        note(220, 200),
        note(0, 100),
        note(220, 200),
        note(0, 100),
        note(220, 200),
    ],
);
const UNSURE: Pattern = still(
    &[
        [0x08, 0x04, 0x08, 0x10, 0x08],
        [0x04, 0x08, 0x10, 0x08, 0x04],
        [0x08, 0x10, 0x08, 0x04, 0x08],
        [0x10, 0x08, 0x04, 0x08, 0x10],
    ],
    &[
        note(440, 300),
        note(0, 80),
        note(440, 80),
        note(0, 80),
        note(440, 300),
        note(0, 80),
        note(440, 80),
    ],
);
const VOID: Pattern = still(&[CORNERS], &[note(300, 60), note(0, 60), note(300, 60)]);
const ALARM: Pattern = Pattern {
    frame_ms: 120,
    endless: true,
    ..still(&[ALL, NOTHING], &[note(2000, 120), note(1500, 120)])
};
const STEP: Pattern = Pattern {
    frame_ms: 600,
    number: true,
    ..still(&[RIGHT], &[note(1000, 60)])
};
const FULL: Pattern = Pattern {
    endless: true,
    ..still(
        &[
            [0x7F, 0x40, 0x40, 0x40, 0x7F],
            [0x7F, 0x60, 0x60, 0x60, 0x7F],
            [0x7F, 0x70, 0x70, 0x70, 0x7F],
            [0x7F, 0x7C, 0x7C, 0x7C, 0x7F],
        ],
        &[
            note(700, 60),
            note(0, 60),
            note(700, 60),
            note(0, 60),
            note(700, 60),
            note(0, 2000),
        ],
    )
};
const FOUND: Pattern = Pattern {
    frame_ms: 600,
    number: true,
    ..still(
        &[DOWN],
        &[
            note(660, 100),
            note(770, 100),
            note(880, 100),
            note(990, 200),
        ],
    )
};
const NOT_FOUND: Pattern = still(
    &[
        [0x3E, 0x41, 0x41, 0x41, 0x22],
        [0x3E, 0x41, 0x41, 0x40, 0x3E],
        [0x3E, 0x41, 0x01, 0x41, 0x3E],
        [0x22, 0x41, 0x41, 0x41, 0x3E],
    ],
    &[
        note(990, 200),
        note(880, 100),
        note(770, 100),
        note(660, 100),
    ],
);

/// What a light looks and sounds like.
#[must_use]
pub const fn pattern(light: Light) -> &'static Pattern {
    match light {
        Light::Wait => &WAIT,
        Light::Pass => &PASS,
        Light::Fail => &FAIL,
        Light::Unsure => &UNSURE,
        Light::Void => &VOID,
        Light::Alarm => &ALARM,
        Light::Step => &STEP,
        Light::Full => &FULL,
        Light::Found => &FOUND,
        Light::NotFound => &NOT_FOUND,
    }
}

/// The digits, 5 by 7.
const DIGITS: [Frame; 10] = [
    [0x3E, 0x51, 0x49, 0x45, 0x3E],
    [0x00, 0x42, 0x7F, 0x40, 0x00],
    [0x42, 0x61, 0x51, 0x49, 0x46],
    [0x21, 0x41, 0x45, 0x4B, 0x31],
    [0x18, 0x14, 0x12, 0x7F, 0x10],
    [0x27, 0x45, 0x45, 0x45, 0x39],
    [0x3C, 0x4A, 0x49, 0x49, 0x30],
    [0x01, 0x71, 0x09, 0x05, 0x03],
    [0x36, 0x49, 0x49, 0x49, 0x36],
    [0x06, 0x49, 0x49, 0x29, 0x1E],
];

/// The most digits of a number.
const PLACES: usize = 5;

/// The digits of a number without leading zeros, and how many.
fn digits(number: u16) -> ([u8; PLACES], usize) {
    let mut out = [0; PLACES];
    let (mut rest, mut used) = (number, 0_usize);
    for slot in out.iter_mut().rev() {
        *slot = (rest % 10) as u8;
        rest /= 10;
        used = used.saturating_add(1);
        if rest == 0 {
            break;
        }
    }
    out.rotate_right(used % PLACES);
    (out, used)
}

/// What the matrix shows so long after the light came on. A dark frame stands after each digit, so
/// that two alike are two.
#[must_use]
pub fn frame(light: Light, number: u16, since_ms: u64) -> Frame {
    let pattern = pattern(light);
    let (digits, used) = digits(number);
    let shapes = pattern.frames.len();
    let all = if pattern.number {
        shapes.saturating_add(used.saturating_mul(2))
    } else {
        shapes
    };
    let nth = since_ms
        .checked_div(u64::from(pattern.frame_ms))
        .and_then(|n| n.checked_rem(all as u64))
        .unwrap_or(0) as usize;
    if let Some(frame) = pattern.frames.get(nth) {
        return *frame;
    }
    let place = nth.saturating_sub(shapes);
    if place % 2 == 1 {
        return NOTHING;
    }
    digits
        .get(place / 2)
        .and_then(|digit| DIGITS.get(usize::from(*digit)))
        .copied()
        .unwrap_or(NOTHING)
}

/// What sounds so long after the light came on, hertz; 0 is silence.
#[must_use]
pub fn tone(light: Light, since_ms: u64) -> u16 {
    let pattern = pattern(light);
    let whole: u64 = pattern.notes.iter().map(|n| u64::from(n.ms)).sum();
    let mut left = if pattern.endless {
        since_ms.checked_rem(whole).unwrap_or(0)
    } else {
        since_ms
    };
    for note in pattern.notes {
        if left < u64::from(note.ms) {
            return note.hz;
        }
        left = left.saturating_sub(u64::from(note.ms));
    }
    0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_light_has_a_shape_and_a_rhythm_of_its_own() {
        for (i, a) in Light::ALL.into_iter().enumerate() {
            for b in Light::ALL.into_iter().skip(i + 1) {
                assert_ne!(pattern(a).frames, pattern(b).frames, "{a:?} {b:?}");
                assert_ne!(pattern(a).notes, pattern(b).notes, "{a:?} {b:?}");
                // By rhythm alone: lengths of sounds and pauses, heights left out.
                let rhythm = |light| {
                    let notes = pattern(light).notes.iter();
                    notes
                        .map(|n| (n.hz == 0, n.ms))
                        .collect::<std::vec::Vec<_>>()
                };
                assert_ne!(rhythm(a), rhythm(b), "{a:?} {b:?}");
            }
        }
    }

    #[test]
    fn a_number_is_shown_digit_by_digit_and_two_alike_are_two() {
        let seen: std::vec::Vec<Frame> =
            (0..9).map(|n| frame(Light::Step, 1005, n * 600)).collect();
        let digit = |n: usize| DIGITS[n];
        assert_eq!(
            seen,
            [
                RIGHT,
                digit(1),
                NOTHING,
                digit(0),
                NOTHING,
                digit(0),
                NOTHING,
                digit(5),
                NOTHING
            ]
        );
        assert_eq!(frame(Light::Step, 0, 600), digit(0));
        assert_eq!(frame(Light::Found, 65535, 600), digit(6));
    }

    #[test]
    fn tones_end_unless_they_are_endless() {
        assert_eq!(tone(Light::Pass, 0), 880);
        assert_eq!(tone(Light::Pass, 100), 1320);
        assert_eq!(tone(Light::Pass, 200), 0);
        assert_eq!(
            tone(Light::Alarm, 1_000_000),
            tone(Light::Alarm, 1_000_000 % 240)
        );
        assert_ne!(tone(Light::Alarm, 1_000_000), 0);
    }
}
