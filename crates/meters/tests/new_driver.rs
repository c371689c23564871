//! The worked example of docs/new-driver.md: its code is compiled and run here, and stands in the
//! guide word for word.

#[path = "new_driver/sum6.rs"]
mod sum6;

use std::fs;
use std::path::Path;

use ohmtrail_core::reading::{Decimal, Function, MeterId, Shown};
use ohmtrail_core::units::Micros;
use ohmtrail_meters::driver::{Outcome, Setup};
use ohmtrail_meters::showing::Reason;
use proptest::prelude::*;

const BEGIN: &str = "<!-- code: crates/meters/tests/new_driver/sum6.rs -->\n```rust\n";
const END: &str = "```\n<!-- end code -->";

/// What came of some bytes.
fn outcomes(bytes: &[u8], split: usize) -> Vec<Outcome<(Function, Shown)>> {
    let mut driver = (sum6::ENTRY.start)(&Setup::of(MeterId(1))).unwrap();
    let mut all = Vec::new();
    for piece in bytes.chunks(split) {
        let mut rest = piece;
        loop {
            let pushed = driver.push(rest, Micros(0));
            rest = pushed.rest;
            match pushed.outcome {
                Outcome::Hungry => break,
                Outcome::Got(r) => all.push(Outcome::Got((r.function, r.shown))),
                Outcome::Rejected(reason) => all.push(Outcome::Rejected(reason)),
            }
        }
    }
    all
}

fn frame(body: [u8; 4]) -> Vec<u8> {
    let sum = body.iter().fold(2_u8, |n, byte| n.wrapping_add(*byte));
    [&[2], body.as_slice(), &[sum]].concat()
}

#[test]
fn the_example_reads_and_refuses() {
    // 12.34 A: worked by hand, 02 + 41 + 12 + 34 + FE = 187, of which the last byte is 87.
    let amps = [0x02, b'A', 0x12, 0x34, 0xFE, 0x87];
    assert_eq!(frame([b'A', 0x12, 0x34, 0xFE]), amps);
    let value = Shown::Value(Decimal::new(1234, -2));
    assert_eq!(
        outcomes(&amps, 6),
        [Outcome::Got((Function::AmpsAc, value))]
    );
    for (body, reason) in [
        ([b'W', 0x12, 0x34, 0xFE], Reason::FunctionCode),
        ([b'A', 0x1A, 0x34, 0xFE], Reason::Digits),
        ([b'A', 0x12, 0x34, 3], Reason::Range),
    ] {
        assert_eq!(outcomes(&frame(body), 6), [Outcome::Rejected(reason)]);
    }
    let mut damaged = amps;
    damaged[2] ^= 0x10;
    assert_eq!(outcomes(&damaged, 6), []);
}

proptest! {
    /// The contract of drivers: after any bytes the second of two frames is read, in any pieces.
    #[test]
    fn the_example_finds_its_way_back(
        noise in prop::collection::vec(any::<u8>(), 0..60),
        split in 1..9_usize,
    ) {
        let bytes = [noise, frame([b'V', 0x12, 0x34, 0xFF]), frame([b'V', 0x23, 0x84, 0xFF])].concat();
        let last = Outcome::Got((Function::VoltsAc, Shown::Value(Decimal::new(2384, -1))));
        prop_assert_eq!(outcomes(&bytes, split).pop(), Some(last));
    }
}

/// With `OHMTRAIL_BLESS` set, the guide takes over the code of now.
#[test]
fn the_guide_shows_the_code_that_is_compiled_here() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let code = fs::read_to_string(root.join("tests/new_driver/sum6.rs")).unwrap();
    let path = root.join("../../docs/new-driver.md");
    let page = fs::read_to_string(&path).unwrap();
    let (before, rest) = page.split_once(BEGIN).expect("the guide's code begins");
    let (shown, after) = rest.split_once(END).expect("the guide's code ends");
    if std::env::var_os("OHMTRAIL_BLESS").is_some() {
        fs::write(&path, format!("{before}{BEGIN}{code}{END}{after}")).unwrap();
        return;
    }
    assert_eq!(shown, code, "set OHMTRAIL_BLESS=1 to take the code over");
}
