//! The stand-in is held against what the real service was seen to do.

use std::time::Duration;

use ohmtrail_tests::ble::facts::{drift, facts, file};
use ohmtrail_tests::ble::stand_in::Stand;

/// What comes of a step comes within this time.
const REST: Duration = Duration::from_millis(150);

#[test]
fn the_stand_in_does_what_the_real_service_does() {
    let file = file();
    let text = std::fs::read_to_string(&file).expect("the facts of the real service");
    let real: Vec<String> = text.lines().map(str::to_owned).collect();
    let ours = facts(&mut Stand::default(), REST);
    let drift = drift(("the real service", &real), ("the stand-in", &ours));
    assert!(
        drift.is_empty(),
        "the stand-in differs from {}:\n{drift}",
        file.display()
    );
}
