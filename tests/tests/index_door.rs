//! What is said at the door of a unit: whose failure it was, and how the last repair came out.

use std::fs;

use ohmtrail_circuit::sheet::read_builtin;
use ohmtrail_tests::shop::Shop;
use ohmtrail_tests::years::{DAY_US, FIRST_DAY_US, SHEET, Written};
use ohmtrail_trail::event::{Event, Proved};

/// A part's own lead is replaced with the part: it is the part that fails again.
#[test]
fn a_lead_that_fails_is_its_parts_failure() {
    let sheet = read_builtin(SHEET).expect("built in").expect("sound");
    let wire = sheet.wires.iter().find(|w| w.lead_of.is_some());
    let wire = wire.expect("a part's own lead");
    let part = &sheet.parts[wire.lead_of.expect("its part")];
    let shop = Shop::empty();
    let lead = format!("{}.open", wire.name);
    let mut first = Written::new("unit", SHEET, FIRST_DAY_US);
    first.found(&[lead.as_str()]);
    shop.put("1.trail", &first);
    let mut repair = Written::new("unit", SHEET, FIRST_DAY_US + DAY_US);
    repair.fitted(&part.name);
    shop.put("2.trail", &repair);
    let mut again = Written::new("unit", SHEET, FIRST_DAY_US + 400 * DAY_US);
    again.found(&[lead.as_str()]);
    shop.put("3.trail", &again);
    let door = shop.rebuild(0).door("unit", true).expect("door");
    let [behind] = &door.parts[..] else {
        panic!("{door:?}");
    };
    assert_eq!(behind.part, part.name);
    assert_eq!(behind.kind.as_deref(), Some(part.kind.name));
    assert!(behind.again());
}

/// How the last repair came out is said until another one is proven.
#[test]
fn a_repair_that_was_not_proven_is_said() {
    let shop = Shop::empty();
    let mut index = shop.rebuild(0);
    for (n, proved, why) in [
        (
            1,
            Proved::Monitor,
            "not proven: refrigerant charge (invented)",
        ),
        (2, Proved::LeftOff, "the fan stands (invented)"),
        (3, Proved::Proven, "every proof was made (invented)"),
    ] {
        let mut repair = Written::new("unit", SHEET, FIRST_DAY_US + n * DAY_US);
        repair.repaired(proved, why);
        shop.put(&format!("{n}.trail"), &repair);
        index.update(&[]).expect("updated");
        let door = index.door("unit", true).expect("door");
        let last = &door.repairs[0];
        assert_eq!(
            (last.proved.as_str(), last.why.as_str()),
            (proved.words(), why)
        );
        assert_eq!(door.repairs.len() as i64, n);
        assert_eq!(door.unproven().is_some(), proved != Proved::Proven);
        let visits = index.history("unit", true, 1).expect("history");
        assert_eq!(visits[0].proved.as_deref(), Some(proved.words()));
    }
    let ran = shop.ask(&["history", "unit", "--simulated"]);
    assert!(ran.out.contains("repair: left off"), "{}", ran.out);
    // What it rested on was struck.
    let mut struck = Written::new("other", SHEET, FIRST_DAY_US);
    struck
        .repaired(Proved::Monitor, "not proven: (invented)")
        .say(Event::Struck {
            take: 1,
            why: "the clamp was open (invented)".into(),
        });
    shop.put("struck.trail", &struck);
    index.update(&[]).expect("updated");
    assert!(index.door("other", true).expect("door").repairs.is_empty());
    shop.proven_equal();
    let ran = shop.ask(&["door", "unit", "--simulated"]);
    assert!(!ran.out.contains("the last repair"), "{}", ran.out);
    fs::remove_file(shop.visits().join("3.trail")).expect("removed");
    index.update(&[]).expect("updated");
    let ran = shop.ask(&["door", "unit", "--simulated"]);
    let said = "the last repair, 2016-03-03, came out as left off: the fan stands (invented)";
    assert!(ran.out.contains(said), "{}", ran.out);
}
