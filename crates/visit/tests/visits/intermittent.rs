//! Faults that come and go: found while they show, with the condition under which they do.

use ohmtrail_trail::event::{Act, Request};
use ohmtrail_visit::Book;

use crate::bench::{Hands, bundle};

/// A winding that opens when it is hot: the finding is that, or the open winding that no check on warm
/// motors tells from it, and no wait is asked for that the open winding would not ask for.
#[test]
fn what_opens_when_hot_is_found_without_a_wait_of_its_own() {
    let book = Book::new(bundle()).expect("the book opens");
    for winding in ["run", "start"] {
        let hot = format!("fan-motor.{winding}-opens-hot");
        let always = format!("fan-motor.{winding}-open");
        let [waits, would] = [&hot, &always].map(|fault| {
            let mut hands = Hands::complaining(&book, &[fault], 21, "fan-stopped");
            let finding = hands.run();
            let mut sets = finding.alike.clone();
            sets.push(finding.faults.clone());
            for fault in [&hot, &always] {
                assert!(sets.contains(&vec![fault.clone()]), "{fault}: {finding:?}");
            }
            let act = Act::WaitCool;
            let wait = Request::Act { act };
            let asks = hands.visit.record().asks.iter();
            asks.filter(|a| a.request == wait).count()
        });
        assert!(waits <= would, "{winding}: {waits} waits, {would}");
    }
}

/// Open under power once the unit ran, whole when it is read dead: not the fault that is there all
/// the time, and no neighbour.
#[test]
fn what_opens_once_the_unit_runs_is_found_and_said_to_come_and_go() {
    let book = Book::new(bundle()).expect("the book opens");
    for (fault, complaint) in [
        ("low-pressure.opens-running", "nothing-runs"),
        ("high-pressure.opens-running", "nothing-runs"),
        ("defrost-relay.opens-running", "fan-stopped"),
    ] {
        let known = book.sheet.complaints.iter().any(|c| c.name == complaint);
        let mut hands = if known {
            Hands::complaining(&book, &[fault], 21, complaint)
        } else {
            Hands::new(&book, &[fault], 21)
        };
        let finding = hands.run();
        assert_eq!(finding.faults, [fault], "{finding:?}");
        let said = finding.consequences.iter().find(|c| c.starts_with(fault));
        let said = said.unwrap_or_else(|| panic!("{fault}: {:?}", finding.consequences));
        assert!(said.contains("intermittent: it shows once"), "{said}");
        assert!(!said.contains("under power: none"), "{said}");
        // The part that is open all the time is not said to come and go.
        let always = fault.replace("opens-running", "open");
        if book.sheet.fault(&always).is_some() {
            let finding = Hands::complaining(&book, &[&always], 21, "nothing-runs").run();
            assert_eq!(finding.faults, [always.as_str()]);
            assert!(
                !finding
                    .consequences
                    .iter()
                    .any(|c| c.contains("intermittent"))
            );
        }
    }
}
