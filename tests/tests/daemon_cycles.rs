//! The daemon is killed, and meters are unplugged, in the middle of it: a slice of what
//! `cargo xtask bench daemon` does.

use ohmtrail_tests::daemon_bench::{kills, replugs, year};

#[test]
fn twenty_kills_lose_no_take_and_double_none() {
    let kept = kills(20, 1);
    assert!(kept.told >= 20, "{kept:?}");
    assert_eq!((kept.lost, kept.doubled), (0, 0), "{kept:?}");
}

#[test]
fn ten_unplugs_lose_no_take_and_double_none() {
    let (kept, _) = replugs(10);
    assert_eq!((kept.told, kept.lost, kept.doubled), (10, 0, 0));
}

#[test]
fn visits_of_before_are_there_again() {
    let year = year(20, 100);
    assert_eq!(year.readings, 2000);
}
