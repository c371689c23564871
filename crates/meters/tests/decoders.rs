//! Properties of every display chip's decoder and encoder: round trips both ways, resynchronisation after any
//! garbage, no byte unaccounted for, and how often garbage is taken for a reading.

use ohmtrail_core::reading::{Decimal, Flags, Function, MeterId, Reading, Shown};
use ohmtrail_core::units::Micros;
use ohmtrail_meters::driver::{Driver, Entry, FRAME, Outcome, Setup, drivers};
use ohmtrail_meters::showing::Showing;
use ohmtrail_meters::sim::noise::Noise;
use proptest::prelude::*;

/// Pushes all of the bytes; gives the readings and how many bytes were skipped.
fn push_all(driver: &mut dyn Driver, bytes: &[u8]) -> (Vec<Reading>, usize) {
    let (mut readings, mut skipped, mut rest) = (Vec::new(), 0, bytes);
    loop {
        let pushed = driver.push(rest, Micros(0));
        assert!(pushed.rest.len() <= rest.len());
        rest = pushed.rest;
        skipped += pushed.skipped;
        match pushed.outcome {
            Outcome::Hungry => {
                assert!(rest.is_empty());
                return (readings, skipped);
            }
            Outcome::Got(reading) => readings.push(reading),
            Outcome::Rejected(_) => {}
        }
    }
}

fn showing_of(reading: &Reading) -> Showing {
    Showing {
        function: reading.function,
        shown: reading.shown,
        flags: reading.flags,
    }
}

/// The drivers whose frames can be written.
fn chips() -> Vec<&'static Entry> {
    drivers().iter().filter(|e| e.encode.is_some()).collect()
}

fn a_driver() -> impl Strategy<Value = &'static Entry> {
    prop::sample::select(chips())
}

fn start(entry: &Entry, meter: u16) -> Box<dyn Driver> {
    (entry.start)(&Setup::of(MeterId(meter))).unwrap()
}

fn a_showing() -> impl Strategy<Value = Showing> {
    let function = (0..Function::ALL.len()).prop_map(|i| Function::ALL[i]);
    let shown = prop_oneof![
        8 => (-22_500_i32..=22_500, -13_i8..=7).prop_map(|(m, e)| Shown::Value(Decimal::new(m, e))),
        1 => Just(Shown::Overload),
        1 => Just(Shown::Blank),
    ];
    // Few annunciators at a time, so that most combinations can be shown.
    let flag = prop_oneof![Just(0), (0..9_u16).prop_map(|bit| 1 << bit), 0..512_u16];
    (function, shown, flag).prop_map(|(function, shown, flags)| Showing {
        function,
        shown,
        flags: Flags(flags),
    })
}

/// A frame of this driver and what it shows.
fn a_frame(entry: &'static Entry) -> impl Strategy<Value = (Showing, [u8; FRAME])> {
    let encode = entry.encode.unwrap();
    let function = prop::sample::select(entry.about.functions);
    let shown = (-9999_i32..=9999, -12_i8..=6, 0..8_u8);
    (function, shown).prop_filter_map("not on this display", move |(function, (m, e, other))| {
        let showing = Showing {
            function,
            shown: if other == 0 {
                Shown::Overload
            } else {
                Shown::Value(Decimal::new(m, e))
            },
            flags: Flags::AUTO_RANGE,
        };
        encode(&showing).ok().map(|frame| (showing, frame))
    })
}

fn driver_and_frames() -> impl Strategy<Value = (&'static Entry, Vec<(Showing, [u8; FRAME])>)> {
    a_driver().prop_flat_map(|entry| (Just(entry), prop::collection::vec(a_frame(entry), 2..6)))
}

/// Bytes as lines give them: any, or those that frames are made of, or pieces of good frames.
fn garbage() -> impl Strategy<Value = Vec<u8>> {
    prop_oneof![
        prop::collection::vec(any::<u8>(), 0..80),
        prop::collection::vec(
            prop_oneof![
                0x30..=0x3F_u8,
                Just(b'\r'),
                Just(b'\n'),
                Just(b'+'),
                Just(b' ')
            ],
            0..80
        ),
        prop::collection::vec((1..=14_u8, 0..16_u8).prop_map(|(p, n)| p << 4 | n), 0..80),
        (driver_and_frames(), 0..14_usize, 0..14_usize).prop_map(|((_, frames), from, until)| {
            let bytes: Vec<u8> = frames.iter().flat_map(|(_, f)| *f).collect();
            bytes[from..bytes.len() - until].to_vec()
        }),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(4000) })]

    /// Showing to frame to showing: what can be written is read back as it was.
    #[test]
    fn what_is_encoded_is_decoded_as_it_was(entry in a_driver(), showing in a_showing()) {
        let encode = entry.encode.unwrap();
        if let Ok(frame) = encode(&showing) {
            let (readings, skipped) = push_all(start(entry, 3).as_mut(), &frame);
            prop_assert_eq!(readings.iter().map(showing_of).collect::<Vec<_>>(), [showing]);
            prop_assert_eq!(skipped, 0);
            prop_assert!(entry.about.functions.contains(&showing.function));
        }
    }

    /// Any garbage, then two good frames: the second is always read, and whatever the garbage did
    /// to the first, every later frame is read as well and nothing is made up between.
    #[test]
    fn after_any_garbage_the_second_frame_is_read(
        (entry, frames) in driver_and_frames(),
        garbage in garbage(),
    ) {
        let mut driver = start(entry, 0);
        push_all(driver.as_mut(), &garbage);
        let stream: Vec<u8> = frames.iter().flat_map(|(_, frame)| *frame).collect();
        let (readings, _) = push_all(driver.as_mut(), &stream);
        let got: Vec<Showing> = readings.iter().map(showing_of).collect();
        let sent: Vec<Showing> = frames.iter().map(|(showing, _)| *showing).collect();
        prop_assert!(got.ends_with(&sent[1..]), "{}: {:?} of {:?}", entry.name, got, sent);
        prop_assert!(got.len() <= sent.len());
    }

    /// Bytes in are bytes of readings, bytes skipped, and at most one frame held.
    #[test]
    fn no_byte_is_unaccounted_for(
        entry in a_driver(),
        pieces in prop::collection::vec(garbage(), 1..6),
    ) {
        let mut driver = start(entry, 0);
        let (mut pushed, mut accounted) = (0, 0);
        for piece in pieces {
            let (readings, skipped) = push_all(driver.as_mut(), &piece);
            pushed += piece.len();
            accounted += readings.len() * FRAME + skipped;
            prop_assert!(accounted <= pushed && pushed - accounted <= FRAME);
        }
    }
}

/// One random frame whose framing is right and whose content is random: the hardest garbage.
fn framed(entry: &Entry, noise: &mut Noise) -> [u8; FRAME] {
    let mut low = || u8::try_from(noise.bits() & 0xFF).unwrap();
    match entry.name {
        "lcd14" => {
            let mut position = 0;
            [(); FRAME].map(|()| {
                position += 0x10;
                position | low() & 0x0F
            })
        }
        "ascii14" => {
            let mut digit = || b'0' + low() % 10;
            let digits = [digit(), digit(), digit(), digit()];
            let [d1, d2, d3, d4] = digits;
            let point = [b'0', b'1', b'2', b'4'][usize::from(low() & 3)];
            let sign = [b'+', b'-'][usize::from(low() & 1)];
            [
                sign,
                d1,
                d2,
                d3,
                d4,
                b' ',
                point,
                low(),
                low(),
                low(),
                low(),
                low(),
                b'\r',
                b'\n',
            ]
        }
        _ => {
            let mut frame = [(); FRAME].map(|()| 0x30 | low() & 0x0F);
            frame[12] = b'\r';
            frame[13] = b'\n';
            frame
        }
    }
}

/// Whether a frame is taken, and if so that it is written again as a frame with the same meaning.
fn taken(entry: &Entry, frame: &[u8; FRAME]) -> Option<Showing> {
    let (readings, _) = push_all(start(entry, 0).as_mut(), frame);
    let showing = showing_of(readings.first()?);
    match entry.encode.unwrap()(&showing) {
        Ok(again) => {
            let (readings, _) = push_all(start(entry, 0).as_mut(), &again);
            assert_eq!(
                readings.iter().map(showing_of).collect::<Vec<_>>(),
                [showing]
            );
        }
        // Underload is read as blank, and a blank is not written by every frame.
        Err(e) => assert_eq!(showing.shown, Shown::Blank, "{}: {e}", entry.name),
    }
    Some(showing)
}

/// How often garbage is taken for a reading. Uniform random bytes must give none in 8 million
/// (the framing alone leaves less than 1e-15 a byte); frames of right framing and random content
/// show what the strict reading of the content is worth.
#[test]
fn garbage_is_not_taken_for_readings() {
    const BYTES: usize = 8_000_000;
    const FRAMES: u32 = 2_000_000;
    for entry in chips() {
        let mut noise = Noise::new(0x0A11);
        let mut driver = start(entry, 0);
        let mut readings = 0;
        let mut chunk = vec![0; 8192];
        for _ in 0..BYTES / chunk.len() {
            for eight in chunk.chunks_mut(8) {
                eight.copy_from_slice(&noise.bits().to_le_bytes());
            }
            readings += push_all(driver.as_mut(), &chunk).0.len();
        }
        assert_eq!(readings, 0, "{}: random bytes taken", entry.name);

        let accepted = (0..FRAMES)
            .filter(|_| taken(entry, &framed(entry, &mut noise)).is_some())
            .count();
        let rate = accepted as f64 / f64::from(FRAMES);
        println!(
            "{}: 0 readings in {BYTES} random bytes; {accepted} in {FRAMES} frames of right framing and random content",
            entry.name
        );
        let bound = match entry.name {
            "lcd14" => 2e-6,
            "ascii14" => 1e-5,
            _ => 1e-4,
        };
        assert!(rate <= bound, "{}: {rate} over {bound}", entry.name);
    }
}

/// What a frame cannot tell: these frames have no checksum, so some single flipped bits give
/// another number. The share is measured here, so that it is known and cannot grow unseen.
#[test]
fn flipped_bits_that_pass_are_few_and_known() {
    for entry in chips() {
        let encode = entry.encode.unwrap();
        let mut noise = Noise::new(0xF11D);
        let (mut flips, mut passed) = (0_u32, 0_u32);
        for _ in 0..4000 {
            let function =
                entry.about.functions[noise.bits() as usize % entry.about.functions.len()];
            let mantissa = (noise.bits() % 9000) as i32 + 999;
            let exponent = (noise.bits() % 16) as i8 - 12;
            let showing = Showing::value(function, mantissa, exponent);
            let Ok(frame) = encode(&showing) else {
                continue;
            };
            for byte in 0..FRAME {
                for bit in 0..8 {
                    let mut flipped = frame;
                    flipped[byte] ^= 1 << bit;
                    flips += 1;
                    if taken(entry, &flipped).is_some_and(|s| s != showing) {
                        passed += 1;
                    }
                }
            }
        }
        let share = f64::from(passed) / f64::from(flips);
        println!(
            "{}: {passed} of {flips} flipped bits pass with another meaning ({share:.4})",
            entry.name
        );
        assert!(flips > 10_000, "{}: too few frames", entry.name);
        let bound = match entry.name {
            "lcd14" => 0.12,
            "ascii14" => 0.25,
            // The port's parity bit catches every single flip before it comes here.
            _ => 0.30,
        };
        assert!(share < bound, "{}: {share} over {bound}", entry.name);
    }
}
