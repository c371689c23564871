//! Bytes that are no table, or nearly one.

use ohmtrail_core::class::Likely;
use ohmtrail_core::isolate::{
    Active, AskRecord, Belief, Evidence, Kind, Planner, PowerNeed, Prospect, State, Table,
    TableError,
};
use proptest::prelude::*;

use crate::build::{Dice, Sheet, invented, look, measure, row};

fn small() -> Sheet {
    let mut sheet = Sheet::singles(&[0.5, 0.3, 0.1, 0.1], 2);
    sheet.ask(
        look(5),
        vec![row(&[1.0, 0.0]), row(&[0.5, 0.5])],
        vec![0, 0, 0, 0, 0, 0, 1, 1],
    );
    sheet.ask(measure(PowerNeed::On, 5), vec![row(&[1.0; 6])], vec![0; 8]);
    sheet
}

#[test]
fn a_table_comes_back_as_it_was_written() {
    let sheet = small();
    let bytes = sheet.bytes();
    let table = Table::parse(&bytes).unwrap();
    assert_eq!(
        (table.hypotheses, table.samples, table.ask_count()),
        (4, 2, 2)
    );
    assert!((0..4).all(|h| table.is_none_of_these(h) == (h == 3)));
    assert_eq!((table.wrong_minutes(1), table.wrong_minutes(2)), (100, 0));
    assert_eq!(table.set(2), [1, 0xFFFF]);
    assert_eq!(table.group_count(), 4);
    assert_eq!(table.ask(0).unwrap().kind, Kind::Look);
    assert_eq!(table.ask(1).unwrap().first_row, 2);
    assert_eq!(table.ask_cells(0), &sheet.asks[0].cells[..]);
    assert_eq!(table.ask(2), None);
    assert_eq!(table.ask_cells(2), &[] as &[u8]);
    let mut again = vec![0; bytes.len()];
    assert_eq!(table.encode(&mut again), Ok(bytes.len()));
    assert_eq!(again, bytes);
    assert_eq!(table.encode(&mut again[1..]), Err(TableError::Room));
}

#[test]
fn every_length_and_index_is_checked() {
    let bytes = small().bytes();
    let good = Table::parse(&bytes).unwrap();
    let ask = good.ask(0).unwrap();
    let with_ask = |change: &dyn Fn(&mut AskRecord)| {
        let mut record = ask;
        change(&mut record);
        [&record.encode()[..], &good.asks[35..]].concat()
    };
    let no_rows = with_ask(&|r| r.rows = 0);
    let rows_out = with_ask(&|r| r.first_row = 2);
    let rows_over = with_ask(&|r| r.first_row = u32::MAX);
    let no_outcome = with_ask(&|r| r.live = 0);
    let seventh = with_ask(&|r| r.live = 0b100_0001);
    let dead_row = with_ask(&|r| r.live = 0b000_0010);
    let lift_out = with_ask(&|r| r.lifted = 1);
    let minus_one = [[0, 0, 128, 191]; 4].concat();
    let bad: Vec<(&str, Table<'_>, TableError)> = vec![
        (
            "version",
            Table { version: 1, ..good },
            TableError::Version(1),
        ),
        ("samples", Table { samples: 0, ..good }, TableError::Empty),
        (
            "hypotheses",
            Table {
                hypotheses: 1,
                ..good
            },
            TableError::Empty,
        ),
        (
            "more hypotheses",
            Table {
                hypotheses: 5,
                ..good
            },
            TableError::Length("priors"),
        ),
        (
            "more samples",
            Table { samples: 3, ..good },
            TableError::Length("cells"),
        ),
        (
            "asks",
            Table {
                asks: &good.asks[1..],
                ..good
            },
            TableError::Length("asks"),
        ),
        (
            "wrong",
            Table {
                wrong: &good.wrong[1..],
                ..good
            },
            TableError::Length("wrong"),
        ),
        (
            "rows",
            Table {
                rows: &good.rows[1..],
                ..good
            },
            TableError::Length("rows"),
        ),
        (
            "lifts",
            Table { lifts: &[], ..good },
            TableError::Length("lifts"),
        ),
        (
            "lift 0",
            Table {
                lifts: &[1, 0],
                ..good
            },
            TableError::Lifts,
        ),
        (
            "negative",
            Table {
                priors: &minus_one,
                ..good
            },
            TableError::Prior(0),
        ),
        (
            "no prior",
            Table {
                priors: &[0; 16],
                ..good
            },
            TableError::Prior(3),
        ),
        (
            "NaN",
            Table {
                priors: &[255; 16],
                ..good
            },
            TableError::Prior(0),
        ),
        (
            "unknown fault",
            Table {
                faults: 1,
                wrong: &good.wrong[2..],
                ..good
            },
            TableError::Set(2),
        ),
        (
            "healthy fault",
            Table {
                sets: &[0; 16],
                ..good
            },
            TableError::Set(0),
        ),
        (
            "group",
            Table {
                groups: &[0, 0, 2, 0, 2, 0, 3, 0],
                ..good
            },
            TableError::Group(1),
        ),
        (
            "group back",
            Table {
                groups: &[0, 0, 1, 0, 0, 0, 1, 0],
                ..good
            },
            TableError::Group(2),
        ),
        (
            "no rows",
            Table {
                asks: &no_rows,
                ..good
            },
            TableError::Ask(0),
        ),
        (
            "rows out",
            Table {
                asks: &rows_out,
                ..good
            },
            TableError::Ask(0),
        ),
        (
            "rows over",
            Table {
                asks: &rows_over,
                ..good
            },
            TableError::Ask(0),
        ),
        (
            "no outcome",
            Table {
                asks: &no_outcome,
                ..good
            },
            TableError::Ask(0),
        ),
        (
            "seventh",
            Table {
                asks: &seventh,
                ..good
            },
            TableError::Ask(0),
        ),
        (
            "dead row",
            Table {
                asks: &dead_row,
                ..good
            },
            TableError::Row(0),
        ),
        (
            "lift out",
            Table {
                asks: &lift_out,
                ..good
            },
            TableError::Ask(0),
        ),
        (
            "cells",
            Table {
                cells: &[2; 16],
                ..good
            },
            TableError::Cell(0),
        ),
    ];
    for (what, table, why) in bad {
        assert_eq!(table.check(), Err(why), "{what}");
    }
    assert_eq!(
        Table::parse(&[bytes.clone(), vec![0]].concat()),
        Err(TableError::Trailing)
    );
    for cut in 0..bytes.len() {
        assert_eq!(
            Table::parse(&bytes[..cut]),
            Err(TableError::Malformed),
            "cut at {cut}"
        );
    }
}

/// Whatever parses is used to the full.
fn exercise(bytes: &[u8]) {
    let Ok(table) = Table::parse(bytes) else {
        return;
    };
    if table.weight_count() > 1 << 20 {
        return;
    }
    let mut room = vec![0.0; table.weight_count()];
    let mut belief = Belief::new(&table, &mut room).unwrap();
    let mut prospects = vec![Prospect::default(); table.ask_count().into()];
    let mut active = vec![Active::default(); table.hypotheses.into()];
    let mut planner = Planner::new(&table, &mut prospects, &mut active).unwrap();
    let now = State {
        on: true,
        lifted: 200,
        cooled: true,
    };
    for a in 0..table.ask_count() {
        let evidence = match table.ask(a).unwrap().kind {
            Kind::Look => Evidence::Looked(true),
            Kind::Measure(_) => Evidence::Measured(Likely([0.1, 0.1, 0.2, 0.2, 0.2, 0.2])),
        };
        belief.update(a, &evidence).unwrap();
        assert!(belief.posteriors().all(|p| p.is_finite()));
        if let Some(choice) = planner.next(&belief, now, &mut |_| true) {
            assert!(choice.bits.is_finite() && choice.minutes.is_finite());
        }
        let _ = (
            belief.top::<3>(),
            belief.leading(),
            belief.explains([9, 0], a, &evidence),
        );
        let _ = table.weigh(0, a, &evidence);
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]

    #[test]
    fn mutated_tables_never_panic(
        n: u64,
        flips in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 0..6),
        cut in any::<Option<prop::sample::Index>>(),
    ) {
        let mut dice = Dice(n);
        let mut bytes = invented(&mut dice, 5, 2, 3).bytes();
        for (at, byte) in flips {
            let at = at.index(bytes.len());
            bytes[at] = byte;
        }
        if let Some(cut) = cut {
            bytes.truncate(cut.index(bytes.len()));
        }
        exercise(&bytes);
    }

    #[test]
    fn any_bytes_never_panic(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
        exercise(&bytes);
    }
}
