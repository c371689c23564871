//! A wall clock that jumps: nothing is asked, judged, or lost otherwise than by one that does not.

mod common;

use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};

use common::House;
use ohmtrail_core::reading::Flags;
use ohmtrail_daemon::clock::Clocks;
use ohmtrail_daemon::visits::{Place, Typed, Visit};
use ohmtrail_trail::event::{Entry, Event, Request};
use ohmtrail_trail::{Body, read};
use ohmtrail_visit::Input;

/// 2026-01-01T00:00:00Z by `date -u +%s`, in microseconds.
const THEN: i64 = 1_767_225_600_000_000;
const DAY: i64 = 86_400_000_000;
/// What the wall clock does before each answer: on by a year, back by fifty, and so on.
const JUMPS: [i64; 6] = [
    0,
    365 * DAY,
    -50 * 365 * DAY,
    50 * 365 * DAY,
    -DAY,
    i64::MIN / 4,
];

/// Answers the open ask: no to looks, a typed value to measurements, acts are passed over.
async fn answer(visit: &Visit) {
    let answered = visit.with(|keeper| {
        let asked = keeper.seen().record.open_ask().cloned().expect("an ask");
        let ask = asked.ask;
        let said = match asked.request {
            Request::Look { .. } => keeper.tell(Input::Look {
                ask: Some(ask),
                what: None,
                answer: false,
            }),
            Request::Measure { .. } => keeper.typed(Typed {
                place: Place::Ask(ask),
                function: None,
                display: "0.0".to_owned(),
                unit: "V".to_owned(),
                flags: Flags::NONE,
                meter: None,
            }),
            _ => keeper.tell(Input::Skip {
                ask,
                why: "not today".to_owned(),
            }),
        };
        said.map(|_| ())
    });
    answered.await.expect("there").expect("taken");
}

/// A visit under these jumps, with a restart in its middle; gives its entries.
async fn hold(folder: &Path, jumps: &[i64]) -> Vec<Entry> {
    let wall = Arc::new(AtomicI64::new(THEN));
    let clocks = || {
        let wall = Arc::clone(&wall);
        Clocks::with_wall(move || wall.load(Ordering::SeqCst))
    };
    let house = House::open(folder, clocks());
    let visit = house.visit().await;
    for jump in &jumps[..3] {
        wall.fetch_add(*jump, Ordering::SeqCst);
        answer(&visit).await;
    }
    let id = visit.id.clone();
    house.stop().await;
    let house = House::open(folder, clocks());
    let visit = house.visits.find(&id).expect("it goes on");
    for jump in &jumps[3..] {
        wall.fetch_add(*jump, Ordering::SeqCst);
        answer(&visit).await;
    }
    house.stop().await;
    let records = read(&visit.path).expect("a trail");
    let entries = records.filter_map(|record| match record.expect("whole").body {
        Body::Entry(entry) => Some(entry),
        _ => None,
    });
    entries.collect()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_wall_clock_that_jumps_changes_nothing_but_the_times() {
    let (calm, wild) = (
        tempfile::tempdir().expect("a folder"),
        tempfile::tempdir().expect("a folder"),
    );
    let calm = hold(calm.path(), &[0; 6]).await;
    let wild = hold(wild.path(), &JUMPS).await;
    let events =
        |entries: &[Entry]| -> Vec<Event> { entries.iter().map(|e| e.event.clone()).collect() };
    assert_eq!(events(&calm), events(&wild));
    // Both clocks are in the trail: the wall's as it was, the steady one without a step back but
    // where the program was started again.
    let walls: Vec<i64> = wild.iter().map(|e| e.at.wall_us).collect();
    assert!(walls.windows(2).any(|w| w[1] < w[0]), "it did jump");
    let back = wild.windows(2).filter(|w| w[1].at.steady < w[0].at.steady);
    assert!(back.count() <= 1, "the steady clock");
}
