//! What a technician may say besides honest answers: strikes, skips, volunteered takes, wrong
//! settings, meters that vanish, and a live value where there should be none.

use ohmtrail_core::reading::{Decimal, Flags, Function, MeterId, Reading, Shown};
use ohmtrail_core::units::Micros;
use ohmtrail_trail::event::{Act, Event, PlateEntry, Power, Request};
use ohmtrail_visit::{Book, Input, LEADS, Record, Refusal, Stage, Taken, Visit};
use proptest::prelude::*;

use crate::bench::{Hands, at, bundle, joined, opened, sheet};
use crate::gates::no_dead_ask_with_a_gate_shut;

fn injects(request: &Request) -> bool {
    matches!(request, Request::Measure { function, .. } if function.injects())
}

fn points(a: &str, b: &str) -> [String; 2] {
    [a.to_owned(), b.to_owned()]
}

fn value(mantissa: i32, exponent: i8) -> Shown {
    Shown::Value(Decimal::new(mantissa, exponent))
}

fn volunteered(function: Function, pair: [String; 2], shown: Shown) -> Taken {
    Taken {
        function: Some(function),
        points: Some(pair),
        shown,
        ..Taken::default()
    }
}

/// The last take, and why it is void.
fn last(hands: &Hands<'_>) -> (bool, String) {
    let took = hands.visit.record().takes.last().expect("a take");
    (
        took.take.verdict.is_some(),
        took.void.clone().unwrap_or_default(),
    )
}

#[test]
fn ohms_on_a_live_circuit_are_void_and_say_why() {
    let book = Book::new(bundle()).expect("opens");
    let mut hands = Hands::new(&book, &[], 1);
    let pair = points("contactor.L1", "contactor.T1");
    hands
        .say(Input::Take(volunteered(
            Function::Ohms,
            pair,
            value(12, -1),
        )))
        .expect("recorded");
    let (judged, why) = last(&hands);
    assert!(!judged && why.contains("circuit not dead"), "{why}");
}

#[test]
fn a_wrong_function_a_held_display_and_a_low_battery_are_void_and_asked_again() {
    let book = Book::new(bundle()).expect("opens");
    let mut hands = Hands::new(&book, &["contactor.pole-1-open"], 1);
    let asked = hands.until(|r| matches!(r, Request::Measure { .. }));
    let Request::Measure {
        function, points, ..
    } = &asked.request
    else {
        panic!("asked for a measurement");
    };
    let honest = hands.take(*function, points, Some(asked.ask));
    let mut again = asked.clone();
    for (n, (function, flags, says)) in [
        (Function::Hertz, Flags::NONE, "wrong function"),
        (*function, Flags::HOLD, "held"),
    ]
    .into_iter()
    .enumerate()
    {
        hands
            .say(Input::Take(Taken {
                ask: Some(again.ask),
                function: Some(function),
                flags,
                ..honest.clone()
            }))
            .expect("recorded");
        let (judged, why) = last(&hands);
        assert!(!judged && why.contains(says), "{n}: {why}");
        again = hands.settle().expect("asked again");
        assert_eq!(again.request, asked.request, "{n}: the same is asked again");
        assert_ne!(again.ask, asked.ask);
    }
    // The third void take is the last: the check is passed over.
    hands
        .say(Input::Take(Taken {
            ask: Some(again.ask),
            flags: Flags::LOW_BATTERY,
            ..honest
        }))
        .expect("recorded");
    assert!(last(&hands).1.contains("battery low"));
    assert!(
        hands
            .visit
            .record()
            .skipped
            .iter()
            .any(|(ask, _)| *ask == again.ask)
    );
    let other = hands.settle().expect("another ask");
    assert_ne!(other.request, asked.request);
}

#[test]
fn a_volunteered_take_counts_for_its_check_and_a_struck_one_no_more() {
    let book = Book::new(bundle()).expect("opens");
    let mut hands = Hands::new(&book, &[], 1);
    let pair = points("contactor.L2", "contactor.L1");
    hands
        .say(Input::Take(volunteered(
            Function::VoltsAc,
            pair.clone(),
            value(12, -1),
        )))
        .expect("recorded");
    let (judged, why) = last(&hands);
    assert!(judged, "either way round is the same check: {why}");
    hands.settle();
    let p_of = |hands: &Hands<'_>, fault: &str| {
        let suspects = hands.visit.record().suspects.iter();
        let with = suspects.filter(|s| s.faults.iter().any(|f| f == fault));
        with.map(|s| s.p).sum::<f32>()
    };
    let dead = p_of(&hands, "breaker.tripped");
    assert!(
        dead > 0.02,
        "no volts, and the breaker is no suspect: {dead}"
    );
    hands
        .say(Input::Strike {
            take: 1,
            why: "wrong point".into(),
        })
        .expect("struck");
    hands.settle();
    assert!(p_of(&hands, "breaker.tripped") < dead);
    assert_eq!(
        hands.say(Input::Strike {
            take: 1,
            why: "twice".into()
        }),
        Err(Refusal::NoSuchTake(1))
    );
    // Points that no check knows: kept, and not judged.
    let odd = points("crankcase-heater.1", "contactor.A1");
    hands
        .say(Input::Take(volunteered(
            Function::VoltsAc,
            odd,
            value(1180, -1),
        )))
        .expect("recorded");
    let (judged, why) = last(&hands);
    assert!(!judged && why.is_empty());
}

#[test]
fn a_skipped_check_is_not_asked_again() {
    let book = Book::new(bundle()).expect("opens");
    let mut hands = Hands::new(&book, &["run-cap.fan-open"], 3);
    let mut skipped = Vec::new();
    for _ in 0..6 {
        let asked = hands.until(|r| matches!(r, Request::Look { .. }) || injects(r));
        assert!(!skipped.contains(&asked.request), "{asked:?}");
        skipped.push(asked.request.clone());
        hands
            .say(Input::Skip {
                ask: asked.ask,
                why: "can't reach".into(),
            })
            .expect("skipped");
    }
    hands.run();
}

#[test]
fn whoever_cannot_open_the_breaker_is_asked_nothing_dead() {
    let book = Book::new(bundle()).expect("opens");
    let mut hands = Hands::new(&book, &["run-cap.fan-open"], 3);
    for _ in 0..400 {
        let Some(asked) = hands.settle() else { break };
        assert!(!injects(&asked.request), "{asked:?}");
        let refuses = matches!(&asked.request, Request::Act { .. });
        let input = if refuses {
            Input::Skip {
                ask: asked.ask,
                why: "the panel is locked".into(),
            }
        } else {
            hands.answer(&asked)
        };
        hands.say(input).expect("taken");
    }
    assert_eq!(hands.visit.stage(), Stage::Left);
    let left = hands.visit.record().left.clone().expect("left");
    assert_eq!(left.power, Power::On);
    assert!(left.why.contains("the panel is locked"), "{}", left.why);
}

#[test]
fn a_line_side_not_seen_live_needs_a_locked_disconnect() {
    let book = Book::new(bundle()).expect("opens");
    let mut hands = Hands::new(&book, &["run-cap.herm-open"], 3);
    let line = points("disconnect.line-1", "disconnect.line-2");
    let mut skipped = false;
    for _ in 0..200 {
        let asked = hands.settle().expect("an ask");
        let is_line = matches!(&asked.request, Request::Measure { points, .. } if *points == line);
        let act = match &asked.request {
            Request::Act { act } => Some(act.clone()),
            _ => None,
        };
        if act == Some(Act::LockDisconnect) {
            assert!(skipped);
            return;
        }
        assert_ne!(act, Some(Act::LockAndTag), "locked by its label only");
        let input = if is_line {
            skipped = true;
            Input::Skip {
                ask: asked.ask,
                why: "cover stuck".into(),
            }
        } else {
            hands.answer(&asked)
        };
        hands.say(input).expect("taken");
    }
    panic!("no disconnect was asked for");
}

#[test]
fn a_live_value_sounds_the_alarm_within_one_reading() {
    let book = Book::new(bundle()).expect("opens");
    let mut hands = Hands::new(&book, &["run-cap.herm-open"], 3);
    let asked = hands.until(injects);
    assert!(hands.visit.may_measure_dead(hands.now()));
    hands
        .say(Input::Live(Reading {
            function: Function::VoltsAc,
            shown: value(1190, -1),
            flags: Flags::NONE,
            meter: MeterId(1),
            at: hands.now().steady,
        }))
        .expect("watched");
    let alarm = hands.visit.alarm().expect("the alarm sounds");
    assert!(alarm.contains("hands off"), "{alarm}");
    assert!(!hands.visit.may_measure_dead(hands.now()));
    let record = hands.visit.record();
    assert!(record.open.is_none(), "the ask {} is withdrawn", asked.ask);
    assert!(record.gates.values().all(|g| !g.open), "{:?}", record.gates);
    // The whole sequence is asked for anew before the next dead ask.
    let from = hands.entries.len();
    hands.until(injects);
    let acts: Vec<_> = hands.entries[from..]
        .iter()
        .filter_map(|e| match &e.event {
            Event::Acted(a) => Some(a.act.clone()),
            _ => None,
        })
        .collect();
    for act in [
        Act::OpenBreaker,
        Act::LockAndTag,
        Act::ProveMeter,
        Act::Discharge,
    ] {
        assert!(acts.contains(&act), "{act:?} in {acts:?}");
    }
    no_dead_ask_with_a_gate_shut(&hands.entries);
}

/// Two meters' readings come in no order: one that was read before the other's last take is no clock
/// that ran backwards, and shuts nothing.
#[test]
fn a_reading_that_comes_late_shuts_no_gate() {
    let book = Book::new(bundle()).expect("opens");
    let mut hands = Hands::new(&book, &["run-cap.herm-open"], 3);
    let asked = hands.until(injects);
    hands
        .say(Input::Live(Reading {
            function: Function::AmpsAc,
            shown: value(0, -2),
            flags: Flags::NONE,
            meter: MeterId(2),
            at: Micros(hands.now().steady.0 - 40_000),
        }))
        .expect("watched");
    assert!(hands.visit.alarm().is_none());
    assert!(hands.visit.may_measure_dead(hands.now()));
    assert_eq!(hands.visit.record().open, Some(asked.ask));
}

#[test]
fn a_live_value_in_the_test_itself_voids_the_take() {
    let book = Book::new(bundle()).expect("opens");
    let mut hands = Hands::new(&book, &["run-cap.herm-open"], 3);
    let asked = hands.until(|r| {
        matches!(r, Request::Measure { function: Function::VoltsAc, state, .. } if state.power == Power::Off)
    });
    hands
        .say(Input::Take(Taken {
            ask: Some(asked.ask),
            shown: value(2310, -1),
            ..Taken::default()
        }))
        .expect("recorded");
    assert!(hands.visit.alarm().is_some());
    let (judged, why) = last(&hands);
    assert!(!judged && why.contains("live value"), "{why}");
}

#[test]
fn a_meter_lost_in_the_middle_of_an_ask_shuts_the_gates() {
    let book = Book::new(bundle()).expect("opens");
    let mut hands = Hands::new(&book, &["run-cap.herm-open"], 3);
    let asked = hands.until(injects);
    hands
        .say(Input::MeterLost {
            meter: MeterId(1),
            why: "unplugged".into(),
        })
        .expect("known");
    assert!(!hands.visit.may_measure_dead(hands.now()));
    hands
        .say(Input::MeterBack {
            meter: MeterId(1),
            gap_us: 5_000_000,
        })
        .expect("known");
    let next = hands.settle().expect("an ask");
    assert!(
        matches!(
            &next.request,
            Request::Act {
                act: Act::ProveMeter
            }
        ),
        "{next:?}"
    );
    let withdrawn = |e: &&ohmtrail_trail::event::Entry| matches!(&e.event, Event::Voided { ask, .. } if *ask == Some(asked.ask));
    assert_eq!(hands.entries.iter().filter(withdrawn).count(), 1);
    hands.until(injects);
    no_dead_ask_with_a_gate_shut(&hands.entries);
}

/// A lead that is bad: each time the unit is proved dead anew, and that is no step to no effect.
#[test]
fn a_meter_that_is_lost_again_and_again_uses_up_no_tries() {
    let book = Book::new(bundle()).expect("opens");
    let mut hands = Hands::new(&book, &["run-cap.herm-open"], 3);
    for _ in 0..10 {
        hands.until(|r| {
            matches!(r, Request::Measure { function: Function::VoltsAc, state, .. } if state.power == Power::Off)
        });
        hands
            .say(Input::MeterLost {
                meter: MeterId(1),
                why: "unplugged".into(),
            })
            .expect("known");
        hands
            .say(Input::MeterBack {
                meter: MeterId(1),
                gap_us: 5_000_000,
            })
            .expect("known");
        hands.settle();
    }
    let asked = hands.until(injects);
    assert!(hands.visit.may_measure_dead(hands.now()), "{asked:?}");
    no_dead_ask_with_a_gate_shut(&hands.entries);
}

#[test]
fn the_meter_is_proved_by_a_reading_or_by_word() {
    let book = Book::new(bundle()).expect("opens");
    let mut hands = Hands::new(&book, &["run-cap.herm-open"], 3);
    let prove = |r: &Request| {
        matches!(
            r,
            Request::Act {
                act: Act::ProveMeter
            }
        )
    };
    let asked = hands.until(prove);
    let on_source = |ask, shown| {
        Input::Take(Taken {
            ask: Some(ask),
            function: Some(Function::VoltsAc),
            shown,
            ..Taken::default()
        })
    };
    hands
        .say(on_source(asked.ask, value(1, -1)))
        .expect("recorded");
    let again = hands.settle().expect("an ask");
    assert!(prove(&again.request), "a dead source proves no meter");
    hands
        .say(on_source(again.ask, value(1204, -1)))
        .expect("recorded");
    let next = hands.settle().expect("an ask");
    assert!(matches!(next.request, Request::Measure { .. }), "{next:?}");
}

#[test]
fn leads_that_were_measured_are_taken_off() {
    let book = Book::new(bundle()).expect("opens");
    let mut hands = Hands::new(&book, &["run-cap.herm-open"], 3);
    let held = volunteered(Function::Ohms, points(LEADS, LEADS), value(21, -2));
    hands.say(Input::Take(held)).expect("recorded");
    let asked = hands.until(|r| {
        matches!(
            r,
            Request::Measure {
                function: Function::Ohms,
                ..
            }
        )
    });
    hands
        .say(Input::Take(Taken {
            ask: Some(asked.ask),
            shown: value(321, -2),
            ..Taken::default()
        }))
        .expect("recorded");
    let take = &hands.visit.record().takes.last().expect("a take").take;
    assert!(
        (take.value - 3.0).abs() < 1e-9 && (take.leads - 0.21).abs() < 1e-9,
        "{take:?}"
    );
}

#[test]
fn a_capacitor_is_held_against_what_its_can_says() {
    let book = Book::new(bundle()).expect("opens");
    let mut hands = Hands::new(&book, &["run-cap.herm-low"], 3);
    for (key, text, unit) in [("capacitance-herm", "55", "uF"), ("tolerance", "10", "%")] {
        hands
            .say(Input::Plate(PlateEntry {
                part: "run-cap".into(),
                key: key.into(),
                value: text.into(),
                unit: unit.into(),
            }))
            .expect("noted");
    }
    let asked = hands.until(|r| {
        matches!(r, Request::Measure { function: Function::Farads, points, .. }
            if points.iter().any(|p| p == "run-cap.HERM"))
    });
    hands
        .say(Input::Take(Taken {
            ask: Some(asked.ask),
            shown: value(550, -7),
            ..Taken::default()
        }))
        .expect("recorded");
    let took = hands.visit.record().takes.last().expect("a take");
    let judged = took.take.verdict.as_ref().expect("judged");
    // 55 microfarad marked ±10 % reaches from 49.5 to 60.5 (common practice, no published source).
    let near = |x: Option<f64>, want: f64| x.is_some_and(|x| (x - want).abs() < 1e-12);
    assert!(
        near(judged.lower, 49.5e-6) && near(judged.upper, 60.5e-6),
        "{judged:?}"
    );
    assert_eq!(judged.class, ohmtrail_core::class::Class::Within);
    assert!(
        judged.words.contains("49.5 uF to 60.5 uF"),
        "{}",
        judged.words
    );
}

#[test]
fn what_makes_no_sense_is_refused_and_changes_nothing() {
    let book = Book::new(bundle()).expect("opens");
    let mut visit = Visit::new(&book);
    let early = visit.handle(Input::Note("x".into()), at(0.0));
    assert_eq!(early, Err(Refusal::NotOpened));
    let mut other = opened();
    other.sheet_hash = [0; 32];
    assert!(matches!(
        visit.handle(Input::Open(other), at(0.0)),
        Err(Refusal::OtherSheet { .. })
    ));
    let mut hands = Hands::new(&book, &[], 1);
    let asked = hands.settle().expect("an ask");
    let before = hands.entries.len();
    for (input, says) in [
        (
            Input::Skip {
                ask: 99,
                why: String::new(),
            },
            "99",
        ),
        (
            Input::Complaint {
                what: "it-sulks".into(),
                words: String::new(),
            },
            "it-sulks",
        ),
        (
            Input::Look {
                ask: None,
                what: Some("moon.full".into()),
                answer: true,
            },
            "moon.full",
        ),
        (
            Input::Done {
                ask: None,
                act: None,
            },
            "what was done",
        ),
        (
            Input::MeterBack {
                meter: MeterId(7),
                gap_us: 0,
            },
            "meter 7",
        ),
        (
            Input::Lifted {
                end: "no.1".into(),
                mark: String::new(),
                photo: None,
            },
            "no.1",
        ),
        (
            Input::PutBack {
                end: "fan-run.1".into(),
                photo: None,
            },
            "fan-run.1",
        ),
        (
            Input::WireChecked {
                end: "fan-run.1".into(),
                photo: None,
            },
            "fan-run.1 was not put back",
        ),
        (Input::Close, "not left"),
        (
            Input::Take(volunteered(
                Function::VoltsAc,
                points("a.b", "c.d"),
                value(1, 0),
            )),
            "a.b",
        ),
    ] {
        let refusal = hands.say(input).expect_err(says);
        assert!(refusal.to_string().contains(says), "{refusal}");
    }
    assert_eq!(hands.entries.len(), before);
    assert_eq!(hands.settle().map(|a| a.ask), Some(asked.ask));
}

#[test]
fn a_wire_end_that_is_described_again_is_lifted_once() {
    let book = Book::new(bundle()).expect("opens");
    let mut hands = Hands::new(&book, &["run-cap.herm-open"], 3);
    hands.until(injects);
    let told = |mark: &str, photo| Input::Lifted {
        end: "fan-run.1".into(),
        mark: mark.into(),
        photo,
    };
    hands.say(told("black", Some([7; 32]))).expect("lifted");
    hands.say(told("black, taped", None)).expect("described");
    let noted = |record: &Record| {
        let ends = record.wires.iter().filter(|w| w.end == "fan-run.1");
        let said = ends.map(|w| (w.mark.clone(), w.photo, w.back_on.is_some()));
        said.collect::<Vec<_>>()
    };
    let off = ("black, taped".to_owned(), Some([7; 32]), false);
    assert_eq!(noted(hands.visit.record()), std::slice::from_ref(&off));
    let back = Input::PutBack {
        end: "fan-run.1".into(),
        photo: None,
    };
    let check = Input::WireChecked {
        end: "fan-run.1".into(),
        photo: None,
    };
    let early = hands.say(check.clone());
    early.expect_err("nothing is back that could be checked");
    hands.say(back).expect("back");
    assert_eq!(noted(hands.visit.record()), [(off.0, off.1, true)]);
    let checked = |record: &Record| record.wires.last().is_some_and(|w| w.checked);
    assert!(!checked(hands.visit.record()), "to be back is one thing");
    hands.say(check).expect("checked");
    assert!(checked(hands.visit.record()));
    // Lifted anew, it is another line of the map.
    hands.say(told("black", None)).expect("lifted");
    assert_eq!(noted(hands.visit.record()).len(), 2);
    assert!(!checked(hands.visit.record()));
}

#[test]
fn leaving_early_leaves_the_unit_off_and_locked() {
    let book = Book::new(bundle()).expect("opens");
    let mut hands = Hands::new(&book, &["run-cap.herm-open"], 3);
    hands.until(injects);
    hands
        .say(Input::Leave {
            why: "called away".into(),
        })
        .expect("left");
    hands.run();
    let record = hands.visit.record();
    let left = record.left.as_ref().expect("left");
    assert_eq!((left.power, left.locked), (Power::Off, true));
    assert_eq!(record.leave.as_deref(), Some("called away"));
    assert!(record.finding.as_ref().is_some_and(|f| f.faults.is_empty()));
    // Ends that stay lifted were insulated.
    let insulated = hands
        .entries
        .iter()
        .any(|e| matches!(&e.event, Event::Acted(a) if a.act == Act::InsulateEnds));
    assert_eq!(insulated, !left.lifted.is_empty());
    hands.say(Input::Tagged("tag".into())).expect("tagged");
    hands.say(Input::Close).expect("closed");
    assert_eq!(hands.visit.stage(), Stage::Closed);
    assert_eq!(hands.say(Input::Note("late".into())), Err(Refusal::Closed));
}

/// One thing that a technician does, chosen by a byte.
fn anything(hands: &mut Hands<'_>, byte: u8) {
    let open = hands.settle();
    let noise = i32::from(byte) * 37 - 300;
    let input = match (byte % 16, &open) {
        (0..=8, Some(asked)) => hands.answer(asked),
        (9, Some(asked)) => Input::Skip {
            ask: asked.ask,
            why: "no".into(),
        },
        (10, Some(asked)) => Input::Take(Taken {
            ask: Some(asked.ask),
            shown: value(noise, -1),
            flags: Flags(u16::from(byte)),
            ..Taken::default()
        }),
        (11, _) => {
            let all = sheet().points.len();
            let name = |n: usize| sheet().points[n % all].0.clone();
            let function = Function::ALL[usize::from(byte) % Function::ALL.len()];
            let pair = [name(usize::from(byte)), name(usize::from(byte) * 7 + 1)];
            Input::Take(volunteered(function, pair, value(noise, -1)))
        }
        (12, _) => Input::Live(Reading {
            function: Function::VoltsAc,
            shown: value(noise, -1),
            flags: Flags::NONE,
            meter: MeterId(1),
            at: hands.now().steady,
        }),
        (13, _) if byte > 128 => Input::MeterLost {
            meter: MeterId(1),
            why: "gone".into(),
        },
        (13, _) => joined(2),
        (14, _) => Input::Strike {
            take: u32::from(byte),
            why: "no".into(),
        },
        (15, _) if byte > 200 => {
            hands.do_act(&Act::CloseBreaker);
            Input::Done {
                ask: None,
                act: Some(Act::CloseBreaker),
            }
        }
        (15, _) => Input::Look {
            ask: None,
            what: Some("breaker.tripped".into()),
            answer: true,
        },
        _ => Input::Note("nothing".into()),
    };
    // A refusal is an answer too.
    let _ = hands.say(input);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, failure_persistence: None, ..ProptestConfig::default() })]

    /// Whatever is said, nothing panics, and no dead measurement is asked for or counts with a
    /// gate shut.
    #[test]
    fn whatever_is_said_no_gate_is_passed(bytes in proptest::collection::vec(any::<u8>(), 60..260)) {
        let book = Book::new(bundle()).expect("opens");
        let mut hands = Hands::new(&book, &["run-cap.herm-open"], 3);
        for byte in bytes {
            anything(&mut hands, byte);
        }
        no_dead_ask_with_a_gate_shut(&hands.entries);
    }
}
