//! The driver for bench meters against a simulated one: in virtual time, with every fault, and
//! over a real TCP port and a pseudo-terminal. What the meter says follows TRADE 12: SCPI-99 and
//! IEEE 488.2, from memory; the error numbers too.

use std::net::{Ipv4Addr, SocketAddr};
use std::time::Duration;

use ohmtrail_core::reading::{Decimal, Function, MeterId, Reading, Shown};
use ohmtrail_core::units::Micros;
use ohmtrail_meters::driver::{CannotSet, Driver, HELD, Outcome, Setup, Told, driver};
use ohmtrail_meters::link::{self, Manner};
use ohmtrail_meters::scpi::Scpi;
use ohmtrail_meters::session::{Clock, Gone, Session, SessionEvent};
use ohmtrail_meters::showing::Reason;
use ohmtrail_meters::sim::bench::{Bench, Fault};
use ohmtrail_meters::sim::bench_port::BenchPort;
use ohmtrail_meters::spec::{Spec, StreamSpec};
use proptest::prelude::*;

/// A driver and a meter in virtual time.
struct Pair {
    driver: Scpi,
    bench: Bench,
    now: Micros,
    /// Answers on their way.
    due: Vec<(Micros, Vec<u8>)>,
    got: Vec<Outcome<Reading>>,
    told: Vec<Told>,
    split: usize,
    /// Bytes from the meter, and what became of them.
    bytes: (usize, usize),
}

impl Pair {
    fn new(function: Option<Function>) -> Pair {
        let setup = Setup {
            function,
            ..Setup::of(MeterId(5))
        };
        Pair {
            driver: Scpi::start(&setup).unwrap(),
            bench: Bench::default(),
            now: Micros(0),
            due: Vec::new(),
            got: Vec::new(),
            told: Vec::new(),
            split: 7,
            bytes: (0, 0),
        }
    }

    /// Lets this much time pass.
    fn run(&mut self, seconds: f64) {
        let end = Micros(self.now.0 + (seconds * 1e6) as u64);
        loop {
            while let Some(ask) = self.driver.poll(self.now).map(<[u8]>::to_vec) {
                let free = self.due.last().map_or(self.now, |(at, _)| *at);
                for reply in self.bench.take(&ask) {
                    // A millisecond on the line.
                    let after = reply.after.as_micros() as u64 + 1_000;
                    let at = Micros(free.max(self.now).0 + after);
                    self.due.push((at, reply.bytes));
                }
                self.told.extend(std::iter::from_fn(|| self.driver.told()));
            }
            let wake = self.driver.wake().unwrap();
            let next = self.due.first().map_or(wake, |(at, _)| wake.min(*at));
            assert!(next > self.now, "the driver does not wait");
            if next > end {
                self.now = end;
                return;
            }
            self.now = next;
            while self.due.first().is_some_and(|(at, _)| *at <= self.now) {
                let (_, bytes) = self.due.remove(0);
                self.push(&bytes);
            }
        }
    }

    fn push(&mut self, bytes: &[u8]) {
        self.bytes.0 += bytes.len();
        for piece in bytes.chunks(self.split) {
            let mut rest = piece;
            loop {
                let pushed = self.driver.push(rest, self.now);
                rest = pushed.rest;
                self.bytes.1 += pushed.used + pushed.skipped;
                if pushed.outcome == Outcome::Hungry {
                    break;
                }
                self.got.push(pushed.outcome);
            }
        }
        let held = self.bytes.0.checked_sub(self.bytes.1);
        assert!(held.is_some_and(|held| held <= HELD), "{:?}", self.bytes);
        self.told.extend(std::iter::from_fn(|| self.driver.told()));
    }

    fn readings(&self) -> Vec<(Function, Shown)> {
        let pick = |outcome: &Outcome<Reading>| match outcome {
            Outcome::Got(r) => Some((r.function, r.shown)),
            _ => None,
        };
        self.got.iter().filter_map(pick).collect()
    }

    fn rejected(&self, reason: Reason) -> usize {
        let wanted = Outcome::Rejected(reason);
        self.got.iter().filter(|o| **o == wanted).count()
    }

    fn errors(&self) -> Vec<i32> {
        let pick = |told: &Told| match told {
            Told::Error { number, .. } => Some(*number),
            _ => None,
        };
        self.told.iter().filter_map(pick).collect()
    }

    /// How often a command was heard.
    fn heard(&self, command: &str) -> usize {
        self.bench.heard().iter().filter(|c| *c == command).count()
    }
}

fn shown(mantissa: i32, exponent: i8) -> Shown {
    Shown::Value(Decimal::new(mantissa, exponent))
}

#[test]
fn a_meter_is_identified_emptied_of_errors_and_read_as_it_stands() {
    let mut pair = Pair::new(None);
    pair.bench.turn(Function::VoltsAc, 238.412);
    pair.bench.error(-113, "Undefined header");
    pair.bench.error(100, "the maker's own");
    pair.run(2.0);
    let identity = ["an invented maker", "bench meter", "0", "sim"].map(String::from);
    assert_eq!(pair.told.first(), Some(&Told::Identity(identity)));
    assert_eq!(pair.errors(), [-113, 100]);
    let readings = pair.readings();
    assert!(readings.len() >= 10, "{}", readings.len());
    for reading in readings {
        assert_eq!(reading, (Function::VoltsAc, shown(238_412_000, -6)));
    }
    // The function was not touched.
    assert!(pair.bench.heard().iter().all(|c| !c.starts_with("CONF")));
    assert_eq!(pair.bench.function(), Function::VoltsAc);
}

/// Every function that the driver says it can ask for is asked for, and comes.
#[test]
fn every_function_is_set_when_wanted() {
    let functions = driver("scpi").unwrap().about.functions;
    for function in functions {
        let mut pair = Pair::new(Some(*function));
        pair.run(1.0);
        let readings = pair.readings();
        assert!(
            !readings.is_empty(),
            "{function:?}: {:?}",
            pair.bench.heard()
        );
        assert!(readings.iter().all(|(f, _)| f == function), "{function:?}");
        assert_eq!(pair.errors(), [0; 0], "{function:?}");
    }
    // Turned by the driver while it reads.
    let mut pair = Pair::new(Some(Function::VoltsDc));
    pair.run(1.0);
    pair.driver.measure(Function::Farads).unwrap();
    let before = pair.readings().len();
    pair.run(1.0);
    let later = &pair.readings()[before..];
    let turned = later.iter().filter(|(f, _)| *f == Function::Farads).count();
    assert!(turned >= 5 && turned + 1 >= later.len(), "{later:?}");
    assert_eq!(
        pair.driver.measure(Function::Pascals),
        Err(CannotSet::Function(Function::Pascals))
    );
}

#[test]
fn a_meter_that_cannot_tell_its_function_is_measured_with_each_value() {
    for fault in [Fault::NoFunctionQuery, Fault::MeasureOnly] {
        let mut pair = Pair::new(Some(Function::Ohms));
        pair.bench.fault(fault);
        pair.bench.turn(Function::VoltsDc, 2.2);
        pair.run(12.0);
        let readings = pair.readings();
        assert!(readings.len() >= 10, "{fault:?}: {:?}", pair.bench.heard());
        for reading in readings {
            assert_eq!(reading, (Function::Ohms, shown(220_000_000, -8)));
        }
        assert!(pair.errors().contains(&-113), "{:?}", pair.told);
        assert!(pair.heard("MEAS:RES?") >= 10);
    }
    // Without a wanted function there is nothing to measure by: no value is made up.
    let mut pair = Pair::new(None);
    pair.bench.fault(Fault::NoFunctionQuery);
    pair.run(60.0);
    assert_eq!(pair.readings(), []);
    assert!(pair.told.contains(&Told::NoAnswer("FUNCtion?")));
    // When it can, it is read.
    pair.bench.fault(Fault::None);
    pair.run(20.0);
    assert!(!pair.readings().is_empty());
}

#[test]
fn overloads_and_missing_data_are_no_numbers() {
    for (value, expected) in [
        (f64::INFINITY, Shown::Overload),
        (f64::NEG_INFINITY, Shown::Overload),
        (f64::NAN, Shown::Blank),
    ] {
        let mut pair = Pair::new(None);
        pair.bench.turn(Function::Ohms, value);
        pair.run(1.0);
        let readings = pair.readings();
        assert!(!readings.is_empty());
        for reading in readings {
            assert_eq!(reading, (Function::Ohms, expected));
        }
    }
}

/// The meter is turned again and again while it is read: each value belongs to its function. Away
/// and back within one reading, a tenth of a second here, would not be seen; no hand does that.
#[test]
fn no_value_is_put_to_a_function_that_was_turned_away_from() {
    let mut pair = Pair::new(None);
    for n in 0..400 {
        let (function, value) = match n % 2 {
            0 => (Function::VoltsAc, 240.0),
            _ => (Function::Ohms, 7.0),
        };
        pair.bench.turn(function, value);
        pair.run(0.15 + 0.013 * f64::from(n % 37));
    }
    let readings = pair.readings();
    assert!(readings.len() > 100);
    for (function, value) in readings {
        let expected = match function {
            Function::VoltsAc => 240.0,
            _ => 7.0,
        };
        assert_eq!(
            value.decimal().map(Decimal::value),
            Some(expected),
            "{function:?}"
        );
    }
    assert!(pair.rejected(Reason::Changed) > 10);
}

/// Every fault is told, no value comes of it, and values come again when it is over.
#[test]
fn faults_are_told_and_survived() {
    for (fault, reason) in [
        (Fault::WrongAnswer, Some(Reason::Digits)),
        (Fault::Twice, Some(Reason::Unasked)),
        (Fault::Endless, Some(Reason::Overlong)),
        (Fault::Slow(Duration::from_secs(8)), None),
        (Fault::Mute, None),
    ] {
        let mut pair = Pair::new(None);
        pair.bench.turn(Function::VoltsDc, 1.0);
        pair.run(1.0);
        let before = pair.readings().len();
        pair.bench.fault(fault);
        // A value that says when it was taken: the old one must not come late.
        pair.bench.turn(Function::VoltsDc, 2.0);
        pair.run(30.0);
        match reason {
            Some(reason) => assert!(pair.rejected(reason) > 0, "{fault:?}: {:?}", pair.got),
            None => assert!(
                pair.told.iter().any(|t| matches!(t, Told::NoAnswer(_))),
                "{fault:?}: {:?}",
                pair.told
            ),
        }
        pair.bench.fault(Fault::None);
        pair.bench.turn(Function::VoltsDc, 3.0);
        let during = pair.readings().len();
        pair.run(30.0);
        let readings = pair.readings();
        assert!(
            readings.len() > during + 20,
            "{fault:?}: {:?}",
            pair.told.last()
        );
        assert!(
            readings[..before]
                .iter()
                .all(|r| r.1 == shown(100_000_000, -8))
        );
        // What was asked before is answered first; then only the new value comes.
        let later = readings[during..]
            .iter()
            .skip_while(|r| r.1 == shown(200_000_000, -8));
        for reading in later {
            assert_eq!(reading.1, shown(300_000_000, -8), "{fault:?}");
        }
    }
}

#[test]
fn a_full_error_queue_is_read_to_its_end_and_never_for_ever() {
    let mut pair = Pair::new(None);
    for n in 0..40 {
        pair.bench.error(-222, &format!("Data out of range {n}"));
    }
    pair.run(2.0);
    let errors = pair.errors();
    // Twenty messages, of which the last says that there were more.
    assert_eq!(errors.len(), 20, "{errors:?}");
    assert_eq!(errors.last(), Some(&-350));
    assert!(!pair.readings().is_empty());

    // A meter that finds a new error whenever it is asked still gives its values.
    let mut pair = Pair::new(None);
    for _ in 0..200 {
        pair.bench.error(-300, "Device-specific error");
        pair.bench.error(-300, "Device-specific error");
        pair.run(0.05);
    }
    assert!(!pair.readings().is_empty());
}

#[test]
fn a_chattering_meter_is_not_asked_without_pause_and_not_for_ever_put_off() {
    let mut pair = Pair::new(None);
    pair.bench.fault(Fault::Chatter);
    pair.run(60.0);
    assert_eq!(pair.readings(), [], "a pairing that cannot be told");
    assert!(
        pair.bench.heard().len() < 200,
        "{}",
        pair.bench.heard().len()
    );
    pair.bench.fault(Fault::None);
    pair.run(10.0);
    assert!(!pair.readings().is_empty());
}

fn line() -> impl Strategy<Value = Vec<u8>> {
    let pick = |texts: &'static [&'static str]| {
        prop::sample::select(texts).prop_map(|t| t.as_bytes().to_vec())
    };
    prop_oneof![
        prop::collection::vec(any::<u8>(), 0..700),
        pick(&[
            "+1.0E+00\n",
            "9.9E37\n",
            "\"VOLT\"\n",
            "\"RES\"\n",
            "C\n",
            "F\n",
            "\n",
            "\r\n"
        ]),
        pick(&[
            "0,\"No error\"\n",
            "-410,\"Query INTERRUPTED\"\n",
            "a,b,c,d\n",
            "1,2,3,4\n"
        ]),
        pick(&[
            "+1.0E+00",
            "0,\"No",
            "\"",
            ",,,,\n",
            "+1.0E+99999999999\n",
            "-,\"\"\n"
        ]),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(600) })]

    /// Any bytes at any time, then a meter that behaves: it is read. Nothing panics, memory is
    /// bounded (`Pair::push` checks it), and the driver never asks without end.
    #[test]
    fn any_bytes_at_any_time_are_survived(
        noise in prop::collection::vec((line(), 0.0..3.0_f64), 0..12),
        wanted in prop::sample::select(vec![None, Some(Function::Ohms)]),
        split in 1..40_usize,
    ) {
        let mut pair = Pair::new(wanted);
        pair.split = split;
        pair.bench.turn(Function::Ohms, 7.0);
        for (bytes, seconds) in noise {
            pair.push(&bytes);
            pair.run(seconds);
        }
        // The line may end in the middle of noise.
        pair.push(b"\n");
        let before = pair.readings().len();
        pair.run(60.0);
        let after = pair.readings();
        prop_assert!(after.len() > before + 20, "{:?}", pair.bench.heard());
        let last = after.last().map(|r| r.1);
        prop_assert_eq!(last, Some(shown(700_000_000, -8)));
        prop_assert!(pair.bench.heard().len() < 2_500);
    }
}

async fn next(session: &mut Session) -> SessionEvent {
    tokio::time::timeout(Duration::from_secs(60), session.recv())
        .await
        .expect("no event in a minute")
        .expect("the session ended")
}

/// The next reading's function and value; everything else is collected.
async fn reading(session: &mut Session, seen: &mut Vec<SessionEvent>) -> (Function, Shown) {
    loop {
        match next(session).await {
            SessionEvent::Reading(r) => return (r.function, r.shown),
            event => seen.push(event),
        }
    }
}

fn stream(text: &str) -> StreamSpec {
    match text.parse().unwrap() {
        Spec::Stream(stream) => stream,
        other => panic!("{other:?}"),
    }
}

fn any_port() -> SocketAddr {
    (Ipv4Addr::LOCALHOST, 0).into()
}

#[tokio::test]
async fn a_bench_meter_is_read_over_tcp_and_over_a_serial_line() {
    let tcp = BenchPort::tcp(any_port()).unwrap();
    let pty = BenchPort::pty().unwrap();
    let on_tcp = format!("tcp:{},frame=scpi,function=ohms", tcp.address().unwrap());
    let on_pty = format!("serial:{},frame=scpi", pty.path().unwrap().display());
    for (port, spec, function) in [
        (&tcp, on_tcp, Function::Ohms),
        (&pty, on_pty, Function::VoltsAc),
    ] {
        port.bench().turn(Function::VoltsAc, 2.2);
        port.bench().error(-113, "Undefined header");
        let manner = Manner::default();
        let mut session = link::open(&stream(&spec), MeterId(1), manner, Clock::start())
            .await
            .unwrap();
        let mut seen = Vec::new();
        for _ in 0..5 {
            let got = reading(&mut session, &mut seen).await;
            assert_eq!(got, (function, shown(220_000_000, -8)), "{spec}");
        }
        let told = |pick: fn(&Told) -> bool| {
            seen.iter()
                .any(|e| matches!(e, SessionEvent::Told { told, .. } if pick(told)))
        };
        assert!(told(|t| matches!(t, Told::Identity(_))), "{seen:?}");
        assert!(
            told(|t| matches!(t, Told::Error { number: -113, .. })),
            "{seen:?}"
        );
        // The session can turn it.
        session.measure(Function::Hertz);
        while reading(&mut session, &mut seen).await.0 != Function::Hertz {}
        let tally = session.tally();
        assert_eq!(tally.skipped, 0, "{tally:?}");
        assert!(tally.bytes - tally.used <= HELD as u64);
    }
}

#[tokio::test]
async fn a_line_that_closes_in_the_middle_of_a_value_is_opened_again() {
    let port = BenchPort::tcp(any_port()).unwrap();
    port.bench().turn(Function::VoltsDc, 1.0);
    let spec = stream(&format!("tcp:{},frame=scpi", port.address().unwrap()));
    let manner = Manner::default();
    let mut session = link::keep(&spec, MeterId(1), manner, Clock::start())
        .await
        .unwrap();
    let mut seen = Vec::new();
    reading(&mut session, &mut seen).await;
    for _ in 0..3 {
        port.bench().fault(Fault::CloseMidLine);
        seen.clear();
        loop {
            let got = reading(&mut session, &mut seen).await;
            assert_eq!(got, (Function::VoltsDc, shown(100_000_000, -8)));
            if let Some(at) = seen.iter().position(|e| {
                matches!(
                    e,
                    SessionEvent::Away {
                        why: Gone::Unplugged | Gone::Failed(_),
                        ..
                    }
                )
            }) {
                let up = seen[at..]
                    .iter()
                    .find(|e| matches!(e, SessionEvent::Up { .. }));
                let Some(SessionEvent::Up { gap_us, .. }) = up else {
                    panic!("no gap is told: {seen:?}")
                };
                assert!(*gap_us > 0);
                break;
            }
        }
    }
    // Half a value was never taken for one: `1.0000` would be read as other digits.
}

#[tokio::test]
async fn a_port_where_nobody_listens_says_so() {
    let port = BenchPort::tcp(any_port()).unwrap();
    let spec = stream(&format!("tcp:{},frame=scpi", port.address().unwrap()));
    drop(port);
    let manner = Manner::default();
    let error = link::open(&spec, MeterId(1), manner, Clock::start())
        .await
        .expect_err("nobody is there");
    assert!(error.to_string().contains("no connection"), "{error}");
    // One that may come later is waited for.
    let mut session = link::keep_trying(&spec, MeterId(1), manner, Clock::start()).unwrap();
    let away = next(&mut session).await;
    assert!(
        matches!(
            away,
            SessionEvent::Away {
                why: Gone::CannotOpen(_),
                ..
            }
        ),
        "{away:?}"
    );
}
