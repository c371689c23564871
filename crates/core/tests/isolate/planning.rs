//! Which ask comes next, and when to stop.

use ohmtrail_core::class::{Class, Likely};
use ohmtrail_core::isolate::{
    Active, AskRecord, Belief, Choice, Cooled, Evidence, Planner, PowerNeed, Prospect, Standing,
    State, Table,
};

use crate::brute;
use crate::build::{Dice, Sheet, invented, look, measure, row};

const OFF: State = State {
    on: false,
    lifted: 0,
    cooled: false,
};
const ON: State = State { on: true, ..OFF };

/// Eight faults of equal prior, and asks that each split them by a set of bits.
fn splitting(asks: &[(AskRecord, u8)]) -> Sheet {
    let mut priors = [0.12; 10];
    // No fault answers every ask as the first fault does.
    priors[0] = 0.002;
    priors[9] = 0.02;
    let mut sheet = Sheet::singles(&priors, 1);
    for (record, mask) in asks {
        let cells = (0..10)
            .map(|h: u8| match h {
                0 => 0,
                9 => 2,
                h => u8::from((h - 1) & mask != 0),
            })
            .collect();
        let mut record = *record;
        let rows = if record.live == 0b11 {
            vec![row(&[1.0, 0.0]), row(&[0.0, 1.0]), row(&[0.5, 0.5])]
        } else {
            record.live = 0b0110;
            vec![
                row(&[0.0, 0.0, 1.0]),
                row(&[0.0, 1.0, 0.0]),
                row(&[0.0, 0.5, 0.5]),
            ]
        };
        sheet.ask(record, rows, cells);
    }
    sheet
}

fn next(sheet: &Sheet, now: State, answered: &[u16]) -> Option<Choice> {
    let bytes = sheet.bytes();
    let table = Table::parse(&bytes).unwrap();
    let mut room = vec![0.0; table.weight_count()];
    let belief = Belief::new(&table, &mut room).unwrap();
    let mut prospects = vec![Prospect::default(); sheet.asks.len()];
    let mut active = vec![Active::default(); sheet.priors.len()];
    let mut planner = Planner::new(&table, &mut prospects, &mut active).unwrap();
    planner.next(&belief, now, &mut |a| !answered.contains(&a))
}

#[test]
fn of_equal_asks_the_quicker_and_of_equal_minutes_the_more_telling() {
    // A half split tells more than a quarter split (mask 6 sets three quarters aside).
    let sheet = splitting(&[(look(10), 4), (look(5), 4), (look(5), 6)]);
    let choice = next(&sheet, OFF, &[]).unwrap();
    assert_eq!((choice.ask, choice.minutes), (1, 0.5));
    assert!((choice.bits_per_minute - choice.bits / 0.5).abs() < 1e-6);
    assert_eq!(next(&sheet, OFF, &[1]).unwrap().ask, 2);
    assert_eq!(next(&sheet, OFF, &[0, 1, 2]), None);
}

#[test]
fn a_change_of_state_has_its_price() {
    let sheet = splitting(&[
        (measure(PowerNeed::Off, 10), 4),
        (measure(PowerNeed::On, 20), 4),
    ]);
    // Powering off costs 5 minutes, on 3 (as the sheet of these tests has it).
    let live = next(&sheet, ON, &[]).unwrap();
    assert_eq!((live.ask, live.minutes, live.state), (1, 2.0, ON));
    let dead = next(&sheet, OFF, &[]).unwrap();
    assert_eq!((dead.ask, dead.minutes, dead.state), (0, 1.0, OFF));
    let change = next(&sheet, ON, &[1]).unwrap();
    assert_eq!((change.ask, change.minutes, change.state), (0, 6.0, OFF));
}

#[test]
fn asks_that_share_a_state_share_its_price() {
    // Live: one ask of 12 minutes for one bit. Dead: three asks of a minute for a bit each, after
    // 5 minutes of change. One alone: 1/6 per minute; together (1 + 1/2 + 1/4) / 8. Against 1/12.
    let live = (measure(PowerNeed::On, 55), 1);
    let dead = |mask| (measure(PowerNeed::Off, 10), mask);
    let alone = splitting(&[live, dead(1)]);
    let together = splitting(&[live, dead(1), dead(2), dead(4)]);
    assert_eq!(next(&alone, ON, &[]).unwrap().ask, 0);
    let choice = next(&together, ON, &[]).unwrap();
    assert_eq!(choice.state, OFF);
    assert!(choice.bits_per_minute > choice.bits / choice.minutes);
}

#[test]
fn states_are_reached_with_the_power_off() {
    let sheet = invented(&mut Dice(3), 4, 1, 1);
    let bytes = sheet.bytes();
    let table = Table::parse(&bytes).unwrap();
    // Off 5 minutes, on 3, cooling 60; sets 1 and 2 take 4 and 7.
    let state = |on, lifted, cooled| State { on, lifted, cooled };
    for (from, to, minutes) in [
        (ON, ON, 0.0),
        (ON, OFF, 5.0),
        (OFF, ON, 3.0),
        (OFF, state(false, 1, false), 4.0),
        (ON, state(false, 1, false), 9.0),
        (ON, state(true, 1, false), 12.0),
        (state(false, 1, false), state(false, 2, false), 11.0),
        (ON, state(false, 0, true), 65.0),
        (OFF, state(false, 0, true), 60.0),
        (state(false, 0, true), OFF, 0.0),
        // A start from cold: what was started is not cold any more when it is off again.
        (state(false, 0, true), state(true, 0, true), 3.0),
        (state(true, 0, true), ON, 0.0),
        (state(true, 0, true), state(false, 0, true), 65.0),
    ] {
        assert_eq!(
            table.change_minutes(from, to),
            minutes,
            "{from:?} to {to:?}"
        );
    }
    let any = measure(PowerNeed::Any, 1);
    let lifted = AskRecord { lifted: 1, ..any };
    let as_found = AskRecord {
        cooled: Cooled::AsFound,
        ..any
    };
    assert_eq!(table.reach(ON, &any), Some(ON));
    assert_eq!(table.reach(ON, &lifted), Some(state(false, 1, false)));
    assert_eq!(table.reach(state(false, 0, true), &as_found), None);
    assert_eq!(table.reach(state(true, 0, true), &as_found), Some(ON));
    let dead = measure(PowerNeed::Off, 1);
    assert_eq!(table.reach(state(true, 0, true), &dead), Some(OFF));
}

#[test]
fn an_ask_as_found_is_not_chosen_once_the_motors_are_cold() {
    let mut hot = look(5);
    hot.cooled = Cooled::AsFound;
    let sheet = splitting(&[(hot, 4)]);
    let cold = State {
        cooled: true,
        ..OFF
    };
    assert_eq!(next(&sheet, OFF, &[]).unwrap().ask, 0);
    assert_eq!(next(&sheet, cold, &[]), None);
}

#[test]
fn the_choice_is_the_best_rate_of_all_where_no_change_is_needed() {
    for n in 0..50 {
        let mut dice = Dice(n);
        let mut sheet = invented(&mut dice, 12, 3, 15);
        for ask in &mut sheet.asks {
            ask.record.power = PowerNeed::Any;
            ask.record.cooled = Cooled::Any;
            ask.record.lifted = 0xFF;
        }
        let (joint, _) = brute::joint(&sheet, &[]);
        let rate = |a: usize| {
            brute::information(&sheet, &joint, a) / f64::from(sheet.asks[a].record.minutes())
        };
        let best = (0..15).map(rate).fold(0.0, f64::max);
        let choice = next(&sheet, ON, &[]).unwrap();
        assert!(rate(choice.ask.into()) > best - 1e-3, "table {n}");
    }
}

#[test]
fn isolates_asks_stops_or_gives_up() {
    let sheet = splitting(&[
        (look(5), 1),
        (look(5), 2),
        (measure(PowerNeed::Any, 10), 4),
        (measure(PowerNeed::Any, 12), 1),
        (measure(PowerNeed::Any, 12), 2),
        (measure(PowerNeed::Any, 12), 4),
    ]);
    let bytes = sheet.bytes();
    let table = Table::parse(&bytes).unwrap();
    let mut room = vec![0.0; table.weight_count()];
    let mut prospects = vec![Prospect::default(); sheet.asks.len()];
    let mut active = vec![Active::default(); sheet.priors.len()];
    for truth in 1..9_u16 {
        let mut belief = Belief::new(&table, &mut room).unwrap();
        let mut planner = Planner::new(&table, &mut prospects, &mut active).unwrap();
        let mut takes: Vec<(u16, Evidence)> = Vec::new();
        let found = loop {
            let done: Vec<u16> = takes.iter().map(|(a, _)| *a).collect();
            let standing = planner
                .standing(&belief, &takes, OFF, &mut |a| !done.contains(&a))
                .unwrap();
            let choice = match standing {
                Standing::Ask(choice) => choice,
                Standing::Again(choice) => {
                    let (ask, once) = takes.iter_mut().find(|(a, _)| *a == choice.ask).unwrap();
                    let Evidence::Measured(likely) = *once else {
                        panic!("only a measurement is made again");
                    };
                    *once = Evidence::Confirmed(likely);
                    assert_eq!(*ask, choice.ask);
                    belief.reset();
                    for (a, e) in &takes {
                        belief.update(*a, e).unwrap();
                    }
                    continue;
                }
                other => break other,
            };
            let ask = &sheet.asks[usize::from(choice.ask)];
            let yes = ask.cells[usize::from(truth)] == 1;
            let evidence = if ask.record.live == 0b11 {
                Evidence::Looked(yes)
            } else {
                let class = if yes { Class::Low } else { Class::Within };
                Evidence::Measured(Likely::certain(class))
            };
            belief.update(choice.ask, &evidence).unwrap();
            takes.push((choice.ask, evidence));
        };
        match found {
            Standing::Found { hypothesis, p, .. } => {
                assert_eq!(hypothesis, truth);
                assert!((0.95..1.0 + 1e-5).contains(&p));
                assert!((3..=6).contains(&takes.len()), "{takes:?}");
            }
            other => panic!("fault {truth}: {other:?}"),
        }
        // A measurement that the leading set does not explain keeps the finding back, and is made
        // again first; one that was confirmed leaves it undecided.
        let against = takes.iter().find_map(|(ask, evidence)| match evidence {
            Evidence::Measured(l) | Evidence::Confirmed(l) => {
                let other = if l.best().0 == Class::Low {
                    Class::Within
                } else {
                    Class::Low
                };
                Some((*ask, Likely::certain(other)))
            }
            Evidence::Looked(_) => None,
        });
        let (ask, likely) = against.expect("two looks alone do not find one of eight");
        let once = [(ask, Evidence::Measured(likely))];
        let standing = planner.standing(&belief, &once, OFF, &mut |_| false);
        assert!(
            matches!(standing, Ok(Standing::Again(c)) if c.ask == ask),
            "{standing:?}"
        );
        let twice = [(ask, Evidence::Confirmed(likely))];
        let standing = planner.standing(&belief, &twice, OFF, &mut |_| false);
        assert_eq!(standing, Ok(Standing::Undecided));
    }
}

/// Where nothing more can be told, what the leading set and those that hold it carry together is
/// found, and the rest is left unproven.
#[test]
fn what_cannot_be_sharpened_is_named_as_far_as_it_is_carried() {
    // Hypothesis 2 is fault 1, hypothesis 4 is faults 1 and 3: only ask 2 tells them apart.
    let any = measure(PowerNeed::Any, 10);
    for prior_of_both in [0.05, 0.12, 0.3] {
        let mut sheet = splitting(&[(any, 1), (any, 4), (any, 2)]);
        sheet.sets[4] = [1, 3];
        sheet.priors[4] = prior_of_both;
        let bytes = sheet.bytes();
        let table = Table::parse(&bytes).unwrap();
        let mut room = vec![0.0; table.weight_count()];
        let mut prospects = vec![Prospect::default(); sheet.asks.len()];
        let mut active = vec![Active::default(); sheet.priors.len()];
        let mut belief = Belief::new(&table, &mut room).unwrap();
        let mut planner = Planner::new(&table, &mut prospects, &mut active).unwrap();
        // Nothing is known yet: nothing is carried.
        let standing = planner.standing(&belief, &[], OFF, &mut |_| false);
        assert_eq!(standing, Ok(Standing::Undecided));
        let takes = [
            (0, Evidence::Confirmed(Likely::certain(Class::Low))),
            (1, Evidence::Confirmed(Likely::certain(Class::Within))),
        ];
        for (ask, evidence) in &takes {
            belief.update(*ask, evidence).unwrap();
        }
        assert!(belief.leading().p < 0.9);
        let standing = planner.standing(&belief, &takes, OFF, &mut |_| false);
        match standing {
            Ok(Standing::Found { hypothesis, p, .. }) => {
                assert_eq!(hypothesis, 2);
                assert!(p > 0.9);
            }
            other => panic!("{other:?}"),
        }
    }
}
