//! A Bluetooth meter of the daemon's.

use ohmtrail_tests::ble::served::a_visit;
use ohmtrail_tests::ble::stand_in::Stand;

#[test]
fn a_meter_of_the_daemons_comes_and_goes_and_so_does_the_service() {
    let mut stand = Stand::default();
    a_visit(&mut stand, &mut |shown| println!("{shown}"));
    stand.until_unlinked();
}
