//! Compressors on an open overload: what the wait is told to be, and when an open that stays counts.
//!
//! The bench knows a hot and a cold motor and nothing between; start to run is keyed in here, by a
//! cooling of one body in an invented ambient.

use ohmtrail_core::cooldown::Advice;
use ohmtrail_core::reading::{Decimal, Flags, Function, Shown};
use ohmtrail_core::units::Micros;
use ohmtrail_trail::event::{Act, Asked, Event, PlateEntry, Request};
use ohmtrail_visit::{AMBIENT, Book, COLD_KEY, Cooling, Input, Refusal, Taken, Visit};

use crate::bench::{Hands, bundle};

const AIR: f64 = 33.0;
const START_RUN: [&str; 2] = ["comp-start.1", "comp-run.1"];

/// The winding so many minutes after 112 °C, with 50 minutes, °C.
fn winding(minutes: f64) -> f64 {
    AIR + 79.0 * (-minutes / 50.0).exp()
}

/// A winding of 2.9 ohm at 25 °C, copper, so many minutes after, by a display of a milliohm.
fn shown(minutes: f64) -> Shown {
    let ohms = 2.9 * (234.5 + winding(minutes)) / 259.5;
    Shown::Value(Decimal::new((ohms * 1000.0).round() as i32, -3))
}

fn is_start_run(request: &Request) -> bool {
    matches!(request, Request::Measure { function: Function::Ohms, points, .. }
        if *points == START_RUN.map(String::from))
}

fn cold() -> Input {
    Input::Plate(PlateEntry {
        part: "compressor".into(),
        key: COLD_KEY.into(),
        value: "2.900Ohm@25Cel+-0.010+-1K an invented commissioning sheet".into(),
        unit: String::new(),
    })
}

fn ambient() -> Input {
    Input::Take(Taken {
        function: Some(Function::Celsius),
        points: Some([AMBIENT.into(), AMBIENT.into()]),
        shown: Shown::Value(Decimal::new(330, -1)),
        ..Taken::default()
    })
}

/// A visit of a compressor that stands, up to its first reading of start to run, which is the
/// cooling's: with the seconds of that.
fn standing<'b>(book: &'b Book<'b>, fault: &str) -> (Hands<'b>, f64) {
    let mut hands = Hands::complaining(book, &[fault], 5, "fan-only");
    let asked = hands.until(is_start_run);
    let start = hands.seconds + 60.0;
    answer(&mut hands, &asked, start);
    (hands, start)
}

/// The true answer, but for start to run: that is the cooling's.
fn answer(hands: &mut Hands<'_>, asked: &Asked, start: f64) {
    let mut input = hands.answer(asked);
    if let Input::Take(taken) = &mut input
        && is_start_run(&asked.request)
    {
        taken.shown = shown((hands.seconds - start) / 60.0);
    }
    hands.say(input).expect("taken");
}

fn now(hands: &Hands<'_>) -> Vec<Cooling> {
    let record = hands.visit.record();
    record.cooling(hands.visit.book(), record.elapsed(hands.now().steady))
}

/// Start to run, this many minutes after the first of them, volunteered.
fn start_run(hands: &mut Hands<'_>, start: f64, minutes: f64) {
    hands.seconds = start + 60.0 * minutes;
    hands
        .say(Input::Take(Taken {
            function: Some(Function::Ohms),
            points: Some(START_RUN.map(String::from)),
            shown: shown(minutes),
            flags: Flags::RELATIVE,
            ..Taken::default()
        }))
        .expect("a volunteered take");
}

/// Common to run, volunteered as open.
fn common_open(hands: &mut Hands<'_>) {
    hands.volts_first(["comp-common.1", "comp-run.1"]);
    hands
        .say(Input::Take(Taken {
            function: Some(Function::Ohms),
            points: Some(["comp-common.1".into(), "comp-run.1".into()]),
            shown: Shown::Overload,
            flags: Flags::RELATIVE,
            ..Taken::default()
        }))
        .expect("a volunteered take");
}

/// The ask to wait.
fn wait_asked(hands: &mut Hands<'_>, start: f64) -> Asked {
    for _ in 0..100 {
        let asked = hands.settle().expect("an ask");
        if matches!(&asked.request, Request::Act { act: Act::WaitCool }) {
            return asked;
        }
        answer(hands, &asked, start);
    }
    panic!("never asked to wait");
}

#[test]
fn with_nothing_known_it_is_a_wait_without_a_time() {
    let book = Book::new(bundle()).expect("the book opens");
    let (mut hands, start) = standing(&book, "compressor.overheated");
    assert_eq!(
        now(&hands),
        [],
        "nothing is said of an overload that nobody waits for"
    );
    let asked = wait_asked(&mut hands, start);
    let why = asked.why;
    for missing in [
        "if its overload is open",
        "without a time",
        "cold reference",
        "ambient temperature",
    ] {
        assert!(why.contains(missing), "{why}");
    }
    assert!(!why.contains("expected to close"), "{why}");
    // Then the sheet's minutes are planned with.
    assert_eq!(asked.minutes, bundle().sheet.minutes.cool as f32);
    common_open(&mut hands);
    let all = now(&hands);
    assert_eq!((all.len(), all[0].outlook.advice), (1, Advice::Wait));
    assert_eq!((all[0].outlook.window, all[0].unread), (None, false));
}

#[test]
fn the_ask_to_wait_carries_the_time_and_each_reading_is_news() {
    let book = Book::new(bundle()).expect("the book opens");
    let (mut hands, start) = standing(&book, "compressor.overheated");
    common_open(&mut hands);
    assert_eq!(hands.visit.cooling_news(hands.now()).len(), 1);
    assert_eq!(hands.visit.cooling_news(hands.now()), [], "told once");
    hands.say(cold()).expect("a cold reference");
    hands.say(ambient()).expect("an ambient");
    let one = hands.visit.cooling_news(hands.now());
    assert!(
        one[0].words().contains("second reading"),
        "{}",
        one[0].words()
    );
    assert!(
        one[0].words().contains("0.1 ohm of start to run is 8.9 K"),
        "{}",
        one[0].words()
    );
    let mut widths = Vec::new();
    for minutes in [5.0, 10.0, 15.0] {
        start_run(&mut hands, start, minutes);
        common_open(&mut hands);
        let news = hands.visit.cooling_news(hands.now());
        assert_eq!(news.len(), 1, "each reading is news");
        let window = news[0].outlook.window.expect("all is given");
        let to = |at: Option<_>| news[0].minutes_to(at.expect("within a day"));
        widths.push(to(window.late) - to(window.early));
        assert!(to(window.late) > 0.0 && to(window.late) < 120.0);
    }
    assert!(widths[2] < widths[0], "{widths:?}");
    let asked = wait_asked(&mut hands, start);
    let why = asked.why;
    assert!(
        why.contains("expected to close in") && why.contains("80 %"),
        "{why}"
    );
    // By the law 75 °C are reached after 31.6 minutes, and 63.3 °C (the tenth below) after 48.
    assert!(
        asked.minutes > 15.0 && asked.minutes < 60.0,
        "{}",
        asked.minutes
    );
    let text = format!("{why}{:?}", now(&hands)).to_lowercase();
    assert!(
        !text.contains("has closed") && !text.contains("safe"),
        "{text}"
    );
}

/// The visit goes on from its trail, on a clock that begins again: the estimate is the same.
#[test]
fn a_restart_changes_no_estimate() {
    let book = Book::new(bundle()).expect("the book opens");
    let (mut hands, start) = standing(&book, "compressor.overheated");
    common_open(&mut hands);
    hands.say(cold()).expect("a cold reference");
    hands.say(ambient()).expect("an ambient");
    for minutes in [6.0, 12.0] {
        start_run(&mut hands, start, minutes);
    }
    let before = now(&hands);
    assert!(before[0].outlook.window.is_some());
    // The last entry is of a new run, 3 s old by its steady clock; the wall clock goes on.
    let mut entries = hands.entries.clone();
    let last = entries.last_mut().expect("entries");
    last.at.steady = Micros(3_000_000);
    let steady = last.at.steady;
    let visit = Visit::replay(&book, &entries).expect("its own trail");
    let record = visit.record();
    let after = record.cooling(&book, record.elapsed(steady));
    assert_eq!(after[0].outlook, before[0].outlook);
    assert_eq!(after[0].cold, before[0].cold);
}

/// The visit up to a finding or a wait, with a technician who calls the motors cold within seconds.
fn hasty(hands: &mut Hands<'_>) -> Option<&'static str> {
    for _ in 0..300 {
        let events = hands.visit.next(hands.now());
        if !events.is_empty() {
            let found = events.iter().any(|e| matches!(e, Event::Found(_)));
            hands.keep(events);
            if found {
                return None;
            }
            continue;
        }
        if let Some(waiting) = hands.visit.waiting() {
            return Some(waiting.why);
        }
        let asked = hands.visit.record().open_ask().cloned().expect("an ask");
        let seconds = hands.seconds;
        let input = hands.answer(&asked);
        hands.seconds = seconds + 1.0;
        hands.say(input).expect("taken");
    }
    panic!("neither found nor waited for");
}

/// Called cold at once and read open: not believed while start to run has the winding hot. Read
/// again hours later, twice, with the winding at ambient, it is the protector.
#[test]
fn a_hot_winding_is_not_condemned_whoever_calls_it_cold() {
    let book = Book::new(bundle()).expect("the book opens");
    let fault = "compressor.protector-failed";
    for with_ambient in [true, false] {
        let (mut hands, start) = standing(&book, fault);
        hands.say(cold()).expect("a cold reference");
        if with_ambient {
            hands.say(ambient()).expect("an ambient");
        }
        for minutes in [4.0, 8.0] {
            start_run(&mut hands, start, minutes);
        }
        wait_asked(&mut hands, start);
        let why = hasty(&mut hands).expect("condemned while hot");
        assert!(why.contains("may still be hot"), "{why}");
        let until = hands.visit.waiting().expect("it waits").until;
        let minutes = until.0 as f64 / 60e6 - hands.seconds / 60.0;
        assert!((5.0..90.0).contains(&minutes), "{minutes} minutes");
        // Hours later it has cooled, and common still reads open.
        for minutes in [240.0, 300.0] {
            start_run(&mut hands, start, minutes);
        }
        let finding = hands.run();
        assert_eq!(finding.faults, [fault], "{finding:#?}");
        let opens = hands.entries.iter().filter(|e| {
            matches!(&e.event, Event::Took(t) if t.state.cooled && t.points[0] == "comp-common.1"
                && t.shown == Shown::Overload)
        });
        assert!(opens.count() >= 2, "an open that stays is read twice");
    }
}

#[test]
fn a_cold_reference_that_is_none_is_refused() {
    let book = Book::new(bundle()).expect("the book opens");
    let mut hands = Hands::new(&book, &["compressor.overheated"], 1);
    for bad in ["2.9", "2.9Ohm", "2.9V@25Cel", "0Ohm@25Cel"] {
        let entry = PlateEntry {
            part: "compressor".into(),
            key: COLD_KEY.into(),
            value: bad.into(),
            unit: String::new(),
        };
        let said = hands.say(Input::Plate(entry));
        assert!(matches!(said, Err(Refusal::Cold(_))), "{bad}: {said:?}");
    }
}
